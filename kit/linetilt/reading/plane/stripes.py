"""Long, parallel, evenly spaced stripes anywhere in a picture: where score lines could be."""

import cv2
import numpy as np

from ..evidence import Array, Floats

SEARCH_PX = 560  # long side of the picture in which stripes are looked for
ROLL_LIMIT_DEG = 34
_WINDOW, _STEP, _PADDED = 128, 64, 512  # of a strip's spectrum: pixels looked at, from look to look, and padded to
_BINS = np.arange(11, 74)  # period 7 to 46 pixels
_USED = np.union1d(
    np.arange(_BINS[-1] + 1), 2 * _BINS
)  # longer periods too: what outdoes all else is held down by them
# so few waves are quicker than a whole transform
_WAVE = np.exp(-2j * np.pi / _PADDED * np.outer(_USED, np.arange(_WINDOW))) * np.hanning(_WINDOW)
_WAVES = np.concatenate([_WAVE.real, _WAVE.imag]).astype(np.float32)


def flatten(grey: Array) -> Array:
    """Grey picture with slow changes of brightness and contrast taken out: mean 0, spread about 1."""
    grey = grey.astype(np.float32)
    grey = cv2.GaussianBlur(grey, (0, 0), 0.7)
    grey -= cv2.GaussianBlur(grey, (0, 0), 9)
    spread = np.sqrt(around(grey * grey, 18))
    return np.clip(grey / (spread + 1.5), -3, 3)


def around(values: Array, sigma_px: float) -> Array:
    """The average about each point, a Gaussian much wider than four pixels, from a picture at a quarter of the size."""
    small = cv2.GaussianBlur(
        cv2.resize(values, None, fx=0.25, fy=0.25, interpolation=cv2.INTER_AREA), (0, 0), sigma_px / 4
    )
    return cv2.resize(small, values.shape[::-1], interpolation=cv2.INTER_LINEAR)


def _rotation(shape: tuple[int, ...], angle_deg: float) -> tuple[int, Floats]:
    """Square canvas that holds the picture turned by `angle_deg`, and the (3, 3) map to it."""
    size = int(np.ceil(np.hypot(*shape)))
    matrix = cv2.getRotationMatrix2D(((shape[1] - 1) / 2, (shape[0] - 1) / 2), angle_deg, 1.0)
    matrix[:, 2] += (size - 1) / 2 - np.array([(shape[1] - 1) / 2, (shape[0] - 1) / 2])
    return size, np.vstack([matrix, [0, 0, 1]])


def stripe_candidates(flat: Array, kept: int = 6) -> list[tuple[float, float]]:
    """Angle (degrees) and period (pixels) of the strongest long, parallel, evenly spaced stripes."""
    angles = np.linspace(-ROLL_LIMIT_DEG, ROLL_LIMIT_DEG, 15)
    spectrum = np.zeros((len(angles), len(_USED)))
    for row, angle in enumerate(angles):
        size, matrix = _rotation(flat.shape, angle)
        wide = size // 24
        fewer = np.array([[8 * wide / size, 0, 0], [0, 1, 0], [0, 0, 1.0]]) @ matrix  # eight samples to a strip
        strips = cv2.resize(
            cv2.warpAffine(flat, fewer[:2], (8 * wide, size)), (wide, size), interpolation=cv2.INTER_AREA
        )
        strips = (strips[:, 1:] + strips[:, :-1]) / 2
        starts = range(0, size - _WINDOW + 1, _STEP)
        blocks = _WAVES @ np.stack([strips[s : s + _WINDOW] for s in starts])
        across = (np.arange(strips.shape[1]) + 1) * 24 / size - 0.5
        down = (np.array(starts) + _WINDOW / 2) / size - 0.5
        # people aim at what they photograph
        centre = np.exp(-(across[None, :] ** 2 + down[:, None] ** 2) / (2 * 0.2**2))
        power = blocks[:, : len(_USED)] ** 2 + blocks[:, len(_USED) :] ** 2
        power = np.minimum(power, np.percentile(power.max(axis=1), 99)) if power.size else power
        spectrum[row] = np.einsum("wfs,ws->f", power, centre)
    spectrum = np.maximum(spectrum - np.median(spectrum, axis=0), 0)  # what all angles share is texture, not stripes
    ground, twice = (spectrum[:, np.searchsorted(_USED, bins)] for bins in (_BINS, 2 * _BINS))
    score = ground + 0.5 * np.sqrt(ground * twice)
    found, whole = [], score.copy()
    for _ in range(kept):
        i, j = np.unravel_index(np.argmax(score), score.shape)
        if score[i, j] <= 0:
            break
        between = parabola(whole[:, j], i) if 0 < i < len(angles) - 1 else 0.0
        found.append((float(angles[i] + between * (angles[1] - angles[0])), _PADDED / float(_BINS[j])))
        score[max(i - 2, 0) : i + 3, max(j - 2 - j // 6, 0) : j + 4 + j // 6] = 0
    return found


def count_lines(flat: Array, angle: float, period: float) -> Floats | None:
    """Follow the stripes' phase over the picture.

    Returns the (3, 3) map from pixels to (xi, n): n counts score lines downwards from an arbitrary one, xi runs along
    them in units of about one spacing; None where no field of stripes is found. What is left unknown between (xi, n)
    and the plane of the face is affine in xi.
    """
    size, matrix = _rotation(flat.shape, angle)
    turned = cv2.warpAffine(flat, matrix[:2], (size, size))
    wide = max(size // 10, 8)
    strips = cv2.resize(turned, (wide, size), interpolation=cv2.INTER_AREA)
    y = np.arange(size, dtype=np.float32)
    wave = np.exp(-2j * np.pi * y / period)[:, None]
    kernel = (3.0, 0.9 * period)
    demodulated = [
        cv2.GaussianBlur(part.astype(np.float32), (0, 0), sigmaX=1.2, sigmaY=kernel[1])
        for part in ((strips * wave).real, (strips * wave).imag)
    ]
    z = demodulated[0] + 1j * demodulated[1]
    # sample on a coarse grid
    rows = np.arange(int(period / 4), size, max(int(period / 3), 2))
    z = z[rows]
    x = (np.arange(wide) + 0.5) * size / wide - 0.5
    X, Y = np.meshgrid(x, rows.astype(float))
    power = np.abs(z) ** 2
    reach = (6 * period, 2.5 * period)
    heat = cv2.GaussianBlur(
        np.sqrt(power).astype(np.float32),
        (0, 0),
        sigmaX=reach[0] / (size / wide) / 2,
        sigmaY=reach[1] / (rows[1] - rows[0]),
    )
    peak = np.unravel_index(np.argmax(heat), heat.shape)
    x0, y0 = X[peak], Y[peak]
    phase = np.angle(z) / (2 * np.pi) + Y / period
    phase -= np.round(phase[peak])
    dx, dy = (X - x0) / period, (Y - y0) / period
    model = np.array([phase[peak], 0.0, 1.0, 0.0, 0.0])  # n = (m0 + m1 dx + m2 dy) / (1 + m3 dx + m4 dy)
    strong = power / np.percentile(power[heat > 0.5 * heat.max()], 75)
    weight = np.minimum(strong, 1.0)
    stiff = np.array([1e-6, 1e-6, 1e-6, 1.0, 1.0])
    for reach in (2.5, 3.5, 5, 7, 10, 14, 14, 14):
        bottom = 1 + model[3] * dx + model[4] * dy
        n = (model[0] + model[1] * dx + model[2] * dy) / bottom
        error = phase - n
        error -= np.round(error)
        near = (np.abs(dx) < reach * 1.6) & (np.abs(dy) < reach) & (bottom > 0.3)
        w = np.where(near, weight * np.exp(-((error / 0.16) ** 2)), 0)
        jacobian = np.stack([1 / bottom, dx / bottom, dy / bottom, -n * dx / bottom, -n * dy / bottom], -1)
        flatw, flatj = w.ravel(), jacobian.reshape(-1, 5)
        normal = (flatj * flatw[:, None]).T @ flatj
        scale = w.sum() + 1e-9
        normal[np.diag_indices(5)] += scale * stiff * (0.16 / 0.01) ** 2 * 1e-3
        model = model + np.linalg.solve(normal, (flatj * flatw[:, None]).T @ error.ravel())
    if not np.all(np.isfinite(model)) or model[2] < 0.3:
        return None
    recentre = np.array([[1 / period, 0, -x0 / period], [0, 1 / period, -y0 / period], [0, 0, 1]]) @ matrix
    shape = np.array([[1, 0, 0], [model[1], model[2], model[0]], [model[3], model[4], 1]])
    return shape @ recentre


def parabola(values: Array, at: int) -> float:
    """Where a peak at sample `at` has its top, in samples from there, by a parabola through it and its neighbours."""
    a, b, c = values[at - 1], values[at], values[at + 1]
    curve = a - 2 * b + c
    return float(np.clip(0.5 * (a - c) / curve, -0.5, 0.5)) if curve < 0 and min(a, c) > -5 else 0.0
