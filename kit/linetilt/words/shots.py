"""What the numbers of a shot mean, in the trade's words. The sign "±" holds the truth 19 times in 20 (95 %).

GUM 7.2.2 keeps "±" for an interval of high confidence, so a standard uncertainty is never printed behind it.
"""

import math
from typing import Any

from ..base.checks import HANDS
from ..base.errors import InputError, PhotoError
from ..base.states import OTHER, REASONS, REFUSED, SET_ASIDE, STATES
from ..base.statistics import COVERAGE_FACTOR
from ..base.units import MM_PER_INCH

UNITS = ("mm", "in")
PLUS_MINUS = "± holds the truth 19 times in 20"


def lie_words(lie_error_deg: float, u_lie_error_deg: float | None = None) -> str:
    """Return a lie error in words: "toe down about 1.2°, ±0.9°"; "level, ±0.9°" where it rounds to zero.

    Parameters
    ----------
    lie_error_deg, u_lie_error_deg : float
        Too upright (toe up) positive, and its standard uncertainty, in degrees; without one there is no "±".
    """
    return _sided(lie_error_deg, "toe up about {}", "toe down about {}", "level", "{:.1f}°") + _give_or_take(
        u_lie_error_deg, "{:.1f}°"
    )


def tilt_words(tilt_deg, u_tilt_deg=None):
    """Return the tilt of a printed line in words: "its top leans 2.1° to the heel, ±0.8°". Degrees, toe positive."""
    return _sided(
        tilt_deg,
        "its top leans {} to the toe",
        "its top leans {} to the heel",
        "it runs straight up the face",
        "{:.1f}°",
    ) + _give_or_take(u_tilt_deg, "{:.1f}°")


def strike_words(
    strike_toe_mm: float,
    strike_up_mm: float,
    u_strike_toe_mm: float | None = None,
    u_strike_up_mm: float | None = None,
    unit: str = "mm",
) -> str:
    """Return a strike in words: "4 mm to the toe, ±1 mm; 15 mm above the lowest full score line, ±2 mm".

    Parameters
    ----------
    strike_toe_mm, strike_up_mm : float
        Towards the toe from the middle of the score lines, and up from the lowest full-length one, in mm.
    u_strike_toe_mm, u_strike_up_mm : float, optional
        Their standard uncertainties, in mm.
    unit : {"mm", "in"}

    Returns
    -------
    str

    Raises
    ------
    InputError
        For another unit.
    """
    pattern, scale = _unit(unit)
    toe = _sided(strike_toe_mm / scale, "{} to the toe", "{} to the heel", "in the middle", pattern)
    up = _sided(
        strike_up_mm / scale,
        "{} above the lowest full score line",
        "{} below the lowest full score line",
        "on the lowest full score line",
        pattern,
    )
    doubts = (_give_or_take(None if _missing(u) else u / scale, pattern) for u in (u_strike_toe_mm, u_strike_up_mm))
    return "; ".join(part + doubt for part, doubt in zip((toe, up), doubts))


def width_words(line_width_mm, u_line_width_mm=None, unit="mm"):
    """Return the width of a print in words: "2.3 mm wide, ±0.4 mm"."""
    _, scale = _unit(unit)
    pattern = "{:.1f} mm" if unit == "mm" else "{:.2f} in"
    return (
        pattern.format(line_width_mm / scale)
        + " wide"
        + _give_or_take(None if _missing(u_line_width_mm) else u_line_width_mm / scale, pattern)
    )


def start_words(start_deg, handed="right"):
    """Return where a ball started, closed side positive, in degrees, as it looks from behind: "0.7° left of the
    line"."""
    if handed not in HANDS:
        raise InputError(f'handed is {handed!r}; expected "right" or "left"')
    left = start_deg if handed == "right" else -start_deg
    return _sided(left, "{} left of the line", "{} right of the line", "on the line", "{:.1f}°")


def shot_words(shot: Any, handed: str = "right", unit: str = "mm") -> list[str]:
    """Return what a shot says, a sentence each, the most wanted first.

    Parameters
    ----------
    shot : mapping
        With the columns of `SessionBook.shots`; what is missing or NaN is left out.
    handed : {"right", "left"}
    unit : {"mm", "in"}

    Returns
    -------
    list of str

    Raises
    ------
    InputError
        For another unit or hand.
    """
    get = lambda name: None if _missing(shot.get(name)) else float(shot[name])
    sentences = []
    if get("lie_error_deg") is not None:
        lie, u_lie = get("lie_error_deg"), get("u_lie_error_deg")
        unsure = u_lie is not None and abs(lie) < COVERAGE_FACTOR * u_lie
        sentences.append(lie_words(lie, u_lie) + ("; this ball alone does not tell up from down" if unsure else ""))
    if get("strike_toe_mm") is not None and get("strike_up_mm") is not None:
        sentences.append(
            "strike "
            + strike_words(
                get("strike_toe_mm"), get("strike_up_mm"), get("u_strike_toe_mm"), get("u_strike_up_mm"), unit
            )
        )
    if get("tilt_deg") is not None:
        width = (
            ""
            if get("line_width_mm") is None
            else "; the line is " + width_words(get("line_width_mm"), get("u_line_width_mm"), unit)
        )
        sentences.append("the print: " + tilt_words(get("tilt_deg"), get("u_tilt_deg")) + width)
    if get("start_deg") is not None:
        sentences.append("the ball started " + start_words(get("start_deg"), handed))
    elif get("lie_error_deg") is not None:
        sentences.append("nobody saw where the ball started, so where the face pointed is part of the ±")
    return [sentence[0].upper() + sentence[1:] + "." for sentence in sentences]


def state_words(shot: Any) -> str:
    """Return what has become of a shot: "to look at", "counted", "heavy strike", "refused".

    Parameters
    ----------
    shot : mapping
        With `state`, `reason` and `why` as in `SessionBook.shots`.
    """
    if shot["state"] != SET_ASIDE:
        return STATES[shot["state"]].words
    return shot["why"] if shot["reason"] == OTHER and shot["why"] else REASONS[shot["reason"]].words


def refusal_words(shot):
    """Return why a photo was refused and what to do, as sentences; empty for any other shot."""
    if shot["state"] != REFUSED:
        return ""
    kind = PhotoError.kinds().get(shot["reason"])
    seen = shot["why"].rstrip(".")
    if kind is None or "What to do:" in seen:  # from a book of an older kit, which kept the whole sentence
        return shot["why"]
    return f"{seen[:1].upper()}{seen[1:]}. What to do: {kind.advice}."


def _sided(value, plus, minus, zero, pattern):
    size = pattern.format(abs(value))
    if not float(size.rstrip(" °min")):
        return zero
    return (plus if value > 0 else minus).format(size)


def _give_or_take(u, pattern):
    """The expanded uncertainty as ", ±…", rounded up in its last digit: a doubt is not made smaller by rounding."""
    if _missing(u):
        return ""
    digits = 10 ** int(pattern[3]) if "." in pattern else 1
    return ", ±" + pattern.format(math.ceil(round(COVERAGE_FACTOR * u * digits, 6)) / digits)


def _unit(unit):
    if unit not in UNITS:
        raise InputError(f'unit is {unit!r}; expected "mm" or "in"')
    return ("{:.0f} mm", 1.0) if unit == "mm" else ("{:.2f} in", MM_PER_INCH)


def _missing(value):
    return value is None or value != value
