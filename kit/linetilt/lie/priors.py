"""What is taken for granted before the first ball, and when a bag is finished."""

import math
from dataclasses import dataclass, fields

from ..base.errors import InputError
from ..base.tables import check_number


@dataclass(frozen=True, kw_only=True)
class Priors:
    """What is taken for granted before the first ball; every assumption can be changed.

    Parameters
    ----------
    offset_deg, offset_sd_deg : float
        Lie error of a golfer's 7-iron: usual value, and standard deviation over golfers, in degrees.
    slope_deg_per_in, slope_sd_deg_per_in : float
        Change of lie error for each inch of length, over golfers, in degrees an inch.
    club_scatter_deg, club_scatter_log_sd : float
        What one club does beside the golfer's trend: median of its standard deviation over golfers, in degrees, and the
        standard deviation of that number's logarithm (0: known exactly).
    gauged_scatter_deg : float
        The same for clubs read on a lie gauge, where the club's own share is known and only the golfer's is left, in
        degrees.
    odd_probability, odd_deg : float
        Share of clubs that stand apart from the rest of the bag with nobody knowing why, and the standard deviation of
        what they do beside the trend, in degrees. In proportion less for gauged clubs and more for clubs bought apart.
    apart_factor : float
        How many times wider that scatter is for a club bought apart from the set.
    shot_scatter_deg, shot_scatter_log_sd : float
        Scale of the shots about their club: median over golfers, in degrees, and standard deviation of its logarithm.
    shot_dof : float
        Degrees of freedom of Student's t for the shots; ``inf`` for shots without outliers.
    heading_sd_deg : float
        Mean face heading of a golfer's session where it is not known: standard deviation over golfers, in degrees.

    Notes
    -----
    The figures are common practice and guesses from trials, without a published source. They matter at one to three
    balls a club and fade after that.
    """

    offset_deg: float = 0.0
    offset_sd_deg: float = 2.5
    slope_deg_per_in: float = 0.0
    slope_sd_deg_per_in: float = 0.6
    club_scatter_deg: float = 0.5
    club_scatter_log_sd: float = 0.6
    gauged_scatter_deg: float = 0.3
    odd_probability: float = 0.05
    odd_deg: float = 2.5
    apart_factor: float = 2.0
    shot_scatter_deg: float = 1.0
    shot_scatter_log_sd: float = 0.3
    shot_dof: float = 4.0
    heading_sd_deg: float = 2.0

    def __post_init__(self):
        for name in (f.name for f in fields(self)):
            low = -1e6 if name in ("offset_deg", "slope_deg_per_in") else 0.0
            value = check_number(f"priors: {name}", getattr(self, name), low, math.inf, "")
            if low == 0.0 and not name.endswith(("log_sd", "probability")) and value == 0.0:
                raise InputError(f"priors: {name} is 0; expected more than 0 (a tiny number says that it is known)")
            object.__setattr__(self, name, value)
        check_number("priors: odd_probability", self.odd_probability, 0, 0.5, "")


@dataclass(frozen=True, kw_only=True)
class Stop:
    """When a bag is finished: every club within a tolerance of its estimate, or beyond what more balls could change.

    Parameters
    ----------
    tolerance_deg : float
        How close a club's lie error must lie to its estimate, in degrees.
    probability : float
        With which probability.
    step_deg : float
        Smallest step of the bench, in degrees. A club whose whole 95 % interval asks for the same bend, because its
        head allows no more, is finished too.
    """

    tolerance_deg: float = 1.0
    probability: float = 0.9
    step_deg: float = 0.25

    def __post_init__(self):
        check_number("stop: tolerance_deg", self.tolerance_deg, 0.1, 5, "degrees")
        check_number("stop: probability", self.probability, 0.5, 0.999, "")
        check_number("stop: step_deg", self.step_deg, 0.05, 1, "degrees")
