import type { FieldPicture, Whisker } from '../../src/report/picture.ts';
import type { Report } from '../../src/report/record.ts';

/** An invented star field for a record: seeded, a soft cloud, and whiskers scattered about the zones' elongations. */
export function examplePicture(report: Report, width = 781, height = 522, stars = 900): FieldPicture {
  const random = lehmer(20310211);
  const grey = new Uint8Array(width * height);
  for (let y = 0; y < height; y++) {
    for (let x = 0; x < width; x++) {
      const cloud = 50 * Math.exp(-((x / width - 0.62) ** 2 + (y / height - 0.4) ** 2) / 0.05);
      grey[y * width + x] = 26 + cloud + 8 * random();
    }
  }
  const whiskers: Whisker[] = [];
  for (let i = 0; i < stars; i++) {
    const x = random() * width;
    const y = random() * height;
    const bright = 60 + 160 * random() ** 6;
    for (const [dx, dy, part] of STAR) {
      const at = Math.floor(y + dy) * width + Math.floor(x + dx);
      if (at >= 0 && at < grey.length) grey[at] = Math.min(219, (grey[at] ?? 0) + bright * part);
    }
    const zone = report.zones[Math.floor((y / height) * 3) * 3 + Math.floor((x / width) * 3)];
    if (!zone?.elongation || zone.axisDeg === null || zone.stars < 1) continue;
    whiskers.push({
      x,
      y,
      elongation: 1 + (zone.elongation.value - 1) * (0.4 + 1.2 * random()),
      axisDeg: (zone.axisDeg + 60 * (random() - 0.5) + 180) % 180,
    });
  }
  const frameWidth = report.frames[0]?.width ?? width;
  return { width, height, pixelsPerFramePixel: width / frameWidth, grey, whiskers };
}

const STAR = [
  [0, 0, 1],
  [1, 0, 0.4],
  [-1, 0, 0.4],
  [0, 1, 0.4],
  [0, -1, 0.4],
] as const;

/** Park and Miller's generator with multiplier 48271 (Comm. ACM 31, 1192 and 36, 105). */
function lehmer(seed: number): () => number {
  let state = seed;
  return () => {
    state = (state * 48_271) % 2_147_483_647;
    return state / 2_147_483_647;
  };
}
