"""The export: what other programs read back is what the book holds, nothing is a formula, and pseudonyms hold."""

import json
from pathlib import Path

import duckdb
import frictionless
import linetilt as lt
import pandas as pd
import pytest
from linetilt.handouts import export
from linetilt.handouts.fields import KEYS, OWNERS, TABLES, described
from one_ball import as_one_ball

NASTY = [
    "=1+1",
    "+44 1",
    "-5 off",
    "@home",
    "'quoted",
    "''=x",
    "\ttab",
    'a,b\n"c"\nd',
    "\r=x",
    "a\rb",
    "<script>alert(1)</script>",
    "NA",
    "None",
    "007",
    "＝1",
    "naïve ☂",
    " =x",
]


@pytest.fixture(scope="module")
def season(tmp_path_factory):
    with lt.demo_book(tmp_path_factory.mktemp("season") / "season.linetilt", golfers=3) as book:
        yield book


@pytest.fixture(scope="module")
def nasty_book(tmp_path_factory):
    with lt.SessionBook(tmp_path_factory.mktemp("nasty") / "nasty.linetilt") as book:
        for text in NASTY:
            golfer = book.add_golfer(text, note=text)
            bag = book.add_bag(golfer, lt.Bag([lt.Club(label=text, loft_deg=30)]), name=text, note=text)
            session = book.add_session(bag, day="2026-05-31", place=text, note=text)
            book.add_shot(session, text, mark={"tilt_deg": -1.25, "flags": text}, note=text)
            book.add_shot(session, text, state="set_aside", reason="other", why=text)
            book.add_shot(session, text, state="refused", reason="no_face", why=text)
        yield book


@pytest.fixture(scope="module", params=["season", "nasty_book"])
def exported(request, tmp_path_factory):
    """The folder of an export, and the tables that it was made from."""
    book, folder = request.getfixturevalue(request.param), tmp_path_factory.mktemp("out")
    lt.export_book(book, folder)
    return folder, lt.handouts.export_tables(book)


def read_csv(folder, name):
    """As the explore notebook does it: types from the data dictionary, one leading apostrophe taken away."""
    fields = next(
        r for r in json.loads((folder / "datapackage.json").read_text())["resources"] if r["path"] == f"{name}.csv"
    )["schema"]["fields"]
    kinds = {"integer": "Int64", "number": "float64", "boolean": "boolean"}
    table = pd.read_csv(
        folder / f"{name}.csv",
        dtype={f["name"]: kinds.get(f["type"], "str") for f in fields},
        keep_default_na=False,
        na_values=[""],
    )
    text = [f["name"] for f in fields if f["type"] == "string"]
    return table.assign(**{column: table[column].str.replace("^'", "", regex=True) for column in text})


def test_pandas_reads_back_what_was_exported(exported):
    folder, tables = exported
    for name, table in tables.items():
        pd.testing.assert_frame_equal(read_csv(folder, name), table, check_exact=True)
        pd.testing.assert_frame_equal(pd.read_parquet(folder / f"{name}.parquet"), table, check_exact=True)


def test_duckdb_reads_back_what_was_exported(exported):
    folder, tables = exported
    kinds = {"integer": "BIGINT", "number": "DOUBLE", "boolean": "BOOLEAN"}
    for name, table in tables.items():
        columns = {column: kinds.get(kind, "VARCHAR") for column, (kind, _) in TABLES[name].items()}
        csv = duckdb.sql(
            f"SELECT * FROM read_csv('{folder / name}.csv', columns={columns}, header=true, delim=',', quote='\"', "
            "escape='\"', new_line='\\r\\n')"
        )
        parquet = duckdb.sql(f"SELECT * FROM '{folder / name}.parquet'").fetchall()
        expected = [
            tuple(None if pd.isna(v) else v for v in row) for row in table.astype(object).itertuples(index=False)
        ]
        assert parquet == expected, name
        text = [column for column, (kind, _) in TABLES[name].items() if kind == "string"]
        back = [
            tuple(v[1:] if column in text and v and v[0] == "'" else v for column, v in zip(columns, row))
            for row in csv.fetchall()
        ]
        assert back == expected, name


def test_frictionless_finds_nothing_wrong(exported):
    folder, tables = exported
    report = frictionless.validate(str(folder / "datapackage.json"))
    assert report.valid, report.flatten(["resourceName", "fieldName", "type", "note"])[:5]
    assert sum(task.stats.get("rows", 0) for task in report.tasks) == sum(map(len, tables.values()))


def test_a_broken_export_does_not_validate(nasty_book, tmp_path):
    package = lt.export_book(nasty_book, tmp_path)
    shots = tmp_path / "shots.csv"
    shots.write_text(shots.read_text().replace("\n1,1,", "\n1,999,", 1), newline="\r\n")
    assert not frictionless.validate(str(package)).valid


def test_no_cell_begins_like_a_formula(nasty_book, tmp_path):
    lt.export_book(nasty_book, tmp_path)
    for name in TABLES:
        table = pd.read_csv(tmp_path / f"{name}.csv", dtype=str, keep_default_na=False)
        for column, (kind, _) in TABLES[name].items():
            if kind == "string":
                assert not table[column].str.match("[=+@\t\r＝-]").any(), (name, column)
    numbers = pd.read_csv(tmp_path / "shots.csv")["tilt_deg"].dropna()
    assert (numbers == -1.25).all()  # a number stays a number


def test_the_data_dictionary_is_the_codes_own():
    clubs = {name: text for name, (_, text) in TABLES["clubs"].items()}
    assert (
        clubs["score_line_pitch_mm"] == described(lt.Club)["score_line_pitch_mm"].strip()
        and "whose" not in clubs["label"]
    )
    assert set(described(lt.Club)) <= set(clubs)
    assert TABLES["readings"]["lie_error_deg"][1].startswith("Lie error at impact (too upright positive)")
    for name, columns in TABLES.items():
        assert all(text.endswith(".") or text in ("Whose", "When.") for _, text in columns.values()), name
        for column, (kind, _) in columns.items():
            if column.endswith("_id"):
                assert kind == "integer" and (column in OWNERS or column == KEYS.get(name) or column == "plan_id")
            unit = {"_deg": "degree", "_mm": "mm", "_in": "inch"}
            for end, word in unit.items():
                if column.endswith(end):
                    assert (
                        word in TABLES[name][column][1]
                        or column == "bent_deg"
                        or "uncertainty" in TABLES[name][column][1]
                    ), (name, column)


def test_pseudonyms_leave_no_name_behind(season, tmp_path):
    names = season.golfers()["name"]
    lt.export_book(season, tmp_path)  # first with names, into the same folder
    assert names[0] in (tmp_path / "golfers.csv").read_text()
    lt.export_book(season, tmp_path, pseudonyms=True)
    content = b"".join(path.read_bytes() for path in sorted(tmp_path.iterdir()))
    for name in [*names, "Saltmarsh End", *(name.split()[1] for name in names)]:
        assert name.encode() not in content
    assert pd.read_csv(tmp_path / "golfers.csv")["name"].tolist()[:2] == ["golfer 1", "golfer 2"]
    lt.export_book(season, tmp_path, pseudonyms=True, parquet=False)
    assert not list(tmp_path.glob("*.parquet"))


def test_free_text_goes_too(nasty_book):
    for name, table in lt.handouts.export_tables(nasty_book, pseudonyms=True).items():
        for column in {"note", "place", "why", "photo"} & set(table):
            assert table[column].isna().all(), (name, column)


def test_ids_stay_when_the_book_grows(tmp_path):
    with lt.SessionBook(tmp_path / "a.linetilt") as book:
        ids = []
        for day in ("2026-04-01", "2026-04-02"):
            bag = book.add_bag(book.add_golfer("Robin"), lt.Bag([lt.Club(label="7", loft_deg=34)]))
            book.add_shot(book.add_session(bag, day=day), "7", mark={"tilt_deg": 1.0})
            ids.append(lt.handouts.export_tables(book)["shots"][["shot_id", "session_id", "club_id"]])
        pd.testing.assert_frame_equal(ids[0], ids[1].head(1))


def test_an_empty_book_and_a_relabelled_club(tmp_path):
    with lt.SessionBook(tmp_path / "a.linetilt") as book:
        assert frictionless.validate(str(lt.export_book(book, tmp_path / "empty"))).valid
        bag = book.add_bag(book.add_golfer("Robin"), lt.Bag([lt.Club(label="7", loft_deg=34, lie_deg=62)]))
        session = book.add_session(bag)
        for _ in range(4):
            book.add_shot(session, "7", mark={"tilt_deg": 2.0}, start=0.0)
        lt.session.hand_out(book, session)
        book.change("club", 1, label="seven")
        assert frictionless.validate(str(lt.export_book(book, tmp_path / "out"))).valid
        tables = lt.handouts.export_tables(book)
        assert tables["plans"]["club_id"].tolist() == [1]  # of now: it follows the club's name
        handed = tables["plans_handed_out"]
        assert handed["club_id"].isna().all() and handed["outcome"].tolist() == tables["plans"]["outcome"].tolist()


def test_what_is_exported_follows_from_the_facts_of_now(tmp_path):
    """A loft that is corrected after the balls were hit: readings, estimates and plans are those of the corrected
    club."""
    with lt.SessionBook(tmp_path / "a.linetilt") as book:
        bag = book.add_bag(book.add_golfer("Robin"), lt.Bag([lt.Club(label="7", loft_deg=30, lie_deg=62)]))
        session = book.add_session(bag)
        for _ in range(4):
            book.add_shot(session, "7", mark={"tilt_deg": -2.0, "u_tilt_deg": 0.3}, start=(0.5, 0.4))
        before = lt.handouts.export_tables(book)
        book.change("club", 1, loft_deg=34.0)
        after = lt.handouts.export_tables(book)
    alone = as_one_ball(-2.0, 0.3, 34, (0.5, 0.4), lt.lie.SessionUnknowns())
    assert after["readings"]["lie_error_deg"].tolist() == pytest.approx([alone.lie_error_deg] * 4, rel=1e-9)
    assert after["readings"]["u_lie_error_deg"].tolist() == pytest.approx([alone.u_lie_error_deg] * 4, rel=1e-9)
    for name in ("estimates", "plans"):
        assert after[name]["lie_error_deg"].iloc[0] != before[name]["lie_error_deg"].iloc[0]
    pd.testing.assert_frame_equal(after["shots"], before["shots"])  # facts


def test_other_files_stay_and_a_folder_that_cannot_be_is_named(nasty_book, tmp_path, monkeypatch):
    (tmp_path / "mine.txt").write_text("keep")
    lt.export_book(nasty_book, tmp_path)
    assert (tmp_path / "mine.txt").read_text() == "keep" and not list(tmp_path.glob("*.part"))
    with pytest.raises(lt.InputError, match="cannot be written"):
        lt.export_book(nasty_book, tmp_path / "mine.txt")
    monkeypatch.setattr(export, "find_spec", lambda name: None)
    with pytest.raises(lt.InputError, match=r"linetilt\[export\]"):
        lt.export_book(nasty_book, tmp_path, parquet=True)
    lt.export_book(nasty_book, tmp_path / "plain")
    assert not list((tmp_path / "plain").glob("*.parquet"))


def test_budgets_add_up(season):
    tables = lt.handouts.export_tables(season)
    budget = tables["budget"]
    assert budget.groupby(["shot_id", "of", "quantity"], dropna=False)["share"].sum().between(1 - 1e-9, 1 + 1e-9).all()
    lie = (budget["contribution_deg"] ** 2)[budget["of"] == "lie"].groupby(budget["shot_id"]).sum() ** 0.5
    read = tables["readings"].set_index("shot_id")["u_lie_error_deg"]
    pd.testing.assert_series_equal(lie, read, check_names=False, check_index_type=False, check_dtype=False, rtol=1e-9)


def test_the_season_beside_the_notebooks_is_what_the_kit_exports(tmp_path):
    """`explore_export.ipynb` reads it; made by `lt.export_book(lt.demo_book(...), ..., pseudonyms=True,
    parquet=False)`."""
    kept = Path(__file__).parent.parent / "notebooks" / "season_export"
    with lt.demo_book(tmp_path / "season.linetilt", golfers=2) as book:  # the others come after them in every table
        lt.export_book(book, tmp_path / "new", pseudonyms=True, parquet=False)
    assert json.loads((kept / "datapackage.json").read_text()) == json.loads(
        (tmp_path / "new" / "datapackage.json").read_text()
    )
    for name in TABLES:
        old, new = (read_csv(folder, name).drop(columns="at", errors="ignore") for folder in (kept, tmp_path / "new"))
        pd.testing.assert_frame_equal(old.head(len(new)), new, rtol=1e-6, atol=1e-9)
