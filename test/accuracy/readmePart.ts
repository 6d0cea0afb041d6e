/** The part of the README that `npm run accuracy -- --write` writes. */
const BEGIN = '<!-- accuracy: written by `npm run accuracy -- --write` -->';
const END = '<!-- accuracy: end -->';

/** The README with the text between the two marks replaced. */
export function withAccuracy(readme: string, text: string): string {
  const from = readme.indexOf(BEGIN);
  const to = readme.indexOf(END);
  if (from < 0 || to < from) throw new Error(`README.md has not the lines "${BEGIN}" and "${END}"`);
  return `${readme.slice(0, from + BEGIN.length)}\n\n${text.trim()}\n\n${readme.slice(to)}`;
}
