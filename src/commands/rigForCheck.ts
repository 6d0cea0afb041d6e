import type { MeasureSettings } from '../diagnosis/setupFromFrames.ts';
import type { Frame } from '../frame/frame.ts';
import type { Report } from '../report/record.ts';
import { printable } from '../report/untrusted.ts';
import { type Choice, cameraAngleOf, chooseRig } from '../rig/chooseRig.ts';
import type { Rig } from '../rig/rig.ts';
import { type RigEffects, readInUse, readRig, readRigs, rigNames } from './rigFolder.ts';

type Kept = NonNullable<MeasureSettings['kept']>;

/** What a kept telescope and camera adds to a check. */
export interface RigForCheck {
  readonly name: string | null;
  readonly kept: Kept;
  readonly cameraAngle: Report['cameraAngle'];
  readonly notes: readonly string[];
}

const NO_RIG: RigForCheck = { name: null, kept: {}, cameraAngle: null, notes: [] };

/**
 * Reads what is kept before the measuring, so that a wrong --rig costs no time; the choice needs the frames' headers.
 * A rig that cannot be read is an error only where it is named.
 */
export async function rigsForCheck(
  name: string | undefined,
  effects: RigEffects & { err(text: string): void },
): Promise<(frames: readonly Frame[]) => RigForCheck> {
  if (name !== undefined) {
    const rig = await readRig(name, effects);
    return (frames) => rigForFrames({ rig, why: 'named by --rig' }, frames);
  }
  if ((await rigNames(effects)).length === 0) return () => NO_RIG;
  const { rigs, troubles } = await readRigs(effects);
  for (const trouble of troubles) for (const line of trouble.split('\n')) effects.err(`${printable(line)}\n`);
  const inUse = await readInUse(effects);
  return (frames) => {
    return rigForFrames(
      chooseRig(
        rigs,
        inUse,
        frames.map((frame) => frame.facts),
      ),
      frames,
    );
  };
}

function rigForFrames({ rig, why }: Choice, frames: readonly Frame[]): RigForCheck {
  if (rig === null) return why === '' ? NO_RIG : { ...NO_RIG, notes: [`No rig was used: ${why}.`] };
  const facts = frames.map((frame) => frame.facts);
  return {
    name: rig.name,
    kept: keptOf(rig, frames),
    cameraAngle: cameraAngleOf(rig.values, facts),
    notes: [`Telescope and camera from the rig ${rig.name} (${why}).`],
  };
}

/** The chip's pixels times the file's binning; the rest as kept. */
function keptOf({ values }: Rig, frames: readonly Frame[]): Kept {
  const { focalMm, primaryFocalMm, apertureMm, obstructionMm, pixelUm, corrector, rowOrder, tolerance } = values;
  const binning = frames[0]?.facts.binning?.value ?? 1;
  return {
    ...(focalMm !== undefined && { focalMm }),
    ...(primaryFocalMm !== undefined && { primaryFocalMm }),
    ...(apertureMm !== undefined && { apertureMm }),
    ...(obstructionMm !== undefined && { obstructionMm }),
    ...(pixelUm !== undefined && { pixelUm: pixelUm * binning }),
    ...(corrector !== undefined && { corrector }),
    ...(rowOrder !== undefined && { rowOrder: rowOrder === 'top-down' ? 'TOP-DOWN' : 'BOTTOM-UP' }),
    ...(tolerance !== undefined && { wishes: tolerance }),
  };
}
