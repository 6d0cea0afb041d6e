const NAME = /^[\p{L}\p{N}](?:[\p{L}\p{N} _-]{0,38}[\p{L}\p{N}_-])?$/u;
/** Names that Windows keeps for devices. */
const DEVICE = /^(con|prn|aux|nul|com\d|lpt\d)$/i;

/** Whether a rig can be so named: the name is the file's, on every platform. */
export function isRigName(name: string): boolean {
  return NAME.test(name) && !DEVICE.test(name);
}
