"""The one way in for balls that are typed or come as a table. Photos come by the intake; both end in
`SessionBook.add_shots`."""

import hashlib
import uuid
import warnings
from collections.abc import Mapping
from typing import Any

import pandas as pd

from ..base.errors import InputError, PhotoError
from ..base.states import COUNTED, REFUSED, SET_ASIDE, reason_of
from ..base.tables import read_rows, words_of
from ..book.book import SessionBook
from ..book.schema import LENGTH_COLUMNS, LIE_COLUMNS, MARK_COLUMNS, START_COLUMNS
from ..lie.balls import lie_readings
from .middle import session_bag, session_row, shared_facts

NUMBERS = (*MARK_COLUMNS, *LENGTH_COLUMNS, *LIE_COLUMNS, *START_COLUMNS)
# What a table of balls may hold. What `measure_photos` gives goes in as it is.
COLUMNS = (
    "club", "ball", "shot", "golfer", "photo", *NUMBERS, "heading_known", "remarks", "kit", "error_code", "error",
    "why", "note", "before",
)  # fmt: skip
ALIASES = {"flags": "remarks", "tilt": "tilt_deg", "net": "net_left_mm", "start": "start_deg", "number": "ball"}
_FACTS = ("club", *NUMBERS)  # what tells one typed ball from another


def enter_readings(book: SessionBook, session: int, readings: Any) -> list[int]:
    """Enter a table of balls into a session, the whole of it or nothing.

    Entering the same table again changes nothing, and of a table that has grown only the new rows come in. What the
    balls share, the net's distance and the lean of the ball's line, is the session's.

    Parameters
    ----------
    book : SessionBook
    session : int
    readings : path or DataFrame
        A row a ball: club, and what is known of tilt_deg and u_tilt_deg; strike_toe_mm, strike_up_mm, line_width_mm and
        their u_…; net_left_mm (where the ball hit the net, left of the aim dot seen from behind; net_distance_mm where
        that was not the session's) or start_deg and u_start_deg; lie_error_deg, u_lie_error_deg of a lie judged
        without a print; photo (path); why (set aside because of it); note. `ball` numbers the session's
        balls, or `shot` those of each club: then a corrected row corrects its ball. What
        `measure_photos` returns goes in as it is; a refused photo waits as refused.

    Returns
    -------
    list of int
        The balls' ids (`shot_id`), a row each.

    Raises
    ------
    InputError
        Naming the row; nothing is entered then.
    """
    rows = read_rows(
        _paths_as_text(readings), "readings", needed=("club",), known=COLUMNS, numeric=NUMBERS, aliases=ALIASES
    )
    if not rows:
        raise InputError("the readings are empty; expected a row a ball; fill the table in")
    golfer = session_row(book, session)["golfer"]
    balls = []
    for number, row in rows:
        try:
            balls.append(_ball(row, golfer))
        except InputError as error:
            raise InputError(f"readings, row {number}: {error}") from error
    _check_lies(book, session, balls, [number for number, _ in rows])
    _give_keys(book, session, balls)
    known = book.shots(session).set_index("key")
    ids = book.add_shots(session, balls)
    for ball, shot in zip(balls, ids, strict=True):
        if ball["key"] in known.index:
            _bring_up_to_date(book, shot, ball, known.loc[ball["key"]])
    return ids


def enter_ball(book: SessionBook, session: int, club: str, *, key: str | None = None, **facts: Any) -> int:
    """Enter one ball that somebody typed and return its id.

    Parameters
    ----------
    book : SessionBook
    session : int
    club : str
    key : str, optional
        What tells it from others: the same key again corrects that ball. Default: a ball of its own.
    **facts
        As the columns of `enter_readings`.

    Raises
    ------
    InputError
    """
    ball = _ball({"club": club, **{name: value for name, value in facts.items() if value is not None}}, None)
    _check_lies(book, session, [ball], [1])
    ball["key"] = key or f"typed {uuid.uuid4().hex}"
    known = book.shots(session).set_index("key")
    shot = book.add_shot(session, **ball)
    if ball["key"] in known.index:
        _bring_up_to_date(book, shot, ball, known.loc[ball["key"]])
    return shot


def _paths_as_text(readings: Any) -> Any:
    if isinstance(readings, pd.DataFrame) and "photo" in readings:
        return readings.assign(photo=[str(one) if hasattr(one, "__fspath__") else one for one in readings["photo"]])
    return readings


def _ball(row: dict[str, Any], golfer: str | None) -> dict[str, Any]:
    """Return a row of a table as `add_shots` takes it, `key` still as the table says it."""
    row = {
        name: words_of(value) if name in ("club", "why", "note", "ball", "shot") else value
        for name, value in row.items()
    }
    if golfer is not None and str(row.get("golfer", golfer)) != golfer:
        raise InputError(
            f"golfer is {row['golfer']!r}; expected {golfer!r}, whose session this is; choose that golfer's rows or "
            "session"
        )
    ball: dict[str, Any] = {"club": row.get("club", ""), "photo": row.get("photo"), "note": row.get("note", "")}
    ball["mark"] = {name: row[name] for name in (*MARK_COLUMNS, *LENGTH_COLUMNS, "remarks", "kit") if name in row}
    if any(name in row for name in LIE_COLUMNS) and "tilt_deg" not in row:
        ball["lie"] = {name: row.get(name) for name in (*LIE_COLUMNS, "heading_known")}
        if None in [ball["lie"][name] for name in LIE_COLUMNS]:
            raise InputError(
                "a lie was given without its uncertainty, or the other way round; expected lie_error_deg and "
                "u_lie_error_deg"
            )
    if "start_deg" in row:
        ball["start"] = (row["start_deg"], row.get("u_start_deg"))
    ball |= {name: row[name] for name in ("net_left_mm", "net_distance_mm") if name in row}
    if row.get("error"):
        code = row.get("error_code", "")
        ball |= {"state": REFUSED, "reason": code if code in PhotoError.kinds() else "", "why": str(row["error"])}
    elif "why" in row:
        ball["state"] = SET_ASIDE
        ball["reason"], ball["why"] = reason_of(row["why"])
    else:
        ball["state"] = COUNTED
    ball["key"] = (
        f"ball {row['ball']}" if "ball" in row else f"club {ball['club']} shot {row['shot']}" if "shot" in row else None
    )
    return ball


def _check_lies(book: SessionBook, session: int, balls: list[dict[str, Any]], numbers: list[int]) -> None:
    """Refuse a ball whose club is not in the bag, or whose tilt no lie can print."""
    table = pd.DataFrame([_flat(ball) for ball in balls], index=numbers)
    bag = session_bag(book, session)
    for number, club in zip(numbers, table["club"], strict=True):
        try:
            bag[club]
        except InputError as error:
            raise InputError(f"readings, row {number}: {error}") from error
    try:
        problems = lie_readings(table, bag, **shared_facts(book, session))["problem"]
    except InputError as error:
        raise InputError(f"readings: {error}") from error
    for number in problems.index[problems != ""]:
        row = table.loc[number]
        raise InputError(
            f"readings, row {number}: tilt_deg is {row['tilt_deg']:g} with the {row['club']}; expected a tilt that "
            "some lie "
            "prints; check the tilt, the club's loft and where the ball started"
        )


def _flat(ball: Mapping[str, Any]) -> dict[str, Any]:
    start = ball.get("start") or (None, None)
    return {
        "club": ball["club"],
        **dict.fromkeys(NUMBERS),
        **ball["mark"],
        **(ball.get("lie") or {}),
        **{name: ball.get(name) for name in ("net_left_mm", "net_distance_mm")},
        "start_deg": start[0],
        "u_start_deg": start[1],
    }


def _give_keys(book: SessionBook, session: int, balls: list[dict[str, Any]]) -> None:
    """Give every ball a key: its number where the table has one, its photo's, else its place in the table so far.

    The key of a row without a number names all rows down to it, so that a table that has grown is known by its first
    rows.

    Raises
    ------
    InputError
        Where a number stands twice, or the table looks like one that was entered before and changed since.
    """
    chain, contents, rows = hashlib.sha256(), [], []
    known = set(book.shots(session)["key"].dropna())
    numbered = [ball["key"] for ball in balls if ball["key"]]
    if twice := [key for key in numbered if numbered.count(key) > 1]:
        raise InputError(
            f"the readings have {twice[0]} twice; expected a number of its own for each; correct one of them"
        )
    for ball in balls:
        if ball["key"] is None and ball["photo"] is None:
            content = repr([_flat(ball)[name] for name in _FACTS]).encode()
            chain.update(content)
            contents.append(hashlib.sha256(content).hexdigest()[:8])
            ball["key"] = f"row {chain.hexdigest()[:16]} {contents[-1]}"
            rows.append(ball)
    new = [ball["key"] for ball in rows if ball["key"] not in known]
    if rows and not new and len(rows) == 1:
        warnings.warn(
            "this ball is in the book already, and was not entered again; if it is another one that reads the same, "
            "give each its number in a column `ball`",
            stacklevel=3,
        )
    there = {key.split()[-1] for key in known if key.startswith("row ")}
    alike = [key for key in new if key.split()[-1] in there]
    if len(alike) >= 2 and 2 * len(alike) > len(new):
        raise InputError(
            f"{len(alike)} of {len(new)} new rows read like balls that are in the book already, as if a table that "
            "was entered "
            "had been changed since; expected new balls, or a column `ball` that numbers each, by which a corrected "
            "row "
            "corrects its ball; add that column, or enter the new rows alone"
        )


def _bring_up_to_date(book: SessionBook, shot: int, ball: dict[str, Any], row: pd.Series) -> None:
    """Correct a ball that was entered before, where its row of the table says something else now."""
    flat = _flat(ball)
    differs = [
        name
        for name in NUMBERS
        if not _same(flat[name], row[name]) and (name in ball["mark"] or name not in LENGTH_COLUMNS)
    ]
    if str(row["club"]) != ball["club"] or differs:
        book.measure_again(
            shot,
            mark=ball["mark"] or None,
            lie=ball.get("lie"),
            start=ball.get("start"),
            net=(ball.get("net_left_mm"), ball.get("net_distance_mm")) if ball.get("net_left_mm") is not None else None,
            club=ball["club"],
        )
    if ball["state"] == SET_ASIDE and row["state"] == COUNTED:
        book.decide(shot, SET_ASIDE, ball["reason"], ball["why"])


def _same(one: Any, other: Any) -> bool:
    empty = [value is None or value != value for value in (one, other)]
    return all(empty) or (not any(empty) and abs(float(one) - float(other)) < 1e-9)
