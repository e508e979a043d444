"""Which of the marks on the face is the print: rivals, second prints, reflections, and the doubts that they add."""

from dataclasses import replace

import numpy as np

from ..evidence import Array, Flags, Reason, Why
from .band import FINE, Band, fit_band
from .colour import rarity
from .flat import FlatFace
from .search import PEN_MOST_MM, SURE_MERIT, Candidates, Followed, find_candidates, follow, lane, same, scan, shown

TOUCH_MM, STRAY = (
    30.0,
    0.15,
)  # a ball touches the face over less: common practice, no source; slope per share beyond that
SECOND_SHARE, SECOND = 0.5, 0.25  # of the mark's own: rarity of what may be a second print, and its merit
HOLLOW, WEDGE = (0.55, 1.7), 0.035  # of one print: ink of its middle to its sides, slopes of its edges apart
# Of full ink; standard uncertainties between two leans: half of that counts at the first, and the second is refused.
DARK, DARK_APART, DARK_REFUSED = 0.45, 1.5, 2.0
LEAST_MERIT = 25.0  # a band that stands out less is as often something else
CLEAR_MM = 0.7  # from the edges of a mark, where another is looked for
# Of the best mark's merit; what a photo from before the shot shows is never taken out whole.
RIVAL, RIVAL_BEFORE = 0.5, 0.7
# Between the colours of two marks of one pen, read in the middle of each, this share of its width to both sides.
ONE_INK_DEG, INNER = 12.0, 0.3
WHITE_MOST = 0.06  # of the field: where no mark is found, that much white hides it
WHITE_ON_MARK = 0.35  # of the mark


def find_band(flat: FlatFace, before: FlatFace | None = None) -> Band | Why:
    """Find the printed line and fit it: `find_candidates`, then `choose`."""
    return choose(flat, before, find_candidates(flat, before))


def choose(flat: FlatFace, before: FlatFace | None, found: Candidates) -> Band | Why:
    """Choose the print among the candidates.

    Returns
    -------
    Band or Why
        The band's `u_slope` holds the doubts that its shape and surroundings add.
    """
    if not found.marks:
        if flat.white[flat.field].mean() > WHITE_MOST:
            return Why(Reason.GLARE_ON_FACE)
        return Why(Reason.EVEN_EDGES if found.even else Reason.NO_INK)
    best = found.marks[0]
    band, res = best.band, best.res
    others = [other for other in found.marks[1:] if not same(band, other.band)]
    most = (RIVAL if before is None else RIVAL_BEFORE) * best.merit
    if any(other.merit > most or _second_beside(found.marks, other, flat) for other in others) or any(
        _second(other, best.merit, res, flat, band) for other in found.even
    ):
        return Why(Reason.SECOND_PRINT if best.merit > SURE_MERIT else Reason.RIVALS)
    lost = _share(flat.white, flat, band)
    if lost > WHITE_ON_MARK:
        return Why(Reason.GLARE_ON_MARK)
    if best.merit < LEAST_MERIT:
        return Why(Reason.WEAK_MARK)
    two = _two_prints(best, flat, before)
    if two is not None:
        return two
    dark = _dark_apart(best.ink(), flat, band)
    if isinstance(dark, Why):
        return dark
    # Edges that lean further apart than holes in the ink explain, or a dark part that leans otherwise: two prints, or
    # smear. What is longer than a ball touches has a scratch or a stain at its end, and that much is not known.
    doubts = (
        band.u_slope,
        max(abs(best.shape.wedge) - WEDGE, 0) / 4,
        dark,
        STRAY * max(1 - TOUCH_MM / band.length_mm, 0),
    )
    return replace(band, glare=lost, u_slope=float(np.linalg.norm(doubts)))


def _second_beside(marks: tuple[Followed, ...], other: Followed, flat: FlatFace) -> bool:
    """True where another mark is a second print by its own look at the face, once the best one is out of its way."""
    best, res = marks[0], other.res
    found = follow(res, _beside(flat, best.band), other.band.slope, other.band.toe_mm, other.band.up_mm)
    if isinstance(found, Why):
        return False
    merits = (one.merit for one in marks if one.res is res and same(one.band, best.band))
    return found.merit > LEAST_MERIT and _second(found, max(merits, default=best.merit), res, flat, best.band)


def _second(found: Followed, merit: float, res: Array, flat: FlatFace, band: Band) -> bool:
    """True where what was followed beside a mark may be a second print; an even one only if of the mark's own ink."""
    return found.merit > SECOND * merit and (not found.shape.even or _one_ink(res, flat, band, found.band))


def _one_ink(res: Array, flat: FlatFace, band: Band, other: Band) -> bool:
    """True where two bands differ from the face in one and the same colour."""
    usable = flat.field & flat.clear[:, None]
    a, b = (
        np.median(res[usable & along & (np.abs(t) < INNER * which.width_mm)], axis=0)
        for which in (band, other)
        for t, along in [lane(flat, which)]
    )
    return bool(a @ b > np.cos(np.radians(ONE_INK_DEG)) * np.linalg.norm(a) * np.linalg.norm(b))


def _beside(flat: FlatFace, band: Band) -> FlatFace:
    """The face without that band."""
    return replace(flat, field=flat.field & (np.abs(lane(flat, band)[0]) > band.width_mm / 2 + CLEAR_MM))


def _share(mask: Flags, flat: FlatFace, band: Band) -> float:
    t, along = lane(flat, band)
    inside = along & (np.abs(t) < band.width_mm / 2) & flat.clear[:, None]
    return float(mask[inside].mean()) if inside.any() else 0.0


def _two_prints(best: Followed, flat: FlatFace, before: FlatFace | None) -> Why | None:
    """Why a mark may be two prints, or have another of whatever colour beside, across or on it; else None."""
    band, res = best.band, best.res
    if band.width_mm > PEN_MOST_MM or not HOLLOW[0] < best.shape.hollow < HOLLOW[1]:
        return Why.of(Reason.TOO_WIDE, width_mm=band.width_mm)
    t, along = lane(flat, band)
    usable = flat.field & flat.clear[:, None]
    beside = _beside(flat, band)
    rare = rarity(res[usable][::7], res[::2, ::2])
    own = rare[(usable & along & (np.abs(t) < band.width_mm / 2))[::2, ::2]].mean()
    for place in scan(np.where((usable & beside.field)[::2, ::2], rare, 0), beside, most=2):
        if place.score < SECOND_SHARE * own:
            break
        other = follow(res, beside, place.slope, place.toe_mm, place.up_mm)
        if isinstance(other, Why):
            continue
        if _second(other, best.merit, res, flat, band) and (before is None or not shown(before, other.band)):
            return Why(Reason.SECOND_PRINT)
    return None


def _dark_apart(ink: Array, flat: FlatFace, band: Band) -> float | Why:
    """How far the dark part of the mark leans from the whole of it, as slope, beyond what one print's does.

    Ink of an earlier, paler print may lie with it.
    """
    dark = fit_band(
        np.where(ink > DARK, ink, 0),
        flat.u,
        flat.v,
        flat.clear,
        band.slope,
        band.toe_mm,
        band.up_mm,
        band.width_mm / 2 + 1.4,
        band.noise,
        FINE[::2],
    )
    if isinstance(dark, Why):
        return dark
    apart, usual = abs(dark.slope - band.slope), float(np.hypot(dark.u_slope, band.u_slope))
    if apart > DARK_REFUSED * usual:
        return Why(Reason.DARK_PART_LEANS)
    return apart * float(np.clip(apart / usual / DARK_APART - 0.5, 0, 1))
