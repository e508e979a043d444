"""Where on the flat face a print could be: rough places, each followed to a fitted band or to why there is none."""

from dataclasses import dataclass, field, replace

import cv2
import numpy as np

from ...base.ball import BALL_RADIUS_MM
from ..evidence import Array, Flags, Floats, Reason, Why
from .band import FINE, ROUGH, Band, fit_band
from .colour import Look, ink_look, rarity
from .flat import FlatFace, residual
from .prints import Shape, shape_of

TILT_LIMIT_DEG = 22.0
WIDTH_RANGE_MM = (1.0, 5.8)  # of a pen's line; scratches are narrower
# Of a print; the ball is no wider, and 37 mm was the longest of 1,556 drawn ones.
LENGTH_MM = (7.0, 0.9 * 2 * BALL_RADIUS_MM)
LEAST_MM2 = 18.0  # length by width; scratches and stains are smaller, drawn prints have 21 at least
ALL_ABOUT = 0.25  # share of ink's colour about a mark to that in it; of drawn prints 0.15 at most
PEN_MOST_MM = 4.5  # width of one print
SURE_MERIT = 60.0  # a band that stands out this much is the print: length, fill and contrast together
SHOWN_MM = 0.6  # between the axes of a mark before and after the shot: a new one may lie across or beside it
LEAN_SURE = 0.035  # slope: a mark whose lean is less certain is less likely a print
EDGE_MM = 4.0  # from the edge of the field: nearer than that no print has its middle
SLENDER, WEDGED = 3.2, 0.1  # least length of a print to its width; slopes of its edges apart that are rare
TOO_WIDE = 4  # by this much a mark wider than a pen's line is less likely a print
# Times as uncertain are lean and height of a print that runs to the edge of what is searched: by trial on 113 drawn
# ones.
CUT = 1.4, 2.0
LOST_MM = 7.5, 6.0  # a fit wider or shorter than this does not come back
_REACH_MM = 3.1  # from the axis of a rough place
_COARSE = 2.0  # samples a mm in which a band is looked for
_NEAR_MM = 17.0  # half-width of what is looked at about a band


@dataclass(frozen=True)
class Place:
    """A rough place: the axis u = toe_mm + slope (v - up_mm), and how much it stands out."""

    slope: float
    toe_mm: float
    up_mm: float
    score: float


@dataclass(frozen=True)
class Followed:
    """A band that could be a print: how much it stands out, its fit, its shape, and the look that showed it."""

    merit: float
    band: Band
    shape: Shape
    look: Look = field(repr=False)
    res: Array = field(repr=False)

    def ink(self) -> Array:
        """The map of ink of the whole face, (H, W)."""
        return self.look(self.res)


@dataclass(frozen=True)
class Candidates:
    """What was found when the face was looked over.

    Attributes
    ----------
    marks : tuple of Followed
        Those that could be prints, the one that stands out most first.
    even : tuple of Followed
        Marks whose edges are more even than those of any print.
    misses : tuple of (Place, Why)
        Places that stood out and were no mark, in the order in which they were looked at.
    """

    marks: tuple[Followed, ...]
    even: tuple[Followed, ...]
    misses: tuple[tuple[Place, Why], ...]


def find_candidates(flat: FlatFace, before: FlatFace | None = None) -> Candidates:
    """Look the face over until a mark stands out that is surely the print.

    Parameters
    ----------
    flat : FlatFace
    before : FlatFace, optional
        The same face before the shot, on the same grid.
    """
    marks: list[Followed] = []
    even: list[Followed] = []
    misses: list[tuple[Place, Why]] = []
    # rust, then sharp reflections, hide a print from the plain look
    for narrow, common in ((False, False), (False, True), (True, False)):
        more, missed = _marks(flat, residual(flat, before, narrow), common)
        misses += missed
        if before is not None:
            more = [found for found in more if not shown(before, found.band)]
        even += [found for found in more if found.shape.even]
        # a look that shows more of a mark outweighs one that shows less
        marks = [found for found in marks + more if not any(same(found.band, other.band) for other in even)]
        marks.sort(key=lambda found: -found.merit)
        if marks and marks[0].merit > SURE_MERIT:
            break
    return Candidates(tuple(marks), tuple(even), tuple(misses))


def _marks(flat: FlatFace, look: tuple[Array, Array], common: bool) -> tuple[list[Followed], list[tuple[Place, Why]]]:
    """The bands that could be prints by one look at the face, and the places that came to nothing.

    `common`: colours that are common on this face count little, wherever they are.
    """
    res, scatter = look
    few, usable = res[::2, ::2], flat.field & flat.clear[:, None]
    if common:
        energy = rarity(res[usable][::7], few)
    else:
        energy = np.minimum((few / scatter[::2]) ** 2 @ np.full(3, 1 / 3, np.float32), 30.0)
    energy[(flat.white | ~usable)[::2, ::2]] = 0
    marks: list[Followed] = []
    misses: list[tuple[Place, Why]] = []
    places = scan(energy, flat, most=5)
    for place in places:
        best = max((found.merit for found in marks if not found.shape.even), default=0)
        if best > SURE_MERIT and place.score < 0.7 * places[0].score:
            break  # nothing weaker outdoes this, or is a second print
        found = follow(res, flat, place.slope, place.toe_mm, place.up_mm)
        if isinstance(found, Why):
            misses.append((place, found))
        elif not any(same(found.band, other.band) for other in marks):
            marks.append(found)
    return marks, misses


def shown(before: FlatFace, band: Band) -> bool:
    """True where the face showed that very band before the shot: its ink is never taken out whole."""
    old = follow(before.plain, before, band.slope, band.toe_mm, band.up_mm)
    return not isinstance(old, Why) and _apart(old.band, band) < SHOWN_MM


def same(a: Band, b: Band) -> bool:
    """True where two bands lie on each other."""
    return _apart(a, b) < (a.width_mm + b.width_mm) / 2


def _apart(a: Band, b: Band) -> float:
    middle = (a.up_mm + b.up_mm) / 2
    return abs((a.toe_mm + a.slope * (middle - a.up_mm)) - (b.toe_mm + b.slope * (middle - b.up_mm)))


def scan(energy: Array, flat: FlatFace, most: int) -> list[Place]:
    """Return the strongest near-upright bands of an energy map, best first.

    A band is 2 mm wide and 14 mm long here; what counts is its mean against both its sides.
    """
    step = flat.rate / _COARSE
    shape = (int(flat.field.shape[1] / step), int(flat.field.shape[0] / step))
    small = cv2.resize(energy.astype(np.float32), shape, interpolation=cv2.INTER_AREA)
    usable = cv2.resize((flat.field & flat.clear[:, None]).astype(np.float32), shape, interpolation=cv2.INTER_AREA)
    u = flat.u[0] + (np.arange(shape[0]) + 0.5) * step / flat.rate
    v = flat.v[0] - (np.arange(shape[1]) + 0.5) * step / flat.rate
    length, side = int(14 * _COARSE), int(5 * _COARSE)
    top, bottom = flat.v[np.nonzero(flat.field.any(axis=1))[0][[0, -1]]]
    found = []
    for slope in np.tan(np.radians(np.linspace(-TILT_LIMIT_DEG, TILT_LIMIT_DEG, 17))):
        shift = np.array([[1, 0, -slope * (len(v) - 1) / 2], [0, 1, 0]], np.float32)
        shift[0, 1] = slope
        turned, amount = (cv2.warpAffine(part, shift, shape, flags=cv2.INTER_LINEAR) for part in (small, usable))
        core, flank = (
            cv2.blur(turned, (wide, length)) / np.maximum(cv2.blur(amount, (wide, length)), 0.05) for wide in (3, side)
        )
        score = core - np.maximum(np.roll(flank, side // 2 + 4, axis=1), np.roll(flank, -(side // 2 + 4), axis=1))
        score = np.where(cv2.blur(amount, (3, length)) > 0.4, score, -1)  # of 14 mm, score lines take a third
        # mostly off the score lines: an edge of the face, not a print
        score[(v < bottom + EDGE_MM) | (v > top - EDGE_MM)] = -1
        for _ in range(3):
            r, c = np.unravel_index(np.argmax(score), score.shape)
            found.append((float(score[r, c]), slope, u[c] + slope * (v[r] - v.mean()), v[r]))
            score[:, max(c - 8, 0) : c + 9] = -1
    found.sort(key=lambda item: -item[0])
    kept: list[Place] = []
    for score, slope, toe, up in found:
        if all(abs(toe - other.toe_mm) > 3 or abs(up - other.up_mm) > 12 for other in kept):
            kept.append(Place(slope, toe, up, score))
        if len(kept) == most:
            break
    return kept


def follow(res: Array, flat: FlatFace, slope: float, toe: float, up: float) -> Followed | Why:
    """From a rough place to the fitted band, or why there is none."""
    half, reach, t_max = 0.9, 9.0, _REACH_MM
    whole_res, whole = res, flat
    near, rows = (
        slice(*(np.nonzero(part)[0][[0, -1]] + [0, 1]))
        for part in (np.abs(flat.u - toe) < _NEAR_MM, flat.field.any(axis=1))
    )
    res = res[rows, near]
    flat = replace(flat, u=flat.u[near], v=flat.v[rows], clear=flat.clear[rows], field=flat.field[rows, near])
    for turn in range(6):
        t = (flat.u[None, :] - toe) - slope * (flat.v[:, None] - up)
        usable = (np.abs(flat.v[:, None] - up) < reach) & flat.field & flat.clear[:, None]
        inside = usable & (np.abs(t) < half)
        flank = usable & (np.abs(t) > half + 1.2) & (np.abs(t) < half + 6.0)
        if inside.sum() < 60 or flank.sum() < 120:
            return Why(Reason.NO_INK)
        two_sided = 0.2 < (t[flank] > 0).mean() < 0.8
        seen = ink_look(res[inside], res[flank], two_sided)
        if isinstance(seen, Why):
            return seen
        look, noise = seen
        inked = np.where(flat.field, look(res), 0)
        if turn == 0:
            slope, toe = _aim(inked, flat, toe, up, noise)
        angles = ROUGH if turn < 2 else FINE
        band = fit_band(inked, flat.u, flat.v, flat.clear, slope, toe, up, t_max, noise, angles)
        if isinstance(band, Why):
            return band
        if _cut(band, flat):  # what lies beyond is not seen
            band = replace(band, u_slope=CUT[0] * band.u_slope, u_up_mm=CUT[1] * band.u_up_mm)
        moved = abs(band.slope - slope)
        slope, toe, up = band.slope, band.toe_mm, band.up_mm
        half = float(np.clip(0.4 * band.width_mm, 0.45, 2.0))
        reach = (band.high_mm - band.low_mm) / 2 + 1.0
        t_max = band.width_mm / 2 + 1.4
        if (turn > 1 and moved < 0.003) or band.width_mm > LOST_MM[0] or (turn > 0 and band.length_mm < LOST_MM[1]):
            break
    if abs(np.degrees(np.arctan(band.slope))) > TILT_LIMIT_DEG + 3:
        return Why(Reason.NO_INK)
    if (
        not LENGTH_MM[0] < band.length_mm < LENGTH_MM[1]
        or not WIDTH_RANGE_MM[0] < band.width_mm < WIDTH_RANGE_MM[1]
        or band.length_mm < max(SLENDER * band.width_mm, LEAST_MM2 / band.width_mm)
    ):
        return Why.of(Reason.NOT_A_LINE, length_mm=band.length_mm, width_mm=band.width_mm)
    if band.noise > 0.4 or band.fill < 0.28:
        return Why(Reason.FAINT_MARK)
    inside = whole.u[whole.field.any(axis=0)]
    if not inside[0] < band.toe_mm - band.width_mm / 2 < band.toe_mm + band.width_mm / 2 < inside[-1]:
        return Why(Reason.NO_INK)
    shape = shape_of(inked, flat, band)
    if _is_common(inked, flat, band):
        return Why(Reason.COMMON_COLOUR)
    # prints that lean more than 12 degrees are rare
    usual = np.exp(-0.5 * (band.slope / 0.2) ** 2 - 0.5 * (shape.wedge / WEDGED) ** 2)
    if band.width_mm > PEN_MOST_MM:
        usual = usual / TOO_WIDE
    known = 1 / np.hypot(1, band.u_slope / LEAN_SURE)
    merit = usual * known * np.sqrt(band.length_mm * band.fill) / max(band.noise, 0.02)
    return Followed(float(merit), band, shape, look, whole_res)


def _cut(band: Band, flat: FlatFace) -> bool:
    """True where the ink runs to the edge of what is searched."""
    rows = flat.v[flat.field.any(axis=1)]
    return band.low_mm < rows.min() + 0.4 or band.high_mm > rows.max() - 0.4


def _aim(ink: Array, flat: FlatFace, toe: float, up: float, noise: float, step: float = 0.25) -> tuple[float, float]:
    """Slope and place of the lane, 20 mm long about `up`, with the most ink above the noise: a start for the fit."""
    t, y = np.arange(-6, 6 + step, step), np.arange(-10, 10 + step, step)
    row = (flat.v[0] - up - y) * flat.rate
    ink = cv2.blur(np.clip(ink, -0.3, 1.0), (max(int(step * flat.rate), 1),) * 2)
    clear = np.interp(row, np.arange(len(flat.v)), flat.clear.astype(float), left=0, right=0)[:, None]
    best = (-1.0, 0.0, toe)
    for slope in np.tan(np.radians(np.arange(-TILT_LIMIT_DEG, TILT_LIMIT_DEG + 1))):
        column = (toe + t[None, :] + slope * y[:, None] - flat.u[0]) * flat.rate
        lane = cv2.remap(
            ink, column.astype(np.float32), np.repeat(row[:, None], len(t), 1).astype(np.float32), cv2.INTER_LINEAR
        )
        above = np.maximum((lane * clear).sum(axis=0) / max(clear.sum(), 1e-3) - 0.08 - 0.4 * noise, 0)
        merit = float(above.sum())
        if merit > best[0]:
            best = (merit, float(slope), toe + float((above * t).sum() / max(above.sum(), 1e-6)))
    return best[1:]


def lane(flat: FlatFace, band: Band) -> tuple[Floats, Flags]:
    """How far every sample lies to the toe's side of a band's axis, mm, (H, W); which rows show its ink, (H, 1)."""
    t = (flat.u[None, :] - band.toe_mm) - band.slope * (flat.v[:, None] - band.up_mm)
    along = (flat.v[:, None] > band.low_mm) & (flat.v[:, None] < band.high_mm)
    return t, along


def _is_common(ink: Array, flat: FlatFace, band: Band) -> bool:
    """True where the mark's colour lies all about it."""
    t, along = lane(flat, band)
    along = along & flat.field & flat.clear[:, None]
    inside = along & (np.abs(t) < band.width_mm / 2)
    about = along & (np.abs(t) > band.width_mm / 2 + 1) & (np.abs(t) < 12)
    return bool(about.any() and (ink[about] > 0.5).mean() > ALL_ABOUT * (ink[inside] > 0.5).mean())
