import { readFileSync } from 'node:fs';
import { fileURLToPath } from 'node:url';
import { describe, expect, it } from 'vitest';
import { loadFrame } from '../../src/commands/frames.ts';
import { type SynthEffects, synth } from '../../src/commands/synth.ts';
import { EXIT, UserError } from '../../src/errors.ts';
import type { Frame } from '../../src/frame/frame.ts';

const TINY = {
  name: 'tiny',
  sentence: 'A tiny frame for a test.',
  seed: 5,
  camera: { widthPx: 96, heightPx: 80 },
  stars: { count: 5 },
};

/** A world in memory: files by path, what was said, and a Ctrl-C after so many looks. */
function world(files: Record<string, string>, interruptAfter = Number.POSITIVE_INFINITY) {
  const written = new Map<string, Uint8Array>();
  const said: string[] = [];
  const progress: string[] = [];
  let looks = 0;
  const encoder = new TextEncoder();
  const effects: SynthEffects = {
    readFile: (path) => {
      const text = files[path];
      if (text === undefined) return Promise.reject(new Error('no such file'));
      return Promise.resolve(encoder.encode(text));
    },
    writeFile: (path, content) => {
      written.set(path, typeof content === 'string' ? encoder.encode(content) : content);
      return Promise.resolve();
    },
    makeFolder: () => Promise.resolve(),
    rename: (from, to) => {
      const content = written.get(from);
      if (content) written.set(to, content);
      written.delete(from);
      return Promise.resolve();
    },
    remove: (path) => {
      written.delete(path);
      return Promise.resolve();
    },
    out: (text) => said.push(text),
    err: (text) => progress.push(text),
    errIsTerminal: false,
    processId: 1,
    interrupted: () => looks++ >= interruptAfter,
    breathe: () => Promise.resolve(),
  };
  return { effects, written, said, progress };
}

async function draw(
  scenario: object,
): Promise<{ written: Map<string, Uint8Array>; said: string[]; progress: string[] }> {
  const { effects, ...rest } = world({ 's.json': JSON.stringify(scenario) });
  await synth({ scenarioFile: 's.json', out: 'out' }, effects);
  return rest;
}

function readBack(written: Map<string, Uint8Array>, path: string): Promise<Frame> {
  return loadFrame(
    { name: path, path },
    {
      readFile: (name) => Promise.resolve(Uint8Array.from(written.get(name) ?? [])),
      kindOf: () => Promise.resolve('file'),
      listFolder: () => Promise.resolve([]),
    },
  );
}

describe('synth', () => {
  it('writes frames and truth.json, says which, and is silent on standard error outside a terminal', async () => {
    const { written, said, progress } = await draw({ ...TINY, subs: [{}, { focusUm: 30 }] });
    expect([...written.keys()]).toEqual(['out/tiny-01.fits', 'out/tiny-02.fits', 'out/truth.json']);
    expect(said.join('')).toContain('A tiny frame for a test.');
    expect(said.join('')).toContain('out/tiny-02.fits');
    expect(progress).toEqual([]);
    const truth = JSON.parse(new TextDecoder().decode(written.get('out/truth.json'))) as {
      subs: { file: string; stars: object[] }[];
    };
    expect(truth.subs.map((sub) => sub.file)).toEqual(['tiny-01.fits', 'tiny-02.fits']);
    expect(truth.subs[0].stars.length).toBeGreaterThan(4);
  });

  it('the same scenario gives the same bytes, another seed others', async () => {
    const first = await draw(TINY);
    const again = await draw(TINY);
    const other = await draw({ ...TINY, seed: 6 });
    expect(again.written).toEqual(first.written);
    expect(other.written.get('out/tiny-01.fits')).not.toEqual(first.written.get('out/tiny-01.fits'));
  });

  it('plain, gzip and RICE files hold the same pixels, and a header that the reader understands', async () => {
    const frames: Frame[] = [];
    for (const [compression, ending] of [
      ['none', '.fits'],
      ['gzip', '.fits.gz'],
      ['rice', '.fits.fz'],
    ]) {
      const { written } = await draw({ ...TINY, compression, subs: [{ focusUm: 40 }] });
      frames.push(await readBack(written, `out/tiny-01${ending}`));
    }
    expect(frames[1].pixels.data).toEqual(frames[0].pixels.data);
    expect(frames[2].pixels.data).toEqual(frames[0].pixels.data);
    for (const { facts, width, height } of frames) {
      expect([width, height]).toEqual([96, 80]);
      expect(facts.pixelUm?.value).toBe(3.76);
      expect(facts.focalLengthMm?.value).toBe(800);
      expect(facts.apertureMm?.value).toBe(200);
      expect(facts.gainEPerAdu?.value).toBe(0.8);
      expect(facts.readNoiseE?.value).toBe(1.6);
      expect(facts.saturationAdu?.value).toBe(63000);
      expect(facts.exposureS?.value).toBe(120);
      expect(facts.filter?.value).toBe('L');
      expect(facts.focusPosition?.value).toBe(11960);
      expect(facts.altitudeDeg?.value).toBe(75);
      expect(facts.rowOrder?.value).toBe('TOP-DOWN');
      expect(facts.mosaic).toBeNull();
    }
  });

  it.each(['TOP-DOWN', 'BOTTOM-UP', 'absent'])(
    'the green pixels of a mosaic stand where header and pixels say (%s)',
    async (rowOrder) => {
      const camera = { widthPx: 160, heightPx: 128, mosaic: 'GRBG', rowOrder };
      const { written } = await draw({ ...TINY, camera });
      const frame = await readBack(written, 'out/tiny-01.fits');
      expect(frame.facts.mosaic?.pattern).toEqual(['G', 'R', 'B', 'G']);
      expect(frame.mosaic).toEqual({ greenParity: 0, fromData: true });
    },
  );

  it('a missing ROWORDER is not written', async () => {
    const { written } = await draw({ ...TINY, camera: { ...TINY.camera, rowOrder: 'absent' } });
    expect((await readBack(written, 'out/tiny-01.fits')).facts.rowOrder).toBeNull();
  });

  it.each<[string, Record<string, string>, number, RegExp]>([
    ['a file that is not there', {}, EXIT.unreadableInput, /s\.json: cannot be read/],
    ['a file that is not JSON', { 's.json': '{' }, EXIT.unreadableInput, /s\.json: not JSON/],
    [
      'a wrong field',
      { 's.json': JSON.stringify({ ...TINY, exposureS: -1 }) },
      EXIT.wrongUsage,
      /not a scenario:\n {2}exposureS: /,
    ],
  ])('refuses %s, in words', async (_, files, exitCode, message) => {
    const { effects, written } = world(files);
    const failure = await synth({ scenarioFile: 's.json', out: 'out' }, effects).catch((error: unknown) => error);
    expect(failure).toBeInstanceOf(UserError);
    expect((failure as UserError).exitCode).toBe(exitCode);
    expect((failure as UserError).message).toMatch(message);
    expect(written.size).toBe(0);
  });

  it('stops between subs when interrupted, without a truth that is not whole', async () => {
    const { effects, written } = world({ 's.json': JSON.stringify({ ...TINY, subs: [{}, {}, {}] }) }, 1);
    const failure = await synth({ scenarioFile: 's.json', out: 'out' }, effects).catch((error: unknown) => error);
    expect((failure as UserError).exitCode).toBe(EXIT.interrupted);
    expect([...written.keys()]).toEqual(['out/tiny-01.fits']);
  });
});

it.each(['sample-coma', 'sample-soft-sides'])('%s is what its scenario draws today', async (name) => {
  const samples = fileURLToPath(new URL('../../samples', import.meta.url));
  const { effects, written } = world({ 's.json': readFileSync(`${samples}/scenarios/${name}.json`, 'utf8') });
  await synth({ scenarioFile: 's.json', out: 'out' }, effects);
  const stored = readFileSync(`${samples}/${name}.fits.fz`);
  expect(Buffer.from(written.get(`out/${name}-01.fits.fz`) ?? []).equals(stored)).toBe(true);
  expect(stored.length).toBeLessThan(1_500_000);
});
