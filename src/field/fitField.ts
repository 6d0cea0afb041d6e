import { median } from '../numeric/statistics.ts';
import { type Persistent, persistentDirection, persistentValue, persistentVector } from './combine.ts';
import type { FrameStars, Uncertain, UncertainVector } from './frameStars.ts';
import { fitSpinFields, type SpinFields } from './spinFields.ts';
import { summariseZones, type Zone } from './zones.ts';

/**
 * The smooth fields of all subs together: what persists, and each sub's own. Stored axes, half-diagonals.
 * The widths (sizeField.ts) follow later: what coma adds to them must be known first.
 */
export interface Field {
  readonly zones: readonly Zone[];
  /** Null where there are too few stars for any field. */
  readonly smooth: SmoothFields | null;
  /** Median of all stars, pixels. */
  readonly fwhm: number | null;
  readonly stars: number;
}

export interface SmoothFields {
  readonly coma: { readonly uniform: Persistent; readonly linear: Uncertain; readonly cubic: number };
  readonly distortion: {
    readonly uniform: Persistent;
    readonly linear: readonly [number, number, number, number];
    readonly linearError: number;
    readonly radial: Uncertain;
  };
  readonly trefoil: { readonly uniform: Persistent };
  /** Index of the sub in the given list, with its own fields. */
  readonly perFrame: readonly { readonly frame: number; readonly fields: SpinFields }[];
}

export function fitField(frames: readonly FrameStars[]): Field {
  const all = frames.flatMap((frame) => frame.shapes.map((s) => s.fwhm));
  return {
    zones: summariseZones(frames),
    smooth: fitSmooth(frames),
    fwhm: all.length > 0 ? median(all) : null,
    stars: all.length,
  };
}

function fitSmooth(frames: readonly FrameStars[]): SmoothFields | null {
  const perFrame = frames.flatMap((frame, i) => {
    const fields = fitSpinFields(frame);
    return fields === null ? [] : [{ frame: i, fields }];
  });
  if (perFrame.length === 0) return null;
  const fields = perFrame.map((entry) => entry.fields);
  const uniform = (pick: (f: SpinFields) => UncertainVector): Persistent => persistentVector(fields.map(pick));
  const linear = [0, 1, 2, 3].map((k) =>
    persistentValue(fields.map((f) => ({ value: f.distortion.linear[k], error: f.distortion.linearError }))),
  );
  return {
    ...persistentOdd(fields),
    distortion: {
      uniform: uniform((f) => f.distortion.uniform),
      linear: [linear[0].value, linear[1].value, linear[2].value, linear[3].value],
      linearError: Math.sqrt(linear.reduce((sum, l) => sum + l.error ** 2, 0) / 4),
      radial: persistentValue(fields.map((f) => f.distortion.radial)),
    },
    perFrame,
  };
}

/** The same with coma and trefoil of some subs left out: those in which a jump hides what the optics do. */
export function withoutOdd(smooth: SmoothFields, left: (frame: number) => boolean): SmoothFields {
  const fields = smooth.perFrame.filter(({ frame }) => !left(frame)).map((entry) => entry.fields);
  return { ...smooth, ...persistentOdd(fields) };
}

function persistentOdd(fields: readonly SpinFields[]): Pick<SmoothFields, 'coma' | 'trefoil'> {
  const trefoils = fields.map((f) => f.trefoil.uniform);
  return {
    coma: persistentComa(fields.map((f) => f.coma)),
    trefoil: { uniform: persistentDirection(trefoils, 'trefoil') },
  };
}

export function persistentComa(fields: readonly SpinFields['coma'][]): SmoothFields['coma'] {
  const uniforms = fields.map((f) => f.uniform);
  return {
    uniform: persistentDirection(uniforms, 'coma'),
    linear: persistentValue(fields.map((f) => f.linear)),
    cubic: median(fields.map((f) => f.cubic)),
  };
}
