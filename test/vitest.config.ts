import { fileURLToPath } from 'node:url';
import { defineConfig } from 'vitest/config';

export default defineConfig({
  root: fileURLToPath(new URL('..', import.meta.url)),
  test: {
    include: ['test/**/*.test.ts'],
    // Twelve drawn skies take half a minute on a quiet machine, and more than a whole one where others use it too.
    testTimeout: 180_000,
    hookTimeout: 240_000,
    reporters: ['default'],
  },
});
