import { createRequire } from 'node:module';
import type { Sharp, default as SharpModule } from 'sharp';
import type { Canvas } from './raster.ts';

/** Level 2 costs half of level 6 and 5 % of size on a stretched frame. */
const COMPRESSION_LEVEL = 2;
/** For the page: a quarter of the PNG's size, letters still clean. */
const JPEG_QUALITY = 82;

/** sharp is loaded at the first call: it costs 30 ms. */
function sharpOf({ width, height, rgb }: Canvas): Sharp {
  const sharp = createRequire(import.meta.url)('sharp') as typeof SharpModule;
  return sharp(rgb, { raw: { width, height, channels: 3 } });
}

/** PNG bytes of a drawn picture. */
export async function encodePng(canvas: Canvas): Promise<Buffer> {
  return sharpOf(canvas).png({ compressionLevel: COMPRESSION_LEVEL }).toBuffer();
}

/** JPEG bytes of a drawn picture, colour at full resolution so that thin lines keep theirs. */
export async function encodeJpeg(canvas: Canvas): Promise<Buffer> {
  return sharpOf(canvas).jpeg({ quality: JPEG_QUALITY, chromaSubsampling: '4:4:4' }).toBuffer();
}
