import type { MeasureSettings } from '../../src/diagnosis/setupFromFrames.ts';
import { type Random, seededRandom } from '../../src/numeric/random.ts';
import { parseScenario, type Scenario } from '../../src/optics/scenario.ts';
import { COMA_UM, DISTORTION, focusZoneUm, TREFOIL_RMS_UM } from './tolerances.ts';

export type Kind = 'good' | 'single' | 'mixture';

/** What may be drawn wrong; two of them ('drift', 'jump') are the one cause 'tracking'. */
export type Fault =
  | 'miscollimation'
  | 'sensor-tilt'
  | 'corrector-spacing'
  | 'pinched-optics'
  | 'astigmatism'
  | 'drift'
  | 'jump'
  | 'dispersion'
  | 'defocus';

/** A case is a scenario of `starplumb synth`: any of them can be drawn and looked at by itself. */
export interface DrawnCase {
  readonly index: number;
  readonly kind: Kind;
  /** What was put in on purpose and in which multiple of its tolerance, about. */
  readonly intended: readonly { readonly fault: Fault; readonly ratio: number }[];
  readonly scenario: Scenario;
  /** What the user tells on the command line. */
  readonly settings: MeasureSettings;
  /** Subs taken at different foci on purpose: their defocus is no fault of the night. */
  readonly bracketed: boolean;
}

export interface FrameSize {
  readonly widthPx: number;
  readonly heightPx: number;
}

/** 6.5 megapixels. */
export const FRAME: FrameSize = { widthPx: 3124, heightPx: 2088 };
const PIXELS_UM = [2, 2.4, 2.9, 3.3, 3.76, 4.3, 4.63, 5.4, 5.94, 7.4, 9];
/** Stars at least this wide: the program says itself that it needs 2.0 px, on a mosaic 2.4 px. */
const LEAST_FWHM_PX = { mono: 2.4, mosaic: 3 } as const;

/** Of twenty cases ten are good, seven have one fault, three several. */
const KINDS: readonly Kind[] = [
  ...Array<Kind>(10).fill('good'),
  ...Array<Kind>(7).fill('single'),
  ...Array<Kind>(3).fill('mixture'),
];

/** Single faults in turn; the commoner ones more often. */
const SINGLES: readonly Fault[] = [
  'miscollimation',
  'sensor-tilt',
  'pinched-optics',
  'drift',
  'miscollimation',
  'corrector-spacing',
  'sensor-tilt',
  'jump',
  'miscollimation',
  'astigmatism',
  'pinched-optics',
  'miscollimation',
  'dispersion',
  'sensor-tilt',
  'corrector-spacing',
  'defocus',
];

const MIXED: readonly Fault[] = [
  'miscollimation',
  'sensor-tilt',
  'corrector-spacing',
  'pinched-optics',
  'drift',
  'jump',
];
const SMALL: readonly Fault[] = ['miscollimation', 'sensor-tilt', 'corrector-spacing', 'pinched-optics', 'drift'];

export function kindOf(index: number): Kind {
  return KINDS[index % KINDS.length];
}

function singleFaultOf(index: number): Fault {
  const perTurn = KINDS.filter((kind) => kind === 'single').length;
  const before = KINDS.slice(0, index % KINDS.length).filter((kind) => kind === 'single').length;
  return SINGLES[(Math.floor(index / KINDS.length) * perTurn + before) % SINGLES.length];
}

const between = (random: Random, from: number, to: number): number => from + (to - from) * random.uniform();
const logBetween = (random: Random, from: number, to: number): number => from * (to / from) ** random.uniform();
const pick = <T>(random: Random, values: readonly T[]): T => values[random.integer(values.length)];
const angle = (random: Random): number => between(random, 0, 360);
const sign = (random: Random): number => (random.uniform() < 0.5 ? -1 : 1);

/** Telescope, camera, night and stars, before anything is wrong. */
interface Ground {
  readonly apertureMm: number;
  readonly ratio: number;
  readonly magnification: number | null;
  readonly effectiveRatio: number;
  readonly seeingArcsec: number;
  readonly pixelUm: number;
  readonly mosaic: boolean;
  /** Width of the focus zone, um. */
  readonly zoneUm: number;
  /** Sigma of the seeing, arcseconds. */
  readonly sigmaArcsec: number;
  /** Half diagonal of the chip, mm. */
  readonly cornerMm: number;
}

function groundOf(random: Random, fault: Fault | null, frame: FrameSize): Ground {
  // An astigmatic pair of foci and a curved field belong to a corrected telescope here: a bare mirror's own are no fault.
  const needsCorrector = fault === 'corrector-spacing' || fault === 'astigmatism';
  const glass = between(random, needsCorrector ? 0.25 : 0, 1);
  const bare = glass < 0.25;
  const reducer = glass > 0.85;
  const apertureMm = pick(random, [150, 200, 200, 250, 300]);
  const fast = random.uniform() < 0.5;
  const plain = fast ? between(random, 3.9, 4.2) : between(random, 4.2, 6);
  const ratio = reducer ? between(random, 5.35, 6) : plain;
  const magnification = bare ? null : reducer ? 0.73 : pick(random, [1, 1, 0.95, 1.1]);
  const effectiveRatio = ratio * (magnification ?? 1);
  const seeingArcsec = fault === 'dispersion' ? between(random, 1.5, 2.6) : between(random, 1.5, 4.5);
  const mosaic = fault === 'dispersion' ? false : random.uniform() < 0.15;
  const arcsecPerUm = 206.264806 / (apertureMm * effectiveRatio);
  const least = LEAST_FWHM_PX[mosaic ? 'mosaic' : 'mono'];
  const fitting = PIXELS_UM.filter((um) => seeingArcsec / (arcsecPerUm * um) >= least);
  const usual = fitting.filter((um) => seeingArcsec / (arcsecPerUm * um) <= (random.uniform() < 0.1 ? 6 : 3.9));
  const pixelUm = usual.length > 0 ? pick(random, usual) : (fitting.at(-1) ?? PIXELS_UM[0]);
  return {
    apertureMm,
    ratio,
    magnification,
    effectiveRatio,
    seeingArcsec,
    pixelUm,
    mosaic,
    zoneUm: focusZoneUm(seeingArcsec, apertureMm, effectiveRatio),
    sigmaArcsec: seeingArcsec / 2.3548,
    cornerMm: (Math.hypot(frame.widthPx, frame.heightPx) / 2) * pixelUm * 1e-3,
  };
}

/** Parts of a scenario as they are put together; later checked by its schema. */
interface Parts {
  state: Record<string, unknown>;
  corrector: Record<string, unknown>;
  smear: Record<string, unknown>;
  altitudeDeg: number;
  filter: string;
}

/** Puts a fault of `ratio` tolerances in. */
function addFault(parts: Parts, fault: Fault, ratio: number, ground: Ground, random: Random): void {
  const { apertureMm, ratio: n, effectiveRatio } = ground;
  const variance = (): number => {
    const e = Math.min(0.6, ratio * DISTORTION);
    return (2 * ground.sigmaArcsec ** 2 * e) / (1 - e);
  };
  switch (fault) {
    case 'miscollimation': {
      // Coefficient of coma h/(32 N^3) back to the way h of the primary's axis.
      const axisMm = (ratio * COMA_UM * 32 * n ** 3) / 1000;
      const arcmin = (axisMm / (apertureMm * n)) * (10800 / Math.PI);
      if (random.uniform() < 0.8) parts.state['primaryTilt'] = { arcmin, directionDeg: angle(random) };
      else parts.state['primaryDecentre'] = { mm: axisMm, directionDeg: angle(random) };
      return;
    }
    case 'sensor-tilt':
      parts.state['sensorTilt'] = { umAcross: ratio * ground.zoneUm, directionDeg: angle(random) };
      return;
    case 'corrector-spacing': {
      const um = sign(random) * ratio * ground.zoneUm;
      parts.state['fieldCurvatureUm'] = um;
      // Ray-traced correctors at a wrong distance: the astigmatism follows the curvature, about half of it.
      if (random.uniform() < 0.5)
        parts.corrector['residualAstigmatismUmPerMm2'] = (0.5 * um) / (8 * effectiveRatio ** 2 * ground.cornerMm ** 2);
      return;
    }
    case 'pinched-optics':
      parts.state['trefoil'] = { rmsUm: ratio * TREFOIL_RMS_UM, directionDeg: angle(random) };
      return;
    case 'astigmatism':
      parts.state['astigmatism'] = { rmsUm: 0.06 * ratio, axisDeg: angle(random) };
      return;
    case 'drift':
      parts.smear['drift'] = { arcsec: Math.sqrt(12 * variance()), axisDeg: angle(random) };
      return;
    case 'jump': {
      const share = between(random, 0.15, 0.4);
      parts.smear['jump'] = {
        arcsec: Math.sqrt(variance() / (share * (1 - share))),
        directionDeg: angle(random),
        share,
      };
      return;
    }
    case 'dispersion':
      parts.altitudeDeg = between(random, 30, 42);
      parts.filter = pick(random, ['L', 'none']);
      return;
    case 'defocus':
      return; // The subs' own foci, below.
  }
}

interface Night {
  readonly subs: readonly Record<string, unknown>[];
  readonly bracketed: boolean;
}

/** One to three subs: all at one focus, or on purpose at foci 40 um and more apart. */
function nightOf(random: Random, ground: Ground, fault: Fault | null, ratio: number, smear: object): Night {
  const count = fault === 'astigmatism' ? pick(random, [2, 3]) : pick(random, [1, 1, 1, 1, 2, 2, 3, 3]);
  const apart = fault === 'astigmatism' || (count > 1 && random.uniform() < 0.5);
  // Imagers focus to about half of the seeing-limited zone (one sigma); the subs of a night share it.
  const halfZone = 0.5 * ground.zoneUm;
  const base = fault === 'defocus' ? sign(random) * ratio * halfZone : random.normal() * halfZone;
  const half = between(random, 21, 42);
  const place = (i: number): number => (count === 2 ? 2 * i - 1 : i - 1);
  const cloudy = random.uniform() < 0.1;
  // A jump may stand in one sub only; a drift grows alike in all.
  const jumpIn = 'jump' in smear && random.uniform() < 0.5 ? random.integer(count) : null;
  const subs = Array.from({ length: count }, (_, i) => ({
    focusUm: base + (count === 1 ? 0 : apart ? half * place(i) : between(random, -2, 2)),
    seeingArcsec: ground.seeingArcsec * Math.exp(0.08 * random.normal()),
    ...(cloudy && i === 0 ? { clouds: 0.3 } : {}),
    ...(jumpIn !== null && jumpIn !== i ? { smear: {} } : { smear }),
  }));
  return { subs, bracketed: apart };
}

/** Draws case `index` of a seed: the same for every number of cases. */
export function drawCase(seed: number, index: number, frame = FRAME): DrawnCase {
  const random = seededRandom(seed, `case ${index}`);
  const kind = kindOf(index);
  const fault = kind === 'single' ? singleFaultOf(index) : null;
  const intended = intendedOf(random, kind, fault);
  const curved = intended.some((i) => i.fault === 'corrector-spacing');
  const ground = groundOf(random, curved ? 'corrector-spacing' : fault, frame);
  const parts: Parts = {
    state: {},
    corrector: {
      residualComaUmPerMm: between(random, -0.012, 0.012),
      residualCurvatureUmPerMm2: (between(random, -0.1, 0.1) * ground.zoneUm) / ground.cornerMm ** 2,
    },
    smear: { jitterArcsec: between(random, 0, 0.12) * ground.seeingArcsec },
    altitudeDeg: between(random, 30, 80),
    filter: pick(random, ['L', 'L', 'G', 'none']),
  };
  for (const { fault: what, ratio } of intended) addFault(parts, what, ratio, ground, random);
  const ratio = intended[0]?.ratio ?? 0;
  const night = nightOf(random, ground, fault, ratio, parts.smear);
  const scenario = parseScenario({
    name: `case-${index}`,
    sentence: `Accuracy case ${index} of seed ${seed}: ${kind}, ${intended.map((i) => i.fault).join(' and ') || 'nothing wrong'}.`,
    seed: (seed * 7919 + index * 104729) % 0x7fffffff,
    telescope: {
      apertureMm: ground.apertureMm,
      primaryFocalLengthMm: ground.apertureMm * ground.ratio,
      corrector: ground.magnification === null ? 'none' : { magnification: ground.magnification, ...parts.corrector },
      obstruction: between(random, 0.25, 0.4),
      // A secondary set off towards the mirror shades the pupil off its centre: normal in a fast telescope.
      ...(random.uniform() < 0.6
        ? { obstructionOffset: { pupilRadii: between(random, 0.01, 0.04), directionDeg: angle(random) } }
        : {}),
      vanes: { count: pick(random, [4, 4, 4, 3]), widthMm: between(random, 0.6, 1.6), directionDeg: angle(random) },
    },
    camera: {
      ...frame,
      pixelUm: ground.pixelUm,
      mosaic: ground.mosaic ? pick(random, ['RGGB', 'GRBG']) : null,
      rowOrder: pick(random, ['TOP-DOWN', 'BOTTOM-UP']),
    },
    filter: ground.mosaic ? 'none' : parts.filter,
    state: parts.state,
    sky: skyOf(random, parts.altitudeDeg),
    stars: starsOf(random, ground),
    subs: night.subs,
  });
  return { index, kind, intended, scenario, settings: settingsOf(random, ground), bracketed: night.bracketed };
}

function intendedOf(random: Random, kind: Kind, fault: Fault | null): DrawnCase['intended'] {
  if (kind === 'good') {
    const count = random.uniform() < 0.3 ? 0 : 1 + random.integer(3);
    return distinct(random, SMALL, count).map((what) => ({ fault: what, ratio: between(random, 0.05, 0.7) }));
  }
  if (fault !== null) {
    const ratio = random.uniform() < 0.15 ? between(random, 0.2, 1) : between(random, 1, 4);
    const beside = random.uniform() < 0.5 ? [] : distinct(random, SMALL, 1);
    return [
      { fault, ratio },
      ...beside
        .filter(
          (what) => what !== fault && !(what === 'drift' && ['jump', 'dispersion', 'astigmatism'].includes(fault)),
        )
        .map((what) => ({ fault: what, ratio: between(random, 0, 0.15) })),
    ];
  }
  return distinct(random, MIXED, random.uniform() < 0.7 ? 2 : 3)
    .filter((what, _, all) => !(what === 'jump' && all.includes('drift')))
    .map((what) => ({ fault: what, ratio: between(random, 1.3, 4) }));
}

function distinct<T>(random: Random, values: readonly T[], count: number): T[] {
  const left = [...values];
  return Array.from({ length: count }, () => left.splice(random.integer(left.length), 1)[0]);
}

function skyOf(random: Random, altitudeDeg: number): object {
  return {
    skyE: logBetween(random, 100, 1500),
    gradient: { share: between(random, 0, 0.15), directionDeg: angle(random) },
    vignetting: between(random, 0, 0.25),
    nebulosityE: random.uniform() < 0.2 ? between(random, 20, 120) : 0,
    galaxies: random.integer(5),
    trails: random.uniform() < 0.1 ? 1 : 0,
    altitudeDeg,
    zenithDirectionDeg: angle(random),
  };
}

/** 60 to 1500 stars, exposed so that the faintest just carry a shape. */
function starsOf(random: Random, ground: Ground): object {
  const fwhmPx = (ground.seeingArcsec * ground.apertureMm * ground.effectiveRatio) / (206.264806 * ground.pixelUm);
  const faintestE = 6000 * Math.max(1, fwhmPx / 3) ** 2;
  return { count: Math.round(logBetween(random, 60, 1500)), faintestE, brightestE: 70 * faintestE };
}

/** A reducer's magnification must be told; of a corrector or a bare mirror only some tell. */
function settingsOf(random: Random, ground: Ground): MeasureSettings {
  const { magnification } = ground;
  if (magnification === null) return random.uniform() < 0.3 ? { corrector: 'none' } : {};
  if (Math.abs(magnification - 1) > 0.02 || random.uniform() < 0.3) return { corrector: magnification };
  return {};
}
