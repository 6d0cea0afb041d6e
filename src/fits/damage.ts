import { EXIT, UserError } from '../errors.ts';

/** A file that cannot be read: names the file, the place, and what was expected there. */
export function damaged(name: string, message: string, options?: ErrorOptions): UserError {
  return new UserError(`${name}: ${message}`, EXIT.unreadableInput, options);
}
