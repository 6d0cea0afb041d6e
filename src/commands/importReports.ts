import { join } from 'node:path';
import * as z from 'zod';
import type { Effects } from '../effects.ts';
import { EXIT, UserError } from '../errors.ts';
import type { History } from '../history/store.ts';
import { parseReport, type Report } from '../report/record.ts';
import { printable } from '../report/untrusted.ts';

/** Folders within folders are followed this deep: deeper ones are a loop of links. */
const DEEPEST = 12;
/** A report holds some 20 kB; larger files are something else. */
const LARGEST = 20_000_000;

/** Keeps every report.json found; one that cannot be read is named and passed over. */
export async function importReports(
  history: History,
  folders: readonly string[],
  rig: string | undefined,
  effects: Effects,
): Promise<void> {
  const files: string[] = [];
  for (const folder of folders) files.push(...(await reportsIn(folder, effects)));
  if (files.length === 0) throw new UserError(`${folders.join(', ')}: no report.json there`, EXIT.unreadableInput);
  const counts = { kept: 0, replaced: 0, older: 0, unreadable: 0 };
  for (const [i, file] of files.entries()) {
    if (effects.errIsTerminal) effects.err(`\r\u001b[K${i + 1} of ${files.length}`);
    await effects.breathe();
    if (effects.interrupted())
      throw new UserError(`Interrupted after ${i} of ${files.length} reports; those are kept.`, EXIT.interrupted);
    const report = await readReport(file, effects);
    if (typeof report === 'string') {
      effects.err(`${effects.errIsTerminal ? '\r\u001b[K' : ''}${printable(file)}: ${printable(report)}\n`);
      counts.unreadable++;
    } else counts[history.addUnlessNewer({ ...report, rig: report.rig ?? rig ?? null })]++;
  }
  if (effects.errIsTerminal) effects.err('\r\u001b[K');
  const more = [
    counts.replaced > 0 ? `${counts.replaced} replaced an older measurement of the same subs` : '',
    counts.older > 0 ? `${counts.older} were there already, or are older than what is kept of the same subs` : '',
    counts.unreadable > 0 ? `${counts.unreadable} could not be read` : '',
  ].filter((part) => part !== '');
  effects.out(`${[`${counts.kept} new`, ...more].join('; ')}.\n`);
}

async function reportsIn(path: string, effects: Effects, depth = 0): Promise<string[]> {
  const kind = await effects.kindOf(path);
  if (kind === 'absent') throw new UserError(`${path}: no such file or folder`, EXIT.unreadableInput);
  if (kind === 'file') return depth === 0 || /(^|[\\/])report\.json$/.test(path) ? [path] : [];
  if (depth >= DEEPEST) return [];
  const found: string[] = [];
  for (const name of [...(await effects.listFolder(path))].sort()) {
    const inside = join(path, name);
    // Between listing and looking a name may go away.
    if ((await effects.kindOf(inside)) !== 'absent') found.push(...(await reportsIn(inside, effects, depth + 1)));
  }
  return found;
}

/** The report, or why it cannot be read. */
async function readReport(file: string, effects: Effects): Promise<Report | string> {
  try {
    const bytes = await effects.readFile(file);
    if (bytes.length > LARGEST) return `${bytes.length} bytes are too many for a report`;
    return parseReport(JSON.parse(new TextDecoder('utf-8', { fatal: true }).decode(bytes)));
  } catch (error) {
    if (error instanceof z.ZodError) {
      const [issue] = error.issues;
      return `not a report: ${issue?.path.map(String).join('.') ?? ''}: ${issue?.message ?? ''}`;
    }
    if (error instanceof SyntaxError || error instanceof TypeError) return `not JSON: ${error.message}`;
    return `cannot be read: ${(error as Error).message}`;
  }
}
