#!/usr/bin/env node
import { realEffects } from './effects.ts';
import { runProgram } from './program.ts';

process.exitCode = await runProgram(process.argv.slice(2), realEffects());
