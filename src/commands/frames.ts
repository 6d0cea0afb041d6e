import { closeSync, fstatSync, openSync, readSync, statSync } from 'node:fs';
import { readdir, stat } from 'node:fs/promises';
import { join } from 'node:path';
import { EXIT, UserError } from '../errors.ts';
import { inflateFits, isGzip } from '../fits/gzipFile.ts';
import type { Frame } from '../frame/frame.ts';
import { frameFromFits } from '../frame/fromFits.ts';
import { frameFromPicture, pictureKind } from '../frame/fromPicture.ts';

/** What reading frames needs of the outside world. Inputs are only ever opened for reading. */
export interface FrameEffects {
  /**
   * Bytes of a file in memory of their own, which the caller may change. `room` may offer memory for a FITS file of that many
   * bytes; whether it is taken is left open. `seen`, where the disk knows to call it, is given every part in order while the
   * processor still has it at hand: going through the whole once more takes twice as long.
   */
  readFile(path: string, room?: Room, seen?: (part: Uint8Array) => void): Promise<Uint8Array>;
  kindOf(path: string): Promise<'file' | 'folder' | 'absent'>;
  /** Names in a folder, in any order. */
  listFolder(path: string): Promise<readonly string[]>;
}

/** Memory for so many bytes. */
export type Room = (bytes: number) => Uint8Array;

/** One frame to read, as the user named it. */
export interface FrameArgument {
  readonly name: string;
  readonly path: string;
  /** FITS extension; 0 is the primary HDU. */
  readonly extension?: number;
}

const FRAME_FILE = /^[^.].*\.(fits?|fts|fz|png|tiff?)(\.gz|\.fz)?$/i;

/** Whether a name in a folder is that of a FITS, PNG or TIFF file. */
export const isFrameFile = (name: string): boolean => FRAME_FILE.test(name);

const WITH_EXTENSION = /^(.+)\[(\d{1,4})\]$/;

async function resolveOne(argument: string, effects: FrameEffects): Promise<FrameArgument[]> {
  const kind = await effects.kindOf(argument);
  if (kind === 'folder') {
    const names = (await effects.listFolder(argument)).filter(isFrameFile).sort();
    if (names.length === 0)
      throw new UserError(`${argument}: no FITS, PNG or TIFF file in this folder`, EXIT.unreadableInput);
    return names.map((name) => ({ name: join(argument, name), path: join(argument, name) }));
  }
  const match = WITH_EXTENSION.exec(argument);
  // A file literally so named wins; one that is absent is left to the reading, which says so.
  if (kind === 'file' || match === null) return [{ name: argument, path: argument }];
  return [{ name: argument, path: match[1], extension: Number(match[2]) }];
}

/** Frames that arguments name: FILE, FILE[n], or a folder for its FITS, PNG and TIFF files in the order of their names. */
export async function resolveFrameArguments(
  args: readonly string[],
  effects: FrameEffects = DISK,
): Promise<FrameArgument[]> {
  const lists: FrameArgument[][] = [];
  for (const argument of args) lists.push(await resolveOne(argument, effects));
  return lists.flat();
}

const REASONS: Record<string, string> = {
  ENOENT: 'no such file',
  EACCES: 'no permission to read it',
  EPERM: 'no permission to read it',
  EISDIR: 'a folder, pipe or device, expected a file',
  ERR_FS_FILE_TOO_LARGE: 'larger than 2 GiB, which cannot be read at once',
};

async function readBytes(path: string, effects: FrameEffects, room?: Room): Promise<Uint8Array> {
  try {
    return await effects.readFile(path, room);
  } catch (error) {
    const code = error instanceof Error && 'code' in error ? String(error.code) : '';
    if (code === '') throw error;
    throw new UserError(`${path}: ${REASONS[code] ?? `cannot be read (${code})`}`, EXIT.unreadableInput, {
      cause: error,
    });
  }
}

async function decode(bytes: Uint8Array, argument: FrameArgument): Promise<Frame> {
  const picture = pictureKind(bytes);
  if (picture !== null) {
    if (argument.extension !== undefined)
      throw new UserError(`${argument.name}: a ${picture} picture has no extensions`, EXIT.unreadableInput);
    return frameFromPicture(bytes, argument.name, picture);
  }
  const fits = isGzip(bytes) ? await inflateFits(bytes, argument.path) : bytes;
  return frameFromFits(fits, argument.path, argument.extension);
}

/** V8's words when a typed array finds no memory. */
const NO_MEMORY = /allocation failed|invalid (typed )?array (buffer )?length/i;

/**
 * Reads one frame: FITS, FITS in gzip, PNG or TIFF, told apart by their first bytes. With `room`, its pixels may stand there:
 * until the next frame is read into the same.
 */
export async function loadFrame(argument: FrameArgument, effects: FrameEffects = DISK, room?: Room): Promise<Frame> {
  const bytes = await readBytes(argument.path, effects, room);
  try {
    return await decode(bytes, argument);
  } catch (error) {
    if (!(error instanceof RangeError && NO_MEMORY.test(error.message))) throw error;
    throw new UserError(
      `${argument.name}: its header promises more pixels than this machine has memory for`,
      EXIT.unreadableInput,
      { cause: error },
    );
  }
}

/** Largest Buffer that one read fills on every platform. */
const MAX_READ = 2 ** 31 - 1;

/** Half of what a processor core keeps at hand. */
const PART = 1 << 19;

/** Synchronously: half the time of the promise version for a whole frame. */
function readWhole(path: string, room?: Room, seen?: (part: Uint8Array) => void): Uint8Array {
  // A pipe or device would block or never end.
  if (!statSync(path).isFile()) throw Object.assign(new Error(`${path} is no file`), { code: 'EISDIR' });
  const file = openSync(path, 'r');
  try {
    const { size } = fstatSync(file);
    if (size > MAX_READ) throw Object.assign(new Error(`${path} is too large`), { code: 'ERR_FS_FILE_TOO_LARGE' });
    const bytes = (isFits(file) ? room?.(size) : undefined) ?? ownMemory(size);
    let filled = 0;
    while (filled < size) {
      const wanted = Math.min(size - filled, seen ? PART : size);
      const read = readSync(file, bytes, filled, wanted, filled);
      if (read === 0) break;
      seen?.(bytes.subarray(filled, filled + read));
      filled += read;
    }
    return bytes.subarray(0, filled);
  } finally {
    closeSync(file);
  }
}

function isFits(file: number): boolean {
  const start = Buffer.alloc(6);
  return readSync(file, start, 0, start.length, 0) === start.length && start.toString('latin1') === 'SIMPLE';
}

function ownMemory(size: number): Uint8Array {
  const { buffer } = Buffer.allocUnsafeSlow(size);
  return new Uint8Array(buffer, 0, size);
}

/** The real disk. */
export const DISK: FrameEffects = {
  readFile: (path, room, seen) => Promise.resolve().then(() => readWhole(path, room, seen)),
  kindOf: async (path) => {
    try {
      const found = await stat(path);
      return found.isDirectory() ? 'folder' : 'file';
    } catch {
      return 'absent';
    }
  },
  listFolder: (path) => readdir(path),
};
