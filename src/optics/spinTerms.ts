import { type Complex, conjugate, multiply } from './complex.ts';
import type { Coefficients } from './wavefront.ts';

type Odd = Pick<Coefficients, 'a' | 'c' | 't'>;

/**
 * What a star's shape may depend on: products of the wavefront's coefficients whose spin is the shape's (a turns twice,
 * c once, t three times with the frame), with real factors (a mirrored wavefront gives a mirrored star). Under
 * (d, a) -> -(d, a) the image stays as it is, so that the factor of a product with an odd number of a is odd in d.
 */
export interface SpinTerm {
  /** The product in letters, capitals conjugated: 'aC' is a conj(c). */
  readonly letters: string;
  /** Factor odd in d. */
  readonly odd: boolean;
  readonly value: (w: Odd) => Complex;
  /** How often a, conj(a), c, conj(c), t, conj(t) stand in the product. */
  readonly powers: readonly number[];
}

export type Spin = 0 | 1 | 2 | 3;

const LETTERS = 'aAcCtT';
const SPIN: Readonly<Record<string, number>> = { a: 2, A: -2, c: 1, C: -1, t: 3, T: -3 };
/** Of elongation; told only where the astigmatism is gross, for beyond the drawn stars it runs wild. */
export const FIFTH_OF_ASTIGMATISM = 'aaaAA';
/** Products of so many coefficients, and for gross coma or astigmatism what those of it alone add up to the fifth. */
const ORDER = 4;
const MORE: Readonly<Record<Spin, readonly string[]>> = {
  0: [],
  1: ['cccCC'],
  2: [FIFTH_OF_ASTIGMATISM],
  3: ['ccccC'],
};

function spinOf(letters: string): number {
  return Array.from(letters).reduce((sum, letter) => sum + SPIN[letter], 0);
}

/** All products of at most `order` coefficients in the order of LETTERS. */
function products(order: number): string[] {
  const lists: string[][] = [['']];
  for (let k = 0; k < order; k++) {
    lists.push(
      lists[k].flatMap((start) =>
        Array.from(LETTERS)
          .filter((letter) => start === '' || LETTERS.indexOf(letter) >= LETTERS.indexOf(start.slice(-1)))
          .map((letter) => start + letter),
      ),
    );
  }
  return lists.flat();
}

function conjugated(letters: string): string {
  const swapped = Array.from(letters, (letter) =>
    letter === letter.toLowerCase() ? letter.toUpperCase() : letter.toLowerCase(),
  );
  return swapped.sort((p, q) => LETTERS.indexOf(p) - LETTERS.indexOf(q)).join('');
}

function term(letters: string, spin: Spin): SpinTerm {
  const factors = Array.from(letters);
  const names = factors.map((factor) => factor.toLowerCase() as 'a' | 'c' | 't');
  const value = (w: Odd): Complex => {
    let product: Complex = { x: 1, y: 0 };
    for (let i = 0; i < factors.length; i++) {
      const factor = w[names[i]];
      product = multiply(product, factors[i] === names[i] ? factor : conjugate(factor));
    }
    // A size depends on the real part only: mirrored stars are equally large.
    return spin === 0 ? { x: product.x, y: 0 } : product;
  };
  const powers = Array.from(LETTERS, (letter) => factors.filter((factor) => factor === letter).length);
  return { letters, odd: names.filter((name) => name === 'a').length % 2 === 1, value, powers };
}

function termsOf(spin: Spin): SpinTerm[] {
  const letters = products(ORDER).filter((product) => spinOf(product) === spin);
  const distinct = spin === 0 ? letters.filter((each, i) => letters.indexOf(conjugated(each)) >= i) : letters;
  return [...distinct, ...MORE[spin]].map((each) => term(each, spin));
}

export const SPIN_TERMS: Readonly<Record<Spin, readonly SpinTerm[]>> = {
  0: termsOf(0),
  1: termsOf(1),
  2: termsOf(2),
  3: termsOf(3),
};
