"""Points on score lines -> where the camera stood: one weighted least-squares fit, whose covariance is kept."""

import cv2
import numpy as np

from .errors import NoFace

_REACH = 2.5  # standard deviations; what lies farther off counts little


def project(matrix, points):
    """Apply a (3, 3) projective map to points (N, 2)."""
    out = np.asarray(points, float) @ matrix[:, :2].T + matrix[:, 2]
    return out[:, :2] / out[:, 2:]


def fit_pose(seen, picture, length, to_face, club, pitch):
    """Weighted least squares for the camera's pose, the line spacing and the focal length.

    Parameters of the fit: rotation (3), place (3), log spacing, log focal length. The focal length carries its prior;
    a spacing known from the club carries one of 1.5 %.
    """
    height, width = picture.rgb.shape[:2]
    focal0 = picture.focal_px
    centre = np.array([(width - 1) / 2, (height - 1) / 2])
    right = club.handed == "right"
    flip = np.diag([-1.0 if right else 1.0, -1.0, 1.0])  # (u, v) -> X right, Y down
    if len(seen["points"]) < 30 or len(seen["ends"]) < 6 or len(set(seen["end_side"])) < 2:
        raise NoFace("too few pieces of score lines were found")
    start = _start_pose(np.linalg.inv(to_face @ np.array([[1, 0, centre[0]], [0, 1, centre[1]], [0, 0, 1.0]])) @ flip, focal0)
    xy_points, xy_ends = seen["points"] - centre, seen["ends"] - centre
    prior_sd = np.log1p(picture.u_f35_mm / picture.f35_mm)

    middle = float(np.median(seen["point_line"])) * pitch

    def homography(p):
        rotation, _ = cv2.Rodrigues(p[:3])
        focal = focal0 * np.exp(p[7])
        place = np.exp(-p[5]) * np.array([p[3], p[4], focal]) + rotation[:, 1] * middle
        return np.diag([focal, focal, 1.0]) @ np.column_stack([rotation[:, 0], rotation[:, 1], place]) @ flip

    def residuals(p):
        inverse = np.linalg.inv(homography(p))
        points, ends = project(inverse, xy_points), project(inverse, xy_ends)
        # in spacings as they come out: else a plane that shrinks to nothing would fit all lines
        return points[:, 1] * np.exp(-p[6]) - seen["point_line"] * pitch, ends[:, 0] - seen["end_side"] * length / 2

    known = club.score_line_pitch_mm if club.score_line_length_mm else None
    spacing_prior = (np.log(known / pitch), 0.015) if known else (0.0, 10.0)

    def cost(p, whole):
        """What the fit makes small: robust squares of residuals in standard deviations, and the two priors."""
        total = _REACH**2 * np.log1p((whole / _REACH) ** 2).sum() + (p[7] / prior_sd) ** 2 + ((p[6] - spacing_prior[0]) / spacing_prior[1]) ** 2
        return total if np.isfinite(total) else np.inf

    at = start[3:] - cv2.Rodrigues(start[:3])[0][:, 1] * middle
    p = np.concatenate([start[:3], focal0 * at[:2] / at[2], [np.log(focal0 / at[2]), 0.0, 0.0]])
    sd_point, sd_end, settled = 0.06, 0.25, False  # usual ones, till the fit has settled: where it starts they say little
    for _ in range(40):
        scaled = lambda p: np.concatenate([part / sd for part, sd in zip(residuals(p), (sd_point, sd_end))])
        whole = scaled(p)
        weight = 1 / (1 + (whole / _REACH) ** 2)
        jacobian = np.empty((len(whole), 8))
        for k in range(8):
            h = 1e-3 if k in (3, 4) else 1e-5
            moved = p.copy()
            moved[k] += h
            jacobian[:, k] = (scaled(moved) - whole) / h
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
                raise NoFace("the score lines found do not lie in one plane") from None
            step *= min(1.0, 0.3 / np.max(np.abs(step[[0, 1, 2, 5, 6, 7]])))
            gain = before - cost(p + step, scaled(p + step))
            if gain > 0:
                break
        else:
            gain, step = 0.0, 0.0 * p
        p = p + step
        if gain < 1e-2:
            if settled:
                break
            settled = True
            a, b = residuals(p)
            sd_point, sd_end = max(1.4826 * np.median(np.abs(a)), 0.025), max(1.4826 * np.median(np.abs(b)), 0.06)
    if not np.all(np.isfinite(p)):
        raise NoFace("the score lines found do not lie in one plane")
    shift = np.array([[1, 0, -centre[0]], [0, 1, -centre[1]], [0, 0, 1.0]])
    finish = lambda q: np.linalg.inv(homography(q)) @ shift
    # neighbouring blocks of a line share its flaws, and ends share their rounding: fewer independent points than counted
    values, vectors = np.linalg.eigh(np.linalg.inv(normal))
    spread = vectors * np.sqrt(np.maximum(values, 0) * 4.0)
    rotation, _ = cv2.Rodrigues(p[:3])
    normal_vector = rotation[:, 2]
    angles = (float(np.degrees(np.arcsin(np.clip(normal_vector[1], -1, 1)))), float(np.degrees(np.arcsin(np.clip(normal_vector[0], -1, 1)))),
              float(np.degrees(np.arctan2(rotation[1, 0], rotation[0, 0]))))
    a, b = residuals(p)
    fit = {"variants": [finish(p + spread[:, k]) for k in range(8)], "rms": float(np.sqrt(np.mean(np.minimum(np.abs(a), 3 * sd_point) ** 2))),
           "angles": angles, "sd_end": 1.4826 * float(np.median(np.abs(b)))}
    return finish(p), pitch * float(np.exp(p[6])), fit


def _start_pose(homography, focal):
    """Rotation vector and place (6,) of a camera of this focal length that sees the plane nearly as `homography` does."""
    m = np.diag([1 / focal, 1 / focal, 1]) @ homography
    if m[2, 2] < 0:
        m = -m
    scale = (np.linalg.norm(m[:, 0]) + np.linalg.norm(m[:, 1])) / 2
    r1, r2 = m[:, 0] / scale, m[:, 1] / scale
    u, _, vt = np.linalg.svd(np.column_stack([r1, r2, np.cross(r1, r2)]))
    rotation = u @ np.diag([1, 1, np.linalg.det(u @ vt)]) @ vt
    vector, _ = cv2.Rodrigues(rotation)
    return np.concatenate([vector.ravel(), m[:, 2] / scale])
