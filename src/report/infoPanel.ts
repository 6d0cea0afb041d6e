import { decimalsFor, fixed, plusMinus, significant } from './amounts.ts';
import { textOutlines, textWidth, wrapLettering } from './lettering.ts';
import { PALETTE } from './palette.ts';
import { type Canvas, type Colour, fill, type Polygon } from './raster.ts';
import type { Finding, Report, Verdict } from './record.ts';
import { arrow, disc, line, plate, ring } from './strokes.ts';
import { printable } from './untrusted.ts';
import { bareHeadline, capital, causeWords, nextMove, typicalStar, VERDICT_WORDS } from './wording.ts';

/** Sizes in thousandths of the picture's width. */
const SIZE = {
  margin: 30,
  badge: 64,
  verdict: 32,
  headline: 36,
  next: 31,
  label: 25,
  value: 46,
  footer: 24,
  gauge: 12,
} as const;

const VERDICT_COLOURS: Record<Verdict, Colour> = {
  good: PALETTE.elongation,
  adjust: PALETTE.coma,
  inconclusive: PALETTE.muted,
};

/** Space of the four numbers with what stands below them, thousandths of the width. */
const NUMBERS_TALL = SIZE.label * 4.3 + SIZE.value * 1.2 + SIZE.gauge * 3 + 24;

interface Layout {
  readonly headline: readonly string[];
  readonly next: readonly string[];
  readonly footer: readonly string[];
  readonly height: number;
}

function layoutOf(report: Report, width: number): Layout {
  const u = width / 1000;
  const textWide = width - (SIZE.margin * 2 + SIZE.badge + 24) * u;
  const headline = wrapLettering(printable(bareHeadline(report)), textWide, SIZE.headline * u, 'bold');
  const next = wrapLettering(printable(nextMove(report)), textWide, SIZE.next * u);
  const footer = wrapLettering(footerOf(report), width - 2 * SIZE.margin * u, SIZE.footer * u);
  const height =
    SIZE.margin * 1.9 +
    SIZE.verdict * 1.3 +
    headline.length * SIZE.headline * 1.25 +
    next.length * SIZE.next * 1.3 +
    footer.length * SIZE.footer * 1.3 +
    NUMBERS_TALL;
  return { headline, next, footer, height: Math.round(height * u) };
}

export function infoPanelHeight(report: Report, width: number): number {
  return layoutOf(report, width).height;
}

/** Verdict, headline, next move and the few numbers that matter, from `top` downwards. */
export function drawInfoPanel(canvas: Canvas, report: Report, top: number): void {
  const { width } = canvas;
  const u = width / 1000;
  const { headline, next, footer } = layoutOf(report, width);
  const colour = VERDICT_COLOURS[report.verdict];
  const left = SIZE.margin * u;
  const textLeft = left + (SIZE.badge + 24) * u;
  fill(canvas, [[0, top, width, top, width, top + 4 * u, 0, top + 4 * u]], colour);
  drawBadge(canvas, report.verdict, left + (SIZE.badge / 2) * u, top + (SIZE.margin + 8 + SIZE.badge / 2) * u, u);

  let y = top + (SIZE.margin + SIZE.verdict * 0.9) * u;
  const write = (text: string, x: number, size: number, ink: Colour, weight: 'regular' | 'bold' = 'regular'): void =>
    fill(canvas, textOutlines(text, x, y, size * u, weight), ink);
  write(VERDICT_WORDS[report.verdict], textLeft, SIZE.verdict, colour, 'bold');
  y += SIZE.headline * 1.25 * u;
  for (const text of headline) {
    write(text, textLeft, SIZE.headline, PALETTE.ink, 'bold');
    y += SIZE.headline * 1.25 * u;
  }
  y += SIZE.next * 0.25 * u;
  const pointer = (SIZE.badge - 10) * u;
  fill(canvas, arrow(left + 10 * u, y - 10 * u, left + pointer, y - 10 * u, 6 * u), PALETTE.move);
  for (const text of next) {
    write(text, textLeft, SIZE.next, PALETTE.move);
    y += SIZE.next * 1.3 * u;
  }
  y += SIZE.label * 0.4 * u;
  const cells = numbersOf(report);
  const cellWide = (width - 2 * left) / cells.length;
  const numbersTop = y;
  cells.forEach((cell, i) => {
    const x = left + i * cellWide;
    y = numbersTop + SIZE.label * u;
    write(cell.label, x, SIZE.label, PALETTE.muted);
    y += SIZE.value * 1.15 * u;
    write(cell.value, x, SIZE.value, PALETTE.ink, 'bold');
    const unitAt = x + textWidth(cell.value, SIZE.value * u, 'bold') + 10 * u;
    write(cell.unit, unitAt, SIZE.label, PALETTE.ink);
    for (const text of cell.below) {
      y += SIZE.label * 1.3 * u;
      write(text, x, SIZE.label, PALETTE.muted);
    }
    const gaugeTop = numbersTop + (SIZE.label * 3.6 + SIZE.value * 1.15 + SIZE.gauge * 1.2) * u;
    if (cell.share) drawGauge(canvas, cell.share, x, gaugeTop, cellWide * 0.8, u);
  });
  y = numbersTop + (NUMBERS_TALL - SIZE.label * 0.5) * u;
  for (const text of footer) {
    write(text, left, SIZE.footer, PALETTE.muted);
    y += SIZE.footer * 1.3 * u;
  }
}

/** A shape for each verdict, told apart without colour. */
function drawBadge(canvas: Canvas, verdict: Verdict, x: number, y: number, u: number): void {
  const r = (SIZE.badge / 2) * u;
  const colour = VERDICT_COLOURS[verdict];
  if (verdict === 'good') {
    fill(canvas, ring(x, y, r - 3 * u, 6 * u), colour);
    const tick: Polygon[] = [
      ...line(x - 0.42 * r, y + 0.05 * r, x - 0.1 * r, y + 0.36 * r, 7 * u),
      ...line(x - 0.1 * r, y + 0.36 * r, x + 0.46 * r, y - 0.34 * r, 7 * u),
    ];
    fill(canvas, tick, colour);
    return;
  }
  if (verdict === 'adjust') {
    fill(canvas, [plate(x - r, y - r, 2 * r, 2 * r, 0.3 * r)], colour);
    fill(canvas, arrow(x + 0.62 * r, y + 0.62 * r, x - 0.6 * r, y - 0.6 * r, 8 * u), PALETTE.ground);
    return;
  }
  fill(canvas, [disc(x, y, r)], colour);
  const size = 1.5 * r;
  fill(canvas, textOutlines('?', x - textWidth('?', size, 'bold') / 2, y + size * 0.36, size, 'bold'), PALETTE.ground);
}

/** Tolerances that a gauge spans; a larger amount ends in an arrow. */
const GAUGE_SPAN = 3;

/** The amount against its tolerance: a bar from nothing, the room that the tolerance leaves lighter, its limit upright. */
function drawGauge(canvas: Canvas, share: Share, x: number, y: number, wide: number, u: number): void {
  const tall = SIZE.gauge * u;
  const unit = wide / GAUGE_SPAN;
  const at = (value: number): number => Math.min(value, GAUGE_SPAN) * unit;
  const bar = (from: number, to: number, part: number): Polygon => {
    const inset = (tall * (1 - part)) / 2;
    return [x + from, y + inset, x + to, y + inset, x + to, y + tall - inset, x + from, y + tall - inset];
  };
  fill(canvas, [bar(0, wide, 0.2)], PALETTE.muted, 0.4);
  fill(canvas, [bar(0, unit, 1)], PALETTE.muted, 0.34);
  const colour = share.value > 1 ? PALETTE.coma : PALETTE.elongation;
  fill(canvas, [bar(0, Math.max(2.5 * u, at(share.value)), 0.62)], colour);
  if (share.value > GAUGE_SPAN)
    fill(canvas, arrow(x + wide - 20 * u, y + tall / 2, x + wide + 8 * u, y + tall / 2, 4 * u), colour);
  else fill(canvas, line(x + at(share.low), y + tall / 2, x + at(share.high), y + tall / 2, 2.5 * u), PALETTE.ink);
  fill(canvas, line(x + unit, y - 3 * u, x + unit, y + tall + 3 * u, 3 * u), PALETTE.ink);
}

type Share = NonNullable<Finding['toleranceShare']>;

interface NumberCell {
  readonly label: string;
  readonly value: string;
  readonly unit: string;
  /** Lines below the value: its error, what it means. */
  readonly below: readonly string[];
  /** Against its tolerance, where that is known. */
  readonly share?: Share | null;
}

function numbersOf(report: Report): readonly NumberCell[] {
  const { fwhmPx, elongation } = typicalStar(report);
  const { arcsecPerPx } = report.scale;
  const size: NumberCell = {
    label: 'Star size',
    value: fwhmPx === null ? '–' : fixed(fwhmPx, 1),
    unit: 'px',
    below: fwhmPx === null || arcsecPerPx === null ? ['FWHM'] : [`FWHM, ${fixed(fwhmPx * arcsecPerPx, 1)}″`],
  };
  const long: NumberCell = {
    label: 'Elongation',
    value: elongation === null ? '–' : fixed(elongation, 2),
    unit: '',
    below: ['long / short'],
  };
  return [size, long, comaCell(report), tiltCell(report)];
}

const shareOf = (report: Report, cause: string): Share | null =>
  report.findings.find((finding) => finding.cause === cause)?.toleranceShare ?? null;

/** Where the optics are not known an amount is told in tolerances. */
function inTolerances(share: Share): Pick<NumberCell, 'value' | 'unit' | 'below'> {
  const error = (share.high - share.low) / 2;
  return { value: significant(share.value), unit: '× tol.', below: [`± ${significant(error)}`] };
}

function comaCell(report: Report): NumberCell {
  const { mirrorTilt, uniform3 } = report.field.coma;
  const label = 'Coma';
  const share = shareOf(report, 'miscollimation');
  const finding = report.findings.find(({ cause }) => cause === 'miscollimation');
  // An amount with a wide interval still says something; one of a handful of stars does not.
  if (finding?.status === 'not-measurable' && finding.significance === null)
    return { label, value: '–', unit: '', below: ['not measurable'] };
  if (mirrorTilt) {
    const decimals = Math.min(2, decimalsFor(Math.min(mirrorTilt.plus, mirrorTilt.minus)));
    const [plus, minus] = [fixed(mirrorTilt.plus, decimals), fixed(mirrorTilt.minus, decimals)];
    return {
      label,
      value: `${fixed(mirrorTilt.arcmin, decimals)}′`,
      unit: '',
      below: [`+${plus} −${minus}`, 'as mirror tilt'],
      share,
    };
  }
  if (share) return { label, ...inTolerances(share), share };
  if (!uniform3) return { label, value: '–', unit: '', below: ['not measured'] };
  const length = Math.hypot(uniform3.x, uniform3.y);
  const decimals = Math.max(3, decimalsFor(uniform3.error));
  return { label, value: fixed(length, decimals), unit: '', below: [`± ${fixed(uniform3.error, decimals)}`] };
}

function tiltCell(report: Report): NumberCell {
  const { tiltUm, tiltUpperLimitUm, axisDeg } = report.field.defocus;
  const label = capital(causeWords('sensor-tilt', report));
  const share = shareOf(report, 'sensor-tilt');
  const finding = report.findings.find(({ cause }) => cause === 'sensor-tilt');
  if (finding?.status === 'not-measurable') return { label, value: '–', unit: '', below: ['not measurable'] };
  // Without an axis the tilt is not seen, and its upper limit is what is known.
  if (tiltUpperLimitUm !== null && axisDeg === null)
    return { label, value: `< ${fixed(tiltUpperLimitUm, 0)}`, unit: 'µm', below: ['edge to edge'], share };
  if (!tiltUm)
    return share ? { label, ...inTolerances(share), share } : { label, value: '–', unit: '', below: ['not measured'] };
  const [value = '', error = ''] = plusMinus(tiltUm).split(' ± ');
  return { label, value, unit: 'µm', below: [`± ${error}`, 'edge to edge'], share };
}

function footerOf(report: Report): string {
  const used = report.frames.filter((frame) => frame.used);
  const stars = used.reduce((sum, frame) => sum + frame.starsFitted, 0);
  const subs = used.length === 1 ? '1 sub' : `${used.length} subs`;
  const rows = report.orientation.rowOrder === 'TOP-DOWN' ? 'on top' : 'at the bottom';
  const assumed = report.orientation.assumed ? ' (assumed)' : '';
  const drawn = [comaCell(report), tiltCell(report)].some((cell) => cell.share) ? ' · lines, disc: tolerance' : '';
  return `${subs}, ${stars} stars · first stored row ${rows}${assumed}${drawn}`;
}
