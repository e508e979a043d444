"""Seeded prints of a ball's pen line on a face, as a coverage map in millimetres, with the truth they were drawn from.

Axes as everywhere: u towards the toe from the middle of the score-line field, v up from the lowest full-length score
line. The patches follow what prints look like (common practice, no source): the ball touches over a disc 15 to 27 mm
wide, dimples 3.4 to 4.1 mm wide leave holes that close where the pressure is high, score lines take no ink, edges are
ragged, ink drags along the ball's slide.
"""

from dataclasses import dataclass

import cv2
import numpy as np

# Diffuse reflectance (linear RGB) of dry marker ink in a thick layer; from memory, no source.
INKS = {
    "black": (0.025, 0.025, 0.03),
    "blue": (0.03, 0.05, 0.30),
    "red": (0.45, 0.03, 0.04),
    "green": (0.02, 0.20, 0.07),
    "purple": (0.14, 0.03, 0.22),
    "orange": (0.65, 0.18, 0.03),
}


@dataclass(frozen=True)
class Print:
    """A print and its truth: axis tilt and middle, pen line width and length of contact, coverage 0 to 1 on the
    grid."""

    tilt_deg: float
    toe_mm: float
    up_mm: float
    width_mm: float
    length_mm: float
    ink: str
    opacity: float
    coverage: np.ndarray  # (H, W) float32; row r, column c is u = u0 + c / ppm, v = v0 - r / ppm
    u0: float
    v0: float
    ppm: float


def _noise(rng, shape, ppm, length_mm, anisotropy=1.0):
    """Smooth noise of unit variance with a correlation length in mm (vertically `anisotropy` times longer)."""
    scale = max(length_mm * ppm / 2.0, 0.6)
    small = (max(int(shape[0] / scale / anisotropy) + 3, 4), max(int(shape[1] / scale) + 3, 4))
    field = rng.standard_normal(small).astype(np.float32)
    field = cv2.resize(field, shape[::-1], interpolation=cv2.INTER_CUBIC)
    return field / field.std()


def draw_print(
    rng,
    *,
    shape,
    u0,
    v0,
    ppm,
    score_lines_v=(),
    score_line_width_mm=0.8,
    score_line_half_length_mm=27.0,
    tilt_deg=None,
    toe_mm=None,
    up_mm=None,
    width_mm=None,
    ink=None,
):
    """Draw one print on a grid of the face; whatever is not given is drawn from the generator.

    Returns
    -------
    Print
    """
    pick = lambda value, draw: draw() if value is None else value
    tilt_deg = pick(tilt_deg, lambda: float(np.clip(rng.normal(0, 3.0), -10, 10)))
    toe_mm = pick(toe_mm, lambda: float(np.clip(rng.normal(0, 6), -15, 15)))
    up_mm = pick(up_mm, lambda: float(rng.uniform(10, 24)))
    width_mm = pick(width_mm, lambda: float(rng.uniform(1.3, 3.6)))
    ink = pick(ink, lambda: str(rng.choice(list(INKS))))
    length_mm = float(rng.uniform(15, 27))

    rows, columns = shape
    u = (u0 + np.arange(columns, dtype=np.float32) / ppm)[None, :]
    v = (v0 - np.arange(rows, dtype=np.float32) / ppm)[:, None]
    sin, cos = np.float32(np.sin(np.radians(tilt_deg))), np.float32(np.cos(np.radians(tilt_deg)))
    along = (u - toe_mm) * sin + (v - up_mm) * cos  # up the line
    across = (u - toe_mm) * cos - (v - up_mm) * sin  # towards the toe

    # only a window about the print is worked on
    reach = length_mm / 2 + 5
    r0, r1 = np.clip([int((v0 - up_mm - reach) * ppm), int((v0 - up_mm + reach) * ppm) + 1], 0, rows)
    c0, c1 = np.clip([int((toe_mm - reach - u0) * ppm), int((toe_mm + reach - u0) * ppm) + 1], 0, columns)
    window = np.s_[r0:r1, c0:c1]
    along, across = along[window], across[window]
    part = along.shape
    v_part, u_part = v[r0:r1], u[:, c0:c1]

    # the pen's line: two ragged edges and a slow wobble of the hand
    ragged = rng.uniform(0.07, 0.2)
    rough = lambda: ragged * (0.75 * _noise(rng, part, ppm, 0.9) + 0.65 * _noise(rng, part, ppm, 0.35))
    wobble = rng.uniform(0, 0.08) * _noise(rng, part, ppm, 14.0)
    edge = 0.05
    half = width_mm / 2
    line = _soft((half + rough() - (across - wobble)) / edge) * _soft((half + rough() + (across - wobble)) / edge)

    # pressure: highest in the middle of the disc, nothing outside; its rim is ragged as well
    radius = length_mm / 2
    distance = np.hypot(along, across) / (radius + 0.5 * _noise(rng, part, ppm, 2.0))
    pressure = np.sqrt(np.clip(1 - distance**2, 0, 1))
    contact = _soft((1 - distance) * radius / 0.35)

    # dimples on a loose hexagonal lattice; a hole's radius shrinks with the pressure
    dimple = rng.uniform(3.4, 4.1) / 2
    spacing = 2 * dimple + rng.uniform(0.15, 0.6)
    turn = rng.uniform(0, np.pi / 3)
    shift = rng.uniform(-spacing, spacing, 2)
    depth = rng.uniform(0.25, 1.0)  # how deep the holes are against what the ball's flattening closes
    holes = np.full(part, np.inf, np.float32)
    span = int(reach * 1.5 / spacing) + 2
    for i in range(-span, span + 1):
        for j in range(-span, span + 1):
            x, y = spacing * (i + j / 2), spacing * j * np.sqrt(3) / 2
            a = x * np.cos(turn) - y * np.sin(turn) + shift[0] + rng.normal(0, 0.08)
            b = x * np.sin(turn) + y * np.cos(turn) + shift[1] + rng.normal(0, 0.08)
            if abs(b) < half + dimple + 1 and abs(a) < reach:
                np.minimum(holes, np.hypot(along - a, across - b), out=holes)
    hole_radius = dimple * np.sqrt(np.clip(1 - pressure * (1 - depth), 0, 1)) * rng.uniform(0.75, 1.0)
    land = _soft((holes - hole_radius + 0.12 * _noise(rng, part, ppm, 0.4)) / 0.08)
    inside_hole = rng.uniform(0, 0.25) * np.clip(_noise(rng, part, ppm, 0.6), 0, 1)
    land = np.maximum(land, inside_hole)

    # patchy transfer, coarse and fine
    patch = np.clip(rng.uniform(0.75, 1.1) + rng.uniform(0.1, 0.35) * _noise(rng, part, ppm, 3.0), 0, 1)
    grain = np.clip(1.1 + rng.uniform(0.15, 0.5) * _noise(rng, part, ppm, 0.25), 0, 1)
    cover = line * contact * land * patch * grain

    # smear: ink dragged along the ball's slide, mostly up the face, fainter than the print
    if rng.random() < 0.6:
        drag = int(rng.uniform(0.3, 2.5) * ppm)
        sideways = int(rng.normal(0, 0.2) * ppm)
        kernel = np.zeros((2 * drag + 1, 2 * abs(sideways) + 1), np.float32)
        cv2.line(kernel, (abs(sideways), drag), (abs(sideways) + sideways, 2 * drag), 1.0)
        kernel /= kernel.sum()
        cover = np.maximum(
            cover, rng.uniform(0.1, 0.4) * cv2.filter2D(cover, -1, kernel, borderType=cv2.BORDER_CONSTANT)
        )

    # score lines take no ink, but for their rims
    for line_v in score_lines_v:
        groove = (np.abs(v_part - line_v) < score_line_width_mm / 2) & (np.abs(u_part) < score_line_half_length_mm)
        cover = np.where(groove, cover * 0.06, cover)

    coverage = np.zeros(shape, np.float32)
    coverage[window] = np.clip(cover, 0, 1)
    return Print(
        tilt_deg, toe_mm, up_mm, width_mm, length_mm, ink, float(rng.uniform(0.55, 0.97)), coverage, u0, v0, ppm
    )


def _soft(x):
    return 1 / (1 + np.exp(-np.clip(4 * x, -30, 30)))
