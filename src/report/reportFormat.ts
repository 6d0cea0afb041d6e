/**
 * The report record (report.json), version 1.
 * All angles and all x, y are on the SCREEN: degrees counter-clockwise from right, x right, y up, positions from the
 * frame's centre. Pixels are unbinned-frame pixels of the file. A missing value is null, never NaN. Errors are 1 sigma.
 * A later field is added with a default, so that an older report stays readable; a changed meaning is a new version.
 */
export const REPORT_FORMAT = 'starplumb-report';
export const REPORT_VERSION = 1;

/** The record as it is written. RangeError for a number that is none: JSON would make null of it without a word. */
export function recordText(record: object): string {
  const finite = (key: string, value: unknown): unknown => {
    if (typeof value === 'number' && !Number.isFinite(value)) throw new RangeError(`${key} of the record is ${value}`);
    return value;
  };
  return `${JSON.stringify(record, finite, 2)}\n`;
}
