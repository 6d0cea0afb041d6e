/**
 * Three kinds of error.
 * A caller's mistake (a bug of ours): RangeError or TypeError naming the argument and the value received.
 * The user's situation (a file that cannot be read, a wrong option): UserError with the exit code; printed plainly, no stack.
 * A star that cannot be measured is neither: it is data, a reason in a record (stars/, shapes/).
 */
export const EXIT = {
  measured: 0,
  wrongUsage: 2,
  unreadableInput: 3,
  noStars: 4,
  interrupted: 130,
} as const;

export type ExitCode = (typeof EXIT)[keyof typeof EXIT];

/** Something the user can put right; the message names the file or option, the place, and what was expected. */
export class UserError extends Error {
  readonly exitCode: ExitCode;
  constructor(message: string, exitCode: ExitCode, options?: ErrorOptions) {
    super(message, options);
    this.name = 'UserError';
    this.exitCode = exitCode;
  }
}
