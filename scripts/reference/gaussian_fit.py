#!/usr/bin/python3
"""Elliptical Gaussians by scipy.optimize.least_squares, for comparison with src/shapes.

usage: gaussian_fit.py < cutouts.json > fits.json

Input: list of {"x": [...], "y": [...], "value": [...], "weight": [...], "start": [A, x0, y0, a, b, c, B]}
Model: A exp(-(a dx^2 + b dx dy + c dy^2)) + B at pixel centres, residuals weighted by sqrt(weight).
Output: list of [A, x0, y0, a, b, c, B] or null where scipy does not converge.
"""
import json
import sys

import numpy as np
from scipy.optimize import least_squares


def fit(cutout):
    x, y, value = (np.array(cutout[k]) for k in ("x", "y", "value"))
    root = np.sqrt(np.array(cutout["weight"]))

    def residual(p):
        dx, dy = x - p[1], y - p[2]
        return root * (value - p[0] * np.exp(-(p[3] * dx**2 + p[4] * dx * dy + p[5] * dy**2)) - p[6])

    scale = np.array([cutout["start"][0], 1, 1, cutout["start"][3], cutout["start"][3], cutout["start"][5], cutout["start"][0]])
    result = least_squares(residual, cutout["start"], method="lm", x_scale=scale, xtol=1e-12, ftol=1e-12, max_nfev=5000)
    return list(result.x) if result.success else None


json.dump([fit(c) for c in json.load(sys.stdin)], sys.stdout)
