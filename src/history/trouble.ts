import { EXIT, UserError } from '../errors.ts';
import { NoDriver, type Trouble, troubleOf } from './driver.ts';

/** History cannot be read or kept, in words for the user. `check` says it and answers all the same. */
export class HistoryTrouble extends UserError {
  constructor(message: string, cause?: unknown) {
    super(message, EXIT.unreadableInput, { cause });
    this.name = 'HistoryTrouble';
  }
}

const WORDS: Readonly<Record<Trouble, string>> = {
  damaged: 'the history is damaged; it is set aside when the next check is kept, and nothing is deleted',
  full: 'the disk is full: nothing was written, and what was kept before is safe; make room and run the command again',
  'read-only': 'the file or its folder is read-only; allow writing, or name another file by --history FILE',
  unreachable: 'the file or its folder cannot be opened; allow it, or name another file by --history FILE',
  busy: 'another program has kept the history locked for too long; run the command again',
  disk: 'the disk reports an error: nothing was written, and what was kept before is safe; look after the disk',
  other: 'the history cannot be used',
};

/** Any error met while the history at `path` was used: known troubles in words, faults of the program as they are. */
export function inWords(error: unknown, path: string): unknown {
  if (error instanceof HistoryTrouble) return error;
  if (error instanceof NoDriver) return new HistoryTrouble(`No history: ${error.message}.`, error);
  const trouble = troubleOf(error);
  if (trouble !== null) {
    const details = trouble === 'other' && error instanceof Error ? ` (${error.message})` : '';
    return new HistoryTrouble(`${path}: ${WORDS[trouble]}${details}`, error);
  }
  const code = error instanceof Error && 'code' in error ? String(error.code) : '';
  if (code === '') return error;
  return new HistoryTrouble(`${path}: ${FILE_WORDS[code] ?? `cannot be used (${code})`}`, error);
}

/** What the file system says while folders are made and files renamed. */
const FILE_WORDS: Readonly<Record<string, string>> = {
  ENOSPC: WORDS.full,
  EDQUOT: WORDS.full,
  EROFS: WORDS['read-only'],
  EACCES: WORDS.unreachable,
  EPERM: WORDS.unreachable,
  ENOTDIR: 'a part of its path is a file, expected a folder',
  EEXIST: 'a part of its path is a file, expected a folder',
  EIO: WORDS.disk,
};
