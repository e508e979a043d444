"""Before and after the bench: what a session found, what goes to the technician, what comes back, and whether it did
what was predicted."""

import math
from typing import Any

import numpy as np
import pandas as pd

from ..base.checks import check
from ..base.errors import InputError
from ..base.statistics import COVERAGE_FACTOR
from ..base.tables import read_rows, words_of
from ..bench.plan import U_BEND_DEG
from ..book.book import SessionBook
from ..book.schema import check_day
from ..words.terms import sits
from .handed import handed_plan
from .middle import CARRIED, bend_between, session_fit, session_row, standing

TELLS_DEG = 1.0  # a retest whose 95 % interval is wider than this either way tells too little
BENCH_COLUMNS = ("club", "gauge_after_deg", "bend_deg", "note")
VERDICTS = ("too few balls to tell", "as predicted", "more than predicted", "less than predicted", "the other way")


def bench_table(book: SessionBook, session: int, plan: pd.DataFrame | None = None) -> pd.DataFrame:
    """Return what goes to whoever bends.

    Parameters
    ----------
    book : SessionBook
    session : int
    plan : DataFrame, optional
        From `plan_bends`; default what the session asks for now (see `session_plan`).

    Returns
    -------
    DataFrame
        A row a club to bend: club, head, loft_deg, lie_before_deg (NaN: not known), gauged (whether it was read on a
        gauge), bend_deg, target_deg, limit (what bound the bend, in words), limit_deg (the head's, either way from the
        maker's figure), caution.
    """
    now = standing(book, session)
    plan, bag = now.pooled[1] if plan is None else plan, now.bag_now
    rows = []
    for row in plan[plan["bend_deg"] != 0].to_dict("records"):
        club = bag[row["club"]]
        lie = row["lie_now_deg"] if row["lie_now_deg"] is not None else math.nan
        bound = {"head": "the head's limit", "cap": "the golfer's own cap", "rules": "the rules of golf"}.get(
            row["limit"], "nothing, it is the whole bend"
        )
        rows.append(
            {
                "club": club.label,
                "head": club.head or "not known",
                "loft_deg": club.loft_deg,
                "lie_before_deg": lie,
                "gauged": club.gauge_lie_deg is not None,
                "bend_deg": row["bend_deg"],
                "target_deg": lie + row["bend_deg"],
                "limit": bound,
                "limit_deg": club.limit_deg,
                "caution": row["caution"],
            }
        )
    columns = [
        "club",
        "head",
        "loft_deg",
        "lie_before_deg",
        "gauged",
        "bend_deg",
        "target_deg",
        "limit",
        "limit_deg",
        "caution",
    ]
    return pd.DataFrame(rows, columns=columns)


def enter_bends(book: SessionBook, session: int, readings: Any, *, day: str | None = None) -> pd.DataFrame:
    """Put what was done at the bench into the book. Everything is checked before anything is entered.

    Parameters
    ----------
    book : SessionBook
    session : int
        The one that the bench sheet was made from.
    readings : path or DataFrame
        A row a club: club, gauge_after_deg (the lie read on the gauge after the bend); bend_deg (upright positive)
        where no reading was taken before; note. Rows with neither number are passed over.
    day : date or str, optional

    Returns
    -------
    DataFrame
        club, bend_id, planned_deg, bend_deg, off_deg (done less planned), new (False for a row that was entered before:
        entering the same table again changes nothing).

    Raises
    ------
    InputError
        When a club is unknown, or its bend cannot be told.
    """
    rows = read_rows(readings, "the bench's readings", needed=("club",), known=BENCH_COLUMNS)
    day, now = check_day(day), standing(book, session)
    bag, bends = now.bag_now, book.bends_since(session)
    planned = {} if now.plan is None else dict(zip(now.plan["club"], now.plan["bend_deg"]))
    handed = handed_plan(book, session)
    if handed is not None and "bend_deg" in handed.lines:  # what the sheet asked for, before anything was bent
        planned |= dict(zip(handed.lines["club"], handed.lines["bend_deg"].fillna(0.0)))
    done = []
    for number, row in rows:
        if "club" not in row:
            raise InputError(
                f"the bench's readings, row {number} names no club; expected one of {', '.join(bag.labels)}; fill it in"
            )
        club = bag[words_of(row["club"])]
        after, bend = (
            None if name not in row else check(quantity, row[name], called=f"{name} of club {club.label}")
            for name, quantity in (("gauge_after_deg", "gauge_lie_deg"), ("bend_deg", "bend_deg"))
        )
        if after is None and bend is None:
            continue
        before = bends[bends["club"] == club.label]
        there = _entered_already(before, club, after, bend, day)
        if there is not None:
            done.append(
                {"club": club.label, "bend_id": there, "bend_deg": float(before["bend_deg"].iloc[-1]), "new": False}
            )
            continue
        if bend is None:
            if club.gauge_lie_deg is None:
                raise InputError(
                    f"club {club.label} had no gauge reading before the bend, so what was done cannot be told; "
                    "expected the bend as well; give bend_deg"
                )
            bend = round(after - club.gauge_lie_deg, 3)
        elif after is None and (before["day"] == day).any():
            raise InputError(
                f"a bend of club {club.label} on {day} is in the book already; expected one a day without a reading; "
                "correct that one with book.change, read the club on the gauge, or give another day"
            )
        note = row.get("note")
        done.append(
            {
                "club": club.label,
                "bend_deg": bend,
                "gauge_lie_deg": after,
                "note": note if isinstance(note, str) else "",
                "new": True,
            }
        )
    new = [row for row in done if row["new"]]
    ids = iter(book.add_bends(int(now.session["bag_id"]), new, day=day) if new else ())
    for row in done:
        row["bend_id"] = next(ids) if row["new"] else row["bend_id"]
        row["planned_deg"] = float(planned.get(row["club"], 0.0))
        row["off_deg"] = row["bend_deg"] - row["planned_deg"]
    return pd.DataFrame(done, columns=["club", "bend_id", "planned_deg", "bend_deg", "off_deg", "new"])


def _entered_already(before, club, after, bend, day):
    """Return the id of the bend that this row entered earlier, or None; `before` holds the club's bends since the
    session."""
    if before.empty:
        return None
    last = before.iloc[-1]
    if after is not None and club.gauge_lie_deg == after and (bend is None or bend == last["bend_deg"]):
        return int(last["bend_id"])
    if after is None and bend == last["bend_deg"] and day == last["day"]:
        return int(last["bend_id"])
    return None


def begin_retest(book, session):
    """Enter a new session with the same bag that tests a session again, and return its number.

    Place, units, the net's distance and what is known of the golfer's swing are carried over; how the ball's line leans
    and turns is not: it is set anew.
    """
    row = session_row(book, session)
    kept = {name: row[name] for name in CARRIED if not pd.isna(row[name])}
    return book.add_session(int(row["bag_id"]), place=row["place"], retest_of=int(session), **kept)


def retest(book: SessionBook, session: int) -> pd.DataFrame:
    """Set what a retest found against what the first session and the bends since predicted.

    Parameters
    ----------
    book : SessionBook
    session : int
        A session entered with `retest_of`.

    Returns
    -------
    DataFrame
        A row a club hit in both: club, balls (of the retest), before_deg, bend_deg (done between the two),
        predicted_deg, found_deg, each lie error with its standard uncertainty u_…, off_deg (found less predicted) with
        its 95 % interval low_deg and high_deg, helped (probability that the club is closer to level than
        before), verdict (one of `VERDICTS`) and the same as a sentence.

    Raises
    ------
    InputError
        When the session tests no other again, or balls are missing.
    """
    first = session_row(book, session)["retest_of"]
    if pd.isna(first):
        raise InputError(f"session {session} tests no other one again; expected a session entered with retest_of")
    before, after = session_fit(book, int(first)), session_fit(book, session)
    if before is None or after is None:
        raise InputError(
            f"session {int(first) if before is None else session} has no ball that counts; expected some in both"
        )
    rows = []
    old, new = before.table.set_index("club"), after.table.set_index("club")
    for label in after.bag.labels:
        if label not in old.index or not (old.loc[label, "balls"] and new.loc[label, "balls"]):
            continue
        rows.append(
            _verdict(
                label, int(new.loc[label, "balls"]), bend_between(before.bag[label], after.bag[label]), before, after
            )
        )
    return pd.DataFrame(rows)


def _verdict(label, balls, bend, before, after):
    old, new = (fit.table.set_index("club").loc[label] for fit in (before, after))
    u_bend = U_BEND_DEG if abs(bend) > 0.05 else 0.0
    predicted, u_predicted = old["lie_error_deg"] + bend, math.hypot(old["u_lie_error_deg"], u_bend)
    off = new["lie_error_deg"] - predicted
    reach = COVERAGE_FACTOR * math.hypot(u_predicted, new["u_lie_error_deg"])
    was, now = np.abs(before.samples_deg(label, 201)), np.abs(after.samples_deg(label, 201))
    helped = float((now[:, None] < was).mean())
    said = f"The {label} was predicted to sit {sits(predicted)} and was found {sits(new['lie_error_deg'])}"
    gap = f"{off:+.1f}°, upright positive, anything from {off - reach:+.1f}° to {off + reach:+.1f}°"
    if abs(off) > reach:
        if abs(bend) <= 0.05:
            verdict = "more than predicted" if off > 0 else "less than predicted"
            advice = "nobody bent it, so club or golfer changed: put it on the gauge"
        else:
            share = off * math.copysign(1, bend)
            verdict = (
                "more than predicted"
                if share > 0
                else "the other way"
                if share < -1.5 * abs(bend)
                else "less than predicted"
            )
            advice = "check the bend on the gauge, then look whether the golfer changed"
        words = f"{said} ({gap}): {advice}."
    elif reach > TELLS_DEG:
        verdict, words = (
            "too few balls to tell",
            f"{said} ({gap}): too few balls to tell whether that is as predicted; hit more.",
        )
    else:
        verdict, words = "as predicted", f"{said}: as predicted, within ±{reach:.1f}°."
    return {
        "club": label,
        "balls": balls,
        "before_deg": old["lie_error_deg"],
        "u_before_deg": old["u_lie_error_deg"],
        "bend_deg": bend,
        "predicted_deg": predicted,
        "u_predicted_deg": u_predicted,
        "found_deg": new["lie_error_deg"],
        "u_found_deg": new["u_lie_error_deg"],
        "off_deg": off,
        "low_deg": off - reach,
        "high_deg": off + reach,
        "helped": helped,
        "verdict": verdict,
        "sentence": words,
    }


def retest_of(book, session):
    """Return the `retest` that belongs to a session: its own where it tests another again, else the last one that tests
    it; None where there is none yet."""
    row, sessions = session_row(book, session), book.sessions()
    again = sessions.loc[sessions["retest_of"] == session, "session_id"]
    which = session if not pd.isna(row["retest_of"]) else int(again.iloc[-1]) if len(again) else None
    try:
        return None if which is None else retest(book, which)
    except InputError:  # no ball counts yet in one of the two
        return None
