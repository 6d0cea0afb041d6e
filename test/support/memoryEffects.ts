import { createHash } from 'node:crypto';
import { resolve } from 'node:path';
import { type Effects, startSha256 } from '../../src/effects.ts';
import { type Database, openDatabase } from '../../src/history/driver.ts';

/** A world in memory: files by their full path, a clock that stands still, and what was written to the two outputs. */
export interface MemoryWorld {
  readonly effects: Effects;
  readonly files: Map<string, Uint8Array | string>;
  readonly folders: Set<string>;
  out: string;
  err: string;
  /** Names of the files written so far, in order; throw from here to make a disk fail. */
  beforeWrite: (path: string) => void;
  interrupted: boolean;
  now: Date;
}

export function memoryWorld(
  given: Readonly<Record<string, Uint8Array | string>> = {},
  changes: Partial<Effects> = {},
): MemoryWorld {
  const files = new Map(Object.entries(given).map(([path, content]) => [resolve(path), content]));
  const databases = new Map<string, Database>();
  const folders = new Set<string>([resolve('.')]);
  const below = (path: string): string[] => [...files.keys(), ...folders].filter((name) => name.startsWith(`${path}/`));
  const fail = (code: string): never => {
    throw Object.assign(new Error(code), { code });
  };
  const kindOf = (path: string): 'file' | 'folder' | 'absent' => {
    const full = resolve(path);
    if (files.has(full)) return 'file';
    return folders.has(full) || below(full).length > 0 ? 'folder' : 'absent';
  };
  const world: MemoryWorld = {
    files,
    folders,
    out: '',
    err: '',
    beforeWrite: () => undefined,
    interrupted: false,
    now: new Date('2031-02-12T06:40:12.000Z'),
    effects: {
      now: () => world.now,
      readFile: (path) => {
        const content = files.get(resolve(path));
        if (content === undefined) return Promise.reject(Object.assign(new Error('ENOENT'), { code: 'ENOENT' }));
        return Promise.resolve(Uint8Array.from(Buffer.from(content)));
      },
      kindOf: (path) => Promise.resolve(kindOf(path)),
      listFolder: (path) =>
        Promise.resolve([
          ...new Set(below(resolve(path)).map((name) => name.slice(resolve(path).length + 1).split('/')[0] ?? '')),
        ]),
      writeFile: (path, content) =>
        Promise.resolve().then(() => {
          world.beforeWrite(path);
          files.set(resolve(path), content);
        }),
      makeFolder: (path) => {
        folders.add(resolve(path));
        return Promise.resolve();
      },
      rename: (from, to) =>
        Promise.resolve().then(() => {
          const [source, target] = [resolve(from), resolve(to)];
          const content = files.get(source);
          if (content !== undefined) {
            files.set(target, content);
            files.delete(source);
            return;
          }
          if (kindOf(target) !== 'absent') fail('ENOTEMPTY');
          for (const name of below(source)) {
            const moved = files.get(name);
            if (moved !== undefined) files.set(target + name.slice(source.length), moved);
            files.delete(name);
            folders.delete(name);
          }
          folders.delete(source);
          folders.add(target);
        }),
      remove: (path) => {
        for (const name of [resolve(path), ...below(resolve(path))]) {
          files.delete(name);
          folders.delete(name);
        }
        return Promise.resolve();
      },
      sha256: (bytes) => createHash('sha256').update(bytes).digest('hex'),
      startSha256,
      out: (text) => {
        world.out += text;
      },
      err: (text) => {
        world.err += text;
      },
      ask: () => Promise.reject(new Error('nobody to ask')),
      inIsTerminal: false,
      outIsTerminal: false,
      errIsTerminal: false,
      columns: undefined,
      openDatabase: (path) => openInMemory(path, databases),
      places: { data: resolve('data'), config: resolve('config') },
      env: {},
      processId: 4711,
      helperThreads: 0,
      startHelper: () => fail('no threads here'),
      interrupted: () => world.interrupted,
      breathe: () => Promise.resolve(),
      ...changes,
    },
  };
  return world;
}

/** One database in memory for each path, which outlives being closed, as a file does. */
async function openInMemory(path: string, databases: Map<string, Database>): Promise<Database> {
  if (path === ':memory:') return await openDatabase(path);
  const full = resolve(path);
  const database = databases.get(full) ?? { ...(await openDatabase(':memory:')), close: () => undefined };
  databases.set(full, database);
  return database;
}
