"""Numbers as people type them, and the range that each quantity of the kit has, once."""

import math
from decimal import Decimal

import linetilt as lt
import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from linetilt.base.checks import RANGES, UNIT_WORDS, check, check_number, number_of, unit_factor


@pytest.mark.parametrize(
    ("typed", "number"),
    [
        ("34,5", 34.5),
        (" 34.5 °", 34.5),
        ("61.5º", 61.5),
        ("34 deg", 34.0),
        ("\u22122", -2.0),
        ("\u20132", -2.0),
        ("+2", 2.0),
        ("1e1", 10.0),
        (",5", 0.5),
        ("38 1/4", 38.25),
        ("38-1/4", 38.25),
        ("-1/2", -0.5),
        ("38\u20091/4 in.", 38.25),
        ('38.25"', 38.25),
        ("38''", 38.0),
        ("38½", 38.5),
        ("38 ¾ IN", 38.75),
        ("\u00bd", 0.5),
        ("61\u202f°", 61.0),
        ("12\u202f500", 12500.0),
        ("1,234", 1.234),  # a comma is a decimal comma
        (np.float32(2.5), 2.5),
        (Decimal("2.5"), 2.5),
        (np.array(2.5), 2.5),
        (7, 7.0),
    ],
)
def test_numbers_as_people_type_them(typed, number):
    assert number_of(typed) == number


@pytest.mark.parametrize(
    "typed",
    [
        "",
        "°",
        "1,2,3",
        "1.234,5",
        "1_0",
        "1 234",
        "nan",
        "inf",
        "3/2",
        "1/0",
        "1/2/3",
        "38 1",
        "7-8",
        "34 x",
        "5..",
        "--2",
    ]
    + ["de\u017f", "3 \u0131n", "34" + 200 * " " + "x", "9" * 5000]
    + [None, True, np.True_, 10**400, [1], b"34", np.array([3.0]), pd.Series([3.0]), pd.NA, 1j],
)
def test_what_is_no_number_is_none(typed):
    assert math.isnan(number_of(typed))


@pytest.mark.parametrize("value", ["", "1,2,3", None, True, 10**400, [1], 51, -51, np.float64(94), math.inf, "9 in"])
def test_what_is_no_number_in_the_range_is_refused(value):
    with pytest.raises(lt.InputError, match="^x is .*; expected a number from -50 to 50 degrees") as refusal:
        check_number("x", value, -50, 50, "degrees")
    assert "np." not in str(refusal.value)


@pytest.mark.parametrize(
    ("name", "value", "words"),
    [
        ("length_in", "94 cm", "if that is in centimetres, give 37.01"),
        ("length_in", 940, "if that is in millimetres, give 37.01"),
        ("lie_deg", 1.08, "if that is in radians, give 61.88"),
        ("loft_deg", '34"', "; correct it and try again"),
        ("net_distance_mm", "1,234", "the comma is read as a decimal comma: if it marks thousands, .* write 1234"),
        ("net_distance_mm", "3.000", "the point is read as a decimal point: if it marks thousands, .* write 3000"),
        ("net_distance_mm", 3, "if that is in metres, give 3000"),
    ],
)
def test_a_refusal_says_what_was_likely_meant(name, value, words):
    low, high, unit = RANGES[name]
    with pytest.raises(
        lt.InputError, match=rf"^{name} is .*; expected a number from {low:g} to {high:g} {unit}.*{words}"
    ):
        check(name, value)


def test_a_check_calls_the_quantity_as_it_is_asked_to():
    assert check("gauge_lie_deg", "62 1/2°", called="gauge_after_deg of club 7") == 62.5
    with pytest.raises(
        lt.InputError, match="^gauge_after_deg of club 7 is 31; expected a number from 45 to 80 degrees"
    ):
        check("gauge_lie_deg", 31, called="gauge_after_deg of club 7")


def test_every_range_is_one_in_the_unit_of_its_name():
    units = {"_deg": "degrees", "_mm": "millimetres", "_in": "inches", "_m": "metres", "_m_s": "metres a second"}
    for name, (low, high, unit) in RANGES.items():
        assert low < high and (name.endswith("_deg") <= (unit == "degrees")), name
        ending = next((end for end in ("_m_s", "_deg", "_mm", "_in", "_m") if name.endswith(end)), None)
        assert ending is None or units[ending] == unit, name


def test_units_convert_as_the_inch_and_the_foot_are_defined():  # exact: the international yard, 0.9144 m
    assert unit_factor("inches", "millimetres") == 25.4 and unit_factor("yards", "metres") == 0.9144
    assert unit_factor("feet", "inches") == pytest.approx(12, rel=1e-15)
    assert unit_factor("radians", "degrees") == pytest.approx(math.degrees(1), rel=1e-15)
    assert math.isnan(unit_factor("degrees", "inches")) and math.isnan(unit_factor("percent", "hPa"))


@settings(deadline=None)
@given(st.floats(allow_nan=False, allow_infinity=False), st.sampled_from(["", *UNIT_WORDS]), st.booleans())
def test_a_number_that_was_written_is_read_again(number, unit, comma):
    written = repr(number).replace(".", ",") if comma else repr(number)
    assert number_of(f"{written} {unit}") == number


@settings(deadline=None)
@given(st.text(max_size=12) | st.text('0123456789 ,./-+½¾°"inmdeg\u202f', max_size=8))
def test_any_text_is_a_number_or_none(text):
    assert isinstance(number_of(text), float)
