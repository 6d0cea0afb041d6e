import { EXIT, UserError } from '../errors.ts';
import type { Turn } from '../live/liveState.ts';

const NAME = /^[\p{L}\p{N}][\p{L}\p{N} _-]{0,15}$/u;
const LETTERS = 'ABCDEFGHIJKL';
/** Turned farther at once it is hardly a collimation screw any more. */
const MOST_TURNS = 2;
const MOST_SCREWS = 12;

const namesUsed = (turns: readonly Turn[]): string[] => [...new Set(turns.map(({ screw }) => screw))];

/**
 * Names of the screws: as they were used so far, filled up to the rig's number (three where no rig tells) with letters, or with
 * numbers where numbers were used.
 */
export function screwNames(turns: readonly Turn[], rigScrews: number | null): string[] {
  const used = namesUsed(turns);
  const number = rigScrews ?? 3;
  const numbered = used.length > 0 && used.every((name) => /^\d+$/.test(name));
  const usual = Array.from({ length: number }, (_, i) => (numbered ? String(i + 1) : (LETTERS[i] ?? '')));
  const own = used.filter((name) => !usual.includes(name));
  // Names of the person's own stand for the usual ones.
  return hasOwnNames(used) ? [...used, ...usual.slice(used.length)] : [...usual, ...own];
}

const hasOwnNames = (used: readonly string[]): boolean => used.some((name) => !/^(\d+|[A-L])$/.test(name));

/**
 * The turn with its screw's name as it is known; throws UserError where it makes no sense. A name not known yet is taken where
 * none was used before, or `isNew` says so.
 */
export function checkedTurn(turn: Turn, before: readonly Turn[], rigScrews: number | null, isNew = false): Turn {
  const known = screwNames(before, rigScrews);
  const used = namesUsed(before);
  const refuse = (why: string): never => {
    throw new UserError(why, EXIT.wrongUsage);
  };
  const given = turn.screw.trim();
  const screw = given.length === 1 ? given.toUpperCase() : given;
  if (!NAME.test(screw))
    refuse(`${turn.screw}: expected the name of a screw, such as A: up to 16 letters, digits, spaces, - and _`);
  if (!Number.isFinite(turn.turns) || turn.turns === 0)
    refuse(`${turn.turns}: expected part of a turn, such as 1/8, and not nothing`);
  if (Math.abs(turn.turns) > MOST_TURNS)
    refuse(`${Math.abs(turn.turns)} turns: expected at most ${MOST_TURNS} at once; note a longer way in steps`);
  const same = known.find((name) => name.toLowerCase() === screw.toLowerCase());
  if (same !== undefined) return { ...turn, screw: same };
  const open = (used.length === 0 && !/^[A-Z]$/.test(screw)) || (hasOwnNames(used) && used.length < (rigScrews ?? 3));
  if (!open && !isNew) refuse(`No screw ${screw}: there are ${known.join(', ')}. If it is one more, --new takes it.`);
  if (used.length >= MOST_SCREWS) refuse(`No more than ${MOST_SCREWS} screws can be told apart.`);
  return { ...turn, screw };
}
