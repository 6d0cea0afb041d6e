import type { Polygon } from './raster.ts';

/** Shapes as polygons of one orientation (so that parts that overlap merge), in canvas pixels, y down; angles in degrees on the screen. */

const unit = (deg: number): { x: number; y: number } => {
  const phi = (deg * Math.PI) / 180;
  return { x: Math.cos(phi), y: -Math.sin(phi) };
};

/** The point `distance` pixels from (x, y) towards `deg`. */
export function towards(x: number, y: number, deg: number, distance: number): { x: number; y: number } {
  const u = unit(deg);
  return { x: x + u.x * distance, y: y + u.y * distance };
}

const CIRCLE_STEP_PX = 2;

/** Filled circle. */
export function disc(x: number, y: number, radius: number): Polygon {
  const corners = Math.max(12, Math.ceil((2 * Math.PI * radius) / CIRCLE_STEP_PX));
  const polygon: number[] = [];
  for (let i = 0; i < corners; i++) {
    const phi = (2 * Math.PI * i) / corners;
    polygon.push(x + radius * Math.cos(phi), y + radius * Math.sin(phi));
  }
  return polygon;
}

/** Circle drawn as a line of `width` pixels. */
export function ring(x: number, y: number, radius: number, width: number): Polygon[] {
  const inner = disc(x, y, radius - width / 2);
  return [disc(x, y, radius + width / 2), reversed(inner)];
}

/** Straight line with round ends. */
export function line(x1: number, y1: number, x2: number, y2: number, width: number): Polygon[] {
  const length = Math.hypot(x2 - x1, y2 - y1);
  const r = width / 2;
  if (length === 0) return [disc(x1, y1, r)];
  const nx = (-(y2 - y1) / length) * r;
  const ny = ((x2 - x1) / length) * r;
  const body = [x1 - nx, y1 - ny, x2 - nx, y2 - ny, x2 + nx, y2 + ny, x1 + nx, y1 + ny];
  return [body, disc(x1, y1, r), disc(x2, y2, r)];
}

/** Dashes of `dash` pixels with gaps of `gap` pixels. */
export function dashedLine(
  x1: number,
  y1: number,
  x2: number,
  y2: number,
  width: number,
  dash: number,
  gap: number,
): Polygon[] {
  const length = Math.hypot(x2 - x1, y2 - y1);
  const polygons: Polygon[] = [];
  for (let at = 0; at < length; at += dash + gap) {
    const to = Math.min(length, at + dash);
    const [p, q] = [at / length, to / length];
    polygons.push(...line(x1 + (x2 - x1) * p, y1 + (y2 - y1) * p, x1 + (x2 - x1) * q, y1 + (y2 - y1) * q, width));
  }
  return polygons;
}

/** Line with a filled head at its end; the tip stands exactly at (x2, y2). `grow` widens every edge by half of itself. */
export function arrow(x1: number, y1: number, x2: number, y2: number, width: number, grow = 0): Polygon[] {
  const length = Math.hypot(x2 - x1, y2 - y1);
  if (length === 0) return [];
  const head = Math.min(length, width * 4.5);
  const half = head * 0.48;
  const [ux, uy] = [(x2 - x1) / length, (y2 - y1) / length];
  const [bx, by] = [x2 - ux * head, y2 - uy * head];
  const triangle = [bx + uy * half, by - ux * half, x2, y2, bx - uy * half, by + ux * half];
  // Scaled about its incentre a triangle grows evenly: inradius r = area / half the circumference.
  const slant = Math.hypot(head, half);
  const inradius = (head * half) / (slant + half);
  const [cx, cy] = [bx + ux * inradius, by + uy * inradius];
  const larger = 1 + grow / 2 / inradius;
  const grown = triangle.map((value, i) => (i % 2 === 0 ? cx : cy) + larger * (value - (i % 2 === 0 ? cx : cy)));
  const end = Math.max(0, length - head * 0.9);
  return [...line(x1, y1, x1 + ux * end, y1 + uy * end, width + grow), grown];
}

/** Sector of a circle around `deg`, `halfDeg` to each side, from `inner` to `outer` pixels. */
export function sector(x: number, y: number, inner: number, outer: number, deg: number, halfDeg: number): Polygon {
  const steps = Math.max(4, Math.ceil(halfDeg));
  const polygon: number[] = [];
  for (let i = 0; i <= steps; i++) {
    const p = towards(x, y, deg + halfDeg - (2 * halfDeg * i) / steps, outer);
    polygon.push(p.x, p.y);
  }
  for (let i = steps; i >= 0; i--) {
    const p = towards(x, y, deg + halfDeg - (2 * halfDeg * i) / steps, inner);
    polygon.push(p.x, p.y);
  }
  return polygon;
}

/** Rectangle with rounded corners. */
export function plate(x: number, y: number, width: number, height: number, radius: number): Polygon {
  const r = Math.min(radius, width / 2, height / 2);
  const polygon: number[] = [];
  const corners = [
    [x + width - r, y + r, -90],
    [x + width - r, y + height - r, 0],
    [x + r, y + height - r, 90],
    [x + r, y + r, 180],
  ] as const;
  for (const [cx, cy, from] of corners) {
    for (let i = 0; i <= 8; i++) {
      const phi = ((from + (90 * i) / 8) * Math.PI) / 180;
      polygon.push(cx + r * Math.cos(phi), cy + r * Math.sin(phi));
    }
  }
  return polygon;
}

function reversed(polygon: Polygon): Polygon {
  const turned: number[] = [];
  for (let i = polygon.length - 2; i >= 0; i -= 2) turned.push(polygon[i], polygon[i + 1]);
  return turned;
}
