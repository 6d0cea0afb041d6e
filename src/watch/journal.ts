import { createHash } from 'node:crypto';
import { appendFile, mkdir, readFile, rename, rm, writeFile } from 'node:fs/promises';
import { join } from 'node:path';
import { type OwnScreen, PLAIN_SCREEN, type SetRecord } from '../live/liveState.ts';
import type { SubRecord } from '../live/subRecord.ts';

/** Files that are known and are no subs of their own: left alone at the first start, or the same bytes as another. */
export interface KnownFile {
  readonly file: string;
  readonly sizeBytes: number;
  readonly mtimeMs: number;
}

/** What a watch remembers of a folder from one start to the next. */
export interface Memory {
  /** By file, in the order they were measured. */
  readonly subs: Map<string, SubRecord>;
  readonly sets: SetRecord[];
  readonly known: Map<string, KnownFile>;
  screen: OwnScreen;
}

type Line =
  | { readonly k: 'sub'; readonly sub: SubRecord }
  | { readonly k: 'set'; readonly set: SetRecord }
  | { readonly k: 'known'; readonly known: KnownFile }
  | { readonly k: 'renamed'; readonly from: string; readonly to: string }
  | { readonly k: 'screen'; readonly screen: OwnScreen };

const VERSION = 1;

/**
 * Keeps what was measured in a file of lines in the data place, never in the watched folder: one line appended for each change,
 * a torn last line is left out when read, and each start writes it anew without what was replaced.
 */
export class Journal {
  readonly #path: string;
  readonly #stars: string;
  #broken: string | null = null;

  private constructor(folder: string, name: string) {
    this.#path = join(folder, `${name}.jsonl`);
    this.#stars = join(folder, `${name}-stars`);
  }

  /** `place`: folder of all journals; `watched`: real path of the watched folder. */
  static async open(place: string, watched: string): Promise<{ journal: Journal; memory: Memory }> {
    const journal = new Journal(place, createHash('sha256').update(watched).digest('hex').slice(0, 24));
    const memory = await journal.#load();
    await journal.#attempt(async () => {
      await mkdir(journal.#stars, { recursive: true });
      await journal.#rewrite(memory, watched);
    });
    return { journal, memory };
  }

  /** Why nothing can be kept; null while all is well. */
  get trouble(): string | null {
    return this.#broken;
  }

  async add(line: Line): Promise<void> {
    await this.#attempt(() => appendFile(this.#path, `${JSON.stringify(line)}\n`));
  }

  /** Stars of a sub of the running set, so that a restart need not measure it again. */
  async keepStars(sha256: string, packed: Uint8Array): Promise<void> {
    await this.#attempt(() => this.#whole(join(this.#stars, sha256), packed));
  }

  async stars(sha256: string): Promise<Uint8Array | null> {
    try {
      return await readFile(join(this.#stars, sha256));
    } catch {
      return null;
    }
  }

  async dropStars(sha256: string): Promise<void> {
    await this.#attempt(() => rm(join(this.#stars, sha256), { force: true }));
  }

  async keepPicture(jpeg: Uint8Array): Promise<void> {
    await this.#attempt(() => this.#whole(join(this.#stars, 'picture.jpg'), jpeg));
  }

  async picture(): Promise<Uint8Array | null> {
    return this.stars('picture.jpg');
  }

  async #load(): Promise<Memory> {
    const memory: Memory = { subs: new Map(), sets: [], known: new Map(), screen: PLAIN_SCREEN };
    let text = '';
    try {
      text = await readFile(this.#path, 'utf8');
    } catch {
      return memory;
    }
    const [head = '', ...lines] = text.split('\n');
    if ((parsed(head) as { version?: unknown } | null)?.version !== VERSION) return memory;
    for (const line of lines) {
      const entry = parsed(line) as Line | null;
      if (entry !== null) fold(memory, entry);
    }
    return memory;
  }

  async #rewrite(memory: Memory, watched: string): Promise<void> {
    const lines: unknown[] = [
      { format: 'starplumb-watch', version: VERSION, watched },
      ...[...memory.known.values()].map((known): Line => ({ k: 'known', known })),
      ...[...memory.subs.values()].map((sub): Line => ({ k: 'sub', sub })),
      ...memory.sets.map((set): Line => ({ k: 'set', set })),
      { k: 'screen', screen: memory.screen } satisfies Line,
    ];
    await this.#whole(this.#path, lines.map((line) => `${JSON.stringify(line)}\n`).join(''));
  }

  async #whole(path: string, content: Uint8Array | string): Promise<void> {
    const part = `${path}.${process.pid}.part`;
    try {
      await writeFile(part, content);
      await rename(part, path);
    } catch (error) {
      await rm(part, { force: true });
      throw error;
    }
  }

  /** A full or read-only disk must not stop the watching: what cannot be kept is said once. */
  async #attempt(write: () => Promise<void>): Promise<void> {
    try {
      await write();
      this.#broken = null;
    } catch (error) {
      const code = error instanceof Error && 'code' in error ? String(error.code) : String(error);
      this.#broken = `${this.#path} cannot be written (${code}): after a restart these subs are measured again`;
    }
  }
}

function parsed(line: string): unknown {
  try {
    return JSON.parse(line) as unknown;
  } catch {
    return null;
  }
}

function fold(memory: Memory, line: Line): void {
  switch (line.k) {
    case 'sub':
      memory.subs.delete(line.sub.file);
      memory.subs.set(line.sub.file, line.sub);
      return;
    case 'set': {
      const at = memory.sets.findIndex((set) => set.id === line.set.id);
      if (at < 0) memory.sets.push(line.set);
      else memory.sets[at] = line.set;
      return;
    }
    case 'known':
      memory.known.set(line.known.file, line.known);
      return;
    case 'renamed':
      renameSub(memory.subs, line.from, line.to);
      return;
    case 'screen':
      memory.screen = line.screen;
  }
}

/** The record keeps its place among the others. */
export function renameSub(subs: Map<string, SubRecord>, from: string, to: string): void {
  const entries = [...subs].map(([file, sub]) =>
    file === from ? ([to, { ...sub, file: to }] as const) : ([file, sub] as const),
  );
  subs.clear();
  for (const [file, sub] of entries) subs.set(file, sub);
}
