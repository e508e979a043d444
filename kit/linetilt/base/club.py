"""A club, what its head allows, what people call it, and the bag."""

import re
from collections.abc import Iterable, Iterator
from dataclasses import asdict, dataclass, fields, replace
from functools import cached_property, lru_cache
from typing import TYPE_CHECKING, Any

from .checks import HANDS, RANGES, check, is_text
from .checks import check_number as check_number  # where other modules took it from until now
from .errors import InputError

if TYPE_CHECKING:  # a worker that measures photos needs clubs, but no tables
    import pandas as pd

# Safe change of lie by kind of head, in degrees either way from the maker's figure: common practice, no source.
# A head that nobody can vouch for gets the cautious figure of cast steel.
HEAD_LIMIT_DEG = {"forged": 2.0, "cast": 1.0, "not bendable": 0.0}
UNKNOWN_HEAD_LIMIT_DEG = 1.0

# The Equipment Rules (The R&A and USGA), Part 2, 5c.
SCORE_LINE_WIDTH_MAX_MM = 0.9
SCORE_LINE_GAP_MIN_MM = 1.905
SCORE_LINE_GAP_MIN_WIDTHS = 3.0

# What people call a club -> its label. "7" stands for the iron, "52" for the wedge of that loft.
_APART = r"[\s_-]*"
_LABELS = [
    (re.compile(pattern.replace(" ", _APART)), label)
    for pattern, label in (
        (r"(?:(?:#|no\.?) )?([1-9][0-9]?)(?:\.0+)?", r"\1"),
        (r"([1-9]|1[0-2]) (?:i|iron)|(?:i|iron) ([1-9]|1[0-2])", r"\1\2"),
        (r"([4-7][0-9])(?:\.0+)? (?:°|º|deg|degrees?)(?: wedge)?|([4-7][0-9]) wedge|wedge ([4-7][0-9])", r"\1\2\3"),
        (r"d|driver|1 w|w 1|1 wood|wood 1", "D"),
        (r"([2-9]|1[0-5]) (?:w|wood|fairway|fairway wood)|(?:w|wood|fairway) ([2-9]|1[0-5])", r"\1\2W"),
        (r"([1-9]) (?:h|hy|hyb|hybrid)|(?:h|hy|hyb|hybrid) ([1-9])", r"\1\2H"),
        (r"p|p w|pitching|pitching wedge", "PW"),
        (r"g|g w|gap|gap wedge", "GW"),
        (r"a|a w|approach wedge|attack wedge", "AW"),
        (r"s|s w|sand|sand wedge", "SW"),
        (r"l|l w|lob|lob wedge", "LW"),
        (r"putter", "Putter"),
    )
]


@lru_cache(maxsize=4096)
def club_label(text: str) -> str:
    """Return the label of a club from what people call it; a name that nobody knows stays as it is typed.

    Examples
    --------
    >>> [club_label(text) for text in ("7 iron", "7i", "Iron 7", "Pitching wedge", "52°", "3 wood", "4h", "chipper")]
    ['7', '7', '7', 'PW', '52', '3W', '4H', 'chipper']
    """
    text = text.strip()
    for pattern, label in _LABELS:
        if found := pattern.fullmatch(text.lower()):
            return found.expand(label)
    return text


@dataclass(frozen=True, kw_only=True)
class Club:
    """One club, as the fitter knows it.

    Parameters
    ----------
    label : str
        What the golfer calls it: "7", "PW", "56".
    loft_deg : float
        Static loft, in degrees.
    handed : {"right", "left"}
    score_line_length_mm : float, optional
        Length of a full score line, heel end to toe end, in mm. Without it strike is not given in millimetres.
    score_line_pitch_mm, score_line_width_mm : float, optional
        Distance between the middles of neighbouring score lines, and the width of one, in mm.
    lie_deg : float, optional
        The maker's lie angle, in degrees.
    gauge_lie_deg : float, optional
        The lie angle read on a gauge, in degrees.
    length_in : float, optional
        Length by the sole-against-60° method, in inches.
    head : {"forged", "cast", "not bendable"}, optional
        Kind of head; decides the limit of a bend where `bend_limit_deg` is not given.
    bend_limit_deg : float, optional
        Largest change of lie from the maker's figure that this head allows either way, in degrees.
    bent_deg : float
        Bends already done, upright positive, in degrees. Where a gauge reading and the maker's lie are known
        their difference counts instead (see `total_bent_deg`).
    from_set : bool
        False for a club bought apart from the set.

    Raises
    ------
    InputError
        When a value cannot be what it is called.
    """

    label: str
    loft_deg: float
    handed: str = "right"
    score_line_length_mm: float | None = None
    score_line_pitch_mm: float | None = None
    score_line_width_mm: float | None = None
    lie_deg: float | None = None
    gauge_lie_deg: float | None = None
    length_in: float | None = None
    head: str | None = None
    bend_limit_deg: float | None = None
    bent_deg: float = 0.0
    from_set: bool = True

    def __post_init__(self) -> None:
        if not isinstance(self.label, str) or not self.label.strip() or not is_text(self.label):
            raise InputError(f'label is {self.label!r}; expected the club\'s name, such as "7" or "PW"; give it one')
        if self.handed not in HANDS:
            raise InputError(f'handed is {self.handed!r}; expected "right" or "left"')
        if self.head is not None and self.head not in tuple(HEAD_LIMIT_DEG):
            raise InputError(
                f"head is {self.head!r}; expected one of {', '.join(HEAD_LIMIT_DEG)}, or nothing if unknown"
            )
        for name in CLUB_NUMBERS:
            value = getattr(self, name)
            if value is not None:
                object.__setattr__(self, name, check(name, value))
        if self.loft_deg is None:
            raise InputError("loft_deg is missing; expected the club's loft in degrees; fill it in")

    @property
    def limit_deg(self) -> float:
        """Largest change of lie from the maker's figure that the head allows either way, in degrees."""
        if self.bend_limit_deg is not None:
            return self.bend_limit_deg
        return UNKNOWN_HEAD_LIMIT_DEG if self.head is None else HEAD_LIMIT_DEG[self.head]

    @property
    def total_bent_deg(self) -> float:
        """How far the club now is from the maker's lie, upright positive, in degrees."""
        if self.gauge_lie_deg is not None and self.lie_deg is not None:
            return self.gauge_lie_deg - self.lie_deg
        return self.bent_deg

    def rule_notes(self) -> list[str]:
        """Return what the score lines break of the Equipment Rules, a sentence each (empty: nothing known to be so).

        Source: The Equipment Rules (The R&A and USGA), Part 2, 5c.
        """
        notes = []
        width, pitch = self.score_line_width_mm, self.score_line_pitch_mm
        if width is not None and width > SCORE_LINE_WIDTH_MAX_MM:
            notes.append(
                f"club {self.label}: score lines {width:g} mm wide; the rules allow {SCORE_LINE_WIDTH_MAX_MM:g} mm"
            )
        if pitch is not None:
            gap = pitch - (width or 0.0)
            need = max(SCORE_LINE_GAP_MIN_MM, SCORE_LINE_GAP_MIN_WIDTHS * (width or 0.0))
            if gap < need - 1e-9:
                notes.append(
                    f"club {self.label}: {gap:g} mm between neighbouring score lines; the rules ask for {need:g} mm"
                )
        return notes


CLUB_NUMBERS = tuple(field.name for field in fields(Club) if field.name in RANGES)


@dataclass(frozen=True)
class Bag:
    """An ordered collection of clubs: iterate for the clubs, index by what a club is called, `"7" in bag`.

    Examples
    --------
    >>> bag = Bag([Club(label="7", loft_deg=34), Club(label="PW", loft_deg=46)])
    >>> bag["pitching wedge"].label, "7 iron" in bag, "8" in bag
    ('PW', True, False)
    """

    clubs: tuple[Club, ...]

    def __init__(self, clubs: Iterable[Club]) -> None:
        object.__setattr__(self, "clubs", tuple(clubs))
        if not self.clubs:
            raise InputError("the bag has no clubs; expected at least one")
        names: dict[str, Club] = {}
        for club in self.clubs:
            name = _name(club.label)
            if other := names.get(name):
                same = "" if club.label == other.label else f" and {club.label!r}, which is the same"
                raise InputError(
                    f"two clubs are called {other.label!r}{same}; expected a label for each; "
                    "give each club of the bag its own label"
                )
            names[name] = club

    @classmethod
    def as_kept(cls, clubs: Iterable[Club]) -> "Bag":
        """Return a bag as an older book kept it, in which one club may stand under two names, such as "PW" and "pw"."""
        bag = object.__new__(cls)
        object.__setattr__(bag, "clubs", tuple(clubs))
        if not bag.clubs:
            raise InputError("the bag has no clubs; expected at least one")
        return bag

    @cached_property
    def _names(self) -> dict[str, Club]:
        return {_name(club.label): club for club in reversed(self.clubs)} | {club.label: club for club in self.clubs}

    @property
    def labels(self) -> list[str]:
        """Labels in the bag's order."""
        return [club.label for club in self.clubs]

    def __iter__(self) -> Iterator[Club]:
        return iter(self.clubs)

    def __len__(self) -> int:
        return len(self.clubs)

    def __contains__(self, label: object) -> bool:
        return str(label) in self._names or _name(str(label)) in self._names

    def __getitem__(self, label: object) -> Club:
        club = self._names.get(str(label)) or self._names.get(_name(str(label)))
        if club is None:
            raise InputError(
                f"no club {label!r} in the bag; expected one of {', '.join(self.labels)}; "
                "correct the label, or enter the club"
            )
        return club

    def with_club(self, club: Club) -> "Bag":
        """Return a bag in which `club` stands in place of the one with its label."""
        there = self[club.label]
        return replace(self, clubs=tuple(club if old is there else old for old in self.clubs))

    def to_frame(self) -> "pd.DataFrame":
        """Return a DataFrame, a row a club, with the columns that `read_bag` reads."""
        import pandas as pd

        return pd.DataFrame([asdict(club) for club in self.clubs])

    def understood(self) -> "pd.DataFrame":
        """Return what the kit took each club to be, as text with units in the headings: to look at before it is kept.

        Columns of which nothing is known are left out; a limit that follows from the head says so.

        Examples
        --------
        >>> Bag([Club(label="7", loft_deg=34.5, length_in=37)]).understood().to_dict("records")
        [{'Club': '7', 'Hand': 'right', 'Loft (°)': '34.5', 'Length (in)': '37', 'From the set': 'yes'}]
        """
        import pandas as pd

        columns = {heading: [_words(club, name) for club in self.clubs] for name, heading in _HEADINGS.items()}
        if not any(club.bent_deg for club in self.clubs):
            del columns[_HEADINGS["bent_deg"]]
        return pd.DataFrame({heading: words for heading, words in columns.items() if set(words) != {NOT_KNOWN}})

    def _repr_html_(self) -> str:
        return self.understood().to_html(index=False, border=0)


NOT_KNOWN = "not known"
_HEADINGS = {
    "label": "Club",
    "handed": "Hand",
    "loft_deg": "Loft (°)",
    "lie_deg": "Lie (°)",
    "gauge_lie_deg": "Gauge lie (°)",
    "bent_deg": "Bent so far (°)",
    "length_in": "Length (in)",
    "head": "Head",
    "bend_limit_deg": "Limit (°)",
    "score_line_length_mm": "Score lines (mm)",
    "score_line_pitch_mm": "Score line pitch (mm)",
    "score_line_width_mm": "Score line width (mm)",
    "from_set": "From the set",
}


def _words(club: Club, name: str) -> str:
    value: Any = getattr(club, name)
    if name == "bend_limit_deg" and value is None and club.head is not None:
        return f"{club.limit_deg:g} by its head"
    if value is None:
        return NOT_KNOWN
    if isinstance(value, bool):
        return "yes" if value else "no"
    return f"{value:g}" if isinstance(value, float) else str(value)


def _name(label: str) -> str:
    """What a club is found by: its label, or what else people call it, in small letters or capitals."""
    return club_label(label).casefold()
