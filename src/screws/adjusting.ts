import { join } from 'node:path';
import { proposalOf } from '../adjust/proposal.ts';
import { replay } from '../adjust/replay.ts';
import { layoutsOf, type RigScrews } from '../adjust/screwPrior.ts';
import { sightOf } from '../adjust/sight.ts';
import type { StarPlaces } from '../adjust/starTravel.ts';
import type { NextTurn, Turn } from '../live/liveState.ts';
import type { Report } from '../report/record.ts';
import type { Rig } from '../rig/rig.ts';
import { type RecordEffects, ScrewRecord } from './record.ts';
import { checkedTurn, screwNames } from './screwNames.ts';

/** What the subs since the last move say together, with the brightest stars of the first and the last of them. */
export interface Look {
  readonly report: Report;
  readonly first: StarPlaces | null;
  readonly last: StarPlaces | null;
}

/** Which telescope's screws: a rig's, or those of what is watched in a folder (its real path). */
export type Telescope = { readonly rig: Rig } | { readonly folder: string };

/** The record of turns, what each screw does, and what to turn next. */
export class Adjusting {
  readonly #record: ScrewRecord;
  readonly #rigScrews: RigScrews | null;
  readonly #tolerance: number | null;
  #turns: readonly Turn[] = [];

  private constructor(record: ScrewRecord, rig: Rig | null) {
    this.#record = record;
    this.#rigScrews = rig?.values.screws ?? null;
    this.#tolerance = rig?.values.tolerance?.mirrorTiltArcmin ?? null;
  }

  /** The record lies in the data place, one folder for each telescope. */
  static async open(telescope: Telescope, effects: RecordEffects): Promise<Adjusting> {
    const rig = 'rig' in telescope ? telescope.rig : null;
    const adjusting = new Adjusting(new ScrewRecord(recordFolder(telescope, effects), effects), rig);
    await adjusting.turns();
    return adjusting;
  }

  get folder(): string {
    return this.#record.folder;
  }

  screws(): readonly string[] {
    return screwNames(this.#turns, this.#rigScrews?.number ?? null);
  }

  /** Turns so far, oldest first, with those that another program wrote. */
  async turns(): Promise<readonly Turn[]> {
    this.#turns = await this.#record.turns();
    return this.#turns;
  }

  /** Throws a UserError where the screw or the turn makes no sense. */
  async recordTurn(turn: Turn, isNew = false): Promise<Turn> {
    const checked = checkedTurn(turn, await this.turns(), this.#rigScrews?.number ?? null, isNew);
    await this.#record.addTurn(checked);
    await this.turns();
    return checked;
  }

  /** Something else was moved. */
  async recordMoved(at: string): Promise<void> {
    await this.#record.addMoved({ at });
  }

  async undo(): Promise<Turn | null> {
    const turn = await this.#record.undo();
    await this.turns();
    return turn;
  }

  /** Keeps what the subs since the last move say. */
  async see({ report, first, last }: Look): Promise<void> {
    await this.#record.addSeen({ sight: sightOf(report), first, last });
  }

  async proposal(): Promise<NextTurn> {
    const night = { turns: await this.turns(), moved: await this.#record.moved(), seen: await this.#record.seen() };
    const names = this.screws();
    return proposalOf(replay(night, names, layoutsOf(names.length, this.#rigScrews)), names, this.#tolerance);
  }
}

function recordFolder(telescope: Telescope, effects: RecordEffects): string {
  const name =
    'rig' in telescope
      ? `rig-${telescope.rig.name.toLowerCase()}`
      : `folder-${effects.sha256(new TextEncoder().encode(telescope.folder)).slice(0, 24)}`;
  return join(effects.places.data, 'screws', name);
}
