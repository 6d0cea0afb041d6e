"""Prints what astropy reads from FITS images, one JSON line an image plane, for comparison with our reader.

usage: fits_pixels.py FILE... (Debian's python3-astropy; its tile decompression is cfitsio's C code)
Digest: SHA-256 of the plane as little-endian float64, every NaN written as the same bits.
"""

import hashlib
import json
import sys
import warnings

import numpy
from astropy.io import fits

warnings.simplefilter("ignore")


def digest(plane):
    values = numpy.ascontiguousarray(plane, dtype="<f8")
    values[numpy.isnan(values)] = numpy.nan
    return hashlib.sha256(values.tobytes()).hexdigest()


for path in sys.argv[1:]:
    with fits.open(path) as hdus:
        for index, hdu in enumerate(hdus):
            if not hdu.is_image or isinstance(hdu, fits.GroupsHDU):
                continue
            try:
                data = hdu.data
            except Exception as error:  # noqa: BLE001 - whatever astropy cannot read is reported, not judged
                print(json.dumps({"file": path, "hdu": index, "error": str(error)}))
                continue
            if data is None or data.ndim < 2 or data.size == 0:
                continue
            planes = data.reshape(-1, *data.shape[-2:])
            print(
                json.dumps(
                    {
                        "file": path,
                        "hdu": index,
                        "type": data.dtype.newbyteorder("=").name,
                        "width": data.shape[-1],
                        "height": data.shape[-2],
                        "planes": [digest(plane) for plane in planes],
                    }
                )
            )
