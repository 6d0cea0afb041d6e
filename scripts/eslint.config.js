import tseslint from 'typescript-eslint';

export default tseslint.config(
  { ignores: ['**/dist/**', 'src/kernels/assembly/**', '**/node_modules/**', '**/*.mjs', 'scripts/eslint.config.js'] },
  ...tseslint.configs.strictTypeChecked,
  {
    languageOptions: {
      parserOptions: {
        project: ['test/tsconfig.json', 'src/page/tsconfig.json'],
        tsconfigRootDir: new URL('..', import.meta.url).pathname,
      },
    },
    rules: {
      // Numbers in messages are the point of a measuring program.
      '@typescript-eslint/restrict-template-expressions': ['error', { allowNumber: true, allowBoolean: true }],
      '@typescript-eslint/no-confusing-void-expression': ['error', { ignoreArrowShorthand: true }],
      // Data from a header or JSON is checked at run time even where the type says it cannot be otherwise.
      '@typescript-eslint/no-unnecessary-condition': 'off',
    },
  },
);
