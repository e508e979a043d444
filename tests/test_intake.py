"""Photos of a session: found, named, measured (by a stand-in), decided, undone, and all of it there when the book is
opened again."""

import os

import linetilt as lt
import numpy as np
import pandas as pd
import pytest
from linetilt.base.errors import NoFace, NoLine, SessionChanged
from linetilt.session.intake import PhotoIntake, open_session
from linetilt.session.photo_names import club_from_name
from one_ball import as_one_ball
from photo_stub import FIELD, LINE, Measure, write_photo

CLUBS = lt.Bag([lt.Club(label=label, loft_deg=loft) for label, loft in (("4", 23), ("7", 34), ("PW", 46), ("56", 56))])

USUAL = lt.lie.SessionUnknowns()


@pytest.fixture
def measure():
    return Measure()


@pytest.fixture
def book(tmp_path):
    with lt.SessionBook(tmp_path / "shop.linetilt") as book:
        yield book


@pytest.fixture
def folder(tmp_path):
    for number, name in enumerate(("7-1.jpg", "7-2.jpg", "7-10.jpg", "PW/IMG_1.jpg", "IMG_9.jpg"), start=1):
        write_photo(tmp_path / "photos" / name, 10 * number)
    return tmp_path / "photos"


@pytest.fixture
def intake(book, folder, measure):
    return PhotoIntake(book, open_session(book, CLUBS), folder, measure=measure)


def states(intake):
    return {entry.name: entry.state for entry in intake.entries()}


@pytest.mark.parametrize(
    ("name", "club"),
    [
        ("7-1.jpg", "7"),
        ("7.jpg", "7"),
        ("pw_3.jpg", "PW"),
        ("7i 2.jpg", "7"),
        ("7 iron.jpg", "7"),
        ("56-2.png", "56"),
        ("4/IMG_0412.jpg", "4"),
        ("7 iron/a.jpg", "7"),
        ("4/7-1.jpg", "7"),
        ("IMG_0412.jpg", None),
        ("7412.jpg", None),
        ("IMG_7.jpg", None),
        ("day 4/IMG_1.jpg", None),
    ],
)
def test_the_club_is_read_from_file_or_folder(name, club):
    assert club_from_name(name, CLUBS.labels) == club


def test_photos_are_listed_as_a_person_counts(intake):
    assert [entry.name for entry in intake.entries()] == ["7-1.jpg", "7-2.jpg", "7-10.jpg", "IMG_9.jpg", "PW/IMG_1.jpg"]
    assert [entry.club for entry in intake.entries()] == ["7", "7", "7", None, "PW"]
    assert set(states(intake).values()) == {"new"}


def test_a_measured_photo_waits_for_a_decision_and_an_undo_takes_back_one_at_a_time(intake, book):
    mark = intake.take("7-1.jpg")
    shot = intake.shot("7-1.jpg")
    facts = (shot["club"], shot["counted"], shot["state"], shot["reason"], shot["why"], shot["tilt_deg"])
    assert facts == ("7", False, "to_look_at", "", "", mark.tilt_deg)
    # the same reading as by the public function, its face heading unknown; the complex step agrees to rounding
    alone = as_one_ball(mark.tilt_deg, mark.u_tilt_deg, 34, None, USUAL)
    assert shot["lie_error_deg"] == pytest.approx(alone.lie_error_deg, rel=1e-9)
    assert shot["u_lie_error_deg"] == pytest.approx(alone.u_lie_error_deg, rel=1e-9) and not shot["heading_known"]
    intake.count("7-1.jpg")
    assert states(intake)["7-1.jpg"] == "counted"
    intake.set_aside("7-1.jpg", "heavy strike")
    entry, shot = intake.entry("7-1.jpg"), intake.shot("7-1.jpg")
    assert (entry.state, entry.words, entry.why) == ("set_aside", "heavy strike", "")
    assert (shot["reason"], shot["why"]) == ("heavy_strike", "")
    intake.take("7-2.jpg")  # measuring the next is no decision
    for state, words in (("counted", "counted"), ("to_look_at", "to look at")):
        assert intake.undo().name == "7-1.jpg"
        assert (intake.entry("7-1.jpg").state, intake.entry("7-1.jpg").words) == (state, words)
    book.add_golfer("Robin")
    book.set_aside(int(intake.entry("7-1.jpg").shot), "mat moved")  # not on this screen
    with pytest.raises(lt.InputError, match="no decision of this screen to take back in this session"):
        intake.undo()
    assert states(intake)["7-1.jpg"] == "set_aside" and len(book.shots()) == 2 and len(book.golfers()) == 2


def test_nothing_is_entered_for_a_session_that_is_no_longer_the_one_of_this_bay(intake, book):
    intake.take("7-1.jpg"), intake.count("7-1.jpg")
    before, other = book.shots(), book.add_session(1)
    for act in (
        lambda: intake.take("7-2.jpg"),
        lambda: intake.count("7-1.jpg"),
        lambda: intake.set_aside("7-1.jpg", "heavy strike"),
        lambda: intake.place("7-1.jpg", line=LINE),
        lambda: intake.set_club("7-1.jpg", "4"),
        lambda: intake.set_spot("7-1.jpg", 50, 3000),
        intake.undo,
    ):
        with pytest.raises(SessionChanged):
            act()
    pd.testing.assert_frame_equal(book.shots(), before)
    assert book.shots(other).empty
    book.open_session(intake.session)
    intake.undo()
    assert states(intake)["7-1.jpg"] == "to_look_at"


def test_everything_is_there_when_the_book_is_opened_again(intake, book, folder):
    corners = FIELD + 1.25
    intake.take("7-1.jpg"), intake.count("7-1.jpg")
    intake.take("7-2.jpg"), intake.place("7-2.jpg", corners=corners)
    intake.set_spot("7-2.jpg", 50, 3000)
    (folder / "7-1.jpg").unlink()
    before = book.shots()
    with lt.SessionBook(book.path) as again:
        measure = Measure()
        reopened = PhotoIntake(again, open_session(again), folder, measure=measure)
        pd.testing.assert_frame_equal(again.shots(), before)
        assert (
            states(reopened)["7-1.jpg"] == "counted" and reopened.entry("7-1.jpg").path.is_file()
        )  # the book's own copy
        assert list(reopened.by_hand("7-2.jpg")) == ["corners"]
        assert np.allclose(reopened.marks("7-2.jpg")[0], corners) and reopened.picture("7-2.jpg")
        assert not measure.calls  # what is in the book is drawn as it stands there, not measured again
        assert reopened.start("7-2.jpg").start_deg == pytest.approx(np.degrees(np.arctan(50 / 3000)))
        assert reopened.spot("7-2.jpg") == (50, 3000)


def test_a_refused_photo_is_kept_and_marks_by_hand_mend_it(intake, measure, book):
    measure.refuse[10] = NoLine
    with pytest.raises(lt.PhotoError):
        intake.take("7-1.jpg")
    entry = intake.entry("7-1.jpg")
    assert entry.state == "refused" and "wipe the face" in entry.why and book.photo(entry.shot).is_file()
    corners, line = intake.marks("7-1.jpg")
    assert corners == FIELD.tolist()  # the face was found although the line was not
    intake.place("7-1.jpg", line=line)
    assert intake.entry("7-1.jpg").state == "to_look_at" and np.allclose(intake.by_hand("7-1.jpg")["line"], line)
    measure.refuse[20] = NoFace
    with pytest.raises(lt.PhotoError):
        intake.take("7-2.jpg")
    (low_heel, low_toe, high_toe, high_heel), _ = intake.marks("7-2.jpg")
    assert (
        low_heel[0] > low_toe[0] and low_toe[1] > high_toe[1] and high_heel[0] == low_heel[0]
    )  # right-handed: toe on the left
    intake.set_aside("7-2.jpg", "other")
    assert (intake.entry("7-2.jpg").state, intake.entry("7-2.jpg").words) == ("set_aside", "other")


def test_a_club_chosen_by_hand_and_changed_later(intake, measure):
    with pytest.raises(lt.InputError, match="which club IMG_9.jpg shows"):
        intake.take("IMG_9.jpg")
    intake.set_club("IMG_9.jpg", "4")
    intake.take("IMG_9.jpg")
    intake.count("IMG_9.jpg")
    before = intake.shot("IMG_9.jpg")
    intake.set_club("IMG_9.jpg", "56")
    after = intake.shot("IMG_9.jpg")
    assert (after["club"], after["counted"], after["shot_id"]) == ("56", True, before["shot_id"])
    assert after["lie_error_deg"] == pytest.approx(as_one_ball(after["tilt_deg"], 0.4, 56, None, USUAL).lie_error_deg)
    measure.refuse[50] = NoFace
    with pytest.raises(lt.PhotoError):
        intake.set_club("IMG_9.jpg", "7")
    assert intake.shot("IMG_9.jpg")["club"] == "56" and intake.shot("IMG_9.jpg")["counted"]


def test_a_start_turns_into_a_heading_and_can_be_taken_away(intake):
    intake.take("7-1.jpg")
    unknown = intake.shot("7-1.jpg")
    start = lt.lie.start_from_net(-40, 3000)
    intake.set_start("7-1.jpg", start)
    known = intake.shot("7-1.jpg")
    reading = as_one_ball(known["tilt_deg"], 0.4, 34, start, USUAL)
    assert (
        known["lie_error_deg"] == pytest.approx(reading.lie_error_deg)
        and known["u_lie_error_deg"] < unknown["u_lie_error_deg"]
    )
    intake.place("7-1.jpg", line=LINE + [[1, 0], [0, 0]])
    assert intake.shot("7-1.jpg")["heading_known"]  # moving a mark leaves the start alone
    intake.set_spot("7-1.jpg", -40, 3000)  # the same as a spot on the net
    spot = intake.shot("7-1.jpg")
    assert spot["start_deg"] == pytest.approx(start.start_deg) and spot["net_left_mm"] == -40
    assert spot["u_start_deg"] == pytest.approx(start.u_start_deg)
    intake.set_start("7-1.jpg", None)
    assert not intake.shot("7-1.jpg")["heading_known"] and np.isnan(intake.shot("7-1.jpg")["start_deg"])


def test_a_spot_on_the_net_follows_the_sessions_distance_unless_it_has_its_own(intake, book):
    intake.set_spot("7-2.jpg", 50, 2000)  # said before it is measured
    with pytest.raises(lt.InputError, match="distance"):
        intake.set_spot("7-1.jpg", 50)  # nobody has said how far the net is
    intake.take("7-1.jpg"), intake.take("7-2.jpg")
    book.change("session", intake.session, net_distance_mm=3000)
    intake.set_spot("7-1.jpg", 50)
    assert intake.spot("7-1.jpg") == (50, None)
    for net in (3000, 4000):  # corrected afterwards: every ball without a distance of its own follows
        book.change("session", intake.session, net_distance_mm=net)
        assert intake.shot("7-1.jpg")["start_deg"] == pytest.approx(np.degrees(np.arctan(50 / net)))
        assert intake.shot("7-2.jpg")["start_deg"] == pytest.approx(np.degrees(np.arctan(50 / 2000)))


def test_the_lean_of_the_balls_line_counts(intake, book):
    book.change("session", intake.session, setup_tilt_deg=2.0, u_setup_tilt_deg=0.3)
    intake.take("7-1.jpg")
    shot = intake.shot("7-1.jpg")
    assert shot["lie_error_deg"] == pytest.approx(
        as_one_ball(shot["tilt_deg"], 0.4, 34, None, lt.lie.SessionUnknowns(lean_deg=(2.0, 0.5))).lie_error_deg
    )


def test_a_list_of_shots_says_club_and_net(book, folder, measure):
    table = pd.DataFrame(
        {
            "photo": ["photos/IMG_9.jpg", "7-1.jpg"],
            "club": ["PW", "7"],
            "net_left_mm": [30, np.nan],
            "net_distance_mm": [3000, 3000],
        }
    )
    intake = PhotoIntake(book, open_session(book, CLUBS), folder, shot_list=table, measure=measure)
    assert intake.entry("IMG_9.jpg").club == "PW" and intake.start("7-1.jpg") is None
    intake.take("IMG_9.jpg")
    assert intake.shot("IMG_9.jpg")["start_deg"] == pytest.approx(np.degrees(np.arctan(0.01)))
    assert intake.spot("IMG_9.jpg") == (30, 3000) and intake.spot("7-1.jpg") is None
    with pytest.raises(lt.InputError, match="no column photo"):
        PhotoIntake(book, 1, folder, shot_list=table.drop(columns="photo"), measure=measure)
    with pytest.raises(lt.InputError, match="cannot be read"):
        PhotoIntake(book, 1, folder, shot_list=folder / "none.csv", measure=measure)


def test_an_upload_is_a_file_before_it_is_a_shot(intake, folder, book):
    content = (folder / "7-1.jpg").read_bytes()
    other = write_photo(folder.parent / "x.jpg", 99).read_bytes()
    assert intake.receive("C:\\dcim\\7-5.jpg", other) == "uploaded/7-5.jpg"
    assert (intake.files.inbox / "7-5.jpg").read_bytes() == other and intake.entry("uploaded/7-5.jpg").club == "7"
    assert intake.receive("7-5.jpg", other) == "uploaded/7-5.jpg"  # again: the same
    assert intake.receive("7-5.jpg", other + b" ") != "uploaded/7-5.jpg"  # another photo of that name: both stay
    assert intake.receive("7-1 (1).jpg", content) == "7-1.jpg"  # the same photo as in the folder: one shot
    assert (
        intake.receive("../../7-6.jpg", content + b" ") == "uploaded/7-6.jpg"
        and not (book.path.parent.parent / "7-6.jpg").exists()
    )
    intake.take("uploaded/7-5.jpg")
    assert (
        not (intake.files.inbox / "7-5.jpg").exists() and intake.entry("uploaded/7-5.jpg").path.read_bytes() == other
    )  # the book's copy
    assert intake.receive("7-5.jpg", other) == "uploaded/7-5.jpg" and intake.picture("uploaded/7-5.jpg")
    with pytest.raises(lt.InputError, match="is no photo"):
        intake.receive("notes.txt", b"x")
    assert intake.look() == []


def test_the_same_photo_twice_in_a_folder_is_one_shot(intake, folder, book):
    (folder / "7-3.jpg").write_bytes((folder / "7-1.jpg").read_bytes())
    intake.look(settled=True)
    assert "7-3.jpg" not in states(intake)
    intake.take("7-1.jpg")
    for photo in (
        book.photo_folder.iterdir()
    ):  # the book's copies are lost: the folder's files are still known by what they hold
        photo.unlink()
    again = PhotoIntake(book, intake.session, folder, measure=Measure())
    assert [state for name, state in states(again).items() if name in ("7-1.jpg", "7-3.jpg")] == ["to_look_at"]


def test_two_screens_on_one_folder_make_no_shot_twice(intake, folder, book):
    with lt.SessionBook(book.path) as there:
        other = PhotoIntake(there, intake.session, folder, measure=Measure())
        for name in ("7-1.jpg", "7-2.jpg", "7-10.jpg"):
            first, second = (intake, other) if name != "7-2.jpg" else (other, intake)
            first.take(name), second.take(name), first.take(name)
        other.count("7-1.jpg")
        assert book.shots()["note"].tolist() == ["7-1.jpg", "7-2.jpg", "7-10.jpg"]
        assert states(intake) == states(other) and states(intake)["7-1.jpg"] == "counted"


def test_every_step_of_a_refused_photo_can_be_looked_at(book, folder):
    """The stand-in's drawings are no faces: the real reading refuses them, and its steps say so; no shot is touched."""
    intake = PhotoIntake(book, open_session(book, CLUBS), folder)
    with pytest.raises(lt.PhotoError) as refused:
        intake.take("7-1.jpg")
    before, trace = book.shots(), intake.trace("7-1.jpg")
    assert trace.verdict.code == refused.value.code and trace.mark is None and len(trace.sentences) >= 2
    pd.testing.assert_frame_equal(book.shots(), before)
    with pytest.raises(lt.InputError, match="choose it first"):
        intake.trace("IMG_9.jpg")


def test_an_arriving_file_is_taken_when_it_has_stopped_growing(intake, folder):
    whole = write_photo(folder.parent / "x.jpg", 77).read_bytes()
    (folder / "7-11.jpg").write_bytes(whole[:500])
    assert intake.look() == []
    (folder / "7-11.jpg").write_bytes(whole)
    assert intake.look() == [] and intake.look() == ["7-11.jpg"] and intake.look() == []
    (folder / ".hidden.jpg").write_bytes(whole), (folder / "note.txt").write_text("x")
    assert intake.look(settled=True) == []


def test_files_are_read_only_where_another_has_the_same_size(intake, folder, monkeypatch):
    """A card with thousands of photos must not be read twice over only to see which are new."""
    read = []
    monkeypatch.setattr("linetilt.session.photo_files.PhotoFiles.digest", lambda self, name: read.append(name) or name)
    for n in range(50):
        (folder / f"7-{100 + n}.jpg").write_bytes(b"x" * (5000 + n))
    (folder / "7-900.jpg").write_bytes(b"y" * 5000)
    assert intake.look() == [] and len(intake.look()) == 51
    assert set(read) == {"7-100.jpg", "7-900.jpg"}


def test_what_another_process_enters_is_seen(intake, book):
    assert intake.entry("7-1.jpg").state == "new"
    with lt.SessionBook(book.path) as other:
        PhotoIntake(other, intake.session, intake.files.folder, measure=Measure()).take("7-1.jpg")
    assert intake.entry("7-1.jpg").state == "to_look_at"


def test_links_hidden_folders_and_other_files_are_passed_over(intake, folder):
    (folder / "loop").symlink_to(folder, target_is_directory=True)
    (folder / "link.jpg").symlink_to(folder / "7-1.jpg")
    (folder / ".hidden").mkdir(), (folder / "dir.jpg").mkdir()
    write_photo(folder / ".hidden" / "7-8.jpg", 88), write_photo(folder / "dir.jpg" / "7-9.JPG", 99)
    os.mkfifo(folder / "pipe.jpg")
    assert intake.look(settled=True) == ["dir.jpg/7-9.JPG", "link.jpg"]
    assert [entry.name for entry in intake.entries()][:2] == [
        "7-1.jpg",
        "7-2.jpg",
    ]  # a link is another name of the same photo


def test_a_file_that_is_no_photo_is_refused_and_not_kept(intake, folder, book):
    (folder / "7-12.jpg").write_bytes(b"\xff\xd8\xff garbage")
    intake.look(settled=True)
    with pytest.raises(lt.PhotoError):
        intake.take("7-12.jpg")
    assert (
        intake.entry("7-12.jpg").state == "refused" and intake.entry("7-12.jpg").shot is None and not len(book.shots())
    )
    with pytest.raises(lt.InputError, match="not in the book yet"):
        intake.count("7-12.jpg")


def test_the_picture_for_the_screen_is_small_and_knows_the_full_size(book, tmp_path, measure):
    write_photo(tmp_path / "big" / "7-1.jpg", 30, megapixels=12)
    intake = PhotoIntake(book, open_session(book, CLUBS), tmp_path / "big", measure=measure)
    jpeg, size = intake.picture("7-1.jpg")
    assert size == (4000, 3000) and max(lt.reading.photo.open_photo(jpeg).rgb.shape) == 1600
    assert intake.marks("7-1.jpg")[0] == FIELD.tolist()


def test_a_session_is_found_or_made(book):
    with pytest.raises(lt.InputError, match="no bag yet"):
        open_session(book)
    session = open_session(book, CLUBS.to_frame())
    assert open_session(book) == session and book.golfers()["handed"].tolist() == ["right"]
    with pytest.raises(lt.InputError, match="no folder"):
        PhotoIntake(book, session, book.path.parent / "nowhere")
    with pytest.raises(lt.InputError, match="no session 9"):
        PhotoIntake(book, 9)


def test_the_folder_is_said_once_and_kept_with_the_session(book, folder, measure, tmp_path):
    session = open_session(book, CLUBS)
    intake = PhotoIntake(book, session, measure=measure)
    assert intake.entries() == []
    with pytest.raises(lt.InputError, match="there is no folder .*nowhere"):
        intake.watch(tmp_path / "nowhere")
    with pytest.raises(lt.InputError, match="there is no folder"):
        intake.watch(" ")
    edits = len(book.history())
    intake.watch(folder)
    names = [entry.name for entry in intake.entries()]
    assert names and len(book.history()) == edits
    assert [entry.name for entry in PhotoIntake(book, session, measure=measure).entries()] == names


def test_a_clean_face_is_taken_out_of_the_later_photos_of_its_club(book, intake, folder, measure):
    measure.refuse = {10: NoLine}  # nothing is printed on 7-1.jpg
    with pytest.raises(NoLine):
        intake.take("7-1.jpg")
    intake.take("7-2.jpg")
    intake.set_aside("7-1.jpg", "clean face")
    assert set(measure.befores) == {None} and states(intake)["7-1.jpg"] == "set_aside"
    intake.place("7-2.jpg")  # measured again
    intake.take("7-10.jpg")
    clean = book.photo(intake.entry("7-1.jpg").shot)
    assert measure.befores[-2:] == [clean, clean] and clean.is_file()
    intake.take("PW/IMG_1.jpg")
    assert measure.befores[-1] is None
    again = PhotoIntake(book, intake.session, folder, measure=measure)  # after a restart
    again.place("7-10.jpg")
    assert measure.befores[-1] == clean
    again.undo()  # it is a ball after all
    again.undo()
    again.undo()
    again.place("7-10.jpg")
    assert measure.befores[-1] is None


def test_a_photo_without_a_face_is_no_clean_face(intake, measure):
    measure.refuse = {10: NoFace}
    with pytest.raises(NoFace):
        intake.take("7-1.jpg")
    with pytest.raises(lt.InputError, match="7-1.jpg cannot be the clean face of the 7"):
        intake.set_aside("7-1.jpg", "clean face")
    assert states(intake)["7-1.jpg"] == "refused"
