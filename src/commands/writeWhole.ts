import type { Effects } from '../effects.ts';
import { EXIT, UserError } from '../errors.ts';

type WriteEffects = Pick<Effects, 'writeFile' | 'rename' | 'remove' | 'processId'>;

/** Writes a file whole or not at all. */
export async function writeWhole(path: string, content: Uint8Array | string, effects: WriteEffects): Promise<void> {
  const temporary = `${path}.${effects.processId}.part`;
  try {
    await effects.writeFile(temporary, content);
    await effects.rename(temporary, path);
  } catch (cause) {
    await effects.remove(temporary);
    throw new UserError(`${path}: cannot be written: ${(cause as Error).message}`, EXIT.wrongUsage, { cause });
  }
}
