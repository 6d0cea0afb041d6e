import type { LiveState, OwnScreen } from '../live/liveState.ts';
import { byId, element, setText } from './dom.ts';
import { ask } from './link.ts';

/** Wires the buttons; `state` gives the newest one. */
export function startActions(state: () => LiveState | null, onProblem: (words: string) => void): void {
  const dialog = byId<HTMLDialogElement>('screws');
  const form = byId<HTMLFormElement>('screw-form');
  byId('turned').addEventListener('click', () => {
    offerScrews(state()?.screws ?? [], state()?.nextTurn?.moves[0]?.screw);
    setText('screw-error', '');
    dialog.showModal();
  });
  byId('did').addEventListener('click', () => void keepProposed(state(), onProblem));
  byId('screw-cancel').addEventListener('click', () => dialog.close());
  form.addEventListener('submit', (event) => {
    event.preventDefault();
    void keepTurn(form, dialog);
  });
  byId('moved').addEventListener('click', () => void tell('/moved', {}, onProblem));
  const screen = (): OwnScreen => state()?.screen ?? { mirrored: false, turnedDeg: 0 };
  byId('mirror').addEventListener('click', () => {
    const { mirrored, turnedDeg } = screen();
    void tell('/screen', { mirrored: !mirrored, turnedDeg }, onProblem);
  });
  byId('turn').addEventListener('click', () => {
    const { mirrored, turnedDeg } = screen();
    void tell('/screen', { mirrored, turnedDeg: (turnedDeg + 90) % 360 }, onProblem);
  });
}

async function tell(path: string, body: unknown, onProblem: (words: string) => void): Promise<void> {
  onProblem((await ask(path, body)) ?? '');
}

async function keepTurn(form: HTMLFormElement, dialog: HTMLDialogElement): Promise<void> {
  const given = new FormData(form);
  const text = (name: string): string => {
    const value = given.get(name);
    return typeof value === 'string' ? value : '';
  };
  const save = byId<HTMLButtonElement>('screw-save');
  save.disabled = true;
  const refused = await ask('/nudge', { screw: text('screw'), turns: Number(text('sense')) * Number(text('turns')) });
  save.disabled = false;
  setText('screw-error', refused ?? '');
  if (refused === null) dialog.close();
}

/** All proposed turns, one after another; what could not be kept is told. */
async function keepProposed(state: LiveState | null, onProblem: (words: string) => void): Promise<void> {
  const did = byId<HTMLButtonElement>('did');
  did.disabled = true;
  for (const { screw, turns } of state?.nextTurn?.moves ?? []) {
    const refused = await ask('/nudge', { screw, turns });
    onProblem(refused ?? '');
    if (refused !== null) break;
  }
  did.disabled = false;
}

function offerScrews(names: readonly string[], proposed: string | undefined): void {
  const row = byId('screw-names');
  const chosen = proposed ?? row.querySelector<HTMLInputElement>('input:checked')?.value ?? names[0];
  row.replaceChildren(
    ...names.map((name) => {
      const input = element('input', { type: 'radio', name: 'screw', value: name });
      input.checked = name === chosen;
      return element('label', { class: 'chip' }, input, element('span', {}, name));
    }),
  );
}

/** The pairing form; `onPaired` once the code was taken. A code that came with the address is used and wiped at once. */
export function startPairing(onPaired: () => void): { show: () => void } {
  const form = byId<HTMLFormElement>('pair');
  const input = byId<HTMLInputElement>('code');
  const brought = /^#pair=([\w-]{1,20})$/.exec(location.hash)?.[1] ?? null;
  if (location.hash.startsWith('#pair')) history.replaceState(null, '', location.pathname);
  let first = brought;
  const tryCode = async (code: string): Promise<void> => {
    const refused = await ask('/pair', { code });
    setText('pair-error', refused ?? '');
    if (refused !== null) return;
    form.hidden = true;
    input.value = '';
    onPaired();
  };
  form.addEventListener('submit', (event) => {
    event.preventDefault();
    if (input.value.trim() !== '') void tryCode(input.value);
  });
  return {
    show: () => {
      if (form.hidden) setText('pair-error', '');
      form.hidden = false;
      if (first !== null) void tryCode(first);
      else input.focus();
      first = null;
    },
  };
}
