"""The one middle: from a session's facts to its readings, its fit, its plan and where it stands. Every page calls this
and nothing else.

Nothing here is stored: all of it follows from the book, and is kept until somebody writes to the book.
"""

from dataclasses import dataclass
from typing import Any

import pandas as pd

from ..base.checks import check
from ..base.club import Bag
from ..base.errors import InputError
from ..base.states import REFUSED, SET_ASIDE, TO_LOOK_AT
from ..base.tables import check_number
from ..base.units import to_mm
from ..bench.plan import plan_bends
from ..book.book import SessionBook
from ..lie.bagfit import BagFit
from ..lie.balls import lie_budgets, lie_readings
from ..lie.pooling import fit_bag
from ..lie.priors import Stop
from ..lie.unknowns import SessionUnknowns
from ..words.terms import SIDES

STEPS_DEG = (0.25, 0.5)  # of benches: common practice, no source
# The session's unknowns by the facts that say them, and their standard uncertainty where only a value was said,
# degrees.
SAID = {
    "path_deg": "path_deg",
    "lean_deg": "setup_tilt_deg",
    "turn_deg": "line_turn_deg",
    "shaft_lean_deg": "shaft_lean_deg",
}
SAID_DEG = {"path_deg": 1.0, "lean_deg": 0.7, "turn_deg": 0.7, "shaft_lean_deg": 2.5}
# What goes on to the same golfer's next session; how the ball's line is set does not.
CARRIED = (
    "length_unit",
    "carry_unit",
    "net_distance_mm",
    "path_deg",
    "u_path_deg",
    "shaft_lean_deg",
    "u_shaft_lean_deg",
)
RULES: dict[str, Any] = {"step_deg": 0.25, "cap_deg": None, "misses": {}}  # what holds until the fitter says otherwise


# What the fitter has said


def session_row(book: SessionBook, session: int) -> pd.Series:
    """Return a session's row of `SessionBook.sessions`, as a Series."""
    return book.sessions(session).iloc[0]


def opened_elsewhere(book: SessionBook, session: int | None) -> pd.Series | None:
    """Return the row of the session that was opened last in this bay where that is another one, else None."""
    current = book.current_session()
    return None if current is None or session is None or int(current["session_id"]) == session else current


def session_bag(book: SessionBook, session: int) -> Bag:
    """Return the `Bag` of a session as its clubs were when it began."""
    return book.bag(session_row(book, session)["bag_id"], session=session)


def session_rules(book: SessionBook, session: int) -> dict[str, Any]:
    """Return the rules that a session is decided by: a dict with the keys of `RULES`."""
    return RULES | (book.setting(session, "rules") or {})


def keep_rules(book: SessionBook, session: int, **changes: Any) -> None:
    """Change some of a session's rules, and keep them in the book at once; every page decides by them.

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
        check("step_deg", changes["step_deg"])
    if changes.get("cap_deg") is not None:
        check("cap_deg", changes["cap_deg"])
    book.keep_setting(session, "rules", session_rules(book, session) | changes)


def miss(middle: float, side: str, scatter: float, feared: str, unit: str = "yd") -> dict[str, Any]:
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
    middle = check_number("middle of the shots", middle, 0, 100, unit)
    scatter = check_number("scatter", scatter, 0.5, 100, unit)
    if side not in SIDES or feared not in (*SIDES, ""):
        raise InputError(
            f'side is {side!r} and feared is {feared!r}; expected "left" or "right", for feared also nothing'
        )
    mean, sd = (to_mm(length, unit) / 1000 for length in (middle, scatter))
    return {"mean_left_m": mean * (1 if side == "left" else -1), "sd_left_m": sd, "feared": feared}


# One ball


def session_shots(book: SessionBook, session: int | None = None) -> pd.DataFrame:
    """Return the balls of a session, or of all, with what follows from them: what `fit_bag` takes as it is.

    Parameters
    ----------
    book : SessionBook
    session : int, optional

    Returns
    -------
    DataFrame
        A row a ball in the order hit: the facts (see `SessionBook.shots`), then by the session's settings and its clubs
        start_deg and u_start_deg, lie_error_deg and u_lie_error_deg, heading_known, problem (a sentence where a tilt
        gives no lie), counted (False also where there is no lie). Strikes measured in a photo are in mm of the
        score-line length that is entered now.

    Examples
    --------
    >>> import linetilt as lt
    >>> book = lt.open_book()
    >>> bag = book.add_bag(book.add_golfer("Ansel"), lt.Bag([lt.Club(label="7", loft_deg=34)]))
    >>> session = book.add_session(bag, net_distance_mm=3000)
    >>> balls = pd.DataFrame({"club": ["7"], "tilt_deg": [2.0], "net_left_mm": [50.0]})
    >>> lt.enter_readings(book, session, balls)
    [1]
    >>> lt.session_shots(book, session)[["club", "tilt_deg", "start_deg", "lie_error_deg"]].round(1)
      club  tilt_deg  start_deg  lie_error_deg
    0    7       2.0        1.0            2.3
    """
    if session is None:
        tables = [session_shots(book, int(one)) for one in book.sessions()["session_id"]]
        return pd.concat(tables, ignore_index=True) if tables else book.shots()
    return book.derive(("shots", session), lambda: _shots(book, session)).copy()


def _shots(book: SessionBook, session: int) -> pd.DataFrame:
    facts, bag = book.shots(session), session_bag(book, session)
    read = lie_readings(facts, bag, **shared_facts(book, session))
    derived = read.drop(columns=["face_heading_deg", "low_deg", "high_deg"])
    shots = facts.assign(**{name: derived[name] for name in derived})
    shots["counted"] &= shots["lie_error_deg"].notna()
    return _in_entered_lengths(shots, bag)


def _in_entered_lengths(shots: pd.DataFrame, bag: Bag) -> pd.DataFrame:
    """Return the shots with what a photo measured in score-line lengths in mm of the lengths that are entered now."""
    entered = shots["club"].map({club.label: club.score_line_length_mm for club in bag}).astype(float)
    then = shots["score_line_length_mm"]
    ratio = (entered / then).where(then.notna() & entered.notna() & (then != entered), 1.0)
    new = {}
    for name in ("strike_toe", "strike_up", "line_width"):
        for column in (f"{name}_mm", f"u_{name}_mm"):
            new[column] = shots[column] * ratio
            lengths = f"{column.removesuffix('_mm')}_lengths"
            if lengths in shots:  # measured before anybody said how long the score lines are
                new[column] = new[column].fillna((shots[lengths] * entered).where(then.isna()))
    return shots.assign(**new)


def shared_facts(book: SessionBook, session: int) -> dict[str, Any]:
    """Return what all balls of a session share, as `lie_readings` takes it: net distance, and the session's
    unknowns."""
    row = session_row(book, session)
    said = {
        name: (float(row[fact]), float(row[f"u_{fact}"]) if not pd.isna(row[f"u_{fact}"]) else SAID_DEG[name])
        for name, fact in SAID.items()
        if not pd.isna(row[fact])
    }
    net = {} if pd.isna(row["net_distance_mm"]) else {"net_distance_mm": float(row["net_distance_mm"])}
    return net | {"session": SessionUnknowns(**said)}


def session_budgets(book: SessionBook, session: int) -> pd.DataFrame:
    """Return the uncertainty budgets of a session's lie readings, a row a component: shot_id, then as `lie_budgets`."""
    facts = book.shots(session).set_index("shot_id", drop=False)
    budgets = lie_budgets(facts, session_bag(book, session), **shared_facts(book, session))
    return budgets.rename(columns={"ball": "shot_id"})


# The whole session


@dataclass(frozen=True, eq=False)
class Standing:
    """Where a session stands.

    Attributes
    ----------
    session : Series
        The session's row of `SessionBook.sessions`.
    bag, bag_now : Bag
        The clubs as they were hit, and as they are now.
    shots : DataFrame
        All balls of the session (see `session_shots`).
    fit : BagFit or None
        None where no ball counts yet.
    plan : DataFrame or None
        What to do now, from `plan_bends` by `rules`; what the bench has done since counts.
    rules : dict
        step_deg, cap_deg (None: no cap) and misses (by club: mean_left_m, sd_left_m, feared).
    done_deg : dict
        By club: bends done since the session began, in degrees, upright positive.
    shared : SessionUnknowns
        What is known of what all its balls share.
    late : dict
        By club: how many of its balls came in after such a bend; they are read as hit before it.
    """

    session: pd.Series
    bag: Bag
    bag_now: Bag
    shots: pd.DataFrame
    fit: BagFit | None
    plan: pd.DataFrame | None
    rules: dict[str, Any]
    done_deg: dict[str, float]
    shared: SessionUnknowns
    late: dict[str, int]

    @property
    def swing(self) -> dict[str, float]:
        """Path and shaft lean of the golfer as the session has them, as `Delivery.typical` takes them."""
        return {"path_deg": self.shared.path_deg[0], "shaft_lean_deg": self.shared.shaft_lean_deg[0]}

    @property
    def session_id(self) -> int:
        """The session's number."""
        return int(self.session["session_id"])

    @property
    def pooled(self) -> tuple[BagFit, pd.DataFrame]:
        """Fit and plan; InputError where no ball counts yet."""
        if self.fit is None or self.plan is None:
            raise InputError(
                "no ball of this session counts yet; expected at least one; measure photos in the second notebook and "
                "press Count it, then run this cell again"
            )
        return self.fit, self.plan

    @property
    def lie_errors(self) -> dict[str, tuple[float, float]]:
        """By club: lie error and its standard uncertainty now, bends since then included, in degrees."""
        if self.fit is None:
            return {}
        table = self.fit.table.set_index("club")[["lie_error_deg", "u_lie_error_deg"]]
        pairs = zip(table.index, table.to_numpy().tolist(), strict=True)
        return {label: (lie + self.done_deg.get(label, 0.0), u) for label, (lie, u) in pairs}

    @property
    def spots_without_a_net(self) -> int:
        """How many balls that count have a spot on the net, and no distance to it."""
        counted = self.shots[self.shots["counted"]]
        return int((counted["net_left_mm"].notna() & counted["start_deg"].isna()).sum())

    def lie_error(self, club: str) -> tuple[float, float]:
        """Return one club's of `lie_errors`, by its label; InputError where the bag has no such club or no ball counts
        yet."""
        label = self.bag[club].label
        self.pooled  # noqa: B018
        return self.lie_errors[label]

    def numbers(self, club: str | None = None) -> dict[str, int]:
        """Return how many balls there are, of one club or of all, by what has become of them: counted, to_look_at,
        set_aside, refused, without_lie."""
        shots = self.shots if club is None else self.shots[self.shots["club"] == club]
        states = shots["state"].value_counts()
        counted = int(shots["counted"].sum())
        named = {state: int(states.get(state, 0)) for state in (TO_LOOK_AT, SET_ASIDE, REFUSED)}
        return {"counted": counted, **named, "without_lie": int(states.get("counted", 0)) - counted}


def standing(book: SessionBook, session: int | None = None) -> Standing:
    """Return where a session stands: its balls read, its bag pooled, and what to do.

    Parameters
    ----------
    book : SessionBook
    session : int, optional
        Default: the one that this bay works in.

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
    return book.derive(("standing", session), lambda: _stand(book, int(session)))


def _stand(book: SessionBook, session: int) -> Standing:
    row = session_row(book, session)
    bag, shots, rules = session_bag(book, session), session_shots(book, session), session_rules(book, session)
    now = book.bag(int(row["bag_id"]))
    done = {club.label: bend_between(club, now[club.label]) for club in bag if club.label in now}
    done = {label: bend for label, bend in done.items() if abs(bend) > 1e-9}
    fit, plan, shared = None, None, shared_facts(book, session)["session"]
    if shots["counted"].any():
        fit = fit_bag(shots, bag, stop=Stop(step_deg=rules["step_deg"]), session=shared)
        misses = pd.DataFrame([{"club": label} | one for label, one in rules["misses"].items() if label in bag])
        plan = plan_bends(
            fit,
            now,
            done_deg=done,
            step_deg=rules["step_deg"],
            cap_deg=rules["cap_deg"],
            misses=misses if len(misses) else None,
        )
    late = book.shots_after_bends(session) if done else {}
    return Standing(row, bag, now, shots, fit, plan, rules, done, shared, late)


def session_fit(book: SessionBook, session: int) -> BagFit | None:
    """Pool a session's balls with the clubs as they were when it began; None where no ball counts yet.

    Parameters
    ----------
    book : SessionBook
    session : int

    Returns
    -------
    BagFit or None
    """
    return standing(book, session).fit


def session_plan(book: SessionBook, session: int) -> pd.DataFrame:
    """Return what to do with each club of a session now, by the rules kept with it: a DataFrame as from `plan_bends`.

    Bends done since its balls were hit count: what they did is not asked for again, what is left is.

    Raises
    ------
    InputError
        When no ball of the session counts.
    """
    plan = standing(book, session).plan
    if plan is None:
        raise InputError(f"session {session} has no ball that counts; expected at least one before anything is planned")
    return plan


def bend_between(was: Any, now: Any) -> float:
    """Return the bend done between two states of a `Club`, in degrees, upright positive: by the gauge where both were
    read on it."""
    if None in (was.gauge_lie_deg, now.gauge_lie_deg):
        return float(now.bent_deg - was.bent_deg)
    return float(now.gauge_lie_deg - was.gauge_lie_deg)
