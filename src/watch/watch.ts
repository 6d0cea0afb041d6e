import { basename, join } from 'node:path';
import type { StarPlaces } from '../adjust/starTravel.ts';
import {
  composeState,
  type LiveState,
  type NextTurn,
  type OwnScreen,
  type SetRecord,
  subLine,
  summaryOf,
  type TrendPoint,
  type Turn,
} from '../live/liveState.ts';
import { nextLines } from '../live/nextLines.ts';
import { type Break, breakBetween } from '../live/runningSet.ts';
import { nothingMeasured, type SubRecord, summaryOfSub } from '../live/subRecord.ts';
import { turnWords } from '../live/turnWords.ts';
import type { Report } from '../report/record.ts';
import { printable } from '../report/untrusted.ts';
import type { Adjusting } from '../screws/adjusting.ts';
import type { WatchDisk } from './disk.ts';
import { FolderScan, type SettledFile, type Sighting } from './folderScan.ts';
import { type Journal, type KnownFile, type Memory, renameSub } from './journal.ts';
import type { MeasuredSub, Measurer, Unmeasured } from './subMeasurer.ts';

/** Where finished sets go beside the journal, and where earlier checks come from. */
export interface HistorySink {
  keep(report: Report): Promise<void>;
  trend(): Promise<readonly TrendPoint[]>;
}

export interface WatchParts {
  /** Real path. */
  readonly folder: string;
  readonly disk: WatchDisk;
  readonly measurer: Measurer;
  readonly journal: Journal;
  readonly memory: Memory;
  readonly adjusting: Adjusting;
  readonly history: HistorySink | null;
  readonly now: () => Date;
  /** One line for the terminal. */
  readonly say: (line: string) => void;
  readonly onState: (state: LiveState) => void;
  readonly onPicture: (jpeg: Uint8Array) => void;
  /** Measure what stood in the folder before the first start as well. */
  readonly all: boolean;
}

export const WATCH = {
  /** Between two looks into the folder. */
  everyMs: 250,
  /** The verdict rests on the newest so many subs of the running set. */
  runningMost: 8,
  /** Of the subs that stand in the folder at the first start, the newest so many are measured. */
  existing: 10,
  /** In a burst the subs come first: taking them together may cost so small a share of the time. */
  burstShare: 0.2,
} as const;

/** Watches a folder: settled files are measured one by one, the running set together, and every change becomes a state. */
export class Watch {
  readonly #parts: WatchParts;
  readonly #scan: FolderScan;
  readonly #subs: Map<string, SubRecord>;
  readonly #sets: SetRecord[];
  #queue: SettledFile[] = [];
  #arriving: Sighting['arriving'] = null;
  #report: Report | null = null;
  #nextTurn: NextTurn | null = null;
  #trend: readonly TrendPoint[] = [];
  #problems = new Map<string, string>();
  /** Brightest stars of the running set's first and last sub. */
  #places: { readonly first: StarPlaces | null; readonly last: StarPlaces | null } = { first: null, last: null };
  #picture = 0;
  #stateId = 0;
  #turnsSeen = 0;
  #screen: OwnScreen;
  #firstLook: boolean;
  #measuring: Promise<void> | null = null;
  /** Not before this time are the subs of a burst taken together again, ms. */
  #togetherAt = 0;
  #stopped = false;

  constructor(parts: WatchParts) {
    const { memory } = parts;
    this.#parts = parts;
    this.#subs = new Map(memory.subs);
    this.#sets = [...memory.sets];
    this.#screen = memory.screen;
    this.#firstLook = memory.subs.size === 0 && memory.known.size === 0;
    const known: [string, KnownFile][] = [...memory.known, ...memory.subs];
    this.#scan = new FolderScan(parts.folder, parts.disk, known);
  }

  get measured(): number {
    return [...this.#subs.values()].filter((sub) => sub.problem === null).length;
  }

  get state(): LiveState {
    const { adjusting, folder, now, journal } = this.#parts;
    const trouble = journal.trouble;
    return composeState({
      id: this.#stateId,
      now: now(),
      folder: printable(basename(folder)),
      report: this.#report,
      sets: this.#sets,
      subs: [...this.#subs.values()],
      nextTurn: this.#nextTurn,
      screws: adjusting.screws(),
      picture: this.#picture,
      waiting: this.#queue.length + (this.#measuring === null ? 0 : 1),
      arriving: this.#arriving,
      problems: [...this.#problems.values(), ...(trouble === null ? [] : [trouble])],
      trend: this.#trend,
      screen: this.#screen,
    });
  }

  /** Picks up the running set of an earlier start, without measuring. */
  async restore(): Promise<void> {
    const { journal, measurer, adjusting, history } = this.#parts;
    for (const sub of this.#running()) {
      const packed = await journal.stars(sub.sha256);
      if (packed !== null) await measurer.restore(sub.sha256, packed);
    }
    this.#turnsSeen = (await adjusting.turns()).length;
    try {
      this.#trend = (await history?.trend()) ?? [];
    } catch (error) {
      this.#problem('history', `no history: ${error instanceof Error ? printable(error.message) : ''}`);
    }
    const picture = await journal.picture();
    if (picture !== null) this.#showPicture(picture);
    try {
      await this.#together();
    } catch {
      // Kept by another version of the program: the next subs speak for themselves.
      for (const sub of this.#running()) await journal.dropStars(sub.sha256);
      await measurer.keepOnly([]);
    }
    this.#changed();
  }

  /** Looks once; measuring goes on by itself. */
  async tick(): Promise<void> {
    const { now } = this.#parts;
    const sighting = await this.#scan.look(now().getTime());
    for (const { from, to } of sighting.renamed) await this.#renamed(from, to);
    await this.#enqueue(sighting.settled);
    const arrivingBefore = JSON.stringify(this.#arriving);
    this.#arriving = sighting.arriving && { ...sighting.arriving, file: printable(sighting.arriving.file) };
    for (const { file, sizeBytes, needs } of sighting.stuck) {
      const words = `${printable(file)}: ${sizeBytes} of at least ${needs} bytes and no more coming; waiting for the rest`;
      this.#problem(file, words);
    }
    const troubleBefore = this.#problems.get('');
    if (sighting.trouble === null) this.#problems.delete('');
    else this.#problems.set('', printable(sighting.trouble));
    if (this.#problems.get('') !== troubleBefore && sighting.trouble !== null)
      this.#parts.say(printable(sighting.trouble));
    await this.#newTurns();
    if (arrivingBefore !== JSON.stringify(this.#arriving) || this.#problems.get('') !== troubleBefore) this.#changed();
    this.#pump();
  }

  /** Waits until all that was queued is measured. */
  async idle(): Promise<void> {
    while (this.#measuring !== null) await this.#measuring;
  }

  async stop(): Promise<void> {
    this.#stopped = true;
    await this.#parts.measurer.close();
    await this.idle();
    await this.#keepInHistory();
  }

  /** A screw was turned; throws the UserError of the screws' record. */
  async nudge(screw: string, turns: number): Promise<void> {
    await this.#parts.adjusting.recordTurn({ screw, turns, at: this.#parts.now().toISOString() });
    await this.#newTurns();
  }

  /** Something else was moved: the subs from now on stand for themselves. */
  async moved(): Promise<void> {
    await this.#parts.adjusting.recordMoved(this.#parts.now().toISOString());
    await this.#beginSet({ cause: 'key', words: 'something was moved' }, []);
  }

  async showOn(screen: OwnScreen): Promise<void> {
    this.#screen = screen;
    await this.#parts.journal.add({ k: 'screen', screen });
    this.#changed();
  }

  #running(): SubRecord[] {
    const set = this.#sets.at(-1)?.id;
    return [...this.#subs.values()].filter((sub) => sub.set === set && sub.problem === null).slice(-WATCH.runningMost);
  }

  async #enqueue(settled: readonly SettledFile[]): Promise<void> {
    let wanted = settled;
    if (this.#firstLook) {
      this.#firstLook = false;
      const left = this.#parts.all ? [] : settled.slice(0, -WATCH.existing);
      wanted = settled.slice(left.length);
      for (const { file, sizeBytes, mtimeMs } of left)
        await this.#parts.journal.add({ k: 'known', known: { file, sizeBytes, mtimeMs } });
      if (left.length > 0)
        this.#parts.say(
          `${left.length} older subs in the folder are left alone, the newest ${wanted.length} measured (--all takes all)`,
        );
    }
    if (wanted.length === 0) return;
    const again = new Set(wanted.map(({ file }) => file));
    this.#queue = [...this.#queue.filter(({ file }) => !again.has(file)), ...wanted];
    this.#changed();
  }

  async #renamed(from: string, to: string): Promise<void> {
    this.#queue = this.#queue.map((file) => (file.file === from ? { ...file, file: to } : file));
    if (!this.#subs.has(from)) return;
    renameSub(this.#subs, from, to);
    await this.#parts.journal.add({ k: 'renamed', from, to });
    this.#changed();
  }

  #pump(): void {
    if (this.#measuring !== null || this.#stopped) return;
    const next = this.#queue.shift();
    if (next === undefined) return;
    this.#measuring = this.#measureOne(next)
      .catch((error: unknown) => {
        const why = error instanceof Error ? error.message : String(error);
        this.#problem(next.file, `${printable(next.file)}: ${printable(why)}`);
      })
      .finally(() => {
        this.#measuring = null;
        this.#pump();
        if (this.#measuring === null) this.#changed();
      });
  }

  async #measureOne(settled: SettledFile): Promise<void> {
    const { folder, measurer, disk } = this.#parts;
    const path = join(folder, settled.file);
    const measured = await measurer.measure(path, printable(settled.file));
    if (this.#stopped) return;
    const stamp = await disk.stamp(path);
    if ('problem' in measured && measured.gone) return;
    // Written to while it was read: what was measured is neither the old nor the new file.
    if (stamp !== null && (stamp.sizeBytes !== settled.sizeBytes || stamp.mtimeMs !== settled.mtimeMs)) {
      this.#scan.doubt(settled.file);
      return;
    }
    await this.#record(settled, measured);
  }

  async #record(settled: SettledFile, measured: MeasuredSub | Unmeasured): Promise<void> {
    const { journal, now } = this.#parts;
    const { file, sizeBytes, mtimeMs } = settled;
    const twin = [...this.#subs.values()].find(
      (sub) => sub.sha256 === measured.sha256 && sub.sha256 !== '' && sub.file !== file,
    );
    if (twin !== undefined) {
      if (this.#scan.has(twin.file)) {
        await journal.add({ k: 'known', known: { file, sizeBytes, mtimeMs } });
        this.#parts.say(`${printable(file)}: the same bytes as ${printable(twin.file)}, counted once`);
        this.#drop(file);
      } else await this.#renamed(twin.file, file);
      return;
    }
    const measuredAt = now().toISOString();
    const base = { file, sizeBytes, mtimeMs, measuredAt };
    const sub: SubRecord =
      'problem' in measured
        ? {
            ...nothingMeasured(measured.sha256),
            ...base,
            problem: printable(measured.problem),
            set: this.#sets.at(-1)?.id ?? 0,
          }
        : {
            ...base,
            ...summaryOfSub(measured),
            set: 0,
            problem: measured.starsFitted === 0 ? 'no usable star' : null,
          };
    await this.#place(sub, settled.seenMs, 'packed' in measured ? measured : null);
  }

  /** Into the running set, or the first of a new one. */
  async #place(given: SubRecord, seenMs: number, measured: MeasuredSub | null): Promise<void> {
    const { journal, say } = this.#parts;
    const last = this.#sets.at(-1);
    const before = this.#running().at(-1);
    let sub = given;
    if (sub.problem === null) {
      if (last === undefined) await this.#beginSet({ cause: 'start', words: 'the first subs' }, []);
      else if (before !== undefined) {
        const parted = breakBetween(before, sub);
        if (parted !== null) {
          if (parted.cause === 'set-up') await this.#parts.adjusting.recordMoved(this.#parts.now().toISOString());
          await this.#beginSet(parted, []);
        }
      }
      if (this.#exposedDuringMove(sub, seenMs))
        sub = { ...sub, problem: 'exposed while something was moved: left out' };
    }
    sub = { ...sub, set: this.#sets.at(-1)?.id ?? 0 };
    this.#drop(sub.file);
    this.#subs.set(sub.file, sub);
    this.#problems.delete(sub.file);
    await journal.add({ k: 'sub', sub });
    if (sub.problem !== null) {
      say(printable(subLine(sub, null)));
      this.#changed();
      return;
    }
    if (measured !== null) {
      await journal.keepStars(sub.sha256, measured.packed);
      this.#places = { first: this.#places.first ?? measured.brightest, last: measured.brightest };
    }
    if (this.#queue.length === 0 || this.#parts.now().getTime() >= this.#togetherAt) await this.#together();
    say(printable(subLine(sub, this.#report)));
    this.#changed();
    if (this.#queue.length === 0) await this.#takePicture();
  }

  /** A file's earlier record goes when the file is measured anew. */
  #drop(file: string): void {
    this.#subs.delete(file);
  }

  /** Began before the last move: stars may stand in two places. */
  #exposedDuringMove(sub: SubRecord, seenMs: number): boolean {
    const set = this.#sets.at(-1);
    if (set === undefined || (set.cause !== 'nudge' && set.cause !== 'key')) return false;
    const began = seenMs - 1000 * (sub.facts.exposureS ?? 0);
    return began < Date.parse(set.since);
  }

  /** The running set's verdict. */
  async #together(): Promise<void> {
    const { measurer, journal, now } = this.#parts;
    const set = this.#sets.at(-1);
    const running = this.#running();
    if (set === undefined || running.length === 0) return;
    const names = running.map((sub) => sub.sha256);
    const started = now().getTime();
    const report = await measurer.field(names, now().toISOString());
    const ended = now().getTime();
    this.#togetherAt = ended + (ended - started) / WATCH.burstShare + 1;
    if (report === null || this.#sets.at(-1)?.id !== set.id) return;
    this.#report = report;
    const subs = [...this.#subs.values()].filter((sub) => sub.set === set.id && sub.problem === null).length;
    const updated: SetRecord = { ...set, subs, used: running.length, summary: summaryOf(report) };
    this.#sets[this.#sets.length - 1] = updated;
    await journal.add({ k: 'set', set: updated });
    await this.#askScrews(report);
    await measurer.keepOnly(names);
  }

  /** What to turn next, by the screws' record; a disk that cannot be written must not stop the measuring. */
  async #askScrews(report: Report): Promise<void> {
    const { adjusting, say } = this.#parts;
    const { first, last } = this.#places;
    try {
      await adjusting.see({ report, first, last });
      const next = await adjusting.proposal();
      if (next.headline !== this.#nextTurn?.headline && report.verdict === 'adjust')
        for (const line of nextLines(next)) say(line);
      this.#nextTurn = next;
      this.#problems.delete('screws');
    } catch (error) {
      this.#nextTurn = null;
      this.#problem('screws', `no next turn: ${error instanceof Error ? printable(error.message) : ''}`);
    }
  }

  async #beginSet(parted: Break, turns: readonly Turn[]): Promise<void> {
    const { journal, now } = this.#parts;
    await this.#keepInHistory();
    for (const sub of this.#running()) await journal.dropStars(sub.sha256);
    const last = this.#sets.at(-1);
    // Several screws one after another, without a sub between, belong to one set.
    const emptyBefore = last?.subs === 0;
    const set: SetRecord = {
      id: emptyBefore ? last.id : (last?.id ?? 0) + 1,
      since: now().toISOString(),
      cause: parted.cause,
      why: parted.words,
      turns: emptyBefore ? [...last.turns, ...turns] : turns,
      subs: 0,
      used: 0,
      summary: null,
    };
    if (emptyBefore) this.#sets[this.#sets.length - 1] = set;
    else this.#sets.push(set);
    this.#report = null;
    this.#nextTurn = null;
    this.#places = { first: null, last: null };
    await journal.add({ k: 'set', set });
    if (parted.cause !== 'start') this.#parts.say(`set ${set.id} begins: ${printable(parted.words)}`);
    this.#changed();
  }

  /** Turns that this page, or `starplumb nudge` elsewhere, wrote since the last look. */
  async #newTurns(): Promise<void> {
    const turns = await this.#parts.adjusting.turns();
    const fresh = turns.slice(this.#turnsSeen);
    this.#turnsSeen = turns.length;
    if (fresh.length === 0) return;
    const words = fresh.map(turnWords).join(', ');
    await this.#beginSet({ cause: 'nudge', words }, fresh);
  }

  async #keepInHistory(): Promise<void> {
    const { history } = this.#parts;
    if (history === null || this.#report === null) return;
    try {
      await history.keep(this.#report);
      this.#trend = await history.trend();
      this.#problems.delete('history');
    } catch (error) {
      this.#problem('history', `not kept in the history: ${error instanceof Error ? printable(error.message) : ''}`);
    }
  }

  async #takePicture(): Promise<void> {
    const jpeg = await this.#parts.measurer.picture();
    if (jpeg === null) return;
    this.#showPicture(jpeg);
    this.#changed();
    await this.#parts.journal.keepPicture(jpeg);
  }

  #showPicture(jpeg: Uint8Array): void {
    this.#picture++;
    this.#parts.onPicture(jpeg);
  }

  #problem(key: string, words: string): void {
    if (this.#problems.get(key) === words) return;
    this.#problems.set(key, words);
    this.#parts.say(words);
    this.#changed();
  }

  #changed(): void {
    this.#stateId++;
    this.#parts.onState(this.state);
  }
}
