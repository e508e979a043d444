"""Many shots of one golfer with one club: how they are delivered, where they land, how they scatter."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Self

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from ..base.club import Club
from ..base.errors import InputError
from ..base.tables import check_number
from ..lie.hands import lie_change_from_handle_deg
from .air import SEA_LEVEL, Air, Array
from .trajectory import fly, launch

HOLDS = {
    "score lines": "Held fixed: the aim of the score lines, so a change of lie turns the face.",
    "face": "Held fixed: the aim of the face, squared by habit, so a change of lie does not turn it.",
}

_SCATTERED = ("club_speed_m_s", "attack_deg", "path_deg", "score_heading_deg", "loft_deg", "lie_deg", "strike_toe_mm")
MEAN_SWING = np.zeros((len(_SCATTERED) + 1, 1))  # the draws of one swing without scatter
_LIMITS = {
    "club_speed_m_s": (8, 70, "metres a second"),
    "attack_deg": (-15, 10, "degrees"),
    "path_deg": (-20, 20, "degrees"),
    "score_heading_deg": (-20, 20, "degrees"),
    "shaft_lean_deg": (-15, 25, "degrees"),
    "strike_toe_mm": (-30, 30, "millimetres"),
    "head_mass_kg": (0.15, 0.45, "kilograms"),
    "s_club_speed_m_s": (0, 5, "metres a second"),
    "s_attack_deg": (0, 4, "degrees"),
    "s_path_deg": (0, 6, "degrees"),
    "s_score_heading_deg": (0, 6, "degrees"),
    "s_loft_deg": (0, 4, "degrees"),
    "s_lie_deg": (0, 4, "degrees"),
    "s_strike_toe_mm": (0, 12, "millimetres"),
}


@dataclass(frozen=True, kw_only=True)
class Delivery:
    """How a golfer brings one club to the ball: means, and the scatter from shot to shot as standard deviations `s_…`.

    Parameters
    ----------
    club_speed_m_s : float
    attack_deg : float
        Up positive, down negative.
    path_deg, score_heading_deg : float
        Heading of the path and of the score lines, to the closed side positive.
    shaft_lean_deg : float
        Forward lean of the shaft at impact: the delivered loft is the club's less this.
    strike_toe_mm : float
    head_mass_kg : float
    s_club_speed_m_s, s_attack_deg, s_path_deg, s_score_heading_deg, s_loft_deg, s_lie_deg, s_strike_toe_mm : float
    correlation : mapping of (str, str) to float
        Between two scattered quantities, named as above without `s_`. All others are independent.

    Raises
    ------
    InputError
        Naming the argument and its unit.

    Notes
    -----
    The defaults stand for a steady club golfer: common practice, no source. A golfer whose path goes left tends to
    close the face with it, hence the correlation.
    """

    club_speed_m_s: float
    attack_deg: float = -4.0
    path_deg: float = 0.0
    score_heading_deg: float = 0.0
    shaft_lean_deg: float = 6.0
    strike_toe_mm: float = 0.0
    head_mass_kg: float = 0.27
    s_club_speed_m_s: float = 0.7
    s_attack_deg: float = 1.0
    s_path_deg: float = 1.5
    s_score_heading_deg: float = 1.8
    s_loft_deg: float = 1.2
    s_lie_deg: float = 0.8
    s_strike_toe_mm: float = 0.0
    correlation: Mapping[tuple[str, str], float] = field(
        default_factory=lambda: {("path_deg", "score_heading_deg"): 0.5}
    )

    def __post_init__(self) -> None:
        for name, (low, high, unit) in _LIMITS.items():
            object.__setattr__(self, name, check_number(name, getattr(self, name), low, high, unit))
        self.mixing()

    @classmethod
    def typical(cls, club: Club, seven_iron_m_s: float = 36.0, **changes: Any) -> Self:
        """Return a steady club golfer's delivery of `club`, by the speed of the 7-iron (34° of loft), in m/s.

        Speed falls by 0.25 m/s a degree of loft, heads grow from 0.27 kg by 1 g a degree (common practice, memory).

        Examples
        --------
        >>> Delivery.typical(Club(label="9", loft_deg=42)).club_speed_m_s
        34.0
        """
        above = club.loft_deg - 34.0
        usual = {"club_speed_m_s": seven_iron_m_s - 0.25 * above, "head_mass_kg": 0.27 + 0.001 * max(above, 0.0)}
        return cls(**(usual | changes))

    def scattered(self, factor: float) -> Self:
        """Return the same delivery with every standard deviation times `factor`."""
        return replace(self, **{f"s_{name}": factor * getattr(self, f"s_{name}") for name in _SCATTERED})

    def mixing(self) -> Array:
        """Return the matrix that turns independent standard normal draws into this delivery's scatter."""
        matrix = np.eye(len(_SCATTERED))
        for pair, value in self.correlation.items():
            if not isinstance(pair, tuple) or len(set(pair)) != 2 or not set(pair) <= set(_SCATTERED):
                raise InputError(
                    f"correlation has the pair {pair!r}; expected two different names of {', '.join(_SCATTERED)}"
                )
            i, j = map(_SCATTERED.index, pair)
            matrix[i, j] = matrix[j, i] = check_number(
                f"correlation of {pair[0]} and {pair[1]}", value, -0.99, 0.99, "(no unit)"
            )
        try:
            root = np.linalg.cholesky(matrix)
        except np.linalg.LinAlgError:
            raise InputError(
                "correlation cannot be: no quantities can hang together in all these ways at once; expected weaker "
                "ones; lower them"
            ) from None
        return root * np.array([getattr(self, f"s_{name}") for name in _SCATTERED])[:, None]


@dataclass(frozen=True, kw_only=True)
class Target:
    """A green as an oval of given width and depth, or a circle (`Target.circle`), in metres.

    Parameters
    ----------
    carry_m : float
        Distance of its middle along the target line.
    width_m, depth_m : float
        From side to side, and from front to back.
    offline_m : float
        How far its middle is left of the target line.
    """

    carry_m: float
    width_m: float
    depth_m: float
    offline_m: float = 0.0

    def __post_init__(self) -> None:
        for name, low, high in (
            ("carry_m", 1, 400),
            ("width_m", 0.1, 200),
            ("depth_m", 0.1, 200),
            ("offline_m", -200, 200),
        ):
            check_number(name, getattr(self, name), low, high, "metres")

    @classmethod
    def circle(cls, carry_m: float, radius_m: float, offline_m: float = 0.0) -> Self:
        """Return a circle about a point."""
        radius = check_number("radius_m", radius_m, 0.05, 100, "metres")
        return cls(carry_m=carry_m, width_m=2 * radius, depth_m=2 * radius, offline_m=offline_m)

    def holds(self, carry_m: ArrayLike, offline_m: ArrayLike) -> Array:
        """Return True where a landing point is inside.

        Examples
        --------
        >>> Target(carry_m=130, width_m=18, depth_m=20).holds([130, 130], [0, 12])
        array([ True, False])
        """
        across = 2 * (np.asarray(offline_m) - self.offline_m) / self.width_m
        along = 2 * (np.asarray(carry_m) - self.carry_m) / self.depth_m
        return across**2 + along**2 <= 1

    def outline(self, points: int = 73) -> tuple[Array, Array]:
        """Return carry and offline of its edge, in metres."""
        turn = np.linspace(0, 2 * np.pi, points)
        return self.carry_m + self.depth_m / 2 * np.cos(turn), self.offline_m + self.width_m / 2 * np.sin(turn)


@dataclass(frozen=True)
class Ellipse:
    """The ellipse about the mean, shaped as the shots scatter, that holds a given share of them.

    Attributes
    ----------
    carry_m, offline_m : float
        Its middle.
    half_m : tuple of two floats
        Longer and shorter half-axis.
    turn_deg : float
        Heading of the longer half-axis, left of the target line positive, -90° to 90°.
    """

    carry_m: float
    offline_m: float
    half_m: tuple[float, float]
    turn_deg: float

    def outline(self, points: int = 73) -> tuple[Array, Array]:
        """Return carry and offline of its edge, in metres."""
        turn, axis = np.linspace(0, 2 * np.pi, points), np.radians(self.turn_deg)
        long, short = self.half_m[0] * np.cos(turn), self.half_m[1] * np.sin(turn)
        carry = self.carry_m + long * np.cos(axis) - short * np.sin(axis)
        return carry, self.offline_m + long * np.sin(axis) + short * np.cos(axis)


def simulate_shots(
    club: Club,
    delivery: Delivery,
    lie_error_deg: float,
    n: int = 2000,
    seed: int = 1,
    *,
    u_lie_error_deg: float = 0.0,
    bend_deg: float = 0.0,
    hands_down_mm: float = 0.0,
    hold: str = "score lines",
    wind_m_s: Sequence[float] = (0.0, 0.0, 0.0),
    air: Air = SEA_LEVEL,
    model: str = "closed form",
    carry_scale: float = 1.0,
) -> pd.DataFrame:
    """Hit `n` shots and return them as a table.

    The same seed draws the same swings, whatever is changed between two calls.

    Parameters
    ----------
    club : Club
    delivery : Delivery
    lie_error_deg, u_lie_error_deg : float
        Lie error as the club is and is used now (too upright positive), and its standard uncertainty from the bag's
        estimate.
    n, seed : int
    bend_deg : float
        A bend to try, upright positive. With the shaft leaning forward by the delivery's lean it changes the lie error
        by bend · cos(lean), and turns the score lines' frame by bend · sin(lean), upright closing it.
    hands_down_mm : float
        A change of delivery to try: hands lower at the grip by this, measured vertically. Needs the club's length and
        lie.
    hold : {"score lines", "face"}
        What the golfer keeps: the aim of the score lines, or that of the face itself (then no change of lie turns the
        ball's start).
    wind_m_s, air, model
        As in `fly`.
    carry_scale : float
        Factor on carry, offline and apex (see `carry_scale`).

    Returns
    -------
    DataFrame
        A row a shot: the delivery, `launch` and `fly`, in their units. `offline_m` is to the left in the picture of
        either hand.

    Raises
    ------
    InputError
        Naming the argument and its unit.

    Examples
    --------
    >>> club = Club(label="7", loft_deg=34)
    >>> flat, level = (simulate_shots(club, Delivery.typical(club), lie, n=500) for lie in (-2, 0))
    >>> round(float((flat["offline_m"] - level["offline_m"]).mean()), 1)  # too flat: to the right
    -3.9
    """
    swing = swing_arrays(
        club, delivery, lie_error_deg, u_lie_error_deg, bend_deg, hands_down_mm, hold, standard_draws(n, seed)
    )
    return hit_shots(swing, club, delivery, wind_m_s, air, model, carry_scale)[0]


def standard_draws(n: int, seed: int) -> Array:
    """Return standard normal draws, shape (8, n): a row a scattered quantity, the last for the lie error's doubt."""
    n = int(check_number("n", n, 1, 1_000_000, "shots"))
    seed = int(check_number("seed", seed, 0, 2**32, "(a whole number)"))
    return np.random.default_rng(seed).standard_normal((len(_SCATTERED) + 1, n))


def swing_arrays(
    club: Club,
    delivery: Delivery,
    lie_error_deg: float,
    u_lie_error_deg: float,
    bend_deg: float,
    hands_down_mm: float,
    hold: str,
    draws: Array,
) -> dict[str, Array]:
    """Return what `launch` takes, by name, an array a quantity."""
    lie_error = check_number("lie_error_deg", lie_error_deg, -10, 10, "degrees")
    doubt = check_number("u_lie_error_deg", u_lie_error_deg, 0, 5, "degrees")
    bend = check_number("bend_deg", bend_deg, -6, 6, "degrees")
    hands = check_number("hands_down_mm", hands_down_mm, -80, 80, "millimetres")
    if hold not in HOLDS:
        raise InputError(f"hold is {hold!r}; expected one of {', '.join(map(repr, HOLDS))}")
    lean = np.radians(delivery.shaft_lean_deg)
    lie_error += bend * np.cos(lean)
    if hands:
        if club.length_in is None or club.lie_deg is None:
            raise InputError(
                f"hands_down_mm needs length_in (inches) and lie_deg (degrees) of club {club.label}; they are not "
                "known; expected both; enter them"
            )
        lie_error += float(lie_change_from_handle_deg(hands, club.length_in, club.lie_deg))
    loft = club.loft_deg - delivery.shaft_lean_deg
    if hold == "face":
        turn = -np.degrees(np.arctan(np.tan(np.radians(loft)) * np.sin(np.radians(lie_error))))
    else:
        turn = bend * np.sin(lean)
    speed, attack, path, heading, lofts, lies, strike = delivery.mixing() @ draws[:-1]
    return {
        "club_speed_m_s": np.maximum(delivery.club_speed_m_s + speed, 1.0),
        "delivered_loft_deg": loft + lofts,
        "attack_deg": delivery.attack_deg + attack,
        "path_deg": delivery.path_deg + path,
        "score_heading_deg": delivery.score_heading_deg + heading + turn,
        "lie_error_deg": lie_error + lies + doubt * draws[-1],
        "strike_toe_mm": delivery.strike_toe_mm + strike,
    }


def hit_shots(
    swing: Mapping[str, Array],
    club: Club,
    delivery: Delivery,
    wind_m_s: Sequence[float],
    air: Air,
    model: str,
    scale: float,
    path_points: int = 0,
) -> tuple[pd.DataFrame, Array | None]:
    """Return the table of these shots, and their paths if points are asked for."""
    scale = check_number("carry_scale", scale, 0.3, 3, "(a factor)")
    start = launch(**swing, head_mass_kg=delivery.head_mass_kg, handed=club.handed)
    landing = vars(fly(**start.ball, wind_m_s=wind_m_s, air=air, model=model, path_points=path_points)).copy()
    path_m = landing.pop("path_m")
    for name in ("carry_m", "offline_m", "apex_m"):
        landing[name] = scale * landing[name]
    columns = dict(swing) | vars(start) | landing
    table = pd.DataFrame(np.array(list(columns.values())).T, columns=list(columns))
    return table, None if path_m is None else scale * path_m


def carry_scale(
    club: Club,
    delivery: Delivery,
    own_carry_m: float,
    lie_error_deg: float = 0.0,
    *,
    air: Air = SEA_LEVEL,
    model: str = "closed form",
) -> float:
    """Return the factor that brings the model's carry, in still air, to the golfer's own with this club, in metres.

    It stands for everything between the model's ball, strike and air and the golfer's own.

    Examples
    --------
    >>> club = Club(label="7", loft_deg=34)
    >>> round(carry_scale(club, Delivery.typical(club), own_carry_m=130), 2)
    1.01
    """
    own = check_number("own_carry_m", own_carry_m, 10, 350, "metres")
    shot, _ = hit_shots(
        swing_arrays(club, delivery, lie_error_deg, 0, 0, 0, "score lines", MEAN_SWING),
        club,
        delivery,
        (0, 0, 0),
        air,
        model,
        1.0,
    )
    return float(own / shot["carry_m"].iloc[0])


def ellipse(shots: pd.DataFrame, share: float) -> Ellipse:
    """Return the ellipse that holds `share` (0 to 1) of the shots.

    Its shape is that of their covariance, its size is counted, so that no normal distribution is taken for granted.
    (For normal scatter the size is that of the chi-squared distribution: half-axes of 1.18 and 2.45 standard
    deviations for 50 % and 95 %.)
    """
    check_number("share", share, 0.01, 0.99, "(a share of the shots)")
    points = shots[["carry_m", "offline_m"]].to_numpy()
    if len(points) < 5:
        raise InputError(f"shots has {len(points)} rows; expected at least 5 for an ellipse")
    away = points - points.mean(axis=0)
    values, vectors = np.linalg.eigh(away.T @ away / (len(points) - 1))
    values = np.maximum(values, 1e-12)
    size = np.quantile(np.sum((away @ vectors) ** 2 / values, axis=1), share)
    long = vectors[:, 1] * (np.sign(vectors[0, 1]) or 1.0)
    carry, offline = points.mean(axis=0)
    half = np.sqrt(size * values[::-1])
    return Ellipse(
        float(carry), float(offline), (float(half[0]), float(half[1])), float(np.degrees(np.arctan2(long[1], long[0])))
    )


def summarize_shots(shots: pd.DataFrame, target: Target | None = None) -> pd.DataFrame:
    """Return mean, scatter and shares of the shots with the Monte Carlo error of each.

    Parameters
    ----------
    shots : DataFrame
        As from `simulate_shots`.
    target : Target, optional

    Returns
    -------
    DataFrame
        Index `carry_m`, `offline_m`, `s_carry_m`, `s_offline_m`, `area_95_m2`, `share_left`, `share_right` and, with a
        target, `share_in_target`; columns `value` and `monte_carlo` (standard error by the number of shots; NaN for
        the area).

    Examples
    --------
    >>> club = Club(label="7", loft_deg=34)
    >>> shots = simulate_shots(club, Delivery.typical(club), 0.0, n=500)
    >>> summarize_shots(shots).loc["s_offline_m"].round(2).to_dict()
    {'value': 6.04, 'monte_carlo': 0.19}
    """
    carry, offline = shots["carry_m"].to_numpy(), shots["offline_m"].to_numpy()
    n = len(shots)
    rows: dict[str, tuple[float, float]] = {}
    for name, values in (("carry_m", carry), ("offline_m", offline)):
        deviation = values.std(ddof=1)
        rows[name] = values.mean(), deviation / np.sqrt(n)
        rows[f"s_{name}"] = deviation, deviation / np.sqrt(2 * (n - 1))
    long, short = ellipse(shots, 0.95).half_m
    rows["area_95_m2"] = np.pi * long * short, np.nan
    for name, counted in count_shares(shots, target).items():
        # Standard deviation of the Beta(k + 1/2, n - k + 1/2) of a share, so that none of 2000 does not claim to be
        # exact.
        k = counted.sum() + 0.5
        rows[name] = counted.mean(), np.sqrt(k * (n + 1 - k) / ((n + 1) ** 2 * (n + 2)))
    return pd.DataFrame.from_dict(rows, orient="index", columns=["value", "monte_carlo"])


def count_shares(shots: pd.DataFrame, target: Target | None) -> dict[str, Array]:
    """Return which shots each share counts, a boolean array a share."""
    counts = {"share_left": shots["offline_m"].to_numpy() > 0, "share_right": shots["offline_m"].to_numpy() < 0}
    if target is not None:
        counts["share_in_target"] = target.holds(shots["carry_m"].to_numpy(), shots["offline_m"].to_numpy())
    return counts
