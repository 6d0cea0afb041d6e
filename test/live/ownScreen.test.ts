import { describe, expect, it } from 'vitest';
import { onOwnScreen, ownDirectionDeg } from '../../src/live/ownScreen.ts';

const TURNS = [0, 90, 180, 270] as const;

describe('the person’s own screen', () => {
  it('mirrors left-right first and then turns counter-clockwise, as a rotation matrix does', () => {
    const v = { x: 3, y: 1 };
    for (const mirrored of [false, true])
      for (const turnedDeg of TURNS) {
        const angle = (turnedDeg * Math.PI) / 180;
        const x = mirrored ? -v.x : v.x;
        const own = onOwnScreen(v, { mirrored, turnedDeg });
        expect(own.x).toBeCloseTo(Math.cos(angle) * x - Math.sin(angle) * v.y, 12);
        expect(own.y).toBeCloseTo(Math.sin(angle) * x + Math.cos(angle) * v.y, 12);
      }
  });

  it('knows all eight ways a frame can lie, each different', () => {
    const ways = [false, true].flatMap((mirrored) =>
      TURNS.map((turnedDeg) => ownDirectionDeg({ x: 2, y: 1 }, { mirrored, turnedDeg }).toFixed(3)),
    );
    expect(new Set(ways).size).toBe(8);
  });
});
