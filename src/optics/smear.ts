import { type Complex, ZERO } from './complex.ts';

/** What moves the image during the exposure, um on the sensor, stored axes. */
export interface Smear {
  /** Steady drift from first to last moment. */
  readonly driftUm: Complex;
  /** Random guiding, 1 sigma in each direction. */
  readonly jitterUm: number;
  /** Random shake along one line, 1 sigma as a vector. */
  readonly shakeUm: Complex;
  /** A jump (backlash, a kick) after which `jumpFraction` of the light falls displaced by `jumpUm`. */
  readonly jumpUm: Complex;
  readonly jumpFraction: number;
  /** Swing A sin(2 pi (cycles t + phase)) over the exposure t = 0..1: periodic error of the worm. */
  readonly swingUm: Complex;
  readonly swingCycles: number;
  readonly swingPhase: number;
}

export const STEADY: Smear = {
  driftUm: ZERO,
  jitterUm: 0,
  shakeUm: ZERO,
  jumpUm: ZERO,
  jumpFraction: 0,
  swingUm: ZERO,
  swingCycles: 1,
  swingPhase: 0,
};

/** Moments at which a swing is averaged: enough that its transfer is right to 1e-6 up to twice its amplitude a period. */
const SWING_STEPS = 64;

export function sinc(x: number): number {
  const t = Math.PI * x;
  return Math.abs(t) < 1e-6 ? 1 - (t * t) / 6 : Math.sin(t) / t;
}

/** Fourier transform (kernel exp(-2 pi i f.u)) of where the image dwells, at frequency (fx, fy) per um. */
export function smearTransfer(smear: Smear, fx: number, fy: number): Complex {
  const along = (v: Complex): number => v.x * fx + v.y * fy;
  const shake = along(smear.shakeUm) ** 2 + smear.jitterUm ** 2 * (fx * fx + fy * fy);
  let re = sinc(along(smear.driftUm)) * Math.exp(-2 * Math.PI ** 2 * shake);
  let im = 0;
  if (smear.jumpFraction > 0) {
    const phase = -2 * Math.PI * along(smear.jumpUm);
    const jumpRe = 1 - smear.jumpFraction + smear.jumpFraction * Math.cos(phase);
    const jumpIm = smear.jumpFraction * Math.sin(phase);
    im = re * jumpIm;
    re *= jumpRe;
  }
  const swing = along(smear.swingUm);
  if (swing !== 0) {
    let swingRe = 0;
    let swingIm = 0;
    for (let i = 0; i < SWING_STEPS; i++) {
      const time = (i + 0.5) / SWING_STEPS;
      const place = swing * Math.sin(2 * Math.PI * (smear.swingCycles * time + smear.swingPhase));
      swingRe += Math.cos(2 * Math.PI * place) / SWING_STEPS;
      swingIm -= Math.sin(2 * Math.PI * place) / SWING_STEPS;
    }
    [re, im] = [re * swingRe - im * swingIm, re * swingIm + im * swingRe];
  }
  return { x: re, y: im };
}
