"""The same swings before and after a change: what it does to where the balls land, in numbers and in words."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import pandas as pd

from ..base.club import Club
from .air import SEA_LEVEL, Air, Array
from .dispersion import (
    HOLDS,
    MEAN_SWING,
    Delivery,
    Target,
    carry_scale,
    count_shares,
    hit_shots,
    standard_draws,
    summarize_shots,
    swing_arrays,
)
from .trajectory import CARRY_SPREAD, YARDS_PER_M, fly, from_metres, launch

RULE_OF_THUMB_YD = 4.0  # a degree of lie with a mid iron: common practice, no source


@dataclass(frozen=True)
class PerDegree:
    """What one degree does to the landing point of the mean shot, in metres to the side it goes (closed side positive).

    Attributes
    ----------
    lie_m, bend_m, heading_m : float
        By a degree of lie error, of bench bend (which turns the score lines' frame too), and of face heading.
    delivered_loft_deg : float
    label : str
        The club's.
    """

    lie_m: float
    bend_m: float
    heading_m: float
    delivered_loft_deg: float
    label: str

    def sentence(self, unit: str = "yd") -> str:
        """Return the figure beside the rule of thumb, and why they differ."""
        rule, lie, bend, heading = (
            from_metres(value, unit)
            for value in (RULE_OF_THUMB_YD / YARDS_PER_M, self.lie_m, self.bend_m, self.heading_m)
        )
        bench = (
            f", a degree of bench bend by {bend:.1f} {unit} (it turns the score lines as well)"
            if abs(bend - lie) > 0.05
            else ""
        )
        return (
            f"A degree of lie moves the {self.label} by {lie:.1f} {unit} with this delivery{bench}. The rule of thumb "
            f"says {rule:.1f} {unit} (common practice, no source), about what a degree of face heading does to a mid "
            f"iron with the hands ahead. Here a degree of face heading is worth {heading:.1f} {unit}, and at "
            f"{self.delivered_loft_deg:.0f}° of delivered loft a degree of lie turns the face by only "
            f"{np.tan(np.radians(self.delivered_loft_deg)):.2f}°."
        )


def per_degree(
    club: Club,
    delivery: Delivery,
    *,
    wind_m_s: Sequence[float] = (0.0, 0.0, 0.0),
    air: Air = SEA_LEVEL,
    model: str = "closed form",
    carry_scale: float = 1.0,
) -> PerDegree:
    """Return what a degree does to this club's mean shot with the score lines' aim held, about a lie error of zero."""
    lean = np.radians(delivery.shaft_lean_deg)
    half = np.array([[-0.5], [0.5]])
    start = launch(
        club_speed_m_s=delivery.club_speed_m_s,
        delivered_loft_deg=club.loft_deg - delivery.shaft_lean_deg,
        attack_deg=delivery.attack_deg,
        path_deg=delivery.path_deg,
        head_mass_kg=delivery.head_mass_kg,
        strike_toe_mm=delivery.strike_toe_mm,
        lie_error_deg=half * [1.0, np.cos(lean), 0.0],
        score_heading_deg=delivery.score_heading_deg + half * [0.0, np.sin(lean), 1.0],
    )
    closed = np.diff(fly(**start.ball, wind_m_s=wind_m_s, air=air, model=model).offline_m, axis=0)[0]
    lie, bend, heading = (carry_scale * closed).tolist()
    return PerDegree(lie, bend, heading, club.loft_deg - delivery.shaft_lean_deg, club.label)


@dataclass(frozen=True)
class Comparison:
    """Shots before and after a change, as `compare_shots` returns them.

    Attributes
    ----------
    before, after : DataFrame
        As from `simulate_shots`, row for row the same swings.
    paths_m : ndarray
        Flight of the mean swing: points (x, y, z), shape (points, 3, 2), before and after.
    club : Club
    target : Target or None
    hold : str
    change : str
        What was changed, in words.
    carry_scale : float
    own_carry : bool
        True where the factor comes from the golfer's own carry.
    degree : PerDegree
    """

    before: pd.DataFrame
    after: pd.DataFrame
    paths_m: np.ndarray
    club: Club
    target: Target | None
    hold: str
    change: str
    carry_scale: float
    own_carry: bool
    degree: PerDegree

    @cached_property
    def table(self) -> pd.DataFrame:
        """`summarize_shots` before and after and the change, each with its Monte Carlo error, in metres.

        The error of a change is that of the paired differences, swing by swing: far less than that of either side.
        """
        before, after = (summarize_shots(shots, self.target) for shots in (self.before, self.after))
        table = before.rename(columns={"value": "before", "monte_carlo": "before_monte_carlo"})
        table[["after", "after_monte_carlo"]] = after
        table["change"] = table["after"] - table["before"]
        table["change_monte_carlo"] = np.nan
        pairs = {name: self.after[name] - self.before[name] for name in ("carry_m", "offline_m")}
        counts = count_shares(self.before, self.target), count_shares(self.after, self.target)
        pairs |= {name: counts[1][name].astype(float) - counts[0][name] for name in counts[0]}
        n = len(self.before)
        for name, difference in pairs.items():
            unseen = (
                0.5 / n if name in counts[0] else 0.0
            )  # half a swing more that changed sides, so that none does not claim to be exact
            table.loc[name, "change_monte_carlo"] = np.sqrt((np.var(difference, ddof=1) + unseen) / n)
        return table

    def words(self, unit: str = "yd") -> pd.DataFrame:
        """Return the table as a golfer reads it, of str: yards ("yd") or metres ("m"), left and right in words."""
        scale, percent = from_metres(1.0, unit), 100.0
        table = self.table
        rows = {}
        for title, row, factor in (
            (f"mean carry, {unit}", "carry_m", scale),
            (f"mean side, {unit}", "offline_m", scale),
            (f"carry scatter, {unit}", "s_carry_m", scale),
            (f"side scatter, {unit}", "s_offline_m", scale),
            ("left of the line, %", "share_left", percent),
            ("right of the line, %", "share_right", percent),
            ("in the target, %", "share_in_target", percent),
        ):
            if row in table.index:
                rows[title] = [
                    _cell(row, factor * table.loc[row, side], factor * table.loc[row, f"{side}_monte_carlo"], side)
                    for side in table.columns[::2]
                ]
        return pd.DataFrame.from_dict(rows, orient="index", columns=["before", "after", "change"])

    def _share_error(self) -> float:
        return 100 * self.table.filter(like="share", axis=0)["before_monte_carlo"].max()

    def hold_note(self) -> str:
        """Return what the golfer keeps, as a sentence."""
        return HOLDS[self.hold]

    def carry_note(self) -> str:
        """Return how far the carry may be trusted, as a sentence."""
        if self.own_carry:
            return f"Carry is scaled to the golfer's own: every distance times {self.carry_scale:.2f}."
        return f"Carry is good to ±{100 * CARRY_SPREAD:.0f} %; give the golfer's own carry to scale it."

    def notes(self, unit: str = "yd") -> list[str]:
        """Return the sentences that belong beside the chart: what is held, the carry, the rule of thumb, the dice."""
        return [
            self.hold_note(),
            self.carry_note(),
            self.degree.sentence(unit),
            f"{len(self.before)} simulated swings, the same before and after. So many fix a share to "
            f"±{self._share_error():.1f} %; ± beside a change is that of the change itself, which is less since the "
            "swings are the same.",
        ]


def _cell(row: str, value: float, error: float, side: str) -> str:
    """Return a value in words: sides by name, a change with its sign and error."""
    digits = 0 if row.startswith("share") or (row == "carry_m" and side != "change") else 1
    value = round(value, digits) + 0.0  # no minus before a zero
    if row == "offline_m":
        text = f"{abs(value):.1f} {left_or_right(value)}".strip()
    else:
        text = f"{value:{'+' if side == 'change' and value else ''}.{digits}f}"
    return f"{text} ± {error:.1f}" if side == "change" and error >= 0.05 else text


def left_or_right(offline_m: float) -> str:
    """Return the side in words: the picture's own left and right, for either hand."""
    return "left" if offline_m > 0 else "right" if offline_m < 0 else ""


def compare_shots(
    club: Club,
    delivery: Delivery,
    lie_error_deg: float,
    n: int = 2000,
    seed: int = 1,
    *,
    bend_deg: float = 0.0,
    hands_down_mm: float = 0.0,
    u_lie_error_deg: float = 0.0,
    hold: str = "score lines",
    target: Target | None = None,
    own_carry_m: float | None = None,
    wind_m_s: Sequence[float] = (0.0, 0.0, 0.0),
    air: Air = SEA_LEVEL,
    model: str = "closed form",
) -> Comparison:
    """Hit the same `n` swings before and after a bend or a change of delivery.

    Parameters
    ----------
    target : Target, optional
    own_carry_m : float, optional
        The golfer's own carry with this club in still air; scales every distance by one factor.
    others
        As in `simulate_shots`.

    Returns
    -------
    Comparison

    Raises
    ------
    InputError
        Naming the argument and its unit.

    Examples
    --------
    >>> club = Club(label="7", loft_deg=34)
    >>> result = compare_shots(club, Delivery.typical(club), -2.0, n=500, bend_deg=2)
    >>> print(result.words("m").loc["mean side, m"].to_dict())
    {'before': '3.3 right', 'after': '1.3 left', 'change': '4.6 left'}
    """
    scale = (
        1.0 if own_carry_m is None else carry_scale(club, delivery, own_carry_m, lie_error_deg, air=air, model=model)
    )
    conditions: dict[str, Any] = {"wind_m_s": wind_m_s, "air": air, "model": model}
    changes = ({"bend_deg": 0.0, "hands_down_mm": 0.0}, {"bend_deg": bend_deg, "hands_down_mm": hands_down_mm})

    def both(draws: Array, path_points: int = 0) -> tuple[pd.DataFrame, Array | None]:
        swings = [
            swing_arrays(club, delivery, lie_error_deg, u_lie_error_deg, hold=hold, draws=draws, **change)
            for change in changes
        ]
        swing = {name: np.concatenate([one[name] for one in swings]) for name in swings[0]}
        return hit_shots(swing, club, delivery, scale=scale, path_points=path_points, **conditions)

    shots, _ = both(standard_draws(n, seed))
    _, paths = both(MEAN_SWING, path_points=41)
    half = len(shots) // 2
    return Comparison(
        before=shots.iloc[:half],
        after=shots.iloc[half:].reset_index(drop=True),
        paths_m=np.asarray(paths),
        club=club,
        target=target,
        hold=hold,
        change=_change_in_words(bend_deg, hands_down_mm),
        carry_scale=scale,
        own_carry=own_carry_m is not None,
        degree=per_degree(club, delivery, carry_scale=scale, **conditions),
    )


def _change_in_words(bend_deg: float, hands_down_mm: float) -> str:
    parts = []
    if bend_deg:
        parts.append(f"bent {abs(bend_deg):g}° {'upright' if bend_deg > 0 else 'flat'}")
    if hands_down_mm:
        parts.append(f"hands {abs(hands_down_mm):g} mm {'lower' if hands_down_mm > 0 else 'higher'}")
    return ", ".join(parts) or "no change"
