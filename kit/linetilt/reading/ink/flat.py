"""The face laid flat, in millimetres, and what stands out of it along its rows.

Ink is whatever differs from the average along its own row: that average holds score lines, brushing and paint, and a
print of any colour stands out of it.
"""

from dataclasses import dataclass
from functools import cached_property

import cv2
import numpy as np

from ..evidence import Array, Flags, Floats
from ..plane.frame import FaceFrame
from ..plane.score_lines import half_size

GROOVE_MM = 0.5  # rows nearer than this to the middle of a score line are left out
WIDE_MM = 7.0  # nothing this wide along a row is a print


@dataclass(frozen=True)
class FlatFace:
    """The face resampled in its own plane: pixel (r, c) is at (u[c], v[r]) mm, v falling with r.

    Attributes
    ----------
    colour : ndarray of float32, shape (H, W, 3)
    u, v : ndarray, shapes (W,), (H,)
        mm.
    rate : float
        Samples a mm.
    clear : ndarray of bool, shape (H,)
        Rows beside the score lines.
    field : ndarray of bool, shape (H, W)
        Where a print is looked for: seen by the camera, between the ends of the score lines.
    """

    colour: Array
    u: Floats
    v: Floats
    rate: float
    clear: Flags
    field: Flags

    @cached_property
    def white(self) -> Flags:
        """Where the picture is burnt out, (H, W)."""
        burnt: Flags = cv2.inRange(self.colour, (250.5,) * 3, (256.0,) * 3) > 0
        return burnt

    @cached_property
    def plain(self) -> Array:
        """Colour minus the mean of 22 mm along its row, in which what stands out counts little, (H, W, 3).

        The mean is made of every few columns.
        """
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


def flatten(rgb: Array, frame: FaceFrame, margin_mm: float = 5.0, rate: float | None = None) -> FlatFace:
    """Resample the picture in the plane of the face.

    Parameters
    ----------
    rgb : ndarray of uint8, shape (H, W, 3)
    frame : linetilt.reading.plane.frame.FaceFrame
    margin_mm : float
        How far beyond the score lines.
    rate : float, optional
        Samples a mm; by default as many as the picture has, from 6 to 8.
    """
    rate = rate or float(np.clip(frame.pixels_per_mm, 6.0, 8.0))
    # nothing finer is used: smooth before sampling
    while frame.pixels_per_mm > 1.7 * rate and frame.pixels_per_mm > 14:
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


def residual(flat: FlatFace, before: FlatFace | None = None, narrow: bool = False) -> tuple[Array, Array]:
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


def _wide_part(res: Array, rate: float) -> Array:
    """What is wider than any print along a row, steps kept sharp: the edges of a reflection are not ink."""
    smooth = cv2.GaussianBlur(res, (0, 0), sigmaX=0.15 * rate, sigmaY=0.3 * rate)
    wide = np.ones((1, int(WIDE_MM * rate) | 1), np.uint8)
    opened = cv2.morphologyEx(smooth, cv2.MORPH_OPEN, wide)
    closed = cv2.morphologyEx(smooth, cv2.MORPH_CLOSE, wide)
    opened = cv2.morphologyEx(opened, cv2.MORPH_CLOSE, wide)
    closed = cv2.morphologyEx(closed, cv2.MORPH_OPEN, wide)
    return (opened + closed) / 2
