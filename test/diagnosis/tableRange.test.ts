import { expect, it } from 'vitest';
import { type Fitted, letGo, reachesFarther, widerRange } from '../../src/diagnosis/tableRange.ts';
import type { ResponseRange } from '../../src/optics/response.ts';
import { layoutOf } from '../../src/retrieval/layout.ts';

const WHOLE: ResponseRange = {
  seeingArcsec: { from: 1, to: 3 },
  defocusUm: 90,
  limits: { a: 0.3, c: 0.5, t: 0.6 },
};
const CLOSER: ResponseRange = {
  seeingArcsec: { from: 1, to: 1.6 },
  defocusUm: 50,
  limits: { a: 0.15, c: 0.2, t: 0.2 },
};

/** A fit of two subs on that table, one cell each in the middle, with this coma and these seeings. */
function fittedOn(range: ResponseRange, seeings: readonly [number, number], coma: number): Fitted {
  const layout = layoutOf(2, false);
  const parameters = new Float64Array(layout.length);
  for (const [f, seeing] of seeings.entries()) parameters[layout.seeing(f)] = seeing;
  parameters[layout.coma] = coma;
  const cells = [0, 1].map((frame) => ({ frame, u: 0, v: 0 }));
  return {
    table: { range, defocusLimit: 0.5 },
    retrieval: { layout, best: { parameters }, cells },
  } as unknown as Fitted;
}

it('opens again what a closer table holds at its end, and only that', () => {
  expect(letGo(fittedOn(CLOSER, [1.2, 1.3], 0.1), WHOLE)).toBeNull();
  expect(letGo(fittedOn(CLOSER, [1.2, 1.599], 0.1), WHOLE)).toEqual({ ...CLOSER, seeingArcsec: { from: 1, to: 3 } });
  expect(letGo(fittedOn(CLOSER, [1.2, 1.3], -0.1995), WHOLE)).toEqual({
    ...CLOSER,
    limits: { ...CLOSER.limits, c: 0.5 },
  });
});

it('never makes a table narrower, nor opens what the whole one held as well', () => {
  const beyond = { ...CLOSER, seeingArcsec: { from: 0.9, to: 3.2 } };
  expect(letGo(fittedOn(beyond, [0.9, 3.2], 0.1), WHOLE)).toBeNull();
  expect(letGo(fittedOn(CLOSER, [1, 1.3], 0.1), WHOLE)).toBeNull();
});

it('goes on only while the fit leads farther', () => {
  expect(reachesFarther({ ...CLOSER, limits: { ...CLOSER.limits, t: 0.21 } }, CLOSER)).toBe(false);
  expect(reachesFarther({ ...CLOSER, seeingArcsec: { from: 1, to: 2 } }, CLOSER)).toBe(true);
  expect(reachesFarther({ ...CLOSER, seeingArcsec: { from: 0.8, to: 1.6 } }, CLOSER)).toBe(true);
});

it('gives room to focus where room for astigmatism has led it to its limit, and to each but once', () => {
  const fitted = (range: ResponseRange, focus: number, astigmatism: number): Fitted => {
    const fit = fittedOn(range, [1.2, 1.3], 0.1);
    const { layout, best } = fit.retrieval;
    best.parameters[layout.focus(0)] = -focus;
    best.parameters[layout.focus(1)] = 0.01;
    best.parameters[layout.astigmatism] = astigmatism;
    const { parameters } = best;
    const scan = [{ focus: 0.01, weight: 1, parameters }];
    return { ...fit, retrieval: { ...fit.retrieval, referenceSub: 1, signed: false, scan } } as unknown as Fitted;
  };
  const strained = widerRange(fitted(CLOSER, 0.4, 0.12), CLOSER, 130);
  expect(strained).toEqual({ ...CLOSER, limits: { ...CLOSER.limits, a: 0.6 } });
  const far = widerRange(fitted(strained ?? CLOSER, 0.5, 0.5), CLOSER, 130);
  expect(far).toEqual({ ...CLOSER, defocusUm: 130, limits: { ...CLOSER.limits, a: 0.6 } });
  expect(widerRange(fitted(far ?? CLOSER, 0.5, 0.5), CLOSER, 130)).toBeNull();
});
