#!/usr/bin/env node
import { compileProgram } from './compiledProgram.ts';
import { startKernelThread } from './kernelHelper.ts';

const given = process.argv.slice(2);
// A thread for the kernels comes up while the program is loaded.
const helpKernels = given[0] === 'check' ? startKernelThread() : null;
const { kernels, realEffects, runProgram } = compileProgram().load();
const compiled = helpKernels === null ? null : kernels();
if (compiled !== null) helpKernels?.(compiled.forHelper());
void runProgram(given, realEffects()).then((code) => {
  process.exitCode = code;
});
