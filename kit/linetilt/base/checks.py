"""What a number must lie within to be the quantity that it is called, and reading numbers as people type them."""

import math
import re
import unicodedata
from typing import Any

import numpy as np

from .errors import InputError

HANDS = ("right", "left")

_DEG, _MM, _IN, _M, _M_S = "degrees", "millimetres", "inches", "metres", "metres a second"

# Lowest, highest, and the unit in words: the one home of these ranges. A name with a colon is the same quantity where
# less is plausible: the mean of a golfer's shots, say, beside a single one. Common practice with room to spare.
RANGES: dict[str, tuple[float, float, str]] = {
    # the club
    "loft_deg": (2.0, 75.0, _DEG),  # below, it is likely in radians
    "delivered_loft_deg": (0.0, 75.0, _DEG),
    "lie_deg": (45.0, 80.0, _DEG),
    "gauge_lie_deg": (45.0, 80.0, _DEG),
    "length_in": (18.0, 50.0, _IN),
    "score_line_length_mm": (25.0, 90.0, _MM),
    "score_line_pitch_mm": (1.5, 8.0, _MM),
    "score_line_width_mm": (0.1, 2.0, _MM),
    # the bench
    "bend_limit_deg": (0.0, 10.0, _DEG),
    "bent_deg": (-10.0, 10.0, _DEG),
    "bend_deg": (-10.0, 10.0, _DEG),
    "lie_change_deg": (-10.0, 10.0, _DEG),
    "cap_deg": (0.0, 10.0, _DEG),
    "step_deg": (0.05, 1.0, _DEG),
    "bend_uncertainty_deg": (0.0, 2.0, _DEG),
    "worth_deg": (0.0, 3.0, _DEG),
    "sure": (0.5, 0.999, "(a probability)"),
    "feared_weight": (1.0, 100.0, ""),
    "tolerance_deg": (0.1, 5.0, _DEG),
    "probability": (0.5, 0.999, ""),
    # the print and its reading
    "tilt_deg": (-60.0, 60.0, _DEG),
    "strike_toe_mm": (-60.0, 60.0, _MM),
    "strike_up_mm": (-30.0, 90.0, _MM),
    "line_width_mm": (0.0, 20.0, _MM),
    "lie_error_deg": (-45.0, 45.0, _DEG),
    "face_heading_deg": (-45.0, 45.0, _DEG),
    "line_turn_deg": (-45.0, 45.0, _DEG),
    "setup_tilt_deg": (-45.0, 45.0, _DEG),
    "pitch_deg": (-60.0, 60.0, _DEG),
    "start_deg": (-45.0, 45.0, _DEG),
    "path_deg": (-20.0, 20.0, _DEG),  # beyond, it is likely something else: a start, or an attack
    "shaft_lean_deg": (-15.0, 25.0, _DEG),
    # where the ball went, on a net and on a range
    "net_distance_mm": (500.0, 50_000.0, _MM),
    "net_left_mm": (-20_000.0, 20_000.0, _MM),
    "distance_mm": (100.0, 50_000.0, _MM),
    "left_mm": (-20_000.0, 20_000.0, _MM),
    "distance_m": (0.1, 400.0, _M),
    "left_m": (-300.0, 300.0, _M),
    "mean_left_m": (-150.0, 150.0, _M),
    "sd_left_m": (0.1, 150.0, _M),
    "own_carry_m": (10.0, 350.0, _M),
    "carry_m": (1.0, 400.0, _M),
    "offline_m": (-200.0, 200.0, _M),
    "width_m": (0.1, 200.0, _M),
    "depth_m": (0.1, 200.0, _M),
    "radius_m": (0.05, 100.0, _M),
    # the hands
    "handle_mm": (-250.0, 250.0, _MM),
    "hands_down_mm": (-80.0, 80.0, _MM),
    "target_mm": (-80.0, 80.0, _MM),
    "change_in": (-8.0, 8.0, _IN),
    "within_mm": (0.5, 60.0, _MM),
    "middle_toe_mm": (-40.0, 40.0, _MM),
    "middle_up_mm": (-10.0, 60.0, _MM),
    # standard uncertainties
    "u_tilt_deg": (0.0, 45.0, _DEG),
    "u_lie_error_deg": (0.0, 45.0, _DEG),
    "u_loft_deg": (0.0, 45.0, _DEG),
    "u_face_heading_deg": (0.0, 45.0, _DEG),
    "u_line_turn_deg": (0.0, 45.0, _DEG),
    "u_setup_tilt_deg": (0.0, 45.0, _DEG),
    "u_pitch_deg": (0.0, 60.0, _DEG),
    "u_start_deg": (0.0, 45.0, _DEG),
    "u_path_deg": (0.0, 45.0, _DEG),
    "u_shaft_lean_deg": (0.0, 45.0, _DEG),
    "u_strike_toe_mm": (0.0, 60.0, _MM),
    "u_strike_up_mm": (0.0, 60.0, _MM),
    "u_line_width_mm": (0.0, 20.0, _MM),
    "u_left_mm": (0.0, 2000.0, _MM),
    "u_left_m": (0.0, 50.0, _M),
    # the flight: one shot
    "club_speed_m_s": (1.0, 90.0, _M_S),
    "attack_deg": (-30.0, 30.0, _DEG),
    "score_heading_deg": (-45.0, 45.0, _DEG),
    "head_mass_kg": (0.1, 0.6, "kilograms"),
    "ball_speed_m_s": (1.0, 120.0, _M_S),
    "launch_deg": (-60.0, 89.0, _DEG),
    "azimuth_deg": (-89.0, 89.0, _DEG),
    "spin_rpm": (0.0, 20_000.0, "rpm"),
    "axis_tilt_deg": (-85.0, 85.0, _DEG),
    "temperature_c": (-40.0, 60.0, "degrees Celsius"),
    "humidity_percent": (0.0, 100.0, "percent"),
    "pressure_hpa": (0.0, 1100.0, "hPa"),
    "altitude_m": (-500.0, 6000.0, _M),
    # the flight: how a golfer brings a club to the ball, means and scatter
    "delivery: club_speed_m_s": (8.0, 70.0, _M_S),
    "delivery: attack_deg": (-15.0, 10.0, _DEG),
    "delivery: path_deg": (-20.0, 20.0, _DEG),
    "delivery: score_heading_deg": (-20.0, 20.0, _DEG),
    "delivery: shaft_lean_deg": (-15.0, 25.0, _DEG),
    "delivery: strike_toe_mm": (-30.0, 30.0, _MM),
    "delivery: head_mass_kg": (0.15, 0.45, "kilograms"),
    "delivery: lie_error_deg": (-10.0, 10.0, _DEG),
    "delivery: u_lie_error_deg": (0.0, 5.0, _DEG),
    "delivery: bend_deg": (-6.0, 6.0, _DEG),
    "s_club_speed_m_s": (0.0, 5.0, _M_S),
    "s_attack_deg": (0.0, 4.0, _DEG),
    "s_path_deg": (0.0, 6.0, _DEG),
    "s_score_heading_deg": (0.0, 6.0, _DEG),
    "s_loft_deg": (0.0, 4.0, _DEG),
    "s_lie_deg": (0.0, 4.0, _DEG),
    "s_strike_toe_mm": (0.0, 12.0, _MM),
    "correlation": (-0.99, 0.99, "(no unit)"),
    "carry_scale": (0.3, 3.0, "(a factor)"),
    "share": (0.01, 0.99, "(a share of the shots)"),
    "n": (1.0, 1_000_000.0, "shots"),
    "seed": (0.0, 2.0**32, "(a whole number)"),
}

# How people write the units that numbers and headings come with.
_WRITTEN = {
    _DEG: ("°", "º", "deg", "degs", "degree", "degrees"),
    "radians": ("rad", "radian", "radians"),
    _IN: ('"', "″", "”", "''", "in", "ins", "inch", "inches"),
    _MM: ("mm", "millimetre", "millimetres", "millimeter", "millimeters"),
    "centimetres": ("cm", "centimetre", "centimetres", "centimeter", "centimeters"),
    _M: ("m", "metre", "metres", "meter", "meters"),
    "feet": ("ft", "foot", "feet"),
    "yards": ("yd", "yds", "yard", "yards"),
    "degrees Celsius": ("°c", "celsius"),
    "percent": ("%", "percent"),
    "hPa": ("hpa",),
}
UNIT_WORDS = {written: unit for unit, words in _WRITTEN.items() for written in words}
_SIZES = {  # how much one of it is, of degrees or millimetres
    _DEG: (_DEG, 1.0),
    "radians": (_DEG, 180.0 / math.pi),
    _MM: (_MM, 1.0),
    "centimetres": (_MM, 10.0),
    _IN: (_MM, 25.4),  # the international inch, foot and yard, exact
    "feet": (_MM, 304.8),
    "yards": (_MM, 914.4),
    _M: (_MM, 1000.0),
}
# What a number may have been given in by mistake, the likeliest first.
_OTHER_UNITS = {_DEG: ("radians",), _IN: ("centimetres", _MM, _M, "feet"), _MM: (_IN, "centimetres", _M)}

_THIN = "\u00a0\u2009\u202f"  # blanks that keep a number on one line; between three digits each they mark thousands
_NUMBER = re.compile(
    r"""(?P<sign>[+\-\u2212\u2013]?)\s*
    (?: (?P<decimal>\d+(?:[.,]\d*)?(?:e[+-]?\d+)?|[.,]\d+(?:e[+-]?\d+)?)
      | (?:(?P<whole>\d+)[\s-])?\s*(?P<over>\d{1,2})[/\u2044](?P<under>\d{1,2})
      | (?P<before>\d*)\s?(?P<part>[\u00bc-\u00be\u2150-\u215e])
    )\s*(?P<unit>"""
    + "|".join(re.escape(written) for written in sorted(UNIT_WORDS, key=len, reverse=True))
    + r""")?(?:(?<=[a-z])\.)?""",
    re.VERBOSE,
)
_THOUSANDS = re.compile(r"\s*[+\-\u2212]?(\d{1,3})([.,])(\d{3})\s*")


def check(name: str, value: Any, *, called: str | None = None) -> float:
    """Return `value` as a float if it can be the quantity `name`.

    Parameters
    ----------
    name : str
        A key of `RANGES`.
    value : float or str
        Text is read as people type it: see `number_of`.
    called : str, optional
        What the refusal calls it, where that is not `name`.

    Returns
    -------
    float

    Raises
    ------
    InputError
        Naming the quantity, its unit and the range expected.

    Examples
    --------
    >>> check("length_in", '38 1/4"'), check("lie_deg", "61,5°")
    (38.25, 61.5)
    >>> check("lie_deg", 31, called="the lie")
    Traceback (most recent call last):
    linetilt.base.errors.InputError: the lie is 31; expected a number from 45 to 80 degrees; correct it and try again
    """
    return check_number(called or name, value, *RANGES[name])


def check_number(name: str, value: Any, low: float, high: float, unit: str) -> float:
    """Return `value` as a float, or raise InputError naming the argument, its unit and the range expected.

    Text is read as people type it (see `number_of`); a number with another unit behind it is refused.
    """
    number, its_unit = _read(value)
    in_unit = its_unit in ("", UNIT_WORDS.get(unit, unit)) or (its_unit == _DEG and unit.startswith(_DEG))
    if not (in_unit and low <= number <= high):
        shown = value.item() if isinstance(value, np.generic) else value
        raise InputError(
            f"{name} is {shown!r}; expected a number from {low:g} to {high:g} {unit}".rstrip()
            + _likely(value, number, its_unit, low, high, unit)
        )
    return number


def number_of(value: Any) -> float:
    """Return a number as a float; NaN where it is none.

    Text is read as people type it into lists: with point or comma ("61,5": a comma is a decimal comma, always), a sign,
    a fraction ("38 1/4", "38½"), and a unit behind it, which is not looked at.

    Examples
    --------
    >>> [number_of(text) for text in ("61,5°", "38 1/4 in", "38½", "+2", "12\u202f500", "1_000", "1.234,5")]
    [61.5, 38.25, 38.5, 2.0, 12500.0, nan, nan]
    """
    return _read(value)[0]


def is_text(value: Any) -> bool:
    """True for text that can be kept: half a character, as a damaged name can hold it, cannot."""
    try:
        return isinstance(value, str) and bool(value.encode() or True)
    except UnicodeEncodeError:
        return False


def unit_factor(given: str, wanted: str) -> float:
    """Return how many of the unit `wanted` one of `given` is, both in words; NaN where they measure something else."""
    (one, size), (other, wanted_size) = _SIZES.get(given, ("", 1.0)), _SIZES.get(wanted, ("-", 1.0))
    return size / wanted_size if one == other else math.nan


def _read(value: Any) -> tuple[float, str]:
    """Return number and unit in words; NaN where there is no number, "" where no unit was given."""
    if isinstance(value, str):
        return _read_text(value)
    if isinstance(value, bool | np.bool_ | bytes | bytearray) or getattr(value, "ndim", False):
        return math.nan, ""
    try:
        return float(value), ""
    except (TypeError, ValueError, OverflowError):
        return math.nan, ""


def _read_text(text: str) -> tuple[float, str]:
    text = re.sub(rf"(?<=\d)[{_THIN}](?=\d{{3}}(?!\d))", "", text.strip().lower())
    found = _NUMBER.fullmatch(text) if len(text) < 100 else None
    if not found:
        return math.nan, ""
    if found["decimal"]:
        number = float(found["decimal"].replace(",", "."))
    elif found["part"]:
        number = int(found["before"] or 0) + unicodedata.numeric(found["part"])
    elif 0 < int(found["over"]) < int(found["under"]):
        number = int(found["whole"] or 0) + int(found["over"]) / int(found["under"])
    else:
        return math.nan, ""
    return number * (-1 if found["sign"] not in ("", "+") else 1), UNIT_WORDS.get(found["unit"] or "", "")


def _likely(value: Any, number: float, its_unit: str, low: float, high: float, unit: str) -> str:
    """Return what was likely meant, as the end of a refusal; "" where nobody can tell."""
    mark = _THOUSANDS.fullmatch(value) if isinstance(value, str) else None
    if mark and not low <= number <= high and low <= 1000 * number <= high:
        kind = "comma" if mark[2] == "," else "point"
        plain = f"{1000 * number:.0f}"
        return f"; the {kind} is read as a decimal {kind}: if it marks thousands, leave it out and write {plain}"
    for other in (its_unit,) if its_unit else _OTHER_UNITS.get(unit, ()):
        meant = number * unit_factor(other, UNIT_WORDS.get(unit, unit))
        if other != unit and low < meant <= high:
            return f"; if that is in {other}, give {meant:.4g}"
    return ""
