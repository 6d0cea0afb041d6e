import { join } from 'node:path';
import { ZodError } from 'zod';
import type { Effects } from '../effects.ts';
import { EXIT, UserError } from '../errors.ts';
import { parseReport, type Report } from '../report/record.ts';
import { REPORT_FORMAT, REPORT_VERSION } from '../report/reportFormat.ts';

const LARGEST_REPORT = 50_000_000;
/** Wrong places named in one message. */
const PLACES_NAMED = 4;

/** Reads a report by the name of its file or folder; every way it can fail is told with the place. */
export async function readReport(
  path: string,
  option: string,
  effects: Pick<Effects, 'readFile' | 'kindOf'>,
): Promise<{ readonly file: string; readonly report: Report }> {
  const file = (await effects.kindOf(path)) === 'folder' ? join(path, 'report.json') : path;
  const refuse = (why: string, cause?: unknown): never => {
    throw new UserError(`${option} ${file}: ${why}`, EXIT.unreadableInput, { cause });
  };
  let bytes = new Uint8Array(0);
  try {
    bytes = Uint8Array.from(await effects.readFile(file));
  } catch (cause) {
    const absent = cause instanceof Error && 'code' in cause && cause.code === 'ENOENT';
    refuse(
      absent
        ? 'there is no such file; expected a report.json, or the folder it stands in'
        : `cannot be read: ${(cause as Error).message}`,
      cause,
    );
  }
  if (bytes.length > LARGEST_REPORT) refuse(`${bytes.length} bytes are too many for a report`);
  let json: unknown;
  try {
    json = JSON.parse(new TextDecoder('utf-8', { fatal: true }).decode(bytes));
  } catch (cause) {
    refuse(`not JSON (${(cause as Error).message}); expected a report.json`, cause);
  }
  const { format, version } = (typeof json === 'object' && json !== null ? json : {}) as {
    format?: unknown;
    version?: unknown;
  };
  if (format !== REPORT_FORMAT) refuse('JSON, but no Starplumb report; expected a report.json');
  if (typeof version === 'number' && version > REPORT_VERSION)
    refuse(
      `written by a later version of the program (record version ${version}); this one reads up to ${REPORT_VERSION}`,
    );
  try {
    return { file, report: parseReport(json) };
  } catch (cause) {
    if (!(cause instanceof ZodError)) throw cause;
    const places = cause.issues
      .slice(0, PLACES_NAMED)
      .map((issue) => `${issue.path.join('.') || 'the record'}: ${issue.message}`);
    return refuse(`a damaged report: ${places.join('; ')}`, cause);
  }
}
