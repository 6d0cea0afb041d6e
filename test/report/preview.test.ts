import ndarray from 'ndarray';
import { expect, it } from 'vitest';
import type { Frame, PixelArray } from '../../src/frame/frame.ts';
import { onScreen, stretchPreview } from '../../src/report/preview.ts';

function frameOf(data: PixelArray, width: number, height: number, more: Partial<Frame> = {}): Frame {
  const facts = {} as Frame['facts'];
  return {
    name: 'drawn',
    width,
    height,
    pixels: ndarray(data, [height, width]),
    mask: null,
    facts,
    mosaic: null,
    notes: [],
    ...more,
  };
}

/** Sky of 1000 with a saw-tooth as noise, a soft cloud, and one bright star. */
function skyFrame(width: number, height: number): Uint16Array {
  const data = new Uint16Array(width * height);
  for (let y = 0; y < height; y++) {
    for (let x = 0; x < width; x++) {
      const cloud = 120 * Math.exp(-((x - 0.7 * width) ** 2 + (y - 0.5 * height) ** 2) / (0.02 * width * width));
      data[y * width + x] = 1000 + ((x * 7 + y * 13) % 11) * 3 + cloud;
    }
  }
  for (let y = 8; y < 16; y++) for (let x = 8; x < 16; x++) data[y * width + x] = 60_000;
  return data;
}

it('a frame larger than the side is averaged over whole blocks, a smaller one is kept', () => {
  const large = stretchPreview(frameOf(skyFrame(130, 90), 130, 90), 50);
  expect([large.width, large.height, large.pixelsPerFramePixel]).toEqual([43, 30, 1 / 3]);
  const small = stretchPreview(frameOf(skyFrame(130, 90), 130, 90), 200);
  expect([small.width, small.height, small.pixelsPerFramePixel]).toEqual([130, 90, 1]);
});

it('blocks of a colour mosaic are even, so that every block holds all colours alike', () => {
  const green = { greenParity: 0, fromData: true } as const;
  const preview = stretchPreview(frameOf(skyFrame(130, 90), 130, 90, { mosaic: green }), 50);
  expect(preview.pixelsPerFramePixel).toBe(1 / 4);
  const unbinned = stretchPreview(frameOf(skyFrame(130, 90), 130, 90, { mosaic: green }), 500);
  expect(unbinned.pixelsPerFramePixel).toBe(1 / 2);
});

it('a checkerboard of a mosaic vanishes in the preview', () => {
  const data = new Uint16Array(64 * 64).map((_, i) => (((i % 64) + Math.floor(i / 64)) % 2 === 0 ? 900 : 1100));
  const preview = stretchPreview(frameOf(data, 64, 64, { mosaic: { greenParity: 0, fromData: true } }));
  expect(new Set(preview.grey).size).toBe(1);
});

it('sky is dark grey, the cloud lighter, the star bright but not white', () => {
  const { grey, width } = stretchPreview(frameOf(skyFrame(300, 200), 300, 200));
  /** Mean grey of 11 x 11 pixels: one period of the noise. */
  const at = (x: number, y: number): number => {
    let sum = 0;
    for (let j = 0; j < 11; j++) for (let i = 0; i < 11; i++) sum += grey[(y + j) * width + x + i] ?? 0;
    return sum / 121;
  };
  const sky = at(40, 170);
  expect(sky).toBeGreaterThan(15);
  expect(sky).toBeLessThan(55);
  expect(at(210, 100)).toBeGreaterThan(sky + 25);
  expect(grey[12 * width + 12]).toBeGreaterThan(200);
  expect(Math.max(...grey)).toBeLessThan(235);
});

it('BOTTOM-UP shows the last stored row on top', () => {
  const preview = stretchPreview(frameOf(skyFrame(60, 40), 60, 40));
  const turned = onScreen(preview, 'BOTTOM-UP');
  expect(turned.grey.subarray(0, 60)).toEqual(preview.grey.subarray(39 * 60));
  expect(onScreen(preview, 'TOP-DOWN')).toBe(preview);
  expect(onScreen(turned, 'BOTTOM-UP').grey).toEqual(preview.grey);
});

it('pixels without a value are black and do not spoil the stretch', () => {
  const data = Float32Array.from(skyFrame(100, 80));
  const mask = new Uint8Array(data.length);
  for (let i = 0; i < 20 * 100; i++) {
    data[i] = Number.NaN;
    mask[i] = 1;
  }
  const { grey } = stretchPreview(frameOf(data, 100, 80, { mask }));
  expect(Math.max(...grey.subarray(0, 20 * 100))).toBe(0);
  expect(grey[50 * 100 + 20]).toBeGreaterThan(10);
});

it.each([
  ['a constant frame', new Uint16Array(50 * 50).fill(700)],
  ['a black frame', new Uint16Array(50 * 50)],
  ['a frame of negative values', new Float32Array(50 * 50).fill(-3)],
])('%s makes an even picture', (_, data) => {
  expect(new Set(stretchPreview(frameOf(data, 50, 50)).grey).size).toBe(1);
});

it('a frame without a single good pixel is black', () => {
  const { grey } = stretchPreview(
    frameOf(new Float32Array(100).fill(Number.NaN), 10, 10, { mask: new Uint8Array(100).fill(1) }),
  );
  expect(Math.max(...grey)).toBe(0);
});
