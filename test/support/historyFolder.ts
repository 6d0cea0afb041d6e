import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { onTestFinished } from 'vitest';
import { type Effects, realEffects } from '../../src/effects.ts';
import type { Report } from '../../src/report/record.ts';
import { EXAMPLE_REPORTS } from './exampleReport.ts';

/** The real disk in a folder of the test's own, which goes away with the test; the user's own places are never seen. */
export interface DiskWorld {
  readonly folder: string;
  readonly file: string;
  readonly effects: Effects;
  err: string;
  out: string;
}

const REAL = realEffects();

export function diskWorld(changes: Partial<Effects> = {}): DiskWorld {
  const folder = mkdtempSync(join(tmpdir(), 'starplumb-history-'));
  onTestFinished(() => rmSync(folder, { recursive: true, force: true }));
  const world: DiskWorld = {
    folder,
    file: join(folder, 'data', 'history.sqlite'),
    err: '',
    out: '',
    effects: {
      ...REAL,
      env: {},
      places: { data: join(folder, 'data'), config: join(folder, 'config') },
      outIsTerminal: false,
      errIsTerminal: false,
      columns: undefined,
      out: (text) => {
        world.out += text;
      },
      err: (text) => {
        world.err += text;
      },
      ...changes,
    },
  };
  return world;
}

/** A record of subs of their own: number n, `days` after the first. */
export function reportOf(n: number, days = n, changes: Partial<Report> = {}): Report {
  const start = new Date(Date.UTC(2031, 1, 11, 21) + days * 86_400_000);
  const report = EXAMPLE_REPORTS.miscollimated;
  return {
    ...report,
    frames: report.frames.map((frame, i) => ({
      ...frame,
      file: `night-${n}/light-${i}.fits`,
      dateObs: new Date(start.getTime() + i * 120_000).toISOString().slice(0, 19),
      sha256: (n * 100 + i).toString(16).padStart(64, '0'),
    })),
    created: new Date(start.getTime() + 3_600_000).toISOString(),
    ...changes,
  };
}
