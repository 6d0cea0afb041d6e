import type { Frame, RowOrder, Told } from '../frame/frame.ts';
import type { Known, Origin, Setup, ToleranceWishes } from './setup.ts';
import type { ScreenY } from './words.ts';

/** What may be said over the header. */
export interface SetupValues {
  readonly focalMm?: number;
  readonly primaryFocalMm?: number;
  readonly apertureMm?: number;
  readonly pixelUm?: number;
  readonly corrector?: 'none' | number;
  readonly rowOrder?: RowOrder;
}

export interface MeasureSettings extends SetupValues {
  /** What is kept of the telescope and camera: weaker than what is said now, stronger than the header (but for the rows). */
  readonly kept?: SetupValues & { readonly wishes?: ToleranceWishes; readonly obstructionMm?: number };
}

export interface Orientation {
  readonly rowOrder: RowOrder;
  readonly assumed: boolean;
  readonly screenY: ScreenY;
}

/** The set-up of subs taken together: options first, then what is kept, then the first header that tells. */
export function setupFromFrames(frames: readonly Frame[], settings: MeasureSettings): Setup {
  const first = frames[0];
  if (first === undefined) throw new RangeError('setupFromFrames needs at least one frame');
  const choose = (
    key: 'focalMm' | 'apertureMm' | 'pixelUm',
    told: (frame: Frame) => Told<number> | null,
  ): Known<number | null> => {
    for (const { values, from } of levelsOf(settings)) {
      const value = values[key];
      if (value !== undefined) return { value, from };
    }
    const header = frames.map(told).find((entry) => entry !== null);
    return header ? { value: header.value, from: originOf(header) } : { value: null, from: 'unknown' };
  };
  const focalLengthMm = choose('focalMm', (f) => f.facts.focalLengthMm);
  const altitudes = frames.flatMap((f) => f.facts.altitudeDeg?.value ?? []);
  return {
    pixelUm: choose('pixelUm', (f) => f.facts.pixelUm),
    focalLengthMm,
    primaryFocalLengthMm: primaryFocal(focalLengthMm, settings),
    apertureMm: choose('apertureMm', (f) => f.facts.apertureMm),
    ...(settings.kept?.obstructionMm !== undefined && { obstructionMm: settings.kept.obstructionMm }),
    corrector: correctorOf(focalLengthMm, settings),
    filter: frames.map((f) => f.facts.filter?.value).find((value) => value !== undefined) ?? null,
    altitudeDeg: altitudes.length === 0 ? null : altitudes.reduce((a, b) => a + b, 0) / altitudes.length,
    focusPositions: frames.map((f) => f.facts.focusPosition?.value ?? null),
    width: first.width,
    height: first.height,
    mosaic: first.mosaic !== null,
    wishes: settings.kept?.wishes ?? {},
  };
}

/** Keywords are header cards; anything else says itself where it came from. */
function originOf(told: Told<unknown>): Origin {
  return told.keyword === 'option' || told.keyword === 'rig' ? told.keyword : 'header';
}

interface Level {
  readonly values: SetupValues;
  readonly from: 'option' | 'rig';
}

/** Who is asked first. A kept corrector belongs to the kept focal length, not to one said now. */
function levelsOf(settings: MeasureSettings): Level[] {
  const { corrector, ...rest } = settings.kept ?? {};
  const belongs = corrector !== undefined && settings.focalMm === undefined;
  return [
    { values: settings, from: 'option' },
    { values: belongs ? { ...rest, corrector } : rest, from: 'rig' },
  ];
}

function primaryFocal(effective: Known<number | null>, settings: MeasureSettings): Known<number | null> {
  if (effective.value === null) {
    const told = levelsOf(settings).find(({ values }) => values.primaryFocalMm !== undefined);
    return told === undefined
      ? { value: null, from: 'unknown' }
      : { value: told.values.primaryFocalMm ?? null, from: told.from };
  }
  for (const { values, from } of levelsOf(settings)) {
    if (values.primaryFocalMm !== undefined) return { value: values.primaryFocalMm, from };
    if (typeof values.corrector === 'number') return { value: effective.value / values.corrector, from };
    if (values.corrector === 'none') return { value: effective.value, from: effective.from };
  }
  return { value: effective.value, from: 'assumed' };
}

function correctorOf(effective: Known<number | null>, settings: MeasureSettings): Setup['corrector'] {
  for (const { values, from } of levelsOf(settings)) {
    const { corrector, primaryFocalMm } = values;
    if (corrector === 'none') return { value: { present: false, magnification: 1 }, from };
    if (corrector !== undefined) return { value: { present: true, magnification: corrector }, from };
    if (primaryFocalMm !== undefined && effective.value !== null) {
      const magnification = effective.value / primaryFocalMm;
      // The same focal length with and without says nothing about a corrector of magnification 1.
      const present = Math.abs(magnification - 1) > 0.02 ? true : ('unknown' as const);
      return { value: { present, magnification }, from };
    }
  }
  return { value: { present: 'unknown', magnification: null }, from: 'unknown' };
}

/** Row order of the subs: option, header, what is kept, else the FITS display convention, which is an assumption and said so. */
export function orientationOf(frames: readonly Frame[], settings: MeasureSettings): Orientation {
  const header = frames.map((f) => f.facts.rowOrder?.value).find((value) => value !== undefined);
  const told = settings.rowOrder ?? header ?? settings.kept?.rowOrder;
  const rowOrder = told ?? 'BOTTOM-UP';
  return { rowOrder, assumed: told === undefined, screenY: rowOrder === 'BOTTOM-UP' ? 1 : -1 };
}
