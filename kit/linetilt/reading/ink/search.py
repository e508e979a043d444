"""The face laid flat -> where the ink is -> the mark that is a print: pure arrays, in millimetres.

Ink is whatever differs from the average along its own row: that average holds score lines, brushing and paint, and a
print of any colour stands out of it.
"""

from dataclasses import dataclass, replace
from functools import cached_property

import cv2
import numpy as np

from ...base.ball import BALL_RADIUS_MM
from ...base.errors import Glare, NoLine, TwoLines
from ..plane.score_lines import half_size
from .band import FINE, NO_LINE, ROUGH, fit_band
from .colour import ink_look, rarity
from .prints import shape_of

TILT_LIMIT_DEG = 22.0
WIDTH_RANGE_MM = (1.0, 5.8)  # of a pen's line; scratches are narrower
LENGTH_MM = (
    7.0,
    0.9 * 2 * BALL_RADIUS_MM,
)  # of a print; the ball is no wider, and 37 mm was the longest of 1,556 drawn ones
TOUCH_MM, STRAY = (
    30.0,
    0.15,
)  # a ball touches the face over less: common practice, no source; slope per share of a print beyond that
LEAST_MM2 = 18.0  # length by width; scratches and stains are smaller, drawn prints have 21 at least
GROOVE_MM = 0.5  # rows nearer than this to the middle of a score line are left out
ALL_ABOUT = 0.25  # share of ink's colour about a mark to that in it; of drawn prints 0.15 at most
SECOND_SHARE, SECOND = 0.5, 0.25  # of the mark's own: rarity of what may be a second print, and its merit
PEN_MOST_MM, HOLLOW, WEDGE = (
    4.5,
    (0.55, 1.7),
    0.035,
)  # of one print: width, ink of its middle to its sides, slopes of its edges apart
DARK, DARK_APART, DARK_REFUSED = (
    0.45,
    1.5,
    2.0,
)  # of full ink; standard uncertainties between two leans: half of that counts at 1.5
LEAST_MERIT = 25.0  # a band that stands out less is as often something else
SURE_MERIT = 60.0  # a band that stands out this much is the print: length, fill and contrast together
CLEAR_MM = 0.7  # from the edges of a mark, where another is looked for
RIVAL, RIVAL_BEFORE = (
    0.5,
    0.7,
)  # of the best mark's merit; what a photo from before the shot shows is never taken out whole
ONE_INK_DEG, INNER = (
    12.0,
    0.3,
)  # between the colours of two marks of one pen, read in the middle of each, this share of its width to both sides
SHOWN_MM = 0.6  # between the axes of a mark before and after the shot: a new one may lie across or beside it
LEAN_SURE = 0.035  # slope: a mark whose lean is less certain is less likely a print
WIDE_MM = 7.0  # nothing this wide along a row is a print
EDGE_MM = 4.0  # from the edge of the field: nearer than that no print has its middle
WHITE_MOST = 0.06  # of the field: where no mark is found, that much white hides it
SLENDER, WEDGED = 3.2, 0.1  # least length of a print to its width; slopes of its edges apart that are rare
TOO_WIDE = 4  # by this much a mark wider than a pen's line is less likely a print
CUT = (
    1.4,
    2.0,
)  # times as uncertain are lean and height of a print that runs to the edge of what is searched: by trial on 113 drawn ones
LOST_MM = 7.5, 6.0  # a fit wider or shorter than this does not come back
_REACH_MM = 3.1  # from the axis of a rough place
_COARSE = 2.0  # samples a mm in which a band is looked for
_NEAR_MM = 17.0  # half-width of what is looked at about a band


@dataclass(frozen=True)
class FlatFace:
    """The face resampled in its own plane: colour (H, W, 3) float32; pixel (r, c) is at (u[c], v[r]) mm, v falling with r."""

    colour: np.ndarray
    u: np.ndarray
    v: np.ndarray
    rate: float  # samples a mm
    clear: np.ndarray  # (H,) bool: rows beside the score lines
    field: (
        np.ndarray
    )  # (H, W) bool: where a print is looked for: seen by the camera, between the ends of the score lines

    @cached_property
    def plain(self):
        """Colour minus the mean of 22 mm along its row, in which what stands out counts little, (H, W, 3); the mean is made of every few columns."""
        every = 4
        height, width = self.colour.shape[:2]
        few = cv2.resize(self.colour, (width // every, height), interpolation=cv2.INTER_AREA)
        wide = int(22 * self.rate / every) | 1
        weight = np.ones(few.shape[:2], np.float32)
        for _ in range(3):
            total = cv2.blur(weight, (wide, 1), borderType=cv2.BORDER_REFLECT)
            mean = cv2.blur(few * weight[..., None], (wide, 1), borderType=cv2.BORDER_REFLECT) / (
                total[..., None] + 1e-4
            )
            size = np.abs(few - mean) @ np.ones(3, np.float32)
            scale = 2.2 * np.median(size[:, ::2], axis=1, keepdims=True) + 2
            weight = 1 / (1 + (size / scale) ** 2)
        return self.colour - cv2.resize(mean, (width, height), interpolation=cv2.INTER_LINEAR)


def flatten(rgb, frame, margin_mm=5.0, rate=None):
    """Resample the picture in the plane of the face.

    Parameters
    ----------
    rgb : ndarray of uint8, shape (H, W, 3)
    frame : linetilt.reading.plane.face.FaceFrame
    margin_mm : float
        How far beyond the score lines.
    rate : float, optional
        Samples a mm; by default as many as the picture has, from 6 to 8.
    """
    rate = rate or float(np.clip(frame.pixels_per_mm, 6.0, 8.0))
    while (
        frame.pixels_per_mm > 1.7 * rate and frame.pixels_per_mm > 14
    ):  # nothing finer is used: smooth before sampling
        rgb = half_size(rgb)
        frame = frame.halved()
    v_line = np.array([line[0] for line in frame.lines])
    half = frame.length_mm / 2 + margin_mm
    low, high = v_line.min() - margin_mm - 1, v_line.max() + margin_mm + 3
    columns, rows = int(2 * half * rate), int((high - low) * rate)
    grid = np.array([[1 / rate, 0, -half], [0, -1 / rate, high], [0, 0, 1.0]])
    back = np.linalg.inv(frame.to_face) @ grid
    flat = cv2.warpPerspective(
        rgb, back, (columns, rows), flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP, borderMode=cv2.BORDER_REPLICATE
    )
    seen = cv2.warpPerspective(
        np.ones(rgb.shape[:2], np.uint8), back, (columns, rows), flags=cv2.INTER_NEAREST | cv2.WARP_INVERSE_MAP
    )
    u, v = -half + np.arange(columns) / rate, high - np.arange(rows) / rate
    nearest = np.abs(v[:, None] - v_line[None, :]).min(axis=1)
    v_full = v_line[np.array(frame.full)]
    low, high = max(v_line.min() - 3.0, v_full.min() - 8.0), min(v_line.max() + 3.5, v_full.max() + 12.0)
    inside = (np.abs(u) < frame.length_mm / 2 - 1.0)[None, :] & ((v > low) & (v < high))[:, None]
    return FlatFace(flat.astype(np.float32), u, v, rate, nearest >= GROOVE_MM, (seen > 0) & inside)


def residual(flat, before=None, narrow=False):
    """Colour minus a robust average along each row, (H, W, 3), and the scatter of each row, (H, 1, 3).

    Parameters
    ----------
    flat : FlatFace
    before : FlatFace, optional
        The same face before the shot on the same grid: what it shows is taken out as far as it explains the picture.
    narrow : bool
        Take out all that is wider than a print along its row as well.
    """
    res = flat.plain
    if before is not None:
        old = cv2.GaussianBlur(before.plain, (0, 0), 0.5)
        limit = np.percentile(np.abs(old), 99) + 1
        a, b = np.clip(old, -limit, limit), np.clip(res, -limit, limit)
        res = res - float((a * b).sum() / ((a * a).sum() + 1e-6)) * old
    if narrow:
        res = res - _wide_part(res, flat.rate)
    scatter = 1.4826 * np.median(np.abs(res[:, ::6]), axis=1, keepdims=True)
    scatter = np.maximum(cv2.blur(scatter[:, 0], (1, 3))[:, None], 0.8)
    return res, scatter


def _wide_part(res, rate):
    """What is wider than any print along a row, steps kept sharp: the edges of a reflection are not ink."""
    smooth = cv2.GaussianBlur(res, (0, 0), sigmaX=0.15 * rate, sigmaY=0.3 * rate)
    wide = np.ones((1, int(WIDE_MM * rate) | 1), np.uint8)
    turn = lambda first, then: cv2.morphologyEx(cv2.morphologyEx(smooth, first, wide), then, wide)
    return (turn(cv2.MORPH_OPEN, cv2.MORPH_CLOSE) + turn(cv2.MORPH_CLOSE, cv2.MORPH_OPEN)) / 2


def find_band(flat, before=None):
    """Find the printed line and fit it.

    Returns
    -------
    Band

    Raises
    ------
    NoLine, TwoLines, Glare
    """
    white = cv2.inRange(flat.colour, (250.5,) * 3, (256.0,) * 3) > 0
    bands, even, refusal = [], [], None
    for narrow, common in (
        (False, False),
        (False, True),
        (True, False),
    ):  # rust, then sharp reflections, hide a print from the plain look
        more, other = _bands(flat, white, residual(flat, before, narrow), common)
        if before is not None:
            more = [found for found in more if not _shown(before, found[1])]
        even += [
            found for found in more if found[2].even
        ]  # a look that shows more of a mark outweighs one that shows less
        bands = [found for found in bands + more if not any(_same(found[1], other[1]) for other in even)]
        bands, refusal = sorted(bands, key=lambda found: -found[0]), refusal or other
        if bands and bands[0][0] > SURE_MERIT:
            break
    if not bands and white[flat.field].mean() > WHITE_MOST:
        raise Glare("a reflection covers much of the face, and no mark was found beside it")
    if not bands and even:
        raise NoLine(
            "what looks like a print has even edges; dimples leave a print's edges bitten, those of a scratch, a shadow or a sign are not"
        )
    if not bands:
        raise refusal or NoLine(NO_LINE)
    merit, band, shape, ink_map, res = bands[0]
    others, most = (
        [other for other in bands[1:] if not _same(band, other[1])],
        (RIVAL if before is None else RIVAL_BEFORE) * merit,
    )
    if any(other[0] > most or _second_beside(bands, other, flat) for other in others) or any(
        _second(other, merit, res, flat, band) for other in even
    ):
        raise (
            TwoLines("two printed lines lie on the face")
            if merit > SURE_MERIT
            else NoLine("more than one mark on the face could be the print")
        )
    lost = _share(white, flat, band)
    if lost > 0.35:
        raise Glare("a reflection covers the mark")
    if merit < LEAST_MERIT:
        raise NoLine("the mark is too faint to measure, or another lies beside it")
    ink = ink_map()
    _refuse_second(res, flat, before, band, shape.hollow, merit)
    # edges that lean further apart than holes let them, or a dark part that leans otherwise, are two prints, or smear; what is longer than a ball
    # touches has a scratch or a stain at its end: that much is not known
    doubts = (
        band.u_slope,
        max(abs(shape.wedge) - WEDGE, 0) / 4,
        _dark_apart(ink, flat, band),
        STRAY * max(1 - TOUCH_MM / band.length_mm, 0),
    )
    return replace(band, glare=lost, u_slope=float(np.linalg.norm(doubts)))


def _bands(flat, white, look, common):
    """The bands that could be prints, as `follow` gives them, and a refusal that says more than "nothing".

    `common`: colours that are common on this face count little, wherever they are.
    """
    res, scatter = look
    few, usable = res[::2, ::2], flat.field & flat.clear[:, None]
    if common:
        energy = rarity(res[usable][::7], few)
    else:
        energy = np.minimum((few / scatter[::2]) ** 2 @ np.full(3, 1 / 3, np.float32), 30.0)
    energy[(white | ~usable)[::2, ::2]] = 0
    bands, refusal = [], None
    candidates = scan(energy, flat, most=5)
    for slope, toe, up, score in candidates:
        if (
            max((found[0] for found in bands if not found[2].even), default=0) > SURE_MERIT
            and score < 0.7 * candidates[0][3]
        ):
            break  # nothing weaker outdoes this, or is a second print
        try:
            found = follow(res, flat, slope, toe, up)
        except NoLine as error:
            refusal = refusal or (error if str(error) != str(NoLine(NO_LINE)) else None)
            continue
        if not any(_same(found[1], other[1]) for other in bands):
            bands.append((*found, res))
    return bands, refusal


def _second_beside(bands, other, flat):
    """True where another band, once the best one is out of its way, is a second print by the look at the face that showed it."""
    best, res = bands[0], other[4]
    try:
        found = follow(res, _beside(flat, best[1]), other[1].slope, other[1].toe_mm, other[1].up_mm)
    except NoLine:
        return False
    own = max((one[0] for one in bands if one[4] is res and _same(one[1], best[1])), default=best[0])
    return found[0] > LEAST_MERIT and _second(found, own, res, flat, best[1])


def _second(found, merit, res, flat, band):
    """True where what was followed beside a mark may be a second print: an even one, a scratch or a sign, only where it is of the mark's own ink."""
    return found[0] > SECOND * merit and (not found[2].even or _one_ink(res, flat, band, found[1]))


def _one_ink(res, flat, band, other):
    """True where two bands differ from the face in one and the same colour."""
    shown = flat.field & flat.clear[:, None]
    a, b = (
        np.median(res[shown & along & (np.abs(t) < INNER * which.width_mm)], axis=0)
        for which in (band, other)
        for t, along in [_lane(flat, which)]
    )
    return a @ b > np.cos(np.radians(ONE_INK_DEG)) * np.linalg.norm(a) * np.linalg.norm(b)


def _beside(flat, band):
    """The face without that band."""
    return replace(flat, field=flat.field & (np.abs(_lane(flat, band)[0]) > band.width_mm / 2 + CLEAR_MM))


def _shown(before, band):
    """True where the face showed that very band before the shot: its ink is never taken out whole."""
    try:
        old = follow(before.plain, before, band.slope, band.toe_mm, band.up_mm)[1]
    except NoLine:
        return False
    return _apart(old, band) < SHOWN_MM


def _same(a, b):
    return _apart(a, b) < (a.width_mm + b.width_mm) / 2


def _apart(a, b):
    middle = (a.up_mm + b.up_mm) / 2
    return abs((a.toe_mm + a.slope * (middle - a.up_mm)) - (b.toe_mm + b.slope * (middle - b.up_mm)))


def scan(energy, flat, most):
    """Return the strongest near-upright bands of an energy map as (slope, toe, up, score), best first.

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
        mean = lambda wide: cv2.blur(turned, (wide, length)) / np.maximum(cv2.blur(amount, (wide, length)), 0.05)
        flank = mean(side)
        score = mean(3) - np.maximum(np.roll(flank, side // 2 + 4, axis=1), np.roll(flank, -(side // 2 + 4), axis=1))
        score = np.where(cv2.blur(amount, (3, length)) > 0.4, score, -1)  # of 14 mm, score lines take a third
        score[
            (v < bottom + EDGE_MM) | (v > top - EDGE_MM)
        ] = -1  # mostly off the score lines: an edge of the face, not a print
        for _ in range(3):
            r, c = np.unravel_index(np.argmax(score), score.shape)
            found.append((float(score[r, c]), slope, u[c] + slope * (v[r] - v.mean()), v[r]))
            score[:, max(c - 8, 0) : c + 9] = -1
    found.sort(key=lambda item: -item[0])
    kept = []
    for score, slope, toe, up in found:
        if all(abs(toe - other[1]) > 3 or abs(up - other[2]) > 12 for other in kept):
            kept.append((slope, toe, up, score))
        if len(kept) == most:
            break
    return kept


def follow(res, flat, slope, toe, up):
    """From a rough place to the fitted band. Returns (merit, Band, Shape, a function that makes the whole ink map)."""
    half, reach, t_max = 0.9, 9.0, _REACH_MM
    whole_res, whole = res, flat
    near, rows = (
        slice(*(np.nonzero(part)[0][[0, -1]] + [0, 1]))
        for part in (np.abs(flat.u - toe) < _NEAR_MM, flat.field.any(axis=1))
    )
    res, flat = (
        res[rows, near],
        replace(flat, u=flat.u[near], v=flat.v[rows], clear=flat.clear[rows], field=flat.field[rows, near]),
    )
    for turn in range(6):
        t = (flat.u[None, :] - toe) - slope * (flat.v[:, None] - up)
        usable = (np.abs(flat.v[:, None] - up) < reach) & flat.field & flat.clear[:, None]
        inside = usable & (np.abs(t) < half)
        flank = usable & (np.abs(t) > half + 1.2) & (np.abs(t) < half + 6.0)
        if inside.sum() < 60 or flank.sum() < 120:
            raise NoLine(NO_LINE)
        two_sided = 0.2 < (t[flank] > 0).mean() < 0.8
        look, noise = ink_look(res[inside], res[flank], two_sided)
        inked = np.where(flat.field, look(res), 0)
        if turn == 0:
            slope, toe = _aim(inked, flat, toe, up, noise)
        band = fit_band(inked, flat.u, flat.v, flat.clear, slope, toe, up, t_max, noise, ROUGH if turn < 2 else FINE)
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
        raise NoLine(NO_LINE)
    if (
        not LENGTH_MM[0] < band.length_mm < LENGTH_MM[1]
        or not WIDTH_RANGE_MM[0] < band.width_mm < WIDTH_RANGE_MM[1]
        or band.length_mm < max(SLENDER * band.width_mm, LEAST_MM2 / band.width_mm)
    ):
        raise NoLine(
            f"what stands out on the face is {band.length_mm:.0f} mm long and {band.width_mm:.1f} mm wide, not a printed line"
        )
    if band.noise > 0.4 or band.fill < 0.28:
        raise NoLine("the mark is too faint to measure")
    inside = whole.u[whole.field.any(axis=0)]
    if not inside[0] < band.toe_mm - band.width_mm / 2 < band.toe_mm + band.width_mm / 2 < inside[-1]:
        raise NoLine(NO_LINE)
    shape = shape_of(inked, flat, band)
    _refuse_common(inked, flat, band)
    usual = np.exp(
        -0.5 * (band.slope / 0.2) ** 2 - 0.5 * (shape.wedge / WEDGED) ** 2
    )  # prints that lean more than 12 degrees are rare
    if band.width_mm > PEN_MOST_MM:
        usual = usual / TOO_WIDE
    known = 1 / np.hypot(1, band.u_slope / LEAN_SURE)
    return (
        usual * known * np.sqrt(band.length_mm * band.fill) / max(band.noise, 0.02),
        band,
        shape,
        lambda: look(whole_res),
    )


def _cut(band, flat):
    """True where the ink runs to the edge of what is searched."""
    rows = flat.v[flat.field.any(axis=1)]
    return band.low_mm < rows.min() + 0.4 or band.high_mm > rows.max() - 0.4


def _aim(ink, flat, toe, up, noise, step=0.25):
    """Slope and place whose upright lane, 20 mm long about `up`, holds the most ink above the noise: a start for the fit."""
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


def _lane(flat, band):
    t = (flat.u[None, :] - band.toe_mm) - band.slope * (flat.v[:, None] - band.up_mm)
    along = (flat.v[:, None] > band.low_mm) & (flat.v[:, None] < band.high_mm)
    return t, along


def _share(mask, flat, band):
    t, along = _lane(flat, band)
    lane = along & (np.abs(t) < band.width_mm / 2) & flat.clear[:, None]
    return float(mask[lane].mean()) if lane.any() else 0.0


def _refuse_common(ink, flat, band):
    """Refuse where the mark's colour lies all about it."""
    t, along = _lane(flat, band)
    along = along & flat.field & flat.clear[:, None]
    inside, about = (
        along & (np.abs(t) < band.width_mm / 2),
        along & (np.abs(t) > band.width_mm / 2 + 1) & (np.abs(t) < 12),
    )
    if about.any() and (ink[about] > 0.5).mean() > ALL_ABOUT * (ink[inside] > 0.5).mean():
        raise NoLine("rust, dirt or worn finish of the mark's colour lies all about it")


def _refuse_second(res, flat, before, band, hollow, merit):
    """Refuse a mark that may be two prints, or beside, across or on which another lies, of whatever colour."""
    if band.width_mm > PEN_MOST_MM or not HOLLOW[0] < hollow < HOLLOW[1]:
        raise TwoLines("the mark is too wide or too hollow for one pen line; two prints may lie on each other")
    t, along = _lane(flat, band)
    usable = flat.field & flat.clear[:, None]
    beside = _beside(flat, band)
    rare = rarity(res[usable][::7], res[::2, ::2])
    own = rare[(usable & along & (np.abs(t) < band.width_mm / 2))[::2, ::2]].mean()
    for slope, toe, up, score in scan(np.where((usable & beside.field)[::2, ::2], rare, 0), beside, most=2):
        if score < SECOND_SHARE * own:
            break
        try:
            other = follow(res, beside, slope, toe, up)
        except NoLine:
            continue
        if _second(other, merit, res, flat, band) and (before is None or not _shown(before, other[1])):
            raise TwoLines("two printed lines lie on the face")


def _dark_apart(ink, flat, band):
    """How far the dark part of the mark leans from the whole of it, as slope, beyond what one print's does: ink of an earlier, paler print may lie with it."""
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
    apart, usual = abs(dark.slope - band.slope), float(np.hypot(dark.u_slope, band.u_slope))
    if apart > DARK_REFUSED * usual:
        raise TwoLines(
            "the dark part of the mark leans otherwise than the whole of it; two prints, or one not wiped off, may lie on each other"
        )
    return apart * float(np.clip(apart / usual / DARK_APART - 0.5, 0, 1))
