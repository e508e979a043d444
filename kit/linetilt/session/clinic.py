"""An afternoon with many golfers and one book: signing in, entering readings, who is next."""

from dataclasses import replace
from pathlib import Path

import pandas as pd

from ..base.club import HANDS, Bag, read_bag
from ..base.errors import InputError
from ..base.tables import read_rows, words_of
from ..book.schema import MARK_COLUMNS
from ..lie.geometry import heading_from_start, lie_reading, start_from_net
from .bends import session_fit


def clinic_sign_in(book, people, *, day, bag=None, place=""):
    """Enter everybody of a sign-in list with a bag and a session. Signing in again adds only who is new.

    Parameters
    ----------
    book : SessionBook
    people : path or DataFrame
        A row a golfer: name; handed ("right" if left out), note, bag (a CSV file as `read_bag` reads it, beside the list).
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
    entries, rows = [], read_rows(people, "the sign-in list", needed=("name",))
    if not rows:
        raise InputError("the sign-in list has no names; expected a row a golfer; fill it in")
    for number, row in rows:
        row = {name: words_of(value) for name, value in row.items()}
        handed, clubs = row.get("handed", "right").lower(), bag if "bag" not in row else read_bag(folder / row["bag"])
        if not row.get("name") or handed not in HANDS or not isinstance(clubs, Bag):
            raise InputError(
                f'sign-in list, row {number}: expected a name, handed "right" or "left" and clubs (a bag file, or a bag for all); it says {row}'
            )
        entries.append((row["name"], handed, row.get("note", ""), clubs))
    if len({name for name, *_ in entries}) < len(entries):
        raise InputError(
            "two golfers of the sign-in list have the same name; expected a name for each; add something that tells them apart"
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


def enter_readings(book, session, readings):
    """Enter a table of readings as shots of a session, each with its lie reading and budget.

    Parameters
    ----------
    book : SessionBook
    session : int
    readings : path or DataFrame
        A row a shot: club, tilt_deg; and where known u_tilt_deg, strike_toe_mm, strike_up_mm with their u_…, net_left_mm and
        net_distance_mm (where the ball hit the net, as `start_from_net` takes it), photo (path), why (set aside because of it), note.

    Returns
    -------
    list of int
        The shots' ids.

    Raises
    ------
    InputError
        Naming the row; the rows before it are entered then.
    """
    sessions = book.sessions().set_index("session_id")
    if session not in sessions.index:
        raise InputError(
            f"there is no session {session!r} in this book; expected the number it was given when it was entered"
        )
    clubs, ids = book.bag(int(sessions.loc[session, "bag_id"]), session=session), []
    for number, row in read_rows(
        readings, "readings", needed=("club",), numeric=(*MARK_COLUMNS, "net_left_mm", "net_distance_mm")
    ):
        row = {name: words_of(value) if name in ("club", "why", "note") else value for name, value in row.items()}
        try:
            club, start, reading = clubs[row.get("club", "")], None, None
            heading = {}
            if "net_left_mm" in row:
                start = start_from_net(row["net_left_mm"], row.get("net_distance_mm", 3000.0), club.handed)
                face = heading_from_start(start.start_deg, club.loft_deg, u_start_deg=start.u_start_deg)
                heading = {"face_heading_deg": face.face_heading_deg, "u_face_heading_deg": face.u_face_heading_deg}
            if "tilt_deg" in row:
                reading = lie_reading(
                    row["tilt_deg"], club.loft_deg, **{n: row[n] for n in ("u_tilt_deg",) if n in row}, **heading
                )
            ids.append(
                book.add_shot(
                    session,
                    club.label,
                    photo=row.get("photo"),
                    mark=row,
                    reading=reading,
                    start=start,
                    counted=False if "why" in row else None,
                    why=row.get("why", ""),
                    note=row.get("note", ""),
                )
            )
        except InputError as error:
            raise InputError(f"readings, row {number}: {error}") from error
    return ids


def clinic_turns(book, day, *, balls=15):
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
        A row a golfer, next first: golfer, session_id, balls, settled (clubs that need no more balls, of all), next_club, done. Golfers with
        the fewest balls come first, then in the order of signing in; those who are done come last.
    """
    rows = []
    sessions = book.sessions()
    for row in sessions[sessions["day"] == str(day)[:10]].itertuples():
        fit = session_fit(book, row.session_id)
        bag = fit.bag if fit else book.bag(row.bag_id)
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
