import type { Measurement } from '../measure.ts';
import type { Report } from './record.ts';
import type { Screen } from './screen.ts';

/** The whole-field fit in the record's units: nanometres, micrometres, screen directions; null where there is none. */
export function wavefrontRecord({ diagnosis, frames }: Measurement, screen: Screen): Report['wavefront'] {
  const found = diagnosis.amounts?.retrieved ?? null;
  if (found === null) return null;
  const nm = <T extends Readonly<Record<string, number>>>(um: T): T =>
    Object.fromEntries(Object.entries(um).map(([name, value]) => [name, 1000 * value])) as T;
  const { uniform, linear, radial } = found.astigmatismRmsUm;
  return {
    perFrame: found.perSub.map(({ frame, seeingArcsec, focusUm }) => ({
      file: frames[frame]?.stars.name ?? '',
      seeingArcsec,
      focusUm,
    })),
    comaUm: screen.vector(found.coma),
    comaNmRms: nm({ ...found.comaRmsUm }),
    tiltUm: found.tiltUm,
    tiltAxisDeg: screen.axisDeg(found.tiltAxis),
    tiltAxisErrorDeg: (found.tiltAxisError * 180) / Math.PI,
    curvatureUm: found.curvatureUm,
    astigmatismNmRms: {
      uniform: screen.vector(nm({ ...uniform })),
      linear: screen.vector(nm({ ...linear })),
      radial: nm({ ...radial }),
    },
    trefoilNmRms: nm({ ...found.trefoilRmsUm }),
    signKnown: false,
    chi2PerFreedom: found.chi2PerFreedom,
    cells: found.cells,
    tableError: found.drawnAgainstTable ?? 0,
    explained: found.explained,
  };
}
