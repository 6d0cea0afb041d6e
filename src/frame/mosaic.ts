import type { PixelArray } from '../fits/pixels.ts';
import type { Mosaic } from './frame.ts';

/**
 * Which pixels of a colour mosaic are green. Headers name a pattern but not reliably from which corner, so the pixels are
 * asked: the two green sites of a 2x2 cell see the same sky, the red and the blue one do not.
 */

type Pattern = Mosaic['pattern'];

/** Mean levels of the four sites of the 2x2 cells, stored order (0,0), (1,0), (0,1), (1,1), with the scatter between blocks. */
interface SiteDifferences {
  /** (0,0) minus (1,1), and (1,0) minus (0,1): one of them is green minus green. */
  readonly main: Difference;
  readonly anti: Difference;
  /** Half the main diagonal's sum minus half the other's: a chequerboard. */
  readonly chequer: Difference;
  /** Pixel noise, robust, of one site. */
  readonly noise: number;
}

interface Difference {
  readonly value: number;
  readonly error: number;
}

/** Blocks along each axis, each giving one level a site: enough for a standard error, few enough to be quick. */
const BLOCKS = 12;
/** A frame whose header names no mosaic is looked at less closely. */
const BLOCKS_UNNAMED = 6;
/** Cells a block, along each axis: 256 values a site. */
const BLOCK_CELLS = 16;

function median(values: Float64Array): number {
  values.sort();
  const middle = values.length >> 1;
  return values.length % 2 === 1 ? values[middle] : (values[middle - 1] + values[middle]) / 2;
}

/** Median with the standard error of the mean from the median absolute deviation (1.4826: normal distribution). */
function summary(values: readonly number[]): Difference {
  const centre = median(Float64Array.from(values));
  const deviation = median(Float64Array.from(values, (value) => Math.abs(value - centre)));
  return { value: centre, error: Math.max((1.4826 * 1.2533 * deviation) / Math.sqrt(values.length), 1e-12) };
}

function siteDifferences(pixels: PixelArray, width: number, height: number, blocks: number): SiteDifferences | null {
  const cells = 2 * BLOCK_CELLS;
  const across = Math.min(blocks, Math.floor(width / cells));
  const down = Math.min(blocks, Math.floor(height / cells));
  if (across * down < 4) return null;
  const main: number[] = [];
  const anti: number[] = [];
  const chequer: number[] = [];
  const noise: number[] = [];
  const sites = Array.from({ length: 4 }, () => new Float64Array(BLOCK_CELLS * BLOCK_CELLS));
  for (let by = 0; by < down; by++) {
    for (let bx = 0; bx < across; bx++) {
      // Even corner, so that site 0 is (even, even).
      const x0 = 2 * Math.floor((bx * (width - cells)) / (2 * Math.max(1, across - 1)));
      const y0 = 2 * Math.floor((by * (height - cells)) / (2 * Math.max(1, down - 1)));
      for (let cy = 0, i = 0; cy < BLOCK_CELLS; cy++) {
        for (let cx = 0; cx < BLOCK_CELLS; cx++, i++) {
          const at = (y0 + 2 * cy) * width + x0 + 2 * cx;
          sites[0][i] = pixels[at];
          sites[1][i] = pixels[at + 1];
          sites[2][i] = pixels[at + width];
          sites[3][i] = pixels[at + width + 1];
        }
      }
      const slope = slopes(sites[0]);
      const levels = sites.map(trimmedMean);
      // NaN where a block holds pixels without value.
      if (levels.some(Number.isNaN)) continue;
      // A sky gradient shifts neighbouring sites too.
      main.push(levels[0] - levels[3] + slope.x + slope.y);
      anti.push(levels[1] - levels[2] - slope.x + slope.y);
      chequer.push((levels[0] + levels[3] - levels[1] - levels[2]) / 2);
      noise.push(interquartileSigma(sites[0]));
    }
  }
  if (main.length < 4) return null;
  return {
    main: summary(main),
    anti: summary(anti),
    chequer: summary(chequer),
    noise: median(Float64Array.from(noise)),
  };
}

/** Change of one site's level a pixel, from the halves of a block: their centres stand BLOCK_CELLS pixels apart. */
function slopes(site: Float64Array): { x: number; y: number } {
  const half = site.length / 2;
  const sides = Array.from({ length: 4 }, () => new Float64Array(half));
  for (let i = 0, left = 0, right = 0; i < site.length; i++) {
    if (i % BLOCK_CELLS < BLOCK_CELLS / 2) sides[0][left++] = site[i];
    else sides[1][right++] = site[i];
  }
  sides[2].set(site.subarray(0, half));
  sides[3].set(site.subarray(half));
  const [left, right, low, high] = sides.map(trimmedMean);
  return { x: (right - left) / BLOCK_CELLS, y: (high - low) / BLOCK_CELLS };
}

/** Mean of the middle half: as deaf to stars as a median, and not stepped by whole numbers. Sorts its argument. */
function trimmedMean(values: Float64Array): number {
  values.sort();
  if (Number.isNaN(values[values.length - 1])) return NaN;
  const from = values.length >> 2;
  const to = values.length - from;
  let sum = 0;
  for (let i = from; i < to; i++) sum += values[i];
  return sum / (to - from);
}

/** Of sorted values; 1.349: quartiles of the normal distribution. */
function interquartileSigma(sorted: Float64Array): number {
  return (sorted[(3 * sorted.length) >> 2] - sorted[sorted.length >> 2]) / 1.349;
}

/** Red and blue must differ by this many standard errors, and this many times more than the greens do. */
const SURE_SIGMAS = 6;
const SURE_RATIO = 3;
/** A frame whose header names no mosaic is taken for one only if the chequerboard is this large against its pixel noise. */
const UNNAMED_NOISE_RATIO = 0.5;

export interface GreenEvidence {
  /** Green pixels have ((x + y) & 1) === parity; null where the pixels do not tell. */
  readonly parity: 0 | 1 | null;
  /** True where even without a word in the header the pixels must be a colour mosaic's. */
  readonly plainlyMosaic: boolean;
}

/** Asks the pixels which diagonal of the 2x2 cells is green; `named`: the header says that there is a mosaic. */
export function greenEvidence(pixels: PixelArray, width: number, height: number, named: boolean): GreenEvidence {
  const found = siteDifferences(pixels, width, height, named ? BLOCKS : BLOCKS_UNNAMED);
  if (found === null) return { parity: null, plainlyMosaic: false };
  const { main, anti, chequer, noise } = found;
  const [green, other, parity] =
    Math.abs(main.value) < Math.abs(anti.value) ? ([main, anti, 0] as const) : ([anti, main, 1] as const);
  const excess = Math.abs(other.value) - Math.abs(green.value);
  const sure =
    excess > SURE_SIGMAS * Math.hypot(main.error, anti.error) &&
    Math.abs(other.value) > SURE_RATIO * Math.abs(green.value);
  const marked =
    Math.abs(chequer.value) > UNNAMED_NOISE_RATIO * noise && Math.abs(chequer.value) > SURE_SIGMAS * chequer.error;
  return { parity: sure ? parity : null, plainlyMosaic: sure && marked && excess > UNNAMED_NOISE_RATIO * noise };
}

const LETTERS = /^[RGB]{4}$/;

/** Pattern from its four letters; null unless it has one red, one blue, and two greens on a diagonal. */
export function patternFrom(text: string): Pattern | null {
  const letters = text.toUpperCase();
  if (!LETTERS.test(letters)) return null;
  const pattern = Array.from(letters) as unknown as Pattern;
  const sorted = Array.from(letters).sort().join('');
  return sorted === 'BGGR' && greenParity(pattern) !== null ? pattern : null;
}

/** Parity of the green sites of a pattern; null when its greens share a row or column. */
export function greenParity(pattern: Pattern): 0 | 1 | null {
  if (pattern[0] === 'G' && pattern[3] === 'G') return 0;
  return pattern[1] === 'G' && pattern[2] === 'G' ? 1 : null;
}

/** The pattern seen from a pixel that lies `dx`, `dy` inside it (XBAYROFF, YBAYROFF). */
export function shiftedPattern(pattern: Pattern, dx: number, dy: number): Pattern {
  const at = (x: number, y: number): Pattern[0] => pattern[((((y + dy) % 2) + 2) % 2) * 2 + ((((x + dx) % 2) + 2) % 2)];
  return [at(0, 0), at(1, 0), at(0, 1), at(1, 1)];
}

/** The pattern of the same rows stored in the opposite order. */
export function rowFlippedPattern(pattern: Pattern, height: number): Pattern {
  return shiftedPattern([pattern[2], pattern[3], pattern[0], pattern[1]], 0, height % 2);
}
