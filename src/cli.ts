#!/usr/bin/env node
import { compileProgram } from './compiledProgram.ts';
import { startKernelThread } from './kernelHelper.ts';

const [command = '', ...more] = process.argv.slice(2);
// The thread comes up while the program is loaded.
const helpKernels = command === 'check' && !more.includes('--help') ? startKernelThread() : null;
const { realEffects, runProgram } = compileProgram().load();
process.exitCode = await runProgram([command, ...more].slice(0, process.argv.length - 2), realEffects(helpKernels));
