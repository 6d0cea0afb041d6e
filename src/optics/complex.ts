/**
 * A complex number, which is also a vector on the sensor: x along the columns, y along the stored rows.
 * The axes are those of the stored pixels; directions on the screen are made at the edge of the program only.
 */
export interface Complex {
  readonly x: number;
  readonly y: number;
}

export const ZERO: Complex = { x: 0, y: 0 };

export function complex(x: number, y = 0): Complex {
  return { x, y };
}

/** Angle in radians from +x towards +y. */
export function polar(length: number, angle: number): Complex {
  return { x: length * Math.cos(angle), y: length * Math.sin(angle) };
}

export function add(...terms: readonly Complex[]): Complex {
  let x = 0;
  let y = 0;
  for (const term of terms) {
    x += term.x;
    y += term.y;
  }
  return { x, y };
}

export function subtract(a: Complex, b: Complex): Complex {
  return { x: a.x - b.x, y: a.y - b.y };
}

export function scale(a: Complex, factor: number): Complex {
  return { x: a.x * factor, y: a.y * factor };
}

export function multiply(a: Complex, b: Complex): Complex {
  return { x: a.x * b.x - a.y * b.y, y: a.x * b.y + a.y * b.x };
}

export function conjugate(a: Complex): Complex {
  return { x: a.x, y: -a.y };
}

/** Re(conj(a) b), the scalar product of the two vectors. */
export function dot(a: Complex, b: Complex): number {
  return a.x * b.x + a.y * b.y;
}

export function length(a: Complex): number {
  return Math.hypot(a.x, a.y);
}

/** a - b as the shorter way round, radians. */
export function angleFrom(a: number, b: number): number {
  return Math.atan2(Math.sin(a - b), Math.cos(a - b));
}

/** Radians from +x towards +y, in (-pi, pi]. */
export function angle(a: Complex): number {
  return Math.atan2(a.y, a.x);
}
