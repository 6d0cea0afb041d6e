import type { CardValue } from '../fits/cardValue.ts';
import { shown } from '../fits/damage.ts';
import { type Header, valueOf } from '../fits/header.ts';
import { degreesOf, numberOf } from './angles.ts';
import type { FrameFacts, RowOrder, Told } from './frame.ts';

/**
 * What a header tells of camera, optics, pointing and time. Names: SBFITSEXT 1.0 (an open guideline of camera makers),
 * FITS 4.0 (DATE-OBS), and keywords seen in real headers (de facto; optics.md, section 5). The first keyword that holds a
 * sensible value wins; a senseless one is noted and passed over.
 */
const ALIASES = {
  camera: ['INSTRUME', 'CAMERA', 'DETNAM', 'DETECTOR'],
  telescope: ['TELESCOP'],
  object: ['OBJECT'],
  filter: ['FILTER', 'FILTER1', 'FILTNAM'],
  pixelUm: ['XPIXSZ', 'PIXSIZE1', 'XPIXELSZ', 'PIXSIZE', 'PIXSZ'],
  binning: ['XBINNING', 'BINX', 'CCDXBIN', 'BINNING', 'CCDSUM'],
  readNoiseE: ['RDNOISE', 'READNOIS', 'RON'],
  pedestalAdu: ['PEDESTAL'],
  saturationAdu: ['SATURATE', 'SATLEVEL'],
  focalLengthMm: ['FOCALLEN', 'FOCALLENGTH', 'FOCAL'],
  apertureMm: ['APTDIA', 'APERTDIA'],
  exposureS: ['EXPTIME', 'EXPOSURE', 'EXP_TIME', 'ITIME'],
  focusPosition: ['FOCPOS', 'FOCUSPOS', 'FOCUSER'],
  focusStepUm: ['FOCUSSZ'],
  focusTemperatureC: ['FOCTEMP', 'FOCUSTEM'],
  ambientTemperatureC: ['AMBTEMP', 'AMB-TEMP', 'AMBIENT', 'AOCAMBT', 'AIRTEMP', 'OUTTEMP', 'EXTTEMP'],
  sensorTemperatureC: ['CCD-TEMP', 'CCDTEMP', 'DET-TEMP', 'SENSTEMP'],
  altitudeDeg: ['CENTALT', 'OBJCTALT', 'TELALT'],
  azimuthDeg: ['CENTAZ', 'OBJCTAZ', 'TELAZ'],
  rotatorDeg: ['ROTATANG', 'ROTATOR', 'ROTANTANG', 'ROTANG'],
} as const satisfies Partial<Record<keyof FrameFacts, readonly string[]>>;

type AliasName = keyof typeof ALIASES;

/** Outside these limits a value is nonsense (0 is what drivers write for 'unknown'), not a telescope or camera. */
const SENSIBLE: Partial<Record<AliasName, readonly [number, number]>> = {
  pixelUm: [0.5, 200],
  binning: [1, 64],
  readNoiseE: [0.01, 1000],
  saturationAdu: [1, 2 ** 32],
  focalLengthMm: [20, 200_000],
  apertureMm: [10, 50_000],
  exposureS: [0, 1e6],
  focusStepUm: [0.001, 1000],
  focusTemperatureC: [-90, 70],
  ambientTemperatureC: [-90, 70],
  sensorTemperatureC: [-200, 80],
  altitudeDeg: [-90, 90],
  azimuthDeg: [-360, 720],
  rotatorDeg: [-360, 720],
};

/** A name longer than this is no name; strings over CONTINUE cards have no limit of their own. */
const LONGEST_TEXT = 200;

/** Reads facts from several headers: the image's own first, then the primary's. */
class FactReader {
  readonly headers: readonly Header[];
  readonly notes: string[] = [];

  constructor(headers: readonly Header[]) {
    this.headers = headers;
  }

  value(keyword: string): Exclude<CardValue, null> | undefined {
    for (const header of this.headers) {
      const value = valueOf(header, keyword);
      if (value !== undefined) return value;
    }
    return undefined;
  }

  comment(keyword: string): string {
    for (const header of this.headers) if (header.cards.has(keyword)) return header.cards.get(keyword)?.comment ?? '';
    return '';
  }

  text(name: AliasName): Told<string> | null {
    for (const keyword of ALIASES[name]) {
      const value = this.value(keyword);
      if (value === undefined || typeof value === 'boolean') continue;
      const text = String(value).trim();
      if (text !== '') return { value: text.slice(0, LONGEST_TEXT), keyword };
    }
    return null;
  }

  number(name: AliasName, read: (value: Exclude<CardValue, null>) => number | null = numberOf): Told<number> | null {
    const [least, most] = SENSIBLE[name] ?? [-Infinity, Infinity];
    let found: Told<number> | null = null;
    for (const keyword of ALIASES[name]) {
      const raw = this.value(keyword);
      if (raw === undefined || raw === '') continue;
      const value = read(raw);
      if (value === null || !(value >= least && value <= most)) {
        this.notes.push(`${keyword} is ${shown(raw)}, which cannot be right and was not used`);
      } else if (found === null) {
        found = { value, keyword };
      } else if (Math.abs(value - found.value) > 1e-3 * Math.max(1, Math.abs(found.value))) {
        this.notes.push(`${keyword} is ${value} but ${found.keyword} is ${found.value}: ${found.keyword} was used`);
      }
    }
    return found;
  }
}

/** XBINNING 2, '2x2', '2 2'. */
function binningOf(value: Exclude<CardValue, null>): number | null {
  return typeof value === 'string' ? numberOf(value.split(/[x, ]/i)[0]) : numberOf(value);
}

/**
 * EGAIN is e-/ADU. GAIN is e-/ADU in professional headers and a unitless setting in amateur ones: it counts only where its
 * comment names electrons.
 */
function gain(reader: FactReader): Told<number> | null {
  for (const keyword of ['EGAIN', 'GAIN']) {
    const value = numberOf(reader.value(keyword) ?? '');
    if (value === null || value <= 0 || value > 1000) continue;
    if (keyword === 'EGAIN' || /\be-|electron/i.test(reader.comment(keyword))) return { value, keyword };
  }
  return null;
}

const ISO_DATE = /^\d{4}-\d{2}-\d{2}(T\d{2}:\d{2}(:\d{2}(\.\d*)?)?)?Z?$/;
/** FITS before 1999: day/month/year of the twentieth century. */
const OLD_DATE = /^(\d{2})\/(\d{2})\/(\d{2})$/;
const TIME = /^\d{1,2}:\d{2}(:\d{2}(\.\d*)?)?$/;

function dateObs(reader: FactReader): Told<string> | null {
  const raw = reader.value('DATE-OBS');
  if (typeof raw !== 'string' || raw.trim() === '') return null;
  const old = OLD_DATE.exec(raw.trim());
  let date = old === null ? raw.trim().replace(' ', 'T') : `19${old[3]}-${old[2]}-${old[1]}`;
  if (!date.includes('T')) {
    for (const keyword of ['TIME-OBS', 'UTSTART', 'UT']) {
      const time = reader.value(keyword);
      if (typeof time !== 'string' || !TIME.test(time.trim())) continue;
      date = `${date}T${time.trim().padStart(8, '0')}`;
      break;
    }
  }
  if (ISO_DATE.test(date) && !Number.isNaN(Date.parse(date.length > 10 && !date.endsWith('Z') ? `${date}Z` : date)))
    return { value: date, keyword: 'DATE-OBS' };
  reader.notes.push(`DATE-OBS is ${shown(raw)}, which is no date and was not used`);
  return null;
}

function pierSide(reader: FactReader): Told<'east' | 'west'> | null {
  const keyword = 'PIERSIDE';
  const text = String(reader.value(keyword) ?? '').toLowerCase();
  if (/^(pier)?e(ast)?$/.test(text)) return { value: 'east', keyword };
  return /^(pier)?w(est)?$/.test(text) ? { value: 'west', keyword } : null;
}

function rowOrder(reader: FactReader): Told<RowOrder> | null {
  const keyword = 'ROWORDER';
  const raw = reader.value(keyword);
  if (raw === undefined) return null;
  const text = String(raw).toUpperCase().replace(/[ _]/g, '-');
  if (text === 'TOP-DOWN' || text === 'BOTTOM-UP') return { value: text, keyword };
  reader.notes.push(`ROWORDER is ${shown(raw)}, expected TOP-DOWN or BOTTOM-UP: not used`);
  return null;
}

/** Altitude from its own keywords, or from the air mass (plane-parallel: 0.3 degrees off at 15 degrees of altitude). */
function altitude(reader: FactReader): Told<number> | null {
  const told = reader.number('altitudeDeg', degreesOf);
  if (told !== null) return told;
  const airmass = numberOf(reader.value('AIRMASS') ?? '');
  if (airmass === null || airmass < 1 || airmass > 40) return null;
  return { value: (Math.asin(1 / airmass) * 180) / Math.PI, keyword: 'AIRMASS' };
}

/** XPIXSZ is the size after binning by the guideline, but some drivers write the unbinned one. */
function checkPixelSize(reader: FactReader, pixel: Told<number> | null, binning: Told<number> | null): void {
  const second = numberOf(reader.value('YPIXSZ') ?? '');
  if (pixel === null) return;
  if (second !== null && second > 0 && Math.abs(second - pixel.value) > 0.01 * pixel.value)
    reader.notes.push(`the pixels are not square: XPIXSZ ${pixel.value}, YPIXSZ ${second}`);
  if (binning === null || binning.value === 1) return;
  const unbinned = pixel.value / binning.value;
  reader.notes.push(
    `${pixel.keyword} ${pixel.value} um was taken as the size after ${binning.value}x binning (${round(unbinned)} um on the chip)` +
      (unbinned < SMALLEST_PIXEL_UM ? ', which is smaller than any pixel made: it may be the unbinned size' : ''),
  );
}

/** No sensor used on telescopes has smaller pixels. From memory. */
const SMALLEST_PIXEL_UM = 0.9;
const round = (value: number): number => Number(value.toPrecision(4));

/** Focal length over aperture: refused by no one, but said when it is no telescope's. */
function checkFocalRatio(reader: FactReader, focal: Told<number> | null, aperture: Told<number> | null): void {
  if (focal === null || aperture === null) return;
  const ratio = focal.value / aperture.value;
  if (ratio < 1 || ratio > 40)
    reader.notes.push(
      `${focal.keyword} ${focal.value} and ${aperture.keyword} ${aperture.value} make f/${round(ratio)}, which is no telescope's`,
    );
}

/** Facts of a frame but for its colour mosaic, and what was odd about them. */
export function readFacts(headers: readonly Header[]): { facts: FrameFacts; notes: readonly string[] } {
  const reader = new FactReader(headers);
  const pixelUm = reader.number('pixelUm');
  const binning = reader.number('binning', binningOf);
  const focalLengthMm = reader.number('focalLengthMm');
  const apertureMm = reader.number('apertureMm');
  checkPixelSize(reader, pixelUm, binning);
  checkFocalRatio(reader, focalLengthMm, apertureMm);
  const facts: FrameFacts = {
    camera: reader.text('camera'),
    telescope: reader.text('telescope'),
    object: reader.text('object'),
    pixelUm,
    binning,
    gainEPerAdu: gain(reader),
    readNoiseE: reader.number('readNoiseE'),
    pedestalAdu: reader.number('pedestalAdu'),
    saturationAdu: reader.number('saturationAdu'),
    focalLengthMm,
    apertureMm,
    exposureS: reader.number('exposureS'),
    dateObs: dateObs(reader),
    filter: reader.text('filter'),
    focusPosition: reader.number('focusPosition'),
    focusStepUm: reader.number('focusStepUm'),
    focusTemperatureC: reader.number('focusTemperatureC'),
    ambientTemperatureC: reader.number('ambientTemperatureC'),
    sensorTemperatureC: reader.number('sensorTemperatureC'),
    altitudeDeg: altitude(reader),
    azimuthDeg: reader.number('azimuthDeg', degreesOf),
    pierSide: pierSide(reader),
    rotatorDeg: reader.number('rotatorDeg', degreesOf),
    rowOrder: rowOrder(reader),
    mosaic: null,
  };
  return { facts, notes: reader.notes };
}

/** Facts of a file that tells none (PNG, TIFF but for its row order). */
export const NO_FACTS: FrameFacts = readFacts([]).facts;
