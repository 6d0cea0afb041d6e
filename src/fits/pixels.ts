/** Native pixel storage: a frame keeps what the camera wrote (Uint16 stays Uint16); 64-bit integers become Float64. */
export type PixelArray =
  | Uint8Array
  | Int8Array
  | Uint16Array
  | Int16Array
  | Uint32Array
  | Int32Array
  | Float32Array
  | Float64Array;
