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
from datetime import date
from pathlib import Path
from types import SimpleNamespace

import linetilt as lt
import numpy as np
import pandas as pd
import pytest
from kills import kill_writers
from linetilt.base.states import REASONS, STATES
from linetilt.book import store as book_module
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
    flags=("faint", "short"),
    budget=pd.DataFrame({"component": ["ink"], "u": [0.4]}),
)
JUDGED = {"lie_error_deg": 0.8, "u_lie_error_deg": 0.9, "heading_known": True}  # a lie by tape or eye


@pytest.fixture
def book(tmp_path):
    with lt.SessionBook(tmp_path / "shop.linetilt") as book:
        yield book


def filled(book, shots=3):
    bag = book.add_bag(book.add_golfer("Robin"), CLUBS)
    session = book.add_session(bag, day="2026-05-31", place="bay 3")
    ids = [book.add_shot(session, "7", photo=b"\xff\xd8 picture %d" % n, mark=MARK) for n in range(shots)]
    return bag, session, ids


def python(script, *arguments, **options):
    """A second process with the kit; stdout is read line by line."""
    return subprocess.Popen(
        [sys.executable, "-c", script, *map(str, arguments)], stdout=subprocess.PIPE, text=True, **options
    )


def test_what_goes_in_comes_out(book):
    bag, session, (first, *_) = filled(book)
    start = lt.lie.start_from_net(50, 2000)
    last = book.add_shot(
        session, "56", start=start, state="set_aside", reason="other", why="line not printed", note="wet face"
    )
    table = book.shots(session)
    assert list(table["club"]) == ["7", "7", "7", "56"]
    assert list(table["number"]) == [1, 2, 3, 4]
    row = table.iloc[0]
    for name in MARK_COLUMNS:
        assert row[name] == getattr(MARK, name)
    assert row["remarks"] == "faint short"
    assert table["counted"].tolist() == [True, True, True, False]
    refused = table.iloc[3]
    assert (refused["why"], refused["note"], refused["start_deg"]) == ("line not printed", "wet face", start.start_deg)
    assert table["lie_error_deg"].isna().all()  # a reading is no fact: it follows from the tilt
    budgets = book.budgets(session)
    assert (
        budgets["shot_id"].tolist() == [1, 2, 3]
        and budgets["u"].tolist() == [0.4] * 3
        and last not in budgets["shot_id"]
    )
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


def test_a_shot_counts_where_somebody_lets_it_and_it_has_a_print_or_a_judged_lie(book):
    bag, session, (shot, *_) = filled(book, shots=1)
    book.add_shot(session, "7", lie=JUDGED)
    book.add_shot(session, "7", note="a strike alone", mark={"strike_toe_mm": 3.0})
    book.add_shot(session, "7", mark=MARK, state="to_look_at")
    assert book.shots(session)["counted"].tolist() == [True, True, False, False]
    assert book.shots(session)["lie_error_deg"].tolist()[1] == 0.8
    for state in STATES:
        book.decide(shot, state, "heavy_strike" if state == "set_aside" else "no_line" if state == "refused" else "")
        assert book.shots(session)["state"].iloc[0] == state
    book.set_aside(shot, "double print"), book.set_aside(shot, "mat_moved"), book.set_aside(shot, "a dog ran by")
    said = book.history("shot", shot)
    assert (
        said["reason"].tolist()[-3:] == ["double_print", "mat_moved", "other"]
        and said["why"].tolist()[-1] == "a dog ran by"
    )
    assert all(REASONS[code].words for code in said["reason"].tolist()[-3:])


def test_the_same_ball_is_entered_once(book):
    bag, session, (shot,) = filled(book, shots=1)
    edits = len(book.history())
    assert book.add_shot(session, "5", photo=b"\xff\xd8 picture 0") == shot  # its photo is in the session already
    assert len(book.history()) == edits and len(book.shots(session)) == 1
    rows = [{"club": "7", "mark": {"tilt_deg": tilt}, "key": f"ball {n}"} for n, tilt in enumerate((1.0, 2.0, 1.0))]
    ids = book.add_shots(session, rows)
    assert book.history()["what"].iloc[-1] == "3 shots added, club 7" and len(book.history()) == edits + 1
    assert (
        book.add_shots(session, rows) == ids
        and book.add_shots(session, rows[1:] + [rows[0] | {"key": "ball 3"}])[:2] == ids[1:]
    )
    assert book.shots(session)["number"].tolist() == [1, 2, 3, 4, 5]
    again = book.add_session(bag)
    assert book.add_shot(again, "7", photo=b"\xff\xd8 picture 0") > max(ids)  # in another session it is another ball
    with pytest.raises(lt.InputError, match="no club '8'"):  # all or none
        book.add_shots(again, [{"club": "7"}, {"club": "8"}])
    assert len(book.shots(again)) == 1


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
    book.add_gauge_reading(bag, "5", 60.5, day="2025-01-01")  # what was entered last counts, whatever a clock said
    assert book.bag(bag)["5"].gauge_lie_deg == 60.5
    assert book.bends(bag)[["club", "bend_deg"]].values.tolist() == [["7", 1.0], ["5", -1.0], ["5", -0.5]]
    assert len(book.gauge_readings(bag)) == 4


def test_plans_and_retests(book):
    bag, session, _ = filled(book)
    plan = pd.DataFrame({"club": ["5", "7"], "bend_deg": [0.5, np.nan], "reason": ["toe down", "hit more balls"]})
    number = book.add_plan(session, plan, basis={"balls": [1, 2]}, kit="9.9")
    again = book.add_session(bag, retest_of=session)
    kept = book.plans(session)
    assert kept["plan_id"].tolist() == [number, number]
    pd.testing.assert_frame_equal(kept[["club", "bend_deg", "reason"]], plan, check_dtype=False)
    assert book.sessions().set_index("session_id")["retest_of"][again] == session
    assert book.plans(again).empty and book.last_plan(again) is None
    last = book.last_plan(session)
    assert (last["plan_id"], last["basis"], last["kit"]) == (number, {"balls": [1, 2]}, "9.9") and len(
        last["lines"]
    ) == 2


def test_corrections_keep_what_they_replace(book):
    bag, session, (shot, *_) = filled(book)
    book.set_aside(shot, "heavy strike")
    book.decide(shot, "counted")
    book.change("shot", shot, note="it was the next ball")
    history = book.history("shot", shot)
    assert history["state"].tolist() == ["counted", "set_aside", "counted", "counted"]
    assert history["reason"].tolist() == ["", "heavy_strike", "", ""]
    assert history["what"].tolist() == [
        "shot added, club 7",
        f"shot {shot} decided",
        f"shot {shot} decided",
        f"shot {shot} corrected",
    ]
    assert book.history()["action"].tolist()[-3:] == ["decided", "decided", "corrected"]
    assert history["tilt_deg"].tolist() == [1.5] * 4
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
    book.measure_again(shot, mark={"tilt_deg": 2.5, "u_tilt_deg": 0.2})
    row = book.shots(session).iloc[0]
    assert row["tilt_deg"] == 2.5 and np.isnan(row["strike_up_mm"]) and row["counted"]
    assert book.history("shot", shot)["tilt_deg"].tolist() == [1.5, 2.5]
    refused = book.add_shot(session, "5", photo=b"?", state="refused", reason="no_line", why="nothing is there")
    book.measure_again(refused, mark={"tilt_deg": 1.0}, decide=("to_look_at", "", ""))  # marks placed by hand
    assert book.shots(session).iloc[-1][["state", "reason", "why"]].tolist() == ["to_look_at", "", ""]
    book.measure_again(refused, net=(10.0, 2000.0))
    assert book.shots(session).iloc[-1][["net_left_mm", "net_distance_mm"]].tolist() == [10.0, 2000.0]
    book.measure_again(refused, start=lt.lie.start_from_net(10, 2000))  # said in degrees: the spot is gone
    last = book.shots(session).iloc[-1]
    assert last["start_deg"] > 0 and np.isnan(last["net_left_mm"]) and last["tilt_deg"] == 1.0
    book.measure_again(refused, start=(None, None))
    assert np.isnan(book.shots(session).iloc[-1]["start_deg"])
    judged = book.add_shot(session, "5", lie=JUDGED)
    book.measure_again(judged, mark={"tilt_deg": 1.0})  # a print does away with a judged lie
    assert np.isnan(book.shots(session).iloc[-1]["lie_error_deg"])


def test_a_shot_goes_over_to_another_club_and_keeps_where_its_marks_are(book):
    _, session, (shot, *_) = filled(book)
    assert book.marks(shot) is None
    mark = vars(MARK) | {
        "corners": np.array([[9.004, 8], [1, 8], [1, 2], [9, 2]]),
        "line": np.array([[5, 7], [5, 3]]),
        "by_hand": ("line",),
    }
    book.measure_again(shot, mark=mark, club="5")
    row = book.shots(session).iloc[0]
    assert (row["club"], row["counted"]) == ("5", True)
    assert book.marks(shot) == {
        "corners": [[9, 8], [1, 8], [1, 2], [9, 2]],
        "line": [[5, 7], [5, 3]],
        "by_hand": ["line"],
    }
    book.measure_again(shot, decide=("to_look_at", "", ""))
    assert book.shots(session).iloc[0][["counted", "state"]].tolist() == [False, "to_look_at"]
    with pytest.raises(lt.InputError, match="no club '1'"):
        book.measure_again(shot, club="1")
    book.undo(), book.undo()
    assert book.marks(shot) is None and book.shots(session).iloc[0]["club"] == "7"


def test_an_earlier_edit_can_be_taken_back_if_nothing_touched_its_entry_since(book):
    _, session, (first, second, _) = filled(book)
    book.set_aside(first, "heavy strike")
    aside = int(book.history()["edit_id"].iloc[-1])
    book.set_aside(second, "double print")
    assert book.undo(aside) == f"shot {first} decided"
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
    table = pd.DataFrame({"tilt_deg": [1.0, np.nan], "u_tilt_deg": [0.4, np.nan], "flags": ["faint; short", np.nan]})
    for _, row in table.iterrows():
        book.add_shot(session, "7", mark=row)
    shots = book.shots(session)
    assert shots["counted"].tolist() == [True, False] and shots["remarks"].tolist() == ["faint short", ""]


def test_every_opening_asks_for_durable_writes(book):
    """SQLite documentation, PRAGMA synchronous: FULL (2) waits for the journal before and after the book itself; EXTRA
    (3) for its folder as well."""
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
    bag = book.add_bag(book.add_golfer("Robin"), CLUBS)
    session = book.add_session(bag)
    first, second, third = (book.add_shot(session, "7", mark=MARK) for _ in range(3))
    book.set_aside(first, "heavy strike")
    state = book.shots(session)
    book.change("shot", first, tilt_deg=2.0)
    assert book.undo() == f"shot {first} corrected"
    pd.testing.assert_frame_equal(book.shots(session), state)
    assert book.undo() == f"shot {first} decided"
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
    assert len(edits) == 18 and edits["undoes"].notna().sum() == 9 == edits["taken_back"].sum()
    kept = book._db.execute("SELECT before FROM change WHERE kind = 'golfer' AND before IS NOT NULL").fetchone()[0]
    assert json.loads(kept)["name"] == "Robin"


def test_a_photo_is_never_lost_by_an_undo(book):
    _, session, (shot,) = filled(book, shots=1)
    assert book.undo() == "shot added, club 7"
    row = book.shots(session).iloc[0]
    assert (row["state"], row["reason"], row["tilt_deg"]) == ("set_aside", "taken_back", 1.5)
    assert book.photo(shot).is_file() and book.check() == []
    edits = len(book.history())
    with pytest.raises(lt.InputError, match="other entries stand on it"):  # the session holds the photo
        book.undo()
    assert len(book.history()) == edits
    assert book.add_shot(session, "7", photo=b"\xff\xd8 picture 0") == shot
    book.decide(shot, "counted")
    assert book.shots(session)["counted"].all()


def test_what_a_screen_did_is_told_from_what_others_did(book):
    bag, first, (shot, *_) = filled(book)
    with book.acting("photos", first):
        book.set_aside(shot, "heavy strike")
    book.change("golfer", 1, note="by another hand")
    edit = book.last_edit("photos", first)
    assert book.history().set_index("edit_id").loc[edit, ["action", "screen", "session_id"]].tolist() == [
        "decided",
        "photos",
        first,
    ]
    assert book.touched(edit, "shot") == {shot} and book.last_edit("bench", first) is None
    book.undo(edit)
    assert book.shots(first)["counted"].all() and book.last_edit("photos", first) is None
    assert book.golfers()["note"].tolist() == ["by another hand"]


def test_a_screen_whose_golfer_was_changed_elsewhere_writes_nothing(book, tmp_path):
    bag, first, (shot, *_) = filled(book)
    with lt.SessionBook(book.path) as elsewhere:
        other = elsewhere.add_session(elsewhere.add_bag(elsewhere.add_golfer("Ansel"), CLUBS))
    edits = book.history()
    for write in (
        lambda: book.set_aside(shot, "heavy strike"),
        lambda: book.add_shot(first, "7", mark=MARK),
        lambda: book.keep_setting(first, "rules", {}),
    ):
        with book.acting("photos", first), pytest.raises(lt.InputError, match="works for Robin, and Ansel was chosen"):
            write()
    pd.testing.assert_frame_equal(book.history(), edits)
    book.set_aside(shot, "heavy strike")  # a program that names its session needs no screen
    book.open_session(first)
    with book.acting("photos", first):
        book.decide(shot, "counted")
    assert other != first and book.shots(first)["counted"].all()


def test_two_bays_on_one_book_do_not_disturb_each_other(tmp_path, monkeypatch):
    path = tmp_path / "shop.linetilt"
    with lt.SessionBook(path) as book:
        bag, first, _ = filled(book)
    monkeypatch.setenv("LINETILT_BAY", "left")
    with lt.SessionBook(path) as left:
        monkeypatch.setenv("LINETILT_BAY", "right")
        with lt.SessionBook(path) as right:
            assert left.current_session()["session_id"] == right.current_session()["session_id"] == first
            mine, yours = left.add_session(bag), right.add_session(bag)
            assert left.current_session()["session_id"] == mine and right.current_session()["session_id"] == yours
            with left.acting("photos", mine):
                left.add_shot(mine, "7", mark=MARK)


def test_order_comes_from_entries_never_from_a_clock(tmp_path, monkeypatch):
    """A clock put back by a year: the session opened last, the gauge reading and the bend entered last still are the
    last."""
    path = tmp_path / "shop.linetilt"
    with lt.SessionBook(path) as book:
        bag, first, _ = filled(book)
        monkeypatch.setattr(book_module, "moment", lambda: "2001-01-01T00:00:00.000+00:00")
        monkeypatch.setattr(
            "linetilt.book.schema.date",
            SimpleNamespace(today=lambda: date(2001, 1, 1), fromisoformat=date.fromisoformat),
        )
        second = book.add_session(bag)
        assert book.current_session()["session_id"] == second
        book.add_gauge_reading(bag, "5", 60.0)
        book.add_bend(bag, "7", 1.0)
        assert book.bag(bag)["5"].gauge_lie_deg == 60.0
        assert book.bag(bag, session=second)["7"].bent_deg == 0.5 and book.bag(bag)["7"].bent_deg == 1.5
        third = book.add_session(bag)
        assert book.bag(bag, session=third)["7"].bent_deg == 1.5
    with lt.SessionBook(path) as book:
        assert book.current_session()["session_id"] == third


def test_what_follows_from_the_facts_is_kept_until_somebody_writes(book):
    _, session, (shot, *_) = filled(book)
    made = []
    for _ in range(2):
        assert book.derive("x", lambda: made.append(1) or len(made)) == 1
    with lt.SessionBook(book.path) as other:
        other.set_aside(shot, "heavy strike")
    assert book.derive("x", lambda: made.append(1) or len(made)) == 2


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
    assert ids == [ids[0]] * 3  # one photo is one ball
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
with lt.SessionBook(path, wait_s=60) as book:
    print("ready", flush=True)
    for n in range(int(sys.argv[4])):
        content = f"photo {tag} {n}".encode() * 2000
        shot = book.add_shot(session, "7", photo=content, mark={"tilt_deg": 1.0}, note=f"{tag} {n}")
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
        threading.Thread(target=lambda: [book.add_shot(session, "7", mark=MARK) for _ in range(20)]) for _ in range(3)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(book.shots(session)["number"]) == list(range(1, 61))


def test_a_book_takes_what_a_newer_kit_adds_and_a_newer_one_is_refused(tmp_path, monkeypatch):
    """Books of the versions that there were: test_old_books.py."""
    path = tmp_path / "old.linetilt"
    with lt.SessionBook(path) as book:
        session = book.add_session(book.add_bag(book.add_golfer("Robin"), CLUBS))
        book.add_shot(session, "7", mark=MARK)
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
lt.SessionBook  # read while this user may still read Python's own files
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
            book.add_shot(session, "7", mark=MARK, note="x" * 500)
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
        (lambda book: book.add_shot(1, "7", counted=True), "counted is nothing that a shot has"),
        (lambda book: book.add_shot(1, "7", state="lost"), "state is 'lost'; expected one of to_look_at"),
        (lambda book: book.add_shot(1, "7", state="set_aside", reason="rain"), "reason is 'rain'"),
        (lambda book: book.add_shot(1, "7", mark=MARK, lie=JUDGED), "both a tilt and a lie"),
        (lambda book: book.decide(1, "counted", "heavy_strike"), "for a shot that is counted; expected none"),
        (lambda book: book.add_shot(1, "7", mark={"tilt_deg": "steep"}), "tilt_deg is 'steep'"),
        (lambda book: book.add_shot(1, "7", photo="nowhere.jpg"), "the photo cannot be read"),
        (lambda book: book.add_shot(1, "7", mark={"tilt_deg": 1.0, "budget": [1]}), "expected a DataFrame"),
        (lambda book: book.add_club(1, CLUBS["7"]), "has a club '7' already"),
        (lambda book: book.add_bend(1, "7", 20), "bend_deg is 20; expected a number from -10 to 10 degrees"),
        (lambda book: book.change("club", 1, loft_deg=99), "loft_deg is 99"),
        (lambda book: book.change("club", 1, label="7"), "clashes with another entry"),
        (lambda book: book.change("shot", 1, session_id=2), "session_id of a shot cannot be corrected"),
        (lambda book: book.change("shot", 1), "expected at least one of tilt_deg"),
        (lambda book: book.change("shot", 1, state="counted"), "state of a shot cannot be corrected"),
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
