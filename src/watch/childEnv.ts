/** Environment variable that makes the program a process that measures for `watch`; it holds the settings as JSON. */
export const CHILD_ENV = 'STARPLUMB_MEASURING_CHILD';
