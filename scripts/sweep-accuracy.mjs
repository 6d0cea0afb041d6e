// Accuracy of `sweep` over drawn focus runs: node scripts/sweep-accuracy.mjs [cases] [first seed]; prints a line a case.
import { fromSource } from './fromSource.mjs';

const { sweepCase, measureCase, judgeCase, summariseCases } = await fromSource('../test/support/sweepCases');
const [count = 300, first = 1] = process.argv.slice(2).map(Number);
const judged = [];
let nothing = 0;
for (let seed = first; seed < first + count; seed++) {
  const one = sweepCase(seed);
  const result = judgeCase(one, measureCase(one));
  if (result === null) {
    nothing++;
    console.log(`seed ${seed}: nothing measured`);
    continue;
  }
  judged.push(result);
  const pulls = Object.entries(result.pulls).map(([name, value]) => `${name} ${value.toFixed(1)}`);
  console.log(
    `seed ${seed}: ${result.left}/${result.frames} frames, tilt ${result.tiltUm.toFixed(0)} found ${result.foundUm.toFixed(1)}` +
      ` ± ${result.tiltErrorUm.toFixed(1)} um, ${result.turnedDeg.toFixed(1)} deg off; curvature ${result.curvatureUm.toFixed(0)}` +
      ` found ${result.foundCurvatureUm.toFixed(1)}; best ${result.bestUm.toFixed(1)} um; pulls: ${pulls.join(', ')}`,
  );
}
console.log(`nothing measured in ${nothing}`);
for (const [name, value] of Object.entries(summariseCases(judged)))
  console.log(`${name.padEnd(22)} ${value.toFixed(3)}`);
