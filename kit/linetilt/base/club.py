"""A club, what its head allows, and reading a bag of clubs from a CSV file."""

from collections import Counter
from collections.abc import Iterator
from dataclasses import asdict, dataclass, fields, replace

import pandas as pd

from .errors import InputError
from .tables import check_number, is_text, read_rows, words_of

HANDS = ("right", "left")

# Safe change of lie by kind of head, in degrees either way from the maker's figure: common practice, no source.
# A head that nobody can vouch for gets the cautious figure of cast steel.
HEAD_LIMIT_DEG = {"forged": 2.0, "cast": 1.0, "not bendable": 0.0}
UNKNOWN_HEAD_LIMIT_DEG = 1.0

# The Equipment Rules (The R&A and USGA), Part 2, 5c.
SCORE_LINE_WIDTH_MAX_MM = 0.9
SCORE_LINE_GAP_MIN_MM = 1.905
SCORE_LINE_GAP_MIN_WIDTHS = 3.0

_RANGES = {  # what a number must lie within to be that quantity at all, and its unit in words
    "loft_deg": (2.0, 75.0, "degrees"),  # below, it is likely in radians
    "lie_deg": (45.0, 80.0, "degrees"),
    "gauge_lie_deg": (45.0, 80.0, "degrees"),
    "length_in": (18.0, 50.0, "inches"),
    "score_line_length_mm": (25.0, 90.0, "millimetres"),
    "score_line_pitch_mm": (1.5, 8.0, "millimetres"),
    "score_line_width_mm": (0.1, 2.0, "millimetres"),
    "bend_limit_deg": (0.0, 10.0, "degrees"),
    "bent_deg": (-10.0, 10.0, "degrees"),
}


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

    def __post_init__(self):
        if not isinstance(self.label, str) or not self.label.strip() or not is_text(self.label):
            raise InputError(f'label is {self.label!r}; expected the club\'s name, such as "7" or "PW"; give it one')
        if self.handed not in HANDS:
            raise InputError(f'handed is {self.handed!r}; expected "right" or "left"')
        if self.head is not None and self.head not in tuple(HEAD_LIMIT_DEG):
            raise InputError(
                f"head is {self.head!r}; expected one of {', '.join(HEAD_LIMIT_DEG)}, or nothing if unknown"
            )
        for name, (low, high, unit) in _RANGES.items():
            value = getattr(self, name)
            if value is not None:
                object.__setattr__(self, name, check_number(name, value, low, high, unit))
        if self.loft_deg is None:
            raise InputError("loft_deg is missing; expected the club's loft in degrees; fill it in")

    @property
    def limit_deg(self):
        """Largest change of lie from the maker's figure that the head allows either way, in degrees."""
        if self.bend_limit_deg is not None:
            return self.bend_limit_deg
        return HEAD_LIMIT_DEG.get(self.head, UNKNOWN_HEAD_LIMIT_DEG)

    @property
    def total_bent_deg(self):
        """How far the club now is from the maker's lie, upright positive, in degrees."""
        if self.gauge_lie_deg is not None and self.lie_deg is not None:
            return self.gauge_lie_deg - self.lie_deg
        return self.bent_deg

    def rule_notes(self):
        """Return what the score lines break of the Equipment Rules, a sentence each (empty: nothing known to be broken).

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


@dataclass(frozen=True)
class Bag:
    """An ordered collection of clubs: iterate for the clubs, index by label, `"7" in bag`."""

    clubs: tuple[Club, ...]

    def __post_init__(self):
        object.__setattr__(self, "clubs", tuple(self.clubs))
        if not self.clubs:
            raise InputError("the bag has no clubs; expected at least one")
        label, times = Counter(self.labels).most_common(1)[0]
        if times > 1:
            raise InputError(
                f"two clubs are called {label!r}; expected a label for each; give each club of the bag its own label"
            )

    @property
    def labels(self):
        """Labels in the bag's order."""
        return [club.label for club in self.clubs]

    def __iter__(self) -> Iterator[Club]:
        return iter(self.clubs)

    def __len__(self):
        return len(self.clubs)

    def __contains__(self, label):
        return label in self.labels

    def __getitem__(self, label):
        for club in self.clubs:
            if club.label == str(label):
                return club
        raise InputError(
            f"no club {label!r} in the bag; expected one of {', '.join(self.labels)}; correct the label, or enter the club"
        )

    def with_club(self, club):
        """Return a bag in which `club` stands in place of the one with its label."""
        self[club.label]
        return replace(self, clubs=tuple(club if old.label == club.label else old for old in self.clubs))

    def to_frame(self):
        """Return a DataFrame, a row a club, with the columns that `read_bag` reads."""
        return pd.DataFrame([asdict(club) for club in self.clubs])


def read_bag(source):
    """Read a bag from a CSV file or a DataFrame.

    Parameters
    ----------
    source : path, file object or DataFrame
        A row a club. Columns are named as the parameters of `Club`; `label` and `loft_deg` are needed, an empty
        cell means not known. Files as in `entries.read_rows`.

    Returns
    -------
    Bag

    Raises
    ------
    InputError
        Naming the row, the column and the value.
    """
    clubs, seen = [], {}
    for number, row in read_rows(
        source, "the bag", needed=("label", "loft_deg"), known=[field.name for field in fields(Club)]
    ):
        label = words_of(row.get("label", ""))
        try:
            if "from_set" in row:
                row["from_set"] = _read_bool(row["from_set"])
            clubs.append(Club(**({"loft_deg": None} | row | {"label": label})))
        except InputError as error:
            raise InputError(f"bag, row {number} ({label or 'no label'}): {error}") from error
        if label in seen:
            raise InputError(
                f"bag, rows {seen[label]} and {number}: two clubs are called {label!r}; expected a label for each; give each club its own label"
            )
        seen[label] = number
    return Bag(clubs)


def _read_bool(value):
    text = words_of(value).lower()
    if text in ("true", "yes", "1"):
        return True
    if text in ("false", "no", "0"):
        return False
    raise InputError(f"from_set is {value!r}; expected yes or no")
