import { EXIT, UserError } from '../errors.ts';

/** Headers can hold texts of any length, and of any characters; a message must not. */
const LONGEST_MESSAGE = 600;

/** A value from a file as a message shows it: in quotes if it is text, never long. */
export function shown(value: unknown): string {
  const text = String(value);
  const short = text.length > 60 ? `${text.slice(0, 57)}...` : text;
  return typeof value === 'string' ? `'${short}'` : short;
}

/** A file that cannot be read: names the file, the place, and what was expected there. */
export function damaged(name: string, message: string, options?: ErrorOptions): UserError {
  const short = message.length > LONGEST_MESSAGE ? `${message.slice(0, LONGEST_MESSAGE)}...` : message;
  return new UserError(`${name}: ${short}`, EXIT.unreadableInput, options);
}
