"""Score lines -> FaceFrame: pixels of the photo <-> millimetres in the plane of the face.

The score lines are equally spaced and end on two straight lines square to them. Their spacing across the picture fixes
how the plane recedes, their two ends fix the square direction and the scale, and the focal length ties both together;
all of it goes into one weighted least-squares fit of the camera's pose, whose covariance is kept.
"""

from dataclasses import dataclass, field, replace

import cv2
import numpy as np

from ...base.errors import FaceCutOff, Mirrored, NoFace, UpsideDown
from .line_points import find_ends, measure_lines, pixels_per_mm
from .pose import fit_pose, project
from .score_lines import HALVED, half_size, read_score_lines, shrunk
from .stripes import SEARCH_PX, count_lines, flatten, stripe_candidates
from .way_up import AGAINST, FOR, LEAD, OVER, toe_side

LINES_LEAST = 6  # on an iron's face: common practice, no source
WIDENED_MOST = 4  # times that the ends are looked for farther out
ENDS_MOST_MM = 0.9  # scatter of the lines' ends; where paint is chipped it is 0.5
SPACING_MOST_PX = 56  # from line to line; a finer picture is halved
NOMINAL_LENGTH_MM = 52.0  # stands in for an unknown score-line length, so that the fit has a scale; never reported


@dataclass(frozen=True)
class FaceFrame:
    """The plane of the face as the photo shows it.

    u runs towards the toe from the middle of the score-line field, v up the face from the lowest full-length line.

    Attributes
    ----------
    to_face : ndarray, shape (3, 3)
        Takes (x, y, 1) in pixels of the working picture to (u, v, 1) in mm, up to scale.
    length_mm : float
        Length of a full score line; `NOMINAL_LENGTH_MM` where `scaled` is False.
    scaled : bool
        True where a length of the club fixed the millimetre.
    pitch_mm : float
        Distance between neighbouring lines, as found.
    lines : tuple of (float, float, float)
        v, heel end and toe end (mm) of every line found, from the lowest up.
    full : tuple of bool
        Which of them are full-length.
    variants : ndarray, shape (K, 3, 3)
        `to_face` moved by one standard deviation along each independent direction of the fit's covariance.
    residual_mm : float
        Root mean square distance of the measured points from the fitted lines.
    pixels_per_mm : float
        In the middle of the field.
    pitch_deg, yaw_deg, roll_deg : float
        How the camera looked at the face.
    doubtful : int
        How many lines at the bottom may or may not be full-length.
    by_hand : bool
        True where the corners were placed by hand.
    hand_unsure : bool
        True where the outline neither confirms nor refutes on which side the toe is.
    """

    to_face: np.ndarray
    length_mm: float
    scaled: bool
    pitch_mm: float
    lines: tuple
    full: tuple
    variants: np.ndarray = field(repr=False)
    residual_mm: float
    pixels_per_mm: float
    pitch_deg: float
    yaw_deg: float
    roll_deg: float
    doubtful: int = 0
    by_hand: bool = False
    hand_unsure: bool = False

    def face(self, pixels):
        """Pixels (N, 2) -> mm (N, 2)."""
        return project(self.to_face, pixels)

    def pixels(self, face):
        """mm (N, 2) -> pixels (N, 2)."""
        return project(np.linalg.inv(self.to_face), face)

    def with_plane(self, to_face, pixels_per_mm):
        """The same face where another photo shows it: these lines, that plane."""
        return replace(self, to_face=to_face, pixels_per_mm=pixels_per_mm)

    def halved(self):
        """This frame for the picture at half its size."""
        return replace(
            self, to_face=self.to_face @ HALVED, variants=self.variants @ HALVED, pixels_per_mm=self.pixels_per_mm / 2
        )

    def doubled(self):
        """This frame for the picture at twice its size."""
        half = np.linalg.inv(HALVED)
        return replace(
            self, to_face=self.to_face @ half, variants=self.variants @ half, pixels_per_mm=self.pixels_per_mm * 2
        )

    @property
    def corners(self):
        """Corners of the full-length field in pixels, (4, 2): low heel, low toe, high toe, high heel."""
        v = [line[0] for line, full in zip(self.lines, self.full) if full] or [line[0] for line in self.lines]
        half = self.length_mm / 2
        return self.pixels(np.array([[-half, v[0]], [half, v[0]], [half, v[-1]], [-half, v[-1]]]))


def find_face(picture, club):
    """Find the score lines.

    Parameters
    ----------
    picture : linetilt.reading.photo.Picture
    club : linetilt.base.club.Club

    Returns
    -------
    FaceFrame

    Raises
    ------
    NoFace, FaceCutOff, Mirrored
    """
    grey = cv2.cvtColor(picture.rgb, cv2.COLOR_RGB2GRAY)
    small = shrunk(grey, SEARCH_PX)
    scale = np.array([small.shape[1] / grey.shape[1], small.shape[0] / grey.shape[0]])
    to_small = np.array([[scale[0], 0, scale[0] / 2 - 0.5], [0, scale[1], scale[1] / 2 - 0.5], [0, 0, 1]])
    flat = flatten(small)
    refusal = None
    unsigned = lambda: np.abs(flat) - cv2.GaussianBlur(np.abs(flat), (0, 0), 9)
    for look in (flat, None):
        look = (
            unsigned() if look is None else look
        )  # chipped paint turns dark to light along a line: then what stands out at all is followed
        for rank, (angle, period) in enumerate(stripe_candidates(look)):
            rough = count_lines(look, angle, period)
            if rough is None:
                continue
            try:
                return _fit_frame(grey, picture, club, rough @ to_small)
            except (FaceCutOff, Mirrored) as error:
                if rank == 0:  # weaker stripes are anything: their ends say nothing
                    refusal = refusal or error
            except (
                NoFace,
                np.linalg.LinAlgError,
                cv2.error,
            ):  # stripes that no camera can have seen make sizes and sums impossible
                pass
    raise refusal or NoFace("no set of score lines was found")


def _fit_frame(grey, picture, club, rough):
    """From the rough count of lines to the camera's pose, measuring twice, in a picture no finer than that needs."""
    if 1 / np.sqrt(abs(np.linalg.det(rough[:2, :2]))) > SPACING_MOST_PX and min(grey.shape) > 200:
        return _fit_frame(
            half_size(grey),
            replace(picture, rgb=half_size(picture.rgb), reduction=2 * picture.reduction),
            club,
            rough @ HALVED,
        ).doubled()
    ends = find_ends(grey, rough)
    length = club.score_line_length_mm
    scaled = length is not None
    spacing = ends["spacing"]  # line spacing as a share of the length
    if not scaled and club.score_line_pitch_mm is not None:
        length, scaled = club.score_line_pitch_mm / spacing, True
    length = length or NOMINAL_LENGTH_MM
    _check_spacing(spacing)
    if (
        club.score_line_pitch_mm
        and club.score_line_length_mm
        and abs(np.log(spacing * length / club.score_line_pitch_mm)) > 0.2
    ):
        raise NoFace(
            f"the stripes found are {spacing * length:.1f} mm apart if {length:g} mm long; this club's score lines are {club.score_line_pitch_mm:g} mm apart"
        )
    right = club.handed == "right"
    # (xi, n) -> (u, v): toe on the picture's left for a right-handed club
    to_face = np.diag([-1.0 if right else 1.0, 1, 1]) @ ends["to_unit"]
    to_face = np.diag([length, length, 1]) @ to_face @ rough
    pitch = spacing * length
    for _ in range(WIDENED_MOST):
        to_face, pitch, fit, seen, ppm, found = _fit_lines(grey, picture, club, to_face, pitch, ends["rows"], length)
        if not np.isfinite(found.beyond).any():
            break
        # chipped paint or a print was taken for the ends
        heel, toe = np.where(np.isfinite(found.beyond), found.beyond, (-length / 2, length / 2))
        middles = project(
            np.linalg.inv(to_face), np.array([[heel, 1], [toe, 1]]) * [1, np.median(seen["kept"]) * pitch]
        )
        _check_inside(middles, grey.shape)
        share = length / (toe - heel)
        to_face, pitch = (
            np.array([[share, 0, -share * (heel + toe) / 2], [0, share, 0], [0, 0, 1.0]]) @ to_face,
            share * pitch,
        )
    else:
        raise NoFace("the stripes found run on beyond where score lines would end")
    _check_spacing(pitch / length)
    lowest = float(found.numbers[found.full][0] * pitch)
    down = np.array([[1, 0, 0], [0, 1, -lowest], [0, 0, 1.0]])
    lines = tuple(
        (float(number * pitch - lowest), float(heel), float(toe))
        for number, (heel, toe) in zip(found.numbers, found.ends)
    )
    to_face = down @ to_face
    full = tuple(bool(whole) for whole in found.full)
    leaning = np.array([[1, -seen["lean"], 0], [seen["lean"], 1, 0], [0, 0, 1.0]]) @ to_face
    frame = FaceFrame(
        to_face,
        length,
        scaled,
        pitch,
        lines,
        full,
        np.array([*(down @ m for m in fit["variants"]), leaning]),
        fit["rms"],
        ppm,
        *fit["angles"],
        found.doubtful,
    )
    _check_frame(frame, picture)
    return replace(frame, hand_unsure=_check_hand(frame, picture.rgb))


def _fit_lines(grey, picture, club, to_face, pitch, rows, length):
    """From a rough plane to the fitted one: lines measured twice, by their sign and where that is not clean regardless of it, and read.

    Returns to_face, pitch, what `fit_pose` and `measure_lines` say, pixels a mm, and the ScoreLines.
    """
    best = None
    for unsigned in (False, True):
        frame, spaced = to_face, pitch
        try:
            for final in (False, True):
                seen = measure_lines(grey, frame, spaced, rows, length, final, unsigned)
                frame, spaced, fit = fit_pose(seen, picture, length, frame, club, spaced)
        except NoFace:
            if unsigned and best is None:
                raise
            continue
        if best is None or fit["rms"] / seen["share"] < best[0]:
            best = fit["rms"] / seen["share"], frame, spaced, fit, seen
        if fit["rms"] < 0.06 and seen["share"] > 0.6:
            break  # clean lines: what stands out regardless of sign would only add noise
    _, to_face, pitch, fit, seen = best
    if seen["share"] < 0.35 or (seen["share"] < 0.6 and fit["rms"] > 0.1):
        raise NoFace("the stripes found are too uneven to be score lines")
    if fit["sd_end"] > ENDS_MOST_MM:
        raise NoFace(
            f"the ends of the stripes found scatter by {fit['sd_end']:.1f} mm; score lines end on one upright edge each side"
        )
    ppm = pixels_per_mm(to_face, np.median(seen["kept"]) * pitch)
    if not ppm * length < 2 * np.hypot(*grey.shape):  # nor could it be looked at: a blur that wide takes for ever
        raise NoFace("the stripes found would be larger than the picture")
    found = read_score_lines(
        picture.rgb, to_face, ppm, pitch, length, np.arange(seen["kept"].min() - 2, seen["kept"].max() + 3)
    )
    if found is None or len(found.numbers) < LINES_LEAST or found.full.sum() < 4:
        raise NoFace(f"fewer than {LINES_LEAST} score lines, or fewer than 4 of equal length, were found")
    return to_face, pitch, fit, seen, ppm, found


def _check_spacing(share):
    if not 1 / 22 < share < 1 / 9:
        raise NoFace(f"the stripes found are {1 / share:.0f} times as long as far apart; score lines are 9 to 22 times")


def _check_hand(frame, rgb):
    """Refuse a picture upside down or a mirror image where the outline shows it; True where the outline does not settle either."""
    side, turned = toe_side(frame, rgb)
    if abs(turned) > abs(side) + OVER:
        raise UpsideDown("the outline of the face has its upper edge at the bottom: the picture is upside down")
    if side < AGAINST and -side > abs(turned) + LEAD / 2:
        raise Mirrored(
            "the outline of the face has its toe on the heel's side: a mirror image, or a club of the other hand"
        )
    return side < FOR or side < abs(turned) + LEAD


def _check_inside(pixels, shape, slack=0.0):
    if pixels.min() < -slack or np.any(pixels > np.array(shape[1::-1]) - 1 + slack):
        raise FaceCutOff("the score lines run out of the picture")


def _check_frame(frame, picture):
    _check_inside(
        frame.corners, picture.rgb.shape, frame.pitch_mm * frame.pixels_per_mm / 2
    )  # the uppermost line may be none, or a short one
    if max(abs(frame.pitch_deg), abs(frame.yaw_deg)) > 35:
        raise NoFace(
            f"the face seems to be seen {max(abs(frame.pitch_deg), abs(frame.yaw_deg)):.0f} degrees from the side; 20 is the most"
        )
    if frame.residual_mm > 0.25:
        raise NoFace(f"the stripes found are uneven by {frame.residual_mm:.2f} mm; score lines are not")
    if frame.pixels_per_mm < 4.5:
        raise NoFace("the face is too small in the picture")
