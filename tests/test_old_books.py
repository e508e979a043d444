"""Books that earlier versions made open today with all that stood in them; books/README.md says how each was made."""

import base64
import json
import re
import sqlite3
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import linetilt as lt
import pandas as pd
import pytest
from linetilt.book.schema import STEPS
from linetilt.session.middle import session_bag, shared_facts

FOLDER = Path(__file__).parent / "books"
OLD = json.loads((FOLDER / "expected.json").read_text())
# "3-marks" is the hard one: version 3 was made twice, once with the table of settings, once with the marks of a shot.
# Step 4 adds the marks; a book that has them, and lacks the table, answers "duplicate column name: marks".
NAMES = sorted(path.stem for path in FOLDER.glob("*.sql"))
TABLES = ("golfers", "sessions", "bends", "plans", "history")
FACTS = (
    "shot_id",
    "session_id",
    "club",
    "number",
    "at",
    "photo",
    "tilt_deg",
    "u_tilt_deg",
    "strike_toe_mm",
    "u_strike_toe_mm",
    "strike_up_mm",
    "u_strike_up_mm",
    "line_width_mm",
    "u_line_width_mm",
    "start_deg",
    "u_start_deg",
    "counted",
    "note",
)
each_book = pytest.mark.parametrize("name", NAMES)


def restored(name, folder, version=None):
    """Return the path of an old book made from its dump, its photo beside it, as the version given."""
    path = folder / "old.linetilt"
    with closing(sqlite3.connect(path)) as db:
        db.executescript((FOLDER / f"{name}.sql").read_text())
        if version is not None:
            db.execute(f"PRAGMA user_version = {version}")
    photos = folder / "old.linetilt-photos"
    photos.mkdir()
    for photo, content in OLD["photos"].items():
        (photos / photo).write_bytes(base64.b64decode(content))
    return path


def rows(table, expected):
    """Return a table's rows as the columns that the older version had, nothing where a number is missing."""
    table = table[list(expected[0])].astype(object)
    return table.where(table.notna(), None).to_dict("records")


def schema(path):
    """Return the columns of each table, and the names of the indexes and triggers."""
    with closing(sqlite3.connect(path)) as db:
        things = db.execute("SELECT type, name FROM sqlite_master WHERE name NOT LIKE 'sqlite_%'").fetchall()
        tables = {name: db.execute(f"PRAGMA table_info({name})").fetchall() for kind, name in things if kind == "table"}
        header = [db.execute(f"PRAGMA {name}").fetchone() for name in ("application_id", "user_version")]
    return tables, {thing for thing in things if thing[0] != "table"}, header


def test_each_old_book_has_its_facts_and_one_of_each_version_is_there():
    assert set(OLD["books"]) == set(NAMES)
    versions = {int(re.search(r"user_version = (\d+)", (FOLDER / f"{name}.sql").read_text())[1]) for name in NAMES}
    assert versions >= set(range(1, 5))


@each_book
def test_what_stood_in_an_old_book_is_there_today(name, tmp_path):
    expected = OLD["books"][name]
    with lt.SessionBook(restored(name, tmp_path)) as book:
        for table in TABLES:
            assert rows(getattr(book, table)(), expected[table]) == expected[table], table
        assert rows(book.clubs(1), expected["clubs"]) == expected["clubs"]
        assert rows(book.gauge_readings(1), expected["gauge_readings"]) == expected["gauge_readings"]
        assert [book.marks(shot) for shot in range(1, 7)] == expected.get("marks", [None] * 6)
        assert book.setting(1, "rules") == expected.get("rules", [None])[0]
        assert int(book.current_session()["session_id"]) == 1
        assert book.check() == []
        shots, read = book.shots(1), lt.session_shots(book, 1)
        plan = lt.session_plan(book, 1)
        shared = shared_facts(book, 1)
        shared["session"] = replace(shared["session"], shaft_lean_deg=(0.0, 1.0))
        upright = lt.lie_readings(shots, session_bag(book, 1), **shared)
    # what follows from the facts is what the old kit said, who held every shaft upright and known to be
    said = pd.array([line["lie_error_deg"] for line in expected["shots"]], "Float64").to_numpy(
        float, na_value=float("nan")
    )
    assert upright["lie_error_deg"].to_numpy(float) == pytest.approx(said, abs=1e-9, nan_ok=True)
    assert read["lie_error_deg"].isna().tolist() == upright["lie_error_deg"].isna().tolist()
    assert plan.loc[plan["club"] == "7", "done_deg"].tolist() == [-1.0]  # the bend came after the session
    old = [{fact: line[fact] for fact in FACTS} for line in expected["shots"]]
    assert rows(shots, old) == old
    # as entered, whatever the version: six balls, two of them counted, each of the others with its reason
    assert shots["club"].tolist() == ["7", "7", "5", "5", "56", "56"]
    assert shots["number"].tolist() == [1, 2, 3, 4, 5, 6]
    assert shots["tilt_deg"].tolist()[:4] == [1.5, 3.25, -0.75, 2.0]
    assert shots["counted"].tolist() == [True, False, True, False, False, False]
    assert shots["state"].tolist() == ["counted", "set_aside", "counted", "set_aside", "refused", "counted"]
    assert shots["reason"].tolist() == ["", "heavy_strike", "", "other", "", ""]
    assert shots["why"].tolist()[:4] == ["", "", "", "second hit on the same spot"] and shots["why"].iloc[4]
    assert shots["remarks"].tolist()[0] == "patchy ink"


@each_book
def test_an_old_book_names_a_photo_that_is_gone(name, tmp_path):
    path = restored(name, tmp_path)
    (photo,) = path.with_suffix(".linetilt-photos").iterdir()
    photo.unlink()
    with lt.SessionBook(path) as book:
        assert book.check() == [f"the photo {photo.name} is gone"]


@each_book
def test_an_old_book_becomes_the_book_that_a_new_one_is(name, tmp_path):
    lt.SessionBook(tmp_path / "new.linetilt").close()
    path = restored(name, tmp_path)
    lt.SessionBook(path).close()
    assert schema(path) == schema(tmp_path / "new.linetilt")


@each_book
def test_an_old_book_takes_what_it_had_no_place_for(name, tmp_path):
    mark = {
        "tilt_deg": 1.0,
        "corners": [[0, 9], [9, 9], [9, 0], [0, 0]],
        "line": [[4, 9], [5, 0]],
        "by_hand": ("line",),
    }
    with lt.SessionBook(restored(name, tmp_path)) as book:
        shot = book.add_shot(1, "7", mark=mark)
        book.keep_setting(1, "flight", {"speed": 38})
        book.change("session", 1, net_distance_mm=4000.0, carry_unit="yd")
        later = book.add_session(1, day="2026-03-09", retest_of=1)
        assert book.shots(1)["number"].tolist() == [1, 2, 3, 4, 5, 6, 7]
        assert book.marks(shot)["by_hand"] == ["line"]
        assert book.setting(1, "flight") == {"speed": 38}
        assert book.sessions(1).iloc[0][["net_distance_mm", "carry_unit"]].tolist() == [4000.0, "yd"]
        assert int(book.current_session()["session_id"]) == later


@each_book
def test_the_entries_of_an_old_book_can_be_taken_back_to_the_first(name, tmp_path):
    expected = OLD["books"][name]
    undone = {line["undoes"] for line in expected["history"] if line["undoes"]}
    left = [line["what"] for line in expected["history"] if line["edit_id"] not in undone and not line["undoes"]]
    with lt.SessionBook(restored(name, tmp_path)) as book:
        assert book.undo() == left[-1]
        assert book.golfers()["note"].tolist() == ["first visit"]
        assert [book.undo() for _ in left[3:-1]] == left[-2:2:-1]  # down to golfer, bag and session
        assert book.shots()["photo"].notna().tolist() == [True]  # a photo is never lost: its shot is set aside
        assert book.shots()["reason"].tolist() == ["taken_back"] and book.bends().empty and book.plans().empty
        with pytest.raises(lt.InputError, match="other entries stand on it"):
            book.undo()
        assert book.check() == []


@each_book
def test_opening_an_old_book_again_changes_nothing(name, tmp_path):
    path = restored(name, tmp_path)
    with lt.SessionBook(path) as book:
        before = book.shots()
    content = path.read_bytes()
    with lt.SessionBook(path) as book:
        pd.testing.assert_frame_equal(book.shots(), before)
    assert path.read_bytes() == content
    assert sorted(file.name for file in tmp_path.iterdir()) == ["old.linetilt", "old.linetilt-photos"]


@each_book
def test_a_book_of_a_newer_version_is_refused_and_left_alone(name, tmp_path):
    newer = len(STEPS) + 1
    path = restored(name, tmp_path, version=newer)
    content = path.read_bytes()
    words = rf"newer linetilt \(version {newer} of the book, this one knows {len(STEPS)}\); .*update linetilt"
    with pytest.raises(lt.BookError, match=words):
        lt.SessionBook(path)
    assert path.read_bytes() == content
