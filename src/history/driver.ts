/**
 * One small way to SQLite: node:sqlite where the running Node has it (22.13 and later), else better-sqlite3 where it is
 * installed. Both are loaded only here and only when asked.
 */

export type Value = string | number | bigint | Uint8Array | null;
export type Row = Readonly<Record<string, Value>>;

export interface Database {
  /** Statements that return nothing. */
  exec(sql: string): void;
  /** One statement; returns how many rows it changed. */
  run(sql: string, ...values: Value[]): number;
  get(sql: string, ...values: Value[]): Row | undefined;
  all(sql: string, ...values: Value[]): Row[];
  /** All or nothing, with the write lock from the start; not nested. */
  transaction<T>(work: () => T): T;
  close(): void;
}

export type OpenDatabase = (path: string) => Promise<Database>;

/** Neither driver is there: history is off, everything else works. */
export class NoDriver extends Error {
  constructor() {
    super(
      `this Node (${process.version}) has no SQLite built in and better-sqlite3 is not installed; ` +
        'Node 22.13 or newer has it, or npm install better-sqlite3 where the program is installed',
    );
    this.name = 'NoDriver';
  }
}

/** What both drivers have in common. */
interface Statement {
  run(...values: Value[]): { readonly changes: number | bigint };
  get(...values: Value[]): unknown;
  all(...values: Value[]): unknown[];
}

interface Driver {
  exec(sql: string): unknown;
  prepare(sql: string): Statement;
  close(): unknown;
}

type DriverClass = new (path: string) => Driver;

/** Opens a database file, making it where it is absent; ':memory:' is one of its own in memory. */
export const openDatabase: OpenDatabase = async (path) => {
  const DriverOf = (await builtIn()) ?? (await installed());
  if (DriverOf === null) throw new NoDriver();
  return databaseOf(new DriverOf(path));
};

async function builtIn(): Promise<DriverClass | null> {
  // Node 22 and 24 warn that node:sqlite is young, which would stand on the user's screen at every check.
  const emit = process.emitWarning.bind(process) as (...given: unknown[]) => void;
  const own = Object.getOwnPropertyDescriptor(process, 'emitWarning');
  const quiet = (warning: unknown, ...more: unknown[]): void => {
    if (!String(warning).includes('SQLite')) emit(warning, ...more);
  };
  Object.defineProperty(process, 'emitWarning', { configurable: true, writable: true, value: quiet });
  try {
    const name: string = 'node:sqlite';
    return ((await import(name)) as { DatabaseSync: DriverClass }).DatabaseSync;
  } catch {
    return null;
  } finally {
    if (own === undefined) Reflect.deleteProperty(process, 'emitWarning');
    else Object.defineProperty(process, 'emitWarning', own);
  }
}

async function installed(): Promise<DriverClass | null> {
  try {
    const { default: BetterSqlite } = await import('better-sqlite3');
    // Its native part is loaded with the first database: absent, or built for another Node, it throws here.
    new BetterSqlite(':memory:').close();
    return BetterSqlite;
  } catch {
    return null;
  }
}

function databaseOf(driver: Driver): Database {
  const prepared = new Map<string, Statement>();
  const prepare = (sql: string): Statement => {
    const statement = prepared.get(sql) ?? driver.prepare(sql);
    prepared.set(sql, statement);
    return statement;
  };
  return {
    exec: (sql) => void driver.exec(sql),
    run: (sql, ...values) => Number(prepare(sql).run(...values).changes),
    get: (sql, ...values) => prepare(sql).get(...values) as Row | undefined,
    all: (sql, ...values) => prepare(sql).all(...values) as Row[],
    transaction: (work) => {
      driver.exec('BEGIN IMMEDIATE');
      try {
        const result = work();
        driver.exec('COMMIT');
        return result;
      } catch (error) {
        rollBack(driver);
        throw error;
      }
    },
    close: () => void driver.close(),
  };
}

/** SQLite rolls back by itself after a full disk or a failed write; then there is nothing left to roll back. */
function rollBack(driver: Driver): void {
  try {
    driver.exec('ROLLBACK');
  } catch {
    // The first error is the one to tell.
  }
}

export type Trouble = 'damaged' | 'full' | 'read-only' | 'unreachable' | 'busy' | 'disk' | 'other';

/** Primary result codes of SQLite (https://www.sqlite.org/rescode.html). */
const TROUBLES: Readonly<Record<number, Trouble>> = {
  5: 'busy',
  6: 'busy',
  8: 'read-only',
  10: 'disk',
  11: 'damaged',
  13: 'full',
  14: 'unreachable',
  26: 'damaged',
};

const NAMES: Readonly<Record<string, number>> = {
  BUSY: 5,
  LOCKED: 6,
  READONLY: 8,
  IOERR: 10,
  CORRUPT: 11,
  FULL: 13,
  CANTOPEN: 14,
  NOTADB: 26,
};

/** What kind of trouble a driver's error is; null for an error that is not SQLite's. */
export function troubleOf(error: unknown): Trouble | null {
  if (!(error instanceof Error)) return null;
  const { code, errcode } = error as { code?: unknown; errcode?: unknown };
  if (typeof errcode === 'number') return TROUBLES[errcode & 0xff] ?? 'other';
  const name = typeof code === 'string' ? /^SQLITE_([A-Z]+)/.exec(code)?.[1] : undefined;
  return name === undefined ? null : (TROUBLES[NAMES[name] ?? 0] ?? 'other');
}
