import { spawnSync } from 'node:child_process';
import { mkdtempSync, readFileSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { afterAll, expect, it, type TestContext } from 'vitest';
import { frameFromFits } from '../../src/frame/fromFits.ts';
import type { Report } from '../../src/report/record.ts';
import { angleBetween, recordOf } from '../support/record.ts';
import { needPython, PYTHON } from '../support/testData.ts';

// Whole frames by another hand: scripts/reference/fields.py shares neither code nor formulas with src/optics.
const script = fileURLToPath(new URL('../../scripts/reference/fields.py', import.meta.url));

interface Truth {
  readonly 'tilted-primary': { readonly tailDeg: number; readonly tiltArcmin: number };
  readonly 'tilted-sensor': { readonly axisDeg: number; readonly tiltUm: number };
  readonly pinched: { readonly trefoilDeg: number };
  readonly bare: { readonly nodeMm: readonly [number, number]; readonly tiltArcmin: number; readonly tailDeg: number };
}

let folder: string | null = null;
afterAll(() => {
  if (folder !== null) rmSync(folder, { recursive: true });
});

function draw(context: TestContext): string {
  needPython(context, 'numpy');
  if (folder !== null) return folder;
  const made = mkdtempSync(join(tmpdir(), 'starplumb-other-hand-'));
  const run = spawnSync(PYTHON, [script, made], {
    encoding: 'utf8',
    env: { ...process.env, OPENBLAS_NUM_THREADS: '1' },
  });
  expect(run.status, run.stderr).toBe(0);
  folder = made;
  return made;
}

function told(context: TestContext, name: string, fitted = false): { report: Report; truth: Truth } {
  const from = draw(context);
  const frame = frameFromFits(new Uint8Array(readFileSync(join(from, `${name}.fits`))), `${name}.fits`);
  const truth = JSON.parse(readFileSync(join(from, 'truth.json'), 'utf8')) as Truth;
  return { report: recordOf([frame], {}, { fitted }), truth };
}

const faults = (report: Report): string[] => report.findings.filter((f) => f.status === 'fault').map((f) => f.cause);

it('drawn by another hand: a collimated telescope is good', (context) => {
  const { report } = told(context, 'collimated');
  expect(report.verdict).toBe('good');
  expect(faults(report)).toEqual([]);
});

it('drawn by another hand: a tilted primary, the way its tails point, its amount within the interval', (context) => {
  const { report, truth } = told(context, 'tilted-primary');
  const { tailDeg, tiltArcmin } = truth['tilted-primary'];
  expect(faults(report)).toEqual(['miscollimation']);
  expect(angleBetween(report.findings[0]?.directionDeg ?? 0, tailDeg)).toBeLessThan(4);
  const tilt = report.field.coma.mirrorTilt;
  expect((tilt?.arcmin ?? 0) - (tilt?.minus ?? 0)).toBeLessThan(tiltArcmin * 1.05);
  expect((tilt?.arcmin ?? 0) + (tilt?.plus ?? 0)).toBeGreaterThan(tiltArcmin * 0.95);
});

it('drawn by another hand: a tilted sensor, its axis and its amount', (context) => {
  const { report, truth } = told(context, 'tilted-sensor');
  const { axisDeg, tiltUm } = truth['tilted-sensor'];
  expect(report.findings[0]?.cause).toBe('sensor-tilt');
  expect(angleBetween(report.findings[0]?.axisDeg ?? 0, axisDeg, 180)).toBeLessThan(6);
  const tilt = report.field.defocus.tiltUm;
  expect(Math.abs((tilt?.value ?? 0) - tiltUm)).toBeLessThan(3 * (tilt?.error ?? 0) + 0.1 * tiltUm);
});

it('drawn by another hand: pinched optics, the corner of the triangles', (context) => {
  const { report, truth } = told(context, 'pinched');
  expect(faults(report)).toEqual(['pinched-optics']);
  expect(angleBetween(report.findings[0]?.directionDeg ?? 0, truth.pinched.trefoilDeg, 120)).toBeLessThan(2);
});

it.for([
  { path: 'at once', fitted: false, nodeWithinMm: 0.17 },
  { path: 'by the whole-field fit', fitted: true, nodeWithinMm: 0.05 },
])(
  'drawn by another hand: a bare mirror is recognised, with its node, its tilt and its tails, $path',
  ({ fitted, nodeWithinMm }, context) => {
    const { report, truth } = told(context, 'bare', fitted);
    const { nodeMm, tiltArcmin, tailDeg } = truth.bare;
    expect(report.scale.corrector.present).toBe(false);
    expect(report.findings[0]?.cause).toBe('miscollimation');
    const { node, mirrorTilt } = report.field.coma;
    const miss = Math.hypot((node?.xMm ?? 9) - nodeMm[0], (node?.yMm ?? 9) - nodeMm[1]);
    expect(miss).toBeLessThan(nodeWithinMm);
    expect(miss).toBeLessThan(3 * (node?.errorMm ?? 0));
    expect(angleBetween(report.findings[0]?.directionDeg ?? 0, tailDeg)).toBeLessThan(6);
    const off = Math.abs((mirrorTilt?.arcmin ?? 0) - tiltArcmin);
    expect(off).toBeLessThan(0.15 * tiltArcmin);
    expect(off).toBeLessThan(3 * (mirrorTilt?.plus ?? 0));
  },
);
