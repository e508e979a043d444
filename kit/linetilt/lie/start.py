"""Where the ball started, by the net or from afar, and what that says of the face's heading.

Directions seen from behind the ball (left, right) are mirrored for left-handed golfers here, once.
"""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import pandas as pd

from ..base.checks import HANDS
from ..base.errors import InputError
from .ball import propagate
from .geometry import arrays, doubt, one_number

# Standard uncertainties where the fitter says nothing: common practice, no source.
U_START_DEG = 0.5  # start direction read by a launch monitor
U_PATH_DEG = 1.0  # path read by a launch monitor
U_PATH_UNKNOWN_DEG = 3.0  # the head's path against the target line when nobody measured it
U_NET_SPOT_MM = 25.0  # where on the net the ball hit, and where it was aimed
CURVE_DOUBT_DEG_PER_M = (
    0.02  # a flight curves about in proportion to its length: some 3° at 150 m for 3° of face to path
)

# Share of the start direction that follows the face, the rest follows the path, with its spread between golfers:
# driver,
# 7-iron, wedge. Wood, Henrikson, Broadie, Proceedings 2(6) (2018) 249. The lofts are usual ones put to those clubs
# here.
SHARE_LOFT_DEG = (10.5, 34.0, 56.0)
FACE_SHARE = (0.76, 0.69, 0.61)
U_FACE_SHARE = (0.08, 0.03, 0.07)


class StartDirection(NamedTuple):
    """Where a ball started: `start_deg` against the target line, closed side positive, and its standard uncertainty."""

    start_deg: float
    u_start_deg: float


@dataclass(frozen=True, eq=False)
class FaceHeading:
    """The face's heading at impact, closed positive, with its standard uncertainty and the budget behind it."""

    face_heading_deg: float
    u_face_heading_deg: float
    budget: pd.DataFrame


def heading_from_start(
    start_deg: float,
    loft_deg: float,
    path_deg: float | None = None,
    *,
    u_start_deg: float = U_START_DEG,
    u_path_deg: float | None = None,
) -> FaceHeading:
    """Turn the direction in which a ball started into the heading of the face.

    Parameters
    ----------
    start_deg, u_start_deg : float
        Start direction against the target line, closed side positive, and its standard uncertainty, in degrees
        (`start_from_net`, `start_from_offline`, or a launch monitor).
    loft_deg : float
        Loft delivered, in degrees; decides how much of the direction is the face's.
    path_deg : float, optional
        Direction of the head's path at impact, same sense, in degrees. None: unknown, about the target line.
    u_path_deg : float, optional
        Its standard uncertainty; default `U_PATH_DEG`, or `U_PATH_UNKNOWN_DEG` where the path is unknown.

    Returns
    -------
    FaceHeading

    Raises
    ------
    InputError

    Notes
    -----
    start = share * heading + (1 - share) * path, with the shares and spreads of Wood, Henrikson and Broadie,
    Proceedings 2(6) (2018) 249, interpolated over loft and held beyond the ends.
    """
    start, loft = one_number("start_deg", start_deg), one_number("loft_deg", loft_deg)
    path_known = path_deg is not None
    path = one_number("path_deg", path_deg) if path_known else 0.0
    if u_path_deg is None:
        u_path_deg = U_PATH_DEG if path_known else U_PATH_UNKNOWN_DEG
    share, u_share = np.interp(loft, SHARE_LOFT_DEG, FACE_SHARE), np.interp(loft, SHARE_LOFT_DEG, U_FACE_SHARE)
    heading, u_heading, budget = propagate(
        lambda start, share, path: (start - (1 - share) * path) / share,
        (start, share, path),
        (doubt("u_start_deg", u_start_deg), u_share, doubt("u_path_deg", u_path_deg)),
        ("start direction", "share of the face", "path of the head" if path_known else "path of the head (unknown)"),
        ("deg", "1", "deg"),
    )
    return FaceHeading(heading, u_heading, budget.rename(columns={"contribution": "contribution_deg"}))


def start_from_net(
    left_mm: float, distance_mm: float, handed: str = "right", *, u_left_mm: float = U_NET_SPOT_MM
) -> StartDirection:
    """Return the start direction of a ball that hit a net.

    Parameters
    ----------
    left_mm : float or array
        How far left of the aim dot the ball hit, seen from behind the ball, in mm (right: negative).
    distance_mm : float or array
        From the ball to the net along the target line, in mm.
    handed : {"right", "left"}
    u_left_mm : float
        Standard uncertainty of `left_mm`, in mm.

    Returns
    -------
    StartDirection
        In degrees, closed side positive: left for a right-handed golfer, right for a left-handed one.

    Raises
    ------
    InputError
    """
    left, distance = arrays(left_mm=left_mm, distance_mm=distance_mm)
    u_left = doubt("u_left_mm", u_left_mm, high=2000.0, unit="millimetres")
    slope = u_left * distance / (distance**2 + left**2)
    return StartDirection(closed(left, distance, handed), np.degrees(slope))


def start_from_offline(
    left_m: float, distance_m: float, handed: str = "right", *, u_left_m: float = 0.0
) -> StartDirection:
    """Return the start direction of a ball seen left or right of the target line some way out.

    Parameters
    ----------
    left_m : float or array
        How far left of the target line, seen from behind the ball, in metres (right: negative).
    distance_m : float or array
        How far out along the target line that was seen, in metres. The nearer the better: the flight curves, and that
        doubt grows by `CURVE_DOUBT_DEG_PER_M`.
    handed : {"right", "left"}
    u_left_m : float
        Standard uncertainty of `left_m`, in metres, apart from the curve.

    Returns
    -------
    StartDirection
        In degrees, closed side positive: left for a right-handed golfer, right for a left-handed one.

    Raises
    ------
    InputError
    """
    left, distance = arrays(left_m=left_m, distance_m=distance_m)
    u_left = doubt("u_left_m", u_left_m, high=50.0, unit="metres")
    slope = np.degrees(u_left * distance / (distance**2 + left**2))
    return StartDirection(closed(left, distance, handed), np.hypot(slope, CURVE_DOUBT_DEG_PER_M * distance))


def closed(left, distance, handed):
    """Return a direction in degrees, closed side positive, from how far left and how far out a ball was."""
    if handed not in HANDS:
        raise InputError(f'handed is {handed!r}; expected "right" or "left"')
    return np.degrees(np.arctan2(left if handed == "right" else -left, distance))
