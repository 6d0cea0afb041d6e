/** What the kernels use of the WebAssembly JavaScript interface; TypeScript knows it with the browser's library only. */
declare namespace WebAssembly {
  class Memory {
    constructor(descriptor: { initial: number; maximum: number; shared: true });
    readonly buffer: SharedArrayBuffer;
    grow(pages: number): number;
  }
  type Module = object;
  const Module: new (bytes: Uint8Array) => Module;
  class Instance {
    constructor(module: Module, imports: Readonly<Record<string, Readonly<Record<string, Memory>>>>);
    readonly exports: Readonly<Record<string, unknown>>;
  }
}
