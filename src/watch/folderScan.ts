import { join } from 'node:path';
import { isFrameFile } from '../commands/frames.ts';
import { wholenessOf } from '../live/settled.ts';
import type { FileStamp, WatchDisk } from './disk.ts';

/** A file that is whole, below the watched folder. */
export interface SettledFile extends FileStamp {
  /** Below the folder, with '/'. */
  readonly file: string;
  /** Our own clock when the name was first seen: the clock of a share may be wrong. */
  readonly seenMs: number;
}

export interface Sighting {
  /** Whole for the first time, or again after it changed; oldest first. */
  readonly settled: readonly SettledFile[];
  readonly renamed: readonly { readonly from: string; readonly to: string }[];
  /** The newest file that is still being written. */
  readonly arriving: { readonly file: string; readonly share: number | null } | null;
  /** Files that have stayed too short for long; told once each. */
  readonly stuck: readonly { readonly file: string; readonly sizeBytes: number; readonly needs: number }[];
  /** Why the folder, or a part of it, cannot be listed just now. */
  readonly trouble: string | null;
}

export const SCAN = {
  /** A file that cannot tell its length counts after so long without a change. */
  quietMs: 1500,
  /** Padding that never comes, or a file that ends early. */
  stuckMs: 60_000,
  /** Night folders may stand in folders of targets, years and cameras. */
  depth: 6,
  /** Whole files looked at again in each round, for being overwritten: the newest ones, and some of the others in turn. */
  newest: 16,
  inTurn: 48,
  /** A name that is gone may come back under another one for so many rounds. */
  roundsUntilGone: 6,
} as const;

interface Tracked {
  stamp: FileStamp;
  seenMs: number;
  /** Clock of the last change. */
  changedAt: number;
  settled: boolean;
  /** Length known to be necessary; 0 before a look inside. */
  needs: number;
  toldStuck: boolean;
  /** Rounds since the name was last seen. */
  missing: number;
}

/** Finds whole frames in a folder and its subfolders by listing it again and again: works on local disks and on shares. */
export class FolderScan {
  readonly #root: string;
  readonly #disk: WatchDisk;
  readonly #files = new Map<string, Tracked>();
  /** Files known from before: settled if they stand unchanged. */
  readonly #known: Map<string, { sizeBytes: number; mtimeMs: number }>;
  #turn = 0;

  constructor(
    root: string,
    disk: WatchDisk,
    known: Iterable<readonly [string, { sizeBytes: number; mtimeMs: number }]>,
  ) {
    this.#root = root;
    this.#disk = disk;
    this.#known = new Map(known);
  }

  /** True where a name still stands in the folder, as far as the last look saw. */
  has(file: string): boolean {
    return this.#files.get(file)?.missing === 0;
  }

  /** Looked at again as if it had just changed. */
  doubt(file: string): void {
    const tracked = this.#files.get(file);
    if (tracked) {
      tracked.settled = false;
      tracked.needs = 0;
    }
  }

  async look(now: number): Promise<Sighting> {
    const { names, unseen, trouble } = await this.#walk();
    const settled: SettledFile[] = [];
    const renamed: { from: string; to: string }[] = [];
    this.#markMissing(names, unseen);
    const fresh = names.filter((name) => !this.#files.has(name));
    for (const file of fresh) {
      const stamp = await this.#disk.stamp(join(this.#root, file));
      if (stamp === null) continue;
      const from = this.#vanishedTwin(stamp);
      const before = this.#known.get(file);
      const same = before?.sizeBytes === stamp.sizeBytes && before.mtimeMs === stamp.mtimeMs;
      this.#known.delete(file);
      if (from !== null) {
        this.#files.delete(from);
        renamed.push({ from, to: file });
      }
      this.#files.set(file, {
        stamp,
        seenMs: now,
        changedAt: now,
        settled: same || from !== null,
        needs: 0,
        toldStuck: false,
        missing: 0,
      });
    }
    await this.#lookAgain(now);
    const stuck: { file: string; sizeBytes: number; needs: number }[] = [];
    let arriving: Sighting['arriving'] = null;
    for (const [file, tracked] of this.#files) {
      if (tracked.settled || tracked.missing > 0) continue;
      if (await this.#isWhole(file, tracked, now)) {
        tracked.settled = true;
        settled.push({ file, seenMs: tracked.seenMs, ...tracked.stamp });
        continue;
      }
      const { sizeBytes } = tracked.stamp;
      const needs = Math.max(tracked.needs, 1);
      if (now - tracked.changedAt < SCAN.stuckMs)
        arriving = { file, share: tracked.needs > sizeBytes + 1 ? sizeBytes / tracked.needs : null };
      else if (!tracked.toldStuck) {
        tracked.toldStuck = true;
        stuck.push({ file, sizeBytes, needs });
      }
    }
    settled.sort((a, b) => a.mtimeMs - b.mtimeMs || (a.file < b.file ? -1 : 1));
    return { settled, renamed, arriving, stuck, trouble };
  }

  /** Names below the root; folders that cannot be listed just now are named, and their files are not taken as gone. */
  async #walk(): Promise<{ names: string[]; unseen: string[]; trouble: string | null }> {
    const names: string[] = [];
    const unseen: string[] = [];
    let trouble: string | null = null;
    const visit = async (prefix: string, depth: number): Promise<void> => {
      try {
        for (const { name, kind } of await this.#disk.list(join(this.#root, prefix))) {
          if (kind === 'file' && isFrameFile(name)) names.push(prefix + name);
          else if (kind === 'folder' && !name.startsWith('.') && depth < SCAN.depth)
            await visit(`${prefix}${name}/`, depth + 1);
        }
      } catch (error) {
        const code = error instanceof Error && 'code' in error ? String(error.code) : String(error);
        // A folder that went away between two listings is nothing to speak of.
        if (code === 'ENOENT' && prefix !== '') return;
        unseen.push(prefix);
        trouble = `${prefix === '' ? 'the folder' : prefix} cannot be listed (${code}); trying again`;
      }
    };
    await visit('', 0);
    return { names, unseen, trouble };
  }

  #markMissing(names: readonly string[], unseen: readonly string[]): void {
    const present = new Set(names);
    for (const [file, tracked] of this.#files) {
      if (present.has(file)) tracked.missing = 0;
      else if (!unseen.some((prefix) => file.startsWith(prefix))) tracked.missing++;
      if (tracked.missing > SCAN.roundsUntilGone) this.#files.delete(file);
    }
  }

  /** A settled file of the same inode, size and time whose name is gone: it was renamed. */
  #vanishedTwin(stamp: FileStamp): string | null {
    for (const [file, tracked] of this.#files) {
      if (tracked.missing === 0 || !tracked.settled) continue;
      const { inode, sizeBytes, mtimeMs } = tracked.stamp;
      if (inode === stamp.inode && sizeBytes === stamp.sizeBytes && mtimeMs === stamp.mtimeMs) return file;
    }
    return null;
  }

  /** Unsettled files, the newest settled ones, and some of the others in turn. */
  async #lookAgain(now: number): Promise<void> {
    const present = [...this.#files].filter(([, tracked]) => tracked.missing === 0);
    const settled = present.filter(([, tracked]) => tracked.settled);
    const older = settled.slice(0, -SCAN.newest);
    const turn = Array.from(
      { length: Math.min(SCAN.inTurn, older.length) },
      (_, i) => older[(this.#turn + i) % older.length],
    );
    this.#turn = older.length === 0 ? 0 : (this.#turn + SCAN.inTurn) % older.length;
    const looked = [...present.filter(([, tracked]) => !tracked.settled), ...settled.slice(-SCAN.newest), ...turn];
    for (const [file, tracked] of looked) {
      const stamp = await this.#disk.stamp(join(this.#root, file));
      if (stamp === null || sameStamp(stamp, tracked.stamp)) continue;
      tracked.stamp = stamp;
      if (tracked.settled) tracked.seenMs = now;
      tracked.changedAt = now;
      tracked.settled = false;
      tracked.toldStuck = false;
    }
  }

  async #isWhole(file: string, tracked: Tracked, now: number): Promise<boolean> {
    const { sizeBytes } = tracked.stamp;
    if (sizeBytes < tracked.needs && now > tracked.changedAt) return false;
    try {
      const wholeness = await this.#disk.reading(join(this.#root, file), (read) => wholenessOf(read, sizeBytes, file));
      tracked.needs = wholeness.state === 'growing' ? wholeness.needs : 0;
      if (wholeness.state === 'whole') return true;
      return wholeness.state === 'when-quiet' && now - tracked.changedAt >= SCAN.quietMs;
    } catch {
      // Locked by its writer, or gone again.
      return false;
    }
  }
}

const sameStamp = (a: FileStamp, b: FileStamp): boolean =>
  a.sizeBytes === b.sizeBytes && a.mtimeMs === b.mtimeMs && a.inode === b.inode;
