import type { LiveState } from '../live/liveState.ts';
import { onOwnScreen } from '../live/ownScreen.ts';
import { byId, svg } from './dom.ts';

/** The newest sub as it stands on the person's own screen, with star A, its target B and the way between. */
export function drawField(state: LiveState, picture: string | null): void {
  const view = byId<SVGSVGElement>('picture');
  const { frame, screen, shift } = state;
  if (frame === null) {
    view.replaceChildren();
    return;
  }
  const turned = screen.turnedDeg % 180 !== 0;
  const [width, height] = turned ? [frame.height, frame.width] : [frame.width, frame.height];
  view.setAttribute('viewBox', `${-width / 2} ${-height / 2} ${width} ${height}`);
  const shown: SVGElement[] = [];
  if (picture !== null) {
    // y points down in SVG: a turn counter-clockwise is negative there.
    const transform = `rotate(${-screen.turnedDeg}) scale(${screen.mirrored ? -1 : 1} 1)`;
    shown.push(
      svg('image', {
        href: picture,
        x: -frame.width / 2,
        y: -frame.height / 2,
        width: frame.width,
        height: frame.height,
        transform,
        preserveAspectRatio: 'none',
      }),
    );
  }
  if (shift !== null) {
    const place = (point: { x: number; y: number }): { x: number; y: number } => {
      const own = onOwnScreen(point, screen);
      return { x: own.x, y: -own.y };
    };
    shown.push(...way(place(shift.from), place(shift.to), shift.error / shift.steps, unitOf(view, width, height)));
  }
  view.replaceChildren(...shown);
}

/** A hundredth of the picture, but on a small screen so much that marks stay as large as a fingertip sees them. */
function unitOf(view: SVGSVGElement, width: number, height: number): number {
  const framePerScreen = width / Math.max(200, view.clientWidth);
  return Math.max(Math.max(width, height) / 100, LEAST_UNIT * framePerScreen);
}

/** Screen pixels. */
const LEAST_UNIT = 6.5;

interface Point {
  readonly x: number;
  readonly y: number;
}

/** `unit`: about a hundredth of the picture, in pixels of the frame. */
function way(a: Point, b: Point, error: number, unit: number): SVGElement[] {
  const length = Math.hypot(b.x - a.x, b.y - a.y) || 1;
  const along = { x: (b.x - a.x) / length, y: (b.y - a.y) / length };
  const half = 1.8 * unit;
  const at = (from: Point, far: number, side = 0): Point => ({
    x: from.x + along.x * far - along.y * side,
    y: from.y + along.y * far + along.x * side,
  });
  const start = at(a, Math.min(half * 1.5, length * 0.3));
  const tip = at(b, -Math.min(half * 1.2, length * 0.2));
  const neck = at(tip, -2.6 * unit);
  const [left, right] = [at(neck, 0, 1.3 * unit), at(neck, 0, -1.3 * unit)];
  const line = (name: string, width: number): SVGElement =>
    svg('path', { class: name, 'stroke-width': width, d: `M${start.x} ${start.y}L${neck.x} ${neck.y}` });
  // Star A in four corners, target B in a lozenge: told apart without colour.
  const corners = [-1, 1]
    .flatMap((x) => [-1, 1].map((y) => [x, y] as const))
    .map(([x, y]) => `M${a.x + x * half} ${a.y + 0.4 * y * half}V${a.y + y * half}H${a.x + 0.4 * x * half}`)
    .join('');
  const lozenge = `M${b.x} ${b.y - half}L${b.x + half} ${b.y}L${b.x} ${b.y + half}L${b.x - half} ${b.y}Z`;
  const marks = [corners, lozenge];
  return [
    line('halo', 0.9 * unit),
    line('mark', 0.5 * unit),
    svg('path', {
      class: 'tip',
      'stroke-width': 0.15 * unit,
      d: `M${tip.x} ${tip.y}L${left.x} ${left.y}L${right.x} ${right.y}Z`,
    }),
    ...marks.map((d) => svg('path', { class: 'halo', 'stroke-width': 0.7 * unit, d })),
    ...marks.map((d) => svg('path', { class: 'mark', 'stroke-width': 0.4 * unit, d })),
    ...(error > half
      ? [svg('circle', { class: 'mark dashed', 'stroke-width': 0.22 * unit, cx: b.x, cy: b.y, r: error })]
      : []),
    letter('A', at(a, -3.6 * unit), unit),
    letter('B', at(b, 3.8 * unit), unit),
  ];
}

function letter(text: string, place: Point, unit: number): SVGElement {
  return svg(
    'text',
    {
      class: 'letter',
      x: place.x,
      y: place.y,
      'font-size': 4.4 * unit,
      'stroke-width': 0.7 * unit,
      'text-anchor': 'middle',
      'dominant-baseline': 'central',
    },
    text,
  );
}
