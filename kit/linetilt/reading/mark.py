"""Ink on the face -> FaceMark: lean and place of the printed line, each with its standard uncertainty."""

from dataclasses import dataclass, field

import cv2
import numpy as np
import pandas as pd

from ..base.club import Club
from ..base.errors import Blurred, InputError, NoLine, PhotoError
from .blur import refuse_blurred, refuse_squeezed
from .by_hand import band_from_ends, frame_from_corners
from .ink.prints import check_print
from .ink.search import find_band, flatten
from .photo import open_photo
from .plane.face import find_face
from .plane.pose import project

U_PLANE_DEG = 0.06  # what the fit of the plane does not see: lens distortion, a crowned face, lines cut a little askew
U_LENGTH_SHARE = 0.01  # of the length of a score line as it was measured
U_COUNT = 0.7  # spacings, for every line at the bottom that may or may not be full-length
U_TILT_MOST_DEG = 2.0  # a lean less certain than this is refused
KEPT_SIDE_PX = 1400  # most on the long side of the picture that a mark keeps for its overlay

FLAGS = {  # code: sentence for the fitter
    "wide_angle": "the camera looked more than 15 degrees across the face; stand squarer for a surer reading",
    "no_focal_length": "the photo does not say its focal length; a phone's usual one was taken, and that doubt counted",
    "no_length": "the score-line length of this club is not known, so the strike is given in score-line lengths",
    "faint": "the ink is faint against the face",
    "patchy": "less than half of the line took ink",
    "glare": "a reflection covers a part of the mark",
    "short": "the print is shorter than 12 mm; a fresh, thick line prints longer",
    "lowest_line": "it is not sure which score line is the lowest full-length one; strike up the face may be off by a spacing",
    "hand_unsure": "could not see on which side the shaft and the toe are: make sure that the picture is not upside down or mirrored and the club's hand is right, or the lean has the wrong sign",
    "by_hand": "marks placed by hand were used",
}


@dataclass(frozen=True)
class FaceMark:
    """What one photo says about one print. Signs: the line's top to the toe, strike to the toe and up the face are positive.

    Attributes
    ----------
    tilt_deg, u_tilt_deg : float
        Lean of the printed line in the plane of the face from the perpendicular to the score lines, and its standard uncertainty.
    strike_toe_mm, u_strike_toe_mm, strike_up_mm, u_strike_up_mm : float
        Middle of the print from the middle of the score lines, and above the lowest full-length one. NaN where the club does
        not say how long its score lines are.
    strike_toe_lengths, strike_up_lengths : float
        The same in lengths of a score line; always there.
    line_width_mm, u_line_width_mm, line_length_mm : float
        NaN for a line placed by hand, or without a known length.
    flags : tuple of str
        Keys of `linetilt.reading.mark.FLAGS`.
    budget : DataFrame
        quantity, component, u, unit, share: standard uncertainty of every part (GUM, JCGM 100:2008, 5.1), shares of the variance.
    score_lines : DataFrame
        up_mm, heel_mm, toe_mm, full of every line found, from the lowest up.
    corners, line : ndarray, shapes (4, 2), (2, 2)
        Ends of the lowest and highest full score line (low heel, low toe, high toe, high heel) and lower and upper end of the
        print, in pixels (x, y) of the upright full-size photo; what `measure_photo` takes by hand.
    camera_deg : tuple of float
        Pitch, yaw and roll of the camera against the face.
    """

    tilt_deg: float
    u_tilt_deg: float
    strike_toe_mm: float
    u_strike_toe_mm: float
    strike_up_mm: float
    u_strike_up_mm: float
    strike_toe_lengths: float
    strike_up_lengths: float
    line_width_mm: float
    u_line_width_mm: float
    line_length_mm: float
    flags: tuple
    budget: pd.DataFrame = field(repr=False, compare=False)
    score_lines: pd.DataFrame = field(repr=False, compare=False)
    corners: np.ndarray = field(repr=False, compare=False)
    line: np.ndarray = field(repr=False, compare=False)
    camera_deg: tuple = field(repr=False)
    _picture: np.ndarray = field(repr=False, compare=False)
    _scale: float = field(repr=False, compare=False)  # pixels of the kept picture to one of the full-size photo

    def overlay(self, max_side=1280):
        """Draw what was found on the photo: score-line field, square to it, the print's two edges and axis.

        Returns
        -------
        ndarray of uint8, shape (H, W, 3), RGB
        """
        return _draw(self, max_side)

    def to_row(self):
        """Return the numbers as a dict, a column of `measure_photos` each."""
        row = {name: getattr(self, name) for name in ROW}
        return row | {"flags": ";".join(self.flags)}

    def _repr_html_(self):
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


ROW = (
    "tilt_deg",
    "u_tilt_deg",
    "strike_toe_mm",
    "u_strike_toe_mm",
    "strike_up_mm",
    "u_strike_up_mm",
    "strike_toe_lengths",
    "strike_up_lengths",
    "line_width_mm",
    "u_line_width_mm",
)


def measure_photo(photo, club, *, before=None, corners=None, line=None):
    """Measure the printed line on a photographed face.

    Parameters
    ----------
    photo : path, bytes or ndarray
        JPEG, PNG, WebP, HEIC with the optional extra, or an upright RGB array; the face with its sole at the bottom.
    club : linetilt.Club
        Its hand says where the toe is; `score_line_length_mm` gives the millimetre.
    before : path, bytes or ndarray, optional
        The same face before the shot: what it shows is taken out. Helps black ink on a dark face.
    corners : array, shape (4, 2), optional
        Ends of the lowest and highest full-length score line, placed by hand: low heel, low toe, high toe, high heel, in
        pixels (x, y) of the upright full-size photo. Skips the search for score lines only.
    line : array, shape (2, 2), optional
        Lower and upper end of the print's axis, placed by hand. Skips the search for the print only.

    Returns
    -------
    FaceMark

    Raises
    ------
    PhotoError
        With a reason code and advice; see `linetilt.base.errors`.
    InputError
        When `club` or the marks by hand cannot be used.
    """
    if not isinstance(club, Club):
        raise InputError(f"club is {club!r}; expected a linetilt.Club")
    picture = open_photo(photo)
    if line is None:  # a squeezed print still has edges, in the wrong places
        refuse_squeezed(picture)
    try:
        return _measure(picture, club, before, corners, line)
    except Blurred:
        raise
    except PhotoError:
        if line is None:  # blur is the reason behind many another
            refuse_blurred(picture.rgb)
        raise


def _measure(picture, club, before, corners, line):
    frame = find_face(picture, club) if corners is None else frame_from_corners(picture, club, corners)
    if line is not None:
        band = band_from_ends(picture, frame, line)
    else:
        after = flatten(picture.rgb, frame)
        refuse_blurred(picture.rgb, after)  # and so has a shaken one
        band = find_band(after, None if before is None else _aligned_before(before, club, after, frame))
        if before is None:  # a scratch or sign was there before
            check_print(after, frame, band)
    mark = _mark_of(picture, frame, band, club, line is not None)
    if mark.u_tilt_deg > U_TILT_MOST_DEG and line is None:
        raise NoLine(
            f"the print is too patchy or faint: its lean is only known to {2 * mark.u_tilt_deg:.0f} degrees either way"
        )
    return mark


def _aligned_before(before, club, after, frame):
    """The face before the shot, flat on the grid of the photo after it; score lines are equal, so the best of three shifts is taken."""
    picture_before = open_photo(before)
    found = find_face(picture_before, club)
    looks = []
    for shift in (-1, 0, 1):
        moved = np.array([[1, 0, 0], [0, 1, shift * found.pitch_mm], [0, 0, 1.0]]) @ found.to_face
        flat = flatten(picture_before.rgb, frame.with_plane(moved, found.pixels_per_mm), rate=after.rate)
        a, b = after.colour[flat.field].mean(axis=1), flat.colour[flat.field].mean(axis=1)
        looks.append((np.corrcoef(a, b)[0, 1] if len(a) > 100 else -1.0, flat))
    return max(looks, key=lambda look: look[0])[1]


def _mark_of(picture, frame, band, club, by_hand):
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
    budget = pd.DataFrame(parts, columns=["quantity", "component", "u", "unit"])
    u = {
        name: float(np.linalg.norm([part[2] for part in parts if part[0] == name]))
        for name in ("tilt", "strike_toe", "strike_up")
    }
    budget["share"] = [(part[2] / u[part[0]]) ** 2 for part in parts]
    if not scaled:
        budget.loc[budget.unit == "mm", "u"] /= frame.length_mm
        budget.loc[budget.unit == "mm", "unit"] = "score-line lengths"
    mm = 1.0 if scaled else np.nan
    upright = lambda points: (np.asarray(points) + 0.5) * picture.reduction - 0.5
    ink_ends = frame.pixels(
        np.array([[band.toe_mm + band.slope * (v - band.up_mm), v] for v in (band.low_mm, band.high_mm)])
    )
    fold = -(-max(picture.rgb.shape[:2]) // KEPT_SIDE_PX)  # a whole number is quick
    size = picture.rgb.shape[1] // fold, picture.rgb.shape[0] // fold
    kept = cv2.resize(picture.rgb[: size[1] * fold, : size[0] * fold], size, interpolation=cv2.INTER_AREA)
    lines = pd.DataFrame(frame.lines, columns=["up_mm", "heel_mm", "toe_mm"]).assign(full=frame.full)
    if not scaled:
        lines[["up_mm", "heel_mm", "toe_mm"]] = np.nan
    return FaceMark(
        tilt_deg=tilt,
        u_tilt_deg=u["tilt"],
        strike_toe_mm=float(band.toe_mm) * mm,
        u_strike_toe_mm=u["strike_toe"] * mm,
        strike_up_mm=float(band.up_mm) * mm,
        u_strike_up_mm=u["strike_up"] * mm,
        strike_toe_lengths=float(band.toe_mm / frame.length_mm),
        strike_up_lengths=float(band.up_mm / frame.length_mm),
        line_width_mm=float(band.width_mm * np.cos(np.radians(tilt))) * mm,
        u_line_width_mm=float(band.u_width_mm) * mm,
        line_length_mm=float(band.length_mm) * mm,
        flags=tuple(_flags(picture, frame, band, by_hand)),
        budget=budget,
        score_lines=lines,
        corners=upright(frame.corners),
        line=upright(ink_ends),
        camera_deg=(frame.pitch_deg, frame.yaw_deg, frame.roll_deg),
        _picture=kept,
        _scale=1 / fold / picture.reduction,
    )


def _flags(picture, frame, band, by_hand):
    seen = {
        "wide_angle": max(abs(frame.pitch_deg), abs(frame.yaw_deg)) > 15,
        "no_focal_length": picture.f35_from != "exif",
        "no_length": not frame.scaled,
        "faint": band.noise > 0.12,
        "patchy": band.fill < 0.5,
        "glare": band.glare > 0.1,
        "short": band.length_mm < 12,
        "lowest_line": frame.doubtful > 0,
        "hand_unsure": frame.hand_unsure,
        "by_hand": by_hand or frame.by_hand,
    }
    return [flag for flag in FLAGS if seen[flag]]


def _draw(mark, max_side):
    scale = min(1.0, max_side / max(mark._picture.shape[:2]))
    picture = (
        cv2.resize(mark._picture, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
        if scale < 1
        else mark._picture.copy()
    )
    to = lambda points: (np.asarray(points) + 0.5) * mark._scale * scale - 0.5
    thick = max(int(round(max(picture.shape[:2]) / 700)), 1)

    def stroke(points, colour, closed=False):
        path = np.round(to(points) * 16).astype(np.int32).reshape(-1, 1, 2)
        for width, ink in ((thick + 2, (0, 0, 0)), (thick, colour)):
            cv2.polylines(picture, [path], closed, ink, width, cv2.LINE_AA, 4)

    low_heel, low_toe, high_toe, high_heel = mark.corners
    stroke(mark.corners, (255, 255, 255), closed=True)
    # square to the score lines, through the middle of the print: what an upright line would print
    field = cv2.getPerspectiveTransform(np.float32([[0, 0], [1, 0], [1, 1], [0, 1]]), mark.corners.astype(np.float32))
    ends = project(np.linalg.inv(field.astype(float)), mark.line)
    across = ends.mean(axis=0)[0]
    low, high = ends[0, 1], ends[1, 1]
    for piece in (-0.3, -0.2, -0.1, 1.05, 1.15, 1.25):
        stroke(
            project(field, np.array([[across, low + (high - low) * y] for y in (piece, piece + 0.05)])), (255, 255, 255)
        )
    low, high = mark.line
    wide = mark.line_width_mm / mark.line_length_mm
    if (
        np.isfinite(wide) and "by_hand" not in mark.flags
    ):  # the two edges, and the axis beyond the print: the ink itself stays to be seen
        aside = (
            wide
            / 2
            * np.array([low[1] - high[1], high[0] - low[0]])
            * (1 + 2 * thick / np.ptp(to(mark.line), axis=0).max() / wide)
        )
        lines = [
            mark.line + aside,
            mark.line - aside,
            [low, low + 0.25 * (low - high)],
            [high, high + 0.25 * (high - low)],
        ]
    else:
        lines = [mark.line]
    for line in lines:
        stroke(line, (230, 159, 0))
    size = max(picture.shape[:2]) / 1300
    text = f"{mark.tilt_deg:+.1f} +/- {2 * mark.u_tilt_deg:.1f} deg"
    if np.isfinite(mark.strike_toe_mm):
        text += f", {abs(mark.strike_toe_mm):.0f} mm to the {'toe' if mark.strike_toe_mm >= 0 else 'heel'}, {mark.strike_up_mm:.0f} mm up"
    font, bold = cv2.FONT_HERSHEY_SIMPLEX, max(int(round(1.6 * size)), 1)
    (width, height), base = cv2.getTextSize(text, font, size, bold)
    cv2.rectangle(picture, (0, 0), (width + 2 * height, 2 * height + base), (0, 0, 0), -1)
    cv2.putText(picture, text, (height, height + height // 2), font, size, (255, 255, 255), bold, cv2.LINE_AA)
    return picture
