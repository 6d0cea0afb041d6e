import { expect, it } from 'vitest';
import { encodeFits } from '../../src/fits/encode.ts';
import { seededRandom } from '../../src/numeric/random.ts';
import { runProgram } from '../../src/program.ts';
import { drawSubWithTruth } from '../support/draw.ts';
import { memoryWorld } from '../support/memoryEffects.ts';

const WIDTH = 900;
const HEIGHT = 640;

/** A sub with hot pixels and vignetting, the dark that knows the hot pixels and the flat that knows the vignetting. */
function night(): Record<string, Uint8Array> {
  const { frame, drawn } = drawSubWithTruth({ width: WIDTH, height: HEIGHT, starCount: 160, seed: 9 });
  const random = seededRandom(4, 'hot');
  const sub = Float64Array.from(drawn.pixels);
  const dark = new Uint16Array(sub.length).fill(500);
  const flat = new Uint16Array(sub.length);
  for (let y = 0; y < HEIGHT; y++)
    for (let x = 0; x < WIDTH; x++) {
      const k = y * WIDTH + x;
      const r2 = ((x - WIDTH / 2) ** 2 + (y - HEIGHT / 2) ** 2) / ((WIDTH ** 2 + HEIGHT ** 2) / 4);
      const share = 1 - 0.4 * r2;
      flat[k] = Math.round(30_000 * share);
      sub[k] = 500 + (sub[k] - 500) * share;
      dark[k] = Math.round(500 + 3 * random.normal());
    }
  for (let i = 0; i < 300; i++) {
    const k = random.integer(sub.length);
    dark[k] = 9000;
    sub[k] += 8500;
  }
  const cards = [
    { keyword: 'INSTRUME', value: 'drawn' },
    { keyword: 'XPIXSZ', value: 3.76 },
    { keyword: 'FOCALLEN', value: 800 },
    { keyword: 'APTDIA', value: 200 },
    { keyword: 'EGAIN', value: 0.8 },
    { keyword: 'ROWORDER', value: 'TOP-DOWN' },
  ];
  const file = (pixels: Uint16Array, width = frame.width, height = frame.height): Uint8Array =>
    encodeFits({ pixels, width, height, cards });
  return {
    'sub.fits': file(Uint16Array.from(sub, (v) => Math.min(65535, Math.round(v)))),
    'dark.fits': file(dark),
    'flat.fits': file(flat),
    'small.fits': file(new Uint16Array(100).fill(500), 10, 10),
  };
}

const files = night();

interface Answer {
  readonly code: number;
  readonly err: string;
  readonly report: {
    readonly verdict: string;
    readonly frames: readonly {
      readonly leftOut: Record<string, number>;
      readonly starsFitted: number;
      readonly notes: string[];
    }[];
    readonly settings: Record<string, unknown>;
  } | null;
}

async function check(...options: string[]): Promise<Answer> {
  const world = memoryWorld(files);
  const code = await runProgram(['check', 'sub.fits', '--out', 'report', '--json', ...options], world.effects);
  return { code, err: world.err, report: world.out === '' ? null : (JSON.parse(world.out) as Answer['report']) };
}

it('a master dark takes the hot pixels away, and the report says so', async () => {
  const plain = await check();
  const darkened = await check('--dark', 'dark.fits');
  expect(plain.report?.frames[0]?.leftOut['hot-or-cosmic']).toBeGreaterThan(100);
  expect(darkened.code).toBe(0);
  expect(darkened.report?.frames[0]?.leftOut['hot-or-cosmic'] ?? 0).toBeLessThan(10);
  expect(darkened.report?.frames[0]?.notes.join(' ')).toContain('dark.fits');
  expect(darkened.report?.settings['dark']).toBe('dark.fits');
});

it('dark and flat together keep the stars and the verdict', async () => {
  const both = await check('--dark', 'dark.fits', '--flat', 'flat.fits');
  expect(both.code).toBe(0);
  expect(both.report?.verdict).toBe('good');
  expect(both.report?.frames[0]?.starsFitted).toBeGreaterThan(120);
  expect(both.report?.frames[0]?.notes.join(' ')).toContain('flat.fits');
});

it('a dark of another size is wrong usage and names what differs', async () => {
  const wrong = await check('--dark', 'small.fits');
  expect(wrong.code).toBe(2);
  expect(wrong.err).toMatch(/small\.fits.*10 x 10 pixels/);
});

it('a master that is not there is an unreadable input', async () => {
  const missing = await check('--flat', 'none.fits');
  expect(missing.code).toBe(3);
  expect(missing.err).toContain('none.fits');
});
