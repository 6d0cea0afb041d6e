import { DEFOCUS_NODES, type FactorTable, SEEING_NODES } from './spinSums.ts';
import { SPIN_TERMS, type Spin, type SpinTerm } from './spinTerms.ts';

const SPINS: readonly Spin[] = [0, 1, 2, 3];
/** Numbers of a term: how many letters, then letter and power of each. */
const TERM = 9;
const NODES = SEEING_NODES * DEFOCUS_NODES;

interface PackedTerm {
  readonly term: SpinTerm;
  readonly at: (node: number) => number;
}

/**
 * A response as the kernels take it (kernels/assembly/starShape.ts): where each group of terms begins and the last one ends, the
 * nodes of seeing, the step of d, TERM numbers of every term, then the factors of all terms node by node. Even terms of spin 0 to 3
 * stand before odd ones; each half is filled up to an even count by a term that is nothing.
 */
export function packedTable(
  tables: Readonly<Record<Spin, FactorTable>>,
  seeings: readonly number[],
  step: number,
): Float64Array {
  const packed: (PackedTerm | null)[] = [];
  const ends = [0];
  for (const odd of [false, true]) {
    for (const spin of SPINS) {
      const { factors } = tables[spin];
      SPIN_TERMS[spin].forEach((term, i) => {
        if (term.odd === odd) packed.push({ term, at: (node) => factors[i * NODES + node] });
      });
      if (spin === 3 && packed.length % 2 === 1) packed.push(null);
      ends.push(packed.length);
    }
  }
  return Float64Array.from([
    ...ends,
    ...seeings,
    step,
    ...packed.flatMap((each) => numbersOf(each?.term ?? null)),
    ...Array.from({ length: NODES }, (_, node) => packed.map((each) => each?.at(node) ?? 0)).flat(),
  ]);
}

function numbersOf(term: SpinTerm | null): number[] {
  const letters = (term?.powers ?? []).flatMap((power, letter) => (power > 0 ? [letter, power] : []));
  return [letters.length / 2, ...letters, ...new Array<number>(TERM - 1 - letters.length).fill(0)];
}
