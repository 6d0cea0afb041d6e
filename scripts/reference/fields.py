"""Draws five whole frames of a 200 mm f/4 in known states, for test/measure/otherHand.test.ts.

    /usr/bin/python3 scripts/reference/fields.py FOLDER

Needs numpy only and shares neither code nor formulas with the program's drawing: Seidel's terms from a handbook in polar
form, one colour, the long-exposure atmosphere as a transfer function, stars placed by a phase ramp. Writes NAME.fits and
truth.json. Directions are degrees counter-clockwise from right of the stored frame shown bottom-up.

    coma of a paraboloid         W131 = h / (32 N^3), tail away from the axis
    its astigmatism              W222 = -h^2 / (8 N^2 f), stop at the mirror
    sensor dz nearer the mirror  W020 = dz / (8 N^2)
    trefoil                      W = t rho^3 cos 3(phi - phi0), t = sqrt(8) RMS (Noll 1976)
    atmosphere                   exp(-3.44 (lambda nu / r0)^(5/3)), FWHM = 0.976 lambda / r0 (Fried 1966)
"""
import json
import os
import sys

import numpy as np

D_MM, F_MM, PIXEL_UM, LAMBDA_UM = 200.0, 800.0, 3.76, 0.55
N = F_MM / D_MM
WIDTH, HEIGHT, STARS = 1600, 1068, 320
GRID, PER_PIXEL = 128, 4
SEEING = 2.3
GAIN, OFFSET, READ, SKY = 0.8, 500, 1.6, 400
STEP_UM = PIXEL_UM / PER_PIXEL
BOX = GRID // PER_PIXEL


def pupil():
    cells = GRID * STEP_UM / (LAMBDA_UM * N)
    reach = int(np.ceil(cells / 2))
    x = np.arange(-reach, reach + 1) * 2 / cells
    px, py = np.meshgrid(x, x)
    rho, phi = np.hypot(px, py), np.arctan2(py, px)
    edge = 1 / cells
    inside = np.clip((1 - rho) / (2 * edge) + 0.5, 0, 1)
    outside = np.clip((rho - 0.35) / (2 * edge) + 0.5, 0, 1)
    vanes = np.minimum(np.abs(px), np.abs(py)) > 0.5 / (D_MM / 2)
    return rho, phi, inside * outside * np.where(vanes, 1.0, 0.4)


RHO, PHI, OPEN = pupil()
FREQUENCY = np.fft.fftfreq(GRID, STEP_UM)
FX, FY = np.meshgrid(FREQUENCY, FREQUENCY)
R0_LAMBDA = 0.976 / (SEEING * F_MM / 206.264806)  # r0/(lambda f), per um on the sensor
ATMOSPHERE = np.exp(-3.44 * (np.hypot(FX, FY) / R0_LAMBDA) ** (5 / 3))
SMOOTH = ATMOSPHERE * np.sinc(FX * PIXEL_UM) * np.sinc(FY * PIXEL_UM)


def star(wavefront, dx, dy):
    """Light of one star on BOX x BOX pixels; (dx, dy) pixels from the middle pixel's centre."""
    field = np.zeros((GRID, GRID), complex)
    n = OPEN.shape[0]
    field[:n, :n] = OPEN * np.exp(2j * np.pi * wavefront / LAMBDA_UM)
    image = np.abs(np.fft.fft2(field)) ** 2
    image /= image.sum()
    ramp = np.exp(-2j * np.pi * (FX * dx + FY * dy) * PIXEL_UM)
    soft = np.fft.ifft2(np.fft.fft2(image) * SMOOTH * ramp).real * PER_PIXEL**2
    return np.fft.fftshift(soft)[::PER_PIXEL, ::PER_PIXEL]


def polar(length, degrees):
    return length * np.cos(np.radians(degrees)), length * np.sin(np.radians(degrees))


def coma(x, y):
    """W131 along (x, y) mm from the axis."""
    return np.hypot(x, y) * 1000 / (32 * N**3) * RHO**3 * np.cos(PHI - np.arctan2(y, x))


def collimated(x, y):
    return 0 * RHO


def tilted_primary(x, y):
    """3' behind a corrector: every star shows the coma of a star as far from the axis as the axis from the middle."""
    ax, ay = polar(F_MM * 3 * np.pi / 10800, 40)
    return coma(-ax, -ay)


def tilted_sensor(x, y):
    """90 um from side to side along 25 degrees, in focus in the middle."""
    ux, uy = polar(1, 25)
    across = (WIDTH * abs(ux) + HEIGHT * abs(uy)) * PIXEL_UM / 1000
    return 90 / across * (x * ux + y * uy) / (8 * N**2) * RHO**2


def pinched(x, y):
    return np.sqrt(8) * 0.12 * RHO**3 * np.cos(3 * (PHI - np.radians(35)))


def bare(x, y):
    """No corrector, primary tilted by 5' along 150 degrees; the sensor stays square to the old axis."""
    ax, ay = polar(F_MM * 5 * np.pi / 10800, 150)
    hx, hy = x - ax, y - ay
    h2 = hx * hx + hy * hy
    astigmatism = -h2 * 1000 / (8 * N**2 * F_MM) * RHO**2 * np.cos(PHI - np.arctan2(hy, hx)) ** 2
    lean = -(x * ax + y * ay) * 1000 / F_MM / (8 * N**2) * RHO**2
    curved = 25 / (8 * N**2) * RHO**2  # 25 um inside focus in the middle
    return coma(hx, hy) + astigmatism + lean + curved


CASES = {
    'collimated': (collimated, {}),
    'tilted-primary': (tilted_primary, {'tailDeg': 220, 'tiltArcmin': 3}),
    'tilted-sensor': (tilted_sensor, {'axisDeg': 25, 'tiltUm': 90}),
    'pinched': (pinched, {'trefoilDeg': 35, 'rmsUm': 0.12}),
    'bare': (bare, {'nodeMm': [float(v) for v in polar(F_MM * 5 * np.pi / 10800, 150)], 'tiltArcmin': 5, 'tailDeg': 330}),
}


def draw(wavefront, seed):
    random = np.random.default_rng(seed)
    light = np.full((HEIGHT + 2 * BOX, WIDTH + 2 * BOX), float(SKY))
    for _ in range(STARS):
        px, py = random.uniform(-0.5, WIDTH - 0.5), random.uniform(-0.5, HEIGHT - 0.5)
        electrons = 6000 * random.uniform(0.015, 1) ** (-1 / 0.9)
        x, y = (px - (WIDTH - 1) / 2) * PIXEL_UM / 1000, (py - (HEIGHT - 1) / 2) * PIXEL_UM / 1000
        column, row = int(round(px)), int(round(py))
        stamp = star(wavefront(x, y), px - column, py - row)
        top, left = row + BOX // 2, column + BOX // 2
        light[top:top + BOX, left:left + BOX] += electrons * stamp
    light = light[BOX:-BOX, BOX:-BOX]
    counted = random.poisson(np.maximum(light, 0)) + random.normal(0, READ, light.shape)
    return np.clip(np.round(counted / GAIN + OFFSET), 0, 65535).astype(np.uint16)


def fits(pixels):
    cards = [('SIMPLE', 'T'), ('BITPIX', 16), ('NAXIS', 2), ('NAXIS1', WIDTH), ('NAXIS2', HEIGHT), ('BZERO', 32768),
             ('BSCALE', 1), ('XPIXSZ', PIXEL_UM), ('FOCALLEN', F_MM), ('APTDIA', D_MM), ('EGAIN', GAIN),
             ('EXPTIME', 120.0), ('FILTER', "'G       '"), ('CENTALT', 80.0), ('ROWORDER', "'BOTTOM-UP'")]
    header = ''.join(f'{key:<8}= {value!s:>20}'.ljust(80) if not str(value).startswith("'") else
                     f'{key:<8}= {value}'.ljust(80) for key, value in cards) + 'END'.ljust(80)
    data = (pixels.astype(np.int32) - 32768).astype('>i2').tobytes()
    return header.ljust(-(-len(header) // 2880) * 2880).encode('ascii') + data + b'\0' * (-len(data) % 2880)


def main():
    folder = sys.argv[1]
    for seed, (name, (wavefront, _)) in enumerate(CASES.items(), 1):
        with open(os.path.join(folder, f'{name}.fits'), 'wb') as file:
            file.write(fits(draw(wavefront, seed)))
    with open(os.path.join(folder, 'truth.json'), 'w') as file:
        json.dump({name: truth for name, (_, truth) in CASES.items()}, file)


main()
