import type { Cause } from '../../src/diagnosis/finding.ts';
import { directionsOf, pullsOf } from './pulls.ts';
import type { Outcome } from './runCase.ts';

/** Colours that the common kinds of colour blindness keep apart (Okabe & Ito 2008); each goes with a mark of its own. */
const COLOURS = { blue: '#0072b2', orange: '#d55e00', green: '#009e73', purple: '#aa4499', black: '#333333' } as const;

type Mark = 'circle' | 'square' | 'diamond' | 'triangle' | 'cross';

interface Style {
  readonly colour: string;
  readonly mark: Mark;
  readonly name: string;
}

interface Axis {
  readonly label: string;
  readonly from: number;
  readonly to: number;
  readonly log: boolean;
  readonly ticks: readonly number[];
}

const PANEL = { width: 400, height: 300, left: 56, top: 34, right: 14, bottom: 76 } as const;
const INNER = {
  width: PANEL.width - PANEL.left - PANEL.right,
  height: PANEL.height - PANEL.top - PANEL.bottom,
} as const;

const round = (v: number): string => v.toFixed(1);

function place(axis: Axis, value: number): number {
  const clamped = Math.min(axis.to, Math.max(axis.from, value));
  return axis.log
    ? Math.log(clamped / axis.from) / Math.log(axis.to / axis.from)
    : (clamped - axis.from) / (axis.to - axis.from);
}

function markOf({ colour, mark }: Style, x: number, y: number): string {
  const r = 3;
  const at = (dx: number, dy: number): string => `${round(x + dx)},${round(y + dy)}`;
  const open = `fill="${colour}" fill-opacity="0.55"`;
  switch (mark) {
    case 'circle':
      return `<circle cx="${round(x)}" cy="${round(y)}" r="${r}" ${open}/>`;
    case 'square':
      return `<rect x="${round(x - r)}" y="${round(y - r)}" width="${2 * r}" height="${2 * r}" ${open}/>`;
    case 'diamond':
      return `<path d="M${at(0, -r - 1)}L${at(r + 1, 0)}L${at(0, r + 1)}L${at(-r - 1, 0)}Z" ${open}/>`;
    case 'triangle':
      return `<path d="M${at(0, -r - 1)}L${at(r + 1, r)}L${at(-r - 1, r)}Z" ${open}/>`;
    case 'cross':
      return `<path d="M${at(-r, -r)}L${at(r, r)}M${at(-r, r)}L${at(r, -r)}" stroke="${colour}" stroke-width="1.5"/>`;
  }
}

/** One panel of the picture: frame, axes, what is drawn inside, and its legend below. */
class Panel {
  private readonly parts: string[] = [];
  private readonly x: Axis;
  private readonly y: Axis;

  constructor(title: string, x: Axis, y: Axis) {
    this.x = x;
    this.y = y;
    const { left, top } = PANEL;
    const bottom = top + INNER.height;
    this.parts.push(
      `<text x="${left}" y="20" font-size="14" font-weight="bold">${title}</text>`,
      `<rect x="${left}" y="${top}" width="${INNER.width}" height="${INNER.height}" fill="#fff" stroke="#999"/>`,
    );
    for (const tick of x.ticks) {
      const px = round(this.px(tick));
      this.parts.push(
        `<path d="M${px},${top}V${bottom}" stroke="#ddd"/>`,
        `<text x="${px}" y="${bottom + 15}" text-anchor="middle">${tick}</text>`,
      );
    }
    for (const tick of y.ticks) {
      const py = this.py(tick);
      this.parts.push(
        `<path d="M${left},${round(py)}H${left + INNER.width}" stroke="#ddd"/>`,
        `<text x="${left - 6}" y="${round(py + 4)}" text-anchor="end">${tick}</text>`,
      );
    }
    const middle = top + INNER.height / 2;
    this.parts.push(
      `<text x="${left + INNER.width / 2}" y="${bottom + 32}" text-anchor="middle">${x.label}</text>`,
      `<text x="14" y="${middle}" text-anchor="middle" transform="rotate(-90 14 ${middle})">${y.label}</text>`,
    );
  }

  px(value: number): number {
    return PANEL.left + place(this.x, value) * INNER.width;
  }

  py(value: number): number {
    return PANEL.top + (1 - place(this.y, value)) * INNER.height;
  }

  point(style: Style, x: number, y: number): void {
    this.parts.push(markOf(style, this.px(x), this.py(y)));
  }

  bar(style: Style, x: number, low: number, high: number): void {
    const px = round(this.px(x));
    this.parts.push(
      `<path d="M${px},${round(this.py(low))}V${round(this.py(high))}" stroke="${style.colour}" stroke-opacity="0.35"/>`,
    );
  }

  line(points: readonly (readonly [number, number])[], colour: string, dash = ''): void {
    const d = points.map(([x, y], i) => `${i === 0 ? 'M' : 'L'}${round(this.px(x))},${round(this.py(y))}`).join('');
    this.parts.push(
      `<path d="${d}" fill="none" stroke="${colour}" stroke-width="1.6"${dash === '' ? '' : ` stroke-dasharray="${dash}"`}/>`,
    );
  }

  legend(styles: readonly Style[]): void {
    let x = PANEL.left;
    let y = PANEL.height - 26;
    for (const style of styles) {
      const width = 24 + 6.6 * style.name.length;
      if (x + width > PANEL.width) {
        x = PANEL.left;
        y += 16;
      }
      this.parts.push(markOf(style, x + 4, y - 4), `<text x="${x + 12}" y="${y}">${style.name}</text>`);
      x += width;
    }
  }

  at(column: number): string {
    return `<g transform="translate(${column * PANEL.width} 0)">${this.parts.join('')}</g>`;
  }
}

const CAUSES: Partial<Record<Cause, Style>> = {
  miscollimation: { colour: COLOURS.orange, mark: 'circle', name: 'coma' },
  'sensor-tilt': { colour: COLOURS.purple, mark: 'square', name: 'tilt axis' },
  'pinched-optics': { colour: COLOURS.green, mark: 'triangle', name: 'trefoil' },
  tracking: { colour: COLOURS.blue, mark: 'diamond', name: 'smear axis' },
  dispersion: { colour: COLOURS.black, mark: 'cross', name: 'air' },
};

function directionPanel(outcomes: readonly Outcome[]): Panel {
  const panel = new Panel(
    'Directions',
    { label: 'significance, sigma', from: 3, to: 300, log: true, ticks: [3, 10, 30, 100, 300] },
    { label: 'off by, degrees', from: 0.05, to: 90, log: true, ticks: [0.1, 1, 4, 12, 90] },
  );
  panel.line(
    [
      [10, 0.05],
      [10, 90],
    ],
    '#888',
    '4 3',
  );
  panel.line(
    [
      [10, 12],
      [300, 12],
    ],
    '#888',
    '4 3',
  );
  for (const { cause, off, significance } of outcomes.flatMap(directionsOf)) {
    const style = CAUSES[cause];
    if (style !== undefined && significance >= 3) panel.point(style, significance, off);
  }
  panel.legend(Object.values(CAUSES));
  return panel;
}

const ONE_FOCUS: Style = { colour: COLOURS.orange, mark: 'circle', name: 'one focus' };
const TWO_FOCI: Style = { colour: COLOURS.blue, mark: 'square', name: 'foci 40 um apart' };
const BARE: Style = { colour: COLOURS.green, mark: 'triangle', name: 'bare mirror' };

function amountPanel(outcomes: readonly Outcome[]): Panel {
  const panel = new Panel(
    'Tilt of the primary',
    { label: 'drawn, tolerances', from: 0.3, to: 5, log: true, ticks: [0.3, 0.5, 1, 2, 4] },
    { label: 'found / drawn, 68 % interval', from: 0.25, to: 4, log: true, ticks: [0.25, 0.5, 0.75, 1, 1.25, 2, 4] },
  );
  panel.line(
    [
      [0.3, 1],
      [5, 1],
    ],
    '#888',
  );
  for (const { truth, report } of outcomes) {
    const tilt = report.field.coma.mirrorTilt;
    const ratio = truth.causes.miscollimation.ratio ?? 0;
    if (tilt === null || ratio < 0.3) continue;
    const style = truth.bare ? BARE : truth.focusSpreadUm >= 40 ? TWO_FOCI : ONE_FOCUS;
    const real = truth.mirrorTiltArcmin;
    panel.bar(style, ratio, (tilt.arcmin - tilt.minus) / real, (tilt.arcmin + tilt.plus) / real);
    panel.point(style, ratio, tilt.arcmin / real);
  }
  panel.legend([ONE_FOCUS, TWO_FOCI, BARE]);
  return panel;
}

/** Share of pulls within so many quoted errors, against the normal distribution's. */
function pullPanel(outcomes: readonly Outcome[]): Panel {
  const panel = new Panel(
    'Quoted errors',
    { label: '|found - drawn| / quoted error', from: 0, to: 4, log: false, ticks: [0, 1, 2, 3, 4] },
    { label: 'share of numbers within', from: 0, to: 1, log: false, ticks: [0, 0.25, 0.5, 0.68, 0.95] },
  );
  const groups: readonly (readonly [Style, readonly string[]])[] = [
    [{ colour: COLOURS.orange, mark: 'circle', name: 'coma' }, ['coma, um']],
    [{ colour: COLOURS.purple, mark: 'square', name: 'tilt, curvature' }, ['focal-plane tilt, um', 'curvature, um']],
    [{ colour: COLOURS.green, mark: 'triangle', name: 'trefoil' }, ['trefoil3']],
    [{ colour: COLOURS.blue, mark: 'diamond', name: 'elongation' }, ['distortion, uniform', 'distortion, radial']],
  ];
  const steps = Array.from({ length: 41 }, (_, i) => i / 10);
  panel.line(
    steps.map((s) => [s, normalWithin(s)] as const),
    '#888',
    '4 3',
  );
  const pulls = outcomes.flatMap(pullsOf);
  for (const [style, names] of groups) {
    const own = pulls.filter((p) => names.includes(p.name)).map((p) => Math.abs(p.value - p.truth) / p.error);
    if (own.length === 0) continue;
    const within = steps.map((s) => [s, own.filter((p) => p <= s).length / own.length] as const);
    panel.line(within, style.colour);
    for (const s of [0.5, 1, 2, 3]) panel.point(style, s, own.filter((p) => p <= s).length / own.length);
  }
  panel.legend(groups.map(([style]) => style));
  return panel;
}

/** P(|x| <= s) of the unit normal, by Simpson's rule. */
function normalWithin(s: number): number {
  const n = 40;
  const h = s / n;
  let sum = 0;
  for (let i = 0; i <= n; i++) sum += (i === 0 || i === n ? 1 : i % 2 === 1 ? 4 : 2) * Math.exp(-0.5 * (i * h) ** 2);
  return (2 * sum * h) / 3 / Math.sqrt(2 * Math.PI);
}

/** The error plots as one SVG picture: directions, amounts, quoted errors. */
export function accuracyPicture(outcomes: readonly Outcome[], caption: string): string {
  const panels = [directionPanel(outcomes), amountPanel(outcomes), pullPanel(outcomes)];
  const width = PANEL.width * panels.length;
  const height = PANEL.height + 22;
  return [
    `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 ${width} ${height}" width="${width}" height="${height}" font-family="DejaVu Sans, Verdana, sans-serif" font-size="11" fill="#222">`,
    `<title>Accuracy on drawn cases</title>`,
    `<rect width="${width}" height="${height}" fill="#f7f7f5"/>`,
    ...panels.map((panel, i) => panel.at(i)),
    `<text x="${PANEL.left}" y="${height - 8}" fill="#555">${caption}</text>`,
    '</svg>\n',
  ].join('\n');
}
