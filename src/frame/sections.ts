/** Rectangles that headers name as '[x1:x2,y1:y2]' (1-based, both ends included; an end before its start means a flip). */

export interface Section {
  /** 0-based lower ends. */
  readonly x: number;
  readonly y: number;
  readonly width: number;
  readonly height: number;
  readonly flipX: boolean;
  readonly flipY: boolean;
}

const SECTION = /^\[?\s*(\d{1,6})\s*:\s*(\d{1,6})\s*,\s*(\d{1,6})\s*:\s*(\d{1,6})\s*\]?$/;

/** The rectangle a header text names; null when it names none. */
export function sectionFrom(text: string): Section | null {
  const match = SECTION.exec(text.trim());
  if (match === null) return null;
  const [x1, x2, y1, y2] = match.slice(1).map(Number);
  if (Math.min(x1, x2, y1, y2) < 1) return null;
  return {
    x: Math.min(x1, x2) - 1,
    y: Math.min(y1, y2) - 1,
    width: Math.abs(x2 - x1) + 1,
    height: Math.abs(y2 - y1) + 1,
    flipX: x2 < x1,
    flipY: y2 < y1,
  };
}

export function isInside(section: Section, width: number, height: number): boolean {
  return section.x + section.width <= width && section.y + section.height <= height;
}

export function overlap(a: Section, b: Section): boolean {
  return a.x < b.x + b.width && b.x < a.x + a.width && a.y < b.y + b.height && b.y < a.y + a.height;
}

/** As a header writes it. */
export function sectionText({ x, y, width, height }: Section): string {
  return `[${x + 1}:${x + width},${y + 1}:${y + height}]`;
}
