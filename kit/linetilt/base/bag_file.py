"""A bag of clubs from a file or table, as people have them."""

import math
from dataclasses import fields
from typing import Any

from .checks import RANGES, number_of
from .club import HEAD_LIMIT_DEG, Bag, Club, club_label
from .errors import InputError
from .tables import read_rows, words_of

# Headings that people write, and the parameter of `Club` that each stands for.
_HEADINGS = {
    heading: name
    for name, headings in {
        "label": "club, name, club name, iron",
        "loft_deg": "loft, loft angle, static loft",
        "lie_deg": "lie, lie angle, maker's lie, makers lie, lie (maker), standard lie",
        "gauge_lie_deg": "gauge, gauge lie, lie (gauge), lie on the gauge, measured lie",
        "length_in": "length, club length",
        "handed": "hand, right or left",
        "head": "kind of head, head kind",
        "score_line_length_mm": "score lines, score line, score line length, score lines length, length of score lines",
        "score_line_pitch_mm": "score line pitch, score line spacing, pitch of score lines",
        "score_line_width_mm": "score line width, width of score lines",
        "bend_limit_deg": "limit, bend limit, limit of bend",
        "bent_deg": "bent, bent so far, bends so far",
        "from_set": "set, from the set, in set, part of the set",
    }.items()
    for heading in headings.split(", ")
}
_HANDS = {
    written: hand
    for hand in ("right", "left")
    for written in (hand, hand[0], f"{hand[0]}h", f"{hand}handed", f"{hand}hand", f"{hand}hander")
}
_YES_NO = {"true": True, "yes": True, "y": True, "1": True, "false": False, "no": False, "n": False, "0": False}


def read_bag(source: Any) -> Bag:
    """Read a bag from a CSV file, a workbook or a table.

    Parameters
    ----------
    source : path, file object, DataFrame or list of dicts
        A row a club. Columns are named as the parameters of `Club`, or as people write them: "Club", "Loft (°)",
        "Maker's lie", "Length [in]", "Hand". A club's name and loft are needed, an empty cell means not known. Files
        are read as `linetilt.base.tables.read_rows` says.

    Returns
    -------
    Bag
        With labels as `linetilt.base.club.club_label` gives them. `Bag.understood` shows what was read.

    Raises
    ------
    InputError
        Naming the row, the column and the value.

    Examples
    --------
    >>> import io
    >>> sheet = "Club;Loft (°);Maker's lie;Hand\\n7 iron;34,5;62,5;R\\nPitching wedge;46;;R\\n"
    >>> bag = read_bag(io.StringIO(sheet))
    >>> bag.labels, bag["7i"].lie_deg, bag["pw"].handed
    (['7', 'PW'], 62.5, 'right')
    """
    clubs: list[Club] = []
    seen: dict[str, int] = {}
    for number, row in read_rows(
        source,
        "the bag",
        needed=("label", "loft_deg"),
        known=[field.name for field in fields(Club)],
        aliases=_HEADINGS,
    ):
        label = club_label(words_of(row.get("label", "")))
        try:
            _check_not_exchanged(row)
            clubs.append(Club(**({"loft_deg": None} | row | _choices(row) | {"label": label})))
        except InputError as error:
            raise InputError(f"bag, row {number} ({label or 'no label'}): {error}") from error
        if (name := label.casefold()) in seen:
            raise InputError(
                f"bag, rows {seen[name]} and {number}: two clubs are called {label!r}; expected a label for each; "
                "give each club its own label"
            )
        seen[name] = number
    return Bag(clubs)


def hand_of(written: Any) -> str:
    """Return the hand that a cell says: "right" for "Right", "R", "RH" or "right-handed"; other words stay."""
    words = words_of(written)
    return _HANDS.get("".join(filter(str.isalpha, words.casefold())), words)


def _choices(row: dict[str, Any]) -> dict[str, Any]:
    """Return the cells of a row that are one of a few words, as `Club` has them; what is none of them stays."""
    chosen: dict[str, Any] = {}
    if "handed" in row:
        chosen["handed"] = hand_of(row["handed"])
    if "head" in row:
        written = words_of(row["head"])
        plain = " ".join(written.casefold().replace("-", " ").split())
        chosen["head"] = plain if plain in HEAD_LIMIT_DEG else written
    if "from_set" in row:
        written = words_of(row["from_set"])
        if written.casefold() not in _YES_NO:
            raise InputError(f"from_set is {row['from_set']!r}; expected yes or no")
        chosen["from_set"] = _YES_NO[written.casefold()]
    return chosen


def _check_not_exchanged(row: dict[str, Any]) -> None:
    loft, lie = (number_of(row.get(name, math.nan)) for name in ("loft_deg", "lie_deg"))
    (low, high, _), (least, most, _) = RANGES["loft_deg"], RANGES["lie_deg"]
    if low <= lie < least <= loft <= most:
        raise InputError(
            f"loft_deg is {loft:g} and lie_deg is {lie:g}: are the two exchanged? expected a loft from {low:g} to "
            f"{high:g} and a lie from {least:g} to {most:g} degrees; if so, exchange the headings, or correct the row"
        )
