import { basename, dirname, join, resolve } from 'node:path';
import type { Effects } from '../effects.ts';
import { EXIT, UserError } from '../errors.ts';

/** A new folder's name from local time: starplumb-2031-02-11-2140 and so on. */
export function folderNameFor(time: Date): string {
  const two = (value: number): string => String(value).padStart(2, '0');
  const date = `${time.getFullYear()}-${two(time.getMonth() + 1)}-${two(time.getDate())}`;
  return `starplumb-${date}-${two(time.getHours())}${two(time.getMinutes())}${two(time.getSeconds())}`;
}

/** The folder the report will go to; found out before the measuring, so that a wrong one costs no time. */
export async function chooseFolder(out: string | undefined, effects: Effects): Promise<string> {
  if (out !== undefined) {
    if ((await effects.kindOf(out)) === 'file')
      throw new UserError(`--out ${out}: this is a file; expected a folder, or a name for a new one`, EXIT.wrongUsage);
    return out;
  }
  const name = folderNameFor(effects.now());
  for (let count = 1; ; count++) {
    const candidate = count === 1 ? name : `${name}-${count}`;
    if ((await effects.kindOf(candidate)) === 'absent') return candidate;
  }
}

/**
 * Writes the files whole or not at all. A new folder appears complete, by one rename. In a folder that exists each file
 * replaces its forerunner by a rename, in the given order, once all of them are written; other files there are not touched.
 */
export async function writeReportFolder(
  folder: string,
  files: Readonly<Record<string, Uint8Array | string>>,
  effects: Effects,
): Promise<void> {
  const target = resolve(folder);
  const parts = join(dirname(target), `.${basename(target)}.${effects.processId}.part`);
  try {
    await effects.makeFolder(parts);
    for (const [name, content] of Object.entries(files)) await effects.writeFile(join(parts, name), content);
    if ((await effects.kindOf(target)) === 'absent') await effects.rename(parts, target);
    else for (const name of Object.keys(files)) await effects.rename(join(parts, name), join(target, name));
  } catch (error) {
    const code = error instanceof Error && 'code' in error ? String(error.code) : '';
    if (code === '') throw error;
    throw new UserError(`${folder}: the report cannot be written there (${code})`, EXIT.wrongUsage, { cause: error });
  } finally {
    await effects.remove(parts);
  }
}
