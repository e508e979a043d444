"""What tells the vertical in a setup photo: a plumb cord with its weight, or a level bar."""

from collections.abc import Sequence
from typing import NamedTuple

import cv2
import numpy as np

from ..base.errors import NoPlumb
from .ball import Array, Ball, sample, seen

UPRIGHT_DEG = 15.0  # how far from upright in the picture a cord may run
FLAT_DEG = 22.0  # how far from level in the picture a bar may run


class Cord(NamedTuple):
    """A thin upright line: its ends (2, 2) in pixels and their direction's uncertainty; is a weight at its end?"""

    ends: Array
    u_deg: float
    weighted: bool
    thick: float


class Edge(NamedTuple):
    """A long edge: its ends (2, 2) in pixels, its direction's uncertainty, and the colour below less that above."""

    ends: Array
    u_deg: float
    step: Array


# ---- the plumb cord --------------------------------------------------------------------------------------------------


def _ridges(lab: Array, step: int) -> Array:
    """How much each pixel stands out from both its left and its right, and nothing where it is an edge; (H, W)."""
    best = np.zeros(lab.shape[:2], np.float32)
    for channel in range(3):
        plane = lab[..., channel]
        left, right = plane - np.roll(plane, step, 1), plane - np.roll(plane, -step, 1)
        both = np.where(left * right > 0, np.minimum(np.abs(left), np.abs(right)), 0)
        best = np.maximum(best, both * (1.0 if channel == 0 else 1.3))
    best[:, :step] = best[:, -step:] = 0
    return best


def find_cord(rgb: Array, ball: Ball, focal_px: float) -> tuple[Array, float]:
    """Find a plumb cord with its weight.

    Returns
    -------
    ends : ndarray, shape (2, 2)
        Upper and lower end in pixels.
    u_deg : float
        Standard uncertainty of its direction in the picture.

    Raises
    ------
    NoPlumb
    """
    height, width = rgb.shape[:2]
    lab = cv2.GaussianBlur(cv2.cvtColor(rgb, cv2.COLOR_RGB2LAB), (0, 0), 0.9).astype(np.float32)
    middle = seen(ball.centre, focal_px, rgb.shape)
    y, x = np.mgrid[0:height, 0:width]
    covered = (x - middle[0]) ** 2 + (y - middle[1]) ** 2 < (1.06 * focal_px * np.tan(np.radians(ball.half_deg))) ** 2
    cords: list[Cord] = []
    for step in (4, 8, 14):
        ridge = _ridges(lab, step)
        ridge[covered] = 0
        kept = ((ridge > 7) & (ridge >= cv2.dilate(ridge, np.ones((1, 2 * step + 1))) * 0.75)).astype(np.uint8) * 255
        kept = cv2.resize(kept, (width // 2, height // 2), interpolation=cv2.INTER_AREA)
        kept = (kept > 60).astype(np.uint8) * 255
        lines = cv2.HoughLinesP(
            kept, 0.5, np.pi / 720, 60, minLineLength=int(0.07 * height), maxLineGap=int(0.012 * height)
        )
        lines = np.empty((0, 4)) if lines is None else lines.reshape(-1, 4) * 2.0 + 0.5
        for x0, y0, x1, y1 in lines[np.argsort(-np.abs(lines[:, 3] - lines[:, 1]))]:
            if np.degrees(np.arctan2(abs(x1 - x0), abs(y1 - y0))) > UPRIGHT_DEG:
                continue
            upper, lower = sorted([(x0, y0), (x1, y1)], key=lambda end: end[1])
            if any(_same(cord.ends, upper, lower) for cord in cords):
                continue
            got = _trace(lab, covered, np.array(upper), np.array(lower), step)
            if got is not None and not any(_same(cord.ends, *got.ends) for cord in cords):
                cords.append(got)
    weighted = [cord for cord in cords if cord.weighted]
    if not weighted:
        what = "an upright line is seen, but no weight at its lower end" if cords else "no plumb cord is seen"
        raise NoPlumb(what)
    leans = [_lean(cord.ends) for cord in weighted]
    if max(leans) - min(leans) > 0.7:
        raise NoPlumb(
            f"{len(weighted)} upright lines are seen that are not parallel, and it is not clear which is the cord"
        )
    found = max(weighted, key=lambda cord: float(np.ptp(cord.ends[:, 1])))
    if sum(not cord.weighted and abs(cord.thick - found.thick) < 0.3 * found.thick for cord in cords) > 3:
        raise NoPlumb("many upright lines are seen that look like the cord")
    return found.ends, found.u_deg


def _lean(ends: Array) -> float:
    return float(np.degrees(np.arctan2(ends[1][0] - ends[0][0], ends[1][1] - ends[0][1])))


def _rise(ends: Array) -> float:
    return float(np.degrees(np.arctan2(ends[1][1] - ends[0][1], ends[1][0] - ends[0][0])))


def _same(ends: Array, upper: Sequence[float], lower: Sequence[float]) -> bool:
    (x, y), (a, b) = ends[0], (ends[1] - ends[0]) / np.linalg.norm(ends[1] - ends[0])
    return bool(max(abs(a * (end[1] - y) - b * (end[0] - x)) for end in (upper, lower)) < 6)


def _trace(lab: Array, covered: Array, upper: Array, lower: Array, step: int) -> Cord | None:
    """Follow a thin upright line as far as it goes; None if it is no cord."""
    height, width = lab.shape[:2]
    slope, base = (lower[0] - upper[0]) / (lower[1] - upper[1]), upper[0]
    y0 = upper[1]
    rows = np.arange(2, height - 2, 1.0)
    s = np.arange(-3.0 * step, 3.0 * step + 0.1, 0.5)
    top, bottom = upper[1], lower[1]
    for _ in range(5):
        x = base + slope * (rows - y0)
        patch = sample(lab, np.stack([x[:, None] + s[None], np.repeat(rows[:, None], len(s), 1)], -1))  # (rows, s, 3)
        along = (rows >= top) & (rows <= bottom) & (x > 3) & (x < width - 4)
        if along.sum() < 0.05 * height:
            return None
        mean = np.median(patch[along], axis=0)
        ground = np.median(np.concatenate([mean[np.abs(s) > 1.8 * step]]), axis=0)
        look = mean - ground
        core = np.abs(s) < 1.2 * step
        peak = look[core][np.abs(look[core]).sum(1).argmax()]
        contrast = np.linalg.norm(peak)
        if contrast < 9:
            return None
        colour = peak / contrast
        beside = np.median(patch[:, np.abs(s) > 1.8 * step], axis=1)  # each row has its own ground
        signal = (patch - beside[:, None]) @ colour
        sides = np.abs(
            (np.median(patch[:, s > 1.8 * step], axis=1) - np.median(patch[:, s < -1.8 * step], axis=1)) @ colour
        )
        near = np.abs(s) < 1.4 * step
        weight = np.clip(signal[:, near] - 0.45 * contrast, 0, None)
        middle = (weight * s[near]).sum(1) / np.maximum(weight.sum(1), 1e-6)
        level = signal[:, near].max(1)
        thick = (signal[:, near] > 0.5 * contrast).sum(1) * 0.5
        usual = np.median(thick[along])
        there = (level > 0.5 * contrast) & (thick < 2.0 * usual + 2) & (thick > 0.3 * usual) & (x > 3) & (x < width - 4)
        there &= ~covered[rows.astype(int), np.clip(np.round(x), 0, width - 1).astype(int)]
        there &= (sides < 0.8 * contrast) & (np.abs(middle) < max(1.5, 0.5 * step))
        bridge = np.ones((1, int(0.012 * height) | 1))
        closed = cv2.morphologyEx(there.astype(np.uint8)[None], cv2.MORPH_CLOSE, bridge)[0]
        count, labels, stats, _ = cv2.connectedComponentsWithStats(closed[None])
        if count < 2:
            return None
        run = 1 + stats[1:, cv2.CC_STAT_WIDTH].argmax()
        present = (labels[0] == run) & there
        if present.sum() < 0.05 * height:
            return None
        top, bottom = rows[present][[0, -1]]
        design = np.column_stack([rows[present] - rows[present].mean(), np.ones(present.sum())])
        fit = np.zeros(2)
        keep = np.ones(present.sum())
        for _ in range(6):
            fit = np.linalg.lstsq(design * keep[:, None], middle[present] * keep, rcond=None)[0]
            off = middle[present] - design @ fit
            scale = 1.4826 * np.median(np.abs(off)) + 0.02
            keep = 1 / (1 + (off / (2 * scale)) ** 2)
        base, y0, slope = base + slope * (rows[present].mean() - y0) + fit[1], rows[present].mean(), slope + fit[0]
    length = bottom - top
    share = present.sum() / max(length, 1)
    if (
        length < 0.13 * height
        or share < 0.8
        or scale > 1.2
        or usual > 1.9 * step
        or np.degrees(np.arctan(abs(slope))) > UPRIGHT_DEG
    ):
        return None
    bend = np.polyfit((rows[present] - y0) / length, off, 2)[0]
    u_deg = float(np.degrees(np.hypot(scale * np.sqrt(12 * 15 / present.sum()), abs(bend) / 2) / length))
    ends = np.array([[base + slope * (top - y0), top], [base + slope * (bottom - y0), bottom]])
    return Cord(ends, u_deg, _weight(lab, ends, slope, usual, covered), usual)


def _weight(lab: Array, ends: Array, slope: float, thick: float, covered: Array) -> bool:
    """True where something wider than the cord, evenly on both sides of its line, begins at its lower end."""
    height, width = lab.shape[:2]
    far = max(9 * thick, 22)
    s = np.arange(-far, far + 0.1, 0.5)
    rows = np.arange(ends[0][1], min(ends[1][1] + 14 * thick + 40, height - 2))
    upper = ends[0][1] + 0.6 * (ends[1][1] - ends[0][1])  # what is as wide up there is no weight
    x = ends[1][0] + slope * (rows - ends[1][1])
    free = (x > 2) & (x < width - 3)
    free[free] = ~covered[rows[free].astype(int), x[free].astype(int)]
    rows, x = rows[free], x[free]
    patch = (
        sample(lab, np.stack([x[:, None] + s[None], np.repeat(rows[:, None], len(s), 1)], -1))
        if len(rows)
        else np.empty((0, len(s), 3))
    )
    deep = max(5, round(thick))
    halves = np.arange(max(0.9 * thick, 2.5), far - 4, 0.5)
    halves_seen: list[float] = []
    for first in range(0, len(rows) - deep, deep):
        profile = cv2.blur(patch[first : first + deep].mean(0)[None], (5, 1))[0]
        noise = np.median(np.linalg.norm(profile[5:] - profile[:-5], axis=1))

        def at(place: Array, profile: Array = profile) -> Array:
            return profile[np.round((place + far) * 2).astype(int)]

        left, right = at(-halves + 2) - at(-halves - 2), at(halves - 2) - at(halves + 2)
        left_size, right_size = np.linalg.norm(left, axis=1), np.linalg.norm(right, axis=1)
        alike = (left * right).sum(1) / (left_size * right_size + 1e-6)
        even = np.linalg.norm(at(-halves - 2) - at(halves + 2), axis=1) < 0.8 * np.minimum(left_size, right_size)
        size = np.minimum(left_size, right_size) * (alike > 0.7) * even
        halves_seen.append(halves[size.argmax()] if size.max() > max(4.5, 2.5 * noise) else 0.0)
    seen_half = np.array(halves_seen)
    above = rows[: len(seen_half) * deep : deep] < upper
    for half in set(seen_half[~above & (seen_half > 0)]):
        like = np.abs(seen_half - half) < 0.12 * half + 0.6
        if like[above].mean() >= 0.12:
            continue
        starts = np.flatnonzero(np.diff(like.astype(int), prepend=0) == 1)
        stops = np.flatnonzero(np.diff(like.astype(int), append=0) == -1) + 1
        for start, stop in zip(starts, stops, strict=True):
            begins, ends_at = rows[start * deep], rows[min(stop * deep, len(rows) - 1)]
            long_enough = (stop - start) * deep >= max(1.6 * half, 3 * deep)
            if long_enough and begins >= upper and begins < ends[1][1] + 3 * thick + 10 and ends_at > ends[1][1] - deep:
                return True
    return False


# ---- a level bar -----------------------------------------------------------------------------------------------------


def find_edge(rgb: Array, ball: Ball, focal_px: float) -> tuple[Array, float]:
    """Find the upper edge of a level bar: two long parallel edges with the same thing between them.

    Returns
    -------
    ends : ndarray, shape (2, 2)
        Left and right end in pixels.
    u_deg : float

    Raises
    ------
    NoPlumb
    """
    height, width = rgb.shape[:2]
    lab = cv2.GaussianBlur(cv2.cvtColor(rgb, cv2.COLOR_RGB2LAB), (0, 0), 1.2)
    segments = []
    finder = cv2.createLineSegmentDetector(cv2.LSD_REFINE_STD)
    for channel in range(3):
        lines = finder.detect(np.ascontiguousarray(lab[..., channel]))[0]
        for x0, y0, x1, y1 in () if lines is None else lines.reshape(-1, 4):
            if abs(x1 - x0) > 0.02 * width and abs(y1 - y0) < np.tan(np.radians(FLAT_DEG)) * abs(x1 - x0):
                segments.append(((x0, y0), (x1, y1)) if x0 < x1 else ((x1, y1), (x0, y0)))
    segments.sort(key=lambda pair: pair[0][0] - pair[1][0])
    edges: list[Edge] = []
    field = lab.astype(np.float32)
    for left, right in segments[:60]:
        if any(_same(edge.ends, left, right) for edge in edges):
            continue
        got = _trace_edge(field, np.array(left), np.array(right))
        if got is not None and not any(_same(edge.ends, *got.ends) for edge in edges):
            edges.append(got)
    bars = []
    for upper in edges:
        for lower in edges:
            gap = lower.ends[:, 1].mean() - upper.ends[:, 1].mean() if lower is not upper else 0
            overlap = min(upper.ends[1][0], lower.ends[1][0]) - max(upper.ends[0][0], lower.ends[0][0])
            # the ball hides part of it
            enough = max(0.3 * max(np.ptp(upper.ends[:, 0]), np.ptp(lower.ends[:, 0])), 0.2 * width)
            if (
                0.008 * height < gap < 0.2 * height
                and overlap > enough
                and abs(_rise(upper.ends) - _rise(lower.ends)) < 2
                and _even(field, upper, lower)
            ):
                bars.append(upper)
    if not bars:
        raise NoPlumb("no level bar is seen, with both its long edges clear of the background")
    slopes = [_rise(bar.ends) for bar in bars]
    if max(slopes) - min(slopes) > 0.7:
        raise NoPlumb(f"{len(bars)} long bars are seen that are not parallel, and it is not clear which is level")
    found = max(bars, key=lambda bar: float(np.ptp(bar.ends[:, 0])))
    return found.ends, found.u_deg


def _trace_edge(lab: Array, left: Array, right: Array) -> Edge | None:
    """Follow a long edge to where it stops; None where it is too short."""
    height, width = lab.shape[:2]
    slope, base, x0 = (right[1] - left[1]) / (right[0] - left[0]), left[1], left[0]
    columns = np.arange(2, width - 2, 2.0)
    s = np.arange(-8, 8.1, 0.5)
    first, last = left[0], right[0]
    for _ in range(4):
        y = base + slope * (columns - x0)
        inside = (y > 10) & (y < height - 11)
        patch = sample(lab, np.stack([np.repeat(columns[:, None], len(s), 1), y[:, None] + s[None]], -1))
        jump = patch[:, s > 4].mean(1) - patch[:, s < -4].mean(1)
        on = inside & (columns >= first) & (columns <= last)
        if on.sum() < 10:
            return None
        usual = np.median(jump[on], axis=0)
        size = np.linalg.norm(usual)
        if size < 8:
            return None
        signal = np.diff(patch @ (usual / size), axis=1)
        weight = np.clip(signal, 0, None) * (np.abs(s[1:] - 0.25) < 4.5)
        middle = (weight * (s[1:] - 0.25)).sum(1) / np.maximum(weight.sum(1), 1e-6)
        there = (
            inside
            & (jump @ usual / size > 0.55 * size)
            & (np.linalg.norm(jump - usual, axis=1) < 0.8 * size)
            & (np.abs(middle) < 2.5)
        )
        bridge = np.ones((1, int(0.02 * len(columns)) | 1))
        closed = cv2.morphologyEx(there.astype(np.uint8)[None], cv2.MORPH_CLOSE, bridge)[0]
        count, labels, stats, _ = cv2.connectedComponentsWithStats(closed[None])
        if count < 2:
            return None
        present = (labels[0] == 1 + stats[1:, cv2.CC_STAT_WIDTH].argmax()) & there
        if present.sum() < 10:
            return None
        first, last = columns[present][[0, -1]]
        centre = columns[present].mean()
        design = np.column_stack([columns[present] - centre, np.ones(present.sum())])
        keep = np.ones(present.sum())
        for _ in range(6):
            fit = np.linalg.lstsq(design * keep[:, None], middle[present] * keep, rcond=None)[0]
            off = middle[present] - design @ fit
            scale = 1.4826 * np.median(np.abs(off)) + 0.02
            keep = 1 / (1 + (off / (2 * scale)) ** 2)
        base, x0, slope = base + slope * (centre - x0) + fit[1], centre, slope + fit[0]
    length = last - first
    if length < 0.25 * width or present.sum() * 2 < 0.75 * length or scale > 1.5:
        return None
    bend = np.polyfit((columns[present] - x0) / length, off, 2)[0]
    u_deg = float(np.degrees(np.hypot(scale * np.sqrt(12 * 15 / present.sum()), abs(bend) / 2) / length))
    ends = np.array([[first, base + slope * (first - x0)], [last, base + slope * (last - x0)]])
    return Edge(ends, u_deg, usual)


def _even(lab: Array, upper: Edge, lower: Edge) -> bool:
    """True where one thing fills the strip between two edges and differs from what is on both sides."""
    if upper.step @ lower.step > 0:
        return False
    left, right = max(upper.ends[0][0], lower.ends[0][0]), min(upper.ends[1][0], lower.ends[1][0])
    x = left + np.linspace(0.05, 0.95, 60) * (right - left)
    a, b = (np.column_stack([x, np.interp(x, edge.ends[:, 0], edge.ends[:, 1])]) for edge in (upper, lower))
    strip = sample(lab, np.stack([a + share * (b - a) for share in np.linspace(0.25, 0.75, 5)], 1))
    spread = np.median(np.linalg.norm(strip - np.median(strip.reshape(-1, 3), axis=0), axis=2))
    return bool(spread < 0.35 * min(np.linalg.norm(upper.step), np.linalg.norm(lower.step)))
