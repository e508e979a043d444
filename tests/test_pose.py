"""The camera's pose from points on score lines, against OpenCV's own projection of the same points
(cv2.projectPoints)."""

from dataclasses import replace

import cv2
import numpy as np
import pytest
from linetilt.base.club import Club
from linetilt.reading.photo import DIAGONAL_35MM, Picture
from linetilt.reading.plane.pose import LinePoints, fit_pose, project

LENGTH, PITCH, FOCAL = 52.0, 3.6, 1300.0
CLUB = Club(label="7", loft_deg=34, handed="left", score_line_length_mm=LENGTH)  # u to the right


def scene(seed):
    """A camera within 20 degrees of square and 30 of roll, and what it sees of twelve score lines."""
    rng = np.random.default_rng(seed)
    tilt, roll = np.radians(rng.uniform(-20, 20, 2)), np.radians(rng.uniform(-30, 30))
    turn = cv2.Rodrigues(np.array([0, 0, roll]))[0] @ cv2.Rodrigues(np.array([*tilt, 0.0]))[0]
    place = np.array([rng.uniform(-10, 10), rng.uniform(-10, 10) + 20, rng.uniform(110, 200)])
    camera = np.array([[FOCAL, 0, 749.5], [0, FOCAL, 499.5], [0, 0, 1]])
    see = lambda u, v: cv2.projectPoints(
        np.column_stack([u, -np.asarray(v, float), np.zeros(len(u))]), cv2.Rodrigues(turn)[0], place, camera, None
    )[0][:, 0]
    line, u = (part.ravel() for part in np.meshgrid(np.arange(12), np.linspace(-24, 24, 20)))
    number, side = (part.ravel() for part in np.meshgrid(np.arange(12), [-1, 1]))
    seen = LinePoints(
        points=see(u, line * PITCH),
        point_line=line,
        ends=see(side * LENGTH / 2, number * PITCH),
        end_side=side,
        kept=np.arange(12),
        lean=0.0,
        share=1.0,
    )
    to_face = np.linalg.inv(camera @ np.column_stack([turn[:, 0], -turn[:, 1], place]))
    f35 = FOCAL / np.hypot(1500, 1000) * DIAGONAL_35MM
    return rng, seen, to_face, Picture(np.zeros((1000, 1500, 3), np.uint8), 1, f35, 6.5, "usual")


@pytest.mark.parametrize("seed", range(40))
def test_the_pose_settles_wherever_it_starts(seed):
    """From a start that is out by a tenth of the length here and there; one line end in ten is elsewhere."""
    rng, seen, true, picture = scene(seed)
    corners = np.float32([[-26, 0], [26, 0], [26, 40], [-26, 40]])
    pixels = project(np.linalg.inv(true), corners).astype(np.float32)
    start = cv2.getPerspectiveTransform(pixels, (corners + rng.uniform(-3, 3, (4, 2))).astype(np.float32))
    elsewhere = np.where(rng.random((24, 1)) < 0.1, rng.uniform(-60, 60, (24, 2)), 0)
    pose = fit_pose(replace(seen, ends=seen.ends + elsewhere), picture, LENGTH, start, CLUB, 1.08 * PITCH)
    assert pose.pitch_mm == pytest.approx(PITCH, rel=0.003)
    assert np.abs(project(pose.to_face, pixels) - corners).max() < 0.1
    assert pose.sd_end_mm < 0.1 and pose.rms_mm < 0.01
