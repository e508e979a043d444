"""A session's whole bag as the fitter decides on it: pooled clubs, plan by the session's own rules, and both in words."""

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd

from ..base.club import Bag, check_number
from ..base.errors import InputError
from ..bench.plan import plan_bends, sits
from ..book.schema import NOT_LOOKED
from ..flight.trajectory import from_metres, to_metres
from ..lie.bagfit import BagFit
from ..lie.pooling import Stop, fit_bag
from .bends import bend_between, retest, session_bag, session_row

STEPS_DEG = (0.25, 0.5)  # of benches: common practice, no source
SIDES = ("left", "right")
RULES = {"step_deg": 0.25, "cap_deg": None, "misses": {}}  # what holds until the fitter says otherwise


@dataclass(frozen=True, eq=False)
class LieTable:
    """What `lie_table` returns.

    Attributes
    ----------
    session : Series
        The session's row of `SessionBook.sessions`.
    bag, bag_now : Bag
        The clubs as they were hit, and as they are now.
    shots : DataFrame
        All shots of the session, counted or not.
    fit : BagFit or None
        None where no ball counts yet.
    plan : DataFrame or None
        From `plan_bends`, by `rules`.
    rules : dict
        step_deg, cap_deg (None: no cap) and misses (by club: mean_left_m, sd_left_m, feared).
    bent_since : dict
        By club: bends done since the balls were hit, in degrees, upright positive.
    retest : DataFrame or None
        From `retest`: of this session where it tests another again, else of the last session that tests this one again.
    """

    session: pd.Series
    bag: Bag
    bag_now: Bag
    shots: pd.DataFrame
    fit: BagFit | None
    plan: pd.DataFrame | None
    rules: dict
    bent_since: dict
    retest: pd.DataFrame | None

    @property
    def pooled(self):
        """Fit and plan; InputError where no ball counts yet."""
        if self.fit is None:
            raise InputError(
                "no ball of this session counts yet; expected at least one; measure photos in the second notebook and press Count it, then run this cell again"
            )
        return self.fit, self.plan

    @cached_property
    def headline(self):
        """What to do next, in a sentence or two."""
        waiting = int(_waiting(self.shots).sum())
        waits = (
            f" {waiting} {'ball waits' if waiting == 1 else 'balls wait'} to be looked at in the second notebook."
            if waiting
            else ""
        )
        if self.fit is None:
            return f"No ball counts yet.{waits or ' Hit the 7-iron first, or whichever club the golfer knows best.'}"
        balls = int(self.shots["counted"].sum())
        if self.fit.finished:
            return f"Enough: after {balls} balls no club needs another one.{waits}"
        low, high = self.fit.balls_to_go()
        more = f"{low}" if low == high else f"{low} to {high}"
        done = int(self.fit.settled.sum())
        return f"{self.fit.next_club().sentence} {done} of {len(self.bag)} clubs have enough; {more} more balls should settle the rest.{waits}"

    @cached_property
    def words(self):
        """Return the bag in words, a row a club (DataFrame of str).

        Columns: club, balls, sits, range (95 %), strikes, scatter (of the strikes), enough, advice, reason, instead (the other answer).
        """
        following = None if self.fit is None else self.fit.next_club().club
        rows = []
        for club in self.bag:
            own = self.shots[self.shots["club"] == club.label]
            counted, waiting = int(own["counted"].sum()), int(_waiting(own).sum())
            more = {"set aside": len(own) - counted - waiting, "to look at": waiting}
            balls = " + ".join([f"{counted}", *(f"{count} {what}" for what, count in more.items() if count)])
            row = {
                "club": club.label,
                "balls": balls,
                "sits": "",
                "range": "",
                "strikes": "",
                "scatter": "",
                "enough": "no",
                "advice": "",
                "reason": "",
                "instead": "",
            }
            if self.fit is not None:
                found, advice = (table.set_index("club").loc[club.label] for table in (self.fit.table, self.plan))
                row |= {
                    "sits": sits(found["lie_error_deg"]),
                    "range": span_words(found["low_deg"], found["high_deg"]),
                    "strikes": strike_words(found),
                    "scatter": scatter_words(found),
                    "enough": "yes" if found["settled"] else "hit it next" if club.label == following else "not yet",
                    "advice": advice_words(advice),
                    "reason": advice["reason"],
                    "instead": "" if advice["outcome"] == "leave alone" else advice["alternative"],
                }
                since = self.bent_since.get(club.label, 0.0)
                if since:
                    row["reason"] = (
                        f"Bent {turn_words(since)} since: predicted to sit {sits(found['lie_error_deg'] + since)} now."
                    )
            rows.append(row)
        return pd.DataFrame(rows)

    @property
    def notes(self):
        """Sentences on the fit, the set and the care that a bend needs."""
        return (
            []
            if self.fit is None
            else [*self.fit.warnings, *(note for note in self.plan.attrs["set_notes"] if note not in self.fit.warnings)]
        )

    @property
    def lie_errors(self):
        """By club: lie error and its standard uncertainty now, bends since then included, in degrees."""
        if self.fit is None:
            return {}
        table = self.fit.table.set_index("club")[["lie_error_deg", "u_lie_error_deg"]]
        return {
            label: (lie + self.bent_since.get(label, 0.0), u)
            for label, (lie, u) in zip(table.index, table.to_numpy().tolist())
        }

    def lie_error(self, club):
        """Return one club's of `lie_errors`, by its label; InputError where the bag has no such club or no ball counts yet."""
        label = self.bag[club].label
        self.pooled
        return self.lie_errors[label]


def _waiting(shots):
    """Which shots nobody has counted or set aside yet."""
    return ~shots["counted"] & (shots["why"] == NOT_LOOKED)


def lie_table(book, session=None):
    """Pool a session's balls and decide by the rules kept with it.

    Parameters
    ----------
    book : SessionBook
    session : int, optional
        Default: the one that was entered or opened last.

    Returns
    -------
    LieTable

    Raises
    ------
    InputError
        When the book has no session.
    """
    if session is None:
        current = book.current_session()
        if current is None:
            raise InputError("the book has no session yet; expected one; enter golfer and bag in the first notebook")
        session = int(current["session_id"])
    row = session_row(book, session)
    bag, shots, rules = session_bag(book, session), book.shots(session), session_rules(book, session)
    fit = plan = None
    if shots["counted"].any():
        fit = fit_bag(shots, bag, stop=Stop(step_deg=rules["step_deg"]))
        misses = pd.DataFrame([{"club": label} | miss for label, miss in rules["misses"].items() if label in bag])
        plan = plan_bends(
            fit, bag, step_deg=rules["step_deg"], cap_deg=rules["cap_deg"], misses=misses if len(misses) else None
        )
    now = book.bag(int(row["bag_id"]))
    since = {club.label: bend_between(club, now[club.label]) for club in bag}
    return LieTable(
        row,
        bag,
        now,
        shots,
        fit,
        plan,
        rules,
        {label: bend for label, bend in since.items() if abs(bend) > 1e-9},
        _retest(book, row),
    )


def _retest(book, row):
    sessions = book.sessions()
    again = sessions.loc[sessions["retest_of"] == row["session_id"], "session_id"]
    session = row["session_id"] if not pd.isna(row["retest_of"]) else again.iloc[-1] if len(again) else None
    try:
        return None if session is None else retest(book, int(session))
    except InputError:  # no ball counts yet in one of the two
        return None


def session_rules(book, session):
    """Return the rules that a session is decided by: a dict with the keys of `RULES`."""
    return RULES | (book.setting(session, "rules") or {})


def keep_rules(book, session, **changes):
    """Change some of a session's rules, and keep them in the book at once.

    Parameters
    ----------
    book : SessionBook
    session : int
    step_deg : float
        Smallest step of the bench, in degrees.
    cap_deg : float or None
        The golfer's own cap on the total change from the maker's figure, in degrees; None: no cap.
    misses : dict
        By club: see `miss`.

    Raises
    ------
    InputError
    """
    unknown = set(changes) - set(RULES)
    if unknown:
        raise InputError(f"there is no rule {min(unknown)!r}; expected some of {', '.join(RULES)}")
    if "step_deg" in changes:
        check_number("step_deg", changes["step_deg"], 0.05, 1, "degrees")
    if changes.get("cap_deg") is not None:
        check_number("cap_deg", changes["cap_deg"], 0, 10, "degrees")
    book.keep_setting(session, "rules", session_rules(book, session) | changes)


def miss(middle, side, scatter, feared, unit="yd"):
    """Return where a golfer's shots with a club end, as `keep_rules` and `plan_bends` take it.

    Parameters
    ----------
    middle, scatter : float
        Distance of their middle from the target line, and their standard deviation from side to side, in `unit`.
    side : {"left", "right"}
        Of the line, on which the middle is.
    feared : {"left", "right", ""}
        The side that costs more.
    unit : {"yd", "m"}
    """
    middle, scatter = (
        check_number("middle of the shots", middle, 0, 100, unit),
        check_number("scatter", scatter, 0.5, 100, unit),
    )
    if side not in SIDES or feared not in (*SIDES, ""):
        raise InputError(
            f'side is {side!r} and feared is {feared!r}; expected "left" or "right", for feared also nothing'
        )
    return {
        "mean_left_m": to_metres(middle, unit) * (1 if side == "left" else -1),
        "sd_left_m": to_metres(scatter, unit),
        "feared": feared,
    }


def miss_words(label, miss, unit="yd"):
    """Return a miss as a sentence."""
    middle, scatter = from_metres(abs(miss["mean_left_m"]), unit), from_metres(miss["sd_left_m"], unit)
    where = f"{middle:.0f} {unit} {SIDES[miss['mean_left_m'] < 0]}" if middle >= 0.5 else "on the line"
    return f"{label}: middle {where}, scatter {scatter:.0f} {unit}" + (
        f", {miss['feared']} is feared" if miss["feared"] else ""
    )


def turn_words(bend_deg):
    """Return a bend in words: "1.75° upright"."""
    return f"{abs(bend_deg):g}° {'upright' if bend_deg > 0 else 'flat'}"


def advice_words(advice):
    """Return the outcome of a row of a plan in words, with its bend."""
    if not advice["bend_deg"]:
        return advice["outcome"]
    return f"bend {turn_words(advice['bend_deg'])}" + (" (part)" if advice["outcome"] != "bend" else "")


def span_words(low_deg, high_deg):
    """Return an interval of lie errors in words: "0.3° to 2.1° toe down", "0.4° toe down to 0.6° toe up"."""
    low, high = round(low_deg, 1) + 0.0, round(high_deg, 1) + 0.0
    if low * high > 0:
        near, far = sorted((abs(low), abs(high)))
        return f"{near:.1f}° to {sits(math.copysign(far, high))}"
    return f"{sits(low)} to {sits(high)}"


def strike_words(found):
    """Return the mean strike of a row of `BagFit.table` in words and mm, empty where none was measured."""
    toe, up = found["strike_toe_mm"], found["strike_up_mm"]
    if np.isnan(toe) or np.isnan(up):
        return ""
    return (f"{abs(toe):.0f} to {'toe' if toe > 0 else 'heel'}" if abs(toe) >= 0.5 else "middle") + f", {up:.0f} up"


def scatter_words(found):
    """Return the standard deviations of a club's strikes, across × up the face, in words, from a row of `BagFit.table`; empty where fewer than two were measured."""
    across, up = found["strike_toe_sd_mm"], found["strike_up_sd_mm"]
    return "" if np.isnan(across) else f"Strikes scatter by {across:.0f} × {up:.0f} mm."
