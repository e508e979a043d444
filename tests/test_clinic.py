"""An afternoon with many golfers: signing in, readings from a table, who is next; and the invented season."""

import linetilt as lt
import numpy as np
import pandas as pd
import pytest
from linetilt.session import demo
from one_ball import as_one_ball

BAG = lt.Bag([lt.Club(label="7", loft_deg=34, lie_deg=62.5, length_in=37), lt.Club(label="PW", loft_deg=46)])
DAY = "2026-04-11"


@pytest.fixture
def book(tmp_path):
    with lt.SessionBook(tmp_path / "clinic.linetilt") as book:
        yield book


@pytest.fixture(scope="module")
def season(tmp_path_factory):
    with lt.demo_book(tmp_path_factory.mktemp("season") / "a.linetilt", golfers=6) as book:
        yield book


def test_signing_in(book, tmp_path):
    (tmp_path / "own.csv").write_text("label,loft_deg,handed\n6,30,right\n")
    (tmp_path / "list.csv").write_text("name,handed,bag,note\nAnsel,right,,\nCorin, Left ,,late\nEdda,,own.csv,\n")
    here = lt.session.clinic_sign_in(book, tmp_path / "list.csv", day=DAY, bag=BAG, place="hall")
    assert here["golfer"].tolist() == ["Ansel", "Corin", "Edda"] and len(set(here["session_id"])) == 3
    assert [club.handed for club in book.bag(2)] == ["left", "left"] and book.bag(3).labels == ["6"]
    assert book.golfers()["note"].tolist() == ["", "late", ""] and set(book.sessions()["place"]) == {"hall"}
    (tmp_path / "list.csv").write_text("name,handed\nAnsel,right\nFenn,right\n")
    again = lt.session.clinic_sign_in(book, tmp_path / "list.csv", day=DAY, bag=BAG)
    assert again["session_id"].tolist() == [1, 4] and len(book.golfers()) == 4


@pytest.mark.parametrize(
    "people, words",
    [
        ({"name": ["A", ""], "handed": ["right", "left"]}, "row 2"),
        ({"name": ["A"], "handed": ["both"]}, "row 1"),
        ({"who": ["A"]}, "unknown columns 'who'; expected some of name"),
        ({"name": ["A", "A"]}, "same name"),
    ],
)
def test_a_list_with_a_mistake_enters_nobody(book, people, words):
    with pytest.raises(lt.InputError, match=words):
        lt.session.clinic_sign_in(book, pd.DataFrame(people), day=DAY, bag=BAG)
    assert book.golfers().empty
    with pytest.raises(lt.InputError, match="cannot be read"):
        lt.session.clinic_sign_in(book, "nowhere.csv", day=DAY, bag=BAG)


def test_readings_from_a_table_are_what_the_formulas_give(book):
    lt.session.clinic_sign_in(book, pd.DataFrame({"name": ["Ansel"], "handed": ["left"]}), day=DAY, bag=BAG)
    rows = pd.DataFrame(
        {
            "club": ["7", "7", "PW"],
            "tilt_deg": [1.5, np.nan, -2],
            "u_tilt_deg": [0.3, np.nan, np.nan],
            "net_left_mm": [40, np.nan, np.nan],
            "strike_toe_mm": [3.0, -5.0, np.nan],
            "why": ["", "", "heavy"],
        }
    )
    lt.enter_readings(book, 1, rows)
    assert lt.session_shots(book, 1)["start_deg"].isna().all()  # nobody has said how far away the net is
    book.change("session", 1, net_distance_mm=3000)
    shots = lt.session_shots(book, 1)
    start = lt.lie.start_from_net(40, 3000, "left")
    by_hand = as_one_ball(1.5, 0.3, 34, start, lt.lie.SessionUnknowns())
    found = tuple(shots[["lie_error_deg", "u_lie_error_deg", "start_deg"]].iloc[0])
    assert found == pytest.approx((by_hand.lie_error_deg, by_hand.u_lie_error_deg, start.start_deg), rel=1e-9)
    assert start.start_deg < 0  # left is the open side of a left-hander
    assert shots["counted"].tolist() == [True, False, False]  # no tilt no lie; set aside
    assert shots["state"].tolist() == ["counted", "counted", "set_aside"]
    assert shots["reason"].tolist() == ["", "", "other"] and shots["why"].tolist() == ["", "", "heavy"]
    assert shots["heading_known"].tolist() == [True, False, False]
    assert (
        lt.enter_readings(book, 1, rows) == shots["shot_id"].tolist() and len(book.shots(1)) == 3
    )  # again: nothing new
    with pytest.raises(lt.InputError, match="row 2.*'W'"):
        lt.enter_readings(book, 1, pd.DataFrame({"club": ["7", "W"], "tilt_deg": [1.0, 1.0]}))
    with pytest.raises(lt.InputError, match="tlit_deg"):
        lt.enter_readings(book, 1, pd.DataFrame({"club": ["7", "7"], "tlit_deg": [1.5, 1.0]}))
    assert len(book.shots(1)) == 3  # a table with a mistake enters nothing
    with pytest.raises(lt.InputError, match="no session 9"):
        lt.enter_readings(book, 9, rows)


def test_who_is_next(book):
    lt.session.clinic_sign_in(book, pd.DataFrame({"name": ["Ansel", "Bryn", "Corin"]}), day=DAY, bag=BAG)
    turns = lt.session.clinic_turns(book, DAY, balls=4)
    assert turns["golfer"].tolist() == ["Ansel", "Bryn", "Corin"] and set(turns["next_club"]) == {"7"}
    for session, balls in ((1, 4), (2, 2)):
        lt.enter_readings(book, session, pd.DataFrame({"club": ["7"] * balls, "tilt_deg": np.linspace(-1, 1, balls)}))
    turns = lt.session.clinic_turns(book, DAY, balls=4)
    assert turns["golfer"].tolist() == ["Corin", "Bryn", "Ansel"] and turns["done"].tolist() == [False, False, True]
    assert turns["next_club"].tolist() == ["7", lt.session_fit(book, 2).next_club().club, ""]
    assert lt.session.clinic_turns(book, "2020-01-01").empty


def test_the_season_is_the_same_each_time(season, tmp_path):
    with lt.demo_book(tmp_path / "b.linetilt", golfers=2) as again:
        pd.testing.assert_frame_equal(season.shots().head(90).drop(columns="at"), again.shots().drop(columns="at"))
        pd.testing.assert_frame_equal(season.bends().head(len(again.bends())), again.bends())
    assert season.check() == []
    assert set(season.golfers()["name"]) == {name for name, _ in demo.GOLFERS[:6]}


def test_the_season_tells_its_story(season):
    changing, same = 5, 6
    assert lt.session.practice_trend(lt.session.practice_shots(season, changing)).verdict == "less"
    assert lt.session.practice_trend(lt.session.practice_shots(season, same)).verdict == "no change yet"
    sessions = season.sessions()
    tests = sessions.loc[sessions["retest_of"].notna(), "session_id"]
    said = pd.concat([lt.session.retest(season, session) for session in tests])
    assert (said["bend_deg"] != 0).sum() >= 10 and set(said["verdict"]) <= {
        "as predicted",
        "too few balls to tell",
        "less than predicted",
        "more than predicted",
    }
    held = ((said["low_deg"] <= 0) & (said["high_deg"] >= 0)).mean()
    assert held >= 0.85  # 95 % expected of 40 that hang together by golfer
