import { createHash } from 'node:crypto';
import { createServer, type IncomingMessage, type Server, type ServerResponse } from 'node:http';
import type { AddressInfo } from 'node:net';
import { networkInterfaces } from 'node:os';
import * as z from 'zod';
import { UserError } from '../errors.ts';
import type { LiveState, OwnScreen } from '../live/liveState.ts';
import { type Admission, admit, plainAddress, type RouteName } from './admission.ts';
import { Connections } from './connections.ts';
import { Pairing } from './pairing.ts';

/** What the page may ask of the watch. */
export interface LiveActions {
  nudge(screw: string, turns: number): Promise<void>;
  moved(): Promise<void>;
  showOn(screen: OwnScreen): Promise<void>;
}

export interface LiveServerOptions {
  /** The page, one self-contained document. */
  readonly page: string;
  readonly actions: LiveActions;
  /** Reachable from other machines, with pairing; else from this machine only. */
  readonly lan: boolean;
  /** 0: any that is free. */
  readonly port: number;
  readonly now?: () => number;
  readonly wait?: (ms: number) => Promise<void>;
  /** Someone paired, so that a new code can be shown. */
  readonly onPaired?: () => void;
}

const LIMITS = {
  bodyBytes: 2048,
  headerBytes: 8192,
  headersMs: 8000,
  requestMs: 12_000,
  keepAliveMs: 5000,
  /** A phone that sleeps does not read: its stream is closed, and it comes back by itself. */
  unreadBytes: 512 * 1024,
  heartbeatMs: 4000,
} as const;

const screwName = z.string().regex(/^[\p{L}\p{N}][\p{L}\p{N} _-]{0,15}$/u, 'a short name of letters and digits');

const BODIES = {
  pair: z.strictObject({ code: z.string().min(1).max(64) }),
  nudge: z.strictObject({
    screw: screwName,
    turns: z
      .number()
      .min(-2)
      .max(2)
      .refine((turns) => turns !== 0, 'not zero'),
  }),
  moved: z.strictObject({}),
  screen: z.strictObject({
    mirrored: z.boolean(),
    turnedDeg: z.union([z.literal(0), z.literal(90), z.literal(180), z.literal(270)]),
  }),
} as const;

/** Serves the live page and its stream of states, to this machine or, with pairing, to the local network. */
export class LiveServer {
  readonly pairing: Pairing;
  readonly #options: LiveServerOptions;
  readonly #now: () => number;
  readonly #server: Server;
  readonly #connections: Connections;
  readonly #streams = new Set<ServerResponse>();
  readonly #pageHeaders: Readonly<Record<string, string>>;
  #state: LiveState | null = null;
  #picture: Uint8Array | null = null;
  #heartbeat: ReturnType<typeof setInterval> | null = null;

  constructor(options: LiveServerOptions) {
    this.#options = options;
    this.#now = options.now ?? Date.now;
    this.pairing = new Pairing(
      this.#now,
      options.wait ?? ((ms) => new Promise((resolve) => setTimeout(resolve, ms).unref())),
    );
    this.#pageHeaders = pageHeaders(options.page);
    this.#server = createServer({
      maxHeaderSize: LIMITS.headerBytes,
      headersTimeout: LIMITS.headersMs,
      requestTimeout: LIMITS.requestMs,
      keepAliveTimeout: LIMITS.keepAliveMs,
      connectionsCheckingInterval: 2000,
      // A missing Host is answered by us, with the same headers as every other refusal.
      requireHostHeader: false,
    });
    this.#connections = new Connections(this.#server);
    this.#server.on('request', (request, response) => {
      this.#answer(request, response).catch((error: unknown) => sendRefusal(request, response, error));
    });
    this.#server.on('clientError', (_error, socket) => socket.destroy());
    // Neither upgrades nor tunnels.
    this.#server.on('upgrade', (_request, socket) => socket.destroy());
    this.#server.on('connect', (_request, socket) => socket.destroy());
  }

  /** Listens; returns the port. */
  async listen(): Promise<number> {
    const host = this.#options.lan ? '0.0.0.0' : '127.0.0.1';
    await new Promise<void>((resolve, reject) => {
      this.#server.once('error', reject);
      this.#server.listen(this.#options.port, host, () => resolve());
    });
    this.#heartbeat = setInterval(() => this.#send('event: here\ndata:\n\n'), LIMITS.heartbeatMs).unref();
    return (this.#server.address() as AddressInfo).port;
  }

  /** Addresses to open, this machine's own first. */
  urls(port: number): string[] {
    const own = `http://127.0.0.1:${port}/`;
    if (!this.#options.lan) return [own];
    const others = Object.values(networkInterfaces())
      .flatMap((addresses) => addresses ?? [])
      .filter((address) => address.family === 'IPv4' && !address.internal)
      .map((address) => `http://${address.address}:${port}/`);
    return [own, ...others];
  }

  show(state: LiveState): void {
    this.#state = state;
    this.#send(this.#event(state));
  }

  showPicture(jpeg: Uint8Array): void {
    this.#picture = jpeg;
  }

  async close(): Promise<void> {
    if (this.#heartbeat !== null) clearInterval(this.#heartbeat);
    const closed = new Promise<void>((resolve) => this.#server.close(() => resolve()));
    this.#connections.closeAll();
    await closed;
  }

  async #answer(request: IncomingMessage, response: ServerResponse): Promise<void> {
    for (const [name, value] of Object.entries(SECURITY_HEADERS)) response.setHeader(name, value);
    const admission = this.#admit(request);
    if (!admission.admitted) {
      if (admission.allow !== undefined) response.setHeader('Allow', admission.allow);
      throw new Refusal(admission.status, admission.why);
    }
    const { route, head } = admission;
    if (route === 'page') this.#sendPage(response, head);
    else if (route === 'events') this.#stream(request, response, head);
    else if (route === 'state') send(response, head, 'application/json', JSON.stringify(this.#stamped(this.#state)));
    else if (route === 'picture') this.#sendPicture(response, head);
    else {
      await this.#act(route, await bodyOf(request), request, response);
      response.writeHead(204);
      response.end();
    }
  }

  #admit(request: IncomingMessage): Admission {
    const hosts = request.rawHeaders.filter((_, i) => i % 2 === 1 && /^host$/i.test(request.rawHeaders[i - 1] ?? ''));
    const { origin, 'content-type': contentType, 'sec-fetch-site': site } = request.headers;
    return admit({
      method: request.method ?? '',
      target: request.url ?? '',
      hosts,
      origin,
      contentType,
      site: typeof site === 'string' ? site : undefined,
      paired: this.pairing.knows(this.#cookieOf(request)),
      localAddress: request.socket.localAddress ?? '',
      localPort: request.socket.localPort ?? 0,
    });
  }

  /** Cookies do not know ports: the name does, so that two watches on one machine do not overwrite each other's. */
  #cookieName(port: number): string {
    return `starplumb-${port}`;
  }

  #cookieOf(request: IncomingMessage): string | undefined {
    const name = `${this.#cookieName(request.socket.localPort ?? 0)}=`;
    const found = (request.headers.cookie ?? '').split(';').filter((part) => part.trim().startsWith(name));
    return found.length === 1 ? found[0]?.trim().slice(name.length) : undefined;
  }

  #setCookie(response: ServerResponse, session: string): void {
    const name = this.#cookieName(response.socket?.localPort ?? 0);
    response.setHeader('Set-Cookie', `${name}=${session}; Path=/; HttpOnly; SameSite=Strict; Max-Age=64800`);
  }

  #sendPage(response: ServerResponse, head: boolean): void {
    for (const [name, value] of Object.entries(this.#pageHeaders)) response.setHeader(name, value);
    // Nobody else reaches this machine's own address; other people's browsers have to pair.
    const { req } = response;
    const foreign = req.headers['sec-fetch-site'] === 'cross-site';
    if (!this.#options.lan && !head && !foreign && !this.pairing.knows(this.#cookieOf(req)))
      this.#setCookie(response, this.pairing.open());
    send(response, head, 'text/html; charset=utf-8', this.#options.page);
  }

  #sendPicture(response: ServerResponse, head: boolean): void {
    if (this.#picture === null) throw new Refusal(404, 'no picture yet');
    send(response, head, 'image/jpeg', this.#picture);
  }

  #stream(request: IncomingMessage, response: ServerResponse, head: boolean): void {
    response.writeHead(200, { 'Content-Type': 'text/event-stream; charset=utf-8', 'X-Accel-Buffering': 'no' });
    if (head) {
      response.end();
      return;
    }
    request.socket.setKeepAlive(true, 10_000);
    request.socket.setNoDelay(true);
    this.#connections.keep(request.socket);
    this.#streams.add(response);
    response.on('close', () => this.#streams.delete(response));
    response.write('retry: 1000\n\n');
    if (this.#state !== null) response.write(this.#event(this.#state));
  }

  /** A state with the time it is sent at: ages are told against this clock. */
  #event(state: LiveState): string {
    return `id: ${state.id}\ndata: ${JSON.stringify(this.#stamped(state))}\n\n`;
  }

  #stamped(state: LiveState | null): LiveState | null {
    return state && { ...state, now: new Date(this.#now()).toISOString() };
  }

  #send(text: string): void {
    for (const stream of this.#streams) {
      if (stream.writableLength > LIMITS.unreadBytes) stream.destroy();
      else stream.write(text);
    }
  }

  async #act(route: ActionName, body: unknown, request: IncomingMessage, response: ServerResponse): Promise<void> {
    const { actions, onPaired } = this.#options;
    switch (route) {
      case 'pair': {
        const { code } = BODIES.pair.parse(body);
        const session = await this.pairing.exchange(code, plainAddress(request.socket.remoteAddress ?? ''));
        if (session === null) throw new Refusal(403, 'not the code shown on the terminal');
        this.#setCookie(response, session);
        onPaired?.();
        return;
      }
      case 'nudge': {
        const { screw, turns } = BODIES.nudge.parse(body);
        await actions.nudge(screw, turns);
        return;
      }
      case 'moved':
        BODIES.moved.parse(body);
        await actions.moved();
        return;
      case 'screen':
        await actions.showOn(BODIES.screen.parse(body));
    }
  }
}

type ActionName = Exclude<RouteName, 'page' | 'events' | 'state' | 'picture'>;

/** An answer that is no. */
class Refusal extends Error {
  readonly status: number;
  constructor(status: number, why: string) {
    super(why);
    this.status = status;
  }
}

/** On every answer. */
const SECURITY_HEADERS: Readonly<Record<string, string>> = {
  'Cache-Control': 'no-store',
  'X-Content-Type-Options': 'nosniff',
  'X-Frame-Options': 'DENY',
  'Referrer-Policy': 'no-referrer',
  'Cross-Origin-Opener-Policy': 'same-origin',
  'Cross-Origin-Resource-Policy': 'same-origin',
  'Content-Security-Policy': "default-src 'none'; frame-ancestors 'none'",
};

/** The page may run its own script and style, known by their digests, and ask nobody but us. */
function pageHeaders(page: string): Readonly<Record<string, string>> {
  const digests = (tag: string): string =>
    [...page.matchAll(new RegExp(`<${tag}>([\\s\\S]*?)</${tag}>`, 'g'))]
      .map(
        (match) =>
          `'sha256-${createHash('sha256')
            .update(match[1] ?? '')
            .digest('base64')}'`,
      )
      .join(' ');
  return {
    'Content-Security-Policy':
      `default-src 'none'; script-src ${digests('script') || "'none'"}; style-src ${digests('style') || "'none'"}; ` +
      "img-src 'self' blob: data:; connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'",
  };
}

function send(response: ServerResponse, head: boolean, type: string, content: string | Uint8Array): void {
  response.writeHead(200, { 'Content-Type': type, 'Content-Length': Buffer.byteLength(content) });
  response.end(head ? undefined : content);
}

function sendRefusal(request: IncomingMessage, response: ServerResponse, error: unknown): void {
  if (response.headersSent || response.destroyed) {
    response.destroy();
    return;
  }
  const { status, message } = refusalOf(error);
  // What was not read is not waited for.
  if (!request.complete) response.setHeader('Connection', 'close');
  response.writeHead(status, { 'Content-Type': 'text/plain; charset=utf-8' });
  response.end(request.method === 'HEAD' ? undefined : `${message}\n`);
}

function refusalOf(error: unknown): Refusal {
  if (error instanceof Refusal) return error;
  if (error instanceof z.ZodError) return new Refusal(400, z.prettifyError(error));
  if (error instanceof UserError) return new Refusal(422, error.message);
  return new Refusal(500, 'the watch could not do that');
}

/** The JSON of a request. */
async function bodyOf(request: IncomingMessage): Promise<unknown> {
  const parts: Buffer[] = [];
  let length = 0;
  for await (const part of request as AsyncIterable<Buffer>) {
    length += part.length;
    if (length > LIMITS.bodyBytes) throw new Refusal(413, 'too long');
    parts.push(part);
  }
  try {
    return JSON.parse(Buffer.concat(parts).toString('utf8')) as unknown;
  } catch {
    throw new Refusal(400, 'not JSON');
  }
}
