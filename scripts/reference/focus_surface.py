# Tilt and curvature of best focus from star sizes of a series, by scipy.optimize.least_squares: sizes a plain parabola, the
# floor of each frame normally distributed about a common one with a steady drift. Reads {"spread", "drift", "frames": [{"t",
# "stars": [[u, v, q0, error], ...]}, ...]}, writes best focus (constant, u, v, u^2 + v^2) and its errors.
import json
import sys

import numpy as np
from scipy.optimize import least_squares

given = json.load(sys.stdin)
series = given["frames"]
t = np.concatenate([np.full(len(f["stars"]), f["t"]) for f in series])
frame = np.concatenate([np.full(len(f["stars"]), i) for i, f in enumerate(series)])
u, v, q0, error = np.concatenate([np.array(f["stars"]) for f in series]).T
r2 = u * u + v * v
order = np.linspace(-1, 1, len(series))


def residuals(p):
    floor, drift, growth, bx, by, b2, best, bu, bv, br = p[:10]
    own = p[10:]
    floors = (floor + drift * order + own)[frame] + bx * u + by * v + b2 * r2
    dt = t - best - bu * u - bv * v - br * r2
    return np.concatenate(
        [(q0 - floors - growth * dt * dt) / error, own / given["spread"], [drift / given["drift"]]]
    )


start = np.concatenate([[q0.min(), 0, q0.max() - q0.min()], np.zeros(7 + len(series))])
fit = least_squares(residuals, start, method="lm")
errors = np.sqrt(np.diag(np.linalg.inv(fit.jac.T @ fit.jac)))
json.dump({"best": fit.x[6:10].tolist(), "errors": errors[6:10].tolist()}, sys.stdout)
