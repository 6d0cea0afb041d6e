/** The page's element of that id; the page is ours, so its absence is a fault of ours. */
// eslint-disable-next-line @typescript-eslint/no-unnecessary-type-parameters -- says what the document holds there
export function byId<T extends Element = HTMLElement>(id: string): T {
  const element = document.getElementById(id);
  if (element === null) throw new RangeError(`no element ${id}`);
  return element as unknown as T;
}

/** Written only where it changed: a screen reader speaks every change. */
export function setText(id: string, text: string): void {
  const element = byId(id);
  if (element.textContent !== text) element.textContent = text;
}

export function setItems(id: string, texts: readonly string[]): void {
  const list = byId(id);
  if (Array.from(list.children, (child) => child.textContent).join('\n') === texts.join('\n')) return;
  list.replaceChildren(...texts.map((text) => element('li', {}, text)));
}

export function element<K extends keyof HTMLElementTagNameMap>(
  name: K,
  attributes: Readonly<Record<string, string>>,
  ...children: (Node | string)[]
): HTMLElementTagNameMap[K] {
  const made = document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
  made.append(...children);
  return made;
}

export function svg(
  name: string,
  attributes: Readonly<Record<string, string | number>>,
  ...children: (Node | string)[]
): SVGElement {
  const made = document.createElementNS('http://www.w3.org/2000/svg', name);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, String(value));
  made.append(...children);
  return made;
}
