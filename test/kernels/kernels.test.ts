import { execFileSync } from 'node:child_process';
import { fileURLToPath } from 'node:url';
import ndarray from 'ndarray';
import { afterEach, describe, expect, it } from 'vitest';
import { fitSizeField, type SizeField } from '../../src/field/sizeField.ts';
import { storedValues } from '../../src/fits/stored.ts';
import { frameFromFits } from '../../src/frame/fromFits.ts';
import { kernels, useKernels } from '../../src/kernels/kernels.ts';
import { measureFrame } from '../../src/measure.ts';
import { seededRandom } from '../../src/numeric/random.ts';
import { robustLinearFit } from '../../src/numeric/robustFit.ts';
import { PixelStars } from '../../src/optics/pixelStars.ts';
import { starImage } from '../../src/optics/psf.ts';
import { EXAMPLE_TELESCOPE } from '../../src/optics/telescope.ts';
import type { Coefficients } from '../../src/optics/wavefront.ts';
import { indexColours } from '../../src/report/indexed.ts';
import { stretchPreview } from '../../src/report/preview.ts';
import { createCanvas, fill } from '../../src/report/raster.ts';
import { disc, line, ring } from '../../src/report/strokes.ts';
import type { Shape } from '../../src/shapes/shape.ts';
import { meshBackground } from '../../src/stars/background.ts';
import { detectStars } from '../../src/stars/detect.ts';
import { planeForKernels, planeOf } from '../../src/stars/plane.ts';
import { sampleFrame } from '../support/samples.ts';

/** Every kernel against the TypeScript that does the same where there are none: neither knows the other's loops. */

afterEach(() => useKernels(true));

function both<T>(work: () => T): { compiled: T; plain: T } {
  useKernels(true);
  if (kernels() === null) throw new Error('this Node has no kernels');
  const compiled = work();
  useKernels(false);
  const plain = work();
  return { compiled, plain };
}

/** Relative to the larger of 1 and the value. */
const CLOSE = 1e-9;

function expectSameShapes(compiled: readonly Shape[], plain: readonly Shape[]): void {
  expect(compiled.length).toBe(plain.length);
  const numbers = (s: Shape): number[] => [
    ...[s.x, s.y, s.positionError, s.amplitude, s.amplitudeError, s.background, s.sigmaMajor, s.sigmaMinor, s.fwhm],
    ...[s.fwhmError, s.e1, s.e2, s.eError, s.coma3.x, s.coma3.y, s.coma3.error],
    ...[s.trefoil3.x, s.trefoil3.y, s.trefoil3.error, s.peakSnr, s.misfit, s.flux, s.fluxError],
  ];
  let worst = 0;
  compiled.forEach((shape, i) => {
    const other = numbers(plain[i] ?? shape);
    numbers(shape).forEach((value, k) => {
      const reference = other[k] ?? Number.NaN;
      worst = Math.max(worst, Math.abs(value - reference) / Math.max(1, Math.abs(reference)));
    });
  });
  expect(worst).toBeLessThan(CLOSE);
}

describe('what is kept in src/kernels/compiled.ts', () => {
  it('is what the sources compile to', () => {
    const script = fileURLToPath(new URL('../../scripts/build-kernels.mjs', import.meta.url));
    expect(execFileSync(process.execPath, [script, '--check'], { encoding: 'utf8' })).toBe('up to date\n');
  });
});

describe('kernels and TypeScript agree', () => {
  it.each(['sample-coma.fits.fz', 'sample-soft-sides.fits.fz'])('every star of %s, to 1e-9', (name) => {
    const { compiled, plain } = both(() => measureFrame(sampleFrame(name)));
    expect(compiled.found).toBe(plain.found);
    expect(compiled.leftOut).toEqual(plain.leftOut);
    expect(compiled.stars.shapes.length).toBeGreaterThan(100);
    expectSameShapes(compiled.stars.shapes, plain.stars.shapes);
  });

  it('the stars of a colour mosaic, whose red and blue pixels are missing, to 1e-9', () => {
    const frame = sampleFrame('sample-coma.fits.fz');
    const mosaic = { ...frame, mosaic: { greenParity: 1, fromData: true } as const };
    const { compiled, plain } = both(() => measureFrame(mosaic));
    expect(compiled.stars.shapes.length).toBeGreaterThan(50);
    expectSameShapes(compiled.stars.shapes, plain.stars.shapes);
  });

  it.each([
    ['faint', 1000, 30, 40_000],
    ['with values spread beyond those that are counted one by one', 20_000, 3000, 20_000],
    ['whose darkest pixels are dead', 6000, 30, -6000],
  ])('the background mesh and the candidates of a noisy frame, %s, exactly', (_, sky, noise, odd) => {
    const random = seededRandom(5);
    const [width, height] = [531, 403];
    const data = Uint16Array.from({ length: width * height }, (_unused, i) => {
      const cluster = i % 977 === 0 ? odd * random.uniform() : 0;
      return Math.round(sky + (i % width) + noise * (random.normal() + (i % 431 === 0 ? 30 : 0)) + cluster);
    });
    for (const greenParity of [null, 0, 1] as const) {
      const { compiled, plain } = both(() => {
        const plane = planeForKernels({ data, width, height, mask: null, greenParity });
        const background = meshBackground(plane);
        return { background, candidates: detectStars(plane, background).candidates };
      });
      expect(compiled.background).toEqual(plain.background);
      expect(compiled.candidates).toEqual(plain.candidates);
      expect(compiled.candidates.length).toBeGreaterThan(20);
    }
  });

  it('equal neighbouring pixels count once, and pixels at the top of the scale are found', () => {
    const [width, height] = [64, 64];
    const data = new Uint16Array(width * height).map((_, i) => 100 + ((i * 7) % 11));
    for (const [x, y] of [
      [20, 20],
      [21, 20],
      [40, 31],
      [61, 61],
    ] as const)
      for (let v = -1; v <= 1; v++) for (let u = -1; u <= 1; u++) data[(y + v) * width + x + u] = 65_535;
    const { compiled, plain } = both(() => {
      const plane = planeForKernels({ data, width, height, mask: null, greenParity: null });
      return detectStars(plane, meshBackground(plane)).candidates;
    });
    expect(compiled).toEqual(plain);
    expect(compiled.length).toBeGreaterThan(0);
  });

  it('the small picture, exactly, whatever the block', () => {
    const frame = sampleFrame('sample-coma.fits.fz');
    const { compiled, plain } = both(() =>
      [64, 200, 333].map((side) => {
        const { data } = planeForKernels(planeOf(frame));
        return stretchPreview({ ...frame, pixels: ndarray(data, [frame.height, frame.width]) }, side);
      }),
    );
    expect(compiled).toEqual(plain);
  });

  it('polygons filled on a canvas, inside it, across its borders and beyond them, exactly', () => {
    const random = seededRandom(14);
    const shapes = Array.from({ length: 300 }, () => {
      const [x, y] = [440 * random.uniform() - 70, 340 * random.uniform() - 70];
      const [u, v] = [x + 80 * random.normal(), y + 80 * random.normal()];
      return [
        disc(x, y, 1 + 20 * random.uniform()),
        ...line(x, y, u, v, 0.5 + 3 * random.uniform()),
        ...ring(u, v, 9, 2),
      ];
    });
    const { compiled, plain } = both(() => {
      const canvas = createCanvas(300, 200, [10, 80, 200]);
      shapes.forEach((polygons, k) => {
        fill(canvas, polygons, [(k * 37) % 256, (k * 91) % 256, k % 256], 0.2 + (0.8 * k) / 300);
      });
      return canvas.rgb;
    });
    expect(Buffer.compare(compiled, plain)).toBe(0);
    expect(new Set(plain).size).toBeGreaterThan(200);
  });

  it('the palette and the indices of a drawn picture, exactly', () => {
    const random = seededRandom(13);
    const canvas = createCanvas(300, 200, [18, 20, 24]);
    for (let i = 0; i < 60_000; i++) canvas.rgb.fill(Math.floor(256 * random.uniform()), 3 * i, 3 * i + 3);
    for (let k = 0; k < 400; k++) {
      const colour = [random.uniform(), random.uniform(), random.uniform()].map((part) => Math.floor(256 * part));
      const [x, y] = [300 * random.uniform(), 200 * random.uniform()];
      fill(canvas, [disc(x, y, 2 + 6 * random.uniform())], [colour[0] ?? 0, colour[1] ?? 0, colour[2] ?? 0], 0.9);
    }
    const { compiled, plain } = both(() => indexColours(canvas));
    expect(Buffer.compare(compiled.palette, plain.palette)).toBe(0);
    expect(Buffer.compare(compiled.indices, plain.indices)).toBe(0);
    expect(new Set(plain.indices).size).toBeGreaterThan(200);
  });

  it('the order of bytes, with and without the top bit turned', () => {
    const count = 1003;
    const big = Uint8Array.from({ length: 2 * count }, (_, i) => (i * 89 + (i >> 3)) & 255);
    for (const flip of [false, true]) {
      const { compiled, plain } = both(() => {
        const bytes = kernels()?.room(big.length) ?? new Uint8Array(big.length);
        bytes.set(big);
        return Array.from(storedValues(bytes, 0, count, 16, flip), Number);
      });
      expect(compiled).toEqual(plain);
    }
  });

  it('a file read into the kernels’ memory gives the frame that a file in its own memory gives', () => {
    const random = seededRandom(8);
    const cards = 'SIMPLE  =                    T,BITPIX  =                   16,NAXIS   =                    2,'
      .concat('NAXIS1  =                  101,NAXIS2  =                   53,BZERO   =                32768,END')
      .split(',')
      .map((card) => card.padEnd(80))
      .join('')
      .padEnd(2880);
    const pixels = Buffer.alloc(5760 * 2);
    for (let i = 0; i < 101 * 53; i++) pixels.writeUInt16BE(Math.floor(65_536 * random.uniform()), 2 * i);
    const file = Buffer.concat([Buffer.from(cards, 'latin1'), pixels]);
    const { compiled, plain } = both(() => {
      const bytes = kernels()?.room(file.length) ?? new Uint8Array(file.length);
      bytes.set(file);
      return Array.from(frameFromFits(bytes, 'drawn.fits').pixels.data);
    });
    expect(compiled).toEqual(plain);
    expect(plain[7]).toBe(pixels.readUInt16BE(14) ^ 0x8000);
  });
});

/** Worst difference of two lists, as a share of the larger of `unit` and the value. */
function apart(a: ArrayLike<number>, b: ArrayLike<number>, unit = 1): number {
  expect(a.length).toBe(b.length);
  return Array.from(a).reduce((worst, value, i) => {
    const other = b[i] ?? Number.NaN;
    return Math.max(worst, Math.abs(value - other) / Math.max(unit, Math.abs(other)));
  }, 0);
}

const brightest = (pixels: Float32Array | Float64Array): number => {
  let most = 0;
  for (const value of pixels) most = Math.max(most, value);
  return most;
};

describe('drawn stars agree to 1e-9 of the brightest pixel', () => {
  const w = (d: number, c: number, t = 0.1): Coefficients => ({
    ...{ d, a: { x: 0.1, y: -0.05 }, c: { x: c, y: 0.3 * c }, t: { x: t, y: 0.2 } },
    s: 0.05,
  });
  it.each([
    [64, w(0, 0.1)],
    [128, w(0.4, 0.3)],
    [256, w(-0.8, 1)],
    [512, w(1.2, 2, 0.8)],
  ] as const)('a grid of %i points', (size, aberrations) => {
    const conditions = { pixelUm: 3.76, filter: 'mono', seeingArcsec: 2.5, recentred: true } as const;
    const { compiled, plain } = both(
      () => starImage(EXAMPLE_TELESCOPE, aberrations, { ...conditions, grid: { size, oversample: 4 } }).image,
    );
    // The image is kept as float32.
    expect(apart(compiled, plain, brightest(plain))).toBeLessThan(1e-7);
    const pixels = both(() => new PixelStars(EXAMPLE_TELESCOPE, conditions).draw(aberrations, 2.2, 40).pixels);
    expect(apart(pixels.compiled, pixels.plain, brightest(pixels.plain))).toBeLessThan(CLOSE);
  });
});

describe('fits of many numbers agree to 1e-9', () => {
  it('the robust linear fit: parameters, covariance, weights; and no fit where the design is degenerate', () => {
    const random = seededRandom(11);
    const rows = Array.from({ length: 801 }, () => {
      const [u, v] = [random.uniform() - 0.5, random.uniform() - 0.5];
      return Float64Array.of(1, u, v, u * v, u * u - v * v);
    });
    const values = rows.map(
      ([one = 0, u = 0, v = 0, uv = 0], i) =>
        0.3 * one + 2 * u - v + 0.5 * uv + 0.1 * random.normal() + (i % 17 === 0 ? 5 : 0),
    );
    const errors = rows.map(() => 0.05 + 0.02 * random.uniform());
    const { compiled, plain } = both(() => robustLinearFit({ rows, values, errors }));
    if (compiled === null || plain === null) throw new Error('no fit');
    expect(apart(compiled.parameters, plain.parameters)).toBeLessThan(CLOSE);
    expect(apart(compiled.covariance, plain.covariance, 1e-5)).toBeLessThan(CLOSE);
    expect(apart(compiled.weights, plain.weights)).toBeLessThan(CLOSE);
    expect(compiled.intrinsic).toBeCloseTo(plain.intrinsic, 9);
    expect(plain.weights.filter((weight) => weight === 0).length).toBeGreaterThan(40);
    const twice = rows.map((row) => Float64Array.of(row[1] ?? 0, row[1] ?? 0));
    const degenerate = both(() => robustLinearFit({ rows: twice, values, errors }));
    expect([degenerate.compiled, degenerate.plain]).toEqual([null, null]);
  });

  it.each([1, 3])('the surface of widths of %i subs', (subs) => {
    const shape = measureFrame(sampleFrame('sample-coma.fits.fz')).stars.shapes[0];
    if (shape === undefined) throw new Error('no star');
    const random = seededRandom(12);
    const frames = Array.from({ length: subs }, (_, f) => ({
      ...{ name: String(f), width: 3000, height: 2000 },
      shapes: Array.from({ length: 400 }, () => {
        const [x, y] = [3000 * random.uniform(), 2000 * random.uniform()];
        const blur = 0.6 * f + 0.9 * (x / 3000 - 0.5) - 0.4 * (y / 2000 - 0.5) + 0.3;
        return { ...shape, x, y, fwhm: Math.hypot(2.8 + 0.1 * f, blur) + 0.03 * random.normal() };
      }),
    }));
    const { compiled, plain } = both(() => fitSizeField(frames));
    if (compiled === null || plain === null) throw new Error('no surface');
    expect(plain.tiltSignificance).toBeGreaterThan(5);
    const numbers = (field: SizeField): number[] => [
      ...[...field.floor, ...field.centre, ...field.centreError, field.tilt.x, field.tilt.y, field.tilt.error],
      ...[field.curvature.value, field.curvature.error, field.tiltSignificance, field.curvatureSignificance],
    ];
    expect(apart(numbers(compiled), numbers(plain))).toBeLessThan(CLOSE);
  });
});
