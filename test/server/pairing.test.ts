import { describe, expect, it } from 'vitest';
import { PAIRING, Pairing } from '../../src/server/pairing.ts';

/** A clock that only waiting moves. */
function setting(): { pairing: Pairing; waited: number[]; clock: { now: number } } {
  const clock = { now: 1000 };
  const waited: number[] = [];
  const pairing = new Pairing(
    () => clock.now,
    (ms) => {
      waited.push(ms);
      clock.now += ms;
      return Promise.resolve();
    },
  );
  return { pairing, waited, clock };
}

describe('pairing', () => {
  it('takes a code once, however it is typed, and shows another one then', async () => {
    const { pairing } = setting();
    const code = pairing.code();
    expect(code).toMatch(/^[2-9A-HJ-NP-Z]{8}$/);
    expect(pairing.code()).toBe(code);
    const session = await pairing.exchange(` ${code.slice(0, 4).toLowerCase()}-${code.slice(4)} `, '192.0.2.1');
    expect(session).toHaveLength(43);
    expect(pairing.knows(session ?? '')).toBe(true);
    expect(await pairing.exchange(code, '192.0.2.1')).toBeNull();
    expect(pairing.code()).not.toBe(code);
  });

  it('lets wrong codes wait ever longer, up to a limit, and bans nobody', async () => {
    const { pairing, waited } = setting();
    for (let i = 0; i < 12; i++) expect(await pairing.exchange(`WRONG${i}`, '192.0.2.1')).toBeNull();
    expect(waited.slice(0, 4)).toEqual([250, 500, 1000, 2000]);
    expect(Math.max(...waited)).toBe(PAIRING.longestWaitMs);
    expect(await pairing.exchange(pairing.code(), '192.0.2.1')).not.toBeNull();
  });

  it('answers guesses from one address one after another, and others at once', async () => {
    const open: (() => void)[] = [];
    const pairing = new Pairing(
      () => 0,
      () => new Promise((resolve) => open.push(resolve)),
    );
    const first = pairing.exchange('WRONG', '192.0.2.1');
    const second = pairing.exchange(pairing.code(), '192.0.2.1');
    let answered = false;
    void second.then(() => {
      answered = true;
    });
    const other = await pairing.exchange(pairing.code(), '192.0.2.2');
    expect(other).not.toBeNull();
    expect(answered).toBe(false);
    open.shift()?.();
    expect(await first).toBeNull();
    // The code was used from the other address meanwhile.
    open.length = 0;
    const late = await Promise.race([second, new Promise((resolve) => setTimeout(() => resolve('waits'), 20))]);
    expect(late).toBe('waits');
  });

  it('forgets a code after its time', async () => {
    const { pairing, clock } = setting();
    const code = pairing.code();
    clock.now += PAIRING.codeMinutes * 60_000;
    expect(await pairing.exchange(code, '192.0.2.1')).toBeNull();
  });

  it('knows no session that it did not give', () => {
    const { pairing } = setting();
    const session = pairing.open();
    expect(pairing.knows(session)).toBe(true);
    expect(pairing.knows(session.slice(0, -1))).toBe(false);
    expect(pairing.knows('')).toBe(false);
    expect(pairing.knows(undefined)).toBe(false);
    expect(pairing.knows('A'.repeat(100_000))).toBe(false);
  });

  it('remembers no more addresses than it must', async () => {
    const { pairing } = setting();
    for (let i = 0; i < PAIRING.addresses + 5; i++) await pairing.exchange('WRONG', `2001:db8::${i.toString(16)}`);
    expect(await pairing.exchange(pairing.code(), '192.0.2.1')).not.toBeNull();
  });
});
