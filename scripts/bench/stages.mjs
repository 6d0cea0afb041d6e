// Stage times of a quick check, in a process of its own so that nothing is warm.
// usage: node scripts/bench/stages.mjs FRAME
import { createHash } from 'node:crypto';
import { fromSource } from '../fromSource.mjs';

const source = await fromSource(
  ...['commands/frames', 'kernels/kernels', 'measure', 'stars/plane', 'stars/background', 'stars/detect'],
  ...['field/fitField', 'diagnosis/diagnose', 'diagnosis/setupFromFrames', 'report/preview', 'report/compose'],
  ...['report/composePicture', 'report/fieldPicture', 'report/encodePicture', 'report/record', 'report/text'],
);
const path = process.argv[2];
const times = {};
let last = performance.now();
const mark = (stage) => {
  const now = performance.now();
  if (stage !== null) times[stage] = now - last;
  last = performance.now();
};
const kernels = source.kernels();
let sha256 = '';
mark(null);
const frame = await source.loadFrame(
  { name: path, path },
  {
    ...source.DISK,
    readFile: async (name, room) => {
      const bytes = await source.DISK.readFile(name, room);
      mark('read');
      sha256 = createHash('sha256').update(bytes).digest('hex');
      mark('SHA-256');
      return bytes;
    },
  },
  kernels?.room,
);
mark('decode, facts');
const preview = source.stretchPreview(frame);
mark('small picture');
const plane = source.planeForKernels(source.planeOf(frame));
const background = source.meshBackground(plane);
mark('background mesh');
source.detectStars(source.filledPlane(plane), background);
mark('detection');
const before = times['background mesh'] + times.detection;
const measured = source.measureFrame(frame, { spikes: false });
mark('stars');
times.stars = Math.max(0, times.stars - before);
const setup = source.setupFromFrames([frame], {});
const orientation = source.orientationOf([frame], {});
const field = source.fitField([measured.stars]);
mark('field');
const diagnosis = source.diagnose([measured.stars], field, setup, orientation.screenY);
mark('response, diagnosis');
const measurement = { frames: [measured], setup, orientation, field, diagnosis };
const report = source.parseReport(
  source.composeReport(measurement, {
    created: new Date().toISOString(),
    tool: { name: 'starplumb', version: '0.0.0' },
    frames: [frame],
    sha256: [sha256],
  }),
);
source.renderText(report, { width: 80, colour: false });
JSON.stringify(report, null, 2);
mark('record, text');
const shown = source.onScreen(preview, orientation.rowOrder);
const canvas = source.drawFieldPicture(report, source.composePicture(shown, measurement));
mark('drawing');
await source.encodePng(canvas);
mark('PNG');
console.log(JSON.stringify(times));
