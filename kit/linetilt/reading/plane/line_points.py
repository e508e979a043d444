"""Where the score lines run in a photo: both ends of all of them, and the middle of each at many places along it."""

from dataclasses import dataclass, replace

import cv2
import numpy as np

from ..evidence import Array, Flags, Floats, Reason, Why
from .pose import LinePoints, project
from .score_lines import HALVED, half_size
from .stripes import parabola

UNEVEN_MM = 0.2  # scatter of a line's middle along it, where it is sharp 0.05
_BLOCKS = 24  # points along a score line at which its middle is measured
_PROFILE = 14  # samples from one score line to the next in the rough rectified picture
_HALF_X, _HALF_N = 24, 16  # how far that reaches from its middle: spacings along the lines, and across them
_FINE = 6  # samples of it to a spacing along the lines
_EXTRA = 2  # lines above and below those found at first, in case some were missed
_MARGIN_MM = 6.0  # beyond the ends of the lines


@dataclass(frozen=True)
class LineEnds:
    """Where the lines end, roughly.

    Attributes
    ----------
    to_unit : ndarray, shape (3, 3)
        From (xi, n) to the field in units of the line length, x to the right, v up from the lowest line.
    spacing : float
        Of the lines, as a share of their length.
    rows : ndarray
        The line numbers in that frame, 0 the lowest found.
    """

    to_unit: Floats
    spacing: float
    rows: Floats


def pixels_per_mm(to_face: Floats, up_mm: float) -> float:
    """Pixels of the picture to a millimetre of the face, in the middle of the field at `up_mm`."""
    at = project(np.linalg.inv(to_face), np.array([[0.0, up_mm], [1.0, up_mm], [0.0, up_mm + 1]]))
    return float(np.sqrt(abs(np.linalg.det(at[1:] - at[0]))))


def _rectify(
    image: Array, to_plane: Floats, left: float, top: float, columns: int, rows: int, step_x: float, step_y: float
) -> Array:
    """Resample: pixel (r, c) of the result shows plane point (left + c step_x, top + r step_y)."""
    grid = np.array([[step_x, 0, left], [0, step_y, top], [0, 0, 1.0]])
    back = np.linalg.inv(to_plane) @ grid
    return cv2.warpPerspective(
        image, back, (columns, rows), flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP, borderMode=cv2.BORDER_REPLICATE
    )


def _template(blocks: Array) -> tuple[Array, float, float]:
    """What score lines look like across themselves, from many pieces of profile one spacing long.

    Paint may be chipped and shading may turn over from line to line, so the sign of a piece is left free: the two
    strongest singular vectors span the look.

    Parameters
    ----------
    blocks : ndarray, shape (N, P)

    Returns
    -------
    basis : ndarray, shape (2, P)
    centre : float
        Sample at the middle of the score line: the third of the spacing that holds the most energy above the rest.
    size : float
        Typical length of a piece's projection on the basis.
    """
    blocks = blocks - blocks.mean(axis=1, keepdims=True)
    basis = np.linalg.eigh(blocks.T @ blocks)[1][:, :-3:-1].T
    power = (blocks**2).mean(axis=0)
    samples = len(power)
    width = min(max(int(round(0.34 * samples)), 3), samples)
    ring = np.concatenate([power, power])
    inside = np.array([ring[k : k + width].sum() for k in range(samples)])
    start = int(np.argmax(inside))
    at = np.arange(start, start + width)
    floor = np.median(np.concatenate([ring[start + width : start + samples], [0.0]]))
    strength = np.maximum(ring[at] - floor, 0) + 1e-9
    centre = float((at * strength).sum() / strength.sum()) % samples
    return basis, centre, float(np.median(np.linalg.norm(blocks @ basis.T, axis=1)))


def find_ends(grey: Array, rough: Floats) -> LineEnds | Why:
    """Where the lines end, and which of the stripes are lines.

    Parameters
    ----------
    grey : ndarray of uint8, shape (H, W)
    rough : ndarray, shape (3, 3)
        From pixels to (xi, n), as `linetilt.reading.plane.stripes.count_lines` gives it.
    """
    likeness = _likeness(*_rough_view(grey, rough))
    if isinstance(likeness, Why):
        return likeness
    like, numbers, seen = likeness
    strength = np.median(like[:, (_HALF_X * 2 - 7) * _FINE // 2 : (_HALF_X * 2 + 7) * _FINE // 2], axis=1)
    at = int(np.argmin(np.abs(numbers)))
    at += int(np.argmax(strength[max(at - 2, 0) : at + 3])) - min(at, 2)
    low, high = _run(strength > 0.4 * np.median(strength[max(at - 2, 0) : at + 3]), at, gap=1)
    if high - low + 1 < 4:
        return Why.of(Reason.FEW_STRIPES, found=high - low + 1)
    found = _upright_ends(like[low : high + 1], numbers[low : high + 1], seen[low : high + 1])
    if isinstance(found, Why):
        return found
    slope, left, right = found
    length = right - left
    to_unit = np.array(
        [
            [1 / length, -slope / length, -(left + right) / 2 / length],
            [0, -1 / length, numbers[high] / length],
            [0, 0, 1.0],
        ]
    )  # n grows downwards
    return LineEnds(to_unit, 1 / length, numbers[high] - numbers[low : high + 1][::-1])


def _rough_view(grey: Array, rough: Floats) -> tuple[Array, Flags]:
    """The stripes evenly spaced and of even contrast, (xi, n) = (0, 0) in the middle; which samples are seen."""
    columns, rows = 2 * _HALF_X * _FINE + 1, 2 * _HALF_N * _PROFILE
    level = max(
        1, int(2 ** np.floor(np.log2(max(1.0, 1.0 / (np.sqrt(abs(np.linalg.det(rough[:2, :2]))) * _PROFILE * 1.2)))))
    )
    while level > 1:  # nothing finer than the samples below can be used: smooth first
        grey = half_size(grey)
        rough = rough @ HALVED
        level //= 2
    flat = _rectify(grey, rough, -_HALF_X, -_HALF_N, columns, rows, 1 / _FINE, 1 / _PROFILE).astype(np.float32)
    back = np.linalg.inv(rough) @ np.array([[1 / _FINE, 0, -_HALF_X], [0, 1 / _PROFILE, -_HALF_N], [0, 0, 1.0]])
    depth = back[2, 0] * np.arange(columns) + back[2, 1] * np.arange(rows)[:, None] + back[2, 2]
    visible = depth * (back[2] @ [_HALF_X * _FINE, _HALF_N * _PROFILE, 1]) > 0
    visible &= (
        cv2.warpPerspective(
            np.ones(grey.shape, np.uint8), back, (columns, rows), flags=cv2.INTER_NEAREST | cv2.WARP_INVERSE_MAP
        )
        > 0
    )
    flat = cv2.GaussianBlur(flat, (0, 0), sigmaX=1.0, sigmaY=0.6)
    flat -= cv2.blur(flat, (1, _PROFILE))  # a little more than a spacing
    flat /= np.sqrt(np.maximum(cv2.blur(flat * flat, (5 * _FINE, 2 * _PROFILE)), 0)) + 1.0
    flat[~visible] = 0
    return flat, visible


def _likeness(flat: Array, visible: Flags) -> tuple[Array, Floats, Flags] | Why:
    """How like score lines every (line, xi) is: about 1 inside the field, else 0; the n of every line; what is seen."""
    core = flat[(_HALF_N - 3) * _PROFILE : (_HALF_N + 3) * _PROFILE, (_HALF_X - 4) * _FINE : (_HALF_X + 4) * _FINE]
    pieces = core.reshape(6, _PROFILE, 8, _FINE).mean(axis=3).transpose(0, 2, 1).reshape(-1, _PROFILE)
    basis, centre, size = _template(pieces)
    if size < 0.2:
        return Why(Reason.FAINT_STRIPES)
    start = int(round(centre - _PROFILE / 2))
    basis = np.roll(basis, -start, axis=1)
    offset = start % _PROFILE
    rows, columns = flat.shape
    count = (rows - offset) // _PROFILE
    bands = cv2.blur(flat, (_FINE, 1))[offset : offset + count * _PROFILE].reshape(count, _PROFILE, columns)
    seen = visible[offset : offset + count * _PROFILE].reshape(count, _PROFILE, columns).all(axis=1)
    bands = bands - bands.mean(axis=1, keepdims=True)
    like = np.minimum(np.sqrt((np.einsum("bp,kpc->bkc", basis, bands) ** 2).sum(axis=0)) / size, 1.3)
    return (
        cv2.blur(like, (_FINE + 1, 1)),
        -_HALF_N + (offset + np.arange(count) * _PROFILE + _PROFILE / 2) / _PROFILE,
        seen,
    )


def _run(on: Flags, at: int, gap: int = 0) -> tuple[int, int]:
    """First and last of the run of True about `at`; `gap` that many False in it do not end it."""
    low = high = at
    while low > 0 and on[max(low - 1 - gap, 0) : low].any():
        low -= 1
    while high < len(on) - 1 and on[high + 1 : high + 2 + gap].any():
        high += 1
    while low < high and not on[low]:
        low += 1
    while high > low and not on[high]:
        high -= 1
    return low, high


def _upright_ends(like: Array, numbers: Floats, seen: Flags) -> tuple[float, float, float] | Why:
    """The two parallel straight lines in (xi, n) on which the lines end: their slope, and xi of either at n = 0."""
    columns, middle, wide = like.shape[1], _HALF_X * _FINE, int(1.6 * _FINE)
    best = None
    for slope in np.linspace(-0.6, 0.6, 25):
        moved = np.stack(
            [
                np.interp(np.arange(columns) + slope * n * _FINE, np.arange(columns), row)
                for n, row in zip(numbers, like)
            ]
        )
        total = np.concatenate([[0], np.cumsum(np.median(moved, axis=0))])
        box = (total[wide:] - total[:-wide]) / wide
        rise = np.full(columns, -9.0)
        rise[wide : columns - wide + 1] = box[wide:] - box[:-wide]
        left = int(np.argmax(rise[:middle]))
        right = middle + int(np.argmin(np.where(rise[middle:] < -8, 9, rise[middle:])))
        if best is None or rise[left] - rise[right] > best[0]:
            best = rise[left] - rise[right], slope, left, right, min(rise[left], -rise[right])
    _, slope, left, right, least = best
    if least < 0.3:
        cut = seen[:, [max(left - 2, 0), min(right + 2, columns - 1)]].mean() < 0.9
        return Why(Reason.OUT_OF_PICTURE if cut else Reason.ENDS_UNCLEAR)
    return slope, (left - middle) / _FINE, (right - middle) / _FINE


def measure_lines(
    grey: Array, to_face: Floats, pitch: float, numbers: Array, length: float, final: bool, unsigned: bool
) -> LinePoints | Why:
    """Measure every line's middle at `_BLOCKS` places, and its two ends, in the present frame."""
    ppm = pixels_per_mm(to_face, 4 * pitch)
    rate = float(np.clip(ppm, 5, 12))
    if ppm > 1.8 * rate and min(grey.shape) < 100:
        return Why(Reason.FEW_STRIPES)
    if ppm > 1.8 * rate:
        half = half_size(grey)
        found = measure_lines(half, to_face @ HALVED, pitch, numbers, length, final, unsigned)
        return found if isinstance(found, Why) else _in_full(found)
    lines = np.arange(int(np.round(numbers.min())) - _EXTRA, int(np.round(numbers.max())) + _EXTRA + 1)
    even = _even_bands(grey, to_face, pitch, lines, length, rate, unsigned)
    if isinstance(even, Why):
        return even
    bands, u, step_u, step_v = even
    edges = np.linspace(0, len(u), int(round((length + 2 * _MARGIN_MM) / length * _BLOCKS)) + 1).astype(int)
    # (line, sample, block)
    blocks = np.stack([bands[:, :, a:b].mean(axis=2) for a, b in zip(edges[:-1], edges[1:])], axis=-1)
    block_u = np.array([(u[a] + u[b - 1]) / 2 for a, b in zip(edges[:-1], edges[1:])])
    per, inside = blocks.shape[1], np.abs(block_u) < length / 2 - 1
    core = blocks[_EXTRA:-_EXTRA][:, :, np.abs(block_u) < 0.42 * length].transpose(0, 2, 1).reshape(-1, per)
    basis, middle, size = _template(core)
    if size < 1e-3:
        return Why(Reason.FAINT_STRIPES)
    shift, ok = _shifts(blocks, basis[0], size, max(int(per * (0.12 if final else 0.3)), 2))
    ok &= inside

    # likeness along each line at full resolution, for the ends
    smooth = np.stack([cv2.blur(band, (max(int(0.8 * rate), 1), 1)) for band in bands])
    along = np.minimum(np.sqrt((np.einsum("dp,kpc->dkc", basis, smooth) ** 2).sum(axis=0)) / size, 1.3)
    ends = _line_ends(along, u, length, step_u)

    strength = np.array([np.median(row[np.abs(u) < 0.42 * length]) for row in along])
    uneven = step_v * np.array([_scatter(block_u[on], row[on]) for row, on in zip(shift, ok)])
    present = (strength > 0.35 * np.median(strength[_EXTRA:-_EXTRA])) & (
        uneven < max(UNEVEN_MM, 3 * np.sort(uneven)[len(uneven) // 3])
    )
    low, high = _run(present, len(lines) // 2)  # what lies beyond the face is no line
    kept = slice(low, high + 1)
    lines, shift, ok, blocks, ends = lines[kept], shift[kept], ok[kept], blocks[kept], ends[kept]
    k, b = np.nonzero(ok)
    v = lines[k] * pitch - (shift[k, b] + middle - (per - 1) / 2) * step_v
    there, side = np.nonzero(np.isfinite(ends))
    back = np.linalg.inv(to_face)
    return LinePoints(
        points=project(back, np.column_stack([block_u[b], v])),
        point_line=lines[k],
        ends=project(back, np.column_stack([ends[there, side], lines[there] * pitch])),
        end_side=2 * side - 1,
        kept=lines,
        lean=_lean(blocks[k, :, b], middle + shift[k, b], b, block_u, step_v),
        share=float(ok[:, inside].mean()),
    )


def _even_bands(
    grey: Array, to_face: Floats, pitch: float, lines: Array, length: float, rate: float, unsigned: bool
) -> tuple[Array, Floats, float, float] | Why:
    """A band of one spacing about every line, of even contrast: (line from the lowest up, sample downwards, column).

    Returned with u of the columns, and both steps in mm.
    """
    per = int(round(pitch * rate)) // 2 * 2 + 1
    if per < 7:
        return Why.of(Reason.CROWDED, mm=pitch)
    columns = int((length + 2 * _MARGIN_MM) * rate)
    step_u, step_v = (length + 2 * _MARGIN_MM) / columns, pitch / per
    u = -length / 2 - _MARGIN_MM + step_u / 2 + step_u * np.arange(columns)
    top = lines[-1] * pitch + pitch / 2 - step_v / 2
    flat = _rectify(grey, to_face, u[0], top, columns, len(lines) * per, step_u, -step_v).astype(np.float32)
    flat -= cv2.blur(flat, (1, per))
    noise = np.sqrt(np.maximum(cv2.blur(flat * flat, (int(25 * rate), 2 * per)), 0)) + 0.3
    flat = np.clip(flat / noise, -3, 3)
    if unsigned:
        flat = np.abs(flat)
    bands = flat.reshape(len(lines), per, columns)[::-1]
    return bands - bands.mean(axis=1, keepdims=True), u, step_u, step_v


def _shifts(blocks: Array, look: Array, size: float, reach: int) -> tuple[Array, Flags]:
    """How many samples every block lies below the template, and which blocks are like it; (line, block) each.

    The strongest look alone, of either sign: the second one is much like a shift of the first.
    """
    shifts = np.arange(-reach, reach + 1)
    score = np.abs(np.stack([np.einsum("p,kpb->kb", np.roll(look, s), blocks) for s in shifts])) / size
    best = np.argmax(score, axis=0)
    inner = np.clip(best, 1, len(shifts) - 2)
    before, at, after = (np.take_along_axis(score, (inner + d)[None], axis=0)[0] for d in (-1, 0, 1))
    curve = before - 2 * at + after
    fraction = np.where(curve < -1e-6, 0.5 * (before - after) / np.minimum(curve, -1e-6), 0)
    return shifts[inner] + np.clip(fraction, -0.5, 0.5), (score.max(axis=0) > 0.45) & (best == inner)


def _lean(pieces: Array, middle: Array, block: Array, block_u: Floats, step_v: float) -> float:
    """How far lines lean otherwise by the middle of all that stands out, as slope.

    Light changes a groove's look along it: a dark wall here and a bright one there.

    Parameters
    ----------
    pieces : ndarray, shape (N, P)
        Profiles across a line.
    middle, block : ndarray, shape (N,)
        Sample at which each has its line, and its block.
    """
    away = np.arange(pieces.shape[1])[None, :] - middle[:, None]
    weight = np.where(np.abs(away) < 0.35 * pieces.shape[1], pieces**2, 0)
    aside = -step_v * (weight * away).sum(axis=1) / np.maximum(weight.sum(axis=1), 1e-6)
    # of all lines: rust and scratches are not on most
    usual = [(block_u[at], np.median(aside[block == at])) for at in np.unique(block) if (block == at).sum() > 3]
    return float(np.polyfit(*np.transpose(usual), 1)[0]) if len(usual) > 2 else 0.0


def _scatter(x: Array, y: Array) -> float:
    """Scatter of points about a straight line, robustly."""
    if len(x) < 5:
        return np.inf
    away = x - x.mean()
    rest = y - away * (away @ y) / (away @ away)
    return 1.4826 * float(np.median(np.abs(rest - np.median(rest))))


def _in_full(seen: LinePoints) -> LinePoints:
    """Pixels of a half-size picture in pixels of the full one."""
    return replace(seen, points=seen.points * 2 + 0.5, ends=seen.ends * 2 + 0.5)


def _line_ends(along: Array, u: Floats, length: float, step_u: float) -> Floats:
    """Heel and toe end of every line by its steepest step near the expected place; NaN where there is none."""
    count, columns = along.shape
    ends = np.full((count, 2), np.nan)
    total = np.concatenate([np.zeros((count, 1)), np.cumsum(along, axis=1)], axis=1)
    wide = max(int(2.2 / step_u), 3)
    box = (total[:, wide:] - total[:, :-wide]) / wide  # mean over [c, c + wide)
    step = np.full((count, columns + 1), -9.0)  # at the boundary between c - 1 and c: mean after it less mean before it
    step[:, wide : columns - wide + 1] = box[:, wide:] - box[:, :-wide]
    edge_u = u[0] - step_u / 2 + step_u * np.arange(columns + 1)
    for side, sign in ((0, 1.0), (1, -1.0)):
        near = (np.abs(edge_u + sign * length / 2) < 2.5) & (step > -9).any(axis=0)
        some = np.where(near, sign * step, -9)
        at = np.argmax(some, axis=1)
        for i in range(count):
            if some[i, at[i]] > 0.35 and 0 < at[i] < columns:
                ends[i, side] = edge_u[at[i]] + parabola(some[i], at[i]) * step_u
    return ends
