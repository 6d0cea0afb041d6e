import { get } from 'node:http';
import { connect, type Socket } from 'node:net';
import { expect, it } from 'vitest';
import { composeState } from '../../src/live/liveState.ts';
import { MOST_CONNECTIONS } from '../../src/server/connections.ts';
import { LiveServer } from '../../src/server/liveServer.ts';

const state = (id: number): ReturnType<typeof composeState> =>
  composeState({
    id,
    now: new Date(0),
    folder: 'night',
    report: null,
    sets: [],
    subs: [],
    nextTurn: null,
    screws: [],
    picture: 0,
    waiting: 0,
    arriving: null,
    problems: [],
    trend: [],
    screen: { mirrored: false, turnedDeg: 0 },
  });

const IDLE = 1000;

it(`with ${IDLE} idle sockets a phone still gets every update within a second, and another one gets in`, async () => {
  const nothing = (): Promise<void> => Promise.resolve();
  const server = new LiveServer({
    page: '<p>page</p>',
    lan: false,
    port: 0,
    actions: { nudge: nothing, moved: nothing, showOn: nothing },
  });
  const port = await server.listen();
  const idle: Socket[] = [];
  try {
    const page = await fetch(`http://127.0.0.1:${port}/`);
    const cookie = page.headers.get('set-cookie')?.split(';')[0] ?? '';
    const heard = new Map<number, number>();
    const phone = get({ host: '127.0.0.1', port, path: '/events', headers: { cookie } }, (answer) => {
      answer.setEncoding('utf8');
      answer.on('data', (part: string) => {
        for (const [, id] of part.matchAll(/^id: (\d+)$/gm)) heard.set(Number(id), performance.now());
      });
    });
    await until(() => phone.socket?.connecting === false);
    for (let i = 0; i < IDLE; i++) {
      const socket = connect(port, '127.0.0.1');
      socket.on('error', () => undefined);
      idle.push(socket);
    }
    await until(() => idle.every((socket) => !socket.connecting));
    for (let id = 1; id <= 5; id++) {
      const sent = performance.now();
      server.show(state(id));
      await until(() => heard.has(id));
      expect((heard.get(id) ?? Infinity) - sent).toBeLessThan(1000);
    }
    const started = performance.now();
    const late = await fetch(`http://127.0.0.1:${port}/state`, { headers: { cookie, connection: 'close' } });
    expect(late.status).toBe(200);
    expect(performance.now() - started).toBeLessThan(1000);
    await until(() => idle.filter((socket) => !socket.destroyed).length <= MOST_CONNECTIONS);
    phone.destroy();
  } finally {
    for (const socket of idle) socket.destroy();
    await server.close();
  }
});

async function until(met: () => boolean): Promise<void> {
  const end = performance.now() + 20_000;
  while (!met()) {
    if (performance.now() > end) throw new Error('waited too long');
    await new Promise((resolve) => setTimeout(resolve, 5));
  }
}
