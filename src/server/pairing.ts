import { createHash, randomBytes, randomInt, timingSafeEqual } from 'node:crypto';

/** Letters and digits that are not mistaken for one another when read by red light. */
const ALPHABET = '23456789ABCDEFGHJKLMNPQRSTUVWXYZ';
/** 40 bits; a guess costs its asker seconds, and each code works once. */
const CODE_LENGTH = 8;
/** 256 bits. */
const SESSION_BYTES = 32;
const MOST_SESSIONS = 32;

export const PAIRING = {
  codeMinutes: 15,
  /** The first wrong code costs so much waiting, each further one twice as much, up to the longest. */
  firstWaitMs: 250,
  longestWaitMs: 4000,
  /** Addresses whose wrong codes are remembered; the oldest is forgotten. */
  addresses: 1000,
} as const;

const digest = (text: string): Buffer => createHash('sha256').update(text).digest();

/** One-time codes, and the sessions they were exchanged for. Only digests of what opens the door are kept. */
export class Pairing {
  readonly #now: () => number;
  readonly #wait: (ms: number) => Promise<void>;
  #sessions: Buffer[] = [];
  #code: { readonly text: string; readonly until: number } | null = null;
  /** Wrong codes by address, and the turn of its next guess. */
  readonly #wrong = new Map<string, { count: number; turn: Promise<void> }>();

  constructor(now: () => number, wait: (ms: number) => Promise<void>) {
    this.#now = now;
    this.#wait = wait;
  }

  /** A code to show, the same until it is used or too old. */
  code(): string {
    if (this.#code === null || this.#code.until <= this.#now()) {
      const text = Array.from({ length: CODE_LENGTH }, () => ALPHABET[randomInt(ALPHABET.length)]).join('');
      this.#code = { text, until: this.#now() + PAIRING.codeMinutes * 60_000 };
    }
    return this.#code.text;
  }

  /**
   * A session for the right code, null for a wrong one. Guesses from one address are answered one after another, each wrong
   * one later than the last; nobody is locked out, and other addresses do not wait.
   */
  async exchange(given: string, address: string): Promise<string | null> {
    const record = this.#wrong.get(address) ?? { count: 0, turn: Promise.resolve() };
    this.#wrong.delete(address);
    this.#wrong.set(address, record);
    for (const oldest of this.#wrong.keys()) {
      if (this.#wrong.size <= PAIRING.addresses) break;
      this.#wrong.delete(oldest);
    }
    const before = record.turn;
    let done = (): void => undefined;
    record.turn = new Promise((resolve) => {
      done = resolve;
    });
    try {
      await before;
      const session = this.#take(given);
      if (session !== null) {
        record.count = 0;
        return session;
      }
      const wait = PAIRING.firstWaitMs * 2 ** Math.min(record.count, 10);
      record.count++;
      await this.#wait(Math.min(wait, PAIRING.longestWaitMs));
      return null;
    } finally {
      done();
    }
  }

  /** A session without a code: for the machine's own browser where nobody else can connect. */
  open(): string {
    const session = randomBytes(SESSION_BYTES).toString('base64url');
    this.#sessions = [...this.#sessions, digest(session)].slice(-MOST_SESSIONS);
    return session;
  }

  /** Compared with every session in a time that does not tell which. */
  knows(session: string | undefined): boolean {
    if (session === undefined || session.length > 200) return false;
    const given = digest(session);
    let known = false;
    for (const kept of this.#sessions) known = timingSafeEqual(kept, given) || known;
    return known;
  }

  #take(given: string): string | null {
    const code = this.#code;
    const typed = given.toUpperCase().replace(/[\s-]/g, '');
    const right = timingSafeEqual(digest(code?.text ?? randomBytes(8).toString('hex')), digest(typed));
    if (!right || code === null || code.until <= this.#now()) return null;
    this.#code = null;
    return this.open();
  }
}
