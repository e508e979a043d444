"""Marks placed by hand, four corners or the two ends of the line -> the FaceFrame and Band that the search gives."""

from collections.abc import Callable
from typing import Any

import cv2
import numpy as np

from ..base.club import Club
from ..base.errors import InputError
from .evidence import Floats, Why
from .ink.band import Band
from .photo import Picture
from .plane.frame import NOMINAL_LENGTH_MM, FaceFrame
from .plane.line_points import measure_lines, pixels_per_mm
from .plane.pose import Pose, fit_pose, project

U_POINT_PX = 3.0  # how well a finger or a mouse places a mark: common practice, no source
U_POINT_SHARE = 0.004  # of the length of the score lines, where that is more
LINE_COUNTS = range(5, 21)


def points_of(name: str, points: Any, count: int, picture: Picture) -> Floats:
    """Check points (x, y) in pixels of the upright full-size photo; return them in pixels of the working picture."""
    try:
        points = np.asarray(points, float)
    except (TypeError, ValueError):
        points = np.empty(0)
    if points.shape != (count, 2) or not np.isfinite(points).all():
        raise InputError(
            f"{name} is {np.asarray(points).tolist()!r}; expected {count} points (x, y) in pixels of the photo"
        )
    points = (points + 0.5) / picture.reduction - 0.5
    height, width = picture.rgb.shape[:2]
    if (points < -0.1 * max(width, height)).any() or (
        points > np.array([width, height]) + 0.1 * max(width, height)
    ).any():
        wide, high = width * picture.reduction, height * picture.reduction
        raise InputError(f"{name} lies outside the photo; expected places within its {wide} by {high} pixels")
    return points


def frame_from_corners(picture: Picture, club: Club, corners: Any) -> FaceFrame:
    """The plane of the face from the ends of the lowest and the highest full-length score line.

    Parameters
    ----------
    picture : linetilt.reading.photo.Picture
    club : linetilt.base.club.Club
    corners : array, shape (4, 2)
        Low heel, low toe, high toe, high heel, in pixels of the upright full-size photo.

    Returns
    -------
    FaceFrame

    Raises
    ------
    InputError
    """
    seen = points_of("corners", corners, 4, picture)
    low, high = np.linalg.norm(seen[1] - seen[0]), np.linalg.norm(seen[2] - seen[3])
    right = club.handed == "right"
    across = (seen[1] - seen[0]) + (seen[2] - seen[3])
    up = (seen[3] - seen[0]) + (seen[2] - seen[1])
    turn = across[0] * up[1] - across[1] * up[0]
    if min(low, high) < 40 or (turn > 0) != right or not cv2.isContourConvex(seen.astype(np.float32).reshape(-1, 1, 2)):
        raise InputError(
            "corners are not in order; expected low heel, low toe, high toe, high heel of the full-length score lines, "
            f"on a {club.handed}-handed club's face with its sole at the bottom"
        )
    length = club.score_line_length_mm or NOMINAL_LENGTH_MM
    height, width = picture.rgb.shape[:2]
    centre = np.array([(width - 1) / 2, (height - 1) / 2])
    flip = np.diag([-1.0 if right else 1.0, -1.0, 1.0])
    sd_px = max(U_POINT_PX / picture.reduction, U_POINT_SHARE * low)
    sd_focal = np.log1p(picture.u_f35_mm / picture.f35_mm)

    def homography(p: Floats) -> Floats:
        rotation, _ = cv2.Rodrigues(p[:3])
        return (
            np.diag([picture.focal_px * np.exp(p[7])] * 2 + [1.0])
            @ np.column_stack([rotation[:, 0], rotation[:, 1], p[3:6]])
            @ flip
        )

    def residuals(p: Floats) -> Floats:
        rise = length * np.exp(p[6])
        model = np.array([[-length / 2, 0], [length / 2, 0], [length / 2, rise], [-length / 2, rise]])
        return np.concatenate([((project(homography(p), model) - (seen - centre)) / sd_px).ravel(), [p[7] / sd_focal]])

    rise = 0.5 * (np.linalg.norm(seen[3] - seen[0]) + np.linalg.norm(seen[2] - seen[1])) / (0.5 * (low + high))
    spin = np.arctan2(across[1], across[0]) - (np.pi if right else 0)
    middle = seen[:2].mean(axis=0) - centre
    depth = picture.focal_px * length / low
    best = None
    # a plane seen at a slant has more than one near fit
    for lean, side in ((0, 0), (0.3, 0.3), (0.3, -0.3), (-0.3, 0.3), (-0.3, -0.3)):
        spun, slanted = (cv2.Rodrigues(np.array(axis))[0] for axis in ([0, 0, spin], [lean, side, 0.0]))
        turn = cv2.Rodrigues(spun @ slanted)[0].ravel()
        p, normal = _least_squares(
            residuals, np.array([*turn, *(middle * depth / picture.focal_px), depth, np.log(rise), 0.0])
        )
        cost = float((residuals(p) ** 2).sum())
        if best is None or cost < best[0]:
            best = cost, p, normal
    _, p, normal = best
    if not np.isfinite(p).all() or np.abs(residuals(p)).max() > 8:
        raise InputError(
            "corners do not lie as a rectangle seen by a camera; expected the four corners of the score-line field; "
            "place them again"
        )
    shift = np.array([[1, 0, -centre[0]], [0, 1, -centre[1]], [0, 0, 1.0]])

    def to_face(q: Floats) -> Floats:
        return np.linalg.inv(homography(q)) @ shift

    values, vectors = np.linalg.eigh(np.linalg.inv(normal))
    spread = vectors * np.sqrt(np.maximum(values, 0))
    rise = length * float(np.exp(p[6]))
    plane, residual = to_face(p), 0.0
    variants = tuple(to_face(p + spread[:, k]) for k in range(8))
    count = _count(picture, plane, length, rise, club)
    pitch = rise / (count - 1)
    closer = _follow_lines(picture, club, plane, pitch, count, length)
    if closer is not None:
        placed = np.array([[-length / 2, 0], [length / 2, 0], [length / 2, rise], [-length / 2, rise]])
        shift_mm = np.abs(project(closer.to_face, project(np.linalg.inv(plane), placed)) - placed)
        if shift_mm.max() < 1.5 + 2 * U_POINT_SHARE * length:
            plane, pitch, variants, residual = closer.to_face, closer.pitch_mm, closer.variants, closer.rms_mm
    lines = tuple((float(k * pitch), -length / 2, length / 2) for k in range(count))
    rotation, _ = cv2.Rodrigues(p[:3])
    angles = (
        *np.degrees(np.arcsin(np.clip(rotation[1::-1, 2], -1, 1))),
        np.degrees(np.arctan2(rotation[1, 0], rotation[0, 0])),
    )
    return FaceFrame(
        plane,
        length,
        club.score_line_length_mm is not None,
        pitch,
        lines,
        (True,) * count,
        np.array(variants),
        residual,
        pixels_per_mm(plane, rise / 2),
        *(float(angle) for angle in angles),
        by_hand=True,
    )


def _follow_lines(picture: Picture, club: Club, plane: Floats, pitch: float, count: int, length: float) -> Pose | None:
    """The plane that the score lines say, followed from that of the corners; None where they cannot be followed.

    A finger is less sure than they are.
    """
    grey = cv2.cvtColor(picture.rgb, cv2.COLOR_RGB2GRAY)
    for final in (False, True):
        lines = measure_lines(grey, plane, pitch, np.arange(count), length, final, False)
        if isinstance(lines, Why):
            return None
        pose = fit_pose(lines, picture, length, plane, club, pitch)
        if isinstance(pose, Why):
            return None
        plane, pitch = pose.to_face, pose.pitch_mm
    return pose if lines.share > 0.5 and pose.rms_mm < 0.12 else None


def _least_squares(residuals: Callable[[Floats], Floats], p: Floats) -> tuple[Floats, Floats]:
    """Gauss-Newton with bounded steps. Returns the parameters and the normal matrix."""
    steps = np.where(np.arange(8) // 3 == 1, 1e-3, 1e-6)
    for _ in range(60):
        now = residuals(p)
        jacobian = np.column_stack([(residuals(p + h * unit) - now) / h for h, unit in zip(steps, np.eye(8))])
        normal = jacobian.T @ jacobian + 1e-9 * np.eye(8)
        move = np.linalg.solve(normal, -jacobian.T @ now)
        move *= min(1.0, 0.2 / np.max(np.abs(move[[0, 1, 2, 6, 7]])))
        p = p + move
        if np.max(np.abs(move[[0, 1, 2, 6, 7]])) < 1e-8:
            break
    return p, normal


def _count(picture: Picture, to_face: Floats, length: float, rise: float, club: Club) -> int:
    """How many score lines lie from lowest to highest: as many as make the rows most alike one spacing apart."""
    if club.score_line_pitch_mm and club.score_line_length_mm:
        return max(int(round(rise / club.score_line_pitch_mm)) + 1, 2)
    rows, columns = 400, 120
    grid = np.array([[0.84 * length / columns, 0, -0.42 * length], [0, -rise / (rows - 1), rise], [0, 0, 1.0]])
    grey = cv2.cvtColor(picture.rgb, cv2.COLOR_RGB2GRAY)
    flat = cv2.warpPerspective(
        grey, np.linalg.inv(to_face) @ grid, (columns, rows), flags=cv2.INTER_AREA | cv2.WARP_INVERSE_MAP
    )
    profile = np.median(flat.astype(float), axis=1)
    profile = np.abs(profile - cv2.GaussianBlur(profile[:, None], (0, 0), rows / 12)[:, 0])
    place = np.arange(rows) / (rows - 1)
    tone = {
        n: np.abs((profile * np.exp(2j * np.pi * (n - 1) * place)).sum())
        for n in LINE_COUNTS
        if 1.9 < rise / (n - 1) < 6.5
    }
    return max(tone, key=lambda n: tone[n]) if tone else 2


def band_from_ends(picture: Picture, frame: FaceFrame, line: Any) -> Band:
    """The printed line from its lower and upper end, (2, 2) in pixels of the upright full-size photo.

    Raises
    ------
    InputError
    """
    ends = points_of("line", line, 2, picture)
    (u0, v0), (u1, v1) = frame.face(ends)
    if v1 - v0 < 4.0:
        raise InputError(
            f"line rises {v1 - v0:.1f} mm up the face; expected its lower end, then its upper end, at least 4 mm apart"
        )
    slope = (u1 - u0) / (v1 - v0)
    u_point = max(U_POINT_PX / picture.reduction / frame.pixels_per_mm, 0.25)  # the axis of ragged ink, by eye
    return Band(
        slope=slope,
        u_slope=np.sqrt(2) * u_point / (v1 - v0),
        toe_mm=(u0 + u1) / 2,
        u_toe_mm=u_point / np.sqrt(2),
        up_mm=(v0 + v1) / 2,
        u_up_mm=1.0,
        width_mm=np.nan,
        u_width_mm=np.nan,
        low_mm=v0,
        high_mm=v1,
        fill=np.nan,
        noise=np.nan,
        glare=0.0,
    )
