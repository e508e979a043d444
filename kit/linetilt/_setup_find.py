"""What a setup photo shows, in pixels: the ball's outline, the pen line on it, a plumb cord with its weight, a level bar."""

from dataclasses import dataclass

import cv2
import numpy as np

from .errors import NoBall, NoPenLine, NoPlumb, TwoPenLines

SEARCH_PX = 480  # long side of the picture in which the ball is looked for
MIN_BALL_PX = 90  # diameter below which a pen line is too thin to be measured
VIEW_PX = 320  # side of the straightened view of the ball
REACH_DEG = 58.0  # the line is followed this far from the middle of its visible half, both ways
STEP_DEG = 0.75
DIMPLE_DEG = 12.0  # points of the line nearer than a dimple share their error
UPRIGHT_DEG = 22.0  # how far from upright in the picture a cord may run
FLAT_DEG = 22.0  # how far from level in the picture a bar may run


@dataclass(frozen=True)
class Ball:
    """A sphere as a pinhole camera sees it: `centre` (unit vector) and `half_deg`, half the angle it fills."""

    centre: np.ndarray
    half_deg: float
    outline: np.ndarray  # (N, 2) pixels

    def axes(self):
        """Right, down and towards the camera, as unit vectors, seen at the ball."""
        right = np.cross([0.0, 1.0, 0.0], self.centre)
        right /= np.linalg.norm(right)
        return right, np.cross(self.centre, right), -self.centre

    def points(self, normals):
        """Points of the sphere, in units of its distance, for outward unit vectors (..., 3)."""
        return self.centre + np.sin(np.radians(self.half_deg)) * normals


def rays(pixels, focal_px, shape):
    """Unit vectors (N, 3), right, down and into the picture, for pixels (N, 2)."""
    pixels = np.atleast_2d(np.asarray(pixels, float))
    middle = np.array([shape[1], shape[0]]) / 2 - 0.5
    out = np.column_stack([(pixels - middle) / focal_px, np.ones(len(pixels))])
    return out / np.linalg.norm(out, axis=1, keepdims=True)


def seen(points, focal_px, shape):
    """Pixels (..., 2) of points (..., 3)."""
    middle = np.array([shape[1], shape[0]]) / 2 - 0.5
    return middle + focal_px * points[..., :2] / points[..., 2:]


def _sample(image, pixels):
    x, y = np.asarray(pixels, np.float32)[..., 0], np.asarray(pixels, np.float32)[..., 1]
    if x.ndim == 1:
        return cv2.remap(image, x[None], y[None], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)[0]
    return cv2.remap(image, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)


# ---- the ball ----------------------------------------------------------------------------------------------------------


def ball_from_outline(outline, focal_px, shape):
    """Fit the sphere's cone of rays to points of its outline; points far from it lose their weight."""
    v = rays(outline, focal_px, shape)
    weight = np.ones(len(v))
    for _ in range(15):
        w = np.linalg.lstsq(v * weight[:, None], weight, rcond=None)[0]  # v . w = 1, with w = centre / cos(half)
        size = np.linalg.norm(w)
        if size <= 1:
            return None, None
        off = (v @ w - 1) / np.sqrt(size**2 - 1)  # radians outside (-) or inside (+) of the cone
        scale = 1.4826 * np.median(np.abs(off)) + 0.2 / focal_px
        weight = 1 / (1 + (off / (2 * scale)) ** 2)
    return Ball(w / size, float(np.degrees(np.arccos(1 / size))), outline), off


def find_ball(rgb, focal_px):
    """Find the ball; raises NoBall."""
    height, width = rgb.shape[:2]
    scale = SEARCH_PX / max(height, width)
    lab = cv2.cvtColor(rgb, cv2.COLOR_RGB2LAB)
    small = cv2.resize(lab, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    found = []
    for channel in range(3):
        plane = cv2.medianBlur(small[..., channel], 5)
        plane = cv2.normalize(plane, None, 0, 255, cv2.NORM_MINMAX)
        size = {"minRadius": 9, "maxRadius": SEARCH_PX // 3}
        for circles in (
            cv2.HoughCircles(plane, cv2.HOUGH_GRADIENT_ALT, 1.5, 10, param1=110, param2=0.6, **size),
            cv2.HoughCircles(plane, cv2.HOUGH_GRADIENT_ALT, 1.5, 10, param1=50, param2=0.6, **size),
            cv2.HoughCircles(cv2.GaussianBlur(plane, (0, 0), 1.5), cv2.HOUGH_GRADIENT, 2, 20, param1=40, param2=30, **size),
        ):
            for x, y, r in (() if circles is None else circles.reshape(-1, circles.shape[-1])[:8, :3]):
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
        raise NoBall("the ball is too small in the picture" if small_seen else "no ball is seen, whole and clear of its surroundings")
    return best


def _outline(lab, middle, radius, focal_px):
    """Follow the outline of one candidate along rays from its middle; None where too little of it is a ball's."""
    angles = np.radians(np.arange(0, 360, 2.0))
    out = np.column_stack([np.cos(angles), np.sin(angles)])
    ball = None
    for reach in (0.40, 0.20, 0.10):
        steps = np.arange(1 - reach, 1 + reach, 1 / max(radius, 20)) * radius
        profile = _sample(lab, middle + steps[None, :, None] * out[:, None, :])
        gap = max(2, int(0.03 * radius))
        step = np.linalg.norm(profile[:, 2 * gap :] - profile[:, : -2 * gap], axis=2)
        step *= 1 - 0.5 * np.abs(steps[gap:-gap] / radius - 1) / reach  # rather the edge near the circle
        at = step.argmax(1)
        strength = step.max(1)
        outline = middle + (steps[gap:-gap][at])[:, None] * out
        good = strength > 9
        if good.sum() < 60:
            return None
        ball, off = ball_from_outline(outline[good], focal_px, lab.shape)
        if ball is None:
            return None
        middle = seen(ball.centre, focal_px, lab.shape)
        radius = focal_px * np.tan(np.radians(ball.half_deg)) / np.sqrt(max(ball.centre[2], 0.3))
    fits = np.abs(off) < 0.025 * np.radians(ball.half_deg)
    turned = np.flatnonzero(good)[fits]
    share = len(turned) / len(angles)
    holes = np.diff(np.append(turned, turned[0] + len(angles))) * 2
    if share < 0.55 or holes.max() > 80 or min(*(middle - radius), *(np.array(lab.shape[1::-1]) - middle - radius)) < 2:
        return None
    inside = _sample(lab, middle + 0.8 * radius * np.sqrt(np.linspace(0.02, 1, 40))[:, None, None] * out[::6][None])
    light, chroma = inside[..., 0].ravel(), inside[..., 1:].reshape(-1, 2)
    even = np.mean(np.abs(chroma - np.median(chroma, axis=0)).max(axis=1) < 14)
    if np.median(light) < 70 or even < 0.7:
        return None
    return ball, share


# ---- the pen line --------------------------------------------------------------------------------------------------------


def _ink_view(rgb, ball, focal_px):
    """How inky the ball is, in a straight view of side VIEW_PX over (-1, 1), and its noise."""
    axis = (np.arange(VIEW_PX) + 0.5) / VIEW_PX * 2 - 1
    u, v = np.meshgrid(axis, axis)
    w = np.sqrt(np.clip(1 - u**2 - v**2, 0, None))
    right, down, near = ball.axes()
    normals = u[..., None] * right + v[..., None] * down + w[..., None] * near
    lab = cv2.cvtColor(rgb, cv2.COLOR_RGB2LAB)
    view = _sample(lab, seen(ball.points(normals), focal_px, rgb.shape))
    inside = u**2 + v**2 < 0.93**2
    for channel in range(3):  # what lies beyond the outline must not count as ground
        view[..., channel][~inside] = np.median(view[..., channel][inside])
    ground = np.dstack([cv2.medianBlur(np.ascontiguousarray(view[..., c]), VIEW_PX // 5 | 1) for c in range(3)]).astype(np.float32)
    off = view.astype(np.float32) - ground
    ink = np.clip(-off[..., 0], 0, None) + 1.2 * np.abs(off[..., 1]) + 1.2 * np.abs(off[..., 2])
    ink[~inside] = 0
    return cv2.GaussianBlur(ink, (0, 0), 0.008 * VIEW_PX), inside


def _circle(normals, reach=REACH_DEG, step=STEP_DEG):
    """Unit vectors (K, T, 3) along the visible halves of great circles with these normals (K, 3), in (right, down, near)."""
    near = np.array([0.0, 0.0, 1.0])
    top = near - normals * normals[:, 2:]
    top /= np.linalg.norm(top, axis=1, keepdims=True)
    along = np.cross(normals, top)
    t = np.radians(np.arange(-reach, reach + 1e-6, step))[None, :, None]
    return np.cos(t) * top[:, None] + np.sin(t) * along[:, None], along


def _look(ink, points):
    """Values of the view at unit vectors (..., 3)."""
    return _sample(ink, (points[..., :2] + 1) / 2 * VIEW_PX - 0.5)


def _best_circle(ink, leans, turns, cap):
    lean, turn = (np.radians(a).ravel() for a in np.meshgrid(leans, turns))
    normals = np.column_stack([np.cos(turn) * np.cos(lean), np.cos(turn) * np.sin(lean), np.sin(turn)])
    points, _ = _circle(normals, step=2.0)
    flank = [np.minimum(_look(ink, points + side * normals[:, None]), cap) for side in (-0.13, 0.13)]
    gain = np.minimum(_look(ink, points), cap) - np.maximum(*flank)
    score = gain.mean(1)
    best = score.argmax()
    return normals[best], score[best]


def find_line(rgb, ball, focal_px):
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
    got = None
    for _ in range(3):
        got = _follow(ink, normal, noise)
        if got is None:
            raise NoPenLine("no line from a pen is seen on the ball, upright and unbroken")
        normal = got[0]
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


def away_of(normal, offset, width):
    """A test for points of the ball farther than `width` (in radii) from a line."""
    return lambda points: np.abs(points @ normal - offset) > width


def _follow(ink, normal, noise, blank=None):
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
    weight = np.clip(profile - (0.5 * peak + 0.5 * ground)[:, None], 0, None) * (np.abs(s[None] - s[at][:, None]) < 0.075)
    middle = (weight * s).sum(1) / np.maximum(weight.sum(1), 1e-6)
    width = np.median((profile > 0.5 * (peak + ground)[:, None]).sum(1)) * 0.006
    free = np.ones(len(points), bool) if blank is None else blank(points)
    strong = (peak - flank > 1.5 * noise) & (peak > 2.0 * noise) & free
    if strong.sum() < 0.4 * max(free.sum(), 0.6 * len(points)):
        return None
    top = points[len(points) // 2]
    design = np.column_stack([points @ along[0], points @ top, -np.ones(len(points))])
    prior = np.array([0, 1 / 0.5**2, 1 / 0.03**2])  # turn within 30 degrees, plane within 0.6 mm of the middle
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
    share = DIMPLE_DEG / STEP_DEG  # neighbours within a dimple err together
    inverse = np.linalg.inv(matrix / (scale**2 * share) + np.diag(prior))
    # points . (normal + a along + b top) = c, with middle = -(design . (a, b, c)) along the normal
    fitted = normal + tip[0] * along[0] + tip[1] * top
    size = np.linalg.norm(fitted)
    basis = np.array([along[0], top])
    line = points[close] + middle[close][:, None] * normal
    return fitted / size, tip[2] / size, basis.T @ inverse[:2, :2] @ basis, line, float(np.median((peak - flank)[close])), width


# ---- the plumb cord ------------------------------------------------------------------------------------------------------


def _ridges(lab, step):
    """How much each pixel stands out from both its left and its right, and nothing where it is an edge; (H, W)."""
    best = np.zeros(lab.shape[:2], np.float32)
    for channel in range(3):
        plane = lab[..., channel]
        left, right = plane - np.roll(plane, step, 1), plane - np.roll(plane, -step, 1)
        both = np.where(left * right > 0, np.minimum(np.abs(left), np.abs(right)), 0)
        best = np.maximum(best, both * (1.0 if channel == 0 else 1.3))
    best[:, :step] = best[:, -step:] = 0
    return best


def find_cord(rgb, ball, focal_px):
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
    cords = []
    for step in (4, 8, 14):
        ridge = _ridges(lab, step)
        ridge[covered] = 0
        kept = ((ridge > 7) & (ridge >= cv2.dilate(ridge, np.ones((1, 2 * step + 1))) * 0.75)).astype(np.uint8) * 255
        kept = cv2.resize(kept, (width // 2, height // 2), interpolation=cv2.INTER_AREA)
        kept = (kept > 60).astype(np.uint8) * 255
        lines = cv2.HoughLinesP(kept, 0.5, np.pi / 720, 60, minLineLength=int(0.07 * height), maxLineGap=int(0.012 * height))
        lines = np.empty((0, 4)) if lines is None else lines.reshape(-1, 4) * 2.0 + 0.5
        for x0, y0, x1, y1 in lines[np.argsort(-np.abs(lines[:, 3] - lines[:, 1]))]:
            if np.degrees(np.arctan2(abs(x1 - x0), abs(y1 - y0))) > UPRIGHT_DEG:
                continue
            upper, lower = sorted([(x0, y0), (x1, y1)], key=lambda end: end[1])
            if any(_same(cord, upper, lower) for cord, *_ in cords):
                continue
            got = _trace(lab, covered, np.array(upper), np.array(lower), step)
            if got is not None and not any(_same(cord, *got[0]) for cord, *_ in cords):
                cords.append(got)
    weighted = [cord for cord in cords if cord[2]]
    if not weighted:
        what = "an upright line is seen, but no weight at its lower end" if cords else "no plumb cord is seen"
        raise NoPlumb(what)
    leans = [_lean(cord[0]) for cord in weighted]
    if max(leans) - min(leans) > 0.7:
        raise NoPlumb(f"{len(weighted)} upright lines are seen that are not parallel, and it is not clear which is the cord")
    ends, u_deg, _ = max(weighted, key=lambda cord: np.ptp(cord[0][:, 1]))
    return ends, u_deg


def _lean(ends):
    return float(np.degrees(np.arctan2(ends[1][0] - ends[0][0], ends[1][1] - ends[0][1])))


def _rise(ends):
    return float(np.degrees(np.arctan2(ends[1][1] - ends[0][1], ends[1][0] - ends[0][0])))


def _same(cord, upper, lower):
    (x, y), (a, b) = cord[0], (cord[1] - cord[0]) / np.linalg.norm(cord[1] - cord[0])
    return max(abs(a * (end[1] - y) - b * (end[0] - x)) for end in (upper, lower)) < 6


def _trace(lab, covered, upper, lower, step):
    """Follow a thin upright line as far as it goes; its ends, uncertainty, and whether a weight hangs on it; None if it is no cord."""
    height, width = lab.shape[:2]
    slope, base = (lower[0] - upper[0]) / (lower[1] - upper[1]), upper[0]
    y0 = upper[1]
    rows = np.arange(2, height - 2, 1.0)
    s = np.arange(-3.0 * step, 3.0 * step + 0.1, 0.5)
    present, top, bottom = None, upper[1], lower[1]
    for _ in range(5):
        x = base + slope * (rows - y0)
        patch = _sample(lab, np.stack([x[:, None] + s[None], np.repeat(rows[:, None], len(s), 1)], -1))  # (rows, s, 3)
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
        sides = np.abs((np.median(patch[:, s > 1.8 * step], axis=1) - np.median(patch[:, s < -1.8 * step], axis=1)) @ colour)
        near = np.abs(s) < 1.4 * step
        weight = np.clip(signal[:, near] - 0.45 * contrast, 0, None)
        middle = (weight * s[near]).sum(1) / np.maximum(weight.sum(1), 1e-6)
        level = signal[:, near].max(1)
        thick = (signal[:, near] > 0.5 * contrast).sum(1) * 0.5
        usual = np.median(thick[along])
        there = (level > 0.5 * contrast) & (thick < 2.0 * usual + 2) & (thick > 0.3 * usual) & (x > 3) & (x < width - 4)
        there &= ~covered[rows.astype(int), np.clip(np.round(x), 0, width - 1).astype(int)]
        there &= (sides < 0.8 * contrast) & (np.abs(middle) < max(1.5, 0.5 * step))
        closed = cv2.morphologyEx(there.astype(np.uint8)[None], cv2.MORPH_CLOSE, np.ones((1, int(0.012 * height) | 1)))[0]
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
    if length < 0.13 * height or share < 0.8 or scale > 1.2 or usual > 1.9 * step or np.degrees(np.arctan(abs(slope))) > UPRIGHT_DEG:
        return None
    bend = np.polyfit((rows[present] - y0) / length, off, 2)[0]
    u_deg = float(np.degrees(np.hypot(scale * np.sqrt(12 * 15 / present.sum()), abs(bend) / 2) / length))
    ends = np.array([[base + slope * (top - y0), top], [base + slope * (bottom - y0), bottom]])
    return ends, u_deg, _weight(lab, ends, slope, usual, covered)


def _weight(lab, ends, slope, thick, covered):
    """True where something wider than the cord, evenly on both sides of its line, hangs at its lower end."""
    height, width = lab.shape[:2]
    far = max(9 * thick, 22)
    s = np.arange(-far, far + 0.1, 0.5)
    rows = np.arange(ends[0][1], min(ends[1][1] + 14 * thick + 40, height - 2))
    upper = ends[0][1] + 0.6 * (ends[1][1] - ends[0][1])  # what is as wide up there is no weight
    x = ends[1][0] + slope * (rows - ends[1][1])
    free = (x > 2) & (x < width - 3)
    free[free] = ~covered[rows[free].astype(int), x[free].astype(int)]
    rows, x = rows[free], x[free]
    patch = _sample(lab, np.stack([x[:, None] + s[None], np.repeat(rows[:, None], len(s), 1)], -1)) if len(rows) else np.empty((0, len(s), 3))
    deep = max(5, round(thick))
    halves = np.arange(max(0.9 * thick, 2.5), far - 4, 0.5)
    seen_half = []
    for first in range(0, len(rows) - deep, deep):
        profile = cv2.blur(patch[first : first + deep].mean(0)[None], (5, 1))[0]
        noise = np.median(np.linalg.norm(profile[5:] - profile[:-5], axis=1))

        def at(place, profile=profile):
            return profile[np.round((place + far) * 2).astype(int)]

        left, right = at(-halves + 2) - at(-halves - 2), at(halves - 2) - at(halves + 2)
        left_size, right_size = np.linalg.norm(left, axis=1), np.linalg.norm(right, axis=1)
        alike = (left * right).sum(1) / (left_size * right_size + 1e-6)
        even = np.linalg.norm(at(-halves - 2) - at(halves + 2), axis=1) < 0.8 * np.minimum(left_size, right_size)
        size = np.minimum(left_size, right_size) * (alike > 0.7) * even
        seen_half.append(halves[size.argmax()] if size.max() > max(4.5, 2.5 * noise) else 0.0)
    seen_half = np.array(seen_half)
    above = rows[: len(seen_half) * deep : deep] < upper
    for half in set(seen_half[~above & (seen_half > 0)]):
        like = np.abs(seen_half - half) < 0.12 * half + 0.6
        runs = np.split(like[~above], np.flatnonzero(np.diff(like[~above])) + 1)
        if like[above].mean() < 0.12 and max(len(run) * deep for run in runs if run[0]) >= max(1.6 * half, 3 * deep):
            return True
    return False


# ---- a level bar ---------------------------------------------------------------------------------------------------------


def find_edge(rgb, ball, focal_px):
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
        for x0, y0, x1, y1 in (() if lines is None else lines.reshape(-1, 4)):
            if abs(x1 - x0) > 0.02 * width and abs(y1 - y0) < np.tan(np.radians(FLAT_DEG)) * abs(x1 - x0):
                segments.append(((x0, y0), (x1, y1)) if x0 < x1 else ((x1, y1), (x0, y0)))
    segments.sort(key=lambda pair: pair[0][0] - pair[1][0])
    edges = []
    field = lab.astype(np.float32)
    for left, right in segments[:60]:
        if any(_same(edge[0], left, right) for edge in edges):
            continue
        got = _trace_edge(field, np.array(left), np.array(right))
        if got is not None and not any(_same(edge[0], *got[0]) for edge in edges):
            edges.append(got)
    bars = []
    for upper in edges:
        for lower in edges:
            gap = lower[0][:, 1].mean() - upper[0][:, 1].mean() if lower is not upper else 0
            overlap = min(upper[0][1][0], lower[0][1][0]) - max(upper[0][0][0], lower[0][0][0])
            enough = max(0.3 * max(np.ptp(upper[0][:, 0]), np.ptp(lower[0][:, 0])), 0.2 * width)  # the ball hides part of it
            if 0.008 * height < gap < 0.2 * height and overlap > enough and abs(_rise(upper[0]) - _rise(lower[0])) < 2 and _even(field, upper, lower):
                bars.append(upper)
    if not bars:
        raise NoPlumb("no level bar is seen, with both its long edges clear of the background")
    slopes = [_rise(bar[0]) for bar in bars]
    if max(slopes) - min(slopes) > 0.7:
        raise NoPlumb(f"{len(bars)} long bars are seen that are not parallel, and it is not clear which is level")
    return max(bars, key=lambda bar: np.ptp(bar[0][:, 0]))[:2]


def _trace_edge(lab, left, right):
    """Follow a long edge to where it stops: ends, uncertainty, colour step (below less above); None where it is too short."""
    height, width = lab.shape[:2]
    slope, base, x0 = (right[1] - left[1]) / (right[0] - left[0]), left[1], left[0]
    columns = np.arange(2, width - 2, 2.0)
    s = np.arange(-8, 8.1, 0.5)
    first, last = left[0], right[0]
    for _ in range(4):
        y = base + slope * (columns - x0)
        inside = (y > 10) & (y < height - 11)
        patch = _sample(lab, np.stack([np.repeat(columns[:, None], len(s), 1), y[:, None] + s[None]], -1))
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
        there = inside & (jump @ usual / size > 0.55 * size) & (np.linalg.norm(jump - usual, axis=1) < 0.8 * size) & (np.abs(middle) < 2.5)
        closed = cv2.morphologyEx(there.astype(np.uint8)[None], cv2.MORPH_CLOSE, np.ones((1, int(0.02 * len(columns)) | 1)))[0]
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
    return np.array([[first, base + slope * (first - x0)], [last, base + slope * (last - x0)]]), u_deg, usual


def _even(lab, upper, lower):
    """True where one thing fills the strip between two edges and differs from what is on both sides."""
    if upper[2] @ lower[2] > 0:
        return False
    left, right = max(upper[0][0][0], lower[0][0][0]), min(upper[0][1][0], lower[0][1][0])
    x = left + np.linspace(0.05, 0.95, 60) * (right - left)
    a, b = (np.column_stack([x, np.interp(x, edge[0][:, 0], edge[0][:, 1])]) for edge in (upper, lower))
    strip = _sample(lab, np.stack([a + share * (b - a) for share in np.linspace(0.25, 0.75, 5)], 1))
    spread = np.median(np.linalg.norm(strip - np.median(strip.reshape(-1, 3), axis=0), axis=2))
    return bool(spread < 0.35 * min(np.linalg.norm(upper[2]), np.linalg.norm(lower[2])))
