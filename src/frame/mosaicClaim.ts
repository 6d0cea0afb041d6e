import { type Header, valueOf } from '../fits/header.ts';
import type { PixelArray } from '../fits/pixels.ts';
import { numberOf } from './angles.ts';
import type { FrameFacts, GreenSites, Mosaic } from './frame.ts';
import { greenEvidence, greenParity, patternFrom, rowFlippedPattern, shiftedPattern } from './mosaic.ts';

/** What header and pixels together say about a colour mosaic. */
export interface MosaicVerdict {
  readonly mosaic: GreenSites | null;
  /** The facts with mosaic, filter and row order as they follow. */
  readonly facts: FrameFacts;
  readonly notes: readonly string[];
}

/** Keywords that hold a pattern like RGGB; FILTER does in some raw frames. */
const KEYWORDS = ['BAYERPAT', 'BAYRPAT', 'COLORTYP', 'CFAPATT', 'CFA-PAT', 'FILTER'];

interface Claim {
  readonly keyword: string;
  /** As written, seen from the corner that XBAYROFF and YBAYROFF name. */
  readonly pattern: Mosaic['pattern'];
}

function claimOf(headers: readonly Header[]): Claim | null {
  for (const header of headers) {
    for (const keyword of KEYWORDS) {
      const pattern = patternFrom(String(valueOf(header, keyword) ?? '').trim());
      if (pattern === null) continue;
      const offset = (name: string): number => Math.round(numberOf(valueOf(header, name) ?? 0) ?? 0);
      return { keyword, pattern: shiftedPattern(pattern, offset('XBAYROFF'), offset('YBAYROFF')) };
    }
  }
  return null;
}

interface FramePixels {
  readonly pixels: PixelArray;
  readonly width: number;
  readonly height: number;
  /** Stored pixel that became (0, 0) when overscan was cut off, and the height the pattern was counted in. */
  readonly origin?: { readonly x: number; readonly y: number; readonly fullHeight: number };
}

/** Settles pattern and row order: the pattern names colours as the picture is shown, the pixels say which sites are green. */
function settle(claim: Claim, facts: FrameFacts, frame: FramePixels): MosaicVerdict {
  const evidence = greenEvidence(frame.pixels, frame.width, frame.height, true);
  const origin = frame.origin ?? { x: 0, y: 0, fullHeight: frame.height };
  const asStored = shiftedPattern(claim.pattern, origin.x, origin.y);
  const flipped = shiftedPattern(rowFlippedPattern(claim.pattern, origin.fullHeight), origin.x, origin.y);
  const told = facts.rowOrder?.value;
  const expected = told === 'TOP-DOWN' ? asStored : flipped;
  const { keyword } = claim;
  const filter = facts.filter?.keyword === keyword ? null : facts.filter;
  const word = `${keyword} ${claim.pattern.join('')}`;
  const verdict = (
    pattern: Mosaic['pattern'],
    parity: 0 | 1,
    fromData: boolean,
    notes: string[],
    more?: Partial<FrameFacts>,
  ): MosaicVerdict => ({
    mosaic: { greenParity: parity, fromData },
    facts: { ...facts, filter, mosaic: { pattern, keyword }, ...more },
    notes,
  });
  if (evidence.parity === null) {
    const note = `the pixels do not show which mosaic sites are green: ${word} was believed`;
    return verdict(expected, greenParity(expected) ?? 0, false, [note]);
  }
  const fits = (pattern: Mosaic['pattern']): boolean => greenParity(pattern) === evidence.parity;
  if (fits(asStored) && fits(flipped)) return verdict(expected, evidence.parity, true, []);
  const bottomUp = fits(flipped);
  const pattern = bottomUp ? flipped : asStored;
  const order = bottomUp ? 'BOTTOM-UP' : 'TOP-DOWN';
  if (told === order) return verdict(pattern, evidence.parity, true, []);
  if (told !== undefined) {
    const note = `ROWORDER says ${told}, but with ${word} the green pixels stand where they would if the rows were ${order}: the pixels were believed for the colours`;
    return verdict(pattern, evidence.parity, true, [note]);
  }
  if (bottomUp) {
    const note = `no ROWORDER, but ${word} fits the green pixels only with the rows stored bottom-up`;
    return verdict(pattern, evidence.parity, true, [note], { rowOrder: { value: 'BOTTOM-UP', keyword } });
  }
  // The writer may have meant the stored order: that says nothing about the screen.
  const note = `no ROWORDER; ${word} fits the green pixels in stored order, as if the rows were stored top-down`;
  return verdict(pattern, evidence.parity, true, [note]);
}

/** Compares what the header claims about a mosaic with the pixels. `planes` above 1: colours are already apart. */
export function judgeMosaic(
  headers: readonly Header[],
  facts: FrameFacts,
  frame: FramePixels,
  planes: number,
): MosaicVerdict {
  const mono = (notes: string[]): MosaicVerdict => ({ mosaic: null, facts, notes });
  if (planes > 1) return mono([]);
  const claim = claimOf(headers);
  if (claim !== null) {
    const binned = (facts.binning?.value ?? 1) > 1;
    if (!binned) return settle(claim, facts, frame);
    return mono([
      `${claim.keyword} names a colour mosaic, but binning by ${facts.binning?.value} mixed its colours: treated as mono`,
    ]);
  }
  const evidence = greenEvidence(frame.pixels, frame.width, frame.height, false);
  if (evidence.parity === null || !evidence.plainlyMosaic) return mono([]);
  return {
    mosaic: { greenParity: evidence.parity, fromData: true },
    facts,
    notes: ['the header names no colour mosaic, but the pixels show one: only its green pixels are used'],
  };
}
