"""Lengths in the session's units: millimetres or inches for what is small, metres or yards for what is far."""

from .errors import InputError

MM_PER_INCH = 25.4
MM = {"mm": 1.0, "in": MM_PER_INCH, "m": 1000.0, "yd": 914.4}  # the international inch and yard, exact (ISO 80000-3)
WORDS = {"mm": "millimetres", "in": "inches", "m": "metres", "yd": "yards"}


def to_mm(length, unit):
    """Return a length given in "mm", "in", "m" or "yd" in millimetres; None stays None."""
    return None if length is None else length * _size(unit)


def from_mm(length_mm, unit):
    """Return a length in millimetres in "mm", "in", "m" or "yd"; None stays None."""
    return None if length_mm is None else length_mm / _size(unit)


def _size(unit):
    if unit not in MM:
        raise InputError(f"unit is {unit!r}; expected one of {', '.join(MM)}")
    return MM[unit]
