/** Said wherever advice is given. Laser classes: IEC 60825-1. */
export const SHORT_CAUTION =
  "Never aim near the Sun; keep nothing above an open mirror; follow the maker's instructions.";
/** The same where the full cautions stand in the page beside it. */
export const SHORT_CAUTION_BESIDE_PAGE = `${SHORT_CAUTION} More in report.html.`;

/** A quick check writes no page. */
export const shortCaution = ({ settings }: { readonly settings: Readonly<Record<string, unknown>> }): string =>
  settings['quick'] === true ? SHORT_CAUTION : SHORT_CAUTION_BESIDE_PAGE;

export const CAUTIONS: readonly string[] = [
  'The Sun: never uncover or aim the telescope near it. An open mirror left outdoors by day can set things alight; cap the tube.',
  'Collimation lasers: class 2 of IEC 60825-1 only (visible, under 1 mW). Cap the tube when switching on, never look into the beam or its reflection, keep people, vehicles and aircraft out of it.',
  'An open primary: keep the tube level or slightly nose-down while working at the flat, hold the flat, tether every key, and take all tools away before tilting the tube up. From behind, the closed cell keeps falling things off the mirror.',
  'Screws: small steps, never forced; tight clips and screws pinch the mirror. Do not back a screw out of its cell.',
  'Heavy tubes: take the tube off before the counterweights, lock or balance the axes before loosening anything, keep clear of a slipping clutch.',
  'Mains outdoors: residual-current protected, outdoor-rated and dry, or low voltage with a fuse. Stop for rain and lightning.',
  "Follow the maker's instructions and local rules; ask a qualified person where in doubt.",
];
