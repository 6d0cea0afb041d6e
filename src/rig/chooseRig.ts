import type { FrameFacts } from '../frame/frame.ts';
import type { Rig, RigValues } from './rig.ts';

/** The rig for some subs, or none, with the reason in a sentence (empty where there is nothing to choose from). */
export interface Choice {
  readonly rig: Rig | null;
  readonly why: string;
}

/** Focal lengths and pixel sizes within this share are the same: headers round. */
const SAME = 0.03;

/** By what the headers tell, else the one in use, else the only one; never one that a header contradicts. */
export function chooseRig(rigs: readonly Rig[], inUse: string | null, facts: readonly FrameFacts[]): Choice {
  if (rigs.length === 0) return { rig: null, why: '' };
  const fits = rigs.map((rig) => ({ rig, ...compare(rig.values, facts) }));
  const possible = fits.filter(({ contradicted }) => contradicted.length === 0);
  const most = Math.max(0, ...possible.map(({ agreed }) => agreed.length));
  const best = most === 0 ? [] : possible.filter(({ agreed }) => agreed.length === most);
  const [first] = best;
  if (first !== undefined && best.length === 1)
    return { rig: first.rig, why: `its ${first.agreed.join(' and ')} as in the header` };
  const among = best.length > 0 ? best : possible;
  const used = among.find(({ rig }) => rig.name === inUse);
  if (used !== undefined) return { rig: used.rig, why: 'the one in use' };
  const [only] = fits;
  if (only !== undefined && fits.length === 1)
    return only.contradicted.length === 0
      ? { rig: only.rig, why: 'the only one' }
      : { rig: null, why: `${only.rig.name} was not used: ${only.contradicted.join('; ')}` };
  const names = among.map(({ rig }) => rig.name).join(', ');
  return {
    rig: null,
    why:
      among.length === 0 ? 'none fits the header' : `${names} fit alike: name one by --rig, or by "starplumb rig use"`,
  };
}

function compare(rig: RigValues, facts: readonly FrameFacts[]): { agreed: string[]; contradicted: string[] } {
  const agreed: string[] = [];
  const contradicted: string[] = [];
  const judge = (what: string, kept: string | undefined, told: string | null | undefined, same: boolean): void => {
    if (kept === undefined || told == null) return;
    if (same) agreed.push(what);
    else contradicted.push(`the header's ${what} is ${told}, the rig's ${kept}`);
  };
  const words = (what: string, kept: string | undefined, told: string | null): void =>
    judge(what, kept, told, kept?.trim().toLowerCase() === told?.trim().toLowerCase());
  const sizes = (what: string, unit: string, kept: number | undefined, told: number | null): void =>
    judge(
      what,
      kept === undefined ? undefined : `${kept} ${unit}`,
      told === null ? null : `${told} ${unit}`,
      Math.abs((told ?? 0) - (kept ?? 0)) <= SAME * (kept ?? 0),
    );
  words('telescope', rig.telescope, firstTold(facts, 'telescope'));
  words('camera', rig.camera, firstTold(facts, 'camera'));
  sizes('focal length', 'mm', rig.focalMm, firstTold(facts, 'focalLengthMm'));
  sizes('pixel size', 'µm', filePixelUm(rig, facts), firstTold(facts, 'pixelUm'));
  return { agreed, contradicted };
}

function firstTold<K extends 'telescope' | 'camera' | 'focalLengthMm' | 'pixelUm' | 'binning' | 'rotatorDeg'>(
  facts: readonly FrameFacts[],
  key: K,
): NonNullable<FrameFacts[K]>['value'] | null {
  return facts.map((one) => one[key]?.value).find((value) => value !== undefined) ?? null;
}

/** The rig's pixels are the chip's; the file's are those times its binning. */
function filePixelUm(rig: RigValues, facts: readonly FrameFacts[]): number | undefined {
  return rig.pixelUm === undefined ? undefined : rig.pixelUm * (firstTold(facts, 'binning') ?? 1);
}

/** How the camera stands in the tube, as far as the rig and the header's rotator tell. */
export function cameraAngleOf(
  rig: RigValues,
  facts: readonly FrameFacts[],
): { deg: number; errorDeg: number; from: 'rig' | 'header'; moduloDeg: number } | null {
  const { cameraAngleDeg, rotatorAtDeg, rotatorSense } = rig;
  if (cameraAngleDeg === undefined) return null;
  const reading = firstTold(facts, 'rotatorDeg');
  const told = { errorDeg: 0, moduloDeg: 360 };
  if (rotatorSense === undefined || rotatorAtDeg === undefined || reading === null) {
    // A rotator that stands elsewhere, by an unknown sense, leaves the angle open.
    if (rotatorAtDeg !== undefined && reading !== null && Math.abs(reading - rotatorAtDeg) > 0.5) return null;
    return { deg: turned(cameraAngleDeg), from: 'rig', ...told };
  }
  const sense = rotatorSense === 'with' ? 1 : -1;
  return { deg: turned(cameraAngleDeg + sense * (reading - rotatorAtDeg)), from: 'header', ...told };
}

const turned = (deg: number): number => ((deg % 360) + 360) % 360;
