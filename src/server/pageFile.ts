import { readFileSync } from 'node:fs';
import { EXIT, UserError } from '../errors.ts';

/** The live page: one document with its script and style inside, bundled by the build beside this file. */
export function readPage(): string {
  try {
    return readFileSync(new URL('./livePage.html', import.meta.url), 'utf8');
  } catch (cause) {
    throw new UserError('the live page is missing: npm run build makes it', EXIT.wrongUsage, { cause });
  }
}
