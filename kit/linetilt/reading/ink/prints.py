"""What tells a print from a scratch, a shadow, a sign or tape: dimples bite into its edges, and it leaves the score lines bare."""

from dataclasses import dataclass

import numpy as np

from ...base.errors import NoLine
from .band import straightened

RUNS_THROUGH = 0.85  # of its step in colour, in three of four score lines; of drawn prints one in 300 comes near
OTHER = 0.8  # of that step: what differs by so much in another colour is not the mark
PAINT = 1.6  # of that step: what differs even more in the score lines is their own paint
LEAST_LINES = 3  # that the band crosses
LEAST_STEP = 3.0  # in colour, of 255; prints mostly have 10 at least
EDGE, EDGE_SIDE = (
    1.6,
    0.15,
)  # both sides' difference to the mark's step, the mark's to its nearer side to that: of an edge 2 and 0
BESIDE_MM = (0.5, 2.0)  # from the band, where the face's own colour is read
GROOVE_MM, LAND_MM = 0.2, 0.7  # rows nearer than the one lie in a score line, rows farther than the other between two
EVEN, SOLID = (
    0.5,
    0.97,
)  # narrowest to widest tenth of the rows, less what four in five rows of both edges keep within of a smooth curve (mm); ink of the band's inside: of drawn prints 0.49 and 0.95 at most
LEAST_WIDE_MM = 0.95  # the widest tenth of the rows, of a pen's line


@dataclass(frozen=True)
class Shape:
    """How the ink lies in the band: its middle against its sides (two prints leave it hollow), how far its two edges lean apart, as slope.

    `even`: width and edges are as even as no print's are.
    """

    hollow: float
    wedge: float
    even: bool = False


def shape_of(ink, flat, band):
    """The Shape of a mark.

    Parameters
    ----------
    ink : ndarray, shape (H, W)
        About 1 on ink, 0 on the bare face.
    flat : linetilt.reading.ink.search.FlatFace
    band : linetilt.reading.ink.band.Band
    """
    lane, t, noise = straightened(
        ink, flat.u, flat.v, flat.clear, band.slope, band.toe_mm, band.up_mm, band.width_mm / 2 + 1.4, band.noise
    )
    on = lane > max(0.15, 3 * noise)
    rows = flat.clear & (flat.v > band.low_mm) & (flat.v < band.high_mm) & on.any(axis=1)
    on, y = on[rows], flat.v[rows] - band.up_mm
    if len(y) < 20:
        return Shape(1.0, 0.0)
    even = _even(lane[rows] > max(0.3, 3 * noise), t, y, band.length_mm / 2 - 0.8)
    heel, toe = _edges(on, t)
    middle = np.abs(t) < band.width_mm / 6
    hollow = on[:, middle].mean() / max(on[:, ~middle & (np.abs(t) < band.width_mm / 2)].mean(), 0.01)
    return Shape(hollow, _lean(y, heel) - _lean(y, toe), bool(even))


def _edges(on, t):
    return t[on.argmax(axis=1)], t[on.shape[1] - 1 - on[:, ::-1].argmax(axis=1)]


def _even(on, t, y, half):
    """True where the rows within `half` of the middle are all thin, or full, or about as wide and their edges on smooth curves."""
    rows = on.any(axis=1) & (np.abs(y) < half)
    if rows.sum() < 20:
        return False
    on, y = on[rows], y[rows]
    narrow, wide = np.percentile(on.sum(axis=1), (10, 90))
    within = [np.quantile(np.abs(edge - np.polyval(np.polyfit(y, edge, 2), y)), 0.8) for edge in _edges(on, t)]
    wide_mm = wide * (t[1] - t[0])
    return (
        wide_mm < LEAST_WIDE_MM
        or on[:, np.abs(t) < wide_mm / 2 - 0.15].mean() > SOLID
        or narrow / wide - np.hypot(*within) > EVEN
    )


def _lean(y, edge):
    """Slope of an edge by itself, robustly."""
    slope = 0.0
    for _ in range(15):
        rest = edge - slope * y
        weight = 1 / (1 + ((rest - np.median(rest)) / 0.15) ** 2)
        middle = (weight * y).sum() / weight.sum()
        slope = (weight * (y - middle) * edge).sum() / (weight * (y - middle) ** 2).sum()
    return slope


def check_print(flat, frame, band):
    """Refuse a band that is there in the score lines as well, or that is the edge of something else.

    Parameters
    ----------
    flat : linetilt.reading.ink.search.FlatFace
    frame : linetilt.reading.plane.face.FaceFrame
    band : linetilt.reading.ink.band.Band

    Raises
    ------
    NoLine
    """
    lines = [up for up, _, _ in frame.lines if band.low_mm + 0.6 < up < band.high_mm - 0.6]
    away = np.array([np.abs(flat.v - up) for up in lines]).reshape(len(lines), -1)
    core, heel, toe = _colours(flat, band)
    _refuse_edge(*(np.nanmedian(part[flat.clear], axis=0) for part in (core, heel, toe)))
    step = core - (heel + toe) / 2
    groove, land = [], []
    for inside, between in zip(away < GROOVE_MM, (away > LAND_MM) & (away < frame.pitch_mm / 2)):
        inside, between = step[inside], step[between]
        if np.isfinite(inside[:, 0]).any() and np.isfinite(between[:, 0]).any():
            groove.append(np.nanmean(inside, axis=0))
            land.append(np.nanmean(between, axis=0))
    if len(groove) < LEAST_LINES:
        return
    usual = np.median(land, axis=0)
    if np.linalg.norm(usual) < LEAST_STEP:
        raise NoLine("the mark is too faint to measure")
    share = np.array(groove) @ usual / (usual @ usual)
    other = np.linalg.norm(np.array(groove) - share[:, None] * usual, axis=1) > OTHER * np.linalg.norm(usual)
    share[other] = 0  # chipped paint, light: it says nothing of the mark
    if np.quantile(share, 0.25) > RUNS_THROUGH and np.median(share) < PAINT:
        raise NoLine(
            "what looks like a print runs through the score lines; a print leaves them bare, a scratch, a shadow or a sign does not"
        )


def _refuse_edge(core, heel, toe):
    """Refuse a mark (colours of its middle and of the face on both its sides) that only looks like one because the face changes colour there."""
    apart, step = np.linalg.norm(heel - toe), np.linalg.norm(core - (heel + toe) / 2)
    if apart > EDGE * step and min(np.linalg.norm(core - heel), np.linalg.norm(core - toe)) < EDGE_SIDE * apart:
        raise NoLine(
            "what looks like a print is the edge of something else: the face has one colour on its heel side and another on its toe side"
        )


def _colours(flat, band):
    """Colours of the band's middle and of the face on its heel and its toe side, row by row, each (H, 3); NaN where it is not seen."""
    core, (low, high) = max(band.width_mm / 2 - 0.15, 0.3), (band.width_mm / 2 + edge for edge in BESIDE_MM)
    middle = (band.toe_mm + band.slope * (flat.v - band.up_mm) - flat.u[0]) * flat.rate
    reach = np.arange(-int(high * flat.rate), int(high * flat.rate) + 1)
    column = np.round(middle[:, None] + reach).astype(int)
    shown = (
        (column.min(axis=1) >= 0)
        & (column.max(axis=1) < len(flat.u))
        & (flat.v > band.low_mm)
        & (flat.v < band.high_mm)
    )
    colour = flat.colour[np.arange(len(flat.v))[:, None], np.clip(column, 0, len(flat.u) - 1)]
    off = reach / flat.rate
    sides = [np.median(colour[:, side], axis=1) for side in (off < -low, off > low)]
    seen = lambda part: np.where(shown[:, None], part, np.nan)
    return seen(colour[:, np.abs(off) < core].mean(axis=1)), *map(seen, sides)
