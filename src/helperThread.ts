import { compileProgram } from './compiledProgram.ts';

// Runs in a thread of its own, started by commands/helperThreads.ts.
void compileProgram().load().runHelperThread();
