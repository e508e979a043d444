"""Lengths in the session's units: millimetres or inches for what is small, metres or yards for what is far."""

from typing import overload

from .errors import InputError

MM_PER_INCH = 25.4
MM = {"mm": 1.0, "in": MM_PER_INCH, "m": 1000.0, "yd": 914.4}  # the international inch and yard, exact (ISO 80000-3)
WORDS = {"mm": "millimetres", "in": "inches", "m": "metres", "yd": "yards"}


@overload
def to_mm(length: float, unit: str) -> float: ...
@overload
def to_mm(length: None, unit: str) -> None: ...
def to_mm(length: float | None, unit: str) -> float | None:
    """Return a length given in "mm", "in", "m" or "yd" in millimetres; None stays None.

    Raises
    ------
    InputError
        Where the unit is none of the four.

    Examples
    --------
    >>> to_mm(37, "in")
    939.8
    """
    return None if length is None else length * _size(unit)


@overload
def from_mm(length_mm: float, unit: str) -> float: ...
@overload
def from_mm(length_mm: None, unit: str) -> None: ...
def from_mm(length_mm: float | None, unit: str) -> float | None:
    """Return a length in millimetres in "mm", "in", "m" or "yd"; None stays None.

    Raises
    ------
    InputError
        Where the unit is none of the four.

    Examples
    --------
    >>> round(from_mm(3000, "yd"), 2)
    3.28
    """
    return None if length_mm is None else length_mm / _size(unit)


def _size(unit: str) -> float:
    if unit not in MM:
        raise InputError(f"unit is {unit!r}; expected one of {', '.join(MM)}")
    return MM[unit]
