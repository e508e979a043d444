"""Score lines -> FaceFrame: stripes are followed, their lines measured, the camera's pose fitted, the lines read.

The score lines are equally spaced and end on two straight lines square to them. Their spacing across the picture fixes
how the plane recedes, their two ends fix the square direction and the scale, and the focal length ties both together;
all of it goes into one weighted least-squares fit of the camera's pose, whose covariance is kept.
"""

from dataclasses import dataclass, replace

import cv2
import numpy as np

from ...base.club import Club
from ..evidence import Array, Floats, Reason, Why
from ..photo import Picture
from .frame import NOMINAL_LENGTH_MM, FaceFrame
from .line_points import LineEnds, find_ends, measure_lines, pixels_per_mm
from .pose import LinePoints, Pose, fit_pose, project
from .score_lines import HALVED, ScoreLines, half_size, read_score_lines, shrunk
from .stripes import SEARCH_PX, count_lines, flatten, stripe_candidates
from .way_up import AGAINST, FOR, LEAD, OVER, toe_side

LINES_LEAST, FULL_LEAST = 6, 4  # on an iron's face, and of them full-length: common practice, no source
WIDENED_MOST = 4  # times that the ends are looked for farther out
ENDS_MOST_MM = 0.9  # scatter of the lines' ends; where paint is chipped it is 0.5
SPACING_MOST_PX = 56  # from line to line; a finer picture is halved
SLANT_MOST_DEG = 35.0
ROUGH_MOST_MM = 0.25  # of points about their lines
PIXELS_PER_MM_LEAST = 4.5


@dataclass(frozen=True)
class Try:
    """One set of stripes that was followed.

    Attributes
    ----------
    angle_deg, period_px : float
        In the picture that is searched.
    rank : int
        0 for the strongest stripes of that look.
    signed : bool
        False where whatever stands out was followed, dark or light.
    why : Why or None
        Why they are no score lines; None for those that are.
    """

    angle_deg: float
    period_px: float
    rank: int
    signed: bool
    why: Why | None


@dataclass(frozen=True)
class FaceSearch:
    """What the search for score lines found: the plane or None, and every set of stripes that was followed."""

    frame: FaceFrame | None
    tries: tuple[Try, ...]


def find_face(picture: Picture, club: Club) -> FaceSearch:
    """Find the score lines.

    Parameters
    ----------
    picture : linetilt.reading.photo.Picture
    club : linetilt.base.club.Club

    Returns
    -------
    FaceSearch
    """
    grey = cv2.cvtColor(picture.rgb, cv2.COLOR_RGB2GRAY)
    small = shrunk(grey, SEARCH_PX)
    scale = np.array([small.shape[1] / grey.shape[1], small.shape[0] / grey.shape[0]])
    to_small = np.array([[scale[0], 0, scale[0] / 2 - 0.5], [0, scale[1], scale[1] / 2 - 0.5], [0, 0, 1]])
    flat = flatten(small)
    tries: list[Try] = []
    for signed in (True, False):
        # chipped paint turns dark to light along a line: then what stands out at all is followed
        look = flat if signed else np.abs(flat) - cv2.GaussianBlur(np.abs(flat), (0, 0), 9)
        for rank, (angle, period) in enumerate(stripe_candidates(look)):
            found = _follow(grey, picture, club, look, angle, period, to_small)
            why = found if isinstance(found, Why) else None
            tries.append(Try(angle, period, rank, signed, why))
            if not isinstance(found, Why):
                return FaceSearch(found, tuple(tries))
    return FaceSearch(None, tuple(tries))


def _follow(
    grey: Array, picture: Picture, club: Club, look: Array, angle: float, period: float, to_small: Floats
) -> FaceFrame | Why:
    rough = count_lines(look, angle, period)
    if rough is None:
        return Why(Reason.NO_STRIPES)
    try:
        return _fit_frame(grey, picture, club, rough @ to_small)
    except (np.linalg.LinAlgError, cv2.error):  # stripes that no camera can have seen make sizes and sums impossible
        return Why(Reason.NO_PLANE)


def _fit_frame(grey: Array, picture: Picture, club: Club, rough: Floats) -> FaceFrame | Why:
    """From the rough count of lines to the camera's pose, measuring twice, in a picture no finer than that needs."""
    if 1 / np.sqrt(abs(np.linalg.det(rough[:2, :2]))) > SPACING_MOST_PX and min(grey.shape) > 200:
        halved = replace(picture, rgb=half_size(picture.rgb), reduction=2 * picture.reduction)
        found = _fit_frame(half_size(grey), halved, club, rough @ HALVED)
        if isinstance(found, Why):
            return found if found.field is None else replace(found, field=found.field * 2 + 0.5)
        return found.doubled()
    ends = find_ends(grey, rough)
    if isinstance(ends, Why):
        return ends
    length, scaled = club.score_line_length_mm, club.score_line_length_mm is not None
    if length is None and club.score_line_pitch_mm is not None:
        length, scaled = club.score_line_pitch_mm / ends.spacing, True
    length = length or NOMINAL_LENGTH_MM
    # (xi, n) -> (u, v): toe on the picture's left for a right-handed club
    to_face = np.diag([-1.0 if club.handed == "right" else 1.0, 1, 1]) @ ends.to_unit
    to_face = np.diag([length, length, 1]) @ to_face @ rough
    plane = _fit_plane(grey, picture, club, to_face, ends, length, scaled)
    if isinstance(plane, Why) and plane.field is None:
        top = (ends.rows.max() - ends.rows.min()) * ends.spacing * length
        taken = np.array([[-length / 2, 0], [length / 2, 0], [length / 2, top], [-length / 2, top]])
        return replace(plane, field=project(np.linalg.inv(to_face), taken))
    return plane


def _fit_plane(
    grey: Array, picture: Picture, club: Club, to_face: Floats, ends: LineEnds, length: float, scaled: bool
) -> FaceFrame | Why:
    """From where the lines end, roughly, to the plane."""
    spacing = ends.spacing  # line spacing as a share of the length
    if not _is_spacing(spacing):
        return Why.of(Reason.WRONG_SPACING, times=1 / spacing)
    if (
        club.score_line_pitch_mm
        and club.score_line_length_mm
        and abs(np.log(spacing * length / club.score_line_pitch_mm)) > 0.2
    ):
        return Why.of(Reason.OTHER_SPACING, mm=spacing * length, length_mm=length, club_mm=club.score_line_pitch_mm)
    pitch = spacing * length
    for _ in range(WIDENED_MOST):
        fitted = _fit_lines(grey, picture, club, to_face, pitch, ends.rows, length)
        if isinstance(fitted, Why):
            return fitted
        pose, seen, ppm, found = fitted.pose, fitted.seen, fitted.pixels_per_mm, fitted.lines
        to_face, pitch = pose.to_face, pose.pitch_mm
        if not np.isfinite(found.beyond).any():
            break
        # chipped paint or a print was taken for the ends
        heel, toe = np.where(np.isfinite(found.beyond), found.beyond, (-length / 2, length / 2))
        middles = project(np.linalg.inv(to_face), np.array([[heel, 1], [toe, 1]]) * [1, np.median(seen.kept) * pitch])
        if not _is_inside(middles, grey.shape):
            return Why(Reason.OUT_OF_PICTURE)
        share = length / (toe - heel)
        to_face, pitch = (
            np.array([[share, 0, -share * (heel + toe) / 2], [0, share, 0], [0, 0, 1.0]]) @ to_face,
            share * pitch,
        )
    else:
        return Why(Reason.RUN_ON)
    if not _is_spacing(pitch / length):
        return Why.of(Reason.WRONG_SPACING, times=length / pitch)
    lowest = float(found.numbers[found.full][0] * pitch)
    down = np.array([[1, 0, 0], [0, 1, -lowest], [0, 0, 1.0]])
    lines = tuple(
        (float(number * pitch - lowest), float(heel), float(toe))
        for number, (heel, toe) in zip(found.numbers, found.ends)
    )
    to_face = down @ to_face
    full = tuple(bool(whole) for whole in found.full)
    leaning = np.array([[1, -seen.lean, 0], [seen.lean, 1, 0], [0, 0, 1.0]]) @ to_face
    frame = FaceFrame(
        to_face,
        length,
        scaled,
        pitch,
        lines,
        full,
        np.array([*(down @ m for m in pose.variants), leaning]),
        pose.rms_mm,
        ppm,
        *pose.angles_deg,
        found.doubtful,
    )
    why = _no_frame(frame, picture)
    if why is not None:
        return why
    unsure = _hand_unsure(frame, picture.rgb)
    return unsure if isinstance(unsure, Why) else replace(frame, hand_unsure=unsure)


@dataclass(frozen=True)
class _Lines:
    """A plane fitted to lines: the pose, the points, pixels a mm and the lines as they were read."""

    pose: Pose
    seen: LinePoints
    pixels_per_mm: float
    lines: ScoreLines


def _fit_lines(
    grey: Array, picture: Picture, club: Club, to_face: Floats, pitch: float, rows: Array, length: float
) -> _Lines | Why:
    """From a rough plane to the fitted one: lines followed by their sign and, where that is not clean, without."""
    best: tuple[Pose, LinePoints] | None = None
    why: Why | None = None
    for unsigned in (False, True):
        found = _measured_twice(grey, picture, club, to_face, pitch, rows, length, unsigned)
        if isinstance(found, Why):
            why = found
            continue
        pose, seen = found
        if best is None or pose.rms_mm / seen.share < best[0].rms_mm / best[1].share:
            best = found
        if pose.rms_mm < 0.06 and seen.share > 0.6:
            break  # clean lines: what stands out regardless of sign would only add noise
    if best is None:
        return why or Why(Reason.NO_PLANE)
    pose, seen = best
    if seen.share < 0.35 or (seen.share < 0.6 and pose.rms_mm > 0.1):
        return Why.of(Reason.UNEVEN, share=seen.share)
    if pose.sd_end_mm > ENDS_MOST_MM:
        return Why.of(Reason.SCATTERED_ENDS, mm=pose.sd_end_mm)
    ppm = pixels_per_mm(pose.to_face, np.median(seen.kept) * pose.pitch_mm)
    if not ppm * length < 2 * np.hypot(*grey.shape):  # nor could it be looked at: a blur that wide takes for ever
        return Why(Reason.TOO_LARGE)
    numbers = np.arange(seen.kept.min() - 2, seen.kept.max() + 3)
    lines = read_score_lines(picture.rgb, pose.to_face, ppm, pose.pitch_mm, length, numbers)
    if lines is None or len(lines.numbers) < LINES_LEAST or lines.full.sum() < FULL_LEAST:
        found_lines, full = (0, 0) if lines is None else (len(lines.numbers), int(lines.full.sum()))
        return Why.of(Reason.FEW_LINES, least=LINES_LEAST, found=found_lines, full=full)
    return _Lines(pose, seen, ppm, lines)


def _measured_twice(
    grey: Array,
    picture: Picture,
    club: Club,
    to_face: Floats,
    pitch: float,
    rows: Array,
    length: float,
    unsigned: bool,
) -> tuple[Pose, LinePoints] | Why:
    """Measure the lines and fit the plane to them, roughly and then finely."""
    for final in (False, True):
        seen = measure_lines(grey, to_face, pitch, rows, length, final, unsigned)
        if isinstance(seen, Why):
            return seen
        pose = fit_pose(seen, picture, length, to_face, club, pitch)
        if isinstance(pose, Why):
            return pose
        to_face, pitch = pose.to_face, pose.pitch_mm
    return pose, seen


def _is_spacing(share: float) -> bool:
    """True for a distance between lines that score lines have, as a share of their length."""
    return 1 / 22 < share < 1 / 9


def _hand_unsure(frame: FaceFrame, rgb: Array) -> bool | Why:
    """Why a picture is upside down or mirrored, where the outline shows it; True where it settles neither."""
    side, turned = toe_side(frame, rgb)
    if abs(turned) > abs(side) + OVER:
        return Why(Reason.UPSIDE_DOWN)
    if side < AGAINST and -side > abs(turned) + LEAD / 2:
        return Why(Reason.MIRRORED)
    return side < FOR or side < abs(turned) + LEAD


def _is_inside(pixels: Floats, shape: tuple[int, ...], slack: float = 0.0) -> bool:
    return not (pixels.min() < -slack or np.any(pixels > np.array(shape[1::-1]) - 1 + slack))


def _no_frame(frame: FaceFrame, picture: Picture) -> Why | None:
    """Why a plane that fits is no face that can be measured; None where it is one."""
    # half a spacing of slack: the uppermost line may be none, or a short one
    if not _is_inside(frame.corners, picture.rgb.shape, frame.pitch_mm * frame.pixels_per_mm / 2):
        return Why(Reason.OUT_OF_PICTURE)
    slant = max(abs(frame.pitch_deg), abs(frame.yaw_deg))
    if slant > SLANT_MOST_DEG:
        return Why.of(Reason.SLANTED, deg=slant)
    if frame.residual_mm > ROUGH_MOST_MM:
        return Why.of(Reason.ROUGH, mm=frame.residual_mm)
    if frame.pixels_per_mm < PIXELS_PER_MM_LEAST:
        return Why.of(Reason.SMALL, pixels_per_mm=frame.pixels_per_mm)
    return None
