// Bench frames, cheap and seeded: sky with a gradient and noise, Moffat stars (beta 3) that grow longer to the corners, hot
// pixels; 16 bits as a camera writes them.
import { closeSync, openSync, writeSync } from 'node:fs';

const SKY = 1200;
const NOISE = 35;
const BETA = 3;

/** Mulberry32. */
function randomFrom(seed) {
  let state = seed >>> 0;
  return () => {
    state = (state + 0x6d2b79f5) >>> 0;
    let t = state;
    t = Math.imul(t ^ (t >>> 15), t | 1);
    t ^= t + Math.imul(t ^ (t >>> 7), t | 61);
    return ((t ^ (t >>> 14)) >>> 0) / 4294967296;
  };
}

function header(width, height) {
  const cards = [
    ['SIMPLE', 'T'],
    ['BITPIX', 16],
    ['NAXIS', 2],
    ['NAXIS1', width],
    ['NAXIS2', height],
    ['BZERO', 32768],
    ['EXPTIME', 120],
    ['EGAIN', 1],
    ['XPIXSZ', 3.76],
    ['FOCALLEN', 800],
    ['APTDIA', 200],
  ].map(([keyword, value]) => `${keyword.padEnd(8)}= ${String(value).padStart(20)}`.padEnd(80));
  const text = [...cards, 'END'.padEnd(80)].join('');
  return Buffer.from(text.padEnd(Math.ceil(text.length / 2880) * 2880), 'latin1');
}

/** Width of a frame of about so many megapixels, 3:2. */
export function sizeOf(megapixels) {
  const width = 8 * Math.round(Math.sqrt(megapixels * 1.5e6) / 8);
  return { width, height: Math.round((megapixels * 1e6) / width) };
}

export function drawFrame(path, { width, height, stars, seed }) {
  const random = randomFrom(seed);
  const normals = new Float32Array(1 << 20);
  for (let i = 0; i < normals.length; i += 2) {
    const r = Math.sqrt(-2 * Math.log(1 - random()));
    const phi = 2 * Math.PI * random();
    normals[i] = r * Math.cos(phi);
    normals[i + 1] = r * Math.sin(phi);
  }
  const pixels = new Uint16Array(width * height);
  for (let y = 0; y < height; y++) {
    let from = Math.floor(random() * normals.length);
    const row = y * width;
    const sky = SKY + (40 * y) / height;
    for (let x = 0; x < width; x++) {
      pixels[row + x] = sky + (60 * x) / width + NOISE * normals[from];
      from = (from + 1) & (normals.length - 1);
    }
  }
  const half = Math.hypot(width, height) / 2;
  for (let s = 0; s < stars; s++) {
    const x0 = 20 + random() * (width - 40);
    const y0 = 20 + random() * (height - 40);
    // Twice as faint, three times as many, from 45,000 ADU down.
    const peak = Math.max(60, 45_000 * (1 - random()) ** 1.6 * 10 ** (-2.4 * random()));
    const u = (x0 - width / 2) / half;
    const v = (y0 - height / 2) / half;
    const r2 = u * u + v * v;
    const angle = Math.atan2(v, u);
    const long = 2.8 * (1 + 0.2 * r2);
    const [a, b] = [long, 2.8].map((fwhm) => fwhm / 2 / Math.sqrt(2 ** (1 / BETA) - 1));
    const [cos, sin] = [Math.cos(angle), Math.sin(angle)];
    const reach = peak > 5000 ? 24 : 12;
    for (let y = Math.ceil(y0 - reach); y <= y0 + reach; y++)
      for (let x = Math.ceil(x0 - reach); x <= x0 + reach; x++) {
        if (x < 0 || y < 0 || x >= width || y >= height) continue;
        const p = ((x - x0) * cos + (y - y0) * sin) / a;
        const q = ((y - y0) * cos - (x - x0) * sin) / b;
        const light = peak * (1 + p * p + q * q) ** -BETA;
        const noisy = pixels[y * width + x] + light + Math.sqrt(light) * normals[(x * 7919 + y * 104_729) & 0xfffff];
        pixels[y * width + x] = Math.min(65_535, Math.max(0, noisy));
      }
  }
  for (let h = 0; h < width * height * 5e-5; h++)
    pixels[Math.floor(random() * pixels.length)] = SKY + 20_000 * random();
  const bytes = Buffer.from(pixels.buffer);
  for (let i = 0; i < pixels.length; i++) pixels[i] ^= 0x8000;
  bytes.swap16();
  const file = openSync(path, 'w');
  try {
    writeSync(file, header(width, height));
    for (let at = 0; at < bytes.length; at += 1 << 26) writeSync(file, bytes.subarray(at, at + (1 << 26)));
    writeSync(file, Buffer.alloc((2880 - (bytes.length % 2880)) % 2880));
  } finally {
    closeSync(file);
  }
}
