#!/usr/bin/env node
import { compileProgram } from './compiledProgram.ts';

const { realEffects, runProgram } = compileProgram().load();
process.exitCode = await runProgram(process.argv.slice(2), realEffects());
