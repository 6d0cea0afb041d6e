import { EXIT, UserError } from '../errors.ts';
import { damaged } from '../fits/damage.ts';
import type { Hdu, HduList } from '../fits/hdu.ts';
import { type ImageShape, imageShape } from '../fits/image.ts';

/** An HDU that holds an image of at least two axes. */
export interface Candidate {
  readonly hdu: Hdu;
  readonly shape: ImageShape;
}

export interface Candidates {
  readonly images: readonly Candidate[];
  /** Why HDUs that should hold images could not be understood. */
  readonly problems: readonly Error[];
}

/** Images of a file; what cannot be understood as one is left out, with the reason. */
export function imagesOf(list: HduList, name: string): Candidates {
  const images: Candidate[] = [];
  const problems: Error[] = [];
  for (const hdu of list.hdus) {
    try {
      const shape = imageShape(hdu, name);
      if (shape !== null) images.push({ hdu, shape });
    } catch (error) {
      if (!(error instanceof UserError)) throw error;
      problems.push(error);
    }
  }
  return { images, problems };
}

/** What an HDU is, for a message that lists them. */
function describe(hdu: Hdu, images: readonly Candidate[]): string {
  const image = images.find((each) => each.hdu === hdu);
  if (image !== undefined) return `[${hdu.index}] image ${image.shape.width} x ${image.shape.height}`;
  return `[${hdu.index}] ${hdu.kind === 'image' ? 'no image data' : hdu.kind}`;
}

function contents(list: HduList, images: readonly Candidate[]): string {
  const shown = list.hdus.slice(0, 20).map((hdu) => describe(hdu, images));
  return `the file has ${shown.join(', ')}${list.hdus.length > 20 ? ', ...' : ''}`;
}

/** The image in an extension that the user named. */
export function namedImage(list: HduList, { images }: Candidates, extension: number, name: string): Candidate {
  const hdu = list.hdus[extension];
  const image = images.find((each) => each.hdu === hdu);
  if (image !== undefined) return image;
  // Who names an extension deserves the reason why it is none.
  if (hdu !== undefined) imageShape(hdu, name);
  else if (list.broken !== null) throw list.broken;
  throw new UserError(
    `${name}: extension ${extension} holds no two-dimensional image; ${contents(list, images)}`,
    EXIT.unreadableInput,
  );
}

/** The largest image of the file, the first of several equal ones, and a word where there was a choice. */
export function largestImage(
  list: HduList,
  { images, problems }: Candidates,
  name: string,
): { image: Candidate; notes: string[] } {
  const area = (each: Candidate): number => each.shape.width * each.shape.height;
  const [first, ...rest] = images;
  if (first === undefined) {
    if (problems.length > 0) throw problems[0];
    if (list.broken !== null) throw list.broken;
    throw damaged(name, `no two-dimensional image in it; ${contents(list, images)}`);
  }
  const image = rest.reduce((best, each) => (area(each) > area(best) ? each : best), first);
  const notes = problems.map((problem) => `left out: ${problem.message}`);
  if (rest.length === 0) return { image, notes };
  const ties = images.filter((each) => area(each) === area(image)).length > 1;
  const which = ties ? 'the first of the largest images' : 'the largest image';
  return {
    image,
    notes: [
      ...notes,
      `extension ${image.hdu.index} was read, ${which}; ${rest.length} more in the file can be named as FILE[n]`,
    ],
  };
}
