import { spawnSync } from 'node:child_process';
import { readFileSync } from 'node:fs';
import { describe, expect, it } from 'vitest';
import { frameFromFits } from '../../src/frame/fromFits.ts';
import { measureFrame } from '../../src/measure.ts';
import { median, robustSigma } from '../../src/numeric/statistics.ts';
import { debianFrame, needPython, PYTHON, realFrame } from '../support/testData.ts';

interface Other {
  readonly x: number;
  readonly y: number;
  readonly fwhm: number;
  readonly theta: number;
  readonly elongation: number;
}

/** Windowed positions and Gaussian-equivalent widths by sep and photutils on one HDU, 0-based pixels. */
const SCRIPT = `
import json, sys, warnings
import numpy as np, sep
from astropy.io import fits
from photutils.centroids import centroid_2dg
warnings.filterwarnings("ignore")
data = fits.getdata(sys.argv[1], int(sys.argv[2])).astype(np.float32)
data = np.ascontiguousarray(np.nan_to_num(data))
b = sep.Background(data); sub = data - b
o = sep.extract(sub, 5.0, err=b.globalrms)
o = o[(o["flag"] == 0) & (o["npix"] > 12)]
x, y, _ = sep.winpos(sub, o["x"], o["y"], np.full(len(o), 1.6))
rows = []
for i in range(len(o)):
    a, c = float(o["a"][i]), float(o["b"][i])
    rows.append(dict(x=float(x[i]), y=float(y[i]), fwhm=2.35482 * np.sqrt(a * c), theta=float(o["theta"][i]), elongation=a / c))
near = []
for r in rows[:: max(1, len(rows) // 60)]:
    u, v, h = int(round(r["x"])), int(round(r["y"])), 6
    cut = sub[v - h : v + h + 1, u - h : u + h + 1]
    if cut.shape == (13, 13):
        cx, cy = centroid_2dg(cut.astype(float))
        near.append([float(cx) + u - h, float(cy) + v - h])
json.dump(dict(sep=rows, photutils=near), sys.stdout)
`;

function others(path: string, hdu: number): { sep: Other[]; photutils: [number, number][] } {
  const run = spawnSync(PYTHON, ['-c', SCRIPT, path, String(hdu)], { maxBuffer: 1 << 27 });
  if (run.status !== 0) throw new Error(run.stderr.toString());
  return JSON.parse(run.stdout.toString()) as { sep: Other[]; photutils: [number, number][] };
}

describe('the same stars as other programs find', () => {
  it('pinholes through real optics: positions by sep and photutils, axes and elongations by sep', (context) => {
    needPython(context, 'sep', 'photutils', 'astropy');
    const path = debianFrame(context, 'vimos.fits');
    const ours = measureFrame(frameFromFits(new Uint8Array(readFileSync(path)), 'vimos', 2)).stars.shapes;
    const { sep, photutils } = others(path, 2);
    const nearest = <T extends { x: number; y: number }>(list: readonly T[], x: number, y: number): T | undefined =>
      list.find((o) => Math.hypot(o.x - x, o.y - y) < 1.5);
    const pairs = ours.flatMap((s) => {
      const o = nearest(sep, s.x, s.y);
      return o ? [{ s, o }] : [];
    });
    // sep's own list holds some 2000 pinholes; nearly all of ours must be among them.
    expect(pairs.length).toBeGreaterThan(0.97 * ours.length);
    expect(pairs.length).toBeGreaterThan(1500);
    const away = pairs.map(({ s, o }) => Math.hypot(s.x - o.x, s.y - o.y));
    // A windowed centroid and a Gaussian fit of a slightly comatic spot differ by a few hundredths of a pixel.
    expect(median(away)).toBeLessThan(0.08);
    const gaussian = photutils.flatMap(([x, y]) => {
      const s = nearest(ours, x, y);
      return s ? [Math.hypot(s.x - x, s.y - y)] : [];
    });
    expect(gaussian.length).toBeGreaterThan(40);
    expect(median(gaussian)).toBeLessThan(0.02);
    // sep's widths are moments above a threshold: another scale, the same pattern. The ratio must not scatter.
    const ratio = pairs.map(({ s, o }) => s.fwhm / o.fwhm);
    expect(robustSigma(ratio) / median(ratio)).toBeLessThan(0.06);
    const long = pairs.filter(({ o }) => o.elongation > 1.2);
    const turn = long.map(({ s, o }) => {
      const d = Math.abs(s.theta - o.theta) % Math.PI;
      return Math.min(d, Math.PI - d);
    });
    expect(long.length).toBeGreaterThan(100);
    expect((median(turn) * 180) / Math.PI).toBeLessThan(4);
  });

  it('a crowded cluster: what is used stands where sep sees a star', (context) => {
    needPython(context, 'sep', 'photutils', 'astropy');
    const path = realFrame(context, 'm13.fits');
    const ours = measureFrame(frameFromFits(new Uint8Array(readFileSync(path)), 'm13')).stars.shapes;
    const { sep } = others(path, 0);
    // Crowding leaves few stars without a neighbour; each of them must be one of sep's.
    expect(ours.length).toBeGreaterThan(4);
    const unmatched = ours.filter((s) => !sep.some((o) => Math.hypot(o.x - s.x, o.y - s.y) < 1));
    expect(unmatched).toEqual([]);
  });
});
