import { join } from 'node:path';
import envPaths from 'env-paths';

/** Folders where the platform keeps what belongs to a user: XDG on Linux, Library on macOS, AppData on Windows. */
export interface Places {
  readonly data: string;
  readonly config: string;
}

export function userPlaces(): Places {
  const { data, config } = envPaths('starplumb', { suffix: '' });
  return { data, config };
}

/** The history where no other file is named. */
export function historyFile(places: Places): string {
  return join(places.data, 'history.sqlite');
}
