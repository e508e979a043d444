"""Bags as people have them: their headings, their words, their units; and what was understood, to look at."""

import importlib.util
import io
import pickle
import subprocess
import sys
from dataclasses import replace

import linetilt as lt
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from linetilt.base.checks import RANGES
from linetilt.base.club import HEAD_LIMIT_DEG, club_label
from linetilt.base.tables import read_rows

EXPECTED = lt.Bag(
    [
        lt.Club(label="7", loft_deg=34.5, lie_deg=62.5, length_in=37, head="forged"),
        lt.Club(label="PW", loft_deg=46, lie_deg=64, head="not bendable", from_set=False),
    ]
)
TYPED = "Club;Loft (°);Maker's lie;Length [in];Hand;Head;Set\n7 iron;34,5;62.5°;37\";R;Forged;y\n"
TYPED += "Pitching wedge;46;64;;right-handed;not-bendable;no\n"


@pytest.mark.parametrize(
    "sheet",
    [
        TYPED,
        TYPED.replace("Loft (°)", "Loft").replace("Maker's lie", "LIE").replace("Length [in]", "length, inches"),
        TYPED.replace("Club;", "Name;").replace("Hand", "handed").replace("Set", "from_set"),
        TYPED.replace("Club;", " label ;").replace("7 iron", "i7").replace("Loft (°)", "LOFT DEG."),
        TYPED.replace("Maker's lie", "Lie-angle [degrees]").replace("Pitching wedge", "pw"),
        TYPED.replace("Set", "Part of the set").replace("right-handed", "RH").replace("7 iron", "7.0"),
        TYPED.replace(";", "\t"),
        TYPED.replace("Club;", "Club;;").replace("7 iron;", "7 iron;;").replace("wedge;", "wedge;;"),
        "sep=;\n" + TYPED,
        "sep=;\r\n" + TYPED.replace("\n", "\r\n"),
    ],
)
@pytest.mark.parametrize("code", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
def test_a_bag_is_read_as_people_write_it(sheet, code):
    assert lt.read_bag(io.BytesIO(sheet.encode(code))) == EXPECTED


def test_a_bag_comes_as_a_list_or_a_table_too():
    rows = [
        {"Club": 7, "loft": 34.5, "lie": 62.5, "Length": "37", "head": "forged"},
        {"Club": "pw", "loft": 46, "lie": 64, "head": "Not bendable", "set": False},
    ]
    assert lt.read_bag(rows) == lt.read_bag(pd.DataFrame(rows)) == EXPECTED


def test_lengths_are_converted_where_the_heading_names_another_unit():
    club = lt.read_bag([{"club": "7", "loft": 34, "Score lines (in)": "2,05", "Length (cm)": "94", "Gauge lie °": 62}])[
        "7"
    ]
    assert club.score_line_length_mm == pytest.approx(52.07) and club.length_in == pytest.approx(94 / 2.54)
    assert club.gauge_lie_deg == 62
    with pytest.raises(
        lt.InputError, match="column 'Loft [(]in[)]' is in inches; expected loft_deg in degrees; give it"
    ):
        lt.read_bag([{"club": "7", "Loft (in)": 34}])


@pytest.mark.skipif(importlib.util.find_spec("openpyxl") is None, reason="openpyxl is not installed")
def test_a_workbook_is_read_like_any_table(tmp_path):
    import openpyxl

    book = openpyxl.Workbook()
    book.create_sheet("other").append(["nothing"])
    for row in (
        [],
        ["Club", None, "Loft", "Lie", "Length", "Head", "Set"],
        [7, None, 34.5, 62.5, 37, "forged", True],
        [],
        ["PW", None, 46.0, "64°", None, "not bendable", "no"],
    ):
        book.active.append(row)
    book.save(tmp_path / "bag.xlsx")
    assert (
        lt.read_bag(tmp_path / "bag.xlsx") == lt.read_bag(io.BytesIO((tmp_path / "bag.xlsx").read_bytes())) == EXPECTED
    )
    (tmp_path / "bag.xlsx").write_bytes((tmp_path / "bag.xlsx").read_bytes()[:-40])
    with pytest.raises(
        lt.InputError, match="cannot be read as a workbook .*; open it and save the sheet as .CSV UTF-8"
    ):
        lt.read_bag(tmp_path / "bag.xlsx")


def test_without_a_reader_of_workbooks_the_way_round_is_told(monkeypatch):
    monkeypatch.setitem(sys.modules, "openpyxl", None)
    with pytest.raises(
        lt.InputError, match="is a workbook, which .*; expected a CSV file; save the sheet as .CSV UTF-8"
    ):
        lt.read_bag(io.BytesIO(b"PK\x03\x04 and so on"))


@pytest.mark.parametrize(
    ("sheet", "words"),
    [
        (
            "Club;Loft;Lie\n9;42;63\n7;62;34\n",
            r"row 2 \(7\): loft_deg is 62 and lie_deg is 34: are the two exchanged\?",
        ),
        ("Club;Loft;label\n7;34;7\n", "two columns for label, 'Club' and 'label'; expected each column once"),
        ("Club;Loft;Loft (deg)\n7;34;7\n", "two columns for loft_deg, 'Loft' and 'Loft .deg.'"),
        ("Club;Loft;Loft\n7;34;7\n", "two columns for loft_deg|two columns 'Loft'"),
        ("Club;Lofts\n7;34\n", r"unknown columns 'Lofts' \(did you mean loft_deg\?\); expected some of label"),
        ("Club;Loft;handd\n7;34;R\n", r"'handd' \(did you mean handed\?\)"),
        (
            "Club;Loft;Shoe size\n7;34;R\n",
            "unknown columns 'Shoe size'; expected some of label, .*; correct their names",
        ),
        ("Club;Loft;Hand\n7;34;both\n", 'handed is \'both\'; expected "right" or "left"'),
        ("Club;Loft;Head\n7;34;rubber\n", "head is 'rubber'; expected one of forged, cast"),
        ("Club;Loft\nPW;46\np;47\n", "rows 1 and 2: two clubs are called 'PW'; expected a label for each"),
        ("Club;Loft\nMagic;46\nmagic;47\n", "rows 1 and 2: two clubs are called 'magic'"),
    ],
)
def test_what_cannot_be_right_is_asked_about(sheet, words):
    with pytest.raises(lt.InputError, match=words):
        lt.read_bag(io.StringIO(sheet))


def test_rows_of_numbers_are_held_to_the_range_of_their_column():
    options = {"needed": ["club"], "numeric": ["net_distance_mm", "tilt_deg", "yards"]}
    options["aliases"] = {"net": "net_distance_mm"}
    sheet = "Club;Net (m);Tilt_deg;yards\n7;3,5;-1,5;1,234\n"
    row = {"club": "7", "net_distance_mm": 3500.0, "tilt_deg": -1.5, "yards": 1.234}
    assert read_rows(io.StringIO(sheet), "the list", **options) == [(1, row)]
    for cell, words in (
        (
            "1,234",
            "the list, row 1: net_distance_mm is '1,234'; expected a number from 500 to 50000 millimetres; the comma",
        ),
        ("far", "the list, row 1: net_distance_mm is 'far'; expected a number; correct it, or leave the cell empty"),
    ):
        with pytest.raises(lt.InputError, match=words):
            read_rows(io.StringIO(f"club;net\n7;{cell}\n"), "the list", **options)


@pytest.mark.parametrize(
    ("label", "written"),
    [
        (
            "7",
            [
                "7",
                " 7",
                "7i",
                "7I",
                "7 iron",
                "7-iron",
                "7 Iron",
                "Iron 7",
                "iron-7",
                "i7",
                "7.0",
                "#7",
                "no. 7",
                "No 7",
            ],
        ),
        ("10", ["10", "10i", "10 iron"]),
        ("PW", ["PW", "pw", "P", "Pitching wedge", "pitching-wedge", "PITCHING", "P W"]),
        ("GW", ["GW", "gw", "Gap wedge"]),
        ("AW", ["AW", "Approach Wedge", "attack wedge"]),
        ("SW", ["SW", "sw", "sand wedge", "S"]),
        ("LW", ["LW", "Lob wedge"]),
        ("52", ["52", "52°", "52 °", "52 deg", "52 degrees", "52º", "52 wedge", "52° wedge", "52.0°"]),
        ("D", ["D", "Driver", "DRIVER", "1 wood", "1w"]),
        ("3W", ["3W", "3w", "3 wood", "3-wood", "Wood 3", "fairway 3", "3 Fairway Wood"]),
        ("4H", ["4H", "4h", "4 hybrid", "Hybrid 4", "h4"]),
        ("Putter", ["Putter", "putter"]),
    ],
)
def test_one_club_has_one_label_whatever_people_call_it(label, written):
    assert {club_label(text) for text in written} == {label}
    bag = lt.Bag([lt.Club(label="Magic 9", loft_deg=40), lt.Club(label=label, loft_deg=30)])
    assert all(bag[text].label == label and text in bag for text in written)
    assert bag["magic 9"].label == "Magic 9" and "8i" not in bag


@pytest.mark.parametrize(
    "text", ["-7", "7x", "10.5", "9°", "iron", "7 8", "52i", "wedge", "7 wedge", "=1+1", '7"', "", "0", "07"]
)
def test_a_name_that_nobody_knows_stays_as_it_is_typed(text):
    assert club_label(f" {text} ") == text


def test_a_bag_is_looked_up_by_any_name_and_holds_each_club_once():
    bag = lt.Bag([lt.Club(label="7i", loft_deg=34), lt.Club(label="pw", loft_deg=46)])
    assert bag[7] is bag["7 iron"] is bag["7i"] and "PW" in bag and 8 not in bag and bag.labels == ["7i", "pw"]
    changed = bag.with_club(lt.Club(label="7i", loft_deg=33))
    assert changed["7"].loft_deg == 33 and changed.labels == bag.labels and pickle.loads(pickle.dumps(bag)) == bag
    with pytest.raises(lt.InputError, match="no club '8' in the bag; expected one of 7i, pw; correct the label"):
        bag["8"]
    with pytest.raises(lt.InputError, match="two clubs are called 'PW' and 'pw', which is the same; expected a label"):
        lt.Bag([lt.Club(label="PW", loft_deg=46), lt.Club(label="pw", loft_deg=46)])
    with pytest.raises(lt.InputError, match="two clubs are called 'PW'; expected a label"):
        lt.Bag(2 * [lt.Club(label="PW", loft_deg=46)])


def test_what_was_understood_is_shown_in_words_with_units():
    bag = lt.Bag([*EXPECTED, lt.Club(label="<b>", loft_deg=52, bend_limit_deg=1.25, handed="left")])
    table = bag.understood()
    assert table.to_dict("list") == {
        "Club": ["7", "PW", "<b>"],
        "Hand": ["right", "right", "left"],
        "Loft (°)": ["34.5", "46", "52"],
        "Lie (°)": ["62.5", "64", "not known"],
        "Length (in)": ["37", "not known", "not known"],
        "Head": ["forged", "not bendable", "not known"],
        "Limit (°)": ["2 by its head", "0 by its head", "1.25"],
        "From the set": ["yes", "no", "yes"],
    }
    bent = lt.Bag([replace(EXPECTED["7"], bent_deg=-1.5), EXPECTED["PW"]]).understood()
    assert bent["Bent so far (°)"].tolist() == ["-1.5", "0"]
    page = bag._repr_html_()
    assert all(words in page for words in ("Loft (°)", "34.5", "2 by its head", "&lt;b&gt;")) and "<b>" not in page


def test_clubs_are_had_without_pandas():
    code = "import sys; from linetilt.base.club import Bag, Club; Bag([Club(label='7', loft_deg=34)])['7i']"
    code += "; assert 'pandas' not in sys.modules; from linetilt.base.bag_file import read_bag; import linetilt"
    subprocess.run([sys.executable, "-c", code + "; assert linetilt.read_bag is read_bag"], check=True)


# Whatever is given

# No file of text holds a NUL, and pandas writes a carriage return within a name as the end of a line.
LABELS = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0\r"), min_size=1, max_size=8)
KNOWN = st.sampled_from(["7", "PW", "3 wood", "4h", "Driver", "52°", "i9", "Magic", "a;b", '7"', "x,y", "7\n8", "nan"])


def within(name):
    low, high, _ = RANGES[name]
    return st.floats(low, high)


@st.composite
def clubs(draw):
    some = {
        name: draw(st.none() | within(name)) for name in ("lie_deg", "gauge_lie_deg", "length_in", "bend_limit_deg")
    }
    some |= {name: draw(st.none() | within(name)) for name in RANGES if name.startswith("score_line")}
    return lt.Club(
        label=draw((LABELS | KNOWN).map(club_label).filter(bool)),
        loft_deg=draw(within("loft_deg")),
        handed=draw(st.sampled_from(["right", "left"])),
        head=draw(st.sampled_from([None, *HEAD_LIMIT_DEG])),
        bent_deg=draw(within("bent_deg")),
        from_set=draw(st.booleans()),
        **some,
    )


BAGS = st.lists(clubs(), min_size=1, max_size=5, unique_by=lambda club: club.label.casefold()).map(lt.Bag)


@settings(deadline=None, max_examples=200, suppress_health_check=[HealthCheck.too_slow])
@given(BAGS, st.sampled_from([",", ";", "\t"]), st.sampled_from(["utf-8", "utf-8-sig", "utf-16"]))
def test_a_bag_that_was_written_is_read_again(bag, between, code):
    written = bag.to_frame().to_csv(index=False, sep=between).encode(code)
    assert lt.read_bag(io.BytesIO(written)) == bag == lt.read_bag(bag.to_frame())


@settings(deadline=None)
@given(st.text(max_size=12) | st.text("0179iIrwWhHpPsd°. -_#woeng", max_size=8) | KNOWN)
def test_a_label_is_the_label_of_itself(text):
    assert club_label(club_label(text)) == club_label(text)


@settings(deadline=None, max_examples=200)
@given(st.text(max_size=12), st.text("loftlieclubhandin()[]°\" '._-", max_size=14), st.sampled_from(";,\t"))
def test_any_headings_give_a_bag_or_a_refusal(one, other, between):
    sheet = f"Club{between}Loft{between}{one}{between}{other}\n7{between}34{between}1{between}"
    try:
        assert lt.read_bag(io.StringIO(sheet)).labels == ["7"]
    except lt.InputError as refusal:
        assert "expected" in str(refusal)
