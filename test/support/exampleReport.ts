import type { Finding, Report, Vector, Zone } from '../../src/report/record.ts';

/** Hand-made records of an invented telescope (203 mm f/3.94 with a coma corrector, 6248 x 4176 pixels of 3.76 um). */

const NOTHING: Omit<Finding, 'cause' | 'status' | 'because' | 'advice'> = {
  significance: null,
  tolerance: null,
  widensPx: null,
  directionDeg: null,
  directionErrorDeg: null,
  axisDeg: null,
  axisErrorDeg: null,
  starShiftPx: null,
  toleranceShare: null,
};

const absent = (cause: string, significance: number, because: string): Finding => ({
  ...NOTHING,
  cause,
  status: 'not-detected',
  significance,
  because,
  advice: 'Nothing to do.',
});

function zones(fwhm: readonly number[], elongation: readonly number[], axis: readonly number[], coma: Vector): Zone[] {
  return fwhm.map((value, i) => ({
    row: Math.floor(i / 3),
    column: i % 3,
    stars: 41 + 7 * i,
    fwhmPx: { value, error: 0.021 },
    fwhmArcsec: { value: value * 0.9694, error: 0.02 },
    elongation: { value: elongation[i] ?? 1, error: 0.008 },
    axisDeg: axis[i] ?? 0,
    axisErrorDeg: 5,
    coma3: { ...coma, error: 0.0012 },
    trefoil3: { x: 0.0003, y: -0.0005, error: 0.0012 },
  }));
}

const frame = (file: string, second: number): Report['frames'][number] => ({
  file,
  used: true,
  whyNot: null,
  width: 6248,
  height: 4176,
  dateObs: `2031-02-11T21:0${second}:17`,
  exposureS: 120,
  filter: 'L',
  starsFound: 1204,
  starsFitted: 611,
  leftOut: { saturated: 12, blended: 84, border: 9, 'hot-or-cosmic': 31, extended: 4, 'too-faint': 453 },
  fwhmPx: 2.94,
  elongation: 1.06,
  camera: 'Invented 26C',
  focusPosition: 12840,
  altitudeDeg: 64.2,
  moffat: null,
  telescope: 'Invented 8',
  azimuthDeg: 152.5,
  pierSide: 'west',
  temperatureC: 4.5,
  temperatureFrom: 'ambient',
  rotatorDeg: null,
  sha256: 'ab'.repeat(32),
  notes: [],
});

const GOOD: Report = {
  format: 'starplumb-report',
  version: 1,
  created: '2031-02-12T06:40:12.000Z',
  tool: { name: 'starplumb', version: '0.1.0' },
  verdict: 'good',
  headline:
    'The telescope is collimated: coma and sensor tilt are within tolerance, and the seeing sets the star size.',
  needs: null,
  frames: [frame('night/light-0001.fits', 0), frame('night/light-0002.fits', 2), frame('night/light-0003.fits', 4)],
  rig: null,
  cameraAngle: null,
  wavefront: null,
  against: null,
  scale: {
    pixelUm: 3.76,
    focalLengthMm: 800,
    primaryFocalLengthMm: 800,
    apertureMm: 203,
    arcsecPerPx: 0.9694,
    corrector: { present: true, magnification: 1 },
    from: {
      pixelUm: 'header',
      focalLengthMm: 'header',
      primaryFocalLengthMm: 'assumed',
      apertureMm: 'option',
      corrector: 'option',
    },
  },
  orientation: { rowOrder: 'TOP-DOWN', assumed: false, spikes: null },
  zones: zones(
    [2.95, 2.9, 2.96, 2.91, 2.86, 2.92, 2.94, 2.9, 2.97],
    [1.05, 1.03, 1.05, 1.03, 1.02, 1.03, 1.06, 1.03, 1.05],
    [140, 95, 38, 172, 20, 4, 41, 88, 139],
    { x: 0.0011, y: -0.0008, error: 0.0004 },
  ),
  field: {
    coma: {
      uniform3: { x: 0.0011, y: -0.0008, error: 0.0004 },
      linear3PerMm: { value: 0.0001, error: 0.0001 },
      uniformUm: { x: 0.02, y: -0.015, error: 0.008 },
      node: null,
      mirrorTilt: { arcmin: 0.22, minus: 0.08, plus: 0.1 },
    },
    defocus: {
      centreUm: { value: 8, error: 9, signKnown: false },
      tiltUm: { value: 14, error: 8 },
      tiltUpperLimitUm: 27,
      axisDeg: null,
      axisErrorDeg: null,
      signKnown: false,
      curvatureUm: { value: 11, error: 6 },
    },
    smear: { px: { value: 0.3, error: 0.06 }, axisDeg: 12, axisErrorDeg: 9, skewRatio: null, perFrame: [] },
    dispersion: null,
    astigmatism: {
      uniform: { x: 0.004, y: 0.002, error: 0.003 },
      linearPerMm: { x: 0.0002, y: 0.0001, error: 0.0002 },
      radial: { value: 0.03, error: 0.006 },
    },
    trefoil: { uniform3: { x: 0.0004, y: 0.0002, error: 0.0004 }, directionDeg: null, directionErrorDeg: null },
  },
  findings: [
    {
      ...NOTHING,
      cause: 'miscollimation',
      status: 'within-tolerance',
      significance: 3.4,
      tolerance: "1.4' of primary tilt: 0.005 N^3 mm at the focus (trade rule)",
      widensPx: 0.02,
      directionDeg: 324,
      directionErrorDeg: 17,
      toleranceShare: { value: 0.16, low: 0.1, high: 0.23 },
      because: 'The coma left in the middle of the field is that of 0.22′ (+0.10 -0.08) of primary tilt.',
      advice: 'Stop turning: what is left is smaller than the tolerance.',
    },
    {
      ...NOTHING,
      cause: 'sensor-tilt',
      status: 'not-detected',
      significance: 1.7,
      tolerance: '35 µm across the sensor: half a wave of defocus at f/3.94 on each side',
      widensPx: 0.03,
      toleranceShare: { value: 0.4, low: 0.17, high: 0.63 },
      because: 'The focus differs by less than 27 µm across the sensor.',
      advice: 'Nothing to do.',
    },
    absent('corrector-spacing', 1.8, 'The corners are as sharp as the middle within 0.1 px.'),
    absent('pinched-optics', 1.0, 'No triangular stars: trefoil 0.0004 ± 0.0004.'),
    absent('astigmatism', 1.4, 'No elongation that keeps its direction over the field.'),
    {
      ...NOTHING,
      cause: 'tracking',
      status: 'within-tolerance',
      significance: 5.0,
      tolerance: '0.3 px: widens the stars by less than 1 %',
      widensPx: 0.05,
      axisDeg: 12,
      axisErrorDeg: 9,
      because: 'All stars are drawn out by 0.3 px along 12 deg.',
      advice: 'Nothing to do.',
    },
    absent('dispersion', 0.6, 'No skewed smear towards the zenith.'),
    absent('defocus', 0.9, 'Focus within 17 µm of its best place.'),
  ],
  notes: [],
  settings: { quick: false },
};

const [coma, tilt, ...others] = GOOD.findings as [Finding, Finding, ...Finding[]];

const OFF_AXIS: Finding = {
  ...coma,
  status: 'fault',
  significance: 36.1,
  widensPx: 0.74,
  directionDeg: 215.4,
  directionErrorDeg: 2.1,
  toleranceShare: { value: 2.07, low: 1.64, high: 2.64 },
  starShiftPx: {
    x: -289,
    y: -205,
    length: 354,
    directionDeg: 215.4,
    error: 95,
    from: { x: 412, y: 655 },
    to: { x: 123, y: 450 },
    steps: 1,
  },
  because: 'The same coma stands everywhere in the field: that of 2.9′ (+0.8 -0.6) of primary tilt, tail at 215 deg.',
  advice:
    'Turn the screws of the primary until star A of the picture stands where B is: tracking on, guiding off, loops of ' +
    '1 to 5 s. One screw moves the star along one line, so use two in turn. Re-lock, look once more (locking moves it), ' +
    're-centre with the mount, refocus, and take new subs. Leave the sensor tilt alone until the coma is gone.',
};

const TILTED: Finding = {
  ...tilt,
  status: 'fault',
  significance: 14.8,
  widensPx: 0.92,
  axisDeg: 62,
  axisErrorDeg: 4.2,
  toleranceShare: { value: 2.4, low: 2.14, high: 2.66 },
  because: 'The focus differs by 84 ± 9 µm from one side of the sensor to the other, along 62 deg.',
  advice:
    'Square the camera in its adapter or use its tilt plate, by 84 µm along the dashed axis. One picture cannot say which ' +
    'side is too near: turn the plate a little, measure again, and go on if it became less.',
};

const MISCOLLIMATED: Report = {
  ...GOOD,
  verdict: 'adjust',
  headline: 'The primary mirror is tilted by about 2.9′: coma all over the field, tails to the lower left.',
  zones: zones(
    [3.34, 3.29, 3.36, 3.31, 3.27, 3.33, 3.35, 3.3, 3.38],
    [1.09, 1.07, 1.1, 1.08, 1.06, 1.07, 1.09, 1.08, 1.1],
    [39, 36, 33, 35, 37, 34, 38, 36, 32],
    { x: -0.0147, y: -0.0105, error: 0.0005 },
  ),
  field: {
    ...GOOD.field,
    coma: {
      ...GOOD.field.coma,
      uniform3: { x: -0.0147, y: -0.0105, error: 0.0005 },
      uniformUm: { x: -0.269, y: -0.191, error: 0.009 },
      mirrorTilt: { arcmin: 2.9, minus: 0.6, plus: 0.8 },
    },
  },
  findings: [OFF_AXIS, tilt, ...others],
};

const TILTED_REPORT: Report = {
  ...GOOD,
  verdict: 'adjust',
  headline: 'The sensor is tilted: focus differs by 84 µm across it, so two opposite sides are soft.',
  orientation: { rowOrder: 'BOTTOM-UP', assumed: true, spikes: null },
  zones: zones(
    [3.02, 3.41, 3.9, 3.05, 2.93, 3.1, 3.88, 3.38, 3.01],
    [1.06, 1.05, 1.09, 1.03, 1.02, 1.03, 1.1, 1.04, 1.06],
    [144, 80, 61, 120, 30, 65, 63, 77, 139],
    { x: 0.0011, y: -0.0008, error: 0.0004 },
  ),
  field: {
    ...GOOD.field,
    defocus: {
      ...GOOD.field.defocus,
      tiltUm: { value: 84, error: 9 },
      tiltUpperLimitUm: null,
      axisDeg: 62,
      axisErrorDeg: 4.2,
    },
  },
  findings: [TILTED, coma, ...others],
  notes: [
    'No ROWORDER in the header: taken as BOTTOM-UP (FITS display convention). If the picture stands upside down against your screen, say --row-order top-down.',
  ],
};

const MIXED: Report = {
  ...MISCOLLIMATED,
  headline: 'The primary mirror is tilted by about 2.9′ and the sensor is tilted as well: the mirror comes first.',
  zones: TILTED_REPORT.zones.map((zone) => ({ ...zone, coma3: { x: -0.0147, y: -0.0105, error: 0.0012 } })),
  field: { ...MISCOLLIMATED.field, defocus: TILTED_REPORT.field.defocus },
  findings: [
    TILTED,
    {
      ...OFF_AXIS,
      starShiftPx: {
        x: -1900,
        y: -1350,
        length: 2331,
        directionDeg: 215.4,
        error: 540,
        from: { x: 1020, y: 905 },
        to: { x: 70, y: 230 },
        steps: 2,
      },
    },
    ...others,
  ],
  frames: [
    ...MISCOLLIMATED.frames,
    {
      ...frame('night/light-0004.fits', 6),
      used: false,
      whyNot: 'cannot be read: at byte 28800, expected 52 183 296 bytes of pixels, found 12 000',
      width: null,
      height: null,
      starsFound: 0,
      starsFitted: 0,
      leftOut: {},
      fwhmPx: null,
      elongation: null,
      moffat: null,
      sha256: null,
    },
  ],
};

/** One small frame with few stars, and neither focal length nor pixel size known. */
const INCONCLUSIVE: Report = {
  ...GOOD,
  verdict: 'inconclusive',
  headline: 'Cannot tell yet: 14 stars are too few to separate the causes.',
  needs: '3 more subs, or a field with more stars',
  frames: [
    {
      ...frame('one.fits', 0),
      width: 1600,
      height: 1200,
      starsFound: 31,
      starsFitted: 14,
      leftOut: { 'too-faint': 17 },
      fwhmPx: 2.7,
      elongation: 1.12,
      dateObs: null,
      exposureS: null,
      filter: null,
      camera: null,
      focusPosition: null,
      altitudeDeg: null,
    },
  ],
  scale: {
    pixelUm: null,
    focalLengthMm: null,
    primaryFocalLengthMm: null,
    apertureMm: null,
    arcsecPerPx: null,
    corrector: { present: 'unknown', magnification: null },
    from: {
      pixelUm: 'unknown',
      focalLengthMm: 'unknown',
      primaryFocalLengthMm: 'unknown',
      apertureMm: 'unknown',
      corrector: 'unknown',
    },
  },
  orientation: { rowOrder: 'BOTTOM-UP', assumed: true, spikes: null },
  zones: GOOD.zones.map((zone, i) =>
    i % 2 === 0
      ? { ...zone, stars: 3, fwhmPx: { value: 2.7 + i / 50, error: 0.14 }, fwhmArcsec: null }
      : {
          ...zone,
          stars: 0,
          fwhmPx: null,
          fwhmArcsec: null,
          elongation: null,
          axisDeg: null,
          axisErrorDeg: null,
          coma3: null,
          trefoil3: null,
        },
  ),
  field: {
    coma: {
      uniform3: { x: 0.004, y: 0.002, error: 0.006 },
      linear3PerMm: null,
      uniformUm: null,
      node: null,
      mirrorTilt: null,
    },
    defocus: {
      centreUm: null,
      tiltUm: null,
      tiltUpperLimitUm: null,
      axisDeg: null,
      axisErrorDeg: null,
      signKnown: false,
      curvatureUm: null,
    },
    smear: { px: null, axisDeg: null, axisErrorDeg: null, skewRatio: null, perFrame: [] },
    dispersion: null,
    astigmatism: { uniform: null, linearPerMm: null, radial: null },
    trefoil: { uniform3: null, directionDeg: null, directionErrorDeg: null },
  },
  findings: GOOD.findings.map((finding) => ({
    ...NOTHING,
    cause: finding.cause,
    status: 'not-measurable',
    because: '14 stars are too few.',
    advice: 'Take more subs.',
  })),
  notes: [
    'No ROWORDER in the header: taken as BOTTOM-UP (FITS display convention).',
    'Focal length, aperture and pixel size are not known: amounts are in pixels only. Give --focal, --aperture and --pixel.',
  ],
};

export const EXAMPLE_REPORTS = {
  good: GOOD,
  miscollimated: MISCOLLIMATED,
  tilted: TILTED_REPORT,
  mixed: MIXED,
  inconclusive: INCONCLUSIVE,
} as const satisfies Record<string, Report>;
