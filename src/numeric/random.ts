/** A stream of random numbers that is the same on every machine for the same seed. */
export interface Random {
  /** Uniform in [0, 1), 32 random bits. */
  uniform(): number;
  /** Uniform integer in [0, below). */
  integer(below: number): number;
  /** Normal, mean 0, standard deviation 1. */
  normal(): number;
  /** Poisson with the given mean (>= 0). */
  poisson(mean: number): number;
}

/** Above this mean a rounded normal stands for the Poisson: its skewness is then below 1/8, far under what noise hides. */
const POISSON_NORMAL_ABOVE = 64;

/** One step of the splitmix32 hash, which spreads the seed over the generator's state. */
function mix(state: number): number {
  let h = (state + 0x9e3779b9) | 0;
  h = Math.imul(h ^ (h >>> 16), 0x21f0aaad);
  h = Math.imul(h ^ (h >>> 15), 0x735a2d97);
  return (h ^ (h >>> 15)) >>> 0;
}

function seedOf(seed: number, stream: string): number {
  let h = mix((Math.trunc(seed) % 0x100000000) >>> 0);
  for (let i = 0; i < stream.length; i++) h = mix(h ^ stream.charCodeAt(i));
  return h;
}

/**
 * Small fast counting generator (sfc32: C. Doty-Humphrey's PractRand collection, public domain).
 * `stream` names an independent sequence of one seed, so that adding one ingredient leaves the others' numbers alone.
 */
export function seededRandom(seed: number, stream = ''): Random {
  let a = seedOf(seed, stream);
  let b = mix(a);
  let c = mix(b);
  let counter = 1;
  let spare = Number.NaN;

  const bits = (): number => {
    const sum = (((a + b) | 0) + counter) | 0;
    counter = (counter + 1) | 0;
    a = b ^ (b >>> 9);
    b = (c + (c << 3)) | 0;
    c = (((c << 21) | (c >>> 11)) + sum) | 0;
    return sum >>> 0;
  };
  for (let i = 0; i < 12; i++) bits();

  const uniform = (): number => bits() * 2 ** -32;

  // Marsaglia's polar method (SIAM Review 6, 260, 1964).
  const normal = (): number => {
    if (!Number.isNaN(spare)) {
      const kept = spare;
      spare = Number.NaN;
      return kept;
    }
    let u = 0;
    let v = 0;
    let s = 0;
    do {
      u = 2 * uniform() - 1;
      v = 2 * uniform() - 1;
      s = u * u + v * v;
    } while (s >= 1 || s === 0);
    const scale = Math.sqrt((-2 * Math.log(s)) / s);
    spare = v * scale;
    return u * scale;
  };

  const poisson = (mean: number): number => {
    if (!(mean >= 0)) throw new RangeError(`poisson mean must be >= 0, got ${mean}`);
    if (mean > POISSON_NORMAL_ABOVE) return Math.max(0, Math.round(mean + Math.sqrt(mean) * normal()));
    const limit = Math.exp(-mean);
    let product = uniform();
    let count = 0;
    while (product > limit) {
      product *= uniform();
      count++;
    }
    return count;
  };

  return { uniform, integer: (below) => Math.floor(uniform() * below), normal, poisson };
}
