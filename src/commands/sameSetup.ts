import type { Frame } from '../frame/frame.ts';

/** Why two frames cannot be measured together, one sentence for each difference; empty when they can. */
export function differences(first: Frame, other: Frame): string[] {
  const found: string[] = [];
  const say = (what: string, one: string, two: string): void => {
    found.push(`${what}: ${first.name} has ${one}, ${other.name} has ${two}`);
  };
  const size = (frame: Frame): string => `${frame.width} x ${frame.height} pixels`;
  if (size(first) !== size(other)) say('size', size(first), size(other));
  // A header that does not name the camera contradicts nobody.
  const [camera, otherCamera] = [first.facts.camera?.value, other.facts.camera?.value];
  if (camera !== undefined && otherCamera !== undefined && camera !== otherCamera) say('camera', camera, otherCamera);
  const colour = (frame: Frame): string => (frame.mosaic === null ? 'no colour mosaic' : 'a colour mosaic');
  if (colour(first) !== colour(other)) say('colour layout', colour(first), colour(other));
  else if (first.mosaic?.greenParity !== other.mosaic?.greenParity) say('colour layout', greens(first), greens(other));
  const [rows, otherRows] = [first.facts.rowOrder?.value, other.facts.rowOrder?.value];
  if (rows !== undefined && otherRows !== undefined && rows !== otherRows) say('row order', rows, otherRows);
  return found;
}

/** Where the green sites of a mosaic lie. */
function greens(frame: Frame): string {
  return frame.mosaic?.greenParity === 0 ? 'greens on the main diagonal' : 'greens off the main diagonal';
}

/** What differs between subs that are allowed to: said, since it matters to the reader. */
export function mixtureNotes(frames: readonly Frame[]): string[] {
  const filters = [...new Set(frames.flatMap((frame) => frame.facts.filter?.value ?? []))];
  const focus = [...new Set(frames.flatMap((frame) => frame.facts.focusPosition?.value ?? []))];
  const notes: string[] = [];
  if (filters.length > 1) notes.push(`Subs through different filters are taken together: ${filters.join(', ')}.`);
  if (focus.length > 1)
    notes.push(`The subs stand at ${focus.length} focus positions (${focus.join(', ')}); the difference helps.`);
  return notes;
}
