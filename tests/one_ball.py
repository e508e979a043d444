"""One ball read by `lie_reading`, with what its session shares, to set against tables of balls."""

import linetilt as lt
import numpy as np
from linetilt.lie.start import FACE_SHARE, SHARE_LOFT_DEG, U_FACE_SHARE


def as_one_ball(tilt, u_tilt, loft, start, session):
    """The same reading by `lie_reading`, which is checked against brute force elsewhere, its doubts put together
    here."""
    loft -= session.shaft_lean_deg[0]
    share, u_share = (np.interp(loft, SHARE_LOFT_DEG, table) for table in (FACE_SHARE, U_FACE_SHARE))
    path, u_path = session.path_deg
    heading, u_heading = 0.0, np.hypot(2.0, session.heading_deg[1])
    if start is not None:
        heading = (start[0] - (1 - share) * path) / share
        parts = (start[1], session.aim_deg[1], (1 - share) * np.hypot(1.0, u_path), u_share * (path - heading))
        u_heading = np.sqrt(sum((part / share) ** 2 for part in parts))
    return lt.lie_reading(
        tilt, loft, u_tilt_deg=u_tilt, face_heading_deg=heading, u_face_heading_deg=u_heading,
        setup_tilt_deg=session.lean_deg[0], u_setup_tilt_deg=np.hypot(0.35, session.lean_deg[1]),
        line_turn_deg=session.turn_deg[0], u_line_turn_deg=np.hypot(0.35, session.turn_deg[1]),
        u_loft_deg=session.shaft_lean_deg[1],
    )  # fmt: skip
