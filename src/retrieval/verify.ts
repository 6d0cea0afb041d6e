import { median } from '../numeric/statistics.ts';
import type { DrawShape, ResponseTable, StarShape } from '../optics/response.ts';
import { QUANTITIES } from './cells.ts';
import type { Retrieval } from './fitWavefront.ts';
import type { ScanPoint } from './focusScan.ts';
import { predictValues, wavefrontOf } from './model.ts';
import { errorsOf } from './problem.ts';

/** The middle and four places towards the corners, half-diagonals: drawn is where the cell nearest to each stands. */
const PLACES = [
  { u: 0, v: 0 },
  { u: 0.6, v: 0.4 },
  { u: -0.6, v: 0.4 },
  { u: -0.6, v: -0.4 },
  { u: 0.6, v: -0.4 },
];

const MOST_UNMEASURED = 2;

/**
 * Stars drawn afresh at the fitted state against what the table said of them: root mean square over places and quantities, in
 * errors of a typical cell, the table's stated one among them: about one or less, the table is as good as it says. Null where in a sub most are not measurable:
 * far out of focus the mean of a cell may be such a star, though its own were measured.
 */
export function verifyByDrawing(table: ResponseTable, retrieval: Retrieval, draw: DrawShape): number | null {
  const { layout, cells, best } = retrieval;
  const errors = cells.map((cell) => errorsOf(cell, table.rms));
  const typical = Array.from({ length: QUANTITIES }, (_, k) => median(errors.map((each) => each[k])));
  let sum = 0;
  let count = 0;
  for (let frame = 0; frame < layout.subs; frame++) {
    let unmeasured = 0;
    const seeing = best.parameters[layout.seeing(frame)];
    const own = cells.filter((cell) => cell.frame === frame);
    for (const place of PLACES) {
      const { u, v } = nearestTo(place, own);
      const w = wavefrontOf(layout, best.parameters, { frame, u, v });
      const drawn = draw(seeing, w);
      if (drawn === null) {
        if (++unmeasured > MOST_UNMEASURED) return null;
        continue;
      }
      const away = difference(table.at(seeing, w), drawn);
      for (const [k, value] of away.entries()) {
        sum += (value / typical[k]) ** 2;
        count++;
      }
    }
  }
  return Math.sqrt(sum / count);
}

/** Logarithm of the odds between the sides of focus beyond which no table is so wrong. */
const BEYOND_DOUBT = 20;

/**
 * A bare mirror's sides of focus, which lie far apart in the table, weighed anew by what is drawn in every cell at the most probable place
 * of each: the retrieval with the scan's weights so changed. Unchanged where one side has all the weight.
 */
export function sidesByDrawing(table: ResponseTable, retrieval: Retrieval, draw: DrawShape): Retrieval {
  const { layout, cells, errorScale, scan } = retrieval;
  // The most probable stand first.
  const inside = scan.find(({ focus }) => focus < 0);
  const outside = scan.find(({ focus }) => focus >= 0);
  if (inside === undefined || outside === undefined) return retrieval;
  if (Math.abs(Math.log(inside.weight / outside.weight)) > BEYOND_DOUBT) return retrieval;
  /** By how much drawn stars are farther from the cells than the table's. */
  const worse = ({ parameters: p }: ScanPoint): number =>
    cells.reduce((sum, cell) => {
      const drawn = draw(p[layout.seeing(cell.frame)], wavefrontOf(layout, p, cell));
      if (drawn === null) return sum;
      const errors = errorsOf(cell, table.rms);
      const away = (by: Pick<ResponseTable, 'at'>): number => {
        const predicted = new Float64Array(QUANTITIES);
        predictValues(layout, by, p, cell, predicted, 0);
        return predicted.reduce(
          (chi2, value, k) => chi2 + ((value - cell.values[k]) / (errorScale * errors[k])) ** 2,
          0,
        );
      };
      return sum + away({ at: () => drawn }) - away(table);
    }, 0);
  const less = (worse(outside) - worse(inside)) / 2;
  const weights = scan.map(({ focus, weight }) => weight * Math.exp(focus < 0 ? less / 2 : -less / 2));
  const total = weights.reduce((a, b) => a + b, 0);
  return {
    ...retrieval,
    scan: scan.map((point, i) => ({ ...point, weight: weights[i] / total })).sort((a, b) => b.weight - a.weight),
  };
}

/** Where stars are: those of a bare mirror may fill a corner of the frame only. */
function nearestTo(place: Spot, spots: readonly Spot[]): Spot {
  const away = (spot: Spot): number => Math.hypot(spot.u - place.u, spot.v - place.v);
  return (
    spots.reduce<Spot | null>((best, spot) => (best === null || away(spot) < away(best) ? spot : best), null) ?? place
  );
}

interface Spot {
  readonly u: number;
  readonly v: number;
}

function difference(a: StarShape, b: StarShape): number[] {
  return [
    a.sigma2 - b.sigma2,
    a.e.x - b.e.x,
    a.e.y - b.e.y,
    a.coma3.x - b.coma3.x,
    a.coma3.y - b.coma3.y,
    a.trefoil3.x - b.trefoil3.x,
    a.trefoil3.y - b.trefoil3.y,
  ];
}
