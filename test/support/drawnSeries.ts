import { type Random, seededRandom } from '../../src/numeric/random.ts';
import type { Complex } from '../../src/optics/complex.ts';
import { gridFor, type ImageConditions, maxHalfSize, stampAt, starImage } from '../../src/optics/psf.ts';
import { ALIGNED, type OpticalState } from '../../src/optics/state.ts';
import { EXAMPLE_TELESCOPE, effectiveFocalRatio, type Telescope } from '../../src/optics/telescope.ts';
import { wavefrontAt } from '../../src/optics/wavefront.ts';
import { type Disc, measureDisc } from '../../src/sweep/disc.ts';
import { type DiscStack, stackOf } from '../../src/sweep/discStack.ts';
import type { SeriesFrame } from '../../src/sweep/focusFit.ts';

/** A focus run drawn as star stamps: no sky between the stars, so that hundreds of runs take minutes. */
export interface SeriesOptions {
  readonly seed: number;
  readonly telescope?: Telescope;
  readonly state?: Partial<OpticalState>;
  readonly widthMm?: number;
  readonly heightMm?: number;
  readonly pixelUm?: number;
  /** Focuser readings in um, larger ones further out; 0: the middle of the frame is in focus. */
  readonly readings: readonly number[];
  readonly seeingArcsec: number;
  /** Seeing of each frame over the first's; 1 by default. */
  readonly seeingFactors?: readonly number[];
  /** Share of the light that clouds take, by frame. */
  readonly clouds?: readonly number[];
  readonly places?: number;
  readonly starsPerPlace?: number;
  /** Electrons of the faintest star; the brightest has twenty times as many. */
  readonly faintestE?: number;
  readonly stacks?: boolean;
  /** True where the focuser came from larger readings. */
  readonly fromAbove?: readonly boolean[];
  /** By how much a reading reached from above is off, um. */
  readonly backlashUm?: number;
}

const SKY_NOISE_E = 20;
const GAIN = 0.8;
const MIN_SNR = 20;
/** Half-flux diameter from which discs are stacked, px. */
const SMALLEST_STACK = 8;

export function drawSeries(options: SeriesOptions): SeriesFrame[] {
  const { seed, telescope = EXAMPLE_TELESCOPE, pixelUm = 3.76, widthMm = 23.5, heightMm = 15.7 } = options;
  const { places = 48, starsPerPlace = 3, faintestE = 20_000 } = options;
  const width = Math.round((1000 * widthMm) / pixelUm);
  const height = Math.round((1000 * heightMm) / pixelUm);
  const random = seededRandom(seed, 'series');
  const columns = Math.ceil(Math.sqrt((places * width) / height));
  const spots = Array.from({ length: places }, (_, k) => ({
    x: (((k % columns) + 0.2 + 0.6 * random.uniform()) / columns) * width,
    y: ((Math.floor(k / columns) + 0.2 + 0.6 * random.uniform()) / Math.ceil(places / columns)) * height,
    lights: Array.from({ length: starsPerPlace }, () => faintestE * 20 ** random.uniform()),
  }));
  return options.readings.map((reading, f) => {
    const seeingArcsec = options.seeingArcsec * (options.seeingFactors?.[f] ?? 1);
    const clear = 1 - (options.clouds?.[f] ?? 0);
    const above = options.fromAbove?.[f] ?? false;
    const outUm = reading - (above ? (options.backlashUm ?? 0) : 0);
    const state: OpticalState = { ...ALIGNED, ...options.state, focusUm: (options.state?.focusUm ?? 0) - outUm };
    const noise = seededRandom(seed * 100 + f, 'noise');
    const discs: Disc[] = [];
    const stacks: DiscStack[] = [];
    for (const spot of spots) {
      const z: Complex = {
        x: ((spot.x - (width - 1) / 2) * pixelUm) / 1000,
        y: ((spot.y - (height - 1) / 2) * pixelUm) / 1000,
      };
      const stamps = drawPlace(telescope, state, z, { pixelUm, seeingArcsec }, spot.lights, clear, noise);
      const measured = stamps.flatMap((stamp) => {
        const plane = { data: stamp.data, width: stamp.width, height: stamp.width, mask: null, greenParity: null };
        const middle = (stamp.width - 1) / 2;
        const disc = measureDisc(
          plane,
          { x: middle, y: middle, hfd: stamp.hfd },
          SKY_NOISE_E / GAIN,
          GAIN,
          stamp.width,
        );
        return disc === null || disc.snr < MIN_SNR ? [] : [{ disc, plane }];
      });
      if (options.stacks === true && measured.length > 0) stacks.push(...placeStacks(measured, spot, width, height));
      for (const { disc, plane } of measured)
        discs.push({ ...disc, x: spot.x + disc.x - (plane.width - 1) / 2, y: spot.y + disc.y - (plane.width - 1) / 2 });
    }
    const hfds = discs.map((d) => d.hfd).sort((a, b) => a - b);
    return {
      measured: {
        name: `drawn-${f + 1}`,
        width,
        height,
        discs,
        found: discs.length,
        hfd: hfds[hfds.length >> 1] ?? null,
        fwhm: null,
        stacks,
      },
      reading,
      order: f,
      fromAbove: above,
    };
  });
}

interface Stamp {
  readonly data: Float32Array;
  readonly width: number;
  readonly hfd: number;
}

/** Stars of several brightnesses at one place, each at its own pixel phase. */
function drawPlace(
  telescope: Telescope,
  state: OpticalState,
  z: Complex,
  camera: { readonly pixelUm: number; readonly seeingArcsec: number },
  lights: readonly number[],
  clear: number,
  noise: Random,
): Stamp[] {
  const w = wavefrontAt(telescope, state, z);
  const conditions: ImageConditions = { ...camera, filter: 'L', samples: 1, recentred: true, field: z };
  const grid = gridFor(telescope, w, conditions, 10);
  const psf = starImage(telescope, w, { ...conditions, grid });
  const half = maxHalfSize(psf);
  const width = 2 * half + 1;
  const dz = w.d * 8 * effectiveFocalRatio(telescope) ** 2;
  const hfd = Math.hypot(3, (0.187 * dz * 4) / effectiveFocalRatio(telescope) / camera.pixelUm);
  return lights.map((light) => {
    const share = stampAt(psf, noise.uniform() - 0.5, noise.uniform() - 0.5, half);
    const data = Float32Array.from(share, (v) => {
      const electrons = light * clear * v;
      return (electrons + Math.sqrt(SKY_NOISE_E ** 2 + Math.max(0, electrons)) * noise.normal()) / GAIN;
    });
    return { data, width, hfd };
  });
}

/** Mean disc of one place, as stackDiscs would make it of a ninth of a frame. */
function placeStacks(
  measured: readonly { readonly disc: Disc; readonly plane: { data: Float32Array; width: number; height: number } }[],
  spot: { readonly x: number; readonly y: number },
  width: number,
  height: number,
): DiscStack[] {
  const zone = {
    row: Math.min(2, Math.floor((3 * spot.y) / height)),
    column: Math.min(2, Math.floor((3 * spot.x) / width)),
  };
  return measured.flatMap(({ disc, plane }) =>
    disc.hfd < SMALLEST_STACK
      ? []
      : [stackOf({ ...plane, mask: null, greenParity: null }, [disc], zone.row, zone.column, 1)].flatMap((stack) =>
          stack === null ? [] : [{ ...stack, x: spot.x, y: spot.y }],
        ),
  );
}
