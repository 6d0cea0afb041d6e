import type { Frame, RowOrder, Told } from '../frame/frame.ts';
import type { Known, Origin, Setup } from './setup.ts';
import type { ScreenY } from './words.ts';

/** What the user says over the header. */
export interface MeasureSettings {
  readonly focalMm?: number;
  readonly primaryFocalMm?: number;
  readonly apertureMm?: number;
  readonly pixelUm?: number;
  readonly corrector?: 'none' | number;
  readonly rowOrder?: RowOrder;
}

export interface Orientation {
  readonly rowOrder: RowOrder;
  readonly assumed: boolean;
  readonly screenY: ScreenY;
}

/** The set-up of subs taken together: options first, then the first header that tells. */
export function setupFromFrames(frames: readonly Frame[], settings: MeasureSettings): Setup {
  const first = frames[0];
  if (first === undefined) throw new RangeError('setupFromFrames needs at least one frame');
  const choose = (option: number | undefined, told: (frame: Frame) => Told<number> | null): Known<number | null> => {
    if (option !== undefined) return { value: option, from: 'option' };
    const header = frames.map(told).find((entry) => entry !== null);
    return header ? { value: header.value, from: originOf(header) } : { value: null, from: 'unknown' };
  };
  const focalLengthMm = choose(settings.focalMm, (f) => f.facts.focalLengthMm);
  const altitudes = frames.flatMap((f) => f.facts.altitudeDeg?.value ?? []);
  return {
    pixelUm: choose(settings.pixelUm, (f) => f.facts.pixelUm),
    focalLengthMm,
    primaryFocalLengthMm: primaryFocal(focalLengthMm, settings),
    apertureMm: choose(settings.apertureMm, (f) => f.facts.apertureMm),
    corrector: correctorOf(focalLengthMm, settings),
    filter: frames.map((f) => f.facts.filter?.value).find((value) => value !== undefined) ?? null,
    altitudeDeg: altitudes.length === 0 ? null : altitudes.reduce((a, b) => a + b, 0) / altitudes.length,
    focusPositions: frames.map((f) => f.facts.focusPosition?.value ?? null),
    width: first.width,
    height: first.height,
    mosaic: first.mosaic !== null,
  };
}

/** Keywords are header cards; anything else says itself where it came from. */
function originOf(told: Told<unknown>): Origin {
  return told.keyword === 'option' || told.keyword === 'rig' ? told.keyword : 'header';
}

function primaryFocal(effective: Known<number | null>, settings: MeasureSettings): Known<number | null> {
  if (settings.primaryFocalMm !== undefined) return { value: settings.primaryFocalMm, from: 'option' };
  if (effective.value === null) return { value: null, from: 'unknown' };
  if (typeof settings.corrector === 'number') return { value: effective.value / settings.corrector, from: 'option' };
  if (settings.corrector === 'none') return { value: effective.value, from: effective.from };
  return { value: effective.value, from: 'assumed' };
}

function correctorOf(effective: Known<number | null>, settings: MeasureSettings): Setup['corrector'] {
  const { corrector, primaryFocalMm } = settings;
  if (corrector === 'none') return { value: { present: false, magnification: 1 }, from: 'option' };
  if (typeof corrector === 'number') return { value: { present: true, magnification: corrector }, from: 'option' };
  if (primaryFocalMm !== undefined && effective.value !== null) {
    const magnification = effective.value / primaryFocalMm;
    // The same focal length with and without says nothing about a corrector of magnification 1.
    const present = Math.abs(magnification - 1) > 0.02 ? true : ('unknown' as const);
    return { value: { present, magnification }, from: 'option' };
  }
  return { value: { present: 'unknown', magnification: null }, from: 'unknown' };
}

/** Row order of the subs: option, header, else the FITS display convention, which is an assumption and said so. */
export function orientationOf(frames: readonly Frame[], settings: MeasureSettings): Orientation {
  const told = settings.rowOrder ?? frames.map((f) => f.facts.rowOrder?.value).find((value) => value !== undefined);
  const rowOrder = told ?? 'BOTTOM-UP';
  return { rowOrder, assumed: told === undefined, screenY: rowOrder === 'BOTTOM-UP' ? 1 : -1 };
}
