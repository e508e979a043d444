"""Where the score lines run in a photo: both ends of all of them, and the middle of each at many places along it."""

import cv2
import numpy as np

from .errors import FaceCutOff, NoFace
from .pose import project
from .score_lines import HALVED, half_size
from .stripes import parabola

UNEVEN_MM = 0.2  # scatter of a line's middle along it, where it is sharp 0.05
_BLOCKS = 24  # points along a score line at which its middle is measured
_PROFILE = 14  # samples from one score line to the next in the rough rectified picture


def pixels_per_mm(to_face, up_mm):
    """Pixels of the picture to a millimetre of the face, in the middle of the field at `up_mm`."""
    at = project(np.linalg.inv(to_face), np.array([[0.0, up_mm], [1.0, up_mm], [0.0, up_mm + 1]]))
    return float(np.sqrt(abs(np.linalg.det(at[1:] - at[0]))))


def _rectify(image, to_plane, left, top, columns, rows, step_x, step_y):
    """Resample: pixel (r, c) of the result shows plane point (left + c step_x, top + r step_y)."""
    grid = np.array([[step_x, 0, left], [0, step_y, top], [0, 0, 1.0]])
    back = np.linalg.inv(to_plane) @ grid
    return cv2.warpPerspective(image, back, (columns, rows), flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP, borderMode=cv2.BORDER_REPLICATE)


def _template(blocks):
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
    inside = np.array([ring[k:k + width].sum() for k in range(samples)])
    start = int(np.argmax(inside))
    at = np.arange(start, start + width)
    floor = np.median(np.concatenate([ring[start + width:start + samples], [0.0]]))
    strength = np.maximum(ring[at] - floor, 0) + 1e-9
    centre = float((at * strength).sum() / strength.sum()) % samples
    return basis, centre, float(np.median(np.linalg.norm(blocks @ basis.T, axis=1)))


def find_ends(grey, rough):
    """Where the lines end, in (xi, n), and which n are lines.

    Returns a dict: to_unit (3, 3) from (xi, n) to the field in units of the line length, x to the right, v up from
    the lowest line; spacing (as a share of the length); rows, the line numbers in that frame, 0 the lowest found.
    """
    half_x, half_n, fine = 24, 16, 6
    columns, rows = 2 * half_x * fine + 1, 2 * half_n * _PROFILE
    level = max(1, int(2 ** np.floor(np.log2(max(1.0, 1.0 / (np.sqrt(abs(np.linalg.det(rough[:2, :2]))) * _PROFILE * 1.2))))))
    while level > 1:  # nothing finer than the samples below can be used: smooth first
        grey = half_size(grey)
        rough = rough @ HALVED
        level //= 2
    flat = _rectify(grey, rough, -half_x, -half_n, columns, rows, 1 / fine, 1 / _PROFILE).astype(np.float32)
    back = np.linalg.inv(rough) @ np.array([[1 / fine, 0, -half_x], [0, 1 / _PROFILE, -half_n], [0, 0, 1.0]])
    depth = back[2, 0] * np.arange(columns) + back[2, 1] * np.arange(rows)[:, None] + back[2, 2]
    visible = depth * (back[2] @ [half_x * fine, half_n * _PROFILE, 1]) > 0
    visible &= cv2.warpPerspective(np.ones(grey.shape, np.uint8), back, (columns, rows), flags=cv2.INTER_NEAREST | cv2.WARP_INVERSE_MAP) > 0
    # high-pass along n, over a little more than a spacing, and even out contrast
    flat = cv2.GaussianBlur(flat, (0, 0), sigmaX=1.0, sigmaY=0.6)
    flat -= cv2.blur(flat, (1, _PROFILE))
    flat /= np.sqrt(np.maximum(cv2.blur(flat * flat, (5 * fine, 2 * _PROFILE)), 0)) + 1.0
    flat[~visible] = 0
    core = flat[(half_n - 3) * _PROFILE:(half_n + 3) * _PROFILE, (half_x - 4) * fine:(half_x + 4) * fine]
    pieces = core.reshape(6, _PROFILE, 8, fine).mean(axis=3).transpose(0, 2, 1).reshape(-1, _PROFILE)
    basis, centre, size = _template(pieces)
    if size < 0.2:
        raise NoFace("the stripes found are too faint to be score lines")
    # likeness of every (line, xi) to the look of score lines: about 1 inside and 0 outside
    start = int(round(centre - _PROFILE / 2))
    basis = np.roll(basis, -start, axis=1)
    offset = start % _PROFILE
    count = (rows - offset) // _PROFILE
    bands = cv2.blur(flat, (fine, 1))[offset:offset + count * _PROFILE].reshape(count, _PROFILE, columns)
    seen = visible[offset:offset + count * _PROFILE].reshape(count, _PROFILE, columns).all(axis=1)
    bands = bands - bands.mean(axis=1, keepdims=True)
    like = np.minimum(np.sqrt((np.einsum("bp,kpc->bkc", basis, bands) ** 2).sum(axis=0)) / size, 1.3)
    like = cv2.blur(like, (fine + 1, 1))
    n_of_band = -half_n + (offset + np.arange(count) * _PROFILE + _PROFILE / 2) / _PROFILE
    middle = slice(int((half_x - 3.5) * fine), int((half_x + 3.5) * fine))
    strength = np.median(like[:, middle], axis=1)
    at = int(np.argmin(np.abs(n_of_band)))
    at = at + int(np.argmax(strength[max(at - 2, 0):at + 3])) - min(at, 2)
    on = strength > 0.4 * np.median(strength[max(at - 2, 0):at + 3])
    low = high = at
    while low > 0 and (on[low - 1] or (low > 1 and on[low - 2])):
        low -= 1
    while high < count - 1 and (on[high + 1] or (high < count - 2 and on[high + 2])):
        high += 1
    while low < high and not on[low]:
        low += 1
    while high > low and not on[high]:
        high -= 1
    if high - low + 1 < 4:
        raise NoFace("fewer than four score lines were found")
    # the two ends are parallel straight lines in (xi, n)
    bandset = np.arange(low, high + 1)
    best = None
    step_width = int(1.6 * fine)
    for slope in np.linspace(-0.6, 0.6, 25):
        moved = np.stack([np.interp(np.arange(columns) + slope * n_of_band[k] * fine, np.arange(columns), like[k]) for k in bandset])
        level = np.median(moved, axis=0)
        total = np.concatenate([[0], np.cumsum(level)])
        box = (total[step_width:] - total[:-step_width]) / step_width
        rise = np.full(columns, -9.0)
        rise[step_width:columns - step_width + 1] = box[step_width:] - box[:-step_width]
        a = int(np.argmax(rise[:half_x * fine]))
        b = half_x * fine + int(np.argmin(np.where(rise[half_x * fine:] < -8, 9, rise[half_x * fine:])))
        merit = rise[a] - rise[b]
        if best is None or merit > best[0]:
            best = (merit, slope, a, b, rise[a], -rise[b])
    merit, slope, a, b, rise_a, rise_b = best
    if min(rise_a, rise_b) < 0.3:
        visible_ends = seen[bandset][:, [max(a - 2, 0), min(b + 2, columns - 1)]].mean()
        if visible_ends < 0.9:
            raise FaceCutOff("the score lines run out of the picture")
        raise NoFace("the stripes found do not end as score lines do")
    left, right = (a - half_x * fine) / fine, (b - half_x * fine) / fine
    length = right - left
    n_low = n_of_band[high]  # n grows downwards
    to_unit = np.array([[1 / length, -slope / length, -(left + right) / 2 / length], [0, -1 / length, n_low / length], [0, 0, 1.0]])
    return {"to_unit": to_unit, "spacing": 1 / length, "rows": n_low - n_of_band[low:high + 1][::-1], "merit": merit}


def measure_lines(grey, to_face, pitch, numbers, length, final, unsigned):
    """Measure every line's middle at `_BLOCKS` places, and its two ends, in the present frame.

    Returns a dict of arrays in pixels: points (N, 2) with `line` numbers, ends (M, 2) with `side` -1 or 1 (as u) and
    `line`; the line numbers kept, and the share of pieces that could be followed.
    """
    ppm = pixels_per_mm(to_face, 4 * pitch)
    rate = float(np.clip(ppm, 5, 12))
    if ppm > 1.8 * rate and min(grey.shape) < 100:
        raise NoFace("the stripes found are too few to be score lines")
    if ppm > 1.8 * rate:
        half = half_size(grey)
        return _in_full(measure_lines(half, to_face @ HALVED, pitch, numbers, length, final, unsigned))
    extra = 2  # lines above and below those found so far, in case some were missed
    lines = np.arange(int(np.round(numbers.min())) - extra, int(np.round(numbers.max())) + extra + 1)
    per = int(round(pitch * rate)) // 2 * 2 + 1
    if per < 7:
        raise NoFace("the stripes found are too close together to be score lines")
    step_v = pitch / per
    margin = 6.0
    columns = int((length + 2 * margin) * rate)
    step_u = (length + 2 * margin) / columns
    top = lines[-1] * pitch + pitch / 2 - step_v / 2
    rows = len(lines) * per
    flat = _rectify(grey, to_face, -length / 2 - margin + step_u / 2, top, columns, rows, step_u, -step_v).astype(np.float32)
    u = -length / 2 - margin + step_u / 2 + step_u * np.arange(columns)
    flat -= cv2.blur(flat, (1, per))
    noise = np.sqrt(np.maximum(cv2.blur(flat * flat, (int(25 * rate), 2 * per)), 0)) + 0.3
    flat = np.clip(flat / noise, -3, 3)
    if unsigned:
        flat = np.abs(flat)
    bands = flat.reshape(len(lines), per, columns)[::-1]  # from the lowest line up; rows run downwards
    bands = bands - bands.mean(axis=1, keepdims=True)
    inside = np.abs(u) < 0.42 * length
    # shift of every block against the template, by a first-order (Lucas-Kanade) step iterated over whole-sample shifts
    edges = np.linspace(0, columns, int(round((length + 2 * margin) / length * _BLOCKS)) + 1).astype(int)
    blocks = np.stack([bands[:, :, a:b].mean(axis=2) for a, b in zip(edges[:-1], edges[1:])], axis=-1)  # (line, per, block)
    block_u = np.array([(u[a] + u[b - 1]) / 2 for a, b in zip(edges[:-1], edges[1:])])
    core = blocks[extra:-extra][:, :, np.abs(block_u) < 0.42 * length].transpose(0, 2, 1).reshape(-1, per)
    basis, middle, size = _template(core)
    if size < 1e-3:
        raise NoFace("the stripes found are too faint to be score lines")
    offset0 = middle - (per - 1) / 2
    reach = max(int(per * (0.12 if final else 0.3)), 2)
    shifts = np.arange(-reach, reach + 1)
    # the strongest look alone, of either sign: the second one is much like a shift of the first
    score = np.abs(np.stack([np.einsum("p,kpb->kb", np.roll(basis[0], s), blocks) for s in shifts])) / size
    top_at = np.argmax(score, axis=0)
    inner = np.clip(top_at, 1, len(shifts) - 2)
    take = lambda d: np.take_along_axis(score, (inner + d)[None], axis=0)[0]
    curve = take(-1) - 2 * take(0) + take(1)
    fraction = np.where(curve < -1e-6, 0.5 * (take(-1) - take(1)) / np.minimum(curve, -1e-6), 0)
    shift = shifts[inner] + np.clip(fraction, -0.5, 0.5)
    like = np.max(score, axis=0)
    ok = (like > 0.45) & (top_at > 0) & (top_at < len(shifts) - 1) & (np.abs(block_u) < length / 2 - 1)[None]

    # likeness along each line at full resolution, for the ends
    smooth = np.stack([cv2.blur(band, (max(int(0.8 * rate), 1), 1)) for band in bands])
    along = np.minimum(np.sqrt((np.einsum("dp,kpc->dkc", basis, smooth) ** 2).sum(axis=0)) / size, 1.3)
    ends = _line_ends(along, u, length, step_u)

    strength = np.array([np.median(row[inside]) for row in along])
    norm = np.median(strength[extra:-extra or None])
    uneven = step_v * np.array([_scatter(block_u[on], row[on]) for row, on in zip(shift, ok)])
    present = (strength > 0.35 * norm) & (uneven < max(UNEVEN_MM, 3 * np.sort(uneven)[len(uneven) // 3]))  # what lies beyond the face is no line
    # keep the run of lines about the middle
    mid = len(lines) // 2
    low = high = mid
    while low > 0 and present[low - 1]:
        low -= 1
    while high < len(lines) - 1 and present[high + 1]:
        high += 1
    keep = np.zeros(len(lines), bool)
    keep[low:high + 1] = True
    ok &= keep[:, None]
    k, b = np.nonzero(ok)
    # light changes a groove's look along it, a dark wall here and a bright one there: how far lines lean otherwise by the middle of all that stands out
    away = np.arange(per)[None, :] - (offset0 + (per - 1) / 2 + shift[k, b])[:, None]
    weight = np.where(np.abs(away) < 0.35 * per, blocks[k, :, b] ** 2, 0)
    aside = -step_v * (weight * away).sum(axis=1) / np.maximum(weight.sum(axis=1), 1e-6)
    usual = [(block_u[at], np.median(aside[b == at])) for at in np.unique(b) if (b == at).sum() > 3]  # of all lines: rust and scratches are not on most
    lean = float(np.polyfit(*np.transpose(usual), 1)[0]) if len(usual) > 2 else 0.0
    v = lines[k] * pitch - (shift[k, b] + offset0) * step_v
    back = np.linalg.inv(to_face)
    points = project(back, np.column_stack([block_u[b], v]))
    at_line, at_side = [], []
    end_uv = []
    for i in np.nonzero(keep)[0]:
        for side in (0, 1):
            if np.isfinite(ends[i, side]):
                end_uv.append((ends[i, side], lines[i] * pitch))
                at_line.append(lines[i])
                at_side.append(-1 if side == 0 else 1)
    return {"points": points, "point_line": lines[k], "ends": project(back, np.array(end_uv).reshape(-1, 2)),
            "end_side": np.array(at_side), "end_line": np.array(at_line), "kept": lines[keep], "lean": lean,
            "share": float(ok[keep][:, np.abs(block_u) < length / 2 - 1].mean())}


def _scatter(x, y):
    """Scatter of points about a straight line, robustly."""
    if len(x) < 5:
        return np.inf
    away = x - x.mean()
    rest = y - away * (away @ y) / (away @ away)
    return 1.4826 * float(np.median(np.abs(rest - np.median(rest))))


def _in_full(seen):
    """Pixels of a half-size picture in pixels of the full one."""
    for name in ("points", "ends"):
        seen[name] = seen[name] * 2 + 0.5
    return seen


def _line_ends(along, u, length, step_u):
    """Heel and toe end of every line by its steepest step near the expected place; NaN where there is none."""
    count, columns = along.shape
    ends = np.full((count, 2), np.nan)
    total = np.concatenate([np.zeros((count, 1)), np.cumsum(along, axis=1)], axis=1)
    wide = max(int(2.2 / step_u), 3)
    box = (total[:, wide:] - total[:, :-wide]) / wide  # mean over [c, c + wide)
    step = np.full((count, columns + 1), -9.0)  # at the boundary between c - 1 and c: mean after it less mean before it
    step[:, wide:columns - wide + 1] = box[:, wide:] - box[:, :-wide]
    edge_u = u[0] - step_u / 2 + step_u * np.arange(columns + 1)
    for side, sign in ((0, 1.0), (1, -1.0)):
        near = (np.abs(edge_u + sign * length / 2) < 2.5) & (step > -9).any(axis=0)
        some = np.where(near, sign * step, -9)
        at = np.argmax(some, axis=1)
        for i in range(count):
            if some[i, at[i]] > 0.35 and 0 < at[i] < columns:
                ends[i, side] = edge_u[at[i]] + parabola(some[i], at[i]) * step_u
    return ends
