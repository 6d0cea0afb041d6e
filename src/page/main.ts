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
import { fetchPictures, forget, type Pictures } from './pictures.ts';
import { startThemes, themeNow } from './themes.ts';

let state: LiveState | null = null;
/** The measuring machine's clock less ours, ms. */
let ahead = 0;
let pictures: Pictures | null = null;

function show(next: LiveState): void {
  state = next;
  ahead = Date.parse(next.now) - Date.now();
  byId('pair').hidden = true;
  byId('main').hidden = false;
  drawAnswer(next);
  showPicture();
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
  if (next.picture !== 0 && next.picture !== pictures?.id) void takePicture(next.picture);
}

function pictureWords({ shift, screen, strip }: LiveState): string {
  const newest = strip.findLast((sub) => sub.problem === null)?.file ?? '';
  if (shift === null) return `The newest sub, ${newest}.`;
  const way = directionWords(ownDirectionDeg(shift, screen));
  return `Star A in corners, target B in a lozenge, to the ${way}. Newest sub: ${newest}.`;
}

/** In the light that is on. */
function showPicture(): void {
  if (state !== null) drawField(state, pictures?.[themeNow()] ?? null);
}

async function takePicture(id: number): Promise<void> {
  try {
    const taken = await fetchPictures(id);
    if (taken === null) return;
    if (pictures !== null) forget(pictures);
    pictures = taken;
    showPicture();
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

startThemes(showPicture);
startActions(
  () => state,
  (words) => {
    lost.hidden = words === '';
    setText('lost', words);
  },
);
setInterval(tick, 1000);
link.connect();
