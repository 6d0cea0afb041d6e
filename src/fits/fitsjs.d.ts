/** The part of fitsjs that is used here: its header card table. The library ships no types. */
declare module 'fitsjs' {
  interface StoredCard {
    index: number;
    value: unknown;
    comment: string;
  }
  // eslint-disable-next-line @typescript-eslint/no-unused-vars -- a class is how the library's constructor is typed
  class Header {
    constructor(block: string);
    cards: Record<string, StoredCard>;
    maxLines: number;
    VerifyFns: Record<string, (value: unknown) => unknown>;
    get(key: string): unknown;
    set(key: string, value: unknown, comment?: string): number;
    contains(key: string): boolean;
    readLine(line: string): void;
  }
  const fitsjs: { astro: { FITS: { Header: typeof Header } } };
  export default fitsjs;
}
