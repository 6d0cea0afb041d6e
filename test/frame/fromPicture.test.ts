import fc from 'fast-check';
import sharp, { type Sharp } from 'sharp';
import { describe, expect, it } from 'vitest';
import { UserError } from '../../src/errors.ts';
import { frameFromPicture, pictureKind } from '../../src/frame/fromPicture.ts';
import { noise } from '../fits/samplePixels.ts';

const W = 256;
const FULL = Uint16Array.from({ length: W * W }, (_, i) => i);

function raw(pixels: Uint16Array | Float32Array | Uint8Array, channels: 1 | 3 = 1): Sharp {
  return sharp(pixels, { raw: { width: W, height: pixels.length / W / channels, channels } });
}

async function read(bytes: Uint8Array): Promise<Awaited<ReturnType<typeof frameFromPicture>>> {
  const kind = pictureKind(bytes);
  if (kind === null) throw new Error('no picture');
  return frameFromPicture(bytes, 'frame', kind);
}

describe('PNG and TIFF frames', () => {
  it('all 65536 values of 16-bit PNG and TIFF come through unchanged', async () => {
    for (const bytes of [
      await raw(FULL).toColourspace('grey16').png().toBuffer(),
      await raw(FULL).toColourspace('grey16').tiff({ compression: 'none' }).toBuffer(),
      await raw(FULL).toColourspace('grey16').tiff({ compression: 'deflate' }).toBuffer(),
    ]) {
      const frame = await read(bytes);
      expect(frame.pixels.data).toEqual(FULL);
      expect([frame.width, frame.height, frame.mask]).toEqual([W, W, null]);
      expect(frame.facts.rowOrder?.value).toBe('TOP-DOWN');
    }
  });

  it('big-endian and little-endian TIFF written by hand (TIFF 6.0, section 2) are read', async () => {
    const pixels = Uint16Array.of(1, 258, 65535, 32768, 7, 40000);
    for (const little of [false, true]) expect((await read(tiff(pixels, 3, little))).pixels.data).toEqual(pixels);
  });

  it('floating-point TIFF keeps its values, NaN and infinities are masked', async () => {
    const pixels = noise(new Float32Array(W * 8), -1000, 70000);
    pixels[5] = NaN;
    pixels[9] = Infinity;
    const frame = await read(tiff(pixels, W, true));
    expect(frame.pixels.data).toEqual(pixels);
    expect([...(frame.mask ?? [])].flatMap((bad, i) => (bad === 1 ? [i] : []))).toEqual([5, 9]);
  });

  it('of colour pictures the green channel is read, and said', async () => {
    const colour = new Uint16Array(3 * W * W);
    FULL.forEach((value, i) => colour.set([i & 0xff, value, 99], 3 * i));
    const frame = await read(await raw(colour, 3).toColourspace('rgb16').png().toBuffer());
    expect(frame.pixels.data).toEqual(FULL);
    expect(frame.notes.join()).toContain('green channel');
  });

  it('8-bit pictures are read with a warning', async () => {
    const frame = await read(
      await raw(noise(new Uint8Array(W * 4), 0, 255))
        .toColourspace('b-w')
        .png()
        .toBuffer(),
    );
    expect(frame.pixels.data).toBeInstanceOf(Uint8Array);
    expect(frame.notes.join()).toContain('8 bits');
  });

  it('an embedded colour profile does not touch the values', async () => {
    // A display profile with a tone curve, taken from a picture that carries one.
    const { icc } = await sharp(
      await raw(noise(new Uint8Array(3 * W), 0, 255), 3)
        .withIccProfile('p3')
        .png()
        .toBuffer(),
    ).metadata();
    expect(icc?.length).toBeGreaterThan(100);
    const frame = await read(tiff(FULL, W, true, icc));
    expect(frame.pixels.data).toEqual(FULL);
  });

  it('cut or damaged pictures are refused, never read halfway', async () => {
    const png = await raw(FULL).toColourspace('grey16').png().toBuffer();
    const tiff = await raw(FULL).toColourspace('grey16').tiff({ compression: 'none' }).toBuffer();
    for (const bytes of [png, tiff]) {
      await expect(read(bytes.subarray(0, bytes.length / 2))).rejects.toMatchObject({ exitCode: 3 });
      await expect(read(bytes.subarray(0, 12))).rejects.toMatchObject({ exitCode: 3 });
    }
  });

  it('600 damaged pictures are read whole or refused in words: no other exception', async () => {
    const small = sharp(FULL.slice(0, 48 * 64), { raw: { width: 64, height: 48, channels: 1 } });
    const grey = small.toColourspace('grey16');
    const seeds = [
      await grey.clone().png().toBuffer(),
      await grey.clone().tiff({ compression: 'none' }).toBuffer(),
      await grey.clone().tiff({ compression: 'lzw' }).toBuffer(),
      await grey.clone().tiff({ compression: 'deflate' }).toBuffer(),
    ];
    const place = fc.oneof(fc.nat(200), fc.nat(20_000));
    const damage = fc.array(fc.tuple(place, fc.nat(255)), { minLength: 1, maxLength: 3 });
    let refused = 0;
    await fc.assert(
      fc.asyncProperty(fc.constantFrom(...seeds), damage, async (seed, changes) => {
        const bytes = Uint8Array.from(seed);
        for (const [at, value] of changes) bytes[at % bytes.length] = value;
        const kind = pictureKind(bytes);
        if (kind === null) return;
        try {
          const frame = await frameFromPicture(bytes, 'bad', kind);
          expect(frame.pixels.data.length).toBe(frame.width * frame.height);
        } catch (error) {
          if (!(error instanceof UserError)) throw error;
          refused++;
        }
      }),
      { numRuns: 600, seed: 20261125 },
    );
    expect(refused).toBeGreaterThan(60);
  }, 60_000);
});

/** One strip, no compression: TIFF 6.0, section 2; float samples by section 19; the profile by the ICC's tag 34675. */
function tiff(pixels: Uint16Array | Float32Array, width: number, little: boolean, icc?: Uint8Array): Uint8Array {
  const itemsize = pixels.BYTES_PER_ELEMENT;
  const height = pixels.length / width;
  const profile = 8 + pixels.byteLength;
  const directory = profile + (icc?.length ?? 0) + ((icc?.length ?? 0) % 2);
  // Tag, type (3: 16 bits, 4: 32 bits, 7: bytes elsewhere), count, value.
  const entries: [number, number, number, number][] = [
    [256, 4, 1, width],
    [257, 4, 1, height],
    [258, 3, 1, 8 * itemsize],
    [259, 3, 1, 1],
    [262, 3, 1, 1],
    [273, 4, 1, 8],
    [277, 3, 1, 1],
    [278, 4, 1, height],
    [279, 4, 1, pixels.byteLength],
    [339, 3, 1, pixels instanceof Float32Array ? 3 : 1],
    ...(icc === undefined ? [] : [[34675, 7, icc.length, profile] as [number, number, number, number]]),
  ];
  const bytes = new Uint8Array(directory + 2 + 12 * entries.length + 4);
  const view = new DataView(bytes.buffer);
  view.setUint16(0, little ? 0x4949 : 0x4d4d);
  view.setUint16(2, 42, little);
  view.setUint32(4, directory, little);
  for (let i = 0; i < pixels.length; i++) {
    if (pixels instanceof Float32Array) view.setFloat32(8 + itemsize * i, pixels[i], little);
    else view.setUint16(8 + itemsize * i, pixels[i], little);
  }
  if (icc !== undefined) bytes.set(icc, profile);
  view.setUint16(directory, entries.length, little);
  entries.forEach(([tag, type, count, value], i) => {
    const at = directory + 2 + 12 * i;
    view.setUint16(at, tag, little);
    view.setUint16(at + 2, type, little);
    view.setUint32(at + 4, count, little);
    if (type === 3) view.setUint16(at + 8, value, little);
    else view.setUint32(at + 8, value, little);
  });
  return bytes;
}
