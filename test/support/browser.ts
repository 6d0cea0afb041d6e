import { existsSync } from 'node:fs';
import { type Browser, chromium } from 'playwright-core';
import type { TestContext } from 'vitest';
import { skipUnless } from './testData.ts';

const CHROMIUM = '/usr/bin/chromium';

/** Debian's browser without a window, or skips the test. */
export async function openBrowser(context: TestContext, ...more: string[]): Promise<Browser> {
  skipUnless(context, existsSync(CHROMIUM), `${CHROMIUM} is not installed`);
  return chromium.launch({
    executablePath: CHROMIUM,
    args: [
      '--no-sandbox',
      '--disable-gpu',
      '--disable-quic',
      '--no-first-run',
      '--disable-background-networking',
      '--disable-component-update',
      '--disable-sync',
      ...more,
    ],
  });
}
