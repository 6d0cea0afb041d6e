#!/usr/bin/python3
"""Star shapes on a bench frame by general-purpose programs, for the table of scripts/shapes-table.mjs.

usage: shapes_table.py FRAME.fits CATALOGUE.cat < cutouts.json > shapes.json

CATALOGUE.cat: source-extractor's ASCII_HEAD with NUMBER X_IMAGE Y_IMAGE FWHM_IMAGE ELONGATION THETA_IMAGE FLUX_AUTO FLAGS.
cutouts.json: list of {"x", "y" (0-based), "half"} around which scipy and astropy fit an elliptical Gaussian plus constant.
Output: {"source-extractor": [[x, y, fwhm, elongation, thetaDeg]...], "sep": [...], "photutils": [...], "scipy": [...], "versions": {...}}
"""
import json
import sys
import warnings

import astropy
import numpy as np
import photutils
import scipy
import sep
from astropy.io import fits
from scipy.optimize import least_squares

warnings.filterwarnings("ignore")
SIGMA_TO_FWHM = 2 * np.sqrt(2 * np.log(2))

frame, catalogue = sys.argv[1:3]
wanted = json.load(sys.stdin)
data = fits.getdata(frame).astype(np.float32)

se = np.loadtxt(catalogue, ndmin=2)
out = {"source-extractor": [[r[1] - 1, r[2] - 1, r[3], r[4], r[5]] for r in se]}

background = sep.Background(data)
sub = data - background
found = sep.extract(sub, 3.0, err=background.globalrms)
radius, _ = sep.flux_radius(sub, found["x"], found["y"], 6.0 * found["a"], 0.5, subpix=5)
out["sep"] = [[o["x"], o["y"], 2 * r, o["a"] / o["b"], np.degrees(o["theta"])] for o, r in zip(found, radius)]

# photutils: a box of source moments at each wanted star (DAOStarFinder over 26 megapixels adds nothing to the shapes).
from photutils.morphology import data_properties

rows = []
for c in wanted:
    x, y, h = int(round(c["x"])), int(round(c["y"])), c["half"]
    cut = sub[y - h : y + h + 1, x - h : x + h + 1].astype(float)
    mask = cut < 3 * background.globalrms
    p = data_properties(cut, mask=mask)
    theta = getattr(p.orientation, "value", p.orientation)
    a, b = (getattr(v, "value", v) for v in (p.semimajor_sigma, p.semiminor_sigma))
    xc, yc = (float(v) for v in p.centroid)
    rows.append([xc + x - h, yc + y - h, SIGMA_TO_FWHM * np.sqrt(a * b), a / b, float(theta)])
out["photutils moments"] = rows

rows = []
for c in wanted:
    x0, y0, h = int(round(c["x"])), int(round(c["y"])), c["half"]
    cut = data[y0 - h : y0 + h + 1, x0 - h : x0 + h + 1].astype(float)
    gy, gx = np.mgrid[-h : h + 1, -h : h + 1]

    def residual(p):
        dx, dy = gx - p[1], gy - p[2]
        return (cut - p[0] * np.exp(-(p[3] * dx**2 + p[4] * dx * dy + p[5] * dy**2)) - p[6]).ravel()

    form = 4 * np.log(2) / 9
    peak, sky = cut.max(), np.median(cut)
    r = least_squares(residual, [peak - sky, c["x"] - x0, c["y"] - y0, form, 0, form, sky], method="lm", x_scale=[peak, 1, 1, form, form, form, peak])
    _, dx, dy, a, b, cc, _ = r.x
    q = np.array([[2 * a, b], [b, 2 * cc]])
    w, v = np.linalg.eigh(np.linalg.inv(q))
    major, minor = np.sqrt(w[1]), np.sqrt(w[0])
    rows.append([x0 + dx, y0 + dy, SIGMA_TO_FWHM * np.sqrt(major * minor), major / minor, float(np.degrees(np.arctan2(v[1, 1], v[0, 1])))])
out["scipy"] = rows
out["versions"] = {"sep": sep.__version__, "photutils": photutils.__version__, "astropy": astropy.__version__, "scipy": scipy.__version__}
json.dump(out, sys.stdout)
