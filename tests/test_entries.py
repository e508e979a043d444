"""Tables as people save them: read right, or refused by row, column and value; never an error that is not the kit's."""

import io
from datetime import date

import linetilt as lt
import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from linetilt.base.tables import read_rows
from linetilt.session.photo_names import club_from_name, counting, read_shot_list

EXPECTED = lt.Bag([lt.Club(label="7", loft_deg=34.5, lie_deg=62.5, head="forged"), lt.Club(label="PW", loft_deg=46)])
PLAIN = "label,loft_deg,lie_deg,head\n7,34.5,62.5,forged\nPW,46,,\n"


@pytest.mark.parametrize(
    "content",
    [
        PLAIN.encode(),
        PLAIN.encode("utf-8-sig"),
        PLAIN.encode("utf-16"),
        PLAIN.replace("\n", "\r\n").encode(),
        PLAIN.replace("\n", "\r").encode(),
        PLAIN.replace(",", ";").encode(),
        PLAIN.replace(",", ";").replace(".", ",").encode("utf-8-sig"),
        PLAIN.replace(",", "\t").replace(".", ",").encode(),
        b'label,loft_deg,lie_deg,head\n"7","34,5","62,5",forged\nPW,46,,\n',
        b" label , loft_deg , lie_deg , head \n 7 , 34.5 , 62.5 , forged \n PW , 46 , , \n",
        PLAIN.replace("\n", ",\n").encode(),
        b"\n\n" + PLAIN.replace("\n", "\n\n").encode() + b",,,\n\n",
        PLAIN.replace("34.5", "34.5\u00b0")
        .replace("62.5", "62,5\u00b0")
        .replace(",", ";", 0)
        .replace("62,5\u00b0", '"62,5 \u00b0"')
        .encode(),
        b"label,loft_deg,lie_deg,head\n7,34.5,62.5,forged\nPW,46",
    ],
)
def test_a_bag_is_read_as_any_program_saves_it(tmp_path, content):
    (tmp_path / "bag.csv").write_bytes(content)
    assert (
        lt.read_bag(tmp_path / "bag.csv")
        == EXPECTED
        == lt.read_bag(io.BytesIO(content))
        == lt.read_bag(str(tmp_path / "bag.csv"))
    )


def test_a_data_frame_with_gaps_is_read_right():
    frame = pd.DataFrame(
        {
            "label": [7, np.nan, 56.0],
            "loft_deg": [34.5, np.nan, np.float64(56)],
            "from_set": [True, None, 0.0],
            "head": ["cast", pd.NA, None],
        }
    )
    bag = lt.read_bag(frame)
    assert bag.labels == ["7", "56"] and [club.from_set for club in bag] == [True, False] and bag["56"].loft_deg == 56


HEAD = "label,loft_deg,length_in,score_line_length_mm,from_set\n"


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "the bag is empty; expected a header row"),
        ("\n \n", "the bag is empty"),
        (";;;", "the bag is empty"),
        (",\n;;\n\t\n", "the bag is empty"),
        ("label,loft_deg\n", "the bag has no clubs"),
        ("label\n7\n", "has no column loft_deg; expected a header row with at least label and loft_deg; add it"),
        ("7,34\nPW,46\n", "unknown columns '7', '34'; expected some of label"),
        ("label,loft_deg,loft_deg\n7,34,35\n", "two columns 'loft_deg'; expected each column once"),
        (
            HEAD + "7,34,94\n",
            r"row 1 \(7\): length_in is '94'; expected a number from 18 to 50 inches; "
            "if that is in centimetres, give 37.01",
        ),
        (HEAD + "7,34,940\n", "length_in is '940'.*millimetres, give 37.01"),
        (
            HEAD + "7,34,37,3\n",
            r"row 1 \(7\): score_line_length_mm is '3'; expected a number from 25 to 90 millimetres; "
            "if that is in inches, give 76.2",
        ),
        (HEAD + "7,34,37,5.2\n", "score_line_length_mm is '5.2'.*centimetres, give 52"),
        (
            HEAD + "9,42\n7,0.593\n",
            r"row 2 \(7\): loft_deg is '0.593'; expected a number from 2 to 75 degrees; "
            "if that is in radians, give 33.98",
        ),
        (HEAD + "7,34 cm\n", r"row 1 \(7\): loft_deg is '34 cm'; expected a number from 2 to 75 degrees"),
        (HEAD + "7,0.593 rad\n", "loft_deg is '0.593 rad'.*if that is in radians, give 33.98"),
        (HEAD + "7,NaN\n", r"row 1 \(7\): loft_deg is 'NaN'"),
        (HEAD + "7,inf\n", "loft_deg is 'inf'"),
        (HEAD + "7,3_4\n", "loft_deg is '3_4'"),
        (HEAD + "7,\n", r"row 1 \(7\): loft_deg is missing"),
        (HEAD + ",34\n", r"row 1 \(no label\): label is ''"),
        (HEAD + "7,34,,,maybe\n", "from_set is 'maybe'; expected yes or no"),
        (HEAD + "7,34\n8,38\n7,35\n", "rows 1 and 3: two clubs are called '7'; expected a label for each"),
        (
            HEAD + "7,34,37,52,yes,extra\n",
            "row 1 has 6 cells .*expected 5, one a column; write numbers with a point, or put semicolons",
        ),
        (HEAD + '7,"34\n', "the bag cannot be read .*a quotation mark too many"),
        ("label,loft_deg,lie_deg\n7,34,5,62,5\n", "row 1 has 5 cells"),
        ("<html><body>404</body></html>", "unknown columns"),
    ],
)
def test_a_bag_that_cannot_be_right_is_refused_by_row_column_and_value(text, words):
    with pytest.raises(lt.InputError, match=words) as refusal:
        lt.read_bag(io.StringIO(text))
    assert "expected" in str(refusal.value)


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"PK\x03\x04\0\0", "a workbook.*save the sheet as .CSV UTF-8"),
        ("label,loft_deg\n7,34\n".encode("utf-16")[2:], "UTF-8; save the sheet again"),
        (b"label,loft_deg\n\x81,34\n", "UTF-8; save the sheet again"),
        (b"\xff\xfea", "save the sheet again"),
    ],
)
def test_a_file_that_is_no_text_is_refused(tmp_path, content, words):
    (tmp_path / "bag.csv").write_bytes(content)
    with pytest.raises(lt.InputError, match=words):
        lt.read_bag(tmp_path / "bag.csv")


@pytest.mark.parametrize("source", ["nowhere.csv", ".", "a\0b", "x" * 400, None, 7, [1]])
def test_a_path_that_cannot_be_read_is_refused(source):
    with pytest.raises(lt.InputError, match="cannot be read from .*expected a CSV file; check its name"):
        lt.read_bag(source)


def test_ten_thousand_rows_are_read_right_and_a_fault_among_them_is_found():
    lines = [f"club {n};{2 + 70 * n / 10_000:.4f}".replace(".", ",") for n in range(10_000)]
    bag = lt.read_bag(io.StringIO("label;loft_deg\n" + "\n".join(lines)))
    assert len(bag) == 10_000 and bag["club 9999"].loft_deg == 71.993 and bag.labels[5000] == "club 5000"
    lines[7777] = "club 7777;steep"
    with pytest.raises(lt.InputError, match=r"row 7778 \(club 7777\): loft_deg is 'steep'"):
        lt.read_bag(io.StringIO("label;loft_deg\n" + "\n".join(lines)))


@pytest.mark.parametrize("name", ["<script>alert(1)</script>", "=1+1", '7"', "a;b", "\u202e7", "7\n8", "x" * 5000])
def test_odd_names_are_only_names(name, tmp_path):
    bag = lt.Bag([lt.Club(label=name, loft_deg=34)])
    bag.to_frame().to_csv(tmp_path / "bag.csv", index=False)
    assert lt.read_bag(tmp_path / "bag.csv") == bag


# Whatever is given: the kit's answer or the kit's refusal

NAMES = st.sampled_from(
    [
        "label",
        "loft_deg",
        "lie_deg",
        "length_in",
        "handed",
        "head",
        "from_set",
        "score_line_length_mm",
        "bent_deg",
        "photo",
        "club",
        "net_left_mm",
        "Loft",
        "Club (in)",
        "Lie [cm]",
        "",
    ]
)
CELLS = st.one_of(
    st.text(max_size=8),
    st.integers(),
    st.floats(),
    st.booleans(),
    st.none(),
    st.sampled_from(["7", "34,5", "34.5", "right", "left", "cast", "yes", "<b>", "=1", "", " ", "nan"]),
    st.dates(),
    st.binary(max_size=4),
    st.lists(st.integers(), max_size=2),
    st.just(pd.NA),
    st.just(pd.NaT),
    st.complex_numbers(),
    st.decimals(allow_nan=False),
)


@st.composite
def frames(draw, names=NAMES, cells=CELLS):
    columns = draw(st.lists(names, max_size=6))
    rows = draw(st.lists(st.tuples(*[cells] * len(columns)), max_size=5))
    return pd.DataFrame(rows, columns=columns, dtype=object)


@st.composite
def nearly_right(draw, columns, cells=CELLS):
    """A table that would be read, but for the cells of one column."""
    spoilt = draw(st.sampled_from([*columns, "other"]))
    return pd.DataFrame(columns, dtype=object).assign(
        **{spoilt: pd.Series(draw(st.lists(cells, min_size=2, max_size=2)), dtype=object)}
    )


BAGS = {
    "label": ["7", "PW"],
    "loft_deg": [34, 46],
    "lie_deg": [62.5, None],
    "handed": ["right", None],
    "head": ["cast", None],
    "from_set": [True, "no"],
    "length_in": ["37,5", 36],
}
BALLS = {
    "club": ["7", "PW"],
    "lie_error_deg": [1.0, -0.5],
    "u_lie_error_deg": [0.5, 0.7],
    "counted": [True, False],
    "heading_known": [True, False],
    "shot": [1, 2],
    "strike_toe_mm": [1.0, np.nan],
}


@st.composite
def sheets(draw):
    between = draw(st.sampled_from([",", ";", "\t"]))
    rows = draw(
        st.lists(
            st.lists(
                st.one_of(st.text(max_size=6), st.sampled_from(["7", "34", "34,5", "62.5", '"', "right", "", "1e309"])),
                max_size=6,
            ),
            max_size=5,
        )
    )
    header = draw(st.one_of(st.just(["label", "loft_deg", "lie_deg"]), st.lists(NAMES, min_size=1, max_size=4)))
    return draw(st.sampled_from(["", "\ufeff"])) + "\n".join(between.join(cells) for cells in [header, *rows])


def refused_or(call, kinds):
    try:
        answer = call()
    except lt.InputError as refusal:
        assert "expected" in str(refusal) or "give " in str(refusal), refusal
    else:
        assert isinstance(answer, kinds)


@settings(deadline=None, max_examples=300, suppress_health_check=[HealthCheck.too_slow])
@given(
    st.one_of(
        frames(),
        nearly_right(BAGS),
        sheets().map(io.StringIO),
        st.lists(st.dictionaries(NAMES, CELLS, max_size=6), max_size=4),
        st.binary(max_size=60).map(io.BytesIO),
        st.binary(max_size=60).map(lambda content: io.BytesIO(b"PK\x03\x04" + content)),
        st.binary(max_size=60).map(lambda content: io.BytesIO(b"Club;Loft\n7;34\n" + content)),
        st.text(max_size=60).map(io.StringIO),
    )
)
def test_any_table_gives_a_bag_or_a_refusal(table):
    refused_or(lambda: lt.read_bag(table), lt.Bag)


@settings(deadline=None, max_examples=200, suppress_health_check=[HealthCheck.too_slow])
@given(st.one_of(frames(), sheets().map(io.StringIO)), st.text(max_size=12))
def test_any_list_of_shots_gives_rows_or_a_refusal(table, name):
    refused_or(lambda: read_shot_list(table), dict)
    refused_or(lambda: read_rows(table, "the table", numeric=("net_left_mm",)), list)
    assert club_from_name(name + ".jpg", ["7", "PW"]) in ("7", "PW", None) and sorted([name, "7-2"], key=counting)


READINGS = st.sampled_from(
    ["club", "lie_error_deg", "u_lie_error_deg", "counted", "heading_known", "shot", "strike_toe_mm", "golfer", "note"]
)
LIKELY = st.one_of(st.sampled_from(["7", "PW", 7, 1.0, 0.5, True, False, "1,5", np.nan]), st.floats(-45, 45), CELLS)


@settings(deadline=None, max_examples=200, suppress_health_check=[HealthCheck.too_slow])
@given(
    st.one_of(
        nearly_right(BALLS),
        nearly_right(BALLS, LIKELY),
        frames(READINGS, LIKELY),
        st.none(),
        st.lists(st.integers(), max_size=2),
    )
)
def test_any_readings_give_a_fit_or_a_refusal(table):
    refused_or(lambda: lt.fit_bag(table, EXPECTED), lt.BagFit)


def test_half_a_character_is_refused_before_it_reaches_the_book(tmp_path):
    with lt.SessionBook(tmp_path / "shop.linetilt") as book:
        for call in (
            lambda: book.add_golfer("Zo\udceb"),
            lambda: lt.Club(label="\ud800", loft_deg=30),
            lambda: book.add_golfer("Zo\u00eb", note="\udfff"),
        ):
            with pytest.raises(lt.InputError, match="expected"):
                call()
        assert book.golfers().empty


def test_tables_for_clinic_and_bench_are_refused_by_row(tmp_path):
    with lt.SessionBook(tmp_path / "shop.linetilt") as book:
        here = lt.session.clinic_sign_in(
            book, io.StringIO("name;handed\nZo\u00eb;left\n=1+1;right\n"), day=date(2026, 4, 1), bag=EXPECTED
        )
        assert here["golfer"].tolist() == ["Zo\u00eb", "=1+1"]
        session = int(here["session_id"][0])
        lt.enter_readings(book, session, io.StringIO("club;tilt_deg;u_tilt_deg\n7;1,5;0,4\n"))
        assert book.shots(session)["tilt_deg"].tolist() == [1.5]
        for table, words in (
            ("club;tilt_deg\n7;steep\n", "row 1: tilt_deg is 'steep'; expected a number"),
            ("tilt_deg\n1\n", "no column club"),
            ("club;tilt_deg\n;1\n", "row 1"),
        ):
            with pytest.raises(lt.InputError, match=words):
                lt.enter_readings(book, session, io.StringIO(table))
        with pytest.raises(
            lt.InputError,
            match="gauge_after_deg of club 7 is '1.09'; expected a number from 45 to 80 degrees; "
            "if that is in radians, give 62.45",
        ):
            lt.session.enter_bends(book, session, io.StringIO("club,gauge_after_deg\n7,1.09\n"))
        assert len(book.shots(session)) == 1 and book.bends().empty
