import { damaged, shown } from './damage.ts';
import type { Hdu } from './hdu.ts';
import { integerCard, textCard } from './structure.ts';

/** Columns of a binary table: FITS 4.0, section 7.3. */

export interface Column {
  readonly name: string;
  /** Letter of TFORM: B, I, J, K, E, D, ...; of the elements where `variable` is P or Q. */
  readonly type: string;
  /** P or Q: the row holds (count, offset) of elements in the heap, 32 or 64 bits each; null: the values themselves. */
  readonly variable: 'P' | 'Q' | null;
  /** Values in the row (0 or 1 descriptors for variable ones). */
  readonly repeat: number;
  /** Bytes from the row's start. */
  readonly offset: number;
}

/** Bytes an element of each TFORM letter. */
export const ELEMENT_BYTES: Record<string, number> = {
  L: 1,
  B: 1,
  A: 1,
  I: 2,
  J: 4,
  K: 8,
  E: 4,
  D: 8,
  C: 8,
  M: 16,
  P: 8,
  Q: 16,
};

const TFORM = /^(\d*)([LXBIJKAEDCMPQ])([LBIJKAEDCM]?)/;

/** Columns of the table in their order; refused when they do not fill NAXIS1 exactly. */
export function tableColumns(hdu: Hdu, name: string): readonly Column[] {
  const { header, axes } = hdu;
  const fields = integerCard(header, 'TFIELDS', { from: 0, to: 999 }, name);
  const columns: Column[] = [];
  let offset = 0;
  for (let field = 1; field <= fields; field++) {
    const form = textCard(header, `TFORM${field}`) ?? '';
    const match = TFORM.exec(form);
    if (match === null)
      throw damaged(
        name,
        `card TFORM${field} of extension ${hdu.index} holds ${shown(form)}, expected a column format`,
      );
    const [, count, letter, element] = match;
    const repeat = count === '' ? 1 : Number(count);
    const variable = letter === 'P' || letter === 'Q' ? letter : null;
    columns.push({
      name: (textCard(header, `TTYPE${field}`) ?? '').toUpperCase(),
      type: variable === null ? letter : element,
      variable,
      repeat,
      offset,
    });
    offset += letter === 'X' ? Math.ceil(repeat / 8) : repeat * ELEMENT_BYTES[letter];
  }
  if (offset !== axes[0])
    throw damaged(name, `the columns of extension ${hdu.index} take ${offset} bytes a row, its NAXIS1 says ${axes[0]}`);
  return columns;
}
