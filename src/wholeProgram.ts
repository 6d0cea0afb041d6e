// What the build makes one file of, for cli.ts and helperThread.ts to load.
export { runHelperThread } from './commands/helperThread.ts';
export { realEffects } from './effects.ts';
export { compileKernelsBy, kernels } from './kernels/kernels.ts';
export { runProgram } from './program.ts';
