import { open, readdir, stat } from 'node:fs/promises';
import { join } from 'node:path';
import type { ReadAt } from '../live/settled.ts';

export interface FileStamp {
  readonly sizeBytes: number;
  readonly mtimeMs: number;
  readonly inode: number;
}

export interface Entry {
  readonly name: string;
  readonly kind: 'file' | 'folder' | 'other';
}

/** What watching needs of the disk; nothing here ever writes, and no handle outlives its call. */
export interface WatchDisk {
  list(folder: string): Promise<readonly Entry[]>;
  /** Null where there is no such file (any more). */
  stamp(path: string): Promise<FileStamp | null>;
  /** Opens the file for the time of `use`. */
  reading<T>(path: string, use: (read: ReadAt) => Promise<T>): Promise<T>;
}

export const WATCH_DISK: WatchDisk = {
  list: async (folder) => {
    const entries = await readdir(folder, { withFileTypes: true });
    return Promise.all(
      entries.map(async (entry): Promise<Entry> => {
        if (entry.isFile()) return { name: entry.name, kind: 'file' };
        if (entry.isDirectory()) return { name: entry.name, kind: 'folder' };
        // A link to a file counts; one to a folder might lead in a circle.
        const linked = entry.isSymbolicLink() && (await isFile(join(folder, entry.name)));
        return { name: entry.name, kind: linked ? 'file' : 'other' };
      }),
    );
  },
  stamp: async (path) => {
    try {
      const { size, mtimeMs, ino } = await stat(path);
      return { sizeBytes: size, mtimeMs, inode: ino };
    } catch {
      return null;
    }
  },
  reading: async (path, use) => {
    const file = await open(path, 'r');
    try {
      return await use(async (offset, length) => {
        const bytes = new Uint8Array(length);
        let filled = 0;
        while (filled < length) {
          const { bytesRead } = await file.read(bytes, filled, length - filled, offset + filled);
          if (bytesRead === 0) break;
          filled += bytesRead;
        }
        return bytes.subarray(0, filled);
      });
    } finally {
      await file.close();
    }
  },
};

async function isFile(path: string): Promise<boolean> {
  try {
    return (await stat(path)).isFile();
  } catch {
    return false;
  }
}
