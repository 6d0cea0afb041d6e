import type { OwnScreen } from './liveState.ts';

/** Where a vector of the report (x right, y up) points on the person's own screen: mirrored left-right first, then turned. */
export function onOwnScreen(
  v: { readonly x: number; readonly y: number },
  screen: OwnScreen,
): { x: number; y: number } {
  const x = screen.mirrored ? -v.x : v.x;
  switch (screen.turnedDeg) {
    case 0:
      return { x, y: v.y };
    case 90:
      return { x: -v.y, y: x };
    case 180:
      return { x: -x, y: -v.y };
    case 270:
      return { x: v.y, y: -x };
  }
}

/** Direction of a vector on the person's own screen, degrees counter-clockwise from right, 0 to 360. */
export function ownDirectionDeg(v: { readonly x: number; readonly y: number }, screen: OwnScreen): number {
  const own = onOwnScreen(v, screen);
  return ((Math.atan2(own.y, own.x) * 180) / Math.PI + 360) % 360;
}
