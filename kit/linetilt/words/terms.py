"""Single terms: how a club sits, a bend, a span, a list."""

import math
from collections.abc import Iterable, Mapping
from typing import Any

import numpy as np

from ..base.units import from_mm

SIDES = ("left", "right")


def sits(lie_error_deg: float) -> str:
    """Return how a club sat at impact: "1.2° toe down"; "level" where that rounds to zero."""
    if abs(lie_error_deg) < 0.05:
        return "level"
    return f"{abs(lie_error_deg):.1f}° {'toe up' if lie_error_deg > 0 else 'toe down'}"


def turn(bend_deg: float) -> str:
    """Return which way a club is, or is bent: "upright" or "flat"."""
    return "upright" if bend_deg > 0 else "flat"


def bend_words(bend_deg: float) -> str:
    """Return a bend: "1.75° upright"."""
    return f"{abs(bend_deg):g}° {turn(bend_deg)}"


def span_words(low_deg: float, high_deg: float) -> str:
    """Return an interval of lie errors: "0.3° to 2.1° toe down", "0.4° toe down to 0.6° toe up"."""
    low, high = round(low_deg, 1) + 0.0, round(high_deg, 1) + 0.0
    if low * high > 0:
        near, far = sorted((abs(low), abs(high)))
        return f"{near:.1f}° to {sits(math.copysign(far, high))}"
    return f"{sits(low)} to {sits(high)}"


def mean_strike_words(found: Mapping[str, Any]) -> str:
    """Return the mean strike of a row of `BagFit.table`: "4 to toe, 15 up" in mm; empty where none was measured."""
    toe, up = found["strike_toe_mm"], found["strike_up_mm"]
    if np.isnan(toe) or np.isnan(up):
        return ""
    return (f"{abs(toe):.0f} to {'toe' if toe > 0 else 'heel'}" if abs(toe) >= 0.5 else "middle") + f", {up:.0f} up"


def scatter_words(found: Mapping[str, Any]) -> str:
    """Return the standard deviations of a club's strikes, across and up the face; empty where fewer than two were
    measured."""
    across, up = found["strike_toe_sd_mm"], found["strike_up_sd_mm"]
    return "" if np.isnan(across) else f"Strikes scatter by {across:.0f} × {up:.0f} mm."


def miss_words(label: str, miss: Mapping[str, Any], unit: str = "yd") -> str:
    """Return where a golfer's shots with a club end (see `linetilt.session.miss`) as a sentence."""
    middle, scatter = (from_mm(1000 * miss[name], unit) for name in ("mean_left_m", "sd_left_m"))
    middle = abs(middle)
    where = f"{middle:.0f} {unit} {SIDES[miss['mean_left_m'] < 0]}" if middle >= 0.5 else "on the line"
    feared = f", {miss['feared']} is feared" if miss["feared"] else ""
    return f"{label}: middle {where}, scatter {scatter:.0f} {unit}{feared}"


def listed(words: Iterable[str]) -> str:
    """Return words as a list in a sentence: "5, 7 and PW"."""
    *most, last = words
    return f"{', '.join(most)} and {last}" if most else last


def counted(number: int, noun: str) -> str:
    """Return a number with its noun: "1 ball", "no balls"."""
    return f"{number or 'no'} {noun}{'' if number == 1 else 's'}"
