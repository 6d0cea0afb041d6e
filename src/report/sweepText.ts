import pc from 'picocolors';
import { fixed, plusMinus, significant } from './amounts.ts';
import { CAUTIONS, SHORT_CAUTION_BESIDE_PAGE } from './cautions.ts';
import type { SweepRecord } from './sweepRecord.ts';
import { againstWords, curvatureSide, plateWords, sideWords, spacingWords, turnedWords } from './sweepWords.ts';
import { labelled, type TextOptions } from './text.ts';
import { axisWords, directionWords } from './wording.ts';

const SCREEN_LINES = 24;
const LEAST_WIDTH = 40;

/** The sweep for a terminal (at most 24 lines of 80 columns) or, in full, for report.txt; ends with a line break. */
export function renderSweepText(record: SweepRecord, options: TextOptions): string {
  const width = Math.max(LEAST_WIDTH, options.width);
  const colours = pc.createColors(options.colour);
  const full = options.detail === 'full';
  // Shorter and shorter, until it fits one screen.
  const extents = full ? [Infinity] : [3, 2, 1, 0];
  const texts = extents.map((notes) => {
    const sections = sectionsOf(record, full, notes);
    const [, headline = ''] = sections[0] ?? [];
    const first = labelled('', [headline], width + 10, colours).map((line) => colours.bold(line.trimStart()));
    return [...first, ...sections.slice(1).flatMap(([label, ...lines]) => labelled(label, lines, width, colours))];
  });
  const lines = texts.find((text) => full || text.length <= SCREEN_LINES) ?? texts.at(-1)?.slice(0, SCREEN_LINES) ?? [];
  return `${lines.join('\n')}\n`;
}

type Lines = [label: string, ...lines: string[]];

/** Everything that was found, a label and sentences each. */
export function sweepFacts(record: SweepRecord): readonly Lines[] {
  return told(factsOf(record, true));
}

const told = (sections: readonly Lines[]): Lines[] =>
  sections.filter(([, ...lines]) => lines.some((line) => line !== ''));

function factsOf(record: SweepRecord, full: boolean): Lines[] {
  return [
    ['Focus', ...focusLines(record, full)],
    ['Tilt', ...tiltLines(record)],
    ['Field', ...fieldLines(record, full)],
    ['Coma', ...comaLines(record)],
    ...(record.plate === null || record.next.startsWith(plateWords(record))
      ? []
      : [['Plate', plateWords(record)] as Lines]),
    ...(record.turned === null ? [] : [['Turned', turnedWords(record)] as Lines]),
    ...(record.against === null ? [] : [['Before', againstWords(record)] as Lines]),
  ];
}

function sectionsOf(record: SweepRecord, full: boolean, notes: number): Lines[] {
  return told([
    ['', record.headline],
    ['Next', record.next],
    ...factsOf(record, full),
    ['Frames', ...frameLines(record, full, notes)],
    ['Notes', ...record.notes.slice(0, notes)],
    ['Caution', ...(full ? CAUTIONS : [SHORT_CAUTION_BESIDE_PAGE])],
    ...(full && record.tool
      ? [['Made by', `${record.tool.name} ${record.tool.version}, ${record.created}`] as Lines]
      : []),
  ]);
}

function focusLines({ focus, focuser }: SweepRecord, full: boolean): string[] {
  if (focus === null) return [];
  const fwhm = focus.fwhmPx === null ? '' : `; focused stars ${plusMinus(focus.fwhmPx)} px FWHM`;
  const first = `Middle at reading ${plusMinus(focus.middleReading)}, whole field best at ${plusMinus(focus.compromiseReading)}${fwhm}.`;
  const step = stepWords(focuser);
  return full || focuser.umPerStepFrom === 'stars' ? [first, step] : [first];
}

/** How long a step is, and by what. */
export function stepWords({ unit, umPerStep, umPerStepFrom, umPerStepByStars: stars }: SweepRecord['focuser']): string {
  if (unit === 'um') return 'Readings count micrometres, as told by --step.';
  const byStars = stars === null ? '' : `the growth of the stars says ${plusMinus(stars)} µm`;
  if (umPerStep === null)
    return 'How long a step is, is not known (--um-per-step, or focal length, aperture and pixel size): amounts stay in steps.';
  if (umPerStepFrom === 'stars')
    return `One step is ${plusMinus(stars ?? { value: umPerStep, error: 0 })} µm, by how fast the stars grow.`;
  return `One step is ${significant(umPerStep)} µm (${umPerStepFrom})${byStars === '' ? '' : `; ${byStars}`}.`;
}

function tiltLines({ tilt, focuser }: SweepRecord): string[] {
  if (tilt === null) return [];
  const amount = tilt.umAcross ? `${plusMinus(tilt.umAcross)} µm` : `${plusMinus(tilt.readingsAcross)} ${focuser.unit}`;
  if (tilt.largerDeg === null)
    return [
      `None seen${tilt.upperLimitUm === null ? '' : `; at most ${fixed(Math.max(1, tilt.upperLimitUm), 0)} µm edge to edge (95 %)`}.`,
    ];
  const angle = tilt.arcmin ? ` (${plusMinus(tilt.arcmin)}′)` : '';
  const error = ` ± ${fixed(Math.max(0.1, tilt.directionErrorDeg ?? 0), 1)}°`;
  // The corner the sentence speaks of: nearest the mirror, or last to come into focus.
  const sign = tilt.nearMirrorDeg !== null && tilt.nearMirrorDeg !== tilt.largerDeg ? -1 : 1;
  const corners = [...tilt.corners].sort((a, b) => sign * (b.um - a.um))[0];
  const most = corners
    ? `; ${fixed(Math.abs(corners.um), 0)} ± ${fixed(corners.error, 0)} µm at the ${corners.corner} corner`
    : '';
  return [
    `${amount} edge to edge${angle}, ${fixed(tilt.significance, 0)} sigma, along ${fixed(tilt.largerDeg, 0)}°${error}${most}: ${sideWords(tilt)}.`,
  ];
}

function fieldLines(record: SweepRecord, full: boolean): string[] {
  const { curvature, astigmatism, surfaceMisfitSigma } = record;
  const lines: string[] = [];
  if (curvature !== null) {
    const um = curvature.um;
    const amount = um
      ? `${plusMinus({ value: Math.abs(um.value), error: um.error })} µm`
      : `${plusMinus({ value: Math.abs(curvature.readings.value), error: curvature.readings.error })} ${record.focuser.unit}`;
    const radius = curvature.radiusMm === null ? '' : `, radius ${fixed(curvature.radiusMm, 0)} mm`;
    lines.push(
      curvature.significance < 3
        ? 'No curvature seen.'
        : `Corners focus ${amount} ${curvatureSide(record)} (${fixed(curvature.significance, 0)} sigma${radius}).`,
    );
    if (full && curvature.significance >= 3) lines.push(spacingWords(record));
    else if (record.spacing?.status === 'calibrated') lines.push(spacingWords(record));
  }
  if (astigmatism !== null) lines.push(astigmatismWords(astigmatism));
  if (surfaceMisfitSigma !== null && surfaceMisfitSigma > 3)
    lines.push(
      `The ninths of the field stray from a tilted, curved surface by ${fixed(surfaceMisfitSigma, 1)} times their errors.`,
    );
  return lines;
}

/** What astigmatism does, by how stars turn through focus. */
export function astigmatismWords(astigmatism: NonNullable<SweepRecord['astigmatism']>): string {
  const { uniformWaveUm, uniformFocusUm, significance, longAtLargerDeg, linearSignificance, radialSignificance } =
    astigmatism;
  const parts: string[] = [];
  if (longAtLargerDeg !== null && significance >= 5) {
    const amount = uniformWaveUm
      ? `${plusMinus(uniformWaveUm)} µm of wavefront`
      : uniformFocusUm
        ? `foci ${plusMinus({ value: 2 * Math.hypot(uniformFocusUm.x, uniformFocusUm.y), error: 2 * uniformFocusUm.error })} µm apart`
        : `${fixed(significance, 0)} sigma`;
    parts.push(
      `the same all over, ${amount}, stars long along ${fixed(longAtLargerDeg, 0)}° (${axisWords(longAtLargerDeg)}) at larger readings`,
    );
  }
  if (linearSignificance >= 5) parts.push(`growing from one side to the other (${fixed(linearSignificance, 0)} sigma)`);
  if (radialSignificance >= 5)
    parts.push(
      `${(astigmatism.radialFocusUm?.value ?? 0) > 0 ? 'radial' : 'tangential'} at larger readings, growing outwards (${fixed(radialSignificance, 0)} sigma)`,
    );
  return parts.length === 0 ? 'No astigmatism seen.' : `Astigmatism: ${parts.join('; ')}.`;
}

function comaLines({ coma }: SweepRecord): string[] {
  if (coma === null) return [];
  if (coma.tailDeg === null) return ['None seen in the holes of the discs.'];
  const length = Math.hypot(coma.waveUm.x, coma.waveUm.y);
  const tilt = coma.primaryTiltArcmin ? `, a primary tilted by ${plusMinus(coma.primaryTiltArcmin)}′` : '';
  const sides = coma.bothSides
    ? ''
    : ' Discs on one side of focus only: a shifted shadow of the secondary is told from coma less surely.';
  return [
    `${plusMinus({ value: length, error: coma.waveUm.error })} µm (W131)${tilt}; tails towards ${fixed(coma.tailDeg, 0)}° (${directionWords(coma.tailDeg)}), ${fixed(coma.significance, 0)} sigma, from ${coma.discs} discs.${sides}`,
  ];
}

function frameLines(record: SweepRecord, full: boolean, notes: number): string[] {
  const used = record.frames.filter((f) => f.used);
  const readings = used.flatMap((f) => f.reading ?? []);
  const stars = used.reduce((sum, f) => sum + f.starsMeasured, 0);
  const unused = record.frames.filter((f) => !f.used).map((f) => `Left out: ${f.file}: ${f.whyNot ?? ''}.`);
  const range = readings.length === 0 ? '' : ` at readings ${Math.min(...readings)} to ${Math.max(...readings)}`;
  const summary = `${used.length} used${range}, ${stars} star images.`;
  if (!full) return [summary, ...unused.slice(0, Math.max(1, notes))];
  return [
    summary,
    ...used.map((f) => {
      const light = f.light === null ? '' : `, light ${fixed(100 * f.light, 0)} %`;
      const size = f.halfFluxDiameterPx === null ? '' : `, half-flux diameter ${fixed(f.halfFluxDiameterPx, 2)} px`;
      return `${f.file}: reading ${f.reading ?? '?'}, ${f.starsMeasured} stars${size}${light}`;
    }),
    ...unused,
  ];
}
