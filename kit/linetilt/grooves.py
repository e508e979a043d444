"""A print leaves the score lines bare: what runs through them is a scratch, a shadow, a sign or tape, and no print."""

import numpy as np

from .errors import NoLine

RUNS_THROUGH = 0.6  # of its step in colour, in three of four score lines; drawn and path-traced prints stay below 0.4
LEAST_LINES = 3
BESIDE_MM = (0.5, 2.0)  # from the band, where the face's own colour is read
GROOVE_MM, LAND_MM = 0.2, 0.7  # rows nearer than the one lie in a score line, rows farther than the other between two


def check_print(flat, frame, band):
    """Refuse a band that is there in the score lines as well.

    Parameters
    ----------
    flat : linetilt.ink.FlatFace
    frame : linetilt.face.FaceFrame
    band : linetilt.ink.Band

    Raises
    ------
    NoLine
    """
    steps = [_step(flat, band, row) for row in range(len(flat.v))]
    step = np.array([np.full(3, np.nan) if one is None else one for one in steps])
    groove, land = [], []
    for up in (line[0] for line in frame.lines if band.low_mm + 0.6 < line[0] < band.high_mm - 0.6):
        away = np.abs(flat.v - up)
        inside, between = step[away < GROOVE_MM], step[(away > LAND_MM) & (away < frame.pitch_mm / 2)]
        if np.isfinite(inside[:, 0]).any() and np.isfinite(between[:, 0]).any():
            groove.append(np.nanmean(inside, axis=0))
            land.append(np.nanmean(between, axis=0))
    if len(groove) < LEAST_LINES:
        return
    usual = np.median(land, axis=0)
    share = np.array(groove) @ usual / max(usual @ usual, 1e-9)
    if np.quantile(share, 0.25) > RUNS_THROUGH:
        raise NoLine("what looks like a print runs through the score lines; a print leaves them bare, a scratch, a shadow or a sign does not")


def _step(flat, band, row):
    """How the band differs in colour from the face on both its sides, along one row; None where it is not seen."""
    off = flat.u - band.toe_mm - band.slope * (flat.v[row] - band.up_mm)
    core = np.abs(off) < max(band.width_mm / 2 - 0.15, 0.3)
    low, high = (band.width_mm / 2 + edge for edge in BESIDE_MM)
    sides = (off < -low) & (off > -high), (off > low) & (off < high)
    if not (band.low_mm < flat.v[row] < band.high_mm and core.any() and all(side.any() for side in sides)):
        return None
    return flat.colour[row][core].mean(axis=0) - sum(np.median(flat.colour[row][side], axis=0) for side in sides) / 2
