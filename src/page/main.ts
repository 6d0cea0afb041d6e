import type { LiveState } from '../live/liveState.ts';
import { ownDirectionDeg } from '../live/ownScreen.ts';
import { directionWords } from '../report/wording.ts';
import { startActions, startPairing } from './actions.ts';
import { drawAge, span } from './ageView.ts';
import { drawAnswer } from './answerView.ts';
import { drawChange, drawProblems, drawStrip, drawTrend } from './courseView.ts';
import { byId, setText } from './dom.ts';
import { drawField } from './fieldView.ts';
import { Link } from './link.ts';
import { startThemes } from './themes.ts';

let state: LiveState | null = null;
/** The measuring machine's clock less ours, ms. */
let ahead = 0;
let picture: { readonly id: number; readonly url: string } | null = null;

function show(next: LiveState): void {
  state = next;
  ahead = Date.parse(next.now) - Date.now();
  byId('pair').hidden = true;
  byId('main').hidden = false;
  drawAnswer(next);
  drawField(next, picture?.url ?? null);
  setText('picture-text', pictureWords(next));
  byId('field').hidden = next.frame === null;
  const { mirrored, turnedDeg } = next.screen;
  byId('mirror').setAttribute('aria-pressed', String(mirrored));
  const shown = [mirrored ? 'mirrored' : '', turnedDeg === 0 ? '' : `turned by ${turnedDeg}°`].filter(
    (part) => part !== '',
  );
  setText(
    'screen-text',
    `If a star stands elsewhere on your own screen than here, mirror or turn this picture until both agree${shown.length > 0 ? ` (now ${shown.join(' and ')})` : ''}.`,
  );
  drawStrip(next);
  drawChange(next);
  drawTrend(next);
  drawProblems(next);
  setText('folder', `Watching ${next.folder}; ${next.measuredSubs} subs measured.`);
  tick();
  if (next.picture !== 0 && next.picture !== picture?.id) void fetchPicture(next.picture);
}

function pictureWords({ shift, screen, strip }: LiveState): string {
  const newest = strip.findLast((sub) => sub.problem === null)?.file ?? '';
  if (shift === null) return `The newest sub, ${newest}.`;
  const way = directionWords(ownDirectionDeg(shift, screen));
  return `Star A in corners, target B in a lozenge, to the ${way}. Newest sub: ${newest}.`;
}

async function fetchPicture(id: number): Promise<void> {
  try {
    const answer = await fetch('/picture.jpg', { cache: 'no-store' });
    if (!answer.ok) return;
    const url = URL.createObjectURL(await answer.blob());
    if (picture !== null) URL.revokeObjectURL(picture.url);
    picture = { id, url };
    if (state !== null) drawField(state, url);
  } catch {
    // The next state asks again.
  }
}

function tick(): void {
  if (state !== null) drawAge(state, Date.now() + ahead);
}

const lost = byId('lost');
const pairing = startPairing(() => link.connect());
const link = new Link({
  onState: show,
  onLost: (since) => {
    lost.hidden = since === null;
    if (since === null) return;
    const seconds = (Date.now() - since) / 1000;
    setText(
      'lost',
      state === null
        ? 'No connection to the watch; trying again …'
        : `Connection lost ${span(seconds)} ago: what stands below is old. Trying again …`,
    );
  },
  onUnpaired: () => {
    lost.hidden = true;
    byId('main').hidden = true;
    setText('age', 'Not paired');
    setText('exposing', '');
    pairing.show();
  },
});

startThemes();
startActions(
  () => state,
  (words) => {
    lost.hidden = words === '';
    setText('lost', words);
  },
);
setInterval(tick, 1000);
link.connect();
