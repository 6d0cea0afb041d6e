// Plays an invented night into a folder while `starplumb watch` looks on: `npm run demo -- --live`. A hand that turns screws
// is played as well; the primary goes from bad to good. Ends by itself, or with Ctrl-C.
import { spawn } from 'node:child_process';
import { mkdirSync, readdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';

const root = fileURLToPath(new URL('..', import.meta.url));
const cli = join(root, 'dist', 'cli.js');
const night = join('demo-live', new Date().toISOString().replace(/\D/g, '').slice(0, 14));
const drawing = join(tmpdir(), `starplumb-demo-${process.pid}`);
const EXPOSURE_S = 2;
const SUBS = 2;
const ROUNDS = 6;
/** The invented telescope's screws: what a turn clockwise of each does to the primary, which the watch has to find out. */
const SCREWS = {
  A: { arcmin: 21, directionDeg: 70 },
  B: { arcmin: 21, directionDeg: 310 },
  C: { arcmin: 21, directionDeg: 190 },
};
/** How far off the primary is at first. */
const START = { arcmin: 4.6, directionDeg: 140 };

const vector = ({ arcmin, directionDeg }) => ({
  x: arcmin * Math.cos((directionDeg * Math.PI) / 180),
  y: arcmin * Math.sin((directionDeg * Math.PI) / 180),
});

const wait = (ms) => new Promise((resolve) => setTimeout(resolve, ms));
let ending = false;
process.on('SIGINT', () => {
  ending = true;
});

/** Runs a command of the program to its end, without its words. */
function quietly(args) {
  return new Promise((resolve, reject) => {
    const child = spawn(process.execPath, [cli, ...args], { stdio: ['ignore', 'ignore', 'inherit'] });
    child.on('error', reject);
    child.on('exit', (code) => (code === 0 ? resolve() : reject(new Error(`starplumb ${args[0]} ended with ${code}`))));
  });
}

/** The subs of one step as files, drawn beside the folder. */
async function draw(tilt, index) {
  const scenario = {
    name: `night-${index + 1}`,
    sentence: 'an invented night at the telescope',
    seed: 700 + index,
    exposureS: EXPOSURE_S,
    camera: { widthPx: 1500, heightPx: 1000 },
    stars: { count: 320 },
    sky: { nebulosityE: 50 },
    state: {
      primaryTilt: {
        arcmin: Math.hypot(tilt.x, tilt.y),
        directionDeg: (Math.atan2(tilt.y, tilt.x) * 180) / Math.PI,
      },
    },
    subs: Array.from({ length: SUBS }, () => ({})),
  };
  const folder = join(drawing, scenario.name);
  mkdirSync(folder, { recursive: true });
  writeFileSync(join(folder, 'scenario.json'), JSON.stringify(scenario));
  await quietly(['synth', join(folder, 'scenario.json'), '--out', folder]);
  return readdirSync(folder)
    .filter((name) => name.endsWith('.fits'))
    .sort()
    .map((name) => ({ name, path: join(folder, name) }));
}

/** As a camera program does: piece by piece, under the final name. */
async function write(file) {
  const bytes = readFileSync(file.path);
  const target = join(night, file.name);
  const pieces = 5;
  for (let i = 1; i <= pieces && !ending; i++) {
    writeFileSync(target, bytes.subarray(0, Math.ceil((i * bytes.length) / pieces)));
    await wait(60);
  }
}

const state = { now: null };
const drawn = [];

/** Listens to the page's own stream, as a phone does. */
async function listen(url, cookie, signal) {
  const answer = await fetch(new URL('events', url), { headers: { cookie }, signal });
  let text = '';
  for await (const part of answer.body.pipeThrough(new TextDecoderStream())) {
    text += part;
    for (let end = text.indexOf('\n\n'); end >= 0; end = text.indexOf('\n\n')) {
      const data = /^data: (\{.*)$/m.exec(text.slice(0, end))?.[1];
      text = text.slice(end + 2);
      if (data !== undefined) state.now = JSON.parse(data);
    }
  }
}

async function until(met, ms) {
  const end = Date.now() + ms;
  while (!ending && Date.now() < end) {
    if (met()) return;
    await wait(50);
  }
  if (!ending) throw new Error('the watch did not answer in time');
}

mkdirSync(night, { recursive: true });
console.log(`Watching ${night}/ while an invented night is written into it (a minute; Ctrl-C ends).\n`);
const watch = spawn(process.execPath, [cli, 'watch', night, '--no-history', '--port', '0'], {
  stdio: ['ignore', 'pipe', 'inherit'],
  // Rigs, history and screws of your own stay out of the invented night.
  env: {
    ...process.env,
    HOME: drawing,
    USERPROFILE: drawing,
    APPDATA: drawing,
    LOCALAPPDATA: drawing,
    XDG_DATA_HOME: drawing,
    XDG_CONFIG_HOME: drawing,
  },
});
let said = '';
watch.stdout.setEncoding('utf8').on('data', (text) => {
  said += text;
  process.stdout.write(text);
});
const ended = new Promise((resolve) => watch.on('exit', resolve));
const listening = new AbortController();
try {
  await until(() => said.includes('Watching ') || watch.exitCode !== null, 60_000);
  const url = /http:\/\/127\.0\.0\.1:\d+\//.exec(said)?.[0];
  if (url === undefined && !ending) throw new Error('no live page');
  const page = await fetch(url);
  const cookie = page.headers.get('set-cookie')?.split(';')[0] ?? '';
  listen(url, cookie, listening.signal).catch(() => undefined);
  let measured = 0;
  let tilt = vector(START);
  for (let round = 0; round < ROUNDS && !ending; round++) {
    drawn.push(Math.hypot(tilt.x, tilt.y));
    const files = await draw(tilt, round);
    for (const file of files) {
      await wait(EXPOSURE_S * 1000);
      await write(file);
    }
    measured += files.length;
    await until(() => state.now?.measuredSubs === measured && state.now.waiting === 0, 180_000);
    // The hand does what the watch proposes, and stops when it proposes nothing.
    const moves = state.now?.nextTurn?.moves ?? [];
    if (ending || moves.length === 0) break;
    await wait(1500);
    for (const { screw, turns } of moves) {
      const effect = vector(SCREWS[screw]);
      tilt = { x: tilt.x + turns * effect.x, y: tilt.y + turns * effect.y };
      await fetch(new URL('nudge', url), {
        method: 'POST',
        headers: { cookie, origin: url.slice(0, -1), 'content-type': 'application/json' },
        body: JSON.stringify({ screw, turns }),
      });
    }
  }
  if (!ending) {
    console.log('\nWhat was drawn, set by set (the truth, which the watch does not see):');
    for (const [index, set] of state.now.sets.entries()) {
      const { verdict, tiltArcmin } = set.summary;
      const told = tiltArcmin === null ? '' : `, ${tiltArcmin.value.toFixed(1)} arcmin`;
      console.log(`  primary tilted by ${drawn[index]?.toFixed(1)} arcmin; the watch said: ${verdict}${told}`);
    }
    if (state.now.verdict !== 'good') throw new Error(`the last verdict is ${state.now.verdict}, not good`);
    console.log(
      `\nThe same with your own subs: starplumb watch FOLDER, and open the page it names (--lan for a phone).`,
    );
  }
} catch (error) {
  if (!ending) {
    console.error(error instanceof Error ? error.message : error);
    process.exitCode = 1;
  }
} finally {
  listening.abort();
  watch.kill('SIGINT');
  await ended;
  rmSync(drawing, { recursive: true, force: true });
}
if (ending) process.exitCode = 130;
