"""The face laid flat -> where the ink is -> the band that the ball's line left: pure arrays, in millimetres.

Ink is whatever differs from the average along its own row: that average holds score lines, brushing and paint, and a
print of any colour stands out of it. The band is fitted by its two outer edges together, one slope and two offsets, as
a mixture: a row shows the edge itself, or a hole that bites inwards. Holes therefore weigh little and outer edges much.
"""

from dataclasses import dataclass

import cv2
import numpy as np

from .errors import Glare, NoLine, TwoLines

TILT_LIMIT_DEG = 22.0
WIDTH_RANGE_MM = (0.7, 6.0)
LENGTH_MIN_MM = 7.0
_COARSE = 2.0  # samples a mm in which a band is looked for


@dataclass(frozen=True)
class FlatFace:
    """The face resampled in its own plane: colour (H, W, 3) float32; pixel (r, c) is at (u[c], v[r]) mm, v falling with r."""

    colour: np.ndarray
    u: np.ndarray
    v: np.ndarray
    rate: float  # samples a mm
    groove: np.ndarray  # (H,) bool: rows in or next to a score line
    visible: np.ndarray  # (H, W) bool


@dataclass(frozen=True)
class Band:
    """The printed line: the axis passes (toe_mm, up_mm) and leans by `slope` = tan(tilt)."""

    slope: float
    u_slope: float
    toe_mm: float
    u_toe_mm: float
    up_mm: float
    u_up_mm: float
    width_mm: float
    u_width_mm: float
    low_mm: float  # v of the lower and upper end of the ink
    high_mm: float
    fill: float  # share of the band that took ink
    contrast: float  # ink against the scatter of the bare face
    glare: float  # share of the band lost to white-out


def flatten(rgb, frame, margin_mm=5.0, rate=None):
    """Resample the picture in the plane of the face.

    Parameters
    ----------
    rgb : ndarray of uint8, shape (H, W, 3)
    frame : linetilt.face.FaceFrame
    margin_mm : float
        How far beyond the score lines.
    rate : float, optional
        Samples a mm; by default as many as the picture has, from 6 to 12.
    """
    rate = rate or float(np.clip(frame.pixels_per_mm, 6.0, 12.0))
    while frame.pixels_per_mm > 1.7 * rate and frame.pixels_per_mm > 14:  # nothing finer is used: smooth before sampling
        rgb = cv2.resize(rgb, (rgb.shape[1] // 2, rgb.shape[0] // 2), interpolation=cv2.INTER_AREA)
        frame = frame.halved()
    v_line = [line[0] for line in frame.lines]
    half = frame.length_mm / 2 + margin_mm
    low, high = min(v_line) - margin_mm - 1, max(v_line) + margin_mm + 3
    columns, rows = int(2 * half * rate), int((high - low) * rate)
    grid = np.array([[1 / rate, 0, -half], [0, -1 / rate, high], [0, 0, 1.0]])
    back = np.linalg.inv(frame.to_face) @ grid
    flat = cv2.warpPerspective(rgb, back, (columns, rows), flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP, borderMode=cv2.BORDER_REPLICATE)
    c, r = np.meshgrid(np.arange(columns, dtype=np.float32), np.arange(rows, dtype=np.float32))
    w = back[2, 0] * c + back[2, 1] * r + back[2, 2]
    x, y = (back[0, 0] * c + back[0, 1] * r + back[0, 2]) / w, (back[1, 0] * c + back[1, 1] * r + back[1, 2]) / w
    visible = (x >= 0) & (y >= 0) & (x <= rgb.shape[1] - 1) & (y <= rgb.shape[0] - 1)
    u, v = -half + np.arange(columns) / rate, high - np.arange(rows) / rate
    nearest = np.abs(v[:, None] - np.array(v_line)[None, :]).min(axis=1)
    return FlatFace(flat.astype(np.float32), u, v, rate, nearest < 0.62, visible)


def residual(flat, before=None):
    """Colour minus a robust average along each row, (H, W, 3), and the scatter of each row, (H, 1, 3).

    Parameters
    ----------
    flat : FlatFace
    before : FlatFace, optional
        The same face before the shot on the same grid: what it shows is taken out as far as it explains the picture.
    """
    res = _row_residual(flat.colour, flat.rate)
    if before is not None:
        old = cv2.GaussianBlur(_row_residual(before.colour, flat.rate), (0, 0), 0.5)
        limit = np.percentile(np.abs(old), 99) + 1
        a, b = np.clip(old, -limit, limit), np.clip(res, -limit, limit)
        res = res - float((a * b).sum() / ((a * a).sum() + 1e-6)) * old
    scatter = 1.4826 * np.median(np.abs(res[:, ::3]), axis=1, keepdims=True)
    scatter = np.maximum(cv2.blur(scatter[:, 0], (1, 3))[:, None], 0.8)
    return res, scatter


def _row_residual(colour, rate):
    wide = int(22 * rate) | 1
    weight = np.ones(colour.shape[:2], np.float32)
    for _ in range(3):
        total = cv2.blur(weight, (wide, 1), borderType=cv2.BORDER_REFLECT)
        mean = cv2.blur(colour * weight[..., None], (wide, 1), borderType=cv2.BORDER_REFLECT) / (total[..., None] + 1e-4)
        res = colour - mean
        size = np.abs(res).sum(axis=2)
        scale = 2.2 * np.median(size[:, ::4], axis=1, keepdims=True) + 2
        weight = (1 / (1 + (size / scale) ** 2)).astype(np.float32)
    return res


def find_band(flat, before=None):
    """Find the printed line and fit it.

    Returns
    -------
    Band

    Raises
    ------
    NoLine, TwoLines, Glare
    """
    res, scatter = residual(flat, before)
    z = res / scatter
    white = (flat.colour.min(axis=2) > 250).astype(np.float32)
    energy = np.minimum((z**2).sum(axis=2) / 3, 30.0)
    energy[flat.groove] = 0
    energy[~flat.visible] = 0
    energy[white > 0] = 0
    candidates = _scan(energy, flat, most=3)
    best = None
    for slope, toe, up, _ in candidates:
        try:
            fitted = _follow(res, scatter, flat, slope, toe, up)
        except NoLine:
            continue
        if best is None or fitted[0] > best[0]:
            best = fitted
    if best is None:
        raise NoLine("no printed line was found on the face")
    merit, band, ink = best
    lost = _share(white, flat, band)
    if lost > 0.35:
        raise Glare("a reflection covers the mark")
    _refuse_second(ink, flat, band)
    return Band(**{**band.__dict__, "glare": lost})


def _scan(energy, flat, most):
    """Strongest near-upright bands in an energy map: (slope, toe, up, score), best first.

    A band is 2 mm wide and 14 mm long here; what counts is its mean against both its sides.
    """
    step = flat.rate / _COARSE
    shape = (int(energy.shape[1] / step), int(energy.shape[0] / step))
    usable = (~flat.groove).astype(np.float32)[:, None]
    small = cv2.resize(energy.astype(np.float32), shape, interpolation=cv2.INTER_AREA)
    rows = np.maximum(cv2.resize(usable, (1, shape[1]), interpolation=cv2.INTER_AREA), 0.05)
    u = flat.u[0] + (np.arange(shape[0]) + 0.5) * step / flat.rate
    v = flat.v[0] - (np.arange(shape[1]) + 0.5) * step / flat.rate
    middle = v.mean()
    found = []
    for slope in np.tan(np.radians(np.arange(-TILT_LIMIT_DEG, TILT_LIMIT_DEG + 1, 2.0))):
        shift = np.array([[1, 0, 0], [0, 1, 0]], np.float32)
        shift[0, 1], shift[0, 2] = slope, -slope * (len(v) - 1) / 2
        turned = cv2.warpAffine(small, shift, shape, flags=cv2.INTER_LINEAR)
        length = int(14 * _COARSE)
        amount = cv2.blur(rows, (1, length))
        lane = cv2.blur(turned, (3, length)) / amount
        side = int(5 * _COARSE)
        left = np.roll(cv2.blur(turned, (side, length)) / amount, side // 2 + 4, axis=1)
        right = np.roll(cv2.blur(turned, (side, length)) / amount, -(side // 2 + 4), axis=1)
        score = lane - np.maximum(left, right)
        score[:, :side] = score[:, -side:] = -1
        score = np.where(amount > 0.3, score, -1)
        r, c = np.unravel_index(np.argmax(score), score.shape)
        found.append((slope, u[c] + slope * (v[r] - middle), v[r], float(score[r, c])))
        score[:, max(c - 8, 0):c + 9] = -1
        r, c = np.unravel_index(np.argmax(score), score.shape)
        found.append((slope, u[c] + slope * (v[r] - middle), v[r], float(score[r, c])))
    found.sort(key=lambda item: -item[3])
    kept = []
    for item in found:
        if all(abs(item[1] - other[1]) > 3 or abs(item[2] - other[2]) > 12 for other in kept):
            kept.append(item)
        if len(kept) == most:
            break
    return kept


def _follow(res, scatter, flat, slope, toe, up):
    """From a rough place to the fitted band. Returns (merit, Band, ink map)."""
    half, reach = 0.9, 9.0
    band = None
    for turn in range(3):
        t = (flat.u[None, :] - toe) - slope * (flat.v[:, None] - up)
        near = np.abs(flat.v[:, None] - up) < reach
        usable = near & flat.visible & ~flat.groove[:, None]
        inside = usable & (np.abs(t) < half)
        flank = usable & (np.abs(t) > half + 1.2) & (np.abs(t) < half + 6.0)
        if inside.sum() < 60 or flank.sum() < 120:
            raise NoLine("no printed line was found on the face")
        ink, noise = _ink_map(res, inside, flank)
        t_max = half + (2.2 if turn == 0 else 1.4)
        band = fit_band(np.where(flat.visible, ink, 0), flat.u, flat.v, ~flat.groove, slope, toe, up, t_max, noise)
        slope, toe, up = band.slope, band.toe_mm, band.up_mm
        half = min(max(0.4 * band.width_mm, 0.45), 2.0)
        reach = (band.high_mm - band.low_mm) / 2 + 1.0
    length = (band.high_mm - band.low_mm) * np.hypot(1, band.slope)
    if abs(np.degrees(np.arctan(band.slope))) > TILT_LIMIT_DEG + 3:
        raise NoLine("no printed line was found on the face")
    if length < LENGTH_MIN_MM or not WIDTH_RANGE_MM[0] < band.width_mm < WIDTH_RANGE_MM[1] or length < 2.2 * band.width_mm:
        raise NoLine(f"what stands out on the face is {length:.0f} mm long and {band.width_mm:.1f} mm wide, not a printed line")
    if band.contrast < 2.2 or band.fill < 0.18:
        raise NoLine("the mark is too faint to measure")
    return band.contrast * np.sqrt(length * band.fill), band, ink


def _ink_map(res, inside, flank):
    """Scalar map, about 1 on full ink and 0 on the bare face, by the colour difference weighed against the scatter."""
    a, b = res[inside], res[flank]
    centre = np.median(b, axis=0)
    b = b - centre
    limit = 4 * 1.4826 * np.median(np.abs(b), axis=0) + 1
    kept = b[(np.abs(b) < limit).all(axis=1)]
    cover = np.cov((kept if len(kept) > 50 else b).T) + np.eye(3) * 1.0
    inverse = np.linalg.inv(cover)
    # holes show the bare face: let the pixels that differ most name the ink's colour
    a = a - centre
    distance = np.einsum("ni,ij,nj->n", a, inverse, a)
    strong = a[distance >= np.percentile(distance, 60)]
    ink = np.median(strong, axis=0)
    weights = inverse @ ink
    gain = float(ink @ weights)
    ink_map = ((res - centre) @ (weights / gain)).astype(np.float32)
    values = ink_map[inside]
    top = float(np.percentile(values, 85))
    if top <= 0.05:
        raise NoLine("no printed line was found on the face")
    noise = 1.4826 * float(np.median(np.abs(ink_map[flank]))) / top
    return np.clip(ink_map / top, -1.5, 1.5), noise


def fit_band(ink, u, v, rows, slope, toe, up, reach, noise=0.0):
    """Fit one slope and two offsets to the outer edges of a band in an ink map.

    Parameters
    ----------
    ink : ndarray, shape (H, W)
        About 1 on ink, 0 on the bare face.
    u, v : ndarray, shapes (W,), (H,)
        Coordinates in mm, evenly spaced.
    rows : ndarray of bool, shape (H,)
        Rows that can be used (no score line).
    slope, toe, up : float
        Where to start: the axis u = toe + slope (v - up).
    reach : float
        Farthest that an edge may lie from the axis, in mm.
    noise : float
        Standard deviation of `ink` on the bare face.

    Returns
    -------
    Band
    """
    du, dv = u[1] - u[0], abs(v[1] - v[0])
    soft = 0.09 + 0.10 * min(noise / 0.25, 1.0)  # mm; a noisy map is smoothed more
    ink = cv2.GaussianBlur(ink.astype(np.float32), (0, 0), sigmaX=max(soft / du, 0.3), sigmaY=max(soft / dv, 0.3))
    threshold = float(np.clip(2.6 * noise, 0.35, 0.6))
    axis = toe + slope * (v - up)
    first = np.clip(np.searchsorted(u, axis - reach), 0, len(u) - 1)
    width = max(int(2 * reach / du), 4)
    columns = np.clip(first[:, None] + np.arange(-1, width + 1)[None, :], 0, len(u) - 1)
    lane = np.take_along_axis(ink, columns, axis=1)
    on = lane[:, 1:-1] > threshold
    share = np.where(rows, on.mean(axis=1) * width * du, 0)  # mm of ink in every row
    low_row, high_row = _extent(share, rows, v, up, dv)
    used = rows & on.any(axis=1) & (np.arange(len(v)) >= high_row) & (np.arange(len(v)) <= low_row)
    if used.sum() * dv < 3.5:
        raise NoLine("no printed line was found on the face")
    index = np.nonzero(used)[0]
    on, lane, columns = on[index], lane[index], columns[index]
    a = 1 + on.argmax(axis=1)
    b = width - on[:, ::-1].argmax(axis=1)
    pick = lambda k: np.take_along_axis(lane, k[:, None], axis=1)[:, 0]
    cross = lambda inner, outer: np.clip((pick(inner) - threshold) / np.maximum(pick(inner) - pick(outer), 1e-4), 0, 1)
    left = u[np.take_along_axis(columns, a[:, None], axis=1)[:, 0]] - du * cross(a, a - 1)
    right = u[np.take_along_axis(columns, b[:, None], axis=1)[:, 0]] + du * cross(b, b + 1)
    low, high = v[low_row], v[high_row]
    middle = (low + high) / 2
    y = v[index] - middle
    return _fit_edges(y, left, right, slope, middle, low, high, dv, share, rows, noise)


def _extent(share, rows, v, up, dv):
    """First and last row of the ink: gaps of a hole or a score line (4.5 mm) are bridged, stray specks are not."""
    filled = np.interp(np.arange(len(v)), np.nonzero(rows)[0], share[rows]) if rows.any() else share
    smooth = cv2.blur(filled.astype(np.float32)[:, None], (1, max(int(0.8 / dv), 1)))[:, 0]
    strong = np.percentile(smooth[smooth > 0.1], 70) if (smooth > 0.1).any() else 1.0
    inked = smooth > max(0.25 * strong, 0.12)
    at = int(np.argmin(np.abs(v - up)))
    if not inked.any():
        raise NoLine("no printed line was found on the face")
    gap = int(4.5 / dv)
    runs = np.nonzero(inked)[0]
    splits = np.nonzero(np.diff(runs) > gap)[0]
    groups = np.split(runs, splits + 1)
    group = max(groups, key=len)
    return int(group[-1]), int(group[0])


def _fit_edges(y, left, right, slope, middle, low, high, dv, share, rows, noise):
    sigma, holes = 0.16, 0.4
    tilt = slope
    a, b = np.percentile(left - tilt * y, 25), np.percentile(right - tilt * y, 75)
    for _ in range(80):
        inward_a, inward_b = left - tilt * y - a, b + tilt * y - right
        width = max(b - a, 0.5)
        wa, wb = _edge_weight(inward_a, sigma, holes, width), _edge_weight(inward_b, sigma, holes, width)
        normal = np.array([[(wa * y * y).sum() + (wb * y * y).sum(), (wa * y).sum(), (wb * y).sum()],
                           [(wa * y).sum(), wa.sum(), 0], [(wb * y).sum(), 0, wb.sum()]]) + 1e-6 * np.eye(3)
        new = np.linalg.solve(normal, [(wa * y * left).sum() + (wb * y * right).sum(), (wa * left).sum(), (wb * right).sum()])
        still = abs(new[0] - tilt) < 1e-6
        tilt, a, b = new
        spread = ((wa * (left - tilt * y - a) ** 2).sum() + (wb * (right - tilt * y - b) ** 2).sum()) / (wa.sum() + wb.sum())
        sigma = float(np.clip(np.sqrt(spread), 0.07, 0.4))
        holes = float(np.clip(1 - (wa.sum() + wb.sum()) / (2 * len(y)), 0.05, 0.9))
        if still:
            break
    # rows within about 0.8 mm tell the same story: count independent pieces, not samples
    pieces = dv / 0.8
    cover = np.linalg.inv(normal / pieces) * sigma**2
    # what holes do beside the ragged edge: refit with each stretch of 3 mm left out (jackknife)
    block = np.floor((y - y.min()) / max((y.max() - y.min()) / 7 + 1e-6, 2.0)).astype(int)
    slopes = []
    for k in np.unique(block):
        keep = block != k
        n = np.array([[(wa * y * y)[keep].sum() + (wb * y * y)[keep].sum(), (wa * y)[keep].sum(), (wb * y)[keep].sum()],
                      [(wa * y)[keep].sum(), wa[keep].sum(), 0], [(wb * y)[keep].sum(), 0, wb[keep].sum()]]) + 1e-6 * np.eye(3)
        slopes.append(np.linalg.solve(n, [(wa * y * left)[keep].sum() + (wb * y * right)[keep].sum(), (wa * left)[keep].sum(), (wb * right)[keep].sum()])[0])
    count = len(slopes)
    jack = float((count - 1) / count * np.sum((np.array(slopes) - np.mean(slopes)) ** 2)) if count > 2 else cover[0, 0] * 4
    variance = (4 * cover[0, 0] * _PRIOR_SCALE**2 + max(count - 1, 1) * jack) / (4 + max(count - 1, 1))
    length = max(high - low, 1.0)
    fill = float(share[rows].sum() * dv / (max(b - a, 0.3) * length * rows.mean()))
    return Band(slope=float(tilt), u_slope=float(np.sqrt(variance)), toe_mm=float((a + b) / 2),
                u_toe_mm=float(np.sqrt((cover[1, 1] + cover[2, 2]) / 4 + 0.1**2)), up_mm=float(middle), u_up_mm=0.9,
                width_mm=float(b - a), u_width_mm=float(np.sqrt(cover[1, 1] + cover[2, 2] + 0.12**2)), low_mm=float(low), high_mm=float(high),
                fill=min(fill, 1.0), contrast=float(1 / max(noise, 0.01)), glare=0.0)


_PRIOR_SCALE = 1.3


def _edge_weight(inward, sigma, holes, width):
    """How likely a row's outermost ink is the edge itself and not the rim of a hole (inwards) or a stray speck (outwards)."""
    bell = np.exp(-0.5 * (inward / sigma) ** 2)
    edge = (1 - holes) * bell / (sigma * 2.5066)
    bite = holes * np.where(inward > 0, 1.0, bell) * np.exp(-np.maximum(inward, 0) / (0.5 * width)) / (0.5 * width)
    speck = 0.01 * np.exp(-np.abs(inward) / 0.6) / 1.2
    return edge / (edge + bite + speck)


def _lane(flat, band, extra=0.0):
    t = (flat.u[None, :] - band.toe_mm) - band.slope * (flat.v[:, None] - band.up_mm)
    along = (flat.v[:, None] > band.low_mm - extra) & (flat.v[:, None] < band.high_mm + extra)
    return t, along


def _share(mask, flat, band):
    t, along = _lane(flat, band)
    lane = along & (np.abs(t) < band.width_mm / 2) & ~flat.groove[:, None]
    return float(mask[lane].mean()) if lane.any() else 0.0


def _refuse_second(ink, flat, band):
    """Refuse when a second band of the same ink lies beside or across the first."""
    t, along = _lane(flat, band, 4.0)
    rest = np.clip(ink, 0, 1.0).copy()
    rest[np.abs(t) < band.width_mm / 2 + 0.7] = 0
    rest[flat.groove] = 0
    rest[~flat.visible] = 0
    rest[rest < 0.45] = 0
    ours = np.clip(ink, 0, 1)[(np.abs(t) < band.width_mm / 2) & along & ~flat.groove[:, None]].mean()
    for slope, toe, up, score in _scan(rest, flat, most=1):
        if score > 0.5 * ours:
            t2 = (flat.u[None, :] - toe) - slope * (flat.v[:, None] - up)
            lane = (np.abs(t2) < 1.0) & (np.abs(flat.v[:, None] - up) < 8) & ~flat.groove[:, None]
            rowwise = (rest * lane).max(axis=1)[(lane.any(axis=1))]
            if (rowwise > 0.5).mean() > 0.55:
                raise TwoLines("two printed lines lie on the face")
