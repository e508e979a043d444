"""One golfer over days and weeks: where the strikes are, what changes and how sure that is, and how far the hands have
come."""

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd

from ..base.checks import check
from ..base.club import Club
from ..base.errors import InputError
from ..base.states import COUNTED
from ..base.statistics import COVERAGE_FACTOR, student_quantile
from ..book.book import SessionBook
from ..lie.hands import handle_change_mm
from .middle import session_shots

WITHIN_MM = (
    8.0  # of the middle: what counts as a good strike unless the golfer chooses otherwise; common practice, no source
)

# quantity: (unit, what more of it is, what less of it is)
QUANTITIES = {
    "strike_toe_mm": ("mm", "towards the toe", "towards the heel"),
    "strike_up_mm": ("mm", "up the face", "down the face"),
    "away_mm": ("mm", "further from the middle", "closer to the middle"),
    "inside": ("%", "more strikes near the middle", "fewer strikes near the middle"),
    "tilt_deg": ("°", "more lean to the toe", "more lean to the heel"),
    "lie_error_deg": ("°", "more toe up", "more toe down"),
    "delivery_deg": ("°", "more toe up", "more toe down"),
}


def practice_shots(book: SessionBook, golfer: int, club: str | None = None) -> pd.DataFrame:
    """Collect one golfer's shots of all sessions.

    Parameters
    ----------
    book : SessionBook
    golfer : int
    club : str, optional
        Only this club.

    Returns
    -------
    DataFrame
        A row a shot that was not set aside, oldest first: day, session_id, club, strike_toe_mm, strike_up_mm, tilt_deg,
        lie_error_deg, u_lie_error_deg, bent_deg (by how much the club was bent by then, upright positive) and
        delivery_deg (lie error less that bend: what the golfer does, whatever the bench did).

    Raises
    ------
    InputError
        When the book has no shot of this golfer, or none with this club.
    """
    sessions = book.sessions()
    sessions = sessions[sessions["golfer_id"] == golfer].sort_values(["day", "session_id"])
    tables = [pd.DataFrame()]
    for row in sessions.itertuples():
        shots = session_shots(book, row.session_id)
        bent = {one.label: one.bent_deg for one in book.bag(row.bag_id, session=row.session_id)}
        kept = shots[shots["state"] == COUNTED]
        tables.append(kept.assign(day=row.day, bent_deg=kept["club"].map(bent).astype(float)))
    table = pd.concat(tables, ignore_index=True)
    if len(table) and club is not None:
        table = table[table["club"] == str(club)].reset_index(drop=True)
    if table.empty:
        raise InputError(
            f"golfer {golfer} has no shots{'' if club is None else f' with the {club}'} in this book; expected at "
            "least one"
        )
    table["delivery_deg"] = table["lie_error_deg"] - table["bent_deg"]
    return table[
        [
            "day",
            "session_id",
            "club",
            "strike_toe_mm",
            "strike_up_mm",
            "tilt_deg",
            "lie_error_deg",
            "u_lie_error_deg",
            "bent_deg",
            "delivery_deg",
        ]
    ]


def practice_days(
    shots: pd.DataFrame, *, within_mm: float = WITHIN_MM, middle_toe_mm: float = 0.0, middle_up_mm: float | None = None
) -> pd.DataFrame:
    """Summarise practice day by day.

    Parameters
    ----------
    shots : DataFrame
        From `practice_shots`.
    within_mm : float
        How far from the middle a strike may be to count as near it, in mm.
    middle_toe_mm : float
        Where the golfer wants the strikes, towards the toe from the middle of the score lines, in mm.
    middle_up_mm : float, optional
        And how high above the lowest full score line, in mm. None: height does not count.

    Returns
    -------
    DataFrame
        A row a day: day, balls (with a strike), mean and standard deviation of strike_toe_mm and strike_up_mm, share
        (of strikes within `within_mm`) with its 95 % interval low_share and high_share (Wilson's), lie_error_deg and
        delivery_deg (means).
    """
    shots = _with_distance(shots, within_mm, middle_toe_mm, middle_up_mm)
    days = shots.groupby("day", sort=True)
    table = pd.DataFrame({"balls": days["inside"].count()})
    for name in ("strike_toe_mm", "strike_up_mm"):
        table[name], table[name.replace("_mm", "_sd_mm")] = days[name].mean(), days[name].std()
    table["share"] = days["inside"].mean()
    table["low_share"], table["high_share"] = _wilson(table["share"], table["balls"])
    for name in ("lie_error_deg", "delivery_deg"):
        table[name] = days[name].mean()
    return table.reset_index()


@dataclass(frozen=True, eq=False)
class Trend:
    """How one quantity changes over the weeks.

    Attributes
    ----------
    quantity : str
        One of `QUANTITIES`.
    per_week, low_per_week, high_per_week : float
        Change a week with its 95 % interval, in the quantity's unit ("inside": a share from 0 to 1); NaN from fewer
        than three days.
    weeks : float
        From the first day to the last.
    day_sd : float
        How much the golfer differs from day to day beside the trend and the scatter of shots (standard deviation).
    days : DataFrame
        A row a day: day, weeks since the first, value (mean, clubs set against each other within days) and u (its
        standard uncertainty).
    verdict : {"too few days", "no change yet", "more", "less"}
    start : float
        The trend's value on the first day.
    """

    quantity: str
    per_week: float
    low_per_week: float
    high_per_week: float
    weeks: float
    day_sd: float
    days: pd.DataFrame
    verdict: str
    start: float

    @property
    def sentence(self) -> str:
        """The trend in words."""
        unit, more, less = QUANTITIES[self.quantity]
        if self.verdict == "too few days":
            days = f"{len(self.days)} day{'s' * (len(self.days) != 1)} of practice"
            return f"{days}: nothing can be said about a change before the third."
        scale = self.weeks * (100 if unit == "%" else 1)
        change, low, high = (scale * value for value in (self.per_week, self.low_per_week, self.high_per_week))
        if unit == "%":
            change, low, high = np.clip([change, low, high], -100, 100)
        over = f"over {self.weeks:.1f} weeks"

        def words(value):
            space = "" if unit == "°" else " "
            return f"{abs(value):.1f}{space}{unit.replace('%', 'points')} {more if value > 0 else less}"

        if self.verdict == "no change yet":
            return f"No change yet: {over} it may be anything from {words(low)} to {words(high)}."
        ends = sorted((abs(low), abs(high)))
        return f"It changed {over}: {words(change)} (95 % interval {ends[0]:.1f} to {ends[1]:.1f})."


def practice_trend(
    shots: pd.DataFrame,
    quantity: str = "strike_toe_mm",
    *,
    within_mm: float = WITHIN_MM,
    middle_toe_mm: float = 0.0,
    middle_up_mm: float | None = None,
) -> Trend:
    """Fit a straight trend over time, with an interval that knows that days differ.

    Parameters
    ----------
    shots : DataFrame
        From `practice_shots`. Several clubs are set against each other within days, so that a change of clubs is no
        change of the golfer.
    quantity : str
        One of `QUANTITIES`; "away_mm" is a strike's distance from the middle, "inside" whether it is within
        `within_mm`.
    within_mm, middle_toe_mm, middle_up_mm
        As in `practice_days`.

    Returns
    -------
    Trend

    Raises
    ------
    InputError
        When there is no such quantity or no number in it, or when clubs and days cannot be told apart.

    Notes
    -----
    Random-effects regression of the days' means on time: Student's t with two degrees of freedom less than days (Knapp
    and Hartung, Statistics in Medicine 22 (2003) 2693-2710), variance of days by Paule and Mandel, J. Res. NBS 87
    (1982) 377.
    """
    if quantity not in QUANTITIES:
        raise InputError(f"quantity is {quantity!r}; expected one of {', '.join(QUANTITIES)}")
    shots = _with_distance(shots, within_mm, middle_toe_mm, middle_up_mm)
    shots = shots[shots[quantity].notna()]
    if shots.empty:
        raise InputError(f"no shot has a {quantity}; expected at least one")
    day, mean, cov = _day_means(shots, quantity)
    week = (pd.to_datetime(day) - pd.to_datetime(day[0])).days.to_numpy() / 7.0
    design = np.column_stack([np.ones(len(day)), week])
    days = pd.DataFrame({"day": day, "week": week, "value": mean, "u": np.sqrt(np.diag(cov))})
    if len(day) < 3:
        return Trend(quantity, math.nan, math.nan, math.nan, float(week[-1]), math.nan, days, "too few days", math.nan)

    def fit(day_var):
        weight = np.linalg.inv(cov + day_var * np.eye(len(day)))
        beta_cov = np.linalg.inv(design.T @ weight @ design)
        beta = beta_cov @ design.T @ weight @ mean
        rest = mean - design @ beta
        return beta, beta_cov, float(rest @ weight @ rest)

    dof = len(day) - 2
    tiny = 1e-12 + 1e-9 * float(np.var(mean))
    low, high = tiny, max(4 * float(np.sum((mean - mean.mean()) ** 2)), 10 * tiny)
    if not fit(low)[2] > dof:
        day_var = low  # the days differ no more than their shots explain
    else:
        for _ in range(60):  # the surplus falls as the variance of days grows
            day_var = math.sqrt(low * high)
            low, high = (day_var, high) if fit(day_var)[2] > dof else (low, day_var)
    beta, beta_cov, surplus = fit(day_var)
    reach = student_quantile(0.975, dof) * math.sqrt(beta_cov[1, 1] * surplus / dof)
    low, high = beta[1] - reach, beta[1] + reach
    verdict = "more" if low > 0 else "less" if high < 0 else "no change yet"
    return Trend(
        quantity,
        float(beta[1]),
        float(low),
        float(high),
        float(week[-1]),
        math.sqrt(day_var),
        days,
        verdict,
        float(beta[0]),
    )


@dataclass(frozen=True, eq=False)
class HandlePractice:
    """Progress towards a height of the hands.

    Attributes
    ----------
    club : str
    target_mm : float
        How far the hands are to go down (up: negative), in mm.
    days : DataFrame
        A row a day: day, balls, lowered_mm (how far the hands have come down since the start, by the lie at impact)
        with its 95 % interval low_mm and high_mm.
    verdict : {"too few balls to tell", "no change yet", "the wrong way", "on the way", "perhaps there", "there", "past
    it"}
        Of the last day. "there": the target is within the interval, and nothing short of half the target is.
    """

    club: str
    target_mm: float
    days: pd.DataFrame
    verdict: str

    @property
    def sentence(self) -> str:
        """Target and progress in words."""
        last = self.days.iloc[-1]
        way = "down" if self.target_mm > 0 else "up"
        sign = math.copysign(1, self.target_mm)
        low, high = sorted((sign * last["low_mm"], sign * last["high_mm"]))
        return (
            f"Target with the {self.club}: hands {abs(self.target_mm):.0f} mm {way}. On {last['day']} they were "
            f"{sign * last['lowered_mm']:.0f} mm "
            f"{way} of where they began (95 % interval {low:.0f} to {high:.0f}): {self.verdict}."
        )


def practice_handle(
    shots: pd.DataFrame, club: Club, target_mm: float, *, start: tuple[float, float] | None = None
) -> HandlePractice:
    """Turn the lie at impact into how far the hands have come, day by day.

    Parameters
    ----------
    shots : DataFrame
        From `practice_shots`.
    club : Club
        With its length and lie, of which the usual is not good enough here.
    target_mm : float
        How far the hands are to go down (up: negative), as `hands_lower_mm` of a plan, in mm.
    start : (float, float), optional
        Lie error and its standard uncertainty from which it began, in degrees, both without bends done since; default:
        the first day's shots.

    Returns
    -------
    HandlePractice

    Raises
    ------
    InputError
        When length or lie are missing, or there are too few shots.
    """
    target = check("target_mm", target_mm)
    lie_deg = club.gauge_lie_deg or club.lie_deg
    if club.length_in is None or lie_deg is None or target == 0:
        raise InputError(
            f"the {club.label} has length_in {club.length_in} and a lie of {lie_deg}, the target is {target:g} mm; "
            "expected inches, degrees "
            "and a target other than 0"
        )
    rows = shots[(shots["club"] == club.label) & shots["delivery_deg"].notna()]
    days = rows.groupby("day")["delivery_deg"].agg(["count", "mean", "var"])
    dof = len(rows) - len(days)
    if dof < 3 or (start is None and len(days) < 2):
        raise InputError(
            f"{len(rows)} shots on {len(days)} days with the {club.label}; expected at least 2 days, with 3 shots "
            "more than days"
        )
    scatter = float(np.sqrt((days["var"].fillna(0) * (days["count"] - 1)).sum() / dof))
    u = scatter / np.sqrt(days["count"])
    start_deg, u_start = (days["mean"].iloc[0], u.iloc[0]) if start is None else start
    days, u = (days.iloc[1:], u.iloc[1:]) if start is None else (days, u)
    change = days["mean"] - start_deg
    reach = student_quantile(0.975, dof) * np.hypot(u, u_start)
    lowered, low, high = (
        handle_change_mm(np.clip(value.to_numpy(), -10, 10), club.length_in, lie_deg)
        for value in (change, change - reach, change + reach)
    )
    table = pd.DataFrame(
        {"day": days.index, "balls": days["count"].to_numpy(), "lowered_mm": lowered, "low_mm": low, "high_mm": high}
    )
    near, far = sorted(math.copysign(1, target) * table[["low_mm", "high_mm"]].iloc[-1])
    if near <= 0 <= far:
        verdict = "too few balls to tell" if far >= abs(target) else "no change yet"
    elif far < 0:
        verdict = "the wrong way"
    else:
        reached = "there" if near >= abs(target) / 2 else "perhaps there"
        verdict = "on the way" if far < abs(target) else reached if near <= abs(target) else "past it"
    return HandlePractice(club.label, target, table, verdict)


def _with_distance(shots, within_mm, middle_toe_mm, middle_up_mm):
    within = check("within_mm", within_mm)
    toe = shots["strike_toe_mm"] - check("middle_toe_mm", middle_toe_mm)
    up = 0.0 if middle_up_mm is None else shots["strike_up_mm"] - check("middle_up_mm", middle_up_mm)
    away = np.hypot(toe, up)
    return shots.assign(away_mm=away, inside=(away <= within).astype(float).where(away.notna()))


def _wilson(share, balls):
    """95 % interval of a share: Wilson, J. Am. Stat. Ass. 22 (1927) 209-212."""
    z2 = COVERAGE_FACTOR**2
    middle = (share + z2 / (2 * balls)) / (1 + z2 / balls)
    reach = np.sqrt(z2 * share * (1 - share) / balls + z2**2 / (4 * balls**2)) / (1 + z2 / balls)
    return middle - reach, middle + reach


def _day_means(shots, quantity):
    """Return the days, their means with clubs set against each other within days, and the covariance of those means."""
    day, days = pd.factorize(shots["day"], sort=True)
    club, clubs = pd.factorize(shots["club"])
    value = shots[quantity].to_numpy(float)
    share = np.bincount(club, minlength=len(clubs)) / len(club)
    offsets = (np.eye(len(clubs)) - share)[:, 1:][
        club
    ]  # a club's own value, nil over all shots: days are of an average shot's clubs
    design = np.hstack([np.eye(len(days))[day], offsets])
    normal = design.T @ design
    if np.linalg.matrix_rank(normal) < len(normal):
        raise InputError(
            "some clubs were hit on no day together with the others, so a change of clubs looks like a change of the "
            "golfer; expected clubs that were hit together; choose one club"
        )
    inverse = np.linalg.inv(normal)
    found = inverse @ design.T @ value
    dof = len(value) - len(normal)
    scatter = ((value - design @ found) ** 2).sum() / dof if dof else 0.0
    count = len(days)
    return list(days), found[:count], scatter * inverse[:count, :count]
