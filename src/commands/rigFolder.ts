import { join } from 'node:path';
import type { Effects } from '../effects.ts';
import { EXIT, UserError } from '../errors.ts';
import type { Rig, RigValues } from '../rig/rig.ts';
import { isRigName } from '../rig/rigName.ts';
import { writeWhole } from './writeWhole.ts';

export type RigEffects = Pick<
  Effects,
  | 'kindOf'
  | 'listFolder'
  | 'readFile'
  | 'writeFile'
  | 'makeFolder'
  | 'rename'
  | 'remove'
  | 'processId'
  | 'places'
  | 'now'
>;

/** Largest rig file that is read: one made by hand has some hundred bytes. */
const LARGEST = 100_000;

const folderOf = (effects: Pick<Effects, 'places'>): string => join(effects.places.config, 'rigs');
const inUseFile = (effects: Pick<Effects, 'places'>): string => join(effects.places.config, 'rig-in-use');

export function rigPath(name: string, effects: Pick<Effects, 'places'>): string {
  return join(folderOf(effects), `${name}.toml`);
}

/** Names of the rigs, in their order, whether or not their files can be read. */
export async function rigNames(effects: RigEffects): Promise<string[]> {
  if ((await effects.kindOf(folderOf(effects))) !== 'folder') return [];
  const files = await effects.listFolder(folderOf(effects));
  return files.flatMap((file) => (/^[^.].*\.toml$/.test(file) ? [file.slice(0, -'.toml'.length)] : [])).sort();
}

/** One rig; throws UserError naming file, line and column where it cannot be used, or the names where there is none. */
export async function readRig(name: string, effects: RigEffects): Promise<Rig> {
  const names = await rigNames(effects);
  const found = names.find((one) => one.toLowerCase() === name.toLowerCase());
  if (found === undefined) {
    const there = names.length === 0 ? 'none is kept yet (starplumb rig add)' : `there are ${names.join(', ')}`;
    throw new UserError(`No rig is named ${name}: ${there}.`, EXIT.wrongUsage);
  }
  const path = rigPath(found, effects);
  // The TOML reader is loaded only where there is a rig.
  const { parseRig, RigTextError } = await import('../rig/rigText.ts');
  try {
    const bytes = await effects.readFile(path);
    if (bytes.length > LARGEST) throw new RigTextError([`1:1: ${bytes.length} bytes are too many for a rig`]);
    return { name: found, values: parseRig(new TextDecoder('utf-8', { fatal: true }).decode(bytes)) };
  } catch (error) {
    if (error instanceof RigTextError)
      throw new UserError(error.problems.map((problem) => `${path}:${problem}`).join('\n'), EXIT.wrongUsage, {
        cause: error,
      });
    throw new UserError(`${path}: cannot be read: ${(error as Error).message}`, EXIT.unreadableInput, { cause: error });
  }
}

/** Every rig that can be read; the others' troubles beside them. */
export async function readRigs(effects: RigEffects): Promise<{ rigs: Rig[]; troubles: string[] }> {
  const rigs: Rig[] = [];
  const troubles: string[] = [];
  for (const name of await rigNames(effects)) {
    try {
      rigs.push(await readRig(name, effects));
    } catch (error) {
      if (!(error instanceof UserError)) throw error;
      troubles.push(error.message);
    }
  }
  return { rigs, troubles };
}

export async function writeRig(name: string, values: RigValues, effects: RigEffects): Promise<string> {
  if (!isRigName(name))
    throw new UserError(
      `${name}: expected a name of up to 40 letters, digits, spaces, - and _, beginning with a letter or digit`,
      EXIT.wrongUsage,
    );
  const path = rigPath(name, effects);
  const { formatRig } = await import('../rig/rigText.ts');
  await effects.makeFolder(folderOf(effects));
  await writeWhole(path, formatRig(values), effects);
  return path;
}

/** Takes a rig out of use; its file is kept under another name, which is returned. */
export async function putRigAway(name: string, effects: RigEffects): Promise<string> {
  const path = rigPath(name, effects);
  const stamp = effects.now().toISOString().slice(0, 19).replaceAll(':', '');
  const away = `${path}.removed-${stamp}`;
  if ((await readInUse(effects)) === name) await effects.remove(inUseFile(effects));
  await effects.rename(path, away);
  return away;
}

/** Name of the rig in use; null where none was said. */
export async function readInUse(effects: RigEffects): Promise<string | null> {
  if ((await effects.kindOf(inUseFile(effects))) !== 'file') return null;
  return new TextDecoder().decode(await effects.readFile(inUseFile(effects))).trim();
}

export async function writeInUse(name: string, effects: RigEffects): Promise<void> {
  await effects.makeFolder(effects.places.config);
  await writeWhole(inUseFile(effects), `${name}\n`, effects);
}
