"""The book: what was acknowledged is there after kills, nothing is destroyed, and strangers' files are left alone."""

import hashlib
import json
import os
import shutil
import sqlite3
import subprocess
import sys
import tempfile
import threading
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import linetilt as lt
import numpy as np
import pandas as pd
import pytest
from kills import kill_writers
from linetilt.book import book as book_module
from linetilt.book.schema import MARK_COLUMNS

CLUBS = lt.Bag(
    [
        lt.Club(
            label="5", loft_deg=26, lie_deg=61, gauge_lie_deg=61.5, length_in=38, score_line_length_mm=52, head="forged"
        ),
        lt.Club(label="7", loft_deg=34, lie_deg=62.5, length_in=37, score_line_pitch_mm=3.5, head="cast", bent_deg=0.5),
        lt.Club(label="56", loft_deg=56, from_set=False, bend_limit_deg=1.5, handed="right"),
    ]
)
MARK = SimpleNamespace(
    tilt_deg=1.5,
    u_tilt_deg=0.4,
    strike_toe_mm=-3.0,
    u_strike_toe_mm=0.3,
    strike_up_mm=18.0,
    u_strike_up_mm=1.0,
    line_width_mm=3.1,
    u_line_width_mm=0.2,
    flags=("patchy ink", "long exposure"),
    budget=pd.DataFrame({"component": ["ink"], "u": [0.4]}),
)
READING = lt.lie_reading(1.5, 34, face_heading_deg=1.0)


@pytest.fixture
def book(tmp_path):
    with lt.SessionBook(tmp_path / "shop.linetilt") as book:
        yield book


def filled(book, shots=3):
    bag = book.add_bag(book.add_golfer("Robin"), CLUBS)
    session = book.add_session(bag, day="2026-05-31", place="bay 3")
    ids = [
        book.add_shot(session, "7", photo=b"\xff\xd8 picture %d" % n, mark=MARK, reading=READING) for n in range(shots)
    ]
    return bag, session, ids


def python(script, *arguments, **options):
    """A second process with the kit; stdout is read line by line."""
    return subprocess.Popen(
        [sys.executable, "-c", script, *map(str, arguments)], stdout=subprocess.PIPE, text=True, **options
    )


def test_what_goes_in_comes_out(book):
    bag, session, (first, *_) = filled(book)
    start = lt.lie.start_from_net(50, 2000)
    last = book.add_shot(session, "56", start=start, why="line not printed", note="wet face")
    table = book.shots(session)
    assert list(table["club"]) == ["7", "7", "7", "56"]
    assert list(table["number"]) == [1, 2, 3, 4]
    row = table.iloc[0]
    for name in MARK_COLUMNS:
        assert row[name] == getattr(MARK, name)
    assert row["lie_error_deg"] == READING.lie_error_deg and row["u_lie_error_deg"] == READING.u_lie_error_deg
    assert row["flags"] == "patchy ink, long exposure"
    assert table["heading_known"].tolist() == [True, True, True, False] == table["counted"].tolist()
    refused = table.iloc[3]
    assert (refused["why"], refused["note"], refused["start_deg"]) == ("line not printed", "wet face", start.start_deg)
    assert np.isnan(refused["lie_error_deg"])
    pd.testing.assert_frame_equal(book.budget(first), READING.budget, check_dtype=False, rtol=1e-12)
    pd.testing.assert_frame_equal(book.budget(first, "mark"), MARK.budget, check_dtype=False)
    assert book.budget(last).empty
    assert book.photo(first).read_bytes() == b"\xff\xd8 picture 0" and book.photo(last) is None
    sessions = book.sessions().iloc[0]
    assert (sessions["golfer"], sessions["day"], sessions["shots"], sessions["counted"]) == (
        "Robin",
        "2026-05-31",
        4,
        3,
    )
    assert book.golfers()["name"].tolist() == ["Robin"] and book.bags()["bag_id"].tolist() == [bag]
    assert book.check() == []


def test_dtypes_do_not_depend_on_what_is_filled(book):
    bag, session, _ = filled(book, shots=0)
    empty = book.shots(session)
    book.add_shot(session, "7")
    bare = book.shots(session)
    for name in ("lie_error_deg", "tilt_deg", "start_deg"):
        assert empty[name].dtype == bare[name].dtype == float
    assert empty["counted"].dtype == bare["counted"].dtype == bool


def test_a_bag_comes_back_equal(book):
    bag = book.add_bag(book.add_golfer("Robin"), CLUBS)
    assert book.bag(bag) == CLUBS
    assert list(book.clubs(bag).columns[1:]) == list(CLUBS.to_frame().columns)
    assert lt.read_bag(book.clubs(bag).drop(columns="club_id")) == CLUBS
    wedge = lt.Club(label="60", loft_deg=60, gauge_lie_deg=64)
    book.add_club(bag, wedge)
    assert book.bag(bag)["60"] == wedge


def test_several_clubs_are_one_entry(book):
    bag = book.add_bag(book.add_golfer("Robin"), CLUBS)
    new = [
        lt.Club(label=label, loft_deg=loft, gauge_lie_deg=64) for label, loft in (("50", 50), ("54", 54), ("60", 60))
    ]
    ids = book.add_clubs(bag, new)
    assert list(book.clubs(bag)["club_id"][-3:]) == ids and list(book.bag(bag))[-3:] == new
    assert book.undo() == "clubs 50, 54, 60 added"
    assert book.bag(bag) == CLUBS and book.gauge_readings(bag)["club"].isin(CLUBS.labels).all()
    with pytest.raises(lt.InputError, match="has a club '7' already"):
        book.add_clubs(bag, [new[0], CLUBS["7"]])
    assert book.bag(bag) == CLUBS


def test_bends_and_gauge_readings_move_the_club(book):
    bag = book.add_bag(book.add_golfer("Robin"), CLUBS, day="2026-01-05")
    book.add_bend(bag, "7", 1.0)
    assert book.bag(bag)["7"] == replace(CLUBS["7"], bent_deg=1.5)
    book.add_bend(bag, "5", -1.0)
    assert book.bag(bag)["5"] == replace(
        CLUBS["5"], bent_deg=-1.0, gauge_lie_deg=60.5
    )  # the reading is from before the bend
    book.add_bend(bag, "5", -0.5, gauge_lie_deg=60.2, day="2026-02-01")
    assert book.bag(bag)["5"].gauge_lie_deg == 60.2  # read after it
    book.add_gauge_reading(bag, "5", 60.25, day="2026-03-01")
    book.add_gauge_reading(bag, "5", 61.4, day="2025-01-01")  # an old note found later does not count
    assert book.bag(bag)["5"].gauge_lie_deg == 60.25
    assert book.bends(bag)[["club", "bend_deg"]].values.tolist() == [["7", 1.0], ["5", -1.0], ["5", -0.5]]
    assert len(book.gauge_readings(bag)) == 4


def test_plans_and_retests(book):
    bag, session, _ = filled(book)
    plan = pd.DataFrame({"club": ["5", "7"], "bend_deg": [0.5, np.nan], "reason": ["toe down", "hit more balls"]})
    number = book.add_plan(session, plan)
    again = book.add_session(bag, retest_of=session)
    kept = book.plans(session)
    assert kept["plan_id"].tolist() == [number, number]
    pd.testing.assert_frame_equal(kept[["club", "bend_deg", "reason"]], plan, check_dtype=False)
    assert book.sessions().set_index("session_id")["retest_of"][again] == session
    assert book.plans(again).empty


def test_corrections_keep_what_they_replace(book):
    bag, session, (shot, *_) = filled(book)
    book.set_aside(shot, "heavy strike")
    book.change("shot", shot, counted=True, why="", note="it was the next ball")
    history = book.history("shot", shot)
    assert history["counted"].tolist() == [1, 0, 1]
    assert history["why"].tolist() == ["", "heavy strike", ""]
    assert history["what"].tolist() == ["shot added, club 7", f"shot {shot} corrected", f"shot {shot} corrected"]
    assert history["tilt_deg"].tolist() == [1.5] * 3
    club = book.clubs(bag)["club_id"][1]  # a number of numpy's
    book.change("club", club, lie_deg=63.0)
    assert book.bag(bag)["7"].lie_deg == 63.0 and book.history("club", club)["lie_deg"].tolist() == [62.5, 63.0]


def test_several_entries_are_corrected_in_one_edit(book):
    bag, _, _ = filled(book)
    ids = [int(number) for number in book.clubs(bag)["club_id"]]
    before = book.clubs(bag)
    book.change("club", ids, score_line_length_mm=51.5)
    assert book.clubs(bag)["score_line_length_mm"].eq(51.5).all()
    book.undo()
    pd.testing.assert_frame_equal(book.clubs(bag), before)
    with pytest.raises(lt.InputError, match="no club to correct"):
        book.change("club", [], score_line_length_mm=51.5)


def test_a_club_without_shots_can_be_removed_and_brought_back(book):
    bag, _, _ = filled(book)
    book.add_club(bag, lt.Club(label="60", loft_deg=60, gauge_lie_deg=64.0))
    before = book.clubs(bag)
    book.remove_club(bag, "60")
    assert "60" not in book.bag(bag)
    assert book.undo() == "club 60 removed"
    pd.testing.assert_frame_equal(book.clubs(bag), before)
    with pytest.raises(lt.InputError, match="'7' has shots in this book and cannot be removed"):
        book.remove_club(bag, "7")
    assert book.check() == []


def test_the_session_opened_last_is_current(book):
    assert book.current_session() is None
    bag, first, _ = filled(book)
    second = book.add_session(
        bag, length_unit="in", carry_unit="yd", net_distance_mm=2900, setup_tilt_deg=-0.5, u_setup_tilt_deg=0.3
    )
    now = book.current_session()
    assert now["session_id"] == second and now["net_distance_mm"] == 2900 and now["carry_unit"] == "yd"
    edits = len(book.history())
    book.open_session(first)
    now = book.current_session()
    assert now["session_id"] == first and now["length_unit"] == "mm" and pd.isna(now["setup_tilt_deg"])
    assert len(book.history()) == edits
    book.change("session", first, setup_tilt_deg=1.5, u_setup_tilt_deg=0.4)
    assert book.current_session()["setup_tilt_deg"] == 1.5
    with pytest.raises(lt.InputError, match="weather is no setting"):
        book.add_session(bag, weather="rain")
    with pytest.raises(lt.InputError, match="net_distance_mm is 3; expected a number from 500"):
        book.change("session", first, net_distance_mm=3)


def test_measuring_again_keeps_the_first_measurement(book):
    _, session, (shot, *_) = filled(book)
    better = lt.lie_reading(2.5, 34, face_heading_deg=1.0)
    book.measure_again(shot, mark={"tilt_deg": 2.5, "u_tilt_deg": 0.2}, reading=better)
    row = book.shots(session).iloc[0]
    assert (row["tilt_deg"], row["lie_error_deg"]) == (2.5, better.lie_error_deg) and np.isnan(row["strike_up_mm"])
    assert book.history("shot", shot)["tilt_deg"].tolist() == [1.5, 2.5]
    assert book.budget(shot)["value"].tolist()[0] == 2.5
    refused = book.add_shot(session, "5", photo=b"?")
    book.measure_again(refused, reading=better)  # marks placed by hand
    assert book.shots(session).iloc[-1][["counted", "why"]].tolist() == [True, ""]
    book.measure_again(refused, start=lt.lie.start_from_net(10, 2000))
    book.measure_again(refused, mark={"tilt_deg": 1.0, "u_tilt_deg": 0.3})
    last = book.shots(session).iloc[-1]
    assert last["start_deg"] > 0 and last["tilt_deg"] == 1.0 and np.isnan(last["lie_error_deg"]) and not last["counted"]
    heavy = book.add_shot(session, "5", reading=better, counted=False, why="heavy strike")
    book.measure_again(heavy, reading=better)
    assert not book.shots(session).iloc[-1]["counted"]


def test_a_shot_goes_over_to_another_club_and_keeps_where_its_marks_are(book):
    _, session, (shot, *_) = filled(book)
    assert book.marks(shot) is None
    mark = vars(MARK) | {
        "corners": np.array([[9.004, 8], [1, 8], [1, 2], [9, 2]]),
        "line": np.array([[5, 7], [5, 3]]),
        "by_hand": ("line",),
    }
    book.measure_again(shot, mark=mark, reading=READING, club="5")
    row = book.shots(session).iloc[0]
    assert (row["club"], row["counted"]) == ("5", True)
    assert book.marks(shot) == {
        "corners": [[9, 8], [1, 8], [1, 2], [9, 2]],
        "line": [[5, 7], [5, 3]],
        "by_hand": ["line"],
    }
    book.measure_again(shot, why="not looked at yet")
    assert book.shots(session).iloc[0][["counted", "why"]].tolist() == [False, "not looked at yet"]
    with pytest.raises(lt.InputError, match="no club '1'"):
        book.measure_again(shot, club="1")
    book.undo(), book.undo()
    assert book.marks(shot) is None and book.shots(session).iloc[0]["club"] == "7"


def test_an_earlier_edit_can_be_taken_back_if_nothing_touched_its_entry_since(book):
    _, session, (first, second, _) = filled(book)
    book.set_aside(first, "heavy strike")
    aside = int(book.history()["edit_id"].iloc[-1])
    book.set_aside(second, "double print")
    assert book.undo(aside) == f"shot {first} corrected"
    assert book.shots(session)["counted"].tolist() == [True, False, True]
    with pytest.raises(lt.InputError, match="cannot be taken back"):
        book.undo(aside)
    book.set_aside(first, "mat moved")
    earlier = int(book.history()["edit_id"].iloc[-1])
    book.change("shot", first, note="on the left mat")
    with pytest.raises(lt.InputError, match="changed since"):
        book.undo(earlier)
    book.undo()
    assert book.undo(earlier) and book.shots(session)["counted"].tolist() == [True, False, True]


def test_rows_of_a_table_can_be_entered(book):
    _, session, _ = filled(book, shots=0)
    table = pd.DataFrame(
        {
            "tilt_deg": [1.0, np.nan],
            "u_tilt_deg": [0.4, np.nan],
            "lie_error_deg": [0.8, np.nan],
            "u_lie_error_deg": [0.9, np.nan],
            "heading_known": [True, np.nan],
        }
    )
    for _, row in table.iterrows():
        book.add_shot(session, "7", mark=row, reading=row)
    shots = book.shots(session)
    assert shots["counted"].tolist() == [True, False] == shots["heading_known"].tolist()
    assert shots["why"].tolist() == ["", "no lie reading"] and shots["lie_error_deg"].isna().tolist() == [False, True]


def test_every_opening_asks_for_durable_writes(book):
    """SQLite documentation, PRAGMA synchronous: FULL (2) waits for the journal before and after the book itself; EXTRA (3) for its folder as well."""
    assert [
        book._db.execute(f"PRAGMA {name}").fetchone()[0] for name in ("synchronous", "journal_mode", "foreign_keys")
    ] == [3, "persist", 1]


def test_the_file_alone_is_the_book(tmp_path):
    """Between writes the one file may be copied, and nothing else is there once the book is closed by all."""
    with lt.SessionBook(tmp_path / "shop.linetilt") as one:
        session = one.add_session(one.add_bag(one.add_golfer("Robin"), CLUBS))
        with lt.SessionBook(tmp_path / "shop.linetilt") as other:
            one.add_shot(session, "7"), other.add_shot(session, "5")
            shutil.copyfile(tmp_path / "shop.linetilt", tmp_path / "copy.linetilt")
        one.add_shot(session, "7")
    one.close()
    assert {path.name for path in tmp_path.iterdir()} == {"shop.linetilt", "copy.linetilt"}
    with lt.SessionBook(tmp_path / "copy.linetilt") as copy:
        assert copy.shots()["club"].tolist() == ["7", "5"] and copy.check() == []


def test_undo_takes_back_edit_by_edit_and_keeps_everything(book):
    bag, session, (first, second, third) = filled(book)
    book.set_aside(first, "heavy strike")
    state = book.shots(session)
    book.change("shot", first, tilt_deg=2.0)
    assert book.undo() == f"shot {first} corrected"
    pd.testing.assert_frame_equal(book.shots(session), state)
    assert book.undo() == f"shot {first} corrected"
    assert book.shots(session)["counted"].all()
    assert book.undo() == "shot added, club 7"
    assert book.shots(session)["shot_id"].tolist() == [first, second]
    gone = book.history("shot", third)
    assert gone["tilt_deg"].tolist()[0] == 1.5 and gone["what"].tolist()[-1] == "undone: shot added, club 7"
    assert book.add_shot(session, "7") > third  # an id is never used twice
    for _ in range(6):
        book.undo()
    assert book.golfers().empty and book.check() == []
    with pytest.raises(lt.InputError, match="nothing to undo"):
        book.undo()
    edits = book.history()
    assert len(edits) == 18 and edits["undoes"].notna().sum() == 9
    assert (
        json.loads(
            book._db.execute("SELECT before FROM change WHERE kind = 'golfer' AND before IS NOT NULL").fetchone()[0]
        )["name"]
        == "Robin"
    )


def test_text_stays_text(book):
    for name in ("Robert'); DROP TABLE golfer;--", "<script>alert(1)</script>", "Zoë 🏌", '"; --', "a\nb"):
        golfer = book.add_golfer(name, note=name)
        bag = book.add_bag(golfer, lt.Bag([lt.Club(label=name, loft_deg=30)]), name=name)
        session = book.add_session(bag, place=name)
        shot = book.add_shot(session, name, note=name)
        book.change("shot", shot, why=name)
        row = book.shots(session).iloc[0]
        assert (row["club"], row["note"], row["why"]) == (name, name, name)
        assert book.golfers().iloc[-1][["name", "note"]].tolist() == [name, name]
    assert len(book.golfers()) == 5


def test_photos_are_kept_once_by_content(book, tmp_path):
    bag, session, _ = filled(book, shots=0)
    picture = b"\xff\xd8\xff" + bytes(range(256)) * 50
    (tmp_path / "a.jpg").write_bytes(picture)
    (tmp_path / "b.JPEG").write_bytes(picture)
    ids = [
        book.add_shot(session, "7", photo=photo) for photo in (tmp_path / "a.jpg", str(tmp_path / "b.JPEG"), picture)
    ]
    assert [path.name for path in book.photo_folder.iterdir()] == [hashlib.sha256(picture).hexdigest() + ".jpg"]
    assert {book.photo(shot).read_bytes() for shot in ids} == {picture}
    book.photo(ids[0]).write_bytes(b"short")
    assert len(book.check()) == 1 and "not what was entered" in book.check()[0]
    book.add_shot(session, "7", photo=picture)  # the right content heals it
    assert book.check() == []
    book.photo(ids[0]).unlink()
    assert "is gone" in book.check()[0]


WRITER = """
import sys
import linetilt as lt
path, session, tag = sys.argv[1], int(sys.argv[2]), sys.argv[3]
reading = lt.lie_reading(1.0, 34)
with lt.SessionBook(path, wait_s=60) as book:
    print("ready", flush=True)
    for n in range(int(sys.argv[4])):
        content = f"photo {tag} {n}".encode() * 2000
        shot = book.add_shot(session, "7", photo=content, reading=reading, note=f"{tag} {n}")
        if n % 3 == 2:
            book.change("shot", shot, note=f"{tag} {n} corrected")
        print(shot, n, flush=True)
"""


def test_what_was_acknowledged_survives_kills(tmp_path):
    """Two hundred kills: tests/bench/kills.py."""
    found = kill_writers(tmp_path, 20, seed=3)
    assert found["kills"] == 20 and found["acknowledged"] > 20
    assert {name: found[name] for name in ("lost", "changed", "damaged", "halves")} == {
        "lost": 0,
        "changed": 0,
        "damaged": 0,
        "halves": 0,
    }


def test_two_processes_write_at_once(tmp_path):
    path = tmp_path / "shop.linetilt"
    with lt.SessionBook(path) as book:
        _, session, _ = filled(book, shots=0)
        writers = [python(WRITER, path, session, tag, 40) for tag in "ab"]
        answers = [process.communicate()[0].split("\n")[1:-1] for process in writers]
        assert [process.returncode for process in writers] == [0, 0]
        ids = {int(line.split()[0]) for answer in answers for line in answer}
        assert len(ids) == 80 and set(book.shots(session)["shot_id"]) == ids
        assert sorted(book.shots(session)["number"]) == list(range(1, 81))
        assert book.check() == []


def test_two_processes_make_one_book_at_once(tmp_path):
    script = "import sys, linetilt as lt\nwith lt.SessionBook(sys.argv[1]) as book: print(book.add_golfer('x'))"
    makers = [python(script, tmp_path / "new.linetilt") for _ in range(3)]
    assert sorted(process.communicate()[0].strip() for process in makers) == ["1", "2", "3"]


def test_threads_share_a_book(book):
    _, session, _ = filled(book, shots=0)
    threads = [
        threading.Thread(target=lambda: [book.add_shot(session, "7", reading=READING) for _ in range(20)])
        for _ in range(3)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(book.shots(session)["number"]) == list(range(1, 61))


def test_a_version_1_book_migrates_and_a_newer_one_is_refused(tmp_path, monkeypatch):
    path = tmp_path / "old.linetilt"
    with monkeypatch.context() as patch:
        patch.setattr(book_module, "STEPS", book_module.STEPS[:1])
        with lt.SessionBook(path) as book:
            session = book.add_session(book.add_bag(book.add_golfer("Robin"), CLUBS))
    with lt.SessionBook(path) as book:  # a book of the first release takes what is new
        book.add_shot(session, "7", mark=MARK, reading=READING)
        before = book.shots(session)
    known = len(book_module.STEPS)
    added = (
        (
            "ALTER TABLE session ADD COLUMN weather TEXT NOT NULL DEFAULT ''",
            "CREATE INDEX session_of_day ON session (day)",
        ),
    )
    with monkeypatch.context() as patch:
        patch.setattr(book_module, "STEPS", book_module.STEPS + added)
        with lt.SessionBook(path) as book:
            pd.testing.assert_frame_equal(book.shots(session), before)
            book.change("session", session, weather="wind from the left")
            assert book.history("session", session)["weather"].tolist()[-1] == "wind from the left"
            assert book.undo() == f"session {session} corrected"
    content = path.read_bytes()
    with pytest.raises(
        lt.BookError,
        match=rf"newer linetilt \(version {known + 1} of the book, this one knows {known}\); .*update linetilt",
    ):
        lt.SessionBook(path)
    assert path.read_bytes() == content


def test_a_migration_that_fails_changes_nothing(tmp_path, monkeypatch):
    path = tmp_path / "old.linetilt"
    lt.SessionBook(path).close()
    content = path.read_bytes()
    monkeypatch.setattr(
        book_module,
        "STEPS",
        (*book_module.STEPS, ("CREATE TABLE extra (id INTEGER)", "CREATE TABLE shot (id INTEGER)")),
    )
    with pytest.raises(lt.BookError):
        lt.SessionBook(path)
    assert path.read_bytes() == content


def test_strangers_files_are_refused_and_left_alone(tmp_path):
    with closing(sqlite3.connect(tmp_path / "other.db")) as other:
        other.execute("CREATE TABLE things (x)")
        other.commit()
    with closing(sqlite3.connect(tmp_path / "marked.db")) as other:
        other.execute("PRAGMA application_id = 7")
    (tmp_path / "letter.linetilt").write_text("Dear Robin, " * 1000)
    for name, words in (
        ("other.db", "other program"),
        ("marked.db", "other program"),
        ("letter.linetilt", "expected a book of linetilt"),
    ):
        content = (tmp_path / name).read_bytes()
        with pytest.raises(lt.BookError, match=words):
            lt.SessionBook(tmp_path / name)
        assert (tmp_path / name).read_bytes() == content
    with pytest.raises(lt.BookError, match="is a folder"):
        lt.SessionBook(tmp_path)
    with pytest.raises(lt.BookError, match="expected a file in a folder that exists"):
        lt.SessionBook(tmp_path / "nowhere" / "x.linetilt")
    (tmp_path / "empty.linetilt").touch()  # what is left when a machine stops before the first write
    lt.SessionBook(tmp_path / "empty.linetilt").close()


READ_ONLY = """
import os, sys
import linetilt as lt
if os.geteuid() == 0:
    os.setgid(65534); os.setuid(65534)  # the administrator may write everywhere
for path in sys.argv[1:]:
    try:
        with lt.SessionBook(path) as book:
            print(len(book.golfers()))
            book.add_golfer("x")
    except lt.BookError as error:
        print(error)
"""


def test_a_read_only_folder(tmp_path):
    folder = Path(tempfile.mkdtemp())
    try:
        with lt.SessionBook(folder / "old.linetilt") as book:
            book.add_golfer("Robin")
        os.chmod(folder / "old.linetilt", 0o444)
        os.chmod(folder, 0o555)
        process = python(READ_ONLY, folder / "old.linetilt", folder / "new.linetilt")
        read, refused, new, _ = process.communicate()[0].split("\n")
        assert read == "1"  # reading works
        assert "may only be read; expected one that you may write in; copy the book to a folder of your own" in refused
        assert "cannot be opened there; expected a file in a folder that exists and in which you may write" in new
    finally:
        os.chmod(folder, 0o755)
        for path in folder.iterdir():
            path.unlink()
        folder.rmdir()


def test_a_full_disk_keeps_what_was_there(book, monkeypatch):
    _, session, _ = filled(book)
    before = book.shots(session)
    book._db.execute(f"PRAGMA max_page_count = {book._db.execute('PRAGMA page_count').fetchone()[0] + 2}")
    with pytest.raises(
        lt.BookError,
        match="the disk is full; expected room for the entry; nothing of this entry was kept: free some space",
    ):
        for _ in range(100):
            book.add_shot(session, "7", reading=READING, note="x" * 500)
            before = book.shots(session)
    pd.testing.assert_frame_equal(book.shots(session), before)
    book._db.execute("PRAGMA max_page_count = 100000")

    def no_space(handle):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", no_space)
    with pytest.raises(
        lt.BookError,
        match="the photo could not be kept.*No space left.*free some space or choose another folder, then do it again",
    ):
        book.add_shot(session, "7", photo=b"new")
    monkeypatch.undo()
    pd.testing.assert_frame_equal(book.shots(session), before)
    assert not list(book.photo_folder.glob(".*"))
    assert book.check() == []


def test_a_busy_book(tmp_path):
    path = tmp_path / "shop.linetilt"
    with lt.SessionBook(path, wait_s=0.05) as book, closing(sqlite3.connect(path, isolation_level=None)) as other:
        other.execute("BEGIN EXCLUSIVE")
        with pytest.raises(lt.BookError, match="another program keeps the book busy"):
            book.add_golfer("Robin")
        with pytest.raises(lt.BookError, match="busy"):
            book.golfers()
        other.execute("ROLLBACK")
        assert book.add_golfer("Robin") == 1


def test_a_closed_book(book):
    book.close()
    for call in (book.golfers, book.undo, lambda: book.add_golfer("x")):
        with pytest.raises(lt.BookError, match="the book is closed; expected an open one; open it again"):
            call()


def damage(path, table):
    """Overwrite the middle one of a table's leaf pages, and return the ids of all rows of the table."""
    with closing(sqlite3.connect(path)) as db:
        ids = [row[0] for row in db.execute(f"SELECT id FROM {table} ORDER BY id")]
        size = db.execute("PRAGMA page_size").fetchone()[0]
    content = bytearray(path.read_bytes())
    pages = [
        place
        for place in range(size, len(content), size)
        if content[place] == 13 and content.find(b"sentinel", place, place + size) > 0
    ]
    place = pages[len(pages) // 2]
    content[place : place + size] = b"\x99" * size
    path.write_bytes(bytes(content))
    return ids


def test_damage_is_said_and_rescued(tmp_path):
    path = tmp_path / "shop.linetilt"
    with lt.SessionBook(path) as book:
        _, session, _ = filled(book, shots=40)
        for shot in book.shots(session)["shot_id"]:
            book.change("shot", shot, note="sentinel" * 20)
        whole = book.shots(session)
    # The word stands in the shots' own pages only: the list of changes keeps what was there before.
    damage(path, "shot")
    content = path.read_bytes()
    with lt.SessionBook(path) as book:
        with pytest.raises(lt.BookError, match="damaged; expected a whole one; leave it as it is.*rescue"):
            book.shots(session)
        assert book.check()
    report = lt.rescue_book(path, tmp_path / "new.linetilt").set_index("kind")
    assert path.read_bytes() == content
    with lt.SessionBook(tmp_path / "new.linetilt") as book:
        saved = book.shots(session)
        older = saved["note"] == ""  # on the damaged page: as before their last correction, from the list of changes
        assert len(saved) == 40 == report["copied"]["shot"] and 0 < older.sum() == report["older"]["shot"] < 15
        pd.testing.assert_frame_equal(saved[~older], whole[~older])
        pd.testing.assert_frame_equal(saved.drop(columns="note"), whole.drop(columns="note"))
        named = ", ".join(map(str, saved["shot_id"][older]))
        assert book.history()["what"].iloc[-1] == f"rescued as before the last correction: shot {named}"
        assert book.photo(int(saved["shot_id"].iloc[-1])).is_file()
        assert book.check() == []
        assert book.add_shot(session, "7") > 40
    assert report["lost"].eq(0).all()
    with pytest.raises(lt.BookError, match="exists already"):
        lt.rescue_book(path, tmp_path / "new.linetilt")
    path.write_bytes(b"SQLite format 3\0" + b"\x99" * 8000)
    with pytest.raises(lt.BookError, match="take your last copy"):
        lt.rescue_book(path, tmp_path / "second.linetilt")
    assert not (tmp_path / "second.linetilt").exists()


def test_lookups_use_indexes(book):
    """What is asked at each shot must not read the whole book."""
    filled(book)
    for sql in (
        "SELECT * FROM shot JOIN club ON club.id = club_id WHERE session_id = 1 ORDER BY session_id, number",
        "SELECT coalesce(max(number), 0) + 1 FROM shot WHERE session_id = 1",
        "SELECT label, id FROM club WHERE bag_id = 1",
        "SELECT 1 FROM change WHERE kind = 'shot' AND row_id = 1",
        "SELECT before FROM change WHERE edit_id = 1 ORDER BY id DESC",
        "SELECT 1 FROM shot WHERE club_id = 1",
    ):
        plan = [row[3] for row in book._db.execute("EXPLAIN QUERY PLAN " + sql)]
        assert all(line.startswith("SEARCH") for line in plan), (sql, plan)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda book: book.add_golfer("  "), "name is '  '; expected a name"),
        (lambda book: book.add_golfer("x", handed="both"), 'expected "right" or "left"'),
        (lambda book: book.add_bag(9, CLUBS), "there is no golfer 9"),
        (lambda book: book.add_session("one"), "there is no bag 'one'"),
        (lambda book: book.add_session(1, day="31.5.2026"), "expected a date such as 2026-05-31"),
        (lambda book: book.add_session(1, retest_of=5), "there is no session 5"),
        (lambda book: book.add_shot(1, "8"), "no club '8' in the bag; expected one of 5, 7, 56"),
        (lambda book: book.add_shot(1, "7", counted=True), "a shot without a lie reading"),
        (lambda book: book.add_shot(1, "7", mark={"tilt_deg": "steep"}), "tilt_deg is 'steep'"),
        (lambda book: book.add_shot(1, "7", photo="nowhere.jpg"), "the photo cannot be read"),
        (lambda book: book.add_shot(1, "7", reading={"lie_error_deg": 1.0, "budget": [1]}), "expected a DataFrame"),
        (lambda book: book.add_club(1, CLUBS["7"]), "has a club '7' already"),
        (lambda book: book.add_bend(1, "7", 20), "bend_deg is 20; expected a number from -10 to 10 degrees"),
        (lambda book: book.change("club", 1, loft_deg=99), "loft_deg is 99"),
        (lambda book: book.change("club", 1, label="7"), "clashes with another entry"),
        (lambda book: book.change("shot", 1, session_id=2), "session_id of a shot cannot be corrected"),
        (lambda book: book.change("shot", 1), "expected at least one of tilt_deg"),
        (lambda book: book.change("shot", 1, lie_error_deg=None), "a shot without a lie reading"),
        (lambda book: book.change("shot", 1, u_tilt_deg=-0.1), "u_tilt_deg is -0.1; expected a number from 0"),
        (lambda book: book.change("edit", 1, what="x"), "kind is 'edit'"),
        (lambda book: book.set_aside(1, " "), "say why"),
        (lambda book: book.history("shot", 99), "there never was a shot 99"),
        (lambda book: book.shots(7), "there is no session 7"),
    ],
)
def test_refusals_change_nothing(book, call, words):
    filled(book, shots=1)
    edits = book.history()
    with pytest.raises((lt.InputError, lt.BookError)) as refusal:
        call(book)
    assert words in str(refusal.value)
    pd.testing.assert_frame_equal(book.history(), edits)


def test_a_session_knows_its_clubs_as_they_were(book):
    bag, first, _ = filled(book)
    book.add_bend(bag, "5", -1.0, day="2026-05-31", gauge_lie_deg=60.5)  # the same day, entered after the session
    retest = book.add_session(bag, day="2026-05-31", retest_of=first)
    book.add_bend(bag, "5", 0.5, day="2026-06-10")
    book.add_bend(bag, "7", 1.0, day="2026-06-10", gauge_lie_deg=64.0)
    before, between, now = book.bag(bag, session=first), book.bag(bag, session=retest), book.bag(bag)
    assert [one["5"].gauge_lie_deg for one in (before, between, now)] == [61.5, 60.5, 61.0]
    assert [one["7"].gauge_lie_deg for one in (before, between, now)] == [None, None, 64.0]
    assert [one["7"].bent_deg for one in (before, between, now)] == [0.5, 0.5, 1.5]
    assert before["56"] == now["56"]
