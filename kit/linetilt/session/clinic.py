"""An afternoon with many golfers and one book: signing in, entering readings, who is next."""

from dataclasses import replace
from pathlib import Path
from typing import Any

import pandas as pd

from ..base.bag_file import hand_of, read_bag
from ..base.checks import HANDS
from ..base.club import Bag
from ..base.errors import InputError
from ..base.tables import read_rows, words_of
from ..book.book import SessionBook
from .middle import standing

SIGN_IN = ("name", "handed", "note", "bag")
SIGN_IN_ALIASES = {
    "golfer": "name",
    "player": "name",
    "hand": "handed",
    "clubs": "bag",
    "bag file": "bag",
    "notes": "note",
}


def clinic_sign_in(book: SessionBook, people: Any, *, day: str, bag: Any = None, place: str = "") -> pd.DataFrame:
    """Enter everybody of a sign-in list with a bag and a session. Signing in again adds only who is new.

    Parameters
    ----------
    book : SessionBook
    people : path or DataFrame
        A row a golfer: name; handed ("right" if left out), note, bag (a CSV file as `read_bag` reads it, beside the
        list).
    day : date or str
    bag : Bag, optional
        The clubs of everybody who brings no file.
    place : str

    Returns
    -------
    DataFrame
        golfer, golfer_id, bag_id, session_id.

    Raises
    ------
    InputError
        Naming the row; nothing is entered then.
    """
    folder = Path(people).parent if isinstance(people, str | Path) else Path(".")
    entries, rows = [], read_rows(people, "the sign-in list", needed=("name",), known=SIGN_IN, aliases=SIGN_IN_ALIASES)
    if not rows:
        raise InputError("the sign-in list has no names; expected a row a golfer; fill it in")
    for number, row in rows:
        row = {name: words_of(value) for name, value in row.items()}
        handed, clubs = hand_of(row.get("handed", "right")), bag if "bag" not in row else read_bag(folder / row["bag"])
        if not row.get("name") or handed not in HANDS or not isinstance(clubs, Bag):
            raise InputError(
                f'sign-in list, row {number}: expected a name, handed "right" or "left" and clubs (a bag file, or a '
                f"bag for all); it says {row}"
            )
        entries.append((row["name"], handed, row.get("note", ""), clubs))
    if len({name for name, *_ in entries}) < len(entries):
        raise InputError(
            "two golfers of the sign-in list have the same name; expected a name for each; add something that tells "
            "them apart"
        )
    here = book.sessions()
    here = here[here["day"] == str(day)[:10]].set_index("golfer")
    for name, handed, note, clubs in entries:
        if name not in here.index:
            clubs = Bag(replace(club, handed=handed) for club in clubs)
            book.add_session(book.add_bag(book.add_golfer(name, handed, note), clubs, day=day), day=day, place=place)
    here = book.sessions()
    here = here[(here["day"] == str(day)[:10]) & here["golfer"].isin([name for name, *_ in entries])]
    return here[["golfer", "golfer_id", "bag_id", "session_id"]].reset_index(drop=True)


def clinic_turns(book: SessionBook, day: str, *, balls: int = 15) -> pd.DataFrame:
    """Say who hits next, and with which club.

    Parameters
    ----------
    book : SessionBook
    day : date or str
    balls : int
        After so many counted balls a golfer's turn ends, finished or not.

    Returns
    -------
    DataFrame
        A row a golfer, next first: golfer, session_id, balls, settled (clubs that need no more balls, of all),
        next_club, done. Golfers with the fewest balls come first, then in the order of signing in; those who are done
        come last.
    """
    rows = []
    sessions = book.sessions()
    for row in sessions[sessions["day"] == str(day)[:10]].itertuples():
        now = standing(book, row.session_id)
        fit, bag = now.fit, now.bag
        club = fit.next_club().club if fit else min(bag, key=lambda one: abs(one.loft_deg - 34)).label
        done = club is None or row.counted >= balls
        settled = f"{int(fit.settled.sum()) if fit else 0} of {len(bag)}"
        rows.append(
            {
                "golfer": row.golfer,
                "session_id": row.session_id,
                "balls": int(row.counted),
                "settled": settled,
                "next_club": "" if done else club,
                "done": done,
            }
        )
    table = pd.DataFrame(rows, columns=["golfer", "session_id", "balls", "settled", "next_club", "done"])
    return table.sort_values(["done", "balls"], kind="stable").reset_index(drop=True)
