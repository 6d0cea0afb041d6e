import { type IncomingHttpHeaders, request } from 'node:http';
import { connect } from 'node:net';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { composeState } from '../../src/live/liveState.ts';
import { LiveServer } from '../../src/server/liveServer.ts';

const PAGE = '<!DOCTYPE html><title>page</title><style>p{}</style><script>1</script>';

const STATE = composeState({
  id: 1,
  now: new Date(0),
  folder: 'night',
  report: null,
  sets: [],
  subs: [],
  nextTurn: null,
  screws: ['A', 'B', 'C'],
  picture: 0,
  waiting: 0,
  arriving: null,
  problems: [],
  trend: [],
  screen: { mirrored: false, turnedDeg: 0 },
});

interface Answer {
  readonly status: number;
  readonly headers: IncomingHttpHeaders;
  readonly body: string;
}

let server: LiveServer;
let port = 0;
let cookie = '';
const done: string[] = [];

/** One request as a stranger could write it: every header is given, none is added. */
function ask(method: string, path: string, headers: Record<string, string | string[]>, body = ''): Promise<Answer> {
  return new Promise((resolve, reject) => {
    const asked = request(
      { host: '127.0.0.1', port, method, path, headers, setHost: false, agent: false },
      (answer) => {
        let text = '';
        answer.setEncoding('utf8');
        const settle = (): void => resolve({ status: answer.statusCode ?? 0, headers: answer.headers, body: text });
        answer.on('data', (part: string) => {
          text += part;
          // A stream of events never ends: its beginning tells enough.
          if (answer.headers['content-type']?.startsWith('text/event-stream') === true) answer.destroy();
        });
        answer.on('close', settle);
      },
    );
    asked.on('error', reject);
    asked.end(body);
  });
}

beforeAll(async () => {
  server = new LiveServer({
    page: PAGE,
    lan: true,
    port: 0,
    wait: () => Promise.resolve(),
    actions: {
      nudge: (screw, turns) => Promise.resolve(void done.push(`${screw} ${turns}`)),
      moved: () => Promise.resolve(void done.push('moved')),
      showOn: (screen) => Promise.resolve(void done.push(`screen ${screen.turnedDeg}`)),
    },
  });
  port = await server.listen();
  server.show(STATE);
  server.showPicture(Buffer.from('a picture'));
  const paired = await ask(
    'POST',
    '/pair',
    own({ 'content-type': 'application/json' }),
    `{"code":"${server.pairing.code()}"}`,
  );
  expect(paired.status).toBe(204);
  cookie = paired.headers['set-cookie']?.[0]?.split(';')[0] ?? '';
});

afterAll(() => server.close());

const host = (): string => `127.0.0.1:${port}`;
const own = (more: Record<string, string> = {}): Record<string, string> => ({
  host: host(),
  origin: `http://${host()}`,
  ...more,
});

describe('every request is judged by Host, path, method, Origin, cookie and type, in this order', () => {
  const hosts: Record<string, () => string | null> = {
    ours: () => host(),
    'localhost, ours too': () => `localhost:${port}`,
    'ours in capitals': () => `LOCALHOST:${port}`,
    'another port': () => `127.0.0.1:${port + 1}`,
    'no port': () => '127.0.0.1',
    'a foreign name (rebound)': () => `evil.example:${port}`,
    'a name that begins as ours': () => `127.0.0.1.evil.example:${port}`,
    'another loopback address': () => `127.0.0.2:${port}`,
    'another address': () => `192.0.2.7:${port}`,
    none: () => null,
  };
  const origins: Record<string, (asked: string) => string | null> = {
    'as the Host': (asked) => `http://${asked.toLowerCase()}`,
    foreign: () => 'http://evil.example',
    null: () => 'null',
    'ours by https': (asked) => `https://${asked.toLowerCase()}`,
    none: () => null,
  };
  const cookies: Record<string, () => string | null> = {
    paired: () => cookie,
    wrong: () => cookie.replace(/=.*/, '=AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA'),
    none: () => null,
  };
  const calls: [method: string, path: string, body: string][] = [
    ['GET', '/', ''],
    ['GET', '/events', ''],
    ['GET', '/state', ''],
    ['GET', '/picture.jpg', ''],
    ['POST', '/nudge', '{"screw":"A","turns":0.125}'],
    ['POST', '/moved', '{}'],
    ['POST', '/screen', '{"mirrored":true,"turnedDeg":90}'],
    ['POST', '/pair', '{"code":"WRONG"}'],
    ['GET', '/nudge', ''],
    ['POST', '/events', '{}'],
    ['PUT', '/state', '{}'],
    ['OPTIONS', '/nudge', ''],
    ['GET', '/nothing', ''],
  ];

  /** What must come of it, said apart from the code: the first thing that is wrong decides. */
  function expected(hostName: string, originName: string, cookieName: string, method: string, path: string): number {
    if (hostName === 'none') return 400;
    if (!['ours', 'localhost, ours too', 'ours in capitals'].includes(hostName)) return 421;
    const reads = ['/', '/events', '/state', '/picture.jpg'];
    const acts = ['/nudge', '/moved', '/screen', '/pair'];
    if (![...reads, ...acts].includes(path)) return 404;
    if (method !== (reads.includes(path) ? 'GET' : 'POST')) return 405;
    if (acts.includes(path) && originName !== 'as the Host') return 403;
    if (path !== '/' && !['as the Host', 'none'].includes(originName)) return 403;
    if (path === '/') return 200;
    if (path === '/pair') return 403;
    if (cookieName !== 'paired') return 401;
    return reads.includes(path) ? 200 : 204;
  }

  const rows = Object.keys(hosts).flatMap((hostName) =>
    Object.keys(origins).flatMap((originName) =>
      Object.keys(cookies).flatMap((cookieName) =>
        calls.map(([method, path, body]) => ({ hostName, originName, cookieName, method, path, body })),
      ),
    ),
  );

  it(`answers ${rows.length} kinds of request as it must`, async () => {
    expect(rows.length).toBeGreaterThanOrEqual(500);
    const wrong: string[] = [];
    for (const row of rows) {
      const asked = hosts[row.hostName]?.() ?? null;
      const origin = origins[row.originName]?.(asked ?? host()) ?? null;
      const sent = cookies[row.cookieName]?.() ?? null;
      const headers = {
        ...(asked !== null && { host: asked }),
        ...(origin !== null && { origin }),
        ...(sent !== null && { cookie: sent }),
        'content-type': 'application/json',
      };
      const before = done.length;
      const { status } = await ask(row.method, row.path, headers, row.body);
      const must = expected(row.hostName, row.originName, row.cookieName, row.method, row.path);
      if (status !== must) wrong.push(`${status}, not ${must}: ${JSON.stringify(row)}`);
      // Nothing is done but what was allowed.
      if (done.length - before !== (must === 204 ? 1 : 0)) wrong.push(`something was done: ${JSON.stringify(row)}`);
    }
    expect(wrong).toEqual([]);
  });
});

describe('what else a request may try', () => {
  const json = { 'content-type': 'application/json' };

  it.each([
    ['text/plain', 415],
    ['application/x-www-form-urlencoded', 415],
    ['multipart/form-data; boundary=x', 415],
    ['application/json; charset=utf-8', 204],
    ['application/jsonp', 415],
  ])('a state-changing request as %s: %i', async (type, status) => {
    expect((await ask('POST', '/moved', own({ cookie, 'content-type': type }), '{}')).status).toBe(status);
  });

  it.each([
    ['not JSON', '{', 400],
    ['a screw with a path', '{"screw":"../../etc/passwd","turns":0.5}', 400],
    ['a screw with markup', '{"screw":"<b>","turns":0.5}', 400],
    ['a hundred turns', '{"screw":"A","turns":100}', 400],
    ['no turn', '{"screw":"A","turns":0}', 400],
    ['a turn that is no number', '{"screw":"A","turns":"1"}', 400],
    ['more than asked', '{"screw":"A","turns":0.5,"__proto__":{},"x":1}', 400],
    ['too long', JSON.stringify({ screw: 'A', turns: 0.5, x: 'x'.repeat(5000) }), 413],
  ])('%s is refused and does nothing', async (_, body, status) => {
    const before = done.length;
    expect((await ask('POST', '/nudge', own({ cookie, ...json }), body)).status).toBe(status);
    expect(done).toHaveLength(before);
  });

  it.each([
    '/../package.json',
    '/..%2f..%2fetc/passwd',
    '/%2e%2e/%2e%2e/etc/passwd',
    '/....//....//etc/passwd',
    '/..\\..\\windows\\win.ini',
    '/%5c..%5c..',
    '/picture.jpg/../../secret',
    '/picture.jpg%00.fits',
    '/picture.jpg?file=/etc/passwd',
    '/state?x',
    '//etc/passwd',
    '//evil.example/',
    '/./state',
    '/STATE',
    '/state/',
    '/file:///etc/passwd',
    '/constructor',
    '/__proto__',
    '/toString',
    '/livePage.html',
    '/.git/config',
    'http://evil.example/state',
    '*',
  ])('no path leads anywhere: %s', async (path) => {
    const { status, body } = await ask('GET', path, own({ cookie }));
    expect(status).toBe(404);
    expect(body).toBe('no such page\n');
  });

  it('a page of another site is refused by Fetch Metadata, even where it sends no Origin', async () => {
    for (const site of ['cross-site', 'same-site'])
      for (const path of ['/state', '/events', '/picture.jpg'])
        expect((await ask('GET', path, { host: host(), cookie, 'sec-fetch-site': site })).status).toBe(403);
    expect((await ask('GET', '/state', { host: host(), cookie, 'sec-fetch-site': 'same-origin' })).status).toBe(200);
  });

  it('two Host headers, or two cookies of our name, are worth nothing', async () => {
    const raw = await rawAnswer(`GET /state HTTP/1.1\r\nHost: ${host()}\r\nHost: evil.example\r\n\r\n`);
    expect(raw).toMatch(/^HTTP\/1\.1 400 /);
    const doubled = `${cookie}; ${cookie.replace(/=.*/, '=x')}`;
    expect((await ask('GET', '/state', { host: host(), cookie: doubled })).status).toBe(401);
  });

  it('sends its guards with every answer, refusals included', async () => {
    for (const [path, headers] of [
      ['/', own()],
      ['/state', own({ cookie })],
      ['/nothing', own()],
      ['/', { host: 'evil.example' }],
    ] as const) {
      const { headers: sent } = await ask('GET', path, headers);
      expect(sent['x-content-type-options']).toBe('nosniff');
      expect(sent['content-security-policy']).toContain("frame-ancestors 'none'");
      expect(sent['content-security-policy']).toContain("default-src 'none'");
      expect(sent['content-security-policy']).not.toContain('unsafe');
      expect(sent['cache-control']).toBe('no-store');
      expect(sent['referrer-policy']).toBe('no-referrer');
      expect(sent['access-control-allow-origin']).toBeUndefined();
    }
  });

  it('HEAD tells what GET would, without a body', async () => {
    const { status, body, headers } = await ask('HEAD', '/state', own({ cookie }));
    expect([status, body]).toEqual([200, '']);
    expect(Number(headers['content-length'])).toBeGreaterThan(100);
  });

  it('neither upgrades nor tunnels', async () => {
    expect(await rawAnswer(`CONNECT evil.example:80 HTTP/1.1\r\nHost: ${host()}\r\n\r\n`)).toBe('');
    expect(
      await rawAnswer(`GET /events HTTP/1.1\r\nHost: ${host()}\r\nConnection: Upgrade\r\nUpgrade: websocket\r\n\r\n`),
    ).toBe('');
  });
});

describe('on this machine only', () => {
  it('listens on the loopback address, brings its own cookie, and gives none to other sites', async () => {
    const alone = new LiveServer({
      page: PAGE,
      lan: false,
      port: 0,
      actions: { nudge: () => Promise.resolve(), moved: () => Promise.resolve(), showOn: () => Promise.resolve() },
    });
    const lanPort = port;
    port = await alone.listen();
    try {
      const page = await ask('GET', '/', { host: host() });
      const given = page.headers['set-cookie']?.[0] ?? '';
      expect(given).toMatch(/; HttpOnly; SameSite=Strict/);
      // 256 bits in base64url.
      expect(/=([\w-]+);/.exec(given)?.[1]).toHaveLength(43);
      expect((await ask('GET', '/state', { host: host(), cookie: given.split(';')[0] ?? '' })).status).toBe(200);
      const foreign = await ask('GET', '/', { host: host(), 'sec-fetch-site': 'cross-site' });
      expect(foreign.headers['set-cookie']).toBeUndefined();
      const rebound = await ask('GET', '/', { host: `evil.example:${port}` });
      expect([rebound.status, rebound.headers['set-cookie']]).toEqual([421, undefined]);
      expect(alone.urls(port)).toEqual([`http://127.0.0.1:${port}/`]);
    } finally {
      port = lanPort;
      await alone.close();
    }
  });
});

/** Everything that comes back until the connection closes. */
function rawAnswer(text: string): Promise<string> {
  return new Promise((resolve, reject) => {
    const socket = connect(port, '127.0.0.1', () => socket.write(text));
    let answer = '';
    socket.setEncoding('utf8');
    socket.on('data', (part: string) => {
      answer += part;
      socket.end();
    });
    socket.on('close', () => resolve(answer));
    socket.on('error', reject);
  });
}
