"""Points on score lines -> where the camera stood: one weighted least-squares fit, whose covariance is kept."""

from dataclasses import dataclass

import cv2
import numpy as np

from ...base.club import Club
from ..evidence import Array, Floats, Reason, Why
from ..photo import Picture

_REACH = 2.5  # standard deviations; what lies farther off counts little


@dataclass(frozen=True)
class LinePoints:
    """Points measured on score lines, in pixels.

    Attributes
    ----------
    points, point_line : ndarray, shapes (N, 2), (N,)
        The middle of a line at many places, and the number of the line of each.
    ends, end_side : ndarray, shapes (M, 2), (M,)
        Ends of lines, and the side of each, -1 or 1 (as u).
    kept : ndarray
        The numbers of the lines kept.
    lean : float
        How far the lines lean otherwise by the middle of all that stands out, as slope.
    share : float
        Share of the pieces that could be followed.
    """

    points: Floats
    point_line: Array
    ends: Floats
    end_side: Array
    kept: Array
    lean: float
    share: float


@dataclass(frozen=True)
class Pose:
    """The camera's pose as the face's plane.

    Attributes
    ----------
    to_face : ndarray, shape (3, 3)
        Takes (x, y, 1) in pixels to (u, v, 1) in mm, up to scale.
    pitch_mm : float
        Distance between neighbouring lines.
    variants : tuple of ndarray, shape (3, 3)
        `to_face` moved by one standard deviation along each independent direction of the fit's covariance.
    rms_mm : float
        Root mean square distance of the points from their lines.
    angles_deg : (float, float, float)
        Pitch, yaw and roll.
    sd_end_mm : float
        Scatter of the lines' ends.
    """

    to_face: Floats
    pitch_mm: float
    variants: tuple[Floats, ...]
    rms_mm: float
    angles_deg: tuple[float, float, float]
    sd_end_mm: float


def project(matrix: Array, points: Array) -> Floats:
    """Apply a (3, 3) projective map to points (N, 2)."""
    out = np.asarray(points, float) @ matrix[:, :2].T + matrix[:, 2]
    return out[:, :2] / out[:, 2:]


def fit_pose(
    seen: LinePoints, picture: Picture, length: float, to_face: Floats, club: Club, pitch: float
) -> Pose | Why:
    """Weighted least squares for the camera's pose, the line spacing and the focal length.

    Parameters of the fit: rotation (3), place (3), log spacing, log focal length. The focal length carries its prior;
    a spacing known from the club carries one of 1.5 %.
    """
    height, width = picture.rgb.shape[:2]
    focal0 = picture.focal_px
    centre = np.array([(width - 1) / 2, (height - 1) / 2])
    right = club.handed == "right"
    flip = np.diag([-1.0 if right else 1.0, -1.0, 1.0])  # (u, v) -> X right, Y down
    if len(seen.points) < 30 or len(seen.ends) < 6 or len(set(seen.end_side)) < 2:
        return Why.of(Reason.FEW_PIECES, pieces=len(seen.points), ends=len(seen.ends))
    start = _start_pose(
        np.linalg.inv(to_face @ np.array([[1, 0, centre[0]], [0, 1, centre[1]], [0, 0, 1.0]])) @ flip, focal0
    )
    count = len(seen.points)
    xy = np.concatenate([seen.points, seen.ends]) - centre
    expected = np.concatenate([seen.point_line * pitch, seen.end_side * length / 2])
    prior_sd = np.log1p(picture.u_f35_mm / picture.f35_mm)
    middle = float(np.median(seen.point_line)) * pitch

    def homography(p: Floats) -> Floats:
        rotation, _ = cv2.Rodrigues(p[:3])
        focal = focal0 * np.exp(p[7])
        place = np.exp(-p[5]) * np.array([p[3], p[4], focal]) + rotation[:, 1] * middle
        return np.diag([focal, focal, 1.0]) @ np.column_stack([rotation[:, 0], rotation[:, 1], place]) @ flip

    def residuals(tried: Floats) -> Floats:
        """In mm, a row for each set of parameters: of the points across the lines, then of the ends along them."""
        places = np.column_stack([xy, np.ones(len(xy))]) @ np.linalg.inv([homography(p) for p in tried]).swapaxes(1, 2)
        points, ends = np.split(places, [count], axis=1)
        # in spacings as they come out: else a plane that shrinks to nothing would fit all lines
        return (
            np.hstack([points[..., 1] / points[..., 2] * np.exp(-tried[:, 6:7]), ends[..., 0] / ends[..., 2]])
            - expected
        )

    known = club.score_line_pitch_mm if club.score_line_length_mm else None
    spacing_prior = (np.log(known / pitch), 0.015) if known else (0.0, 10.0)

    def scatters(rest: Floats) -> list[float]:
        return [1.4826 * float(np.median(np.abs(part))) for part in np.split(rest, [count])]

    def spread_out(sds: Array | tuple[float, float]) -> Floats:
        return np.repeat(sds, (count, len(xy) - count))

    def cost(p: Floats, whole: Floats) -> float:
        """What the fit makes small: robust squares of residuals in standard deviations, and the two priors."""
        total = (
            _REACH**2 * np.log1p((whole / _REACH) ** 2).sum()
            + (p[7] / prior_sd) ** 2
            + ((p[6] - spacing_prior[0]) / spacing_prior[1]) ** 2
        )
        return total if np.isfinite(total) else np.inf

    # place in the picture and size of the middle of the field: they do not pull at the focal length as a distance does
    at = start[3:] - cv2.Rodrigues(start[:3])[0][:, 1] * middle
    if not at[2] > 0:
        return Why(Reason.NO_PLANE)
    p = np.concatenate([start[:3], focal0 * at[:2] / at[2], [np.log(focal0 / at[2]), 0.0, 0.0]])
    steps = np.diag([1e-5, 1e-5, 1e-5, 1e-3, 1e-3, 1e-5, 1e-5, 1e-5])
    # usual scatters, till the fit has settled: where it starts they say little
    rest, sd, settled = residuals(p[None])[0], spread_out((0.06, 0.25)), False
    for _ in range(40):
        whole = rest / sd
        weight = 1 / (1 + (whole / _REACH) ** 2)
        jacobian = ((residuals(p + steps) - rest) / sd).T / np.diag(steps)
        normal = (jacobian * weight[:, None]).T @ jacobian
        gradient = (jacobian * weight[:, None]).T @ whole
        normal[7, 7] += 1 / prior_sd**2
        gradient[7] += p[7] / prior_sd**2
        normal[6, 6] += 1 / spacing_prior[1] ** 2
        gradient[6] += (p[6] - spacing_prior[0]) / spacing_prior[1] ** 2
        before = cost(p, whole)
        for damping in (0.0, 1e-6, 1e-4, 1e-2, 1.0):
            try:
                step = np.linalg.solve(normal + damping * np.diag(np.diag(normal)), -gradient)
            except np.linalg.LinAlgError:
                return Why(Reason.NO_PLANE)
            step *= min(1.0, 0.3 / np.max(np.abs(step[[0, 1, 2, 5, 6, 7]])))
            there = residuals((p + step)[None])[0]
            gain = before - cost(p + step, there / sd)
            if gain > 0:
                p, rest = p + step, there
                break
        else:
            gain = 0.0
        if gain < 1e-2:
            if settled:
                break
            settled = True
            sd = spread_out(np.maximum(scatters(rest), (0.025, 0.06)))
    if not np.all(np.isfinite(p)):
        return Why(Reason.NO_PLANE)
    shift = np.array([[1, 0, -centre[0]], [0, 1, -centre[1]], [0, 0, 1.0]])

    def finish(q: Floats) -> Floats:
        return np.linalg.inv(homography(q)) @ shift

    # neighbouring blocks of a line share its flaws, and ends share their rounding: fewer independent points than
    # counted
    values, vectors = np.linalg.eigh(np.linalg.inv(normal))
    spread = vectors * np.sqrt(np.maximum(values, 0) * 3.0)
    rotation, _ = cv2.Rodrigues(p[:3])
    normal_vector = rotation[:, 2]
    angles = (
        float(np.degrees(np.arcsin(np.clip(normal_vector[1], -1, 1)))),
        float(np.degrees(np.arcsin(np.clip(normal_vector[0], -1, 1)))),
        float(np.degrees(np.arctan2(rotation[1, 0], rotation[0, 0]))),
    )
    across = np.minimum(np.abs(rest), 3 * sd)[:count]
    return Pose(
        to_face=finish(p),
        pitch_mm=pitch * float(np.exp(p[6])),
        variants=tuple(finish(p + spread[:, k]) for k in range(8)),
        rms_mm=float(np.sqrt(np.mean(across**2))),
        angles_deg=angles,
        sd_end_mm=scatters(rest)[1],
    )


def _start_pose(homography: Floats, focal: float) -> Floats:
    """Rotation vector and place (6,) of a camera of this focal length that sees the plane nearly so."""
    m = np.diag([1 / focal, 1 / focal, 1]) @ homography
    if m[2, 2] < 0:
        m = -m
    scale = (np.linalg.norm(m[:, 0]) + np.linalg.norm(m[:, 1])) / 2
    r1, r2 = m[:, 0] / scale, m[:, 1] / scale
    u, _, vt = np.linalg.svd(np.column_stack([r1, r2, np.cross(r1, r2)]))
    rotation = u @ np.diag([1, 1, np.linalg.det(u @ vt)]) @ vt
    vector, _ = cv2.Rodrigues(rotation)
    return np.concatenate([vector.ravel(), m[:, 2] / scale])
