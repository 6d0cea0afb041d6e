import ndarray from 'ndarray';
import type { Effects } from '../effects.ts';
import { EXIT, UserError } from '../errors.ts';
import type { Frame } from '../frame/frame.ts';
import type { RunningSum } from '../kernels/crew.ts';
import { kernels } from '../kernels/kernels.ts';
import { printable } from '../report/untrusted.ts';
import { type FrameArgument, loadFrame, type Room } from './frames.ts';

/** Columns where no terminal tells its own. */
export const TEXT_WIDTH = 80;

/** An error whose message stands on standard error already. */
export class AlreadySaid extends UserError {
  constructor(said: UserError) {
    super(said.message, said.exitCode, { cause: said });
    this.name = 'AlreadySaid';
  }
}

/** What reading and telling files apart needs of the outside world. */
export type ReadingEffects = Pick<Effects, 'readFile' | 'kindOf' | 'listFolder' | 'startSha256'>;

export async function loadOrReject(
  argument: FrameArgument,
  effects: ReadingEffects,
): Promise<{ frame: Frame; sha256: string } | UserError> {
  let sha256 = '';
  const reader = {
    ...effects,
    readFile: async (path: string, room?: Room) => {
      let sum: RunningSum | null = null;
      let seen = 0;
      const see = (part: Uint8Array): void => {
        sum ??= kernels()?.sumBeside(part, effects.startSha256) ?? effects.startSha256();
        sum.add(part);
        seen += part.length;
      };
      const bytes = await effects.readFile(path, room, see);
      // Taken now: decoding may swap the bytes in place.
      see(bytes.subarray(seen));
      sha256 = (sum as RunningSum | null)?.hex() ?? '';
      return bytes;
    },
  };
  try {
    const frame = await loadFrame(argument, reader, kernels()?.room);
    return { frame, sha256 };
  } catch (error) {
    if (error instanceof UserError && error.exitCode === EXIT.unreadableInput) return error;
    throw error;
  }
}

/** 'name: why' without the name. */
export function withoutName(message: string, { name, path }: FrameArgument): string {
  const said = [name, path].find((start) => message.startsWith(`${start}: `));
  return said === undefined ? message : message.slice(said.length + 2);
}

const NO_PIXELS = ndarray(new Uint8Array(0), [0, 0]);

/** What a measured frame still has to tell, without its megabytes. */
export function withoutPixels(frame: Omit<Frame, 'pixels' | 'mask'>): Frame {
  return { ...frame, pixels: NO_PIXELS, mask: null };
}

export function stopIfAsked(effects: Effects): void {
  if (effects.interrupted()) throw new UserError('Interrupted; nothing was written.', EXIT.interrupted);
}

/** One line on a terminal that replaces itself; nothing elsewhere. */
export function progressLine(effects: Effects): { show: (text: string) => void; clear: () => void } {
  if (!effects.errIsTerminal) return { show: () => undefined, clear: () => undefined };
  const clear = (): void => effects.err('\r\u001b[K');
  const width = (effects.columns ?? TEXT_WIDTH) - 12;
  return { show: (text) => effects.err(`\r\u001b[Kmeasuring ${printable(text).slice(-width)}`), clear };
}
