"""Ten star images drawn by another method than the program's, as reference for test/optics/reference.test.ts.

    /usr/bin/python3 scripts/reference/stars.py > test/reference/optics/stars.json

Needs numpy and scipy only; shares no code with the program. Method: the diffraction integral of the aberrated pupil is
summed directly (no FFT) at each point of a fine grid, the Kolmogorov long-exposure image comes from a Hankel transform
by quadrature and is convolved in space, pixels are sums over the grid, smear is a mean over displaced stars.
Two more images are ray spots (geometric optics) convolved with the same seeing: no diffraction at all.

Conventions: unit pupil p = x + iy, q = conj(p); W = d|p|^2 + Re(a q^2) + Re(c |p|^2 q) + Re(t q^3) + s|p|^4 in um;
a ray through p lands at 4 N dW/dq from the ideal place. Stamps are shares of the star's light, row by row, y upwards,
the ideal place (x, y) pixels right of and above the middle pixel's centre.
"""
import json

import numpy as np
from scipy import optimize, signal, special

FINE = 9  # grid points to a pixel, odd so that a pixel's sum is centred
HALF = 5  # half width of the stored stamp, pixels
REACH_UM = 62.0  # half width of the grid
PUPIL = 240  # pupil samples across
SUB = 5  # sub-samples of a pupil cell each way
KOLMOGOROV = 0.9758634  # FWHM / (lambda / r0), found by the quadrature below to 1e-5

RATIO = 4.0
RADIUS_MM = 100.0
UM_PER_ARCSEC = 800.0 / 206.264806

STARS = [
    dict(name='in focus', w=dict(), seeing=2.5, obstruction=0.35, vanes=4),
    dict(name='coma', w=dict(c=[0.34, 0.0]), seeing=2.5, obstruction=0.35, vanes=4),
    dict(name='strong coma, fine seeing', w=dict(c=[-0.8, 0.6]), seeing=1.2, obstruction=0.3, vanes=0),
    dict(name='defocus', w=dict(d=0.6), seeing=1.5, obstruction=0.35, vanes=4),
    dict(name='astigmatism out of focus', w=dict(d=0.35, a=[0.25, 0.2]), seeing=1.5, obstruction=0.35, vanes=4),
    dict(name='trefoil', w=dict(t=[0.2, -0.27]), seeing=2.0, obstruction=0.35, vanes=3),
    dict(name='spherical', w=dict(d=-0.4, s=0.45), seeing=1.5, obstruction=0.2, vanes=1),
    dict(name='all at once, in colours', w=dict(d=-0.3, a=[0.1, -0.2], c=[0.3, 0.25], t=[-0.1, 0.15], s=0.1),
         seeing=1.8, obstruction=0.35, vanes=4, colours=[[0.45, 0.3], [0.55, 0.4], [0.65, 0.3]]),
    dict(name='drift', w=dict(c=[0.2, 0.1]), seeing=1.8, obstruction=0.35, vanes=4, drift=[6.0, 4.0]),
    dict(name='jump, shadow off the centre', w=dict(d=0.5), seeing=1.5, obstruction=0.35, vanes=0,
         offset=[0.08, -0.05], jump=[5.0, -3.0, 0.3]),
]
RAYS = [
    dict(name='rays: defocus and coma', w=dict(d=1.6, c=[0.5, -0.3]), seeing=4.0, obstruction=0.35, vanes=0),
    dict(name='rays: astigmatism and trefoil', w=dict(d=1.2, a=[0.5, 0.1], t=[0.3, 0.1]), seeing=4.0, obstruction=0.35,
         vanes=0),
]
PIXEL_UM = 3.76
PLACES = [(0.0, 0.0), (0.31, -0.22), (-0.44, 0.17), (0.12, 0.49)]


def number(pair):
    return complex(*pair) if pair else 0j


def terms(w):
    return w.get('d', 0.0), number(w.get('a')), number(w.get('c')), number(w.get('t')), w.get('s', 0.0)


def wavefront(w, p):
    d, a, c, t, s = terms(w)
    q = np.conj(p)
    r2 = np.abs(p) ** 2
    return d * r2 + (a * q**2).real + (c * r2 * q).real + (t * q**3).real + s * r2**2


def is_open(star, p):
    offset = number(star.get('offset'))
    clear = (np.abs(p) <= 1) & (np.abs(p - offset) >= star['obstruction'])
    half_vane = 0.5 / RADIUS_MM
    for k in range(star['vanes']):
        turned = p * np.exp(-2j * np.pi * k / star['vanes'])
        clear &= ~((turned.real > 0) & (np.abs(turned.imag) <= half_vane))
    return clear


def pupil(star):
    step = 2.0 / PUPIL
    x = (np.arange(PUPIL) + 0.5) * step - 1
    sub = ((np.arange(SUB) + 0.5) / SUB - 0.5) * step
    transmission = np.zeros((PUPIL, PUPIL))
    for u in sub:
        for v in sub:
            transmission += is_open(star, (x[None, :] + u) + 1j * (x[:, None] + v))
    return x, step, transmission / SUB**2


def diffraction(star, grid_x, grid_y, wavelength):
    """Share of the star's light for each square um at the points of the grid: direct summation, separable kernel."""
    x, step, open_share = pupil(star)
    p = x[None, :] + 1j * x[:, None]
    field = open_share * np.exp(2j * np.pi * wavefront(star['w'], p) / wavelength)
    scale = 2 * wavelength * RATIO
    kernel_x = np.exp(-2j * np.pi * np.outer(x, grid_x / scale))
    kernel_y = np.exp(-2j * np.pi * np.outer(grid_y / scale, x))
    amplitude = kernel_y @ field @ kernel_x * step**2
    area = open_share.sum() * step**2
    return np.abs(amplitude) ** 2 / (scale**2 * area)


def kolmogorov(fwhm_um, radii_um):
    """Image of a point through the long exposure, for each square um, by quadrature of the Hankel transform."""
    ratio = fwhm_um / KOLMOGOROV
    f = (np.arange(3000) + 0.5) * (4.0 / ratio / 3000)
    transfer = np.exp(-3.44 * (ratio * f) ** (5.0 / 3.0))
    table_r = np.linspace(0, radii_um.max() * 1.01, 1500)
    table = np.array([2 * np.pi * np.sum(transfer * f * special.j0(2 * np.pi * f * r)) for r in table_r]) * (f[1] - f[0])
    return np.interp(radii_um, table_r, table)


def axis(place):
    """Fine grid of pixel centres and fractions, um from the star's ideal place at `place` pixels."""
    step = PIXEL_UM / FINE
    count = int(round(REACH_UM / step))
    return np.arange(-count, count + 1) * step - place * PIXEL_UM, count


def displacements(star):
    if 'drift' in star:
        steps = (np.arange(24) + 0.5) / 24 - 0.5
        return [(star['drift'][0] * k, star['drift'][1] * k, 1 / 24) for k in steps]
    if 'jump' in star:
        x, y, share = star['jump']
        return [(0, 0, 1 - share), (x, y, share)]
    return [(0, 0, 1)]


def pixels(image, count):
    """Sums over pixels whose centres stand at whole pixels of the grid."""
    step = PIXEL_UM / FINE
    box = signal.fftconvolve(image, np.ones((FINE, FINE)), mode='same') * step**2
    picked = [count + k * FINE for k in range(-HALF, HALF + 1)]
    return box[np.ix_(picked, picked)]


def seeing_kernel(star, count):
    step = PIXEL_UM / FINE
    x = np.arange(-count, count + 1) * step
    return kolmogorov(star['seeing'] * UM_PER_ARCSEC, np.hypot(x[None, :], x[:, None])) * step**2


def draw(star, place):
    total = None
    kernel = None
    for dx, dy, share in displacements(star):
        grid_x, count = axis(place[0] + dx / PIXEL_UM)
        grid_y, _ = axis(place[1] + dy / PIXEL_UM)
        image = sum(weight * diffraction(star, grid_x, grid_y, um) for um, weight in star.get('colours', [[0.55, 1.0]]))
        total = image * share if total is None else total + image * share
    kernel = seeing_kernel(star, count)
    return pixels(signal.fftconvolve(total, kernel, mode='same'), count)


def draw_rays(star, place):
    grid_x, count = axis(place[0])
    step = PIXEL_UM / FINE
    x = (np.arange(1400) + 0.5) / 700 - 1
    p = (x[None, :] + 1j * x[:, None]).ravel()
    p = p[is_open(star, p)]
    d, a, c, t, s = terms(star['w'])
    q = np.conj(p)
    u = 2 * RATIO * (2 * d * p + 2 * a * q + 2 * c * np.abs(p) ** 2 + np.conj(c) * p**2 + 3 * t * q**2
                     + 4 * s * np.abs(p) ** 2 * p)
    edges = (np.arange(2 * count + 2) - count - 0.5) * step
    spot, _, _ = np.histogram2d(u.imag + place[1] * PIXEL_UM, u.real + place[0] * PIXEL_UM, bins=[edges, edges])
    spot /= p.size * step**2
    centred = np.arange(-count, count + 1) * step
    perfect = diffraction({**star, 'w': {}}, centred, centred, 0.55) * step**2
    spot = signal.fftconvolve(spot, perfect, mode='same')
    return pixels(signal.fftconvolve(spot, seeing_kernel(star, count), mode='same'), count)


# Response of the odd third-order shape to one arcminute of primary tilt: 203 mm f/3.94, 35 % obstruction, no vanes.
RESPONSE = [(1.5, 0.0), (1.5, 40.0), (2.5, 0.0), (2.5, 40.0), (4.0, 0.0), (4.0, 80.0)]
RESPONSE_RATIO = 800.0 / 203.0


def coma3(grid, image):
    """<w I zeta |zeta|^2>/<w I> about the centre where <w I zeta> = 0, w a Gaussian of the fitted width."""
    x, y = np.meshgrid(grid, grid)
    near = np.hypot(x, y) < 10
    x, y, light = x[near], y[near], image[near]
    fitted = np.hypot(x, y) < 5

    def model(place, height, x0, y0, sigma, level):
        return height * np.exp(-((place[0] - x0) ** 2 + (place[1] - y0) ** 2) / (2 * sigma**2)) + level

    start = [light.max(), 0, 0, 1.2, 0]
    (_, cx, cy, sigma, _), _ = optimize.curve_fit(model, (x[fitted], y[fitted]), light[fitted], p0=start)
    for _ in range(200):
        u, v = (x - cx) / sigma, (y - cy) / sigma
        weighted = np.exp(-0.5 * (u * u + v * v)) * light
        cx += 1.4 * sigma * (weighted * u).sum() / weighted.sum()
        cy += 1.4 * sigma * (weighted * v).sum() / weighted.sum()
    u, v = (x - cx) / sigma, (y - cy) / sigma
    weighted = np.exp(-0.5 * (u * u + v * v)) * light
    return (weighted * u * (u * u + v * v - 2)).sum() / weighted.sum()


def responses():
    global RATIO
    usual, RATIO = RATIO, RESPONSE_RATIO
    um_per_arcmin = 800.0 * np.pi / 10800 / (32 * RATIO**3) * 1000
    step = PIXEL_UM / FINE
    found = []
    for seeing, defocus_um in RESPONSE:
        star = dict(w=dict(c=[um_per_arcmin, 0.0], d=defocus_um / (8 * RATIO**2)), seeing=seeing, obstruction=0.35, vanes=0)
        grid, count = axis(0.0)
        image = signal.fftconvolve(diffraction(star, grid, grid, 0.55), seeing_kernel(star, count), mode='same')
        image = signal.fftconvolve(image, np.ones((FINE, FINE)), mode='same') * step**2
        found.append({'seeing': seeing, 'defocusUm': defocus_um, 'coma3': float(f'{coma3(grid / PIXEL_UM, image):.5e}')})
    RATIO = usual
    return found


def main():
    stars = []
    for index, star in enumerate(STARS + RAYS):
        place = PLACES[index % len(PLACES)]
        stamp = draw_rays(star, place) if star in RAYS else draw(star, place)
        stars.append({**star, 'place': place, 'pixelUm': PIXEL_UM, 'half': HALF, 'rays': star in RAYS,
                      'stamp': [float(f'{value:.5e}') for value in stamp.ravel()]})
    print(json.dumps({'command': '/usr/bin/python3 scripts/reference/stars.py', 'responses': responses(), 'stars': stars}, indent=None,
                     separators=(',', ':')).replace('{"name"', '\n{"name"'))


main()
