import type { Measurement } from '../measure.ts';

/** What was assumed or is missing, with the option that would tell. */
export function notesOf({ setup, orientation, diagnosis: { amounts } }: Measurement): string[] {
  const missing = [
    setup.focalLengthMm.value === null ? 'focal length (--focal MM)' : '',
    setup.apertureMm.value === null ? 'aperture (--aperture MM)' : '',
    setup.pixelUm.value === null ? 'pixel size (--pixel UM)' : '',
  ].filter((name) => name !== '');
  const notes: string[] = [];
  if (Object.keys(setup.wishes).length > 0 && amounts?.physical === false)
    notes.push('The tolerances of your rig need focal length, aperture and pixel size: the usual ones were taken.');
  if (missing.length > 0) notes.push(`Not told: ${missing.join(', ')}; everything is given in pixels.`);
  if (orientation.assumed)
    notes.push(
      'The file does not tell its row order: taken as BOTTOM-UP, the FITS display convention (--row-order top-down turns it over).',
    );
  if (setup.primaryFocalLengthMm.from === 'assumed')
    notes.push(
      'The primary’s own focal length is not told and taken as the effective one (--primary-focal MM or --corrector MAGNIFICATION): with a reducer the tilt would be wrong by the square of its magnification.',
    );
  if (setup.obstructionMm !== undefined && amounts?.physical === true)
    notes.push(
      amounts.optics.obstruction === undefined
        ? `The rig’s obstruction of ${setup.obstructionMm} mm does not fit this aperture and was left out.`
        : `Central obstruction ${setup.obstructionMm} mm, by the rig.`,
    );
  if (setup.corrector.value.present === 'unknown' && amounts !== null)
    notes.push(
      amounts.optics.bare
        ? 'Coma grows from a node as a bare paraboloid’s does: no corrector, it seems (--corrector MAGNIFICATION if there is one).'
        : 'Coma hardly changes over the field: a corrector, it seems (--corrector none if there is none).',
    );
  return notes;
}
