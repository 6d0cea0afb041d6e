import type { LiveState } from '../live/liveState.ts';
import { afterWords } from '../live/nextLines.ts';
import { ownDirectionDeg } from '../live/ownScreen.ts';
import { directionWords, VERDICT_WORDS } from '../report/wording.ts';
import { byId, setItems, setText, svg } from './dom.ts';

/** Verdict, headline, next move. */
export function drawAnswer(state: LiveState): void {
  const { verdict, shift, screen } = state;
  setText('verdict', verdict === 'waiting' ? 'Waiting' : VERDICT_WORDS[verdict]);
  setText('headline', waitingWords(state) ?? state.headline);
  setItems('details', state.details);
  drawPlumb(verdict);
  document.title = `${verdict === 'waiting' ? 'Waiting' : VERDICT_WORDS[verdict]}: Starplumb`;
  const move = byId('move').parentElement;
  const arrow = byId<SVGSVGElement>('arrow');
  const direction = shift === null ? null : ownDirectionDeg(shift, screen);
  arrow.toggleAttribute('hidden', direction === null);
  move?.classList.toggle('plain', direction === null);
  if (shift !== null && direction !== null) {
    drawArrow(arrow, direction);
    const step = shift.length / shift.steps;
    const steps = shift.steps > 1 ? ` This is the first of ${shift.steps} such steps.` : '';
    setText(
      'move',
      `Tilt the primary until star A has gone ${step.toFixed(0)} px ± ${(shift.error / shift.steps).toFixed(0)} to the ${directionWords(direction)}, to B.${steps}`,
    );
  } else setText('move', plainMove(state));
  const turn = state.nextTurn;
  setText('screw-move', turn === null ? '' : `${turn.headline}${afterWords(turn)}`);
  setText('screw-because', turn?.because ?? '');
  setText('screw-warning', turn?.warning ?? '');
  const toTurn = (turn?.moves.length ?? 0) > 0;
  byId('did').hidden = !toTurn;
  byId('turned').classList.toggle('main', !toTurn);
}

function waitingWords(state: LiveState): string | null {
  if (state.verdict !== 'waiting') return null;
  const { set } = state;
  if (set === null || set.cause === 'start') return state.headline;
  return `Noted: ${set.why}. Waiting for a sub taken after that.`;
}

function plainMove(state: LiveState): string {
  switch (state.verdict) {
    case 'waiting':
      return 'Nothing yet.';
    case 'good':
      return 'Nothing to adjust. Lock, look once more, and take your pictures.';
    case 'inconclusive':
      return state.needs === null ? 'Turn nothing on this measurement.' : `Turn nothing yet. Needed: ${state.needs}.`;
    case 'adjust':
      return state.advice;
  }
}

/** A plumb line: hanging straight where all is well, aside where something is off, broken where nothing can be told. */
function drawPlumb(verdict: LiveState['verdict']): void {
  const aside = verdict === 'adjust' ? 24 : 0;
  const x = 50 + aside;
  const dashed = verdict === 'waiting' || verdict === 'inconclusive';
  byId('plumb').replaceChildren(
    svg('path', { class: 'stroke', 'stroke-width': 5, d: 'M22 6H78' }),
    svg('path', { class: dashed ? 'stroke dashed' : 'stroke', 'stroke-width': 3, d: `M50 6L${x} 72` }),
    ...(dashed ? [] : [svg('path', { class: 'solid', d: `M${x - 13} 72H${x + 13}L${x} 104Z` })]),
    svg('path', { class: 'stroke', 'stroke-width': 3, d: 'M50 108V118M36 118H64' }),
  );
}

function drawArrow(view: SVGSVGElement, directionDeg: number): void {
  view.replaceChildren(
    svg(
      'g',
      { transform: `rotate(${-directionDeg})` },
      svg('path', { class: 'stroke', 'stroke-width': 10, d: 'M-38 0H14' }),
      svg('path', { class: 'solid', d: 'M44 0L8 -22V22Z' }),
    ),
  );
}
