/** Nodes in sqrt(x): dense where the curve bends. */
export const NODES = [0, 0.4, 0.75, 1.1, 1.6, 2.2, 2.6, 3, 3.4, 3.8, 4.3, 5, 6.5];
/** A function kept at the nodes it was asked for. */
export function onNodes<T>(make: (s: number) => T): (s: number) => T {
  const kept = new Map<number, T>();
  return (s) => {
    const had = kept.get(s);
    if (had !== undefined) return had;
    const made = make(s);
    kept.set(s, made);
    return made;
  };
}

/** Index of the node at or below s, with one above it. */
export function intervalOf(s: number): number {
  let i = 0;
  while (i < NODES.length - 2 && s >= NODES[i + 1]) i++;
  return i;
}
