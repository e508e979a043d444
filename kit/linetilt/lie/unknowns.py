"""What every ball of a session has in common and nobody has measured: usual values, doubts, and how a reading hangs on
them.
"""

import math
from dataclasses import dataclass, fields

import numpy as np

from ..base.errors import InputError
from ..base.tables import check_number
from .start import FACE_SHARE, SHARE_LOFT_DEG

# What a check leaves of the doubt, as a standard uncertainty in degrees: common practice, no source.
CHECKED_DEG = {"path_deg": 1.0, "lean_deg": 0.3, "turn_deg": 0.3, "aim_deg": 0.2, "shaft_lean_deg": 1.0}

# The column of the readings that holds the sensitivity to each unknown.
COLUMNS = {
    "path_deg": "s_path",
    "lean_deg": "s_lean",
    "turn_deg": "s_turn",
    "aim_deg": "s_aim",
    "shaft_lean_deg": "s_loft",
    "heading_deg": "s_heading",
}


@dataclass(frozen=True, kw_only=True)
class SessionUnknowns:
    """What is the same for every ball of a session: value at which the readings were taken, and standard uncertainty,
    of each.

    Parameters
    ----------
    path_deg : (float, float)
        The golfer's mean path against the target line, as a closed face is counted, in degrees.
    lean_deg, turn_deg : (float, float)
        Mean lean of the ball's line from plumb, and its mean turn from the target line, as the line is set in this
        session, in degrees.
    aim_deg : (float, float)
        Mean start direction that the net's aim dot and distance make of a ball that starts on the target line, in
        degrees.
    shaft_lean_deg : (float, float)
        Forward lean of the shaft at impact: the loft delivered is the static loft less that, in degrees.
    heading_deg : (float, float)
        Mean heading of the face over the balls whose start nobody saw, in degrees.

    Raises
    ------
    InputError

    Notes
    -----
    The values are those with which the readings were computed, so that the fit sees only the doubt: an unknown of the
    fit is how far the session is from its stated value, with mean 0 and this standard deviation. A path of -2° ± 1° by
    a launch monitor is ``path_deg=(-2, 1)`` beside readings that were taken with a path of -2°. The usual figures are
    common practice, no source: paths of club golfers' irons within 6° of straight; lines set by eye; a shaft that leans
    forward by 0 to 10° with a mid iron.

    Examples
    --------
    >>> SessionUnknowns(path_deg=(-2, 1)).path_deg
    (-2.0, 1.0)
    """

    path_deg: tuple[float, float] = (0.0, 3.5)
    lean_deg: tuple[float, float] = (0.0, 0.8)
    turn_deg: tuple[float, float] = (0.0, 0.8)
    aim_deg: tuple[float, float] = (0.0, 0.35)
    shaft_lean_deg: tuple[float, float] = (5.0, 2.5)
    heading_deg: tuple[float, float] = (0.0, 2.0)

    def __post_init__(self):
        for name in (f.name for f in fields(self)):
            given = getattr(self, name)
            try:
                mean, sd = given
            except (TypeError, ValueError):
                raise InputError(
                    f"session: {name} is {given!r}; expected a value and its standard uncertainty, "
                    "both in degrees, such as (0, 3)"
                ) from None
            mean = check_number(f"session: value of {name}", mean, -45, 45, "degrees")
            object.__setattr__(
                self, name, (mean, check_number(f"session: uncertainty of {name}", sd, 0, 45, "degrees"))
            )

    @property
    def sds(self) -> np.ndarray:
        """The standard uncertainties, in the order of `COLUMNS`, in degrees."""
        return np.array([getattr(self, name)[1] for name in COLUMNS])


def usual_sensitivity(loft_deg: float, start_known: bool) -> dict[str, float]:
    """Return how a reading hangs on each unknown, in degrees of lie a degree, for a club that meets the ball level and
    square.

    Parameters
    ----------
    loft_deg : float
        Loft delivered, in degrees.
    start_known : bool
        Whether the ball's start was seen (its path and aim count) or not (its heading counts).

    Returns
    -------
    dict
        By the columns of `COLUMNS`; first order of the print's geometry.
    """
    loft = math.radians(loft_deg)
    share = float(np.interp(loft_deg, SHARE_LOFT_DEG, FACE_SHARE))
    turned = math.sin(loft) * math.cos(loft)
    return {
        "s_path": -turned * (1 - share) / share if start_known else 0.0,
        "s_lean": -(math.cos(loft) ** 2),
        "s_turn": -turned,
        "s_aim": turned / share if start_known else 0.0,
        "s_loft": 0.0,
        "s_heading": 0.0 if start_known else turned,
    }
