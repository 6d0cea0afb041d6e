import { describe, expect, it } from 'vitest';
import { smearWidth } from '../../src/diagnosis/amounts.ts';
import type { Cause, Finding, Status } from '../../src/diagnosis/finding.ts';
import { driftOf } from '../../src/diagnosis/motionFindings.ts';
import { isSteady } from '../../src/field/combine.ts';
import { vectorLength } from '../../src/field/frameStars.ts';
import { drawSub, type SubOptions } from '../support/draw.ts';
import { refined } from '../support/refined.ts';

/** Of the drawn camera. */
const PIXEL_UM = 3.76;

/** What is said of each cause from these subs of one telescope, and what the fit took the elongation for. */
function toldOf(subs: readonly SubOptions[]) {
  const frames = subs.map((sub, i) =>
    drawSub({ width: 1800, height: 1200, starCount: 260, seed: 60 + i, fieldSeed: 12, ...sub }),
  );
  const { diagnosis } = refined(frames, { corrector: 1 }).fine;
  const findingOf = (cause: Cause): Finding =>
    diagnosis.findings.find((f) => f.cause === cause) ?? expect.unreachable(cause);
  const statusOf = (cause: Cause): Status => findingOf(cause).status;
  const amounts = diagnosis.amounts ?? expect.unreachable('too few stars');
  return { findingOf, statusOf, amounts, retrieved: amounts.retrieved ?? expect.unreachable('the fit did not settle') };
}

const drift = (x: number, y: number) => ({ driftUm: { x, y } });

describe('stars of several subs that are long', () => {
  it.each([
    { where: 'on one side of focus', foci: [20, 45, 70] },
    { where: 'on both', foci: [-50, 20] },
  ])('more so farther from focus, by astigmatism: it is named, $where', ({ foci }) => {
    const state = { astigmatismUm: { x: 0.2, y: -0.1 } };
    const { statusOf, retrieved } = toldOf(foci.map((focusUm) => ({ state: { ...state, focusUm } })));
    expect(retrieved.longBy).toBe('astigmatism');
    expect(statusOf('astigmatism')).toBe('fault');
    expect(statusOf('tracking')).not.toBe('fault');
    // um RMS of a coefficient: divided by the root of six (optics handbooks, Zernike terms 5 and 6). The common sign of focus and
    // astigmatism is not in the stars.
    const { x, y } = retrieved.astigmatismRmsUm.uniform;
    const sign = Math.sign(retrieved.perSub[0].focusUm.value * foci[0]);
    expect(Math.hypot(sign * x - 0.2 / Math.sqrt(6), sign * y + 0.1 / Math.sqrt(6))).toBeLessThan(0.025);
  });

  it('less so farther from focus, by a steady drift: it is tracking', () => {
    const { statusOf, amounts, retrieved } = toldOf(
      [-10, 30, 60].map((focusUm) => ({ state: { focusUm }, smear: drift(7, 7) })),
    );
    expect(retrieved.longBy).toBe('smear');
    expect(statusOf('tracking')).toBe('fault');
    expect(statusOf('astigmatism')).not.toBe('fault');
    // Longer where the stars are sharper, and yet one drift, of the length that was drawn.
    const lengths = amounts.smooth.perFrame.map(({ fields }) => vectorLength(fields.distortion.uniform));
    expect(Math.min(...lengths)).toBeLessThan(0.8 * Math.max(...lengths));
    expect(isSteady(amounts.steady)).toBe(true);
    const drawnPx = Math.hypot(7, 7) / PIXEL_UM;
    expect(Math.abs(driftOf(amounts.smear, smearWidth(amounts), false).value / drawnPx - 1)).toBeLessThan(0.1);
  });

  it('in one of two, by a drift: nothing is said of astigmatism with confidence', () => {
    const { statusOf } = toldOf([{ state: { focusUm: -50 }, smear: drift(8, 5) }, { state: { focusUm: 20 } }]);
    expect(statusOf('astigmatism')).not.toBe('fault');
  });

  it('make the direction of coma unsure where one sub tells nothing of their cause, and that is said before any screw', () => {
    const { findingOf } = toldOf([{ state: { primaryTiltArcmin: { x: 4, y: 0 } }, smear: drift(9, 9) }]);
    const { status, direction, directionError, because, advice, starShift } = findingOf('miscollimation');
    expect(status).toBe('fault');
    // Tails point away from the lean of the axis; a drift along 45 degrees turns them across it.
    const off = Math.abs(Math.atan2(Math.sin((direction ?? 0) - Math.PI), Math.cos((direction ?? 0) - Math.PI)));
    expect(off).toBeGreaterThan(0.15);
    expect(off).toBeLessThan(directionError ?? 0);
    expect(because).toMatch(/drawn out, which may turn this by \d+ deg/);
    expect(advice).toMatch(/^Measure a 10 s sub before you turn anything/);
    expect(starShift).toBeNull();
  });
});
