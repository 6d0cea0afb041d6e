import { CURVE_DATA, descend } from './curveFit';
import { get, set } from './linear';

/**
 * The surface of src/field/sizeField.ts: p[frame] + (p[subs + frame] + p[2 subs] u + p[2 subs + 1] v + p[2 subs + 2] r2)^2, and
 * p[frame] itself for what is known of it beforehand.
 */

let n: i32 = 0;
let subs: i32 = 0;
let points: i32 = 0;
let all: i32 = 0;
let frames: usize = 0;
let us: usize = 0;
let vs: usize = 0;
let r2s: usize = 0;

// @ts-ignore: decorators stand on functions here
@inline
function bracket(p: usize, frame: i32, i: i32): f64 {
  const slopes = p + ((<usize>(2 * subs)) << 3);
  return get(p, subs + frame) + get(slopes, 0) * get(us, i) + get(slopes, 1) * get(vs, i) + get(slopes, 2) * get(r2s, i);
}

function values(p: usize, out: usize): void {
  for (let i = 0; i < all; i++) {
    const frame = <i32>get(frames, i);
    const b = i < points ? bracket(p, frame, i) : 0;
    set(out, i, get(p, frame) + b * b);
  }
}

function slopes(p: usize, out: usize, rows: usize): void {
  values(p, out);
  for (let i = 0; i < all; i++) {
    const frame = <i32>get(frames, i);
    const row = rows + ((<usize>(i * n)) << 3);
    set(row, frame, 1);
    if (i >= points) continue;
    const d = 2 * bracket(p, frame, i);
    set(row, subs + frame, d);
    set(row, 2 * subs, d * get(us, i));
    set(row, 2 * subs + 1, d * get(vs, i));
    set(row, 2 * subs + 2, d * get(r2s, i));
  }
}

/**
 * From CURVE_DATA, `count` numbers each: frames (a parameter's place from `measured` on), u, v, r2, values, errors. What `descend`
 * answers.
 */
export function descendSurface(measured: i32, count: i32, frameCount: i32, iterations: i32): f64 {
  const length = (<usize>count) << 3;
  points = measured;
  all = count;
  subs = frameCount;
  n = 2 * subs + 3;
  frames = CURVE_DATA;
  us = frames + length;
  vs = us + length;
  r2s = vs + length;
  const measures = r2s + length;
  return descend(n, count, measures, measures + length, measures + 2 * length, iterations, values, slopes);
}
