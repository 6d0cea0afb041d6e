import { get, set } from './linear';

/** The k-th smallest (0-based) of a list, which is reordered (Hoare 1961), as src/numeric/statistics.ts does. */
export function kthSmallest(list: usize, k: i32, length: i32): f64 {
  let left = 0;
  let right = length - 1;
  while (right > left) {
    const a = get(list, left);
    const b = get(list, (left + right) >> 1);
    const c = get(list, right);
    const pivot = a < b ? (b < c ? b : a < c ? c : a) : a < c ? a : b < c ? c : b;
    let i = left;
    let j = right;
    while (i <= j) {
      while (get(list, i) < pivot) i++;
      while (get(list, j) > pivot) j--;
      if (i <= j) {
        const swap = get(list, i);
        set(list, i, get(list, j));
        set(list, j, swap);
        i++;
        j--;
      }
    }
    if (k <= j) right = j;
    else if (k >= i) left = i;
    else return get(list, k);
  }
  return get(list, k);
}
