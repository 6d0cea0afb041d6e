import { byId } from './dom.ts';

/** Light of the page: this screen's own affair, remembered here and nowhere else. */
const KEY = 'starplumb-light';

interface Light {
  readonly theme: 'night' | 'day';
  /** Percent. */
  readonly dim: number;
}

/** Red until told otherwise: a flash of white costs half an hour of dark adaptation. */
const FIRST: Light = { theme: 'night', dim: 100 };

function remembered(): Light {
  try {
    const kept = JSON.parse(localStorage.getItem(KEY) ?? 'null') as Partial<Light> | null;
    const dim = Number(kept?.dim);
    return { theme: kept?.theme === 'day' ? 'day' : 'night', dim: dim >= 12 && dim <= 100 ? dim : FIRST.dim };
  } catch {
    return FIRST;
  }
}

export const themeNow = (): Light['theme'] => (document.documentElement.dataset['theme'] === 'day' ? 'day' : 'night');

export function startThemes(onChange: () => void): void {
  let light = remembered();
  const slider = byId<HTMLInputElement>('dim');
  const show = (): void => {
    document.documentElement.dataset['theme'] = light.theme;
    document.documentElement.style.setProperty('--glow', String(light.dim / 100));
    document
      .querySelector('meta[name=theme-color]')
      ?.setAttribute('content', light.theme === 'night' ? '#000000' : '#f6f4ee');
    byId('night').setAttribute('aria-pressed', String(light.theme === 'night'));
    byId('day').setAttribute('aria-pressed', String(light.theme === 'day'));
    slider.value = String(light.dim);
  };
  const change = (next: Partial<Light>): void => {
    light = { ...light, ...next };
    show();
    onChange();
    try {
      localStorage.setItem(KEY, JSON.stringify(light));
    } catch {
      // A private window remembers nothing.
    }
  };
  byId('night').addEventListener('click', () => change({ theme: 'night' }));
  byId('day').addEventListener('click', () => change({ theme: 'day' }));
  slider.addEventListener('input', () => change({ dim: Number(slider.value) }));
  show();
}
