"""The photo panel without a browser: what a fitter's clicks do to the book, and what the panel then says."""

import time
from datetime import datetime

import linetilt as lt
import numpy as np
import pytest
from linetilt.app.panels.photos import PhotosPanel
from linetilt.base.errors import NoFace, NoLine
from linetilt.session.intake import PhotoIntake, open_session
from photo_stub import FIELD, LINE, Measure, write_photo

CLUBS = lt.Bag([lt.Club(label=label, loft_deg=loft) for label, loft in (("7", 34), ("PW", 46))])
NOW = datetime(2026, 5, 31)
NAMES = ("7-1.jpg", "7-2.jpg", "7-3.jpg", "IMG_9.jpg", "PW-1.jpg")


@pytest.fixture
def measure():
    return Measure()


@pytest.fixture
def folder(tmp_path):
    for number, name in enumerate(NAMES, start=1):
        write_photo(tmp_path / "photos" / name, 10 * number)
    return tmp_path / "photos"


@pytest.fixture
def make(tmp_path, folder, measure):
    made = []

    def panel(**options):
        book = lt.SessionBook(tmp_path / "shop.linetilt")
        made.append(
            (
                PhotosPanel(
                    PhotoIntake(book, open_session(book, CLUBS), folder, measure=measure), **{"watch_s": 30} | options
                ),
                book,
            )
        )
        return made[-1][0]

    yield panel
    for panel, book in made:
        panel.close()
        panel._work.join(5)
        book.close()


def labels(panel):
    return {name: label for label, name in panel._list.options}


def fact(panel, name):
    """What stands in the book of the first shot."""
    return panel._intake.book.shots(panel._intake.session)[name].iloc[0]


def wait(until, seconds=10):
    end = time.monotonic() + seconds
    while not until():
        assert time.monotonic() < end, "it did not happen"
        time.sleep(0.02)


def test_choose_count_set_aside_undo_and_open_again(make):
    panel = make()
    assert repr(panel) == "PhotosPanel(5 photos)" and not len(panel.value)  # nothing is entered before the fitter asks
    panel._list.value = "7-2.jpg"
    assert "to look at" in labels(panel)["7-2.jpg"]
    assert (
        "Toe" in panel._words.value
        and "Strike 4 mm to the toe" in panel._words.value
        and "19 times in 20" in panel._more.value
    )
    assert panel._picture.picture[:2] == b"\xff\xd8" and "7-2.jpg" in panel._picture.alt and not panel._picture.active
    panel._count.click()
    assert (
        labels(panel)["7-2.jpg"].startswith("✓") and panel._list.value == "7-3.jpg"
    )  # on to the next, which is measured at once
    assert panel.value["counted"].tolist() == [True, False]
    panel._why.value = "double_print"
    panel._aside.click()
    assert "double print" in labels(panel)["7-3.jpg"] and panel._list.value == "IMG_9.jpg"
    panel._undo.click()
    assert (
        panel._list.value == "7-3.jpg"
        and "to look at" in labels(panel)["7-3.jpg"]
        and "Taken back" in panel._message.value
    )
    panel._undo.click()
    assert panel._list.value == "7-2.jpg" and "to look at" in labels(panel)["7-2.jpg"]
    panel._undo.click()
    assert "no decision of this screen to take back" in panel._message.value
    assert len(panel.value) == 2  # what was measured stays
    panel._list.value = "7-3.jpg"
    panel._why.value = "other"
    panel._other.value = "ball fell off the tee"
    panel._aside.click()
    again = make()
    assert labels(again) == labels(panel) and "ball fell off the tee" in labels(again)["7-3.jpg"]
    row = panel.value.set_index("note").loc["7-3.jpg"]
    assert (row["state"], row["reason"], row["why"]) == ("set_aside", "other", "ball fell off the tee")


def test_the_club_is_chosen_and_the_start_set(make):
    panel = make()
    panel._list.value = "IMG_9.jpg"
    assert (
        "which club?" in labels(panel)["IMG_9.jpg"]
        and "Choose its club" in panel._words.value
        and panel._count.disabled
    )
    panel._club.value = "PW"
    assert "club PW, to look at" in labels(panel)["IMG_9.jpg"] and "Nobody saw" in panel._more.value
    wide = panel.value.iloc[0]["u_lie_error_deg"]
    panel._start.value = "net"
    assert panel._off.description == "Off, mm" and panel._net.layout.display is None
    panel._off.value, panel._side.value, panel._net.value = 52.4, "right", 3.0
    panel._set_start.click()
    row = panel.value.iloc[0]
    assert row["start_deg"] == pytest.approx(-np.degrees(np.arctan(52.4 / 3000))) and row["u_lie_error_deg"] < wide
    assert (row["net_left_mm"], row["net_distance_mm"]) == (-52.4, 3000.0) and np.isnan(fact(panel, "start_deg"))
    shown = (panel._start.value, panel._off.value, panel._side.value, panel._net.value)
    assert "started 1.0° right" in panel._more.value and shown == ("net", 52.4, "right", 3.0)  # as it was typed
    panel._start.value = "degrees"
    panel._off.value, panel._side.value = 1.5, "left"
    panel._set_start.click()
    assert panel.value.iloc[0]["start_deg"] == 1.5 and np.isnan(panel.value["net_left_mm"].iloc[0])
    panel._start.value = ""
    panel._set_start.click()
    assert np.isnan(panel.value.iloc[0]["start_deg"])


def test_the_net_in_inches_and_feet(make, tmp_path):
    with lt.SessionBook(tmp_path / "shop.linetilt") as book:
        book.change("session", open_session(book, CLUBS), length_unit="in", net_distance_mm=3048)
    panel = make()
    panel._list.value = "7-1.jpg"
    panel._start.value = "net"
    assert panel._net.value == pytest.approx(10.0)
    panel._off.value = 6.0
    panel._set_start.click()
    # 6 in at 10 ft; 25.4 mm to the inch, exactly (international yard and pound agreement, 1959)
    assert panel.value.iloc[0]["start_deg"] == pytest.approx(np.degrees(np.arctan(0.5 / 10)))
    assert panel.value["net_left_mm"].iloc[0] == pytest.approx(152.4) and " in to the toe" in panel._words.value
    assert np.isnan(panel.value["net_distance_mm"].iloc[0])  # the session's: a ball that follows it


def test_marks_are_moved_by_hand_and_numbers_follow(make):
    panel = make()
    panel._list.value = "7-2.jpg"
    before = panel.value.iloc[0]
    panel._count.click()
    panel._list.value = "7-2.jpg"
    panel._hand.value = True
    assert panel._picture.active and panel._picture.corners == FIELD.tolist() and panel._picture.size == [632, 474]
    panel._picture.line = [LINE[0].tolist(), [95.0, 70.0]]  # what the browser sends when the upper end is let go
    after = panel.value.iloc[0]
    assert after["tilt_deg"] < before["tilt_deg"] - 5 and after["counted"]
    assert lt.words.shots.tilt_words(after["tilt_deg"], after["u_tilt_deg"]) in panel._more.value
    panel._picture.corners = (FIELD + 2).tolist()
    assert set(panel._intake.by_hand("7-2.jpg")) == {"corners", "line"}
    panel._found.click()
    assert (
        panel.value["tilt_deg"].iloc[0] == before["tilt_deg"]
        and panel._picture.line == LINE.tolist()
        and not panel._intake.by_hand("7-2.jpg")
    )
    panel._list.value = "7-1.jpg"
    assert not panel._hand.value and not panel._picture.active


def test_a_refused_photo_says_why_and_offers_the_handles(make, measure):
    measure.refuse = {10: NoLine, 20: NoFace}
    panel = make()
    panel._list.value = "7-2.jpg"
    assert (
        labels(panel)["7-2.jpg"].startswith("?")
        and "fill the picture with the face" in panel._words.value
        and "Move the marks by hand" in panel._words.value
    )
    panel._hand.value = True
    panel._picture.line = LINE.tolist()  # not enough: the face is what it cannot find
    assert "refuse" in panel._message.value and panel._picture.line == LINE.tolist()
    panel._picture.corners = FIELD.tolist()
    assert "to look at" in labels(panel)["7-2.jpg"] and not panel._count.disabled
    panel._list.value = "7-1.jpg"
    panel._why.value = "wrong_ball"
    panel._aside.click()
    assert "wrong ball" in labels(panel)["7-1.jpg"]


def test_uploads_are_said_kept_and_measured(make, tmp_path):
    panel = make()
    content = write_photo(tmp_path / "x.jpg", 99).read_bytes()
    panel._list.value = "7-1.jpg"
    panel._club.value = "PW"  # the club in hand
    panel._upload.value = (
        {
            "name": "IMG_77.jpg",
            "type": "image/jpeg",
            "size": len(content),
            "content": memoryview(content),
            "last_modified": NOW,
        },
    )
    assert "Arrived: IMG_77.jpg" in panel._arrived.value and panel._upload.value == ()
    assert panel._list.value == "uploaded/IMG_77.jpg" and "club PW, to look at" in labels(panel)["uploaded/IMG_77.jpg"]
    panel._upload.value = tuple(
        {"name": name, "type": "", "size": 3, "content": memoryview(name.encode()), "last_modified": NOW}
        for name in ("a.txt", "7-8.jpg", "7-9.jpg")
    )
    assert "Not kept: a.txt is no photo" in panel._arrived.value
    wait(lambda: "refused" in labels(panel)["uploaded/7-8.jpg"])  # a few letters are no picture


def test_a_folder_is_measured_with_a_bar_and_can_be_stopped(make, measure):
    measure.refuse = {20: NoFace}
    panel = make()
    assert panel._all.description == "Measure all new photos (5)"
    panel._all.click()
    assert "1 photo left out" in panel._message.value
    wait(
        lambda: (
            "4 of 4 measured, 1 refused" in panel._progress.value
            and panel._all.description == "Measure all new photos (1)"
        )
    )
    assert panel._cancel.disabled and len(panel.value) == 4 and not panel.value["counted"].any()


def test_stopping_leaves_the_rest_new(make, measure):
    gate = []
    answer = measure.__class__.__call__
    measure.__class__ = type(
        "Slow", (Measure,), {"__call__": lambda self, *a, **k: (wait(lambda: gate), answer(self, *a, **k))[1]}
    )
    panel = make()
    panel._all.click()
    wait(lambda: not panel._cancel.disabled)
    panel._cancel.click()
    gate.append("open")
    wait(lambda: "1 of 1 measured" in panel._progress.value and panel._cancel.disabled)
    assert len(panel.value) == 1


def test_photos_that_arrive_are_measured_and_shown_once(make, folder):
    first = make(watch_s=0.05)
    panel = make(watch_s=0.05)  # the cell run again: the panel before it stops watching
    first._work.join(5)
    assert not first._work.is_alive()
    write_photo(folder / "7-4.jpg", 88)
    wait(lambda: panel._list.value == "7-4.jpg" and "to look at" in labels(panel)["7-4.jpg"])
    assert "7-4.jpg" in panel._arrived.value and len(panel.value) == 1
    panel._watch.value = False
    write_photo(folder / "7-5.jpg", 89)
    time.sleep(0.3)
    assert "7-5.jpg" not in labels(panel)
    panel._look.click()
    assert "1 new photo in the folder: 7-5.jpg" in panel._arrived.value and "new" in labels(panel)["7-5.jpg"]


def test_an_error_in_a_callback_is_shown(make, monkeypatch):
    panel = make()
    monkeypatch.setattr(panel._intake, "undo", lambda: 1 / 0)
    panel._undo.click()
    assert "ZeroDivisionError" in panel._message.value
    monkeypatch.undo()
    panel._undo.click()
    assert "no decision of this screen" in panel._message.value  # the session and the bag, entered elsewhere, stay
    assert len(panel._intake.book.sessions()) == 1


def test_the_folder_is_typed_into_the_panel_and_there_again(make, folder, tmp_path):
    panel = make()
    assert panel._folder.value == str(folder)
    write_photo(tmp_path / "phone" / "7-8.jpg", 90)
    panel._folder.value = str(tmp_path / "phne")
    panel._use.click()
    assert "There is no folder" in panel._message.value and len(labels(panel)) == 5
    panel._folder.value = str(tmp_path / "phone")
    panel._use.click()
    assert list(labels(panel)) == ["7-8.jpg"] and "1 photo in this folder" in panel._arrived.value
    book = panel._intake.book
    assert PhotoIntake(book, panel._intake.session).files.folder == tmp_path / "phone"
