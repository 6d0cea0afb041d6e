/** How the stored frame lies on the screen: +1 when stored y grows upwards (BOTTOM-UP), -1 when downwards (TOP-DOWN). */
export type ScreenY = 1 | -1;

const DIRECTIONS = [
  'to the right',
  'to the upper right',
  'upwards',
  'to the upper left',
  'to the left',
  'to the lower left',
  'downwards',
  'to the lower right',
] as const;

const AXES = ['left to right', 'lower left to upper right', 'bottom to top', 'upper left to lower right'] as const;

/** Degrees counter-clockwise from right on the screen, 0..360, of a direction in stored axes (radians). */
export function screenDegrees(angle: number, screenY: ScreenY): number {
  const degrees = (screenY * angle * 180) / Math.PI;
  return ((degrees % 360) + 360) % 360;
}

/** The same of an axis, 0..180. */
export function screenAxisDegrees(angle: number, screenY: ScreenY): number {
  return screenDegrees(angle, screenY) % 180;
}

export function directionWords(angle: number, screenY: ScreenY): string {
  return DIRECTIONS[Math.round(screenDegrees(angle, screenY) / 45) % 8] ?? 'to the right';
}

export function axisWords(angle: number, screenY: ScreenY): string {
  return AXES[Math.round(screenAxisDegrees(angle, screenY) / 45) % 4] ?? 'left to right';
}

/** Fixed decimals fit for the size of the number: 0.04, 0.4, 4.2, 42. */
export function plain(value: number): string {
  const size = Math.abs(value);
  return size >= 20 ? value.toFixed(0) : size >= 1 ? value.toFixed(1) : value.toFixed(2);
}
