import { readdirSync, readFileSync } from 'node:fs';
import { fileURLToPath } from 'node:url';
import { describe, expect, it } from 'vitest';
import { length } from '../../src/optics/complex.ts';
import { scenesOf, stateOf } from '../../src/optics/night.ts';
import { parseScenario, ScenarioError } from '../../src/optics/scenario.ts';
import { drawFrame } from '../../src/optics/starField.ts';
import { subTruth } from '../../src/optics/truth.ts';
import { wavefrontAt } from '../../src/optics/wavefront.ts';

const folder = fileURLToPath(new URL('../../samples/scenarios', import.meta.url));
const files = readdirSync(folder).filter((name) => name.endsWith('.json'));
const ready = files.map((file) => ({
  file,
  scenario: parseScenario(JSON.parse(readFileSync(`${folder}/${file}`, 'utf8'))),
}));

const BASIC = { name: 'basic', sentence: 'A test.' };

describe('a scenario', () => {
  it.each<[string, object, RegExp]>([
    ['an unknown field', { ...BASIC, state: { primaryTlit: {} } }, /state: .*primaryTlit/],
    ['a wrong number', { ...BASIC, telescope: { apertureMm: -200 } }, /^telescope\.apertureMm: /],
    [
      'a wrong type deep inside',
      { ...BASIC, state: { primaryTilt: { arcmin: '3', directionDeg: 0 } } },
      /^state\.primaryTilt\.arcmin: /,
    ],
    ['a sub of the list', { ...BASIC, subs: [{}, { seeingArcsec: 0 }] }, /^subs\[1\]\.seeingArcsec: /],
    ['a missing sentence', { name: 'x' }, /^sentence: /],
    ['a filter of no kind', { ...BASIC, filter: 'infra' }, /^filter: /],
    ['a range turned round', { ...BASIC, stars: { faintestE: 10, brightestE: 5 } }, /^stars\.brightestE: must exceed/],
    ['a name that could leave the folder', { ...BASIC, name: '../up' }, /^name: /],
  ])('names the field of %s', (_, value, message) => {
    let problems: readonly string[] = [];
    try {
      parseScenario(value);
    } catch (error) {
      if (!(error instanceof ScenarioError)) throw error;
      problems = error.problems;
    }
    expect(problems.length).toBeGreaterThan(0);
    expect(problems.some((problem) => message.test(problem))).toBe(true);
  });

  it('tells every mistake at once', () => {
    expect(() => parseScenario({ name: 'X', seed: -1 })).toThrow(/name[\s\S]*sentence[\s\S]*seed/);
  });
});

describe('the ready scenarios', () => {
  it('are named by their files, and the samples page names each', () => {
    const page = readFileSync(`${folder}/../README.md`, 'utf8');
    for (const { file, scenario } of ready) {
      expect(`${scenario.name}.json`).toBe(file);
      expect(page).toContain(scenario.name);
      expect(scenario.sentence.endsWith('.')).toBe(true);
    }
  });

  it('cover each cause', () => {
    const names = ready.map(({ scenario }) => scenario.name);
    for (const cause of ['well-collimated', 'primary-tilt', 'bare-displaced-node', 'sensor-tilt', 'steady-drift']) {
      expect(names).toContain(cause);
    }
    for (const cause of ['pinched-primary', 'corrector-spacing', 'astigmatism', 'low-dispersion', 'defocus']) {
      expect(names).toContain(cause);
    }
  });

  it('cut to a small frame, each can be drawn with its truth', () => {
    for (const { scenario } of ready) {
      const small = {
        ...scenario,
        camera: { ...scenario.camera, widthPx: 120, heightPx: 90 },
        stars: { ...scenario.stars, count: 3, minSeparationPx: 0 },
        subs: scenario.subs.slice(0, 1),
      };
      const [scene] = scenesOf(small);
      const drawn = drawFrame(scene);
      expect(drawn.pixels.length).toBe(120 * 90);
      expect(JSON.stringify(subTruth(small, scene, drawn))).not.toMatch(/NaN|undefined/);
    }
  });
});

interface Truth {
  readonly coma: {
    readonly tailDirectionDeg: number;
    readonly nodeMm: { readonly x: number; readonly y: number } | null;
    readonly mirrorTiltArcmin: number;
    readonly starShiftPx: { readonly length: number; readonly directionDeg: number };
  };
  readonly defocus: {
    readonly tiltUm: number;
    readonly axisDeg: number;
    readonly nearMirrorSideDeg: number;
    readonly cornerUm: number;
  };
  readonly trefoil: { readonly directionDeg: number };
  readonly astigmatism: { readonly axisInsideFocusDeg: number };
  readonly smear: { readonly driftAxisDeg: number };
}

function truthOf(value: object): Truth {
  const scenario = parseScenario({ ...BASIC, stars: { count: 0 }, ...value });
  const [scene] = scenesOf(scenario);
  const drawn = { width: scene.camera.width, height: scene.camera.height, pixels: new Uint16Array(0), stars: [] };
  return subTruth(scenario, scene, drawn) as Truth;
}

describe('expected directions', () => {
  it.each(['TOP-DOWN', 'BOTTOM-UP'])(
    '%s: a primary tilted to the right gives tails to the left and a star travel of 2 f tau that way',
    (rowOrder) => {
      // Direction rule of the ray trace (rayTrace.test.ts): node towards the tilt, tail away from it; 2 x 0.698 mm at 3'.
      const { coma } = truthOf({ camera: { rowOrder }, state: { primaryTilt: { arcmin: 3, directionDeg: 0 } } });
      expect(coma.tailDirectionDeg).toBeCloseTo(180, 6);
      expect(coma.starShiftPx.directionDeg).toBeCloseTo(180, 6);
      expect(Math.abs(coma.starShiftPx.length / (1396.3 / 3.76) - 1)).toBeLessThan(1e-3);
      expect(coma.mirrorTiltArcmin).toBeCloseTo(3, 3);
      // Upwards on the screen is upwards whichever way the rows are stored.
      const up = truthOf({ camera: { rowOrder }, state: { primaryTilt: { arcmin: 3, directionDeg: 90 } } });
      expect(up.coma.tailDirectionDeg).toBeCloseTo(270, 6);
    },
  );

  it('without a corrector the node stands f tau along the tilt, on the screen', () => {
    const { coma } = truthOf({
      telescope: { corrector: 'none' },
      state: { primaryTilt: { arcmin: 6, directionDeg: 90 } },
    });
    expect(coma.nodeMm?.x).toBeCloseTo(0, 4);
    expect(coma.nodeMm?.y).toBeCloseTo(1.3963, 3);
    expect(coma.tailDirectionDeg).toBeCloseTo(270, 6);
  });

  it('stored rows turn with ROWORDER while the screen stays', () => {
    const sub = { clouds: 0 };
    const of = (rowOrder: string): { x: number; y: number } =>
      stateOf(
        parseScenario({ ...BASIC, camera: { rowOrder }, state: { primaryTilt: { arcmin: 3, directionDeg: 60 } } }),
        sub,
      ).primaryTiltArcmin;
    expect(of('TOP-DOWN').x).toBeCloseTo(of('BOTTOM-UP').x, 12);
    expect(of('TOP-DOWN').y).toBeCloseTo(-of('BOTTOM-UP').y, 12);
    expect(of('absent')).toEqual(of('BOTTOM-UP'));
  });

  it('axes, sides and lobes are those asked for', () => {
    const tilt = truthOf({ state: { sensorTilt: { umAcross: 70, directionDeg: 200 } } });
    expect(tilt.defocus.tiltUm).toBeCloseTo(70, 1);
    expect(tilt.defocus.axisDeg).toBeCloseTo(20, 1);
    expect(tilt.defocus.nearMirrorSideDeg).toBeCloseTo(200, 1);
    expect(truthOf({ state: { trefoil: { rmsUm: 0.1, directionDeg: 140 } } }).trefoil.directionDeg).toBeCloseTo(20, 1);
    expect(truthOf({ state: { astigmatism: { rmsUm: 0.1, axisDeg: 75 } } }).astigmatism.axisInsideFocusDeg).toBeCloseTo(
      75,
      1,
    );
    expect(truthOf({ smear: { drift: { arcsec: 2, axisDeg: 242 } } }).smear.driftAxisDeg).toBeCloseTo(62, 1);
    expect(truthOf({ state: { fieldCurvatureUm: 60 } }).defocus.cornerUm).toBeCloseTo(60, 1);
  });

  it("rms amounts are Noll's: 0.12 um of trefoil has a coefficient of 0.12 sqrt(8)", () => {
    // Noll 1976, Z9 and Z10.
    const scenario = parseScenario({ ...BASIC, state: { trefoil: { rmsUm: 0.12, directionDeg: 0 } } });
    const [scene] = scenesOf(scenario);
    expect(length(wavefrontAt(scene.telescope, scene.state, { x: 1, y: 2 }).t)).toBeCloseTo(0.12 * Math.sqrt(8), 12);
  });
});
