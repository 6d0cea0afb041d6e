/** A published source and what the program takes from it. */
export interface Citation {
  /** BibTeX entry type and key. */
  readonly type: 'article' | 'inproceedings' | 'book' | 'manual' | 'misc';
  readonly key: string;
  readonly fields: Readonly<Record<string, string>>;
  readonly usedFor: string;
}

/** The published methods the program rests on, in the order of the chain. */
export const SOURCES: readonly Citation[] = [
  {
    type: 'manual',
    key: 'fits40',
    usedFor: 'reading frames',
    fields: {
      author: '{IAU FITS Working Group}',
      title: 'Definition of the Flexible Image Transport System (FITS), Standard Document Version 4.0',
      organization: 'International Astronomical Union',
      year: '2018',
    },
  },
  article('bertin1996', 'the mesh of sky levels', {
    author: 'Bertin, E. and Arnouts, S.',
    title: '{SExtractor}: Software for source extraction',
    journal: 'Astronomy and Astrophysics Supplement Series',
    volume: '117',
    pages: '393',
    year: '1996',
  }),
  article('marquardt1963', 'fitting star profiles', {
    author: 'Marquardt, D. W.',
    title: 'An Algorithm for Least-Squares Estimation of Nonlinear Parameters',
    journal: 'Journal of the Society for Industrial and Applied Mathematics',
    volume: '11',
    pages: '431',
    year: '1963',
  }),
  article('mackay1992', 'which of several causes made the stars long', {
    author: 'MacKay, D. J. C.',
    title: 'Bayesian Interpolation',
    journal: 'Neural Computation',
    volume: '4',
    pages: '415',
    year: '1992',
  }),
  article('white1982', 'errors of fits whose model is not quite right', {
    author: 'White, H.',
    title: 'Maximum Likelihood Estimation of Misspecified Models',
    journal: 'Econometrica',
    volume: '50',
    pages: '1',
    year: '1982',
  }),
  article('moffat1969', 'the wings of stars (--moffat)', {
    author: 'Moffat, A. F. J.',
    title:
      'A Theoretical Investigation of Focal Stellar Images in the Photographic Emulsion and Application to Photographic Photometry',
    journal: 'Astronomy and Astrophysics',
    volume: '3',
    pages: '455',
    year: '1969',
  }),
  article('refregier2003', 'third-order shapes', {
    author: 'Refregier, A.',
    title: 'Shapelets -- {I}. A method for image analysis',
    journal: 'Monthly Notices of the Royal Astronomical Society',
    volume: '338',
    pages: '35',
    year: '2003',
  }),
  article('massey2005', 'third-order shapes', {
    author: 'Massey, R. and Refregier, A.',
    title: 'Polar shapelets',
    journal: 'Monthly Notices of the Royal Astronomical Society',
    volume: '363',
    pages: '197',
    year: '2005',
  }),
  {
    type: 'inproceedings',
    key: 'shack1980',
    usedFor: 'what misalignment does over a field',
    fields: {
      author: 'Shack, R. V. and Thompson, K.',
      title: 'Influence of alignment errors of a telescope system on its aberration field',
      booktitle: 'Proceedings of the SPIE',
      volume: '251',
      pages: '146',
      year: '1980',
    },
  },
  article('schechter2011', 'what misalignment does over a field', {
    author: 'Schechter, P. L. and Levinson, R. S.',
    title: 'Generic Misalignment Aberration Patterns in Wide-Field Telescopes',
    journal: 'Publications of the Astronomical Society of the Pacific',
    volume: '123',
    pages: '812',
    year: '2011',
  }),
  {
    type: 'misc',
    key: 'jarvis2008',
    usedFor: 'fitting focus, tilt, astigmatism, coma, guiding and seeing to star shapes over the field',
    fields: {
      author: 'Jarvis, M. and Schechter, P. and Jain, B.',
      title: 'Telescope Optics and Weak Lensing: {PSF} Patterns due to Low Order Aberrations',
      eprint: '0810.0027',
      archiveprefix: 'arXiv',
      year: '2008',
    },
  },
  article('fried1966', 'long-exposure seeing', {
    author: 'Fried, D. L.',
    title: 'Optical Resolution Through a Randomly Inhomogeneous Medium for Very Long and Very Short Exposures',
    journal: 'Journal of the Optical Society of America',
    volume: '56',
    pages: '1372',
    year: '1966',
  }),
  article('noll1976', 'the order and scale of Zernike polynomials', {
    author: 'Noll, R. J.',
    title: 'Zernike polynomials and atmospheric turbulence',
    journal: 'Journal of the Optical Society of America',
    volume: '66',
    pages: '207',
    year: '1976',
  }),
  article('filippenko1982', 'atmospheric dispersion', {
    author: 'Filippenko, A. V.',
    title: 'The importance of atmospheric differential refraction in spectrophotometry',
    journal: 'Publications of the Astronomical Society of the Pacific',
    volume: '94',
    pages: '715',
    year: '1982',
  }),
  {
    type: 'misc',
    key: 'goldman2010',
    usedFor: 'the tolerance of focus over the field',
    fields: { author: 'Goldman, D. and Megdal, B.', howpublished: 'Sky \\& Telescope, August', year: '2010' },
  },
  {
    type: 'book',
    key: 'wilson2007',
    usedFor: "Marechal's criterion",
    fields: { author: 'Wilson, R. N.', title: 'Reflecting Telescope Optics {I}', publisher: 'Springer', year: '2007' },
  },
];

function article(key: string, usedFor: string, fields: Citation['fields']): Citation {
  return { type: 'article', key, usedFor, fields };
}

interface Tool {
  readonly name: string;
  readonly version: string;
}

/** How to name the program in a sentence. */
export const citationSentence = ({ version }: Tool): string =>
  `Collimation was measured with Starplumb, version ${version}.`;

/** `--cite`: the sentence, then the program and its sources as BibTeX. */
export function citationText(tool: Tool): string {
  const program: Citation = {
    type: 'misc',
    key: 'starplumb',
    usedFor: 'the program itself',
    fields: {
      author: '{The Starplumb developers}',
      title: 'Starplumb: collimation of Newtonian telescopes measured from ordinary subs',
      note: `Computer program, version ${tool.version}, MIT licence`,
    },
  };
  const head = [
    'Name the program and its version, and the methods your result rests on:',
    '',
    `  ${citationSentence(tool)}`,
    '',
    'As BibTeX:',
    '',
  ];
  return `${head.join('\n')}\n${[program, ...SOURCES].map(bibtex).join('\n')}`;
}

function bibtex({ type, key, fields, usedFor }: Citation): string {
  const lines = Object.entries(fields).map(([name, value]) => `  ${name} = {${value}},`);
  return `% ${usedFor}\n@${type}{${key},\n${lines.join('\n')}\n}\n`;
}
