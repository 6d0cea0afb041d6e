import { createHash } from 'node:crypto';
import { mkdirSync, mkdtempSync, readdirSync, renameSync, rmSync, utimesSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { dirname, join } from 'node:path';
import { serialize } from 'node:v8';
import { afterEach, describe, expect, it } from 'vitest';
import type { LiveState } from '../../src/live/liveState.ts';
import type { SubRecord } from '../../src/live/subRecord.ts';
import { Adjusting } from '../../src/screws/adjusting.ts';
import { WATCH_DISK } from '../../src/watch/disk.ts';
import { SCAN } from '../../src/watch/folderScan.ts';
import { Journal } from '../../src/watch/journal.ts';
import { SubMeasurer } from '../../src/watch/subMeasurer.ts';
import { WATCH, Watch, type WatchParts } from '../../src/watch/watch.ts';
import { memoryWorld } from '../support/memoryEffects.ts';
import { smallSub } from '../support/smallSub.ts';

const roots: string[] = [];
afterEach(() => {
  for (const root of roots.splice(0)) rmSync(root, { recursive: true, force: true });
});

const sha = (bytes: Uint8Array): string => createHash('sha256').update(bytes).digest('hex');

const TOOL = { name: 'starplumb', version: '0' };
const NO_RIG = () => ({ name: null, kept: {}, cameraAngle: null, notes: [] });

class CountingMeasurer extends SubMeasurer {
  readonly measured: string[] = [];
  override measure(path: string, name: string): ReturnType<SubMeasurer['measure']> {
    this.measured.push(name);
    return super.measure(path, name);
  }
}

/** A folder, a data place and a clock that only the test moves. */
class Night {
  readonly root = mkdtempSync(join(tmpdir(), 'starplumb-watch-'));
  readonly folder = join(this.root, 'subs');
  readonly world = memoryWorld();
  readonly lines: string[] = [];
  clock = Date.parse('2031-02-12T01:00:00.000Z');
  states: LiveState[] = [];
  measurer = new CountingMeasurer({}, TOOL, NO_RIG);
  watch!: Watch;
  journal!: Journal;

  constructor() {
    roots.push(this.root);
    mkdirSync(this.folder);
  }

  async start(changes: Partial<WatchParts> = {}): Promise<this> {
    const { journal, memory } = await Journal.open(join(this.root, 'data'), this.folder);
    this.journal = journal;
    this.measurer = new CountingMeasurer({}, TOOL, NO_RIG);
    this.watch = new Watch({
      folder: this.folder,
      disk: WATCH_DISK,
      measurer: this.measurer,
      journal,
      memory,
      adjusting: await Adjusting.open({ folder: this.folder }, this.world.effects),
      history: null,
      now: () => new Date(this.clock),
      say: (line) => this.lines.push(line),
      onState: (state) => this.states.push(state),
      onPicture: () => undefined,
      all: false,
      ...changes,
    });
    await this.watch.restore();
    return this;
  }

  write(name: string, bytes: Uint8Array): void {
    mkdirSync(dirname(join(this.folder, name)), { recursive: true });
    writeFileSync(join(this.folder, name), bytes);
  }

  /** Looks, measures what is there, and lets so much time pass. */
  async look(ms = 250): Promise<void> {
    await this.watch.tick();
    await this.watch.idle();
    this.clock += ms;
  }

  /** Records as a new start would find them: what was really kept. */
  async kept(): Promise<Map<string, SubRecord>> {
    return (await Journal.open(join(this.root, 'data'), this.folder)).memory.subs;
  }

  get state(): LiveState {
    return this.watch.state;
  }
}

/** A first look into an empty folder, so that what comes later has come while watching. */
async function begun(): Promise<Night> {
  const night = await new Night().start();
  await night.look();
  return night;
}

describe('picking up subs', () => {
  it('measures a sub when its last byte is there, not before, and once', async () => {
    const night = await begun();
    const sub = smallSub(1);
    for (const share of [0.02, 0.3, 0.6, 0.99]) {
      night.write('a.fits', sub.subarray(0, Math.floor(share * sub.length)));
      await night.look();
      expect(night.measurer.measured).toEqual([]);
      expect(night.state.arriving?.file).toBe('a.fits');
    }
    night.write('a.fits', sub);
    await night.look();
    await night.look();
    expect(night.measurer.measured).toEqual(['a.fits']);
    expect((await night.kept()).get('a.fits')?.sha256).toBe(sha(sub));
  });

  it('waits through a stall of any length, says so, and takes the rest', async () => {
    const night = await begun();
    const sub = smallSub(2);
    night.write('a.fits', sub.subarray(0, 20_000));
    await night.look(10_000);
    await night.look(SCAN.stuckMs);
    await night.look();
    expect(night.measurer.measured).toEqual([]);
    expect(night.lines.filter((line) => line.includes('no more coming'))).toHaveLength(1);
    night.write('a.fits', sub);
    await night.look();
    expect([...(await night.kept()).keys()]).toEqual(['a.fits']);
    expect(night.state.problems).toEqual([]);
  });

  it('takes a file under its final name only, and follows later renames without measuring again', async () => {
    const night = await begun();
    night.write('a.fits.tmp', smallSub(3));
    await night.look();
    expect(night.measurer.measured).toEqual([]);
    renameSync(join(night.folder, 'a.fits.tmp'), join(night.folder, 'a.fits'));
    await night.look();
    mkdirSync(join(night.folder, 'kept'));
    renameSync(join(night.folder, 'a.fits'), join(night.folder, 'kept/best.fits'));
    await night.look();
    await night.look();
    expect(night.measurer.measured).toEqual(['a.fits']);
    expect([...(await night.kept()).keys()]).toEqual(['kept/best.fits']);
  });

  it('finds nested night folders, and leaves hidden ones and other files alone', async () => {
    const night = await begun();
    night.write('2031/02-11/north field/L/a.fits', smallSub(4));
    night.write('.trash/b.fits', smallSub(5));
    night.write('notes.txt', new Uint8Array(10));
    await night.look();
    expect(night.measurer.measured).toEqual(['2031/02-11/north field/L/a.fits']);
  });

  it('a sub that is written over has one record, of what stands there', async () => {
    const night = await begun();
    night.write('a.fits', smallSub(6));
    await night.look();
    const second = smallSub(7);
    night.write('a.fits', second);
    utimesSync(join(night.folder, 'a.fits'), new Date(night.clock), new Date(night.clock));
    await night.look();
    const kept = await night.kept();
    expect(kept.size).toBe(1);
    expect(kept.get('a.fits')?.sha256).toBe(sha(second));
    expect(night.state.measuredSubs).toBe(1);
  });

  it('the same bytes under two names count once', async () => {
    const night = await begun();
    night.write('a.fits', smallSub(8));
    await night.look();
    night.write('copy/a.fits', smallSub(8));
    await night.look();
    expect(night.state.measuredSubs).toBe(1);
    expect(night.lines.join('\n')).toContain('counted once');
  });

  it('a sub that is deleted before it could be read leaves no record; one deleted later keeps it', async () => {
    const night = await begun();
    night.write('a.fits', smallSub(9));
    const ticking = night.watch.tick();
    rmSync(join(night.folder, 'a.fits'));
    await ticking;
    await night.watch.idle();
    expect((await night.kept()).size).toBe(0);
    night.write('b.fits', smallSub(10));
    await night.look();
    rmSync(join(night.folder, 'b.fits'));
    for (let i = 0; i < SCAN.roundsUntilGone + 2; i++) await night.look();
    expect([...(await night.kept()).keys()]).toEqual(['b.fits']);
  });

  it('a damaged file is said and keeps the others going', async () => {
    const night = await begun();
    night.write('a.fits', new TextEncoder().encode('no FITS file at all'));
    night.write('b.fits', smallSub(11));
    await night.look(SCAN.quietMs);
    await night.look();
    expect(night.lines.join('\n')).toMatch(/a\.fits {2}not a FITS file/);
    expect(night.state.strip.map((sub) => [sub.file, sub.problem === null])).toEqual([
      ['b.fits', true],
      ['a.fits', false],
    ]);
  });

  it('a folder that cannot be listed for a while loses nothing', async () => {
    let out = false;
    const disk = {
      ...WATCH_DISK,
      list: (folder: string) =>
        out ? Promise.reject(Object.assign(new Error('x'), { code: 'EIO' })) : WATCH_DISK.list(folder),
    };
    const night = await new Night().start({ disk });
    await night.look();
    night.write('a.fits', smallSub(12));
    await night.look();
    out = true;
    for (let i = 0; i < SCAN.roundsUntilGone + 3; i++) await night.look();
    expect(night.state.problems.join()).toContain('EIO');
    out = false;
    await night.look();
    expect(night.measurer.measured).toEqual(['a.fits']);
    expect(night.state.problems).toEqual([]);
  });

  it('never writes to the watched folder', async () => {
    const night = await begun();
    night.write('a.fits', smallSub(13));
    await night.look();
    await night.watch.nudge('A', 0.125);
    await night.watch.stop();
    expect(readdirSync(night.folder)).toEqual(['a.fits']);
  });
});

describe('bursts and restarts', () => {
  it('a burst of 500 is measured, each once', async () => {
    const night = await begun();
    const some = Array.from({ length: 10 }, (_, i) => smallSub(100 + i));
    for (let i = 0; i < 500; i++) {
      // Bytes behind the last HDU belong to nobody (FITS 4.0, sec. 3.6) and make each file another one.
      const bytes = Buffer.concat([some[i % 10] ?? new Uint8Array(), Buffer.from(`burst number ${i}`)]);
      night.write(`burst-${String(i).padStart(3, '0')}.fits`, bytes);
    }
    await night.look();
    expect(night.measurer.measured).toHaveLength(500);
    expect(new Set(night.measurer.measured).size).toBe(500);
    expect((await night.kept()).size).toBe(500);
    expect(night.state.strip).toHaveLength(10);
  });

  it('a restart measures nothing again and shows the same verdict', async () => {
    const night = await begun();
    for (let i = 0; i < 4; i++) {
      night.write(`a${i}.fits`, smallSub(20 + i));
      await night.look();
    }
    await night.watch.showOn({ mirrored: true, turnedDeg: 90 });
    const before = night.state;
    await night.watch.stop();
    night.write('late.fits', smallSub(30));
    await night.start();
    expect(night.state.headline).toBe(before.headline);
    expect(night.state.set?.used).toBe(4);
    expect(night.state.screen).toEqual({ mirrored: true, turnedDeg: 90 });
    await night.look();
    expect(night.measurer.measured).toEqual(['late.fits']);
    expect(night.state.set?.used).toBe(5);
  });

  it('stars that cannot be used any more do not keep it from starting', async () => {
    const night = await begun();
    night.write('a.fits', smallSub(31));
    await night.look();
    await night.watch.stop();
    const place = join(night.root, 'data');
    const stars = join(place, readdirSync(place).find((entry) => entry.endsWith('-stars')) ?? '');
    const kept = { version: TOOL.version, frame: {}, measured: { stars: { shapes: [{}] } } };
    writeFileSync(join(stars, sha(smallSub(31))), serialize(kept));
    await night.start();
    expect(night.state.verdict).toBe('waiting');
    night.write('b.fits', smallSub(32));
    await night.look();
    expect(night.measurer.measured).toEqual(['b.fits']);
    expect(night.state.set?.used).toBeGreaterThan(0);
  });

  it('takes the newest of what stands there at the first start, and leaves the rest for good', async () => {
    const night = new Night();
    for (let i = 0; i < WATCH.existing + 3; i++) {
      night.write(`a${String(i).padStart(2, '0')}.fits`, smallSub(40 + i));
      utimesSync(join(night.folder, `a${String(i).padStart(2, '0')}.fits`), 1000 + i, 1000 + i);
    }
    await night.start();
    await night.look();
    await night.watch.stop();
    expect(night.measurer.measured).toHaveLength(WATCH.existing);
    expect(night.measurer.measured).not.toContain('a02.fits');
    expect(night.lines.join('\n')).toContain('3 older subs');
    await night.start();
    await night.look();
    expect(night.measurer.measured).toEqual([]);
  });

  it('a line torn by a power cut costs that line only', async () => {
    const night = await begun();
    night.write('a.fits', smallSub(60));
    await night.look();
    await night.watch.stop();
    const place = join(night.root, 'data');
    const name = readdirSync(place).find((entry) => entry.endsWith('.jsonl')) ?? '';
    writeFileSync(join(place, name), '{"k":"sub","sub":{"fi', { flag: 'a' });
    expect([...(await night.kept()).keys()]).toEqual(['a.fits']);
  });

  it('goes on where nothing can be kept, and says so', async () => {
    const night = new Night();
    writeFileSync(join(night.root, 'data'), 'a file where the folder should be');
    await night.start();
    night.write('a.fits', smallSub(61));
    await night.look();
    expect(night.measurer.measured).toEqual(['a.fits']);
    expect(night.state.problems.join()).toContain('cannot be written');
  });
});

describe('the running set', () => {
  it('begins anew with a turned screw; subs exposed meanwhile are left out', async () => {
    const night = await begun();
    night.write('a.fits', smallSub(70));
    await night.look(5000);
    await night.watch.nudge('B', -0.25);
    expect(night.state.verdict).toBe('waiting');
    expect(night.state.set).toMatchObject({ cause: 'nudge', why: 'screw B 1/4 turn counter-clockwise', subs: 0 });
    night.clock += 500;
    // Exposed for 1 s: it began half a second before the turn.
    night.write('b.fits', smallSub(71));
    await night.look(3000);
    expect(night.state.strip.at(-1)?.problem).toContain('exposed while');
    expect(night.state.verdict).toBe('waiting');
    night.write('c.fits', smallSub(72));
    await night.look();
    expect(night.state.set).toMatchObject({ subs: 1, used: 1 });
    expect(night.state.sets).toHaveLength(2);
    expect(night.state.verdict).not.toBe('waiting');
  });

  it('two screws without a sub between are one move; a key begins one as well', async () => {
    const night = await begun();
    night.write('a.fits', smallSub(73));
    await night.look(5000);
    await night.watch.nudge('A', 0.125);
    await night.watch.nudge('B', 1);
    expect(night.state.set?.turns.map((turn) => turn.screw)).toEqual(['A', 'B']);
    expect(night.state.sets).toHaveLength(2);
    night.clock += 5000;
    night.write('b.fits', smallSub(74));
    await night.look(5000);
    await night.watch.moved();
    expect(night.state.set?.cause).toBe('key');
    expect(night.state.sets).toHaveLength(3);
  });

  it('begins anew with a jump of the focuser told by the header', async () => {
    const night = await begun();
    night.write('a.fits', smallSub(75, { FOCPOS: 10_000, FOCUSSZ: 2 }));
    await night.look();
    night.write('b.fits', smallSub(76, { FOCPOS: 10_400, FOCUSSZ: 2 }));
    await night.look();
    expect(night.state.sets.map((set) => set.cause)).toEqual(['start', 'focus']);
  });

  it('rests on the newest subs of the set only', async () => {
    const night = await begun();
    for (let i = 0; i < WATCH.runningMost + 3; i++) night.write(`a${i}.fits`, smallSub(80 + i));
    await night.look();
    expect(night.state.set).toMatchObject({ subs: WATCH.runningMost + 3, used: WATCH.runningMost });
  });
});
