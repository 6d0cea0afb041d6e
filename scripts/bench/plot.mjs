// The growth of time with pixels, stars and subs as an SVG of three panels, both axes logarithmic.

const PANEL = { width: 250, height: 190, left: 56, top: 44, gap: 74 };
const INK = '#57606a';
const LINE = '#0a69b8';

const within = (low, high, digits) => {
  const all = [];
  for (let e = Math.floor(Math.log10(low)); e <= Math.ceil(Math.log10(high)); e++)
    for (const m of digits) all.push(m * 10 ** e);
  return all.filter((value) => value >= low * 0.999 && value <= high * 1.001);
};
/** A narrow range needs closer lines to be read. */
const steps = (low, high) => {
  const coarse = within(low, high, [1, 2, 5]);
  return coarse.length < 3 ? within(low, high, [1, 2, 3, 4, 5, 7]) : coarse;
};
const short = (value) => (value >= 1000 ? `${value / 1000}k` : String(value));
const seconds = (value) => (value < 0.1 ? value.toFixed(2) : value < 10 ? value.toFixed(1) : value.toFixed(0));

/** Slope of log time against log size: 1 is proportional. */
export function exponent(points) {
  const x = points.map((p) => Math.log(p.size));
  const y = points.map((p) => Math.log(p.wallMs));
  const mean = (list) => list.reduce((a, b) => a + b, 0) / list.length;
  const [mx, my] = [mean(x), mean(y)];
  return x.reduce((sum, v, i) => sum + (v - mx) * (y[i] - my), 0) / x.reduce((sum, v) => sum + (v - mx) ** 2, 0);
}

function panel({ title, unit, points }, index) {
  const { width, height, left, top, gap } = PANEL;
  const x0 = left + index * (width + gap);
  const sizes = points.map((p) => p.size);
  const times = points.map((p) => p.wallMs / 1000);
  const [xLow, xHigh] = [Math.min(...sizes), Math.max(...sizes)];
  const yLow = Math.min(...times) / 1.3;
  const yHigh = Math.max(...times) * 1.3;
  const px = (size) => x0 + (width * Math.log(size / xLow)) / Math.log(xHigh / xLow);
  const py = (time) => top + height - (height * Math.log(time / yLow)) / Math.log(yHigh / yLow);
  const grid = steps(yLow, yHigh).map(
    (time) =>
      `<path d="M${x0} ${py(time).toFixed(1)}h${width}" stroke="${INK}" stroke-opacity=".25"/>` +
      `<text x="${x0 - 6}" y="${(py(time) + 4).toFixed(1)}" text-anchor="end">${seconds(time)}</text>`,
  );
  const ticks = sizes.map(
    (size) => `<text x="${px(size).toFixed(1)}" y="${top + height + 16}" text-anchor="middle">${short(size)}</text>`,
  );
  const path = points.map((p) => `${px(p.size).toFixed(1)},${py(p.wallMs / 1000).toFixed(1)}`).join(' ');
  const dots = points.map(
    (p) => `<circle cx="${px(p.size).toFixed(1)}" cy="${py(p.wallMs / 1000).toFixed(1)}" r="3.5" fill="${LINE}"/>`,
  );
  return [
    `<text x="${x0}" y="${top - 20}" font-weight="600">${title}</text>`,
    `<text x="${x0}" y="${top - 6}">seconds; grows as size to the power ${exponent(points).toFixed(2)}</text>`,
    ...grid,
    ...ticks,
    `<text x="${x0 + width / 2}" y="${top + height + 32}" text-anchor="middle">${unit}</text>`,
    `<polyline points="${path}" fill="none" stroke="${LINE}" stroke-width="2"/>`,
    ...dots,
  ].join('\n');
}

export function growthPlot(panels) {
  const { width, height, left, top, gap } = PANEL;
  const whole = left + panels.length * (width + gap) - gap + 20;
  return [
    `<svg xmlns="http://www.w3.org/2000/svg" width="${whole}" height="${top + height + 44}" viewBox="0 0 ${whole} ${top + height + 44}" font-family="sans-serif" font-size="12" fill="${INK}" role="img" aria-label="Time of a quick check against pixels, stars and subs">`,
    ...panels.map(panel),
    '</svg>\n',
  ].join('\n');
}
