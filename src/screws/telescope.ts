import { join } from 'node:path';
import * as z from 'zod';
import { readInUse, readRig, readRigs } from '../commands/rigFolder.ts';
import { writeWhole } from '../commands/writeWhole.ts';
import { EXIT, UserError } from '../errors.ts';
import { chooseRig } from '../rig/chooseRig.ts';
import type { Rig } from '../rig/rig.ts';
import type { Telescope } from './adjusting.ts';
import type { RecordEffects } from './record.ts';

const latest = z.union([z.strictObject({ rig: z.string() }), z.strictObject({ folder: z.string() })]);

const latestFile = (effects: RecordEffects): string => join(effects.places.data, 'screws', 'latest.json');

/**
 * Whose screws are meant: those of the rig that is named, or in use, or the only one; without a rig those of what is watched in
 * the folder (its real path). Remembered, so that another program need not be told.
 */
export async function telescopeFor(
  { rig, folder }: { readonly rig?: string | undefined; readonly folder: string },
  effects: RecordEffects,
): Promise<Telescope> {
  const telescope = await chosen(rig, folder, effects);
  const kept = 'rig' in telescope ? { rig: telescope.rig.name } : telescope;
  try {
    await effects.makeFolder(join(effects.places.data, 'screws'));
    await writeWhole(latestFile(effects), `${JSON.stringify(kept)}\n`, effects);
  } catch {
    // Another program must then be told; that is no reason not to measure.
  }
  return telescope;
}

async function chosen(rig: string | undefined, folder: string, effects: RecordEffects): Promise<Telescope> {
  if (rig !== undefined) return { rig: await readRig(rig, effects) };
  const only = await usualRig(effects);
  return only === null ? { folder } : { rig: only };
}

const usualRig = async (effects: RecordEffects): Promise<Rig | null> =>
  chooseRig((await readRigs(effects)).rigs, await readInUse(effects), []).rig;

/** The telescope that was watched or turned last, else the rig in use or the only one. */
export async function latestTelescope(effects: RecordEffects): Promise<Telescope> {
  const kept = await readLatest(effects);
  if (kept !== null) return 'rig' in kept ? { rig: await readRig(kept.rig, effects) } : kept;
  const only = await usualRig(effects);
  if (only !== null) return { rig: only };
  throw new UserError(
    'Which telescope? None was watched yet: name its rig by --rig, or the folder of its subs by --folder.',
    EXIT.wrongUsage,
  );
}

async function readLatest(effects: RecordEffects): Promise<z.infer<typeof latest> | null> {
  try {
    return latest.parse(JSON.parse(new TextDecoder().decode(await effects.readFile(latestFile(effects)))));
  } catch {
    return null;
  }
}
