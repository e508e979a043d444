"""Before and after the bench: what a session found, what goes to the technician, what comes back, and whether it did what was predicted."""

import math

import numpy as np
import pandas as pd

from ..base.errors import InputError
from ..base.tables import check_number, read_rows, words_of
from ..bench.plan import plan_bends, sits
from ..book.schema import check_day
from ..lie.geometry import COVERAGE_FACTOR
from ..lie.pooling import fit_bag

U_BEND_DEG = 0.2  # standard uncertainty of a bend, as `plan_bends` takes it; benches read to 0.25° to 0.5°: common practice, no source
TELLS_DEG = 1.0  # a retest whose 95 % interval is wider than this either way tells too little
VERDICTS = ("too few balls to tell", "as predicted", "more than predicted", "less than predicted", "the other way")


def session_fit(book, session):
    """Pool a session's shots with the clubs as they were when they were hit; None where no ball counts yet.

    Parameters
    ----------
    book : SessionBook
    session : int

    Returns
    -------
    BagFit or None
    """
    shots = book.shots(session)
    return fit_bag(shots, session_bag(book, session)) if shots["counted"].any() else None


def session_bag(book, session):
    """Return the `Bag` of a session as its clubs were when its balls were hit."""
    return book.bag(session_row(book, session)["bag_id"], session=session)


def session_row(book, session):
    """Return a session's row of `SessionBook.sessions`, as a Series."""
    return book.sessions(session).iloc[0]


def session_plan(book, session, fit=None):
    """Return the plan last kept with a session, or one made now where none was kept: a DataFrame as from `plan_bends`."""
    kept = book.plans(session)
    if len(kept) and set(kept["club"]) <= set(
        session_bag(book, session).labels
    ):  # else a club has got another label since
        return (
            kept[kept["plan_id"] == kept["plan_id"].iloc[-1]]
            .drop(columns=["plan_id", "session_id", "at", "note"])
            .reset_index(drop=True)
        )
    fit = session_fit(book, session) if fit is None else fit
    if fit is None:
        raise InputError(f"session {session} has no ball that counts; expected at least one before anything is planned")
    return plan_bends(fit, fit.bag)


def bench_table(book, session, plan=None):
    """Return what goes to whoever bends.

    Parameters
    ----------
    book : SessionBook
    session : int
    plan : DataFrame, optional
        From `plan_bends`; default the one last kept with the session.

    Returns
    -------
    DataFrame
        A row a club to bend: club, head, loft_deg, lie_before_deg (NaN: not known), gauged (whether it was read on a gauge), bend_deg,
        target_deg, limit (what bound the bend, in words), limit_deg (the head's, either way from the maker's figure), caution.
    """
    plan, bag = session_plan(book, session) if plan is None else plan, session_bag(book, session)
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


def enter_bends(book, session, readings, *, day=None):
    """Put what was done at the bench into the book. Everything is checked before anything is entered.

    Parameters
    ----------
    book : SessionBook
    session : int
        The one that the bench sheet was made from.
    readings : path or DataFrame
        A row a club: club, gauge_after_deg (the lie read on the gauge after the bend); bend_deg (upright positive) where no reading was
        taken before; note. Rows with neither number are passed over.
    day : date or str, optional

    Returns
    -------
    DataFrame
        club, bend_id, planned_deg, bend_deg, off_deg (done less planned).

    Raises
    ------
    InputError
        When a club is unknown, was bent that day already, or its bend cannot be told.
    """
    rows, day = read_rows(readings, "the bench's readings", needed=("club",)), check_day(day)
    bag_id = int(session_row(book, session)["bag_id"])
    bag, planned = book.bag(bag_id), session_plan(book, session).set_index("club")["bend_deg"]
    bends = book.bends(bag_id)
    done = []
    for number, row in rows:
        if "club" not in row:
            raise InputError(
                f"the bench's readings, row {number} names no club; expected one of {', '.join(bag.labels)}; fill it in"
            )
        club = bag[words_of(row["club"])]
        after, bend = (
            None if name not in row else check_number(f"{name} of club {club.label}", row[name], *limits, "degrees")
            for name, limits in (("gauge_after_deg", (45.0, 80.0)), ("bend_deg", (-10.0, 10.0)))
        )
        if after is None and bend is None:
            continue
        if bend is None:
            if club.gauge_lie_deg is None:
                raise InputError(
                    f"club {club.label} had no gauge reading before the bend, so what was done cannot be told; expected the bend as well; give bend_deg"
                )
            bend = round(after - club.gauge_lie_deg, 3)
        if len(bends[(bends["club"] == club.label) & (bends["day"] == day)]):
            raise InputError(
                f"a bend of club {club.label} on {day} is in the book already; expected one a day; correct that one with book.change, or give another day"
            )
        note = row.get("note")
        done.append(
            {"club": club.label, "bend_deg": bend, "gauge": after, "note": note if isinstance(note, str) else ""}
        )
    for row in done:
        row["bend_id"] = book.add_bend(
            bag_id, row["club"], row["bend_deg"], day=day, gauge_lie_deg=row.pop("gauge"), note=row.pop("note")
        )
        row["planned_deg"] = float(planned.get(row["club"], 0.0))
        row["off_deg"] = row["bend_deg"] - row["planned_deg"]
    return pd.DataFrame(done, columns=["club", "bend_id", "planned_deg", "bend_deg", "off_deg"])


def retest(book, session):
    """Set what a retest found against what the first session and the bends since predicted.

    Parameters
    ----------
    book : SessionBook
    session : int
        A session entered with `retest_of`.

    Returns
    -------
    DataFrame
        A row a club hit in both: club, balls (of the retest), before_deg, bend_deg (done between the two), predicted_deg, found_deg, each
        lie error with its standard uncertainty u_…, off_deg (found less predicted) with its 95 % interval low_deg and high_deg,
        helped (probability that the club is closer to level than before), verdict (one of `VERDICTS`) and the same as a sentence.

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


def bend_between(was, now):
    """Return the bend done between two states of a `Club`, in degrees, upright positive: by the gauge where both were read on it."""
    if None in (was.gauge_lie_deg, now.gauge_lie_deg):
        return now.bent_deg - was.bent_deg
    return now.gauge_lie_deg - was.gauge_lie_deg


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
