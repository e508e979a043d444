"""On which side the toe is: what the outline of a clubface says against the hand that was given.

Score lines and print look alike in a mirror. The outline does not: the blade's upper edge climbs to the toe, the toe
ends in an upright edge, and hosel and shaft leave upwards on the heel's side. Each is looked for as a straight run of
edges where a head has it, and where its mirror image would have it; what counts is the difference, so that a busy
background favours neither.
"""

import cv2
import numpy as np

from ..evidence import Array, Flags, Floats
from .frame import FaceFrame
from .score_lines import half_size
from .stripes import around

RATE = 2.0  # samples a mm
SIDE_MM, ABOVE_MM = 45.0, 50.0  # what is looked at beside and above the field of score lines, and as far below it
EVEN_MM = 5.0  # standard deviation of the neighbourhood over which edges are evened out
LEAST_SEEN = 0.45  # share of a run that lies in the picture
# Where heads have their edges, in mm and degrees; wide enough for any iron (common practice, no source)
UPPER_EDGE_DEG = (7.0, 24.0)  # its climb to the toe
UPPER_EDGE_MM = (3.0, 26.0)  # its height above the highest full line in the middle of the field
TOE_EDGE_MM, TOE_LEAN = (6.0, 24.0), (-0.15, 0.25)  # beyond the ends of the score lines; how far it leans outwards
SHAFT_DEG = (35.0, 72.0)  # against the score lines
SHAFT_MM, SHAFT_FROM_UP_MM = (0.0, 32.0), 22.0  # beyond the ends of the score lines, at that height
AGAINST, FOR = -0.5, 0.5  # of the sum; drawn faces reached 0.36 at least, path-traced ones 1.4
# Lead over the same head turned by half a turn: to be sure of the way up, and to refuse. Of drawn faces 1 in 30 is
# better seen that way, by 0.7.
LEAD, OVER = 0.5, 0.9


def toe_side(frame: FaceFrame, rgb: Array) -> tuple[float, float]:
    """How much the outline speaks for the toe where `frame` has it, and how much if the picture stood on its head.

    Parameters
    ----------
    frame : linetilt.reading.plane.frame.FaceFrame
    rgb : ndarray of uint8, shape (H, W, 3)

    Returns
    -------
    here, turned : float
        Above `FOR` confirmed, below `AGAINST` refuted, about 0 where the outline is not seen. A mirror image has the
        opposite signs.
    """
    look, u, v, seen = _edges(frame, rgb)
    half, top = frame.length_mm / 2, _top(frame)
    return _for_toe(look, u, v, seen, half, top), _for_toe(
        look[::-1, ::-1], -u[::-1], top - v[::-1], seen[::-1, ::-1], half, top
    )


def _top(frame: FaceFrame) -> float:
    return max(line[0] for line, full in zip(frame.lines, frame.full) if full)


def _for_toe(look: Array, u: Floats, v: Floats, seen: Flags, half: float, top: float) -> float:
    across, upright, along = np.arange(-half + 2, half + 2, 1.5), np.arange(4, top + 4), np.arange(0, 34, 1.5)
    total = 0.0
    for side in (1, -1):
        climb, above = (
            part.ravel()[:, None]
            for part in np.meshgrid(
                np.tan(np.radians(np.arange(*UPPER_EDGE_DEG, 1.5))), top + np.arange(*UPPER_EDGE_MM, 0.8)
            )
        )
        clear = (above - climb * half)[:, 0] > top + 1
        upper = _best(look, seen, u, v, side * across, above + climb * across, -side * climb, 1.0, LEAST_SEEN, clear)
        lean, out = (
            part.ravel()[:, None]
            for part in np.meshgrid(np.linspace(*TOE_LEAN, 5), half + np.arange(*TOE_EDGE_MM, 0.8))
        )
        toe = _best(look, seen, u, v, side * (out + lean * (upright - 20)), upright, 1.0, -side * lean, LEAST_SEEN)
        angle, out = (
            part.ravel()[:, None]
            for part in np.meshgrid(np.radians(np.arange(*SHAFT_DEG, 2.5)), half + np.arange(*SHAFT_MM, 1.0))
        )
        shaft = _best(
            look,
            seen,
            u,
            v,
            -side * (out + np.cos(angle) * along),
            SHAFT_FROM_UP_MM + np.sin(angle) * along,
            side * np.sin(angle),
            np.cos(angle),
            0.35,
        )
        total += side * (upper + toe + 0.5 * shaft)
    return total


def _edges(frame: FaceFrame, rgb: Array) -> tuple[Array, Floats, Floats, Flags]:
    """Gradient (H, W, 2) over the face's plane, u and v of its grid, and what is seen.

    Of the colour where it is strongest, evened out so that faint edges count as strong ones do.
    """
    half, top = frame.length_mm / 2, _top(frame)
    u = np.arange(-half - SIDE_MM, half + SIDE_MM, 1 / RATE)
    v = np.arange(top + ABOVE_MM, -ABOVE_MM, -1 / RATE)
    grid = np.array([[1 / RATE, 0, u[0]], [0, -1 / RATE, v[0]], [0, 0, 1.0]])
    while frame.pixels_per_mm > 2 * RATE and min(rgb.shape[:2]) > 64:
        rgb, frame = half_size(rgb), frame.halved()
    to_pixels, size = np.linalg.inv(frame.to_face) @ grid, (len(u), len(v))
    flat = cv2.warpPerspective(rgb, to_pixels, size, flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP).astype(np.float32)
    seen = cv2.warpPerspective(
        np.ones(rgb.shape[:2], np.uint8), to_pixels, size, flags=cv2.INTER_NEAREST | cv2.WARP_INVERSE_MAP
    )
    seen = cv2.erode(seen, np.ones((9, 9), np.uint8), borderValue=0) > 0
    for up, heel, toe in frame.lines:  # the score lines themselves say nothing
        seen[np.ix_(np.abs(v - up) < 1.2, (u > heel - 1) & (u < toe + 1))] = False
    flat = cv2.GaussianBlur(flat, (0, 0), 0.5 * RATE)
    across, up = cv2.Sobel(flat, cv2.CV_32F, 1, 0) / 8, -cv2.Sobel(flat, cv2.CV_32F, 0, 1) / 8
    power = across**2 + up**2
    strongest = power.argmax(axis=-1)[..., None]
    slope = np.stack([np.take_along_axis(part, strongest, axis=-1)[..., 0] * seen for part in (across, up)], axis=-1)
    strength, weight = (
        around(part, EVEN_MM * RATE)
        for part in (np.take_along_axis(power, strongest, axis=-1)[..., 0] * seen, seen.astype(np.float32))
    )
    power = strength / (weight + 1e-3)
    return slope / (np.sqrt(power) + 1)[..., None], u, v, seen


def _best(
    look: Array,
    seen: Flags,
    u: Floats,
    v: Floats,
    at_u: Floats,
    at_v: Floats,
    normal_u: Floats | float,
    normal_v: Floats | float,
    least: float,
    allowed: Flags | bool = True,
) -> float:
    """The strongest of N straight runs: `at_u`, `at_v` broadcast to (N, K) in mm, the normals to (N, 1)."""
    at_u, at_v = np.broadcast_arrays(at_u, at_v)
    column, row = np.round((at_u - u[0]) * RATE).astype(int), np.round((v[0] - at_v) * RATE).astype(int)
    inside = (column >= 0) & (column < len(u)) & (row >= 0) & (row < len(v))
    column, row = np.clip(column, 0, len(u) - 1), np.clip(row, 0, len(v) - 1)
    use = inside & seen[row, column]
    size = np.hypot(normal_u, normal_v)
    slope = look[row, column]
    across = np.abs(slope[..., 0] * (normal_u / size) + slope[..., 1] * (normal_v / size))
    count = use.sum(axis=1)
    share = count / use.shape[1]
    strength = (np.minimum(across, 2.5) * use).sum(axis=1) / np.maximum(count, 1) * np.sqrt(share)
    return float(np.where((share > least) & allowed, strength, 0).max())
