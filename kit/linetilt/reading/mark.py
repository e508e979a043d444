"""A plane and a band -> FaceMark: lean and place of the printed line, each with its standard uncertainty."""

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import cv2
import numpy as np

from .. import __version__
from .drawing import caption, draw_marks
from .evidence import Array, Floats
from .ink.band import Band
from .photo import Picture
from .plane.frame import FaceFrame
from .plane.pose import project
from .remarks import FLAGS, U_COUNT, remarks_on

if TYPE_CHECKING:
    import pandas as pd

U_PLANE_DEG = 0.06  # what the fit of the plane does not see: lens distortion, a crowned face, lines cut a little askew
U_LENGTH_SHARE = 0.01  # of the length of a score line as it was measured
KEPT_SIDE_PX = 1400  # most on the long side of the picture that a mark keeps for its overlay

NUMBERS = (
    "tilt_deg",
    "u_tilt_deg",
    "strike_toe_mm",
    "u_strike_toe_mm",
    "strike_up_mm",
    "u_strike_up_mm",
    "strike_toe_lengths",
    "u_strike_toe_lengths",
    "strike_up_lengths",
    "u_strike_up_lengths",
    "line_width_mm",
    "u_line_width_mm",
    "score_line_length_mm",
)
ROW = (*NUMBERS, "kit", "remarks")  # the columns of `FaceMark.to_row`


@dataclass(frozen=True)
class FaceMark:
    """What one photo says about one print.

    Signs: the line's top to the toe, strike to the toe and up the face are positive.

    Attributes
    ----------
    tilt_deg, u_tilt_deg : float
        Lean of the printed line in the plane of the face from the perpendicular to the score lines, and its standard
        uncertainty.
    strike_toe_mm, u_strike_toe_mm, strike_up_mm, u_strike_up_mm : float
        Middle of the print from the middle of the score lines, and above the lowest full-length one. NaN where the club
        does not say how long its score lines are.
    strike_toe_lengths, strike_up_lengths : float
        The same in lengths of a score line; always there.
    u_strike_toe_lengths, u_strike_up_lengths : float
        Their standard uncertainties, in lengths of a score line; always there.
    line_width_mm, u_line_width_mm, line_length_mm : float
        NaN for a line placed by hand, or without a known length.
    flags : tuple of str
        Keys of `linetilt.reading.mark.FLAGS`; `linetilt.reading.remarks` says of each what it does to the uncertainty.
    corners, line : ndarray, shapes (4, 2), (2, 2)
        Ends of the lowest and highest full score line (low heel, low toe, high toe, high heel) and lower and upper end
        of the print, in pixels (x, y) of the upright full-size photo; what `measure_photo` takes by hand.
    camera_deg : tuple of float
        Pitch, yaw and roll of the camera against the face.
    score_line_length_mm : float or None
        The length of a score line that it was measured with; None where it is not known.
    kit : str
        The version of the kit that measured it.
    """

    tilt_deg: float
    u_tilt_deg: float
    strike_toe_mm: float
    u_strike_toe_mm: float
    strike_up_mm: float
    u_strike_up_mm: float
    strike_toe_lengths: float
    u_strike_toe_lengths: float
    strike_up_lengths: float
    u_strike_up_lengths: float
    line_width_mm: float
    u_line_width_mm: float
    line_length_mm: float
    flags: tuple[str, ...]
    score_line_length_mm: float | None
    kit: str
    corners: Floats = field(repr=False, compare=False)
    line: Floats = field(repr=False, compare=False)
    camera_deg: tuple[float, float, float] = field(repr=False)
    _budget: tuple[tuple[str, str, float, str, float], ...] = field(repr=False, compare=False)
    _score_lines: tuple[tuple[float, float, float, bool], ...] = field(repr=False, compare=False)
    _picture: Array = field(repr=False, compare=False)
    _scale: float = field(repr=False, compare=False)  # pixels of the kept picture to one of the full-size photo

    @property
    def budget(self) -> "pd.DataFrame":
        """u of every part (GUM, JCGM 100:2008, 5.1): quantity, component, u, unit, share of the variance."""
        import pandas as pd

        return pd.DataFrame(self._budget, columns=["quantity", "component", "u", "unit", "share"])

    @property
    def score_lines(self) -> "pd.DataFrame":
        """Every line found, from the lowest up: up_mm, heel_mm, toe_mm, full; NaN without a known length."""
        import pandas as pd

        return pd.DataFrame(self._score_lines, columns=["up_mm", "heel_mm", "toe_mm", "full"])

    def overlay(self, max_side: int = 1280) -> Array:
        """Draw what was found on the photo: score-line field, square to it, the print's two edges and axis.

        Returns
        -------
        ndarray of uint8, shape (H, W, 3), RGB
        """
        return draw_marks(
            self._picture,
            self.corners,
            self.line,
            max_side,
            scale=self._scale,
            width_share=None if "by_hand" in self.flags else self.line_width_mm / self.line_length_mm,
            caption=caption(vars(self)),
        )

    def to_row(self) -> dict[str, Any]:
        """Return a dict with a column of `measure_photos` each; `remarks` holds the codes with single spaces."""
        row = {name: getattr(self, name) for name in NUMBERS}
        if self.score_line_length_mm is None:
            row["score_line_length_mm"] = np.nan
        return row | {"kit": self.kit, "remarks": " ".join(self.flags)}

    def _repr_html_(self) -> str:
        rows = [
            ("tilt", self.tilt_deg, self.u_tilt_deg, "°, top to the toe positive"),
            ("strike to the toe", self.strike_toe_mm, self.u_strike_toe_mm, "mm"),
            ("strike up the face", self.strike_up_mm, self.u_strike_up_mm, "mm"),
            ("line width", self.line_width_mm, self.u_line_width_mm, "mm"),
        ]
        cells = "".join(
            f"<tr><td>{name}</td><td>{value:+.2f}</td><td>± {2 * u:.2f}</td><td>{unit}</td></tr>"
            for name, value, u, unit in rows
        )
        notes = "".join(f"<li>{FLAGS[flag]}</li>" for flag in self.flags)
        return f"<table>{cells}</table><p>± is twice the standard uncertainty.</p><ul>{notes}</ul>"


def mark_of(picture: Picture, frame: FaceFrame, band: Band, line_by_hand: bool) -> FaceMark:
    """The mark that a plane and a band in it make.

    Parameters
    ----------
    picture : linetilt.reading.photo.Picture
    frame : linetilt.reading.plane.frame.FaceFrame
    band : linetilt.reading.ink.band.Band
    line_by_hand : bool
        Whether the band was placed by hand.
    """
    tilt = float(np.degrees(np.arctan(band.slope)))
    scaled = frame.scaled
    # the plane's part: the same ink seen through the plane moved by one standard deviation each way
    half = max((band.high_mm - band.low_mm) / 2, 4.0)
    ends = np.array(
        [[band.toe_mm - band.slope * half, band.up_mm - half], [band.toe_mm + band.slope * half, band.up_mm + half]]
    )
    pixels = frame.pixels(ends)
    moved = [project(plane, pixels) for plane in frame.variants]
    tilt_plane = [np.degrees(np.arctan2(*(end[1] - end[0]))) - tilt for end in moved]
    toe_plane, up_plane = ([end[:, k].mean() - ends[:, k].mean() for end in moved] for k in (0, 1))
    parts = [
        ("tilt", "edges of the ink", np.degrees(band.u_slope) * np.cos(np.radians(tilt)) ** 2, "deg"),
        ("tilt", "plane of the face", float(np.linalg.norm(tilt_plane)), "deg"),
        ("tilt", "lens, crown and cut of the score lines", U_PLANE_DEG, "deg"),
        ("strike_toe", "edges of the ink", band.u_toe_mm, "mm"),
        ("strike_toe", "plane of the face", float(np.linalg.norm(toe_plane)), "mm"),
        ("strike_toe", "length of the score lines", U_LENGTH_SHARE * abs(band.toe_mm), "mm"),
        ("strike_up", "ends of the ink", band.u_up_mm, "mm"),
        ("strike_up", "plane of the face", float(np.linalg.norm(up_plane)), "mm"),
        ("strike_up", "which score line is the lowest full one", U_COUNT * frame.pitch_mm * frame.doubtful, "mm"),
        ("strike_up", "length of the score lines", U_LENGTH_SHARE * abs(band.up_mm), "mm"),
    ]
    u = {
        name: float(np.linalg.norm([part[2] for part in parts if part[0] == name]))
        for name in ("tilt", "strike_toe", "strike_up")
    }
    budget = tuple(
        (name, component, value, unit, (value / u[name]) ** 2)
        if scaled or unit == "deg"
        else (name, component, value / frame.length_mm, "score-line lengths", (value / u[name]) ** 2)
        for name, component, value, unit in parts
    )
    mm = 1.0 if scaled else np.nan
    ink_ends = frame.pixels(
        np.array([[band.toe_mm + band.slope * (v - band.up_mm), v] for v in (band.low_mm, band.high_mm)])
    )
    kept, scale = kept_picture(picture)
    return FaceMark(
        tilt_deg=tilt,
        u_tilt_deg=u["tilt"],
        strike_toe_mm=float(band.toe_mm) * mm,
        u_strike_toe_mm=u["strike_toe"] * mm,
        strike_up_mm=float(band.up_mm) * mm,
        u_strike_up_mm=u["strike_up"] * mm,
        strike_toe_lengths=float(band.toe_mm / frame.length_mm),
        u_strike_toe_lengths=u["strike_toe"] / frame.length_mm,
        strike_up_lengths=float(band.up_mm / frame.length_mm),
        u_strike_up_lengths=u["strike_up"] / frame.length_mm,
        line_width_mm=float(band.width_mm * np.cos(np.radians(tilt))) * mm,
        u_line_width_mm=float(band.u_width_mm) * mm,
        line_length_mm=float(band.length_mm) * mm,
        flags=remarks_on(picture, frame, band, line_by_hand),
        score_line_length_mm=frame.length_mm if scaled else None,
        kit=__version__,
        corners=in_full(picture, frame.corners),
        line=in_full(picture, ink_ends),
        camera_deg=(frame.pitch_deg, frame.yaw_deg, frame.roll_deg),
        _budget=budget,
        _score_lines=tuple(
            (up * mm, heel * mm, toe * mm, full) for (up, heel, toe), full in zip(frame.lines, frame.full)
        ),
        _picture=kept,
        _scale=scale,
    )


def in_full(picture: Picture, points: Any) -> Floats:
    """Pixels of a working picture in pixels of the upright full-size photo."""
    full: Floats = (np.asarray(points) + 0.5) * picture.reduction - 0.5
    return full


def kept_picture(picture: Picture) -> tuple[Array, float]:
    """A small copy of a picture to draw on, and its pixels to one of the full-size photo."""
    fold = -(-max(picture.rgb.shape[:2]) // KEPT_SIDE_PX)  # a whole number is quick
    size = picture.rgb.shape[1] // fold, picture.rgb.shape[0] // fold
    kept = cv2.resize(picture.rgb[: size[1] * fold, : size[0] * fold], size, interpolation=cv2.INTER_AREA)
    return kept, 1 / fold / picture.reduction
