import { expect, it } from 'vitest';
import { NO_FACTS } from '../../src/frame/facts.ts';
import type { FrameFacts, Told } from '../../src/frame/frame.ts';
import { cameraAngleOf, chooseRig } from '../../src/rig/chooseRig.ts';
import type { Rig, RigValues } from '../../src/rig/rig.ts';
import { isRigName } from '../../src/rig/rigName.ts';
import { formatRig, parseRig, RigTextError } from '../../src/rig/rigText.ts';
import { pitchOf } from '../../src/rig/thread.ts';

const FULL: RigValues = {
  telescope: 'Invented 8',
  camera: 'Invented 26C',
  apertureMm: 203,
  focalMm: 800,
  primaryFocalMm: 800,
  obstructionMm: 70,
  corrector: 0.95,
  pixelUm: 3.76,
  rowOrder: 'top-down',
  cameraAngleDeg: 30,
  rotatorAtDeg: 100,
  rotatorSense: 'against',
  screws: { number: 3, circleRadiusMm: 95, thread: 'M6', anglesDeg: [90, 210, 330] },
  tolerance: { mirrorTiltArcmin: 1.5 },
};

it('a rig survives being written and read', () => {
  expect(parseRig(formatRig(FULL))).toEqual(FULL);
  expect(parseRig('')).toEqual({});
});

const problems = (text: string): readonly string[] => {
  try {
    parseRig(text);
  } catch (error) {
    if (error instanceof RigTextError) return error.problems;
  }
  return [];
};

it.each([
  [
    'apertureMm = 203\nfocalMm = "800"\n',
    '2:1: focalMm: expected an effective focal length of 20 to 60000 mm, as a plain number, found "800"',
  ],
  ['  apertureMm = 0.203', '1:3: apertureMm: expected an aperture of 20 to 60000 mm, as a plain number, found 0.203'],
  ['apertureMm = 203\napertureMn = 203', '2:1: unknown key "apertureMn"; there are: telescope, camera, apertureMm'],
  ['corrector = "yes"', '1:1: corrector: expected "none", or the corrector\'s magnification'],
  ['[screws]\nnumber = 3\ncircleRadiusMm = 95\nthread = "M99"', '4:1: screws.thread: expected a thread such as "M6"'],
  ['[screws]\nnumber = 3', '1:1: screws.circleRadiusMm: expected the radius of the circle'],
  [
    '[screws]\nnumber = 3\ncircleRadiusMm = 95\nanglesDeg = [0, 180]',
    '4:1: screws.anglesDeg: expected 3 angles, one for each screw',
  ],
  ['apertureMm = 203\nobstructionMm = 250', '2:1: obstructionMm: expected less than the aperture, 203 mm'],
  ['rotatorSense = "with"', '1:1: rotatorSense: expected cameraAngleDeg and rotatorAtDeg beside it'],
  ['apertureMm = 203\nfocalMm 800', '2:'],
])('%j is refused with its line and column', (text, expected) => {
  const [problem = 'nothing'] = problems(text);
  expect(problem.slice(0, expected.length)).toBe(expected);
});

it('every problem is told at once', () => {
  expect(problems('apertureMm = 1\npixelUm = 3760\nrowOrder = "up"')).toHaveLength(3);
});

it.each([
  // ISO 261, coarse series.
  ['M3', 0.5],
  ['M4', 0.7],
  ['M5', 0.8],
  ['m6', 1],
  ['M8', 1.25],
  ['M10', 1.5],
  // ISO 261, a fine pitch told.
  ['M6x0.75', 0.75],
  // ASME B1.1: threads an inch.
  ['1/4-20', 1.27],
  ['10-32', 0.79375],
  ['M7', null],
  ['six', null],
  ['M6x9', null],
])('thread %s advances %s mm a turn', (thread, pitch) => {
  if (pitch === null) expect(pitchOf(thread)).toBeNull();
  else expect(pitchOf(thread)).toBeCloseTo(pitch, 9);
});

const told = <T>(value: T, keyword: string): Told<T> => ({ value, keyword });
const facts = (changes: Partial<FrameFacts>): FrameFacts[] => [{ ...NO_FACTS, ...changes }];
const rigs: Rig[] = [
  { name: 'garden', values: { camera: 'Invented 26C', focalMm: 800, pixelUm: 3.76 } },
  { name: 'roof', values: { camera: 'Invented 6', focalMm: 600, pixelUm: 2.4 } },
];
const choice = (kept: readonly Rig[], inUse: string | null, told: FrameFacts[]): string | null =>
  chooseRig(kept, inUse, told).rig?.name ?? null;

it('the header chooses, binning regarded, and a rig that it contradicts is never used', () => {
  const roof = facts({ camera: told(' INVENTED 6', 'INSTRUME'), focalLengthMm: told(602, 'FOCALLEN') });
  expect(choice(rigs, 'garden', roof)).toBe('roof');
  const binned = facts({ pixelUm: told(7.52, 'XPIXSZ'), binning: told(2, 'XBINNING') });
  expect(choice(rigs, null, binned)).toBe('garden');
  const neither = facts({ camera: told('Invented 26C', 'INSTRUME'), focalLengthMm: told(600, 'FOCALLEN') });
  expect(choice(rigs, 'garden', neither)).toBeNull();
  expect(chooseRig(rigs, null, neither).why).toContain('none fits');
});

it('where the header is silent: the one in use, the only one, or none with the way out', () => {
  expect(choice(rigs, 'roof', facts({}))).toBe('roof');
  expect(choice(rigs.slice(1), null, facts({}))).toBe('roof');
  expect(chooseRig(rigs, null, facts({}))).toEqual({
    rig: null,
    why: 'garden, roof fit alike: name one by --rig, or by "starplumb rig use"',
  });
  expect(choice([], null, facts({}))).toBeNull();
  const wrong = chooseRig(rigs.slice(1), null, facts({ focalLengthMm: told(800, 'FOCALLEN') }));
  expect(wrong).toEqual({
    rig: null,
    why: "roof was not used: the header's focal length is 800 mm, the rig's 600 mm",
  });
});

it('the camera angle follows a rotator of known sense and is open where it stands elsewhere by an unknown one', () => {
  const at = (deg: number): FrameFacts[] => facts({ rotatorDeg: told(deg, 'ROTATANG') });
  expect(cameraAngleOf(FULL, at(130))).toEqual({ deg: 0, errorDeg: 0, from: 'header', moduloDeg: 360 });
  expect(cameraAngleOf({ ...FULL, rotatorSense: 'with' }, at(130))?.deg).toBe(60);
  expect(cameraAngleOf({ cameraAngleDeg: -10 }, at(130))).toMatchObject({ deg: 350, from: 'rig' });
  expect(cameraAngleOf({ cameraAngleDeg: 10, rotatorAtDeg: 100 }, at(130))).toBeNull();
  expect(cameraAngleOf({ cameraAngleDeg: 10, rotatorAtDeg: 100 }, at(100))).toMatchObject({ deg: 10, from: 'rig' });
  expect(cameraAngleOf({}, at(0))).toBeNull();
});

it.each([
  ['garden', true],
  ['Balkon 2', true],
  ['dachgärtchen', true],
  ['', false],
  ['../up', false],
  ['a/b', false],
  ['con', false],
  ['dot.', false],
  ['end ', false],
  ['x'.repeat(41), false],
])('%j as a name: %s', (name, good) => expect(isRigName(name)).toBe(good));
