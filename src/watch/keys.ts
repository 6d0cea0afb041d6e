/** Single keys on the terminal; returns a function that puts the terminal back. */
export function listenToKeys(
  input: NodeJS.ReadStream,
  keys: Readonly<Record<string, () => void>>,
  onInterrupt: () => void,
): () => void {
  if (!input.isTTY) return () => undefined;
  const listen = (bytes: Buffer): void => {
    for (const key of bytes.toString('utf8')) {
      if (key === CTRL_C) onInterrupt();
      else keys[key.toLowerCase()]?.();
    }
  };
  input.setRawMode(true);
  input.on('data', listen);
  input.resume();
  return () => {
    input.off('data', listen);
    input.setRawMode(false);
    input.pause();
  };
}

/** In raw mode Ctrl-C is a byte, not a signal. */
const CTRL_C = '\u0003';
