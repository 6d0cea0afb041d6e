// Tortures the history: kills, cut logs, failing and full disks, many processes, flipped bits, many checks. Prints figures as
// JSON, one part a line, and ends with 1 where anything acknowledged was lost or anything went wrong without words.
// usage: node scripts/history-torture.mjs [PART=N ...]   (no part: all of them at full length)
//   kills=1000      processes killed at random moments while ids are acknowledged
//   cuts=1          write-ahead log cut at every N-th byte of its last commit, with and without rubbish behind the cut
//   faults=1        an error, and a full disk, from every N-th file call of keeping one check (needs cc and the GNU C library)
//   deaths=1        killed before, and amid, every N-th file call of keeping one check (needs the same)
//   writers=500     checks kept by each of four processes at once, two more reading
//   flips=10000     databases with flipped bits
//   many=20000      checks, then the time of history list and history trend
import { execFileSync, spawn, spawnSync } from 'node:child_process';
import {
  copyFileSync,
  existsSync,
  mkdirSync,
  mkdtempSync,
  readdirSync,
  readFileSync,
  rmSync,
  statSync,
  symlinkSync,
  writeFileSync,
  writeSync,
} from 'node:fs';
import { tmpdir } from 'node:os';
import { dirname, join } from 'node:path';
import { fileURLToPath, pathToFileURL } from 'node:url';
import { build } from 'esbuild';

const SCRIPT = fileURLToPath(import.meta.url);
const ROOT = fileURLToPath(new URL('..', import.meta.url));
const FULL = { kills: 1000, cuts: 1, faults: 1, deaths: 1, writers: 500, flips: 10_000, many: 20_000 };

/** Lehmer's generator (Park & Miller 1988): the same torture every time. */
function randomFrom(seed) {
  let state = seed;
  return () => {
    state = (state * 48_271) % 2_147_483_647;
    return state / 2_147_483_647;
  };
}

/** Everything of the history, from source, beside a link to the libraries. */
async function bundleTo(folder) {
  symlinkSync(join(ROOT, 'node_modules'), join(folder, 'node_modules'));
  const modules = ['src/history/openHistory', 'src/history/driver', 'src/history/rowOf', 'src/history/trouble'];
  await build({
    stdin: {
      contents: [...modules, 'src/effects', 'test/support/exampleReport']
        .map((name) => `export * from './${name}.ts';`)
        .join('\n'),
      resolveDir: ROOT,
    },
    outfile: join(folder, 'history.mjs'),
    bundle: true,
    format: 'esm',
    platform: 'node',
    external: ['sharp', 'better-sqlite3'],
    banner: { js: "import { createRequire } from 'node:module';\nconst require = createRequire(import.meta.url);" },
    logLevel: 'warning',
  });
}

const load = (folder) => import(pathToFileURL(join(folder, 'history.mjs')).href);

/** Report number n: other subs, another time. */
function reportOf({ EXAMPLE_REPORTS }, n) {
  const report = EXAMPLE_REPORTS.miscollimated;
  const start = Date.UTC(2031, 1, 11, 21) + n * 3_600_000;
  const frames = report.frames.map((frame, i) => ({
    ...frame,
    dateObs: new Date(start + i * 120_000).toISOString().slice(0, 19),
    sha256: (n * 10 + i).toString(16).padStart(64, '0'),
  }));
  return { ...report, created: new Date(start + 600_000).toISOString(), frames };
}

const shaOf = (n) => (n * 10).toString(16).padStart(64, '0');

let real = null;

/** The real disk, and what would stand on standard error. */
function effectsFor(modules) {
  real ??= modules.realEffects();
  const said = [];
  return { effects: { ...real, err: (text) => said.push(text) }, said };
}

// ---- Workers: processes that are killed, or run beside others. --------------------------------------------------------

/** Waits until so many processes have come this far: else the quick ones are done before the slow ones start. */
async function together(folder, parties) {
  writeFileSync(join(folder, `here-${process.pid}`), '');
  const here = () => readdirSync(folder).filter((name) => name.startsWith('here-')).length;
  for (let ms = 0; here() < parties; ms++) {
    if (ms > 60_000) throw new Error('The other processes did not start within a minute.');
    await new Promise((resolve) => setTimeout(resolve, 1));
  }
}

const WORKERS = {
  /** Keeps reports from number `first` on and acknowledges each as 'id n'. */
  async write(folder, file, first, count, parties = '1') {
    const modules = await load(folder);
    const history = await modules.openHistory(modules.realEffects(), file);
    await together(dirname(file), Number(parties));
    for (let n = Number(first); n < Number(first) + Number(count); n++)
      writeSync(1, `${history.add(reportOf(modules, n)).id} ${n}\n`);
    history.close();
  },
  /** Lists again and again; the number of checks never falls. */
  async read(folder, file, until, parties) {
    const modules = await load(folder);
    const history = await modules.openHistory(modules.realEffects(), file);
    await together(dirname(file), Number(parties));
    let most = 0;
    let lists = 0;
    while (!existsSync(until)) {
      const rows = history.list().length;
      if (rows < most) throw new Error(`${rows} checks after ${most}`);
      most = rows;
      lists++;
      await new Promise((resolve) => setTimeout(resolve, 5));
    }
    history.close();
    writeSync(1, `${most} ${lists}\n`);
  },
  /** Errors at every n-th call, all in one process: prints 'n outcome' for each. */
  async faults(folder, template, mode, step) {
    const modules = await load(folder);
    const { effects, said } = effectsFor(modules);
    for (let n = 1; ; n += Number(step)) {
      const file = join(folder, `fault-${mode}-${n}`, 'history.sqlite');
      mkdirSync(dirname(file));
      if (template !== '-') copyFileSync(template, file);
      process.env.STARPLUMB_FAULT_LOG = join(folder, `struck-${mode}-${n}`);
      process.env.STARPLUMB_FAULT_FILE = file;
      process.env.STARPLUMB_FAULT = `${mode}${n}-${template.length} ${mode} ${n}`;
      let outcome;
      try {
        const history = await modules.openHistory(effects, file);
        try {
          outcome = `kept ${history.add(reportOf(modules, 100)).id}`;
        } finally {
          history.close();
        }
      } catch (error) {
        outcome = error instanceof modules.HistoryTrouble ? 'words' : `wrong ${error.stack}`;
      }
      delete process.env.STARPLUMB_FAULT;
      const struck = existsSync(process.env.STARPLUMB_FAULT_LOG);
      writeSync(1, `${JSON.stringify({ n, file, struck, outcome, said: said.splice(0) })}\n`);
      if (!struck) return;
    }
  },
};

const [flag, worker, ...args] = process.argv.slice(2);
if (flag === '--worker') {
  await WORKERS[worker](...args);
} else {
  const asked = process.argv.slice(2).map((argument) => argument.split('='));
  const plan =
    asked.length === 0 ? FULL : Object.fromEntries(asked.map(([part, n]) => [part, Number(n ?? FULL[part])]));
  const folder = mkdtempSync(join(tmpdir(), 'starplumb-torture-'));
  try {
    await bundleTo(folder);
    const modules = await load(folder);
    for (const [part, n] of Object.entries(plan)) {
      const started = Date.now();
      const { ok, ...figures } = await PARTS()[part](folder, modules, n);
      console.log(
        JSON.stringify({ part, ok, ...figures, node: process.version, seconds: (Date.now() - started) / 1000 }),
      );
      if (!ok) process.exitCode = 1;
    }
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
}

function startWorker(name, folder, ...more) {
  const child = spawn(process.execPath, [SCRIPT, '--worker', name, folder, ...more.map(String)], {
    stdio: ['ignore', 'pipe', 'pipe'],
  });
  const told = { out: '', err: '' };
  child.stdout.on('data', (data) => {
    told.out += data;
  });
  child.stderr.on('data', (data) => {
    told.err += data;
  });
  return { child, told, ended: new Promise((resolve) => child.on('close', (code, signal) => resolve(signal ?? code))) };
}

/** What a history holds, opened afresh, and whether anything was said meanwhile (set aside, left out). */
async function contentOf(modules, file) {
  const { effects, said } = effectsFor(modules);
  const history = await modules.openHistory(effects, file);
  const rows = history.list();
  history.close();
  const db = await modules.openDatabase(file);
  const sound = db.get('PRAGMA integrity_check')?.integrity_check === 'ok';
  db.close();
  return { rows, held: new Map(rows.map((row) => [row.id, row])), sound, said };
}

function PARTS() {
  return {
    kills,
    cuts,
    faults: (...given) => faultsOf(['error', 'full'], ...given),
    deaths: (...given) => faultsOf(['kill', 'torn'], ...given),
    writers,
    flips,
    many,
  };
}

// ---- Parts. -----------------------------------------------------------------------------------------------------------

async function kills(folder, modules, count) {
  const random = randomFrom(20310211);
  const PER_FILE = 25;
  let [acknowledged, lost, unsound, words, beforeFirst] = [0, 0, 0, 0, 0];
  let all = new Map();
  for (let round = 0; round < count; round++) {
    const file = join(folder, `kill-${Math.floor(round / PER_FILE)}`, 'history.sqlite');
    if (round % PER_FILE === 0) all = new Map();
    const { child, told, ended } = startWorker('write', folder, file, 1 + round * 10_000, 9999);
    // Every fifth dies at a random moment of its start, the others within the first acknowledged checks.
    if (round % 5 !== 0)
      while (told.out === '' && child.exitCode === null) await new Promise((resolve) => setTimeout(resolve, 1));
    await new Promise((resolve) => setTimeout(resolve, random() * (round % 5 === 0 ? 250 : 60)));
    child.kill('SIGKILL');
    await ended;
    const lines = told.out.split('\n').slice(0, -1);
    if (lines.length === 0) beforeFirst++;
    for (const line of lines) {
      const [id, n] = line.split(' ').map(Number);
      all.set(id, n);
      acknowledged++;
    }
    const { held, sound, said } = await contentOf(modules, file);
    if (!sound) unsound++;
    words += said.length;
    for (const [id, n] of all) if (held.get(id)?.sha256[0] !== shaOf(n)) lost++;
    if (told.err !== '') words++;
  }
  const ok = lost === 0 && unsound === 0 && words === 0 && acknowledged > count;
  return { ok, kills: count, beforeFirst, acknowledged, lost, unsound, words, bound: 3 / count };
}

async function cuts(folder, modules, step) {
  const file = join(folder, 'cut', 'history.sqlite');
  const { effects } = effectsFor(modules);
  const history = await modules.openHistory(effects, file);
  const after = [];
  for (let n = 1; n <= 6; n++) {
    history.add(reportOf(modules, n));
    after.push(statSync(`${file}-wal`).size);
  }
  const [main, log] = [readFileSync(file), readFileSync(`${file}-wal`)];
  history.close();
  const random = randomFrom(7);
  let [tried, lost, torn, words, wrong] = [0, 0, 0, 0, 0];
  const cut = join(folder, 'cut-here', 'history.sqlite');
  mkdirSync(dirname(cut));
  for (let length = after.at(-2) - 64; length <= log.length; length += step)
    for (const rubbish of [false, true]) {
      for (const name of readdirSync(dirname(cut))) rmSync(join(dirname(cut), name));
      writeFileSync(cut, main);
      const tail = rubbish ? Buffer.from(log.subarray(length).map(() => Math.floor(random() * 256))) : Buffer.alloc(0);
      writeFileSync(`${cut}-wal`, Buffer.concat([log.subarray(0, length), tail]));
      const whole = after.filter((size) => size <= length).length;
      tried++;
      try {
        const { rows, sound, said } = await contentOf(modules, cut);
        if (rows.length < whole) lost++;
        // With all of its bytes there the last one is whole; else it is not there at all.
        if (rows.length > whole || rows.some((row, i) => row.sha256[0] !== shaOf(i + 1))) torn++;
        if (!sound) wrong++;
        words += said.length;
      } catch {
        wrong++;
      }
    }
  const ok = tried > 0 && lost + torn + words + wrong === 0;
  return { ok, tried, commitBytes: after.at(-1) - after.at(-2), lost, torn, words, wrong };
}

/** The failing disk, compiled; null where that cannot be. */
function faultyDisk(folder) {
  const library = join(folder, 'faultyDisk.so');
  const source = join(ROOT, 'test/support/faultyDisk.c');
  const cc = spawnSync('cc', ['-shared', '-fPIC', '-O1', '-o', library, source, '-ldl'], { encoding: 'utf8' });
  return cc.status === 0 ? library : null;
}

async function faultsOf(modes, folder, modules, step) {
  const library = faultyDisk(folder);
  if (library === null) return { ok: true, skipped: 'no C compiler, or not the GNU C library' };
  const template = join(folder, `template-${modes.join('-')}`, 'history.sqlite');
  const history = await modules.openHistory(effectsFor(modules).effects, template);
  for (let n = 1; n <= 3; n++) history.add(reportOf(modules, n));
  history.close();
  const figures = { calls: {}, kept: 0, words: 0, lost: 0, unsound: 0, wrong: [] };
  const judge = async ({ file, outcome, said }, before) => {
    const { held, sound, said: later } = await contentOf(modules, file);
    if (!sound) figures.unsound++;
    for (let id = 1; id <= before; id++) if (held.get(id)?.sha256[0] !== shaOf(id)) figures.lost++;
    const kept = /^kept (\d+)/.exec(outcome)?.[1];
    if (kept !== undefined) {
      figures.kept++;
      if (held.get(Number(kept))?.sha256[0] !== shaOf(100)) figures.lost++;
    } else if (outcome === 'words') figures.words++;
    else if (outcome !== 'killed') figures.wrong.push(outcome);
    // A fault of the disk is no damage: nothing may be set aside, then or later.
    for (const text of [...said, ...later]) figures.wrong.push(text);
    rmSync(dirname(file), { recursive: true, force: true });
  };
  for (const [what, from, before] of [
    ['new', '-', 0],
    ['kept', template, 3],
  ]) {
    for (const mode of modes.filter((one) => one === 'error' || one === 'full')) {
      const run = spawnSync(process.execPath, [SCRIPT, '--worker', 'faults', folder, from, mode, String(step)], {
        env: { ...process.env, LD_PRELOAD: library },
        encoding: 'utf8',
        maxBuffer: 1 << 28,
      });
      if (run.status !== 0) figures.wrong.push(`${mode}: ${run.signal ?? run.status} ${run.stderr}`);
      const results = run.stdout.trim().split('\n').filter(Boolean).map(JSON.parse);
      figures.calls[`${what} ${mode}`] = results.filter(({ struck }) => struck).length;
      for (const result of results) await judge(result, before);
    }
    for (const mode of modes.filter((one) => one === 'kill' || one === 'torn')) {
      let struck = 0;
      for (let n = 1; ; n += step) {
        const file = join(folder, `${mode}-${what}-${n}`, 'history.sqlite');
        const log = join(folder, `struck-${mode}-${what}-${n}`);
        mkdirSync(dirname(file));
        if (from !== '-') copyFileSync(from, file);
        const run = spawnSync(process.execPath, [SCRIPT, '--worker', 'write', folder, file, '100', '1'], {
          env: {
            ...process.env,
            LD_PRELOAD: library,
            STARPLUMB_FAULT_FILE: file,
            STARPLUMB_FAULT_LOG: log,
            STARPLUMB_FAULT: `k ${mode} ${n}`,
          },
          encoding: 'utf8',
        });
        const id = run.stdout.split(' ')[0];
        await judge({ file, outcome: id === '' ? 'killed' : `kept ${id}`, said: [] }, before);
        if (!existsSync(log)) break;
        struck++;
      }
      figures.calls[`${what} ${mode}`] = struck;
    }
  }
  const struckAll = Object.values(figures.calls).every((calls) => calls > 0);
  const ok = struckAll && figures.lost === 0 && figures.unsound === 0 && figures.wrong.length === 0;
  return { ok, ...figures, wrong: figures.wrong.slice(0, 5) };
}

async function writers(folder, modules, each) {
  const file = join(folder, 'writers', 'history.sqlite');
  const until = join(folder, 'writers-done');
  const writing = [0, 1, 2, 3].map((k) => startWorker('write', folder, file, 1 + k * 100_000, each, 6));
  const reading = [0, 1].map(() => startWorker('read', folder, file, until, 6));
  const codes = await Promise.all(writing.map(({ ended }) => ended));
  writeFileSync(until, '');
  codes.push(...(await Promise.all(reading.map(({ ended }) => ended))));
  const { held, sound, said } = await contentOf(modules, file);
  let [acknowledged, lost] = [0, 0];
  for (const { told } of writing)
    for (const line of told.out.trim().split('\n')) {
      const [id, n] = line.split(' ').map(Number);
      acknowledged++;
      if (held.get(id)?.sha256[0] !== shaOf(n)) lost++;
    }
  const lists = reading.reduce((sum, { told }) => sum + Number(told.out.split(' ')[1]), 0);
  const stderr = [...writing, ...reading].map(({ told }) => told.err).join('');
  const ok =
    codes.every((code) => code === 0) &&
    acknowledged === 4 * each &&
    held.size === 4 * each &&
    lost === 0 &&
    sound &&
    said.length === 0 &&
    lists > 0 &&
    stderr === '';
  return { ok, acknowledged, held: held.size, lost, lists, sound, codes, stderr: stderr.slice(0, 500) };
}

async function flips(folder, modules, count) {
  const first = join(folder, 'flip', 'history.sqlite');
  const history = await modules.openHistory(effectsFor(modules).effects, first);
  for (let n = 1; n <= 12; n++) history.add(reportOf(modules, n));
  history.addEvent({ time: '2031-02-12T00:00:00.000Z', rig: null, kind: 'note', text: 'moved the pier' });
  const rows = new Map(history.list().map((row) => [row.id, JSON.stringify(row)]));
  const reports = new Map([...rows.keys()].map((id) => [id, JSON.stringify(history.report(id))]));
  history.close();
  const bytes = readFileSync(first);
  const random = randomFrom(42);
  const figures = {
    whole: 0,
    rowsLeftOut: 0,
    setAside: 0,
    refused: 0,
    takenOver: 0,
    silent: 0,
    changed: 0,
    crashed: [],
  };
  const file = join(folder, 'flipped', 'history.sqlite');
  for (let i = 0; i < count; i++) {
    rmSync(dirname(file), { recursive: true, force: true });
    mkdirSync(dirname(file));
    const flipped = Buffer.from(bytes);
    // A third of them in the header and the schema's page, where most goes wrong.
    const span = i % 3 === 0 ? (i % 2 === 0 ? 100 : 4096) : bytes.length;
    for (let k = 0; k <= random() * 7; k++) flipped[Math.floor(random() * span)] ^= 1 << Math.floor(random() * 8);
    writeFileSync(file, flipped);
    const { effects, said } = effectsFor(modules);
    try {
      const opened = await modules.openHistory(effects, file);
      const listed = opened.list();
      const events = opened.events();
      for (const row of listed) {
        if (rows.get(row.id) !== JSON.stringify(row)) figures.silent++;
        try {
          if (JSON.stringify(opened.report(row.id)) !== reports.get(row.id)) figures.silent++;
        } catch (error) {
          if (!(error instanceof modules.HistoryTrouble)) throw error;
        }
      }
      // Keeping goes on whatever was found.
      opened.add(reportOf(modules, 5000 + i));
      opened.close();
      const missing = rows.size - listed.length + 1 - events.length;
      if (missing > 0 && said.length === 0) figures.silent++;
      const aside = readdirSync(dirname(file)).filter((name) => /\.damaged-[\dT-]+$/.test(name));
      if (aside.length > 0) {
        figures.setAside++;
        figures.takenOver += listed.length;
        if (aside.length > 1 || !readFileSync(join(dirname(file), aside[0])).equals(flipped)) figures.changed++;
        if (!said.join('').includes('set aside')) figures.silent++;
      } else if (said.length > 0) figures.rowsLeftOut++;
      else figures.whole++;
    } catch (error) {
      if (!(error instanceof modules.HistoryTrouble)) figures.crashed.push(`${i}: ${error.stack}`);
      else {
        figures.refused++;
        figures.refusedWords ??= {};
        const words = error.message.replace(file, 'FILE').replace(/\d+/g, 'N').slice(0, 90);
        figures.refusedWords[words] = (figures.refusedWords[words] ?? 0) + 1;
        if (!readFileSync(file).equals(flipped)) figures.changed++;
      }
    }
  }
  const ok = figures.silent === 0 && figures.changed === 0 && figures.crashed.length === 0 && figures.setAside > 0;
  return { ok, flipped: count, bytes: bytes.length, ...figures, crashed: figures.crashed.slice(0, 3) };
}

async function many(folder, modules, count) {
  const file = join(folder, 'many', 'history.sqlite');
  const history = await modules.openHistory(effectsFor(modules).effects, file);
  for (let n = 1; n <= count; n++) history.add(reportOf(modules, n));
  history.close();
  const cli = join(ROOT, 'dist', 'cli.js');
  const time = (command) => {
    const times = [1, 2, 3, 4, 5].map(() => {
      const started = performance.now();
      execFileSync(process.execPath, [cli, 'history', command, '--history', file], { maxBuffer: 1 << 28 });
      return performance.now() - started;
    });
    return Math.round(times.sort((a, b) => a - b)[2]);
  };
  const [listMs, trendMs] = [time('list'), time('trend')];
  const megabytes = Math.round(statSync(file).size / 1e5) / 10;
  return { ok: listMs < 1000 && trendMs < 1000, checks: count, megabytes, listMs, trendMs };
}
