"""The ball in a setup photo: its outline, and the pen line on it."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from ..base.errors import NoBall, NoPenLine, TwoPenLines

Array = NDArray[Any]
Shape = tuple[int, ...]  # of a picture: height, width, colours

SEARCH_PX = 480  # long side of the picture in which the ball is looked for
MOST_EDGES = 0.2  # share of pixels on edges; a ball on turf or gravel has half of that
MIN_BALL_PX = 90  # diameter below which a pen line is too thin to be measured
VIEW_PX = 320  # side of the straightened view of the ball
REACH_DEG = 58.0  # the line is followed this far from the middle of its visible half, both ways
STEP_DEG = 0.75
U_MIDDLE = (
    0.03  # how far the pen's plane passes from the middle of the ball, in radii: 0.6 mm; common practice, no source
)
SHARED_DEG = 5.0  # points of the line nearer than this, about half a dimple, share their error


@dataclass(frozen=True)
class Ball:
    """A sphere as a pinhole camera sees it: `centre` (unit vector) and `half_deg`, half the angle it fills."""

    centre: Array
    half_deg: float
    outline: Array  # (N, 2) pixels

    def axes(self) -> tuple[Array, Array, Array]:
        """Right, down and towards the camera, as unit vectors, seen at the ball."""
        right = np.cross([0.0, 1.0, 0.0], self.centre)
        right /= np.linalg.norm(right)
        return right, np.cross(self.centre, right), -self.centre

    def points(self, normals: Array) -> Array:
        """Points of the sphere, in units of its distance, for outward unit vectors (..., 3)."""
        return self.centre + np.sin(np.radians(self.half_deg)) * normals


def rays(pixels: ArrayLike, focal_px: float, shape: Shape) -> Array:
    """Unit vectors (N, 3), right, down and into the picture, for pixels (N, 2)."""
    pixels = np.atleast_2d(np.asarray(pixels, float))
    middle = np.array([shape[1], shape[0]]) / 2 - 0.5
    out = np.column_stack([(pixels - middle) / focal_px, np.ones(len(pixels))])
    return out / np.linalg.norm(out, axis=1, keepdims=True)


def seen(points: Array, focal_px: float, shape: Shape) -> Array:
    """Pixels (..., 2) of points (..., 3)."""
    middle = np.array([shape[1], shape[0]]) / 2 - 0.5
    return middle + focal_px * points[..., :2] / points[..., 2:]


def sample(image: Array, pixels: Array) -> Array:
    """Values of an image at places (N, 2) or (M, N, 2), interpolated; beyond its border they are as on it."""
    x, y = np.asarray(pixels, np.float32)[..., 0], np.asarray(pixels, np.float32)[..., 1]
    if x.ndim == 1:
        return cv2.remap(image, x[None], y[None], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)[0]
    return cv2.remap(image, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)


# ---- the ball --------------------------------------------------------------------------------------------------------


def ball_from_outline(outline: Array, focal_px: float, shape: Shape) -> tuple[Ball, Array] | None:
    """Fit the sphere's cone of rays to points of its outline, and return it and how far off each point is, in radians.

    Points far from it lose their weight. None where the points are no ball's outline.
    """
    v = rays(outline, focal_px, shape)
    weight = np.ones(len(v))
    for _ in range(15):
        w = np.linalg.lstsq(v * weight[:, None], weight, rcond=None)[0]  # v . w = 1, with w = centre / cos(half)
        size = np.linalg.norm(w)
        if size <= 1:
            return None
        off = (v @ w - 1) / np.sqrt(size**2 - 1)  # radians outside (-) or inside (+) of the cone
        scale = 1.4826 * np.median(np.abs(off)) + 0.2 / focal_px
        weight = 1 / (1 + (off / (2 * scale)) ** 2)
    return Ball(w / size, float(np.degrees(np.arccos(1 / size))), outline), off


def find_ball(rgb: Array, focal_px: float) -> Ball:
    """Find the ball; raises NoBall."""
    height, width = rgb.shape[:2]
    scale = SEARCH_PX / max(height, width)
    lab = cv2.cvtColor(rgb, cv2.COLOR_RGB2LAB)
    small = cv2.resize(lab, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    found: list[tuple[float, float, float]] = []
    for channel in range(3):
        plane = cv2.medianBlur(small[..., channel], 5)
        plane = cv2.normalize(plane, None, 0, 255, cv2.NORM_MINMAX)
        size = {"minRadius": 9, "maxRadius": SEARCH_PX // 3}
        soft = cv2.GaussianBlur(plane, (0, 0), 1.5)
        grain = (
            cv2.Canny(soft, 20, 40) > 0
        ).mean() > MOST_EDGES  # in noise the last search finds hundreds of circles and takes seconds
        for circles in (
            cv2.HoughCircles(plane, cv2.HOUGH_GRADIENT_ALT, 1.5, 10, param1=110, param2=0.6, **size),
            cv2.HoughCircles(plane, cv2.HOUGH_GRADIENT_ALT, 1.5, 10, param1=50, param2=0.6, **size),
            None if grain else cv2.HoughCircles(soft, cv2.HOUGH_GRADIENT, 2, 20, param1=40, param2=30, **size),
        ):
            for x, y, r in () if circles is None else circles.reshape(-1, circles.shape[-1])[:8, :3]:
                if all(np.hypot(x - a, y - b) > 0.15 * r or abs(r - c) > 0.15 * r for a, b, c in found):
                    found.append((x, y, r))
    best, best_share, small_seen = None, 0.0, False
    smooth = cv2.GaussianBlur(lab, (0, 0), 1.5).astype(np.float32)
    for x, y, r in found:
        got = _outline(smooth, (np.array([x, y]) + 0.5) / scale - 0.5, r / scale, focal_px)
        if got is None:
            continue
        ball, share = got
        if 2 * focal_px * np.tan(np.radians(ball.half_deg)) < MIN_BALL_PX:
            small_seen = True
        elif share > best_share:
            best, best_share = ball, share
    if best is None:
        raise NoBall(
            "the ball is too small in the picture"
            if small_seen
            else "no ball is seen, whole and clear of its surroundings"
        )
    return best


def _outline(lab: Array, middle: Array, radius: float, focal_px: float) -> tuple[Ball, float] | None:
    """Follow the outline of one candidate along rays from its middle; None where too little of it is a ball's."""
    angles = np.radians(np.arange(0, 360, 2.0))
    out = np.column_stack([np.cos(angles), np.sin(angles)])
    for reach in (0.40, 0.20, 0.10):
        steps = np.arange(1 - reach, 1 + reach, 1 / max(radius, 20)) * radius
        profile = sample(lab, middle + steps[None, :, None] * out[:, None, :])
        gap = max(2, int(0.03 * radius))
        step = np.linalg.norm(profile[:, 2 * gap :] - profile[:, : -2 * gap], axis=2)
        step *= 1 - 0.5 * np.abs(steps[gap:-gap] / radius - 1) / reach  # rather the edge near the circle
        at = step.argmax(1)
        strength = step.max(1)
        outline = middle + (steps[gap:-gap][at])[:, None] * out
        good = strength > 9
        if good.sum() < 60:
            return None
        fitted = ball_from_outline(outline[good], focal_px, lab.shape)
        if fitted is None:
            return None
        ball, off = fitted
        middle = seen(ball.centre, focal_px, lab.shape)
        radius = focal_px * np.tan(np.radians(ball.half_deg)) / np.sqrt(max(ball.centre[2], 0.3))
    fits = np.abs(off) < 0.025 * np.radians(ball.half_deg)
    turned = np.flatnonzero(good)[fits]
    share = len(turned) / len(angles)
    holes = np.diff(np.append(turned, turned[0] + len(angles))) * 2
    if share < 0.55 or holes.max() > 80 or min(*(middle - radius), *(np.array(lab.shape[1::-1]) - middle - radius)) < 2:
        return None
    inner, outer = (
        sample(lab, middle + np.linspace(low, low + 0.14, 6)[None, :, None] * radius * out[:, None]).mean(1)
        for low in (0.82, 1.04)
    )
    if np.mean(np.linalg.norm(inner - outer, axis=1) > 8) < 0.55:  # the grain of a surface, and no edge
        return None
    inside = sample(lab, middle + 0.8 * radius * np.sqrt(np.linspace(0.02, 1, 40))[:, None, None] * out[::6][None])
    light, chroma = inside[..., 0].ravel(), inside[..., 1:].reshape(-1, 2)
    even = np.mean(np.abs(chroma - np.median(chroma, axis=0)).max(axis=1) < 14)
    if np.median(light) < 70 or even < 0.7:
        return None
    return ball, share


# ---- the pen line ----------------------------------------------------------------------------------------------------


def _ink_view(rgb: Array, ball: Ball, focal_px: float) -> tuple[Array, Array]:
    """How inky the ball is, in a straight view of side VIEW_PX over (-1, 1), and its noise."""
    axis = (np.arange(VIEW_PX) + 0.5) / VIEW_PX * 2 - 1
    u, v = np.meshgrid(axis, axis)
    w = np.sqrt(np.clip(1 - u**2 - v**2, 0, None))
    right, down, near = ball.axes()
    normals = u[..., None] * right + v[..., None] * down + w[..., None] * near
    lab = cv2.cvtColor(rgb, cv2.COLOR_RGB2LAB)
    view = sample(lab, seen(ball.points(normals), focal_px, rgb.shape))
    inside = u**2 + v**2 < 0.93**2
    for channel in range(3):  # what lies beyond the outline must not count as ground
        view[..., channel][~inside] = np.median(view[..., channel][inside])
    ground = np.dstack([cv2.medianBlur(np.ascontiguousarray(view[..., c]), VIEW_PX // 5 | 1) for c in range(3)]).astype(
        np.float32
    )
    off = view.astype(np.float32) - ground
    ink = np.clip(-off[..., 0], 0, None) + 1.2 * np.abs(off[..., 1]) + 1.2 * np.abs(off[..., 2])
    ink[~inside] = 0
    return cv2.GaussianBlur(ink, (0, 0), 0.008 * VIEW_PX), inside


def _circle(normals: Array, reach: float = REACH_DEG, step: float = STEP_DEG) -> tuple[Array, Array]:
    """Unit vectors (K, T, 3), right, down and near, along the visible halves of great circles by normals (K, 3)."""
    near = np.array([0.0, 0.0, 1.0])
    top = near - normals * normals[:, 2:]
    top /= np.linalg.norm(top, axis=1, keepdims=True)
    along = np.cross(normals, top)
    t = np.radians(np.arange(-reach, reach + 1e-6, step))[None, :, None]
    return np.cos(t) * top[:, None] + np.sin(t) * along[:, None], along


def _look(ink: Array, points: Array) -> Array:
    """Values of the view at unit vectors (..., 3)."""
    return sample(ink, (points[..., :2] + 1) / 2 * VIEW_PX - 0.5)


def _best_circle(ink: Array, leans: Array, turns: Array, cap: float) -> tuple[Array, float]:
    lean, turn = (np.radians(a).ravel() for a in np.meshgrid(leans, turns))
    normals = np.column_stack([np.cos(turn) * np.cos(lean), np.cos(turn) * np.sin(lean), np.sin(turn)])
    points, _ = _circle(normals, step=2.0)
    flank = [np.minimum(_look(ink, points + side * normals[:, None]), cap) for side in (-0.13, 0.13)]
    gain = np.minimum(_look(ink, points), cap) - np.maximum(*flank)
    score = gain.mean(1)
    best = score.argmax()
    return normals[best], score[best]


def find_line(rgb: Array, ball: Ball, focal_px: float) -> tuple[Array, float, Array, Array]:
    """Find the pen line on the ball.

    Returns
    -------
    normal : ndarray, shape (3,)
        Unit normal of the line's plane, pointing right, in the camera's axes.
    offset : float
        How far the plane passes from the middle of the ball, in radii.
    covariance : ndarray, shape (3, 3)
        Of the normal, in the camera's axes.
    points : ndarray, shape (N, 2)
        Pixels of the line.

    Raises
    ------
    NoPenLine, TwoPenLines
    """
    ink, inside = _ink_view(rgb, ball, focal_px)
    noise = np.percentile(ink[inside], 75) + 2.0
    cap = 6 * noise
    leans, turns = np.arange(-60, 60.1, 2.0), np.arange(-36, 36.1, 3.0)
    normal, score = _best_circle(ink, leans, turns, cap)
    lean, turn = np.degrees(np.arctan2(normal[1], normal[0])), np.degrees(np.arcsin(normal[2]))
    normal, score = _best_circle(ink, lean + np.arange(-2, 2.1, 0.5), turn + np.arange(-3, 3.1, 0.75), cap)
    for _ in range(3):
        got = _follow(ink, normal, noise)
        if got is None:
            raise NoPenLine("no line from a pen is seen on the ball, upright and unbroken")
        normal, offset, covariance, points, contrast, width = got
    u, v = np.meshgrid(*[(np.arange(VIEW_PX) + 0.5) / VIEW_PX * 2 - 1] * 2)
    w = np.sqrt(np.clip(1 - u**2 - v**2, 0, None))
    away = np.abs(u * normal[0] + v * normal[1] + w * normal[2] - offset)
    beside = 0.6 * width + 0.025
    rest = np.where(away < beside, 0, ink).astype(np.float32)
    second, _ = _best_circle(rest, np.arange(-90, 88, 3.0), turns, cap)
    other = _follow(rest, second, noise, blank=away_of(normal, offset, beside + 0.02))
    if other is not None and other[4] > 0.4 * contrast:
        raise TwoPenLines("more than one line is seen on the ball")
    frame = np.array(ball.axes())  # rows
    return normal @ frame, offset, frame.T @ covariance @ frame, seen(ball.points(points @ frame), focal_px, rgb.shape)


def away_of(normal: Array, offset: float, width: float) -> Callable[[Array], Array]:
    """A test for points of the ball farther than `width` (in radii) from a line."""
    return lambda points: np.abs(points @ normal - offset) > width


def _follow(
    ink: Array, normal: Array, noise: float, blank: Callable[[Array], Array] | None = None
) -> tuple[Array, float, Array, Array, float, float] | None:
    """Measure the line's middle all along a circle and fit its plane; None where it is not a line."""
    points, along = _circle(normal[None])
    points = points[0]
    s = np.arange(-0.15, 0.1501, 0.006)
    profile = _look(ink, points[:, None] + s[None, :, None] * normal)
    ground = np.minimum(np.median(profile[:, :8], axis=1), np.median(profile[:, -8:], axis=1))
    flank = np.maximum(np.median(profile[:, :8], axis=1), np.median(profile[:, -8:], axis=1))
    smooth = cv2.GaussianBlur(profile, (0, 0), 1.2)
    centre = np.clip(np.abs(s) / 0.12, 0, 1)
    at = (smooth * (1 - 0.5 * centre)).argmax(1)
    peak = smooth[np.arange(len(s[at])), at]
    weight = np.clip(profile - (0.5 * peak + 0.5 * ground)[:, None], 0, None) * (
        np.abs(s[None] - s[at][:, None]) < 0.075
    )
    middle = (weight * s).sum(1) / np.maximum(weight.sum(1), 1e-6)
    width = np.median((profile > 0.5 * (peak + ground)[:, None]).sum(1)) * 0.006
    free = np.ones(len(points), bool) if blank is None else blank(points)
    strong = (peak - flank > 1.5 * noise) & (peak > 2.0 * noise) & free
    if strong.sum() < 0.4 * max(free.sum(), 0.6 * len(points)):
        return None
    top = points[len(points) // 2]
    design = np.column_stack([points @ along[0], points @ top, -np.ones(len(points))])
    prior = np.array([0, 1 / 0.5**2, 1 / U_MIDDLE**2])  # the turn within about 30 degrees
    scale, on = 0.02, strong
    tip = np.zeros(3)
    for _ in range(10):
        off = middle + design @ tip
        weights = on / (1 + (off / (2 * scale)) ** 2)
        matrix = design.T * weights @ design
        tip = -np.linalg.solve(matrix + np.diag(prior) * scale**2, design.T * weights @ middle)
        off = middle + design @ tip
        scale = float(np.clip(1.4826 * np.median(np.abs(off[on])), 0.004, 0.05))
    close = on & (np.abs(off) < max(3 * scale, 0.02))
    if close.sum() < 0.55 * max(free.sum(), 0.6 * len(points)) or scale > 0.03 or width > 0.2:
        return None
    spread, open_parts = (part[: len(part) // 5 * 5].reshape(5, -1).mean(1) for part in (close, free))
    if ((spread > 0.3) | (open_parts < 0.5)).sum() < 4:  # a short stroke or a piece of print
        return None
    share = SHARED_DEG / STEP_DEG
    inverse = np.linalg.inv(matrix / (scale**2 * share) + np.diag(prior))
    # points . (normal + a along + b top) = c, with middle = -(design . (a, b, c)) along the normal
    fitted = normal + tip[0] * along[0] + tip[1] * top
    size = np.linalg.norm(fitted)
    basis = np.array([along[0], top])
    line = points[close] + middle[close][:, None] * normal
    return (
        fitted / size,
        tip[2] / size,
        basis.T @ inverse[:2, :2] @ basis,
        line,
        float(np.median((peak - flank)[close])),
        width,
    )
