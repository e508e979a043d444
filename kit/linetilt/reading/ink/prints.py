"""A print or a scratch, a shadow, a sign, tape: dimples bite a print's edges, and it leaves the score lines bare."""

from dataclasses import dataclass

import numpy as np

from ..evidence import Array, Flags, Floats, Reason, Why
from ..plane.frame import FaceFrame
from .band import Band, straightened
from .flat import FlatFace

RUNS_THROUGH = 0.85  # of its step in colour, in three of four score lines; of drawn prints one in 300 comes near
OTHER = 0.8  # of that step: what differs by so much in another colour is not the mark
PAINT = 1.6  # of that step: what differs even more in the score lines is their own paint
LEAST_LINES = 3  # that the band crosses
LEAST_STEP = 3.0  # in colour, of 255; prints mostly have 10 at least
# Of the edge of something else 2 and 0: how much both sides differ to the mark's step, and the mark from its nearer
# side to that.
EDGE, EDGE_SIDE = 1.6, 0.15
BESIDE_MM = (0.5, 2.0)  # from the band, where the face's own colour is read
GROOVE_MM, LAND_MM = 0.2, 0.7  # rows nearer than the one lie in a score line, rows farther than the other between two
# Minimum evenness: narrowest to widest tenth of the rows, less how far (mm) four in five rows of both edges keep from a
# smooth curve. Minimum share of the band's inside that took ink. Drawn prints reach 0.49 and 0.95 at most.
EVEN, SOLID = 0.5, 0.97
LEAST_WIDE_MM = 0.95  # the widest tenth of the rows, of a pen's line


@dataclass(frozen=True)
class Shape:
    """How the ink lies in the band.

    Attributes
    ----------
    hollow : float
        Ink of its middle to that of its sides; two prints beside each other leave the middle hollow.
    wedge : float
        Slope of the heel's edge less that of the toe's.
    even : bool
        True where width and edges are more even than those of any print.
    """

    hollow: float
    wedge: float
    even: bool = False


def shape_of(ink: Array, flat: FlatFace, band: Band) -> Shape:
    """The Shape of a mark.

    Parameters
    ----------
    ink : ndarray, shape (H, W)
        About 1 on ink, 0 on the bare face.
    flat : linetilt.reading.ink.flat.FlatFace
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


def _edges(on: Flags, t: Floats) -> tuple[Floats, Floats]:
    return t[on.argmax(axis=1)], t[on.shape[1] - 1 - on[:, ::-1].argmax(axis=1)]


def _even(on: Flags, t: Floats, y: Floats, half: float) -> bool:
    """True where the rows within `half` of the middle are all thin, or full, or equally wide with smooth edges."""
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


def _lean(y: Floats, edge: Floats) -> float:
    """Slope of an edge by itself, robustly."""
    slope = 0.0
    for _ in range(15):
        rest = edge - slope * y
        weight = 1 / (1 + ((rest - np.median(rest)) / 0.15) ** 2)
        middle = (weight * y).sum() / weight.sum()
        slope = (weight * (y - middle) * edge).sum() / (weight * (y - middle) ** 2).sum()
    return slope


def check_print(flat: FlatFace, frame: FaceFrame, band: Band) -> Why | None:
    """Why a band is no print: it is there in the score lines too, or is the edge of something else; else None.

    Parameters
    ----------
    flat : linetilt.reading.ink.flat.FlatFace
    frame : linetilt.reading.plane.frame.FaceFrame
    band : linetilt.reading.ink.band.Band
    """
    lines = [up for up, _, _ in frame.lines if band.low_mm + 0.6 < up < band.high_mm - 0.6]
    away = np.array([np.abs(flat.v - up) for up in lines]).reshape(len(lines), -1)
    core, heel, toe = _colours(flat, band)
    if _is_edge(*(np.nanmedian(part[flat.clear], axis=0) for part in (core, heel, toe))):
        return Why(Reason.EDGE_OF_ELSE)
    step = core - (heel + toe) / 2
    groove, land = [], []
    for inside, between in zip(away < GROOVE_MM, (away > LAND_MM) & (away < frame.pitch_mm / 2)):
        inside, between = step[inside], step[between]
        if np.isfinite(inside[:, 0]).any() and np.isfinite(between[:, 0]).any():
            groove.append(np.nanmean(inside, axis=0))
            land.append(np.nanmean(between, axis=0))
    if len(groove) < LEAST_LINES:
        return None
    usual = np.median(land, axis=0)
    if np.linalg.norm(usual) < LEAST_STEP:
        return Why(Reason.FAINT_MARK)
    share = np.array(groove) @ usual / (usual @ usual)
    other = np.linalg.norm(np.array(groove) - share[:, None] * usual, axis=1) > OTHER * np.linalg.norm(usual)
    share[other] = 0  # chipped paint, light: it says nothing of the mark
    if np.quantile(share, 0.25) > RUNS_THROUGH and np.median(share) < PAINT:
        return Why(Reason.THROUGH_LINES)
    return None


def _is_edge(core: Array, heel: Array, toe: Array) -> bool:
    """True where the face only changes colour at a mark: colours of its middle, its heel and its toe side."""
    apart, step = np.linalg.norm(heel - toe), np.linalg.norm(core - (heel + toe) / 2)
    nearer = min(np.linalg.norm(core - heel), np.linalg.norm(core - toe))
    return bool(apart > EDGE * step and nearer < EDGE_SIDE * apart)


def _colours(flat: FlatFace, band: Band) -> tuple[Array, Array, Array]:
    """Colours of the band's middle and of the face on its heel and toe side, by row, each (H, 3); NaN if not seen."""
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
    parts = (colour[:, np.abs(off) < core].mean(axis=1), *sides)
    middle_colour, heel, toe = (np.where(shown[:, None], part, np.nan) for part in parts)
    return middle_colour, heel, toe
