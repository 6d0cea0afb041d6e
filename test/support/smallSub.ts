import { encodeFits } from '../../src/fits/encode.ts';
import { seededRandom } from '../../src/numeric/random.ts';

export const SMALL = { width: 160, height: 120 } as const;

/** A small FITS sub with stars in its own places: quickly made, quickly measured, and like no other seed's. */
export function smallSub(seed: number, cards: Readonly<Record<string, string | number>> = {}): Uint8Array {
  const random = seededRandom(seed, 'small sub');
  const { width, height } = SMALL;
  const light = new Float64Array(width * height).fill(600);
  for (let star = 0; star < 24; star++) {
    const [cx, cy] = [12 + random.uniform() * (width - 24), 12 + random.uniform() * (height - 24)];
    const peak = 1500 + 20_000 * random.uniform() ** 2;
    for (let y = Math.floor(cy) - 9; y <= cy + 9; y++)
      for (let x = Math.floor(cx) - 9; x <= cx + 9; x++)
        light[y * width + x] += peak * Math.exp(-((x - cx) ** 2 + (y - cy) ** 2) / (2 * 1.5 ** 2));
  }
  const pixels = Uint16Array.from(light, (v) =>
    Math.min(65_000, Math.max(0, Math.round(v + Math.sqrt(v) * random.normal()))),
  );
  const all = { EGAIN: 1, FOCALLEN: 800, APTDIA: 200, XPIXSZ: 3.76, EXPTIME: 1, ROWORDER: 'TOP-DOWN', ...cards };
  return encodeFits({
    pixels,
    width,
    height,
    cards: Object.entries(all).map(([keyword, value]) => ({ keyword, value })),
  });
}
