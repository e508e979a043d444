"""A print leaves the score lines bare: what runs through them is a scratch, a shadow, a sign or tape, and no print."""

import numpy as np

from .errors import NoLine

RUNS_THROUGH = 0.75  # of its step in colour, in three of four score lines; drawn and path-traced prints stay below 0.7
PAINT = 1.6  # of that step: what differs even more in the score lines is their own paint
LEAST_LINES = 3  # that the band crosses
NARROW_MM, FULL = 1.9, 0.83  # a band so narrow and full shows no dimples and is believed less: scratches are so, few prints are
FULL_THROUGH = 0.35
LEAST_STEP = 3.0  # in colour, of 255; prints mostly have 10 at least
BESIDE_MM = (0.5, 2.0)  # from the band, where the face's own colour is read
GROOVE_MM, LAND_MM = 0.2, 0.7  # rows nearer than the one lie in a score line, rows farther than the other between two


def check_print(flat, frame, band):
    """Refuse a band that is there in the score lines as well.

    Parameters
    ----------
    flat : linetilt.ink.FlatFace
    frame : linetilt.face.FaceFrame
    band : linetilt.band.Band

    Raises
    ------
    NoLine
    """
    lines = [up for up, _, _ in frame.lines if band.low_mm + 0.6 < up < band.high_mm - 0.6]
    away = np.array([np.abs(flat.v - up) for up in lines]).reshape(len(lines), -1)
    step = _steps(flat, band)
    groove, land = [], []
    for inside, between in zip(away < GROOVE_MM, (away > LAND_MM) & (away < frame.pitch_mm / 2)):
        inside, between = step[inside], step[between]
        if np.isfinite(inside[:, 0]).any() and np.isfinite(between[:, 0]).any():
            groove.append(np.nanmean(inside, axis=0))
            land.append(np.nanmean(between, axis=0))
    full = band.fill > FULL and band.width_mm < NARROW_MM
    if len(groove) < (1 if full else LEAST_LINES):
        return
    usual = np.median(land, axis=0)
    if np.linalg.norm(usual) < LEAST_STEP:
        raise NoLine("the mark is too faint to measure")
    share = np.array(groove) @ usual / (usual @ usual)
    if np.quantile(share, 0.25) > (FULL_THROUGH if full else RUNS_THROUGH) and np.median(share) < PAINT:
        raise NoLine("what looks like a print runs through the score lines; a print leaves them bare, a scratch, a shadow or a sign does not")


def _steps(flat, band):
    """How the band differs in colour from the face on both its sides, row by row, (H, 3); NaN where it is not seen."""
    core, (low, high) = max(band.width_mm / 2 - 0.15, 0.3), (band.width_mm / 2 + edge for edge in BESIDE_MM)
    middle = (band.toe_mm + band.slope * (flat.v - band.up_mm) - flat.u[0]) * flat.rate
    reach = np.arange(-int(high * flat.rate), int(high * flat.rate) + 1)
    column = np.round(middle[:, None] + reach).astype(int)
    shown = (column.min(axis=1) >= 0) & (column.max(axis=1) < len(flat.u)) & (flat.v > band.low_mm) & (flat.v < band.high_mm)
    colour = flat.colour[np.arange(len(flat.v))[:, None], np.clip(column, 0, len(flat.u) - 1)]
    off = reach / flat.rate
    sides = [np.median(colour[:, side], axis=1) for side in (off < -low, off > low)]
    step = colour[:, np.abs(off) < core].mean(axis=1) - sum(sides) / 2
    step[~shown] = np.nan
    return step
