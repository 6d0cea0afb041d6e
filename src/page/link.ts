import type { LiveState } from '../live/liveState.ts';

/** Nothing heard for so long: the connection is taken as lost, whatever the browser thinks of it. */
const SILENT_MS = 10_000;
const RETRY_MS = 1000;

export interface LinkEvents {
  onState(state: LiveState): void;
  /** Null: all is well; else since when nothing was heard. */
  onLost(since: number | null): void;
  onUnpaired(): void;
}

/**
 * Keeps listening: after a cut, a sleeping phone or a restarted watch it connects again by itself. Every state is whole, so
 * whatever was missed does not matter.
 */
export class Link {
  readonly #events: LinkEvents;
  #source: EventSource | null = null;
  #heard = Date.now();
  #retry: ReturnType<typeof setTimeout> | null = null;

  constructor(events: LinkEvents) {
    this.#events = events;
    const wake = (): void => {
      if (document.visibilityState === 'visible' && Date.now() - this.#heard > SILENT_MS / 2) this.connect();
    };
    document.addEventListener('visibilitychange', wake);
    window.addEventListener('online', () => this.connect());
    window.addEventListener('pageshow', wake);
    setInterval(() => {
      const silent = Date.now() - this.#heard;
      if (silent > SILENT_MS) {
        this.#events.onLost(this.#heard);
        if (this.#retry === null) this.#later();
      }
    }, 1000);
  }

  connect(): void {
    if (this.#retry !== null) clearTimeout(this.#retry);
    this.#retry = null;
    this.#source?.close();
    const source = new EventSource('/events');
    this.#source = source;
    const hear = (): void => {
      this.#heard = Date.now();
      this.#events.onLost(null);
    };
    source.addEventListener('message', (event: MessageEvent<string>) => {
      hear();
      this.#events.onState(JSON.parse(event.data) as LiveState);
    });
    source.addEventListener('here', hear);
    source.addEventListener('error', () => {
      if (source !== this.#source) return;
      source.close();
      this.#events.onLost(this.#heard);
      void this.#look();
    });
  }

  /** Refused, or out of reach? */
  async #look(): Promise<void> {
    try {
      let answer = await fetch('/state', { cache: 'no-store' });
      if (answer.status === 401) {
        // On the machine itself the page brings its own key.
        await fetch('/', { cache: 'no-store' });
        answer = await fetch('/state', { cache: 'no-store' });
      }
      if (answer.status === 401) {
        this.#events.onUnpaired();
        return;
      }
    } catch {
      // Out of reach.
    }
    this.#later();
  }

  #later(): void {
    if (this.#retry !== null) clearTimeout(this.#retry);
    this.#retry = setTimeout(() => this.connect(), RETRY_MS);
  }
}

/** Asks the watch to do something; the answer's words where it refuses. */
export async function ask(path: string, body: unknown): Promise<string | null> {
  try {
    const answer = await fetch(path, {
      method: 'POST',
      headers: { 'Content-Type': 'application/json' },
      body: JSON.stringify(body),
    });
    return answer.ok ? null : (await answer.text()).trim();
  } catch {
    return 'No connection to the watch; nothing was kept. Try again.';
  }
}
