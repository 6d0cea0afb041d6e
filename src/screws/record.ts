import { join } from 'node:path';
import * as z from 'zod';
import type { Moved, Seen } from '../adjust/replay.ts';
import { writeWhole } from '../commands/writeWhole.ts';
import type { Effects } from '../effects.ts';
import type { Turn } from '../live/liveState.ts';

export type RecordEffects = Pick<
  Effects,
  | 'readFile'
  | 'writeFile'
  | 'rename'
  | 'remove'
  | 'makeFolder'
  | 'listFolder'
  | 'kindOf'
  | 'places'
  | 'processId'
  | 'sha256'
  | 'now'
  | 'err'
>;

const time = z.iso.datetime();
const vector = z.object({ x: z.number(), y: z.number() });
const places = z
  .object({
    width: z.number(),
    height: z.number(),
    stars: z.array(z.object({ x: z.number(), y: z.number(), flux: z.number() })),
  })
  .nullable();
const ENTRY = {
  turn: z.object({ screw: z.string(), turns: z.number(), at: time }),
  moved: z.object({ at: time }),
  seen: z.object({
    sight: z.object({
      at: time,
      verdict: z.enum(['good', 'adjust', 'inconclusive']),
      status: z.enum(['fault', 'within-tolerance', 'not-detected', 'not-measurable']),
      tilt: vector.nullable(),
      errorArcmin: z.number(),
      scaleError: z.number(),
      // Records from before it was told have none.
      directionError: z.number().default(0),
      toleranceArcmin: z.number().nullable(),
      pxPerArcmin: z.number().nullable(),
      rowOrder: z.enum(['TOP-DOWN', 'BOTTOM-UP']),
      needs: z.string().nullable(),
    }),
    first: places,
    last: places,
  }),
};

type Kind = keyof typeof ENTRY;

/** Moves that still tell something: older ones stand in the folder and are not read. */
const MOVES_READ = 60;

/**
 * What was turned and seen of one telescope: a folder with one small file for each turn, each other move, and for what was seen
 * after each of them. Files come whole by a rename, so that several programs can write at once and none loses the other's.
 */
export class ScrewRecord {
  readonly folder: string;
  readonly #effects: RecordEffects;
  readonly #read = new Map<string, Turn | Moved>();
  readonly #texts = new Map<string, { readonly text: string; readonly entry: unknown }>();

  constructor(folder: string, effects: RecordEffects) {
    this.folder = folder;
    this.#effects = effects;
  }

  async turns(): Promise<readonly Turn[]> {
    return (await this.#entries('turn')) as Turn[];
  }

  async moved(): Promise<readonly Moved[]> {
    return this.#entries('moved');
  }

  async seen(): Promise<readonly Seen[]> {
    const names = (await this.#names('seen')).slice(-MOVES_READ);
    const all = await Promise.all(names.map((name) => this.#load('seen', name)));
    return all.filter((one) => one !== null) as Seen[];
  }

  async addTurn(turn: Turn): Promise<void> {
    await this.#write(await this.#freeName('turn', turn.at), turn);
  }

  async addMoved(moved: Moved): Promise<void> {
    await this.#write(await this.#freeName('moved', moved.at), moved);
  }

  /** Replaces what was seen since the last move before it; the first sub's stars stay. */
  async addSeen(seen: Seen): Promise<void> {
    const moves = [...(await this.#names('turn')), ...(await this.#names('moved'))]
      .map((name) => name.slice(name.indexOf('-') + 1).replace(/-\d+-\d+\.json$/, ''))
      .filter((stamp) => stamp <= stampOf(seen.sight.at))
      .sort();
    const name = `seen-${moves.at(-1) ?? 'start'}.json`;
    const before = (await this.#load('seen', name)) as Seen | null;
    await this.#write(name, { ...seen, first: before?.first ?? seen.first });
  }

  /** Takes the last turn out; its file stays under another name. Null where there is none. */
  async undo(): Promise<Turn | null> {
    const name = (await this.#names('turn')).at(-1);
    if (name === undefined) return null;
    const turn = (await this.#load('turn', name)) as Turn | null;
    await this.#effects.rename(join(this.folder, name), join(this.folder, `undone-${name}`));
    return turn;
  }

  async #entries(kind: 'turn' | 'moved'): Promise<(Turn | Moved)[]> {
    const names = (await this.#names(kind)).slice(-MOVES_READ);
    const entries: (Turn | Moved)[] = [];
    for (const name of names) {
      const known = this.#read.get(name) ?? ((await this.#load(kind, name)) as Turn | Moved | null);
      if (known === null) continue;
      this.#read.set(name, known);
      entries.push(known);
    }
    return entries;
  }

  /** In the order of their times. */
  async #names(kind: Kind): Promise<string[]> {
    if ((await this.#effects.kindOf(this.folder)) !== 'folder') return [];
    const names = await this.#effects.listFolder(this.folder);
    return names.filter((name) => name.startsWith(`${kind}-`) && name.endsWith('.json')).sort();
  }

  /** Null where the file went meanwhile, or is none of ours: it costs that entry only. */
  async #load(kind: Kind, name: string): Promise<unknown> {
    try {
      const text = new TextDecoder().decode(await this.#effects.readFile(join(this.folder, name)));
      const known = this.#texts.get(name);
      if (known?.text === text) return known.entry;
      const entry: unknown = ENTRY[kind].parse(JSON.parse(text));
      this.#texts.set(name, { text, entry });
      return entry;
    } catch {
      return null;
    }
  }

  async #freeName(kind: 'turn' | 'moved', at: string): Promise<string> {
    const taken = await this.#names(kind);
    for (let i = 0; ; i++) {
      const name = `${kind}-${stampOf(at)}-${this.#effects.processId}-${i}.json`;
      if (!taken.includes(name)) return name;
    }
  }

  async #write(name: string, entry: unknown): Promise<void> {
    await this.#effects.makeFolder(this.folder);
    await writeWhole(join(this.folder, name), `${JSON.stringify(entry)}\n`, this.#effects);
  }
}

/** A time as part of a file's name, in the order of time, on every platform. */
const stampOf = (at: string): string => new Date(at).toISOString().replace(/[-:.]/g, '');
