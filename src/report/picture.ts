/** One star's elongation for the picture. */
export interface Whisker {
  /** Preview pixels: x right, y DOWN from the top left corner of the preview as seen on the screen. */
  readonly x: number;
  readonly y: number;
  /** Major/minor axis, >= 1. */
  readonly elongation: number;
  /** Long axis on the screen, degrees counter-clockwise from right, 0..180. */
  readonly axisDeg: number;
}

/** What the annotated picture is drawn on: the frame made small and bright, and the stars' elongations. */
export interface FieldPicture {
  /** Of the preview, pixels. */
  readonly width: number;
  readonly height: number;
  /** Preview pixels per frame pixel, at most 1. */
  readonly pixelsPerFramePixel: number;
  /** Already stretched, 0 black to 255 white, row-major, first row at the TOP of the screen. */
  readonly grey: Uint8Array;
  readonly whiskers: readonly Whisker[];
}
