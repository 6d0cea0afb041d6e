import { HtmlValidate } from 'html-validate';

/** What html-validate's recommended, accessibility and document rules find wrong with a page, a line each. */
export async function htmlFaults(html: string): Promise<string[]> {
  const validator = new HtmlValidate({
    extends: ['html-validate:recommended', 'html-validate:a11y', 'html-validate:document'],
    rules: {
      // Style of writing, not validity: lines are long where tables are; the page carries its own style sheet.
      'long-title': 'off',
      'no-inline-style': 'off',
      'no-trailing-whitespace': 'off',
    },
  });
  const { results } = await validator.validateString(html);
  return results.flatMap((result) => result.messages.map((m) => `${m.line}: ${m.ruleId}: ${m.message}`));
}
