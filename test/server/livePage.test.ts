import { existsSync, readFileSync } from 'node:fs';
import { createServer } from 'node:http';
import type { AddressInfo } from 'node:net';
import { HtmlValidate } from 'html-validate';
import jsqr from 'jsqr';
import type { Browser, Page } from 'playwright-core';
import sharp from 'sharp';
import { afterAll, afterEach, describe, expect, it, type TestContext } from 'vitest';
import { encodeFits } from '../../src/fits/encode.ts';
import { openBrowser } from '../support/browser.ts';
import { drawSubWithTruth } from '../support/draw.ts';
import { skipUnless } from '../support/testData.ts';
import { CLI, Watching } from '../support/watching.ts';

const PHONE = { width: 390, height: 844 };

/** A drawn sub as a file; `tiltArcmin` towards the right of the screen. */
function sub(seed: number, tiltArcmin: number): Uint8Array {
  const { drawn, scene } = drawSubWithTruth({
    width: 1200,
    height: 800,
    starCount: 220,
    seed,
    state: { primaryTiltArcmin: { x: tiltArcmin, y: 0 } },
  });
  const cards = {
    FOCALLEN: 800,
    APTDIA: 200,
    XPIXSZ: scene.camera.pixelUm,
    EGAIN: scene.camera.gainEPerAdu,
    EXPTIME: 1,
    ROWORDER: 'TOP-DOWN',
  };
  return encodeFits({ ...drawn, cards: Object.entries(cards).map(([keyword, value]) => ({ keyword, value })) });
}

const opened: { close(): Promise<unknown> }[] = [];
const watching: Watching[] = [];
afterEach(async () => {
  for (const browser of opened.splice(0)) await browser.close();
  for (const watch of watching.splice(0)) await watch.end();
});

async function watch(context: TestContext, ...options: string[]): Promise<Watching> {
  skipUnless(context, existsSync(CLI), 'dist/cli.js is not built (npm run build)');
  const started = new Watching();
  watching.push(started);
  return started.start('--port', '0', ...options);
}

async function browse(context: TestContext, ...options: string[]): Promise<Browser> {
  const browser = await openBrowser(context, ...options);
  opened.push(browser);
  return browser;
}

const faults: string[] = [];

async function openPage(browser: Browser, url: string): Promise<Page> {
  const page = await (await browser.newContext({ viewport: PHONE })).newPage();
  page.on('pageerror', (error) => faults.push(error.message));
  page.on('console', (message) => {
    if (/Content Security Policy|Refused to/.test(message.text())) faults.push(message.text());
  });
  await page.goto(url);
  return page;
}

const textOf = (page: Page, selector: string): Promise<string> => page.locator(selector).innerText({ timeout: 10_000 });

afterAll(() => expect(faults).toEqual([]));

describe('the live page in a browser', () => {
  it('shows the verdict, takes a turn, follows the person’s screen, and comes back after a cut', async (context) => {
    const browser = await browse(context);
    const night = await watch(context);
    const page = await openPage(browser, night.url);
    await expect.poll(() => textOf(page, '#verdict')).toBe('Waiting');

    night.drop('a.fits', sub(1, 5));
    await expect.poll(() => textOf(page, '#verdict'), POLL).toBe('Adjust');
    expect(await textOf(page, '#headline')).toMatch(/^The primary is off by \d/);
    await expect.poll(() => page.locator('#picture image').count(), POLL).toBe(1);
    // The coma tail of a tilt towards the right points there, and so does the cure (ray-traced in test/optics).
    const move = await textOf(page, '#move');
    expect(move).toMatch(/star A has gone \d+ px ± \d+ to the (left|right), to B/);
    const side = move.includes('right') ? 'right' : 'left';
    await page.getByRole('button', { name: 'Mirror' }).click();
    await expect.poll(() => textOf(page, '#move')).toContain(side === 'right' ? 'left' : 'right');
    await page.getByRole('button', { name: 'Turn by 90°' }).click();
    await expect.poll(() => textOf(page, '#move')).toContain(side === 'right' ? 'bottom' : 'top');
    // The picture is turned as the words are: its first pixel row stands where the setting says.
    expect(await page.locator('#picture image').getAttribute('transform')).toBe('rotate(-90) scale(-1 1)');

    // By keyboard alone: a screw, which way, how far.
    await page.getByRole('button', { name: 'I turned a screw' }).focus();
    await page.keyboard.press('Enter');
    const dialog = page.getByRole('dialog');
    await expect.poll(() => dialog.isVisible()).toBe(true);
    await dialog.getByLabel('B', { exact: true }).focus();
    await page.keyboard.press('Space');
    await dialog.getByLabel('Counter-clockwise').focus();
    await page.keyboard.press('Space');
    await dialog.getByRole('button', { name: 'Keep this turn' }).focus();
    await page.keyboard.press('Enter');
    await expect.poll(() => textOf(page, '#verdict'), POLL).toBe('Waiting');
    expect(await textOf(page, '#headline')).toContain('screw B 1/8 turn counter-clockwise');

    // The next sub must have been exposed after the turn.
    await new Promise((resolve) => setTimeout(resolve, 1300));
    night.drop('b.fits', sub(2, 0));
    await expect.poll(() => textOf(page, '#verdict'), POLL).toBe('In tolerance');
    expect(await textOf(page, '#change')).toMatch(/Verdict\s+Adjust\s+In tolerance/);
    expect(await page.locator('#strip li').count()).toBe(2);
    expect(await page.locator('#strip li.begins').count()).toBe(1);
    expect(await textOf(page, '#bar')).toMatch(/Newest sub \d+ s ago/);

    // A cut, and back: the same folder, nothing measured again, the turned screen remembered.
    const port = new URL(night.url).port;
    await night.stop('SIGKILL');
    await expect.poll(() => page.locator('#lost').isVisible(), POLL).toBe(true);
    await night.start('--port', port);
    await expect.poll(() => page.locator('#lost').isVisible(), POLL).toBe(false);
    await expect.poll(() => textOf(page, '#verdict'), POLL).toBe('In tolerance');
    expect(await textOf(page, '#screen-text')).toContain('mirrored and turned by 90°');
    expect(night.out).not.toContain('a.fits');
    expect(await night.stop()).toBe(130);
  });

  it('proposes a turn, takes it by one press, learns from the next sub and proposes anew, until told to stop', async (context) => {
    const browser = await browse(context);
    const night = await watch(context);
    const page = await openPage(browser, night.url);
    night.drop('a.fits', sub(11, 5));
    await expect.poll(() => textOf(page, '#screw-move'), POLL).toMatch(/^Turn screw [ABC] 1\/\d+ turn/);
    const first = await textOf(page, '#screw-move');
    const arrow = await textOf(page, '#move');
    expect(await textOf(page, '#screw-because')).toContain('not known yet');
    // One press notes every turn of the proposal.
    await page.getByRole('button', { name: 'Done: turned as told' }).click();
    await expect.poll(() => textOf(page, '#headline'), POLL).toContain('Noted: screw');
    await expect.poll(() => page.locator('#did').isVisible(), POLL).toBe(false);
    const turned = /screw [ABC] 1\/\d+ turn (?:counter-)?clockwise/.exec(first)?.[0] ?? '';
    expect(night.out).toContain(turned);
    await new Promise((resolve) => setTimeout(resolve, 1300));
    night.drop('b.fits', sub(12, 3));
    await expect.poll(() => textOf(page, '#screw-move'), POLL).toMatch(/^Turn screw/);
    expect(await textOf(page, '#screw-move')).not.toBe(first);
    expect(await textOf(page, '#move')).not.toBe(arrow);
    // What another program notes is taken up as well.
    const nudged = night.run('nudge', 'C', '1/16', 'cw');
    expect(nudged.status, nudged.stderr).toBe(0);
    await expect.poll(() => textOf(page, '#headline'), POLL).toContain('screw C 1/16 turn clockwise');
    await new Promise((resolve) => setTimeout(resolve, 1300));
    night.drop('c.fits', sub(13, 0.2));
    await expect.poll(() => textOf(page, '#screw-move'), POLL).toBe('Leave the screws alone.');
    expect(await page.locator('#did').isVisible()).toBe(false);
    expect(await textOf(page, '#verdict')).toBe('In tolerance');
  });

  it('holds no blue or green light by night, in any part, and can be dimmed', async (context) => {
    const browser = await browse(context);
    const night = await watch(context);
    const page = await openPage(browser, night.url);
    night.drop('a.fits', sub(3, 5));
    night.drop('broken.fits', new TextEncoder().encode('SIMPLE  = nonsense'));
    await expect.poll(() => textOf(page, '#verdict'), POLL).toBe('Adjust');
    await expect.poll(() => page.locator('#picture image').count(), POLL).toBe(1);
    await page.waitForTimeout(300);
    const brightest = await redOnly(page, true);
    expect(brightest).toBeGreaterThan(200);
    await page.setViewportSize({ width: 1280, height: 800 });
    await redOnly(page, true);
    await page.setViewportSize(PHONE);
    for (const [selector, act] of [
      ['#mirror', 'focus'],
      ['#dim', 'hover'],
      ['#dim', 'focus'],
      ['#turned', 'click'],
    ] as const) {
      await page.locator(selector)[act]();
      await redOnly(page, false);
    }
    await page.keyboard.press('Tab');
    await redOnly(page, false);
    await page.keyboard.press('Escape');
    await page.evaluate('getSelection().selectAllChildren(document.body)');
    await redOnly(page, true);
    await page.evaluate('getSelection().removeAllRanges()');
    await page.locator('#dim').fill('12');
    await page.mouse.move(0, 0);
    expect(await redOnly(page, true)).toBeLessThan(60);
    await page.reload();
    await page.waitForSelector('#main:not([hidden])');
    expect(await redOnly(page, true)).toBeLessThan(60);
    // Day is another light, and is remembered too.
    await page.locator('#day').click();
    expect((await channels(page, false))[2]).toBeGreaterThan(200);
  });

  it('the page is sound HTML, one document, and names every control', async (context) => {
    const browser = await browse(context);
    const night = await watch(context);
    const html = readFileSync(new URL('../../dist/livePage.html', import.meta.url), 'utf8');
    const report = await new HtmlValidate({
      extends: ['html-validate:recommended', 'html-validate:a11y'],
      // Written by hand in our own way; the style is bundled in.
      rules: { 'doctype-style': 'off', 'void-style': 'off', 'long-title': 'off', 'require-sri': 'off' },
    }).validateString(html);
    expect(report.results.flatMap(({ messages }) => messages.map((m) => `${m.ruleId}: ${m.message}`))).toEqual([]);
    expect(html).not.toMatch(/\b(?:src|href)="(?!#|data:)/);
    const page = await openPage(browser, night.url);
    const asked: string[] = [];
    page.on('request', (request) => asked.push(request.url()));
    await page.reload();
    await page.waitForSelector('#main:not([hidden])');
    expect(asked.every((url) => url.startsWith(night.url) || url.startsWith('data:'))).toBe(true);
    for (const control of await page.locator('button, input').all())
      expect(await control.evaluate(nameOf)).not.toBe('');
    // Gloves: nothing to press is smaller than a fingertip in a glove (common practice: 48 px and more).
    for (const button of await page.locator('button:visible').all())
      expect((await button.boundingBox())?.height).toBeGreaterThanOrEqual(52);
  });
});

describe('pairing', () => {
  it('by the code on the terminal or its QR picture, once, and never left in the address', async (context) => {
    const browser = await browse(context);
    const night = await watch(context, '--lan');
    await night.until(() => night.out.includes('Pairing code'));
    const code = /Pairing code[^:]*: (\w{4}-\w{4})/.exec(night.out)?.[1] ?? '';
    const brought = qrText(night.out);
    expect(brought).toMatch(new RegExp(`^http://[\\d.]+:\\d+/#pair=${code.replace('-', '')}$`));

    const stranger = await openPage(browser, night.url);
    await stranger.waitForSelector('#pair:not([hidden])');
    expect(await stranger.locator('#main').isVisible()).toBe(false);
    await stranger.getByLabel('Pairing code').fill('AAAA-AAAA');
    await stranger.getByRole('button', { name: 'Pair' }).click();
    await expect.poll(() => textOf(stranger, '#pair-error'), POLL).toContain('not the code');

    const phone = await openPage(browser, night.url + new URL(brought).hash);
    await phone.waitForSelector('#main:not([hidden])');
    expect(phone.url()).toBe(night.url);
    expect(await phone.evaluate('document.cookie')).toBe('');
    const [cookie] = await phone.context().cookies();
    expect(cookie).toMatchObject({ httpOnly: true, sameSite: 'Strict' });
    await expect.poll(() => night.out).toContain('A screen is paired');

    await stranger.getByLabel('Pairing code').fill(code);
    await stranger.getByRole('button', { name: 'Pair' }).click();
    await expect.poll(() => textOf(stranger, '#pair-error'), POLL).toContain('not the code');
    expect(await stranger.locator('#main').isVisible()).toBe(false);
  });
});

describe('other sites in the same browser', () => {
  it('reach nothing by DNS rebinding nor by cross-site requests', async (context) => {
    // The browser takes the foreign name for this machine, as after a rebound DNS answer.
    const browser = await browse(context, '--host-resolver-rules=MAP *.evil.example 127.0.0.1');
    const foreign = await serveForeign();
    const page = await openPage(browser, `http://www.evil.example:${foreign.port}/`);
    // Its site goes, and its name leads to the watch, at the same port: to the browser both are one site.
    await foreign.close();
    const night = await watch(context, '--port', String(foreign.port));
    const own = await openPage(browser, night.url);
    await own.waitForSelector('#main:not([hidden])');
    expect(await page.evaluate(tryEverything, '')).toEqual(
      ['/', '/state', '/events', '/picture.jpg', '/nudge', '/moved', '/screen', '/pair'].map((path) => `${path} 421`),
    );

    const attack = await serveForeign();
    opened.push(attack);
    const elsewhere = await own.context().newPage();
    await elsewhere.goto(`http://attack.evil.example:${attack.port}/`);
    const seen = await elsewhere.evaluate(tryEverything, night.url.slice(0, -1));
    expect(seen.every((line) => line.endsWith(' unreadable'))).toBe(true);
    expect(
      await elsewhere.evaluate(`(async () => {
        const framed = document.createElement('iframe');
        framed.src = '${night.url}';
        document.body.append(framed);
        await new Promise((resolve) => setTimeout(resolve, 500));
        return framed.contentDocument === null ? 'closed' : 'open';
      })()`),
    ).toBe('closed');
    // None of it did anything: the watch has said nothing of a new set.
    expect(night.out).not.toContain('begins');
    expect((await own.context().cookies()).map(({ domain }) => domain)).toEqual(['127.0.0.1']);
  });
});

/** Some other site. */
async function serveForeign(): Promise<{ port: number; close(): Promise<void> }> {
  const server = createServer((_request, response) => {
    response.setHeader('Content-Type', 'text/html');
    response.end('<p>a foreign page</p>');
  });
  await new Promise<void>((resolve) => server.listen(0, '127.0.0.1', resolve));
  return {
    port: (server.address() as AddressInfo).port,
    close: () =>
      new Promise((resolve) => {
        server.close(() => resolve());
        server.closeAllConnections();
      }),
  };
}

const POLL = { timeout: 30_000, interval: 50 };

/** Runs in the page: reads and changes as a script there would. */
async function tryEverything(base: string): Promise<string[]> {
  const calls: [string, RequestInit][] = [
    ['/', {}],
    ['/state', {}],
    ['/events', {}],
    ['/picture.jpg', {}],
    ...['/nudge', '/moved', '/screen', '/pair'].map((path): [string, RequestInit] => [
      path,
      {
        method: 'POST',
        headers: { 'Content-Type': base === '' ? 'application/json' : 'text/plain' },
        body: path === '/nudge' ? '{"screw":"A","turns":1}' : '{}',
      },
    ]),
  ];
  const seen: string[] = [];
  for (const [path, init] of calls) {
    try {
      const answer = await fetch(base + path, { ...init, credentials: 'include' });
      seen.push(`${path} ${answer.status}`);
    } catch {
      seen.push(`${path} unreadable`);
    }
  }
  return seen;
}

/** Runs in the page: what a screen reader calls a control. */
function nameOf(element: unknown): string {
  const control = element as { labels?: ArrayLike<{ textContent: string }>; textContent: string };
  return (control.labels?.[0]?.textContent ?? control.textContent).trim();
}

/** Largest value of red, green and blue. */
async function channels(page: Page, fullPage: boolean): Promise<number[]> {
  const { data, info } = await sharp(await page.screenshot({ fullPage }))
    .raw()
    .toBuffer({ resolveWithObject: true });
  const largest = [0, 0, 0];
  for (let i = 0; i < data.length; i += info.channels)
    for (let c = 0; c < 3; c++) largest[c] = Math.max(largest[c] ?? 0, data[i + c] ?? 0);
  return largest;
}

/** Fails on the least green or blue; the brightest red. */
async function redOnly(page: Page, fullPage: boolean): Promise<number> {
  const [red = 0, green, blue] = await channels(page, fullPage);
  expect([green, blue]).toEqual([0, 0]);
  return red;
}

/** Reads the QR picture that half-block characters draw. */
function qrText(terminal: string): string {
  const lines = terminal.split('\n').filter((line) => /^[\u2580\u2584\u2588 ]{20,}$/.test(line));
  const columns = Math.max(...lines.map((line) => line.length));
  const cell = 4;
  const [width, height] = [columns * cell, lines.length * 2 * cell];
  const pixels = new Uint8ClampedArray(width * height * 4).fill(255);
  for (let y = 0; y < height; y++)
    for (let x = 0; x < width; x++) {
      const row = Math.floor(y / cell);
      const sign = lines[row >> 1]?.[Math.floor(x / cell)] ?? ' ';
      const lit = sign === '\u2588' || sign === (row % 2 === 0 ? '\u2580' : '\u2584');
      // A lit block is light on the dark ground of a terminal.
      pixels.fill(lit ? 255 : 0, (y * width + x) * 4, (y * width + x) * 4 + 3);
    }
  return jsqr.default(pixels, width, height)?.data ?? '';
}
