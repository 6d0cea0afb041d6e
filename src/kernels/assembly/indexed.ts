import { CELL_LIST, FOUND, GREYS, INDEX_OF, PALETTE, VOTES } from './layout';

/** The loops over pixels of src/report/indexed.ts. */

const CELLS: i32 = 1 << 15;

/** Cell of the colour at an address; -1 where it is a pure grey. */
// @ts-ignore: decorators stand on functions here
@inline
function cellAt(at: usize): i32 {
  const r = <i32>load<u8>(at);
  const g = <i32>load<u8>(at + 1);
  const b = <i32>load<u8>(at + 2);
  return r == g && r == b ? -1 : ((r >> 3) << 10) | ((g >> 3) << 5) | (b >> 3);
}

/** Counts coloured pixels by cell and lists the cells found; returns how many these are. */
export function countColours(rgb: usize, count: i32): i32 {
  memory.fill(FOUND, 0, CELLS << 2);
  let listed = 0;
  const end = rgb + 3 * <usize>count;
  for (let at = rgb; at < end; at += 3) {
    const cell = cellAt(at);
    if (cell < 0) continue;
    const place = FOUND + ((<usize>cell) << 2);
    const before = load<u32>(place);
    store<u32>(place, before + 1);
    if (before == 0) store<u16>(CELL_LIST + (<usize>(listed++) << 1), <u16>cell);
  }
  return listed;
}

/** The colour that most of a cell's pixels have, of every `oneIn`-th coloured one, into the palette. */
export function exactColours(rgb: usize, count: i32, oneIn: i32): void {
  memory.fill(VOTES, 0, 256 << 2);
  let k = 0;
  const end = rgb + 3 * <usize>count;
  for (let at = rgb; at < end; at += 3) {
    const cell = cellAt(at);
    if (cell < 0 || k++ % oneIn != 0) continue;
    const index = <i32>load<i16>(INDEX_OF + ((<usize>cell) << 1));
    if (index < 0) continue;
    const p = PALETTE + 3 * <usize>index;
    const place = VOTES + ((<usize>index) << 2);
    const votes = load<i32>(place);
    const same = load<u8>(p) == load<u8>(at) && load<u8>(p + 1) == load<u8>(at + 1) && load<u8>(p + 2) == load<u8>(at + 2);
    if (same) store<i32>(place, votes + 1);
    else if (votes > 0) store<i32>(place, votes - 1);
    else {
      memory.copy(p, at, 3);
      store<i32>(place, 1);
    }
  }
}

/** Cells of the list get the palette's colour nearest to their middle. */
export function nearestColours(from: i32, to: i32, length: i32): void {
  for (let i = from; i < to; i++) {
    const cell = <i32>load<u16>(CELL_LIST + ((<usize>i) << 1));
    const r = ((cell >> 10) << 3) + 4;
    const g = (((cell >> 5) & 31) << 3) + 4;
    const b = ((cell & 31) << 3) + 4;
    let best = 0;
    let least = i32.MAX_VALUE;
    for (let k = 0; k < length; k++) {
      const p = PALETTE + 3 * <usize>k;
      const dr = <i32>load<u8>(p) - r;
      const dg = <i32>load<u8>(p + 1) - g;
      const db = <i32>load<u8>(p + 2) - b;
      const distance = dr * dr + dg * dg + db * db;
      if (distance < least) {
        least = distance;
        best = k;
      }
    }
    store<i16>(INDEX_OF + ((<usize>cell) << 1), <i16>best);
  }
}

/** Indices of the pixels [from, to). */
export function indexPixels(rgb: usize, from: i32, to: i32, indices: usize): void {
  for (let i = from; i < to; i++) {
    const at = rgb + 3 * <usize>i;
    const cell = cellAt(at);
    const index = cell < 0 ? load<u8>(GREYS + <usize>load<u8>(at)) : <u8>load<i16>(INDEX_OF + ((<usize>cell) << 1));
    store<u8>(indices + <usize>i, index);
  }
}
