import { describe, expect, it } from 'vitest';
import type { Cause, Status } from '../../src/diagnosis/finding.ts';
import { orientationOf, setupFromFrames } from '../../src/diagnosis/setupFromFrames.ts';
import { measureField, measureFrame, refine } from '../../src/measure.ts';
import { drawSub, type SubOptions } from '../support/draw.ts';

/** What is said of each cause from these subs of one telescope, and what the fit took the elongation for. */
function toldOf(subs: readonly SubOptions[]) {
  const frames = subs.map((sub, i) =>
    drawSub({ width: 1800, height: 1200, starCount: 260, seed: 60 + i, fieldSeed: 12, ...sub }),
  );
  const settings = { corrector: 1 };
  const { diagnosis } = refine(
    measureField(
      frames.map((frame) => measureFrame(frame)),
      setupFromFrames(frames, settings),
      orientationOf(frames, settings),
    ),
  );
  const statusOf = (cause: Cause): Status =>
    diagnosis.findings.find((f) => f.cause === cause)?.status ?? expect.unreachable(cause);
  return { statusOf, retrieved: diagnosis.amounts?.retrieved ?? expect.unreachable('the fit did not settle') };
}

const drift = (x: number, y: number) => ({ driftUm: { x, y } });

describe('stars of several subs that are long', () => {
  it('more so farther from focus, by astigmatism: it is named, on one side of focus or on both', () => {
    const state = { astigmatismUm: { x: 0.2, y: -0.1 } };
    for (const foci of [
      [20, 45, 70],
      [-50, 20],
    ]) {
      const { statusOf, retrieved } = toldOf(foci.map((focusUm) => ({ state: { ...state, focusUm } })));
      expect(retrieved.longBy).toBe('astigmatism');
      expect(statusOf('astigmatism')).toBe('fault');
      expect(statusOf('tracking')).not.toBe('fault');
      // um RMS of a coefficient: divided by the root of six (optics handbooks, Zernike terms 5 and 6). The common sign of focus and
      // astigmatism is not in the stars.
      const { x, y } = retrieved.astigmatismRmsUm.uniform;
      const sign = Math.sign(retrieved.perSub[0].focusUm.value * foci[0]);
      expect(Math.hypot(sign * x - 0.2 / Math.sqrt(6), sign * y + 0.1 / Math.sqrt(6))).toBeLessThan(0.025);
    }
  });

  it('less so farther from focus, by a steady drift: it is tracking', () => {
    const { statusOf, retrieved } = toldOf(
      [-10, 30, 60].map((focusUm) => ({ state: { focusUm }, smear: drift(7, 7) })),
    );
    expect(retrieved.longBy).toBe('smear');
    expect(statusOf('tracking')).toBe('fault');
    expect(statusOf('astigmatism')).not.toBe('fault');
  });

  it('in one of two, by a drift: nothing is said of astigmatism with confidence', () => {
    const { statusOf } = toldOf([{ state: { focusUm: -50 }, smear: drift(8, 5) }, { state: { focusUm: 20 } }]);
    expect(statusOf('astigmatism')).not.toBe('fault');
  });
});
