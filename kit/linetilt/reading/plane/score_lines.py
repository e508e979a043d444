"""Which score lines there are, and which are full-length: narrow ridges at the places that the plane gives."""

from collections.abc import Callable
from dataclasses import dataclass

import cv2
import numpy as np

from ..evidence import Array, Flags, Floats

RATE = 8.0  # samples a mm
HALVED = np.array(
    [[2, 0, 0.5], [0, 2, 0.5], [0, 0, 1.0]]
)  # from pixels of the picture at half its size to those of the whole
HALF_WIDTH_MM = 0.32  # of the core of a score line
FLANK_MM = (0.75, 1.35)  # where the face beside it is read
MARGIN_MM = 6.0
END_ZONE_MM = 3.0  # a full line shows in this much of both its ends
BEYOND_SHARE = 0.5  # of the full lines; where the ends are right a third at most go on, by rust or scratches
OTHER_COLOUR = 20.0  # of 255, beside one line and the next: there the face ends
SHOWN_LEAST = 0.7  # of the lines from the lowest to the highest; at half the true spacing every other one is missing
GAP_MM = 4.5  # chipped paint, a glint or a print may hide this much of a line
SHORT_RUN = 3  # more lines than this at the bottom are not short; what they miss is hidden: common practice, no source


def half_size(image: Array) -> Array:
    """The picture at half its size, an odd last row or column left out; `HALVED` leads back."""
    width, height = image.shape[1] // 2, image.shape[0] // 2
    return cv2.resize(image[: 2 * height, : 2 * width], (width, height), interpolation=cv2.INTER_AREA)


def shrunk(image: Array, most_px: int) -> Array:
    """The picture with at most that many pixels on its long side."""
    while max(image.shape[:2]) >= 2 * most_px:
        image = half_size(image)
    scale = min(1.0, most_px / max(image.shape[:2]))
    return cv2.resize(image, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)


@dataclass(frozen=True)
class ScoreLines:
    """Lines present, from the lowest up.

    Attributes
    ----------
    numbers : ndarray of int
    ends : ndarray, shape (N, 2)
        u of the heel and toe end, in mm.
    full : ndarray of bool
    doubtful : int
        How many lines at the bottom are full-length or not by a narrow call.
    beyond : ndarray, shape (2,)
        u of the heel and toe end where most full lines run on beyond the ends that the plane gives; NaN where they do
        not.
    """

    numbers: np.ndarray
    ends: np.ndarray
    full: np.ndarray
    doubtful: int
    beyond: np.ndarray


def read_score_lines(
    rgb: Array, to_face: Floats, pixels_per_mm: float, pitch: float, length: float, numbers: Array
) -> ScoreLines | None:
    """Read the lines `numbers` (int, ascending; line n at v = n pitch) off the picture.

    Returns
    -------
    ScoreLines or None
        None where fewer than four lines stand out, or so many between them do not that the spacing must be wrong.
    """
    u, strip = _rows(rgb, to_face, pixels_per_mm, numbers[0] * pitch - 1.8, numbers[-1] * pitch + 1.8, length)
    ridge = _ridges(strip, numbers * pitch)
    half = length / 2
    inside = np.abs(u) < half - 1
    strong = float(np.median(np.sort(np.median(ridge[:, inside], axis=1))[::-1][:6]))
    between = np.percentile(_ridges(strip, (numbers[:-1] + 0.5) * pitch)[:, inside], 80, axis=1)
    bare = np.maximum(np.append(between, 0), np.insert(between, 0, 0))  # what stands out where there is no line
    seen = ridge > np.maximum(np.clip(2.5 * bare, 0.15 * strong, 0.3 * strong), 1.2)[:, None]
    middle = seen[:, np.abs(u) < half - END_ZONE_MM - 1].mean(axis=1)
    inwards = half - np.abs(u)
    ends, outside = (_ends_shown(seen, u, (d > 0.7) & (d < 0.7 + END_ZONE_MM)) for d in (inwards, -inwards))
    shown = (middle > 0.45) & _on_face(strip, numbers * pitch, inside)
    present = _run(shown)
    if present.sum() < 4 or shown[present].mean() < SHOWN_LEAST:
        return None
    numbers, ends, outside, seen = numbers[present], ends[present], outside[present], seen[present]
    whole, doubtful = _full(ends > 0.4)
    extent = np.array([_extent(u, line, half + 1) for line in seen])
    extent = np.where((ends > 0.4) | whole[:, None], np.array([-half, half]), extent)
    beyond = np.full(2, np.nan)
    if whole.any():
        reached = np.array([_extent(u, line, np.inf) for line in seen[whole]])
        beyond = np.where((outside[whole] > 0.5).mean(axis=0) > BEYOND_SHARE, np.median(reached, axis=0), np.nan)
    return ScoreLines(numbers, extent, whole, doubtful, beyond)


def _ends_shown(seen: Flags, u: Floats, zone: Flags) -> Floats:
    """Share of a zone that every line shows on its heel and on its toe side, (N, 2)."""
    return np.column_stack([seen[:, zone & side].mean(axis=1) for side in (u < 0, u > 0)])


Strip = Callable[[Floats, Floats], Array]


def _rows(
    rgb: Array, to_face: Floats, pixels_per_mm: float, low: float, high: float, length: float
) -> tuple[Floats, Strip]:
    """u of the face laid flat from `low` to `high`; a function: mean colour (3, N, columns) from bottom to top."""
    while pixels_per_mm > 1.7 * RATE:  # nothing finer is used: smooth before sampling
        rgb, to_face, pixels_per_mm = half_size(rgb), to_face @ HALVED, pixels_per_mm / 2
    columns, rows = int((length + 2 * MARGIN_MM) * RATE), int((high - low) * RATE)
    left = -length / 2 - MARGIN_MM
    grid = np.array([[1 / RATE, 0, left], [0, -1 / RATE, high], [0, 0, 1.0]])
    flat = cv2.warpPerspective(
        rgb,
        np.linalg.inv(to_face) @ grid,
        (columns, rows),
        flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
        borderMode=cv2.BORDER_REPLICATE,
    )
    flat = cv2.GaussianBlur(flat, (0, 0), 0.1 * RATE)
    total = np.zeros((3, rows + 1, columns), np.float32)
    np.cumsum(np.moveaxis(flat, 2, 0), axis=1, dtype=np.float32, out=total[:, 1:])

    def strip(bottom: Floats, top: Floats) -> Array:
        first, last = np.rint((high - top) * RATE).astype(int), np.rint((high - bottom) * RATE).astype(int) + 1
        return (total[:, last] - total[:, first]) / (last - first)[:, None]

    return left + np.arange(columns) / RATE, strip


def _ridges(strip: Strip, places: Floats) -> Array:
    """How far lines at every v of `places` differ from both sides, less half the sides' difference: (N, columns)."""
    near, far = FLANK_MM
    best = None
    for v in (places - 0.2, places, places + 0.2):
        above, below = strip(v + near, v + far), strip(v - far, v - near)
        core = np.abs(strip(v - HALF_WIDTH_MM, v + HALF_WIDTH_MM) - (above + below) / 2).max(axis=0)
        found = np.maximum(core - np.abs(above - below).max(axis=0) / 2, 0)
        best = found if best is None else np.where((found.mean(axis=1) > best.mean(axis=1))[:, None], found, best)
    return cv2.blur(best, (int(RATE), 1))


def _on_face(strip: Strip, places: Floats, inside: Flags) -> Flags:
    """Which lines lie on the face: from the middle outwards, till a line has another colour beside it than the last."""
    near, far = FLANK_MM
    beside = ((strip(places + near, places + far) + strip(places - far, places - near)) / 2)[..., inside]
    change = np.median(np.abs(np.diff(beside, axis=1)).max(axis=0), axis=1)
    middle = len(places) // 2
    alike = change < OTHER_COLOUR + 3 * np.median(change[max(middle - 3, 0) : middle + 3])
    return np.concatenate([np.cumprod(alike[:middle][::-1])[::-1], [1], np.cumprod(alike[middle:])]) > 0


def _run(present: Flags) -> Flags:
    """The longest run of lines, one that is missing bridged."""
    at = np.nonzero(present)[0]
    keep = np.zeros(len(present), bool)
    if len(at):
        group = max(np.split(at, np.nonzero(np.diff(at) > 2)[0] + 1), key=len)
        keep[group[0] : group[-1] + 1] = True
    return keep


def _full(shown: Flags) -> tuple[Flags, int]:
    """Which lines are full-length, from which of their ends (N, 2) show.

    From the middle outwards. A line misses an end because it is short, as all beyond it are, or because something hides
    it there: then a line further out shows that end again, or many in a row miss it.
    """
    count = len(shown)
    full = np.zeros(count, bool)
    doubtful = 0
    for way in (1, -1):
        at = count // 2 if way == 1 else count // 2 - 1
        outwards = shown[at:] if way == 1 else shown[at::-1]
        short = np.zeros(len(outwards), bool)
        one_sided = np.zeros(len(outwards), bool)
        for side in (0, 1):
            last = np.nonzero(outwards[:, side])[0]
            last = last[-1] if len(last) else -1
            run = len(outwards) - 1 - last
            if way == -1 and run > SHORT_RUN:  # hidden, but for the last ones that miss both ends
                both = np.nonzero(outwards.any(axis=1))[0]
                run = min(len(outwards) - 1 - (both[-1] if len(both) else -1), SHORT_RUN - 1)
                doubtful = max(doubtful, 1)
            if run:
                short[-run:] = True
                one_sided[-run:] |= outwards[-run:, 1 - side]
        if way == -1:
            doubtful = max(doubtful, int((short & one_sided).sum()))
            full[: at + 1] = ~short[::-1]
        else:
            full[at:] = ~short
    return full, doubtful


def _extent(u: Floats, seen: Flags, most: float) -> tuple[float, float]:
    """Heel and toe end of what is seen about the middle of a line, `most` from it, gaps bridged."""
    at = np.nonzero(seen & (np.abs(u) < most))[0]
    if not len(at):
        return u[0] + MARGIN_MM, u[-1] - MARGIN_MM
    groups = np.split(at, np.nonzero(np.diff(u[at]) > GAP_MM)[0] + 1)
    group = max(groups, key=len)
    return float(u[group[0]]), float(u[group[-1]])
