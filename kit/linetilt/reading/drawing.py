"""What was found, drawn on the photo: from marks in pixels of the upright full-size photo, without measuring again."""

from collections.abc import Mapping
from typing import Any

import cv2
import numpy as np

from .evidence import Array, Floats
from .photo import Picture
from .plane.pose import project

PRINT_INK = (230, 159, 0)
OTHER_INK = (86, 180, 233)
FIELD_INK = (255, 255, 255)
Colour = tuple[int, int, int]


class Canvas:
    """A copy of a picture to draw on, in pixels of the full-size photo.

    Parameters
    ----------
    picture : linetilt.reading.photo.Picture, or ndarray of uint8, shape (H, W, 3)
        RGB.
    max_side : int
        Most on the long side of what is drawn.
    scale : float
        Pixels of `picture` to one of the full-size photo; a `Picture` knows it.
    """

    def __init__(self, picture: Picture | Array, max_side: int, scale: float = 1.0) -> None:
        if isinstance(picture, Picture):
            rgb, scale = picture.rgb, 1 / picture.reduction
        else:
            rgb = picture
        shrink = min(1.0, max_side / max(rgb.shape[:2]))
        self.rgb: Array = (
            cv2.resize(rgb, None, fx=shrink, fy=shrink, interpolation=cv2.INTER_AREA) if shrink < 1 else rgb.copy()
        )
        self._scale = scale
        self._shrink = shrink
        self.thick = max(int(round(max(self.rgb.shape[:2]) / 700)), 1)
        self._size = max(self.rgb.shape[:2]) / 1300

    def place(self, points: Any) -> Floats:
        """Pixels of the full-size photo (…, 2) -> pixels of what is drawn."""
        placed: Floats = (np.asarray(points) + 0.5) * self._scale * self._shrink - 0.5
        return placed

    def stroke(self, points: Any, colour: Colour, closed: bool = False) -> None:
        """Draw a path with a dark rim, so that it shows on any ground."""
        path = np.round(self.place(points) * 16).astype(np.int32).reshape(-1, 1, 2)
        for width, ink in ((self.thick + 2, (0, 0, 0)), (self.thick, colour)):
            cv2.polylines(self.rgb, [path], closed, ink, width, cv2.LINE_AA, 4)

    def label(self, at: Any, text: str, colour: Colour) -> None:
        """Write a short text with its middle at a point of the photo."""
        (width, height), _ = cv2.getTextSize(text, cv2.FONT_HERSHEY_SIMPLEX, self._size, 1)
        x, y = np.round(self.place(at) - np.array([width / 2, -height / 2])).astype(int).tolist()
        for bold, ink in ((3 + 2 * self.thick, (0, 0, 0)), (self.thick, colour)):
            cv2.putText(self.rgb, text, (x, y), cv2.FONT_HERSHEY_SIMPLEX, self._size, ink, bold, cv2.LINE_AA)

    def caption(self, text: str) -> None:
        """Write a line in the upper left corner."""
        bold = max(int(round(1.6 * self._size)), 1)
        (width, height), base = cv2.getTextSize(text, cv2.FONT_HERSHEY_SIMPLEX, self._size, bold)
        cv2.rectangle(self.rgb, (0, 0), (width + 2 * height, 2 * height + base), (0, 0, 0), -1)
        at = (height, height + height // 2)
        cv2.putText(self.rgb, text, at, cv2.FONT_HERSHEY_SIMPLEX, self._size, (255, 255, 255), bold, cv2.LINE_AA)


def draw_marks(
    picture: Picture | Array,
    corners: Any,
    line: Any,
    max_side: int = 1280,
    *,
    scale: float = 1.0,
    width_share: float | None = None,
    caption: str = "",
) -> Array:
    """Draw a mark on its photo: the score-line field, what an upright line would print, and the print.

    Parameters
    ----------
    picture : linetilt.reading.photo.Picture, or ndarray of uint8, shape (H, W, 3)
        As `open_photo` gives it, or the upright photo as an RGB array.
    corners : array, shape (4, 2)
        Low heel, low toe, high toe, high heel, in pixels (x, y) of the upright full-size photo, as `FaceMark.corners`.
    line : array, shape (2, 2)
        Lower and upper end of the print, as `FaceMark.line`.
    max_side : int
        Most on the long side of what is returned, in pixels.
    scale : float
        Pixels of an array to one of the full-size photo.
    width_share : float, optional
        Width of the print to its length; with it the print's two edges are drawn and the ink between them stays bare.
    caption : str
        For the upper left corner.

    Returns
    -------
    ndarray of uint8, shape (h, w, 3), RGB

    Examples
    --------
    >>> rgb = draw_marks(np.zeros((300, 400, 3), np.uint8), [[300, 200], [100, 200], [100, 80], [300, 80]],
    ...                  [[190, 180], [200, 100]])
    >>> rgb.shape
    (300, 400, 3)
    """
    canvas = Canvas(picture, max_side, scale)
    corners, line = np.asarray(corners, float), np.asarray(line, float)
    canvas.stroke(corners, FIELD_INK, closed=True)
    _draw_upright(canvas, corners, line)
    _draw_print(canvas, line, width_share)
    if caption:
        canvas.caption(caption)
    return canvas.rgb


def draw_kept(
    picture: Picture | Array, marks: Mapping[str, Any] | None, shot: Mapping[str, Any] | None, max_side: int = 1280
) -> Array:
    """Draw a mark as a book keeps it, without measuring it again.

    Parameters
    ----------
    picture : linetilt.reading.photo.Picture
        As `open_photo` gives it.
    marks : dict or None
        `corners` and `line`, as `SessionBook.marks` gives them; None: nothing is drawn.
    shot : mapping or None
        `tilt_deg` and the other numbers of a mark, such as a row of `SessionBook.shots`; None where there are no marks.
    max_side : int
        Most on the long side of what is returned, in pixels.

    Returns
    -------
    ndarray of uint8, shape (h, w, 3), RGB
    """
    if marks is None or shot is None:
        return Canvas(picture, max_side).rgb
    share = None
    if "by_hand" not in shot["remarks"].split():
        low_heel, low_toe, high_toe, high_heel = np.asarray(marks["corners"], float)
        field_px = (np.linalg.norm(low_toe - low_heel) + np.linalg.norm(high_toe - high_heel)) / 2
        print_px = np.linalg.norm(np.subtract(*marks["line"]))
        share = shot["line_width_mm"] / (shot["score_line_length_mm"] or np.nan) * field_px / print_px
    return draw_marks(picture, marks["corners"], marks["line"], max_side, width_share=share, caption=caption(shot))


def caption(mark: Mapping[str, Any]) -> str:
    """Return tilt and strike of a mark as its picture says them: "+1.2 +/- 0.4 deg, 3 mm to the toe, 18 mm up"."""
    said, toe = f"{mark['tilt_deg']:+.1f} +/- {2 * mark['u_tilt_deg']:.1f} deg", mark["strike_toe_mm"]
    if toe is not None and np.isfinite(toe):
        said += f", {abs(toe):.0f} mm to the {'toe' if toe >= 0 else 'heel'}, {mark['strike_up_mm']:.0f} mm up"
    return said


def _draw_upright(canvas: Canvas, corners: Floats, line: Floats) -> None:
    """Dashes square to the score lines, through the middle of the print: what an upright line would print."""
    square = np.array([[0, 0], [1, 0], [1, 1], [0, 1]], np.float32)
    field = cv2.getPerspectiveTransform(square, corners.astype(np.float32))
    ends = project(np.linalg.inv(field.astype(float)), line)
    across = ends.mean(axis=0)[0]
    low, high = ends[0, 1], ends[1, 1]
    for piece in (-0.3, -0.2, -0.1, 1.05, 1.15, 1.25):
        dash = np.array([[across, low + (high - low) * y] for y in (piece, piece + 0.05)])
        canvas.stroke(project(field, dash), FIELD_INK)


def _draw_print(canvas: Canvas, line: Floats, width_share: float | None) -> None:
    """The print's two edges, and its axis beyond them: the ink itself stays to be seen. Without a width, its axis."""
    if width_share is None or not np.isfinite(width_share):
        canvas.stroke(line, PRINT_INK)
        return
    low, high = line
    rim = 1 + 2 * canvas.thick / np.ptp(canvas.place(line), axis=0).max() / width_share
    aside = width_share / 2 * np.array([low[1] - high[1], high[0] - low[0]]) * rim
    beyond = ([low, low + 0.25 * (low - high)], [high, high + 0.25 * (high - low)])
    for path in (line + aside, line - aside, *beyond):
        canvas.stroke(path, PRINT_INK)
