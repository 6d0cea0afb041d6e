// One command measured from start to end: wall, CPU of it and its threads, largest resident set.
import { spawnSync } from 'node:child_process';

/** wait4 tells what a child used; Node does not pass it on. */
const WAIT4 = `
import json, os, subprocess, sys, time
start = time.perf_counter()
child = subprocess.Popen(sys.argv[1:], stdout=subprocess.DEVNULL, stderr=subprocess.PIPE)
said = child.stderr.read()
_, status, used = os.wait4(child.pid, 0)
wall = time.perf_counter() - start
print(json.dumps(dict(wallMs=1000 * wall, cpuMs=1000 * (used.ru_utime + used.ru_stime), rssMb=used.ru_maxrss / 1024,
                      code=os.waitstatus_to_exitcode(status), said=said.decode(errors='replace')[-400:])))
`;

/** As most users' Node starts: variables such as NODE_EXTRA_CA_CERTS make it read certificates for 40 ms first. */
const USUAL = Object.fromEntries(Object.entries(process.env).filter(([name]) => !name.startsWith('NODE_')));

export function run(command) {
  const settings = { encoding: 'utf8', env: process.env.STARPLUMB_BENCH_NODE === 'own' ? process.env : USUAL };
  const { stdout, stderr, status } = spawnSync('/usr/bin/python3', ['-c', WAIT4, ...command], settings);
  if (status !== 0) throw new Error(`/usr/bin/python3 is needed to measure a command\n${stderr}`);
  const used = JSON.parse(stdout);
  if (used.code !== 0) throw new Error(`${command.join(' ')} ended with ${used.code}\n${used.said}`);
  return used;
}

export function median(values) {
  const sorted = [...values].sort((a, b) => a - b);
  const middle = sorted.length >> 1;
  return sorted.length % 2 === 1 ? sorted[middle] : (sorted[middle - 1] + sorted[middle]) / 2;
}

/** Medians of one command's runs. */
export const middleOf = (runs) => ({
  wallMs: median(runs.map((r) => r.wallMs)),
  cpuMs: median(runs.map((r) => r.cpuMs)),
  rssMb: Math.max(...runs.map((r) => r.rssMb)),
});

/**
 * Commands in turn, `rounds` times, after one round that does not count. Each name gets its medians and, against the first, the
 * medians of the ratios within a round.
 */
export function inTurn(commands, rounds) {
  const names = Object.keys(commands);
  for (const name of names) run(commands[name]);
  const runs = Array.from({ length: rounds }, () =>
    Object.fromEntries(names.map((name) => [name, run(commands[name])])),
  );
  return Object.fromEntries(
    names.map((name) => [
      name,
      {
        ...middleOf(runs.map((round) => round[name])),
        wallRatio: median(runs.map((round) => round[name].wallMs / round[names[0]].wallMs)),
        cpuRatio: median(runs.map((round) => round[name].cpuMs / round[names[0]].cpuMs)),
      },
    ]),
  );
}
