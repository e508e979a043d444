"""The coach's page about an afternoon."""

from os import PathLike

import pandas as pd

from ..base.errors import InputError
from ..bench.plan import CAUTION
from ..book.book import SessionBook
from ..session.handed import handed_plan
from ..session.middle import standing
from ..words.plans import advice_words
from ..words.terms import sits
from .pages import HITTING_CAUTION, page
from .report import strike_days, strike_sentence


def clinic_table(book: SessionBook, day: str) -> pd.DataFrame:
    """Return an afternoon in words, a row a golfer.

    Parameters
    ----------
    book : SessionBook
    day : date or str

    Returns
    -------
    DataFrame
        golfer, balls (that counted), settled (clubs that need no more, of all), worst (the club furthest from level,
        with half its 95 % interval), bends (asked for now), strikes, notes (what speaks against the numbers).

    Raises
    ------
    InputError
        When nothing was hit on that day.
    """
    sessions = book.sessions()
    sessions, rows = sessions[sessions["day"] == str(day)[:10]], []
    if sessions.empty:
        raise InputError(f"there is no session on {day} in this book; expected a day on which balls were hit")
    for session in sessions["session_id"]:
        now = standing(book, int(session))
        balls = now.numbers()["counted"]
        row = {
            "golfer": now.session["golfer"],
            "balls": balls,
            "settled": "",
            "worst": "",
            "bends": "",
            "strikes": "",
            "notes": "",
        }
        if now.fit is not None:
            table, handed = now.fit.table, handed_plan(book, int(session))
            worst = table.loc[table["lie_error_deg"].abs().idxmax()]
            asked = now.plan[now.plan["bend_deg"] != 0].to_dict("records")
            row |= {
                "settled": f"{int(now.fit.settled.sum())} of {len(now.bag)}",
                "worst": f"{worst['club']}: {sits(worst['lie_error_deg'])} (± "
                f"{(worst['high_deg'] - worst['low_deg']) / 2:.1f}°)",
                "bends": "; ".join(f"{line['club']}: {advice_words(line).removeprefix('bend ')}" for line in asked)
                or "none",
                "strikes": strike_sentence(strike_days(now.shots)),
                "notes": " ".join([*now.fit.warnings, *([] if handed is None else handed.sentences)]),
            }
        rows.append(row)
    return pd.DataFrame(rows)


def clinic_summary(book: SessionBook, day: str, path: str | PathLike[str] | None = None) -> str:
    """Make the coach's page about an afternoon: `clinic_table` as a page.

    Parameters
    ----------
    book : SessionBook
    day : date or str
    path : path, optional

    Returns
    -------
    str
        The page, as HTML.
    """
    rows, sessions = clinic_table(book, day).to_dict("records"), book.sessions()
    places = " and ".join(sorted(set(sessions.loc[sessions["day"] == str(day)[:10], "place"]) - {""}))
    return page(
        "clinic.html",
        path,
        title=f"Clinic, {str(day)[:10]}",
        golfers=rows,
        caution=f"{CAUTION} {HITTING_CAUTION}",
        where=f"{len(rows)} golfers, {sum(row['balls'] for row in rows)} balls that "
        f"counted{f', {places}' if places else ''}",
    )
