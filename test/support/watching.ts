import { type ChildProcess, type SpawnSyncReturns, spawn, spawnSync } from 'node:child_process';
import { mkdirSync, mkdtempSync, renameSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';

export const CLI = fileURLToPath(new URL('../../dist/cli.js', import.meta.url));

/** The built program watching a folder of its own, as a person starts it. */
export class Watching {
  readonly root = mkdtempSync(join(tmpdir(), 'starplumb-live-'));
  readonly folder = join(this.root, 'subs');
  out = '';
  err = '';
  #child: ChildProcess | null = null;

  constructor() {
    mkdirSync(this.folder);
  }

  get pid(): number {
    return this.#child?.pid ?? 0;
  }

  async start(...options: string[]): Promise<this> {
    this.out = '';
    const child = spawn(process.execPath, [CLI, 'watch', this.folder, '--no-history', ...options], { env: this.#env });
    this.#child = child;
    child.stdout.setEncoding('utf8').on('data', (text: string) => (this.out += text));
    child.stderr.setEncoding('utf8').on('data', (text: string) => (this.err += text));
    await this.until(() => this.out.includes('Watching '));
    return this;
  }

  get #env(): NodeJS.ProcessEnv {
    return { ...process.env, XDG_DATA_HOME: join(this.root, 'data'), XDG_CONFIG_HOME: join(this.root, 'config') };
  }

  /** Another program of the same user, to its end. */
  run(...args: string[]): SpawnSyncReturns<string> {
    return spawnSync(process.execPath, [CLI, ...args], { env: this.#env, encoding: 'utf8' });
  }

  /** Address of the page. */
  get url(): string {
    return /http:\/\/127\.0\.0\.1:\d+\//.exec(this.out)?.[0] ?? '';
  }

  /** Whole at once, as after a rename. */
  drop(name: string, bytes: Uint8Array): void {
    writeFileSync(join(this.folder, `${name}.part`), bytes);
    renameSync(join(this.folder, `${name}.part`), join(this.folder, name));
  }

  async until(met: () => boolean, ms = 40_000): Promise<void> {
    const end = Date.now() + ms;
    while (!met()) {
      if (Date.now() > end || this.#child?.exitCode != null)
        throw new Error(`waited in vain; it said:\n${this.out}\n${this.err}`);
      await new Promise((resolve) => setTimeout(resolve, 20));
    }
  }

  /** Ctrl-C, or without a chance to tidy up. */
  async stop(signal: 'SIGINT' | 'SIGKILL' = 'SIGINT'): Promise<number | null> {
    const child = this.#child;
    if (child === null) return null;
    this.#child = null;
    if (child.exitCode !== null) return child.exitCode;
    const code = new Promise<number | null>((resolve) => child.once('exit', (status) => resolve(status)));
    child.kill(signal);
    return code;
  }

  async end(): Promise<void> {
    await this.stop();
    rmSync(this.root, { recursive: true, force: true });
  }
}
