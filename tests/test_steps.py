"""A photo in named steps: what each finds, what a refusal carries, and that no step moved since it was kept.

A dozen of the sixty photos are read here; `python tests/bench/steps.py check` reads all of them.
"""

import pickle
import subprocess
import sys

import cv2
import linetilt as lt
import numpy as np
import pytest
from faces.camera import take_photo
from linetilt.reading.drawing import PRINT_INK, draw_marks
from linetilt.reading.evidence import Reason, Why
from linetilt.reading.mark import FLAGS, ROW
from linetilt.reading.photo import open_photo
from linetilt.reading.plane.face import Try
from linetilt.reading.remarks import REMARKS
from linetilt.reading.steps import BandStep, PictureStep, SharpnessStep, Trace
from linetilt.reading.verdict import decide, telling_try
from reading_steps import DEMO, DOZEN, PHOTOS, kept, moved, photo_of, row_of, versions


@pytest.fixture(scope="module")
def refused():
    """A demo photo with two marks that could be the print, as refused."""
    with pytest.raises(lt.PhotoError) as refusal:
        lt.measure_photo(*photo_of("demo perrin/PW-5"))
    return refusal.value


@pytest.fixture(scope="module")
def easy():
    photo = take_photo(600, hard=False, megapixels=1.6, finish="satin", ink="blue")
    club = lt.Club(label="7", loft_deg=34, handed=photo.handed, score_line_length_mm=photo.head.score_line_length_mm)
    return photo, club, lt.measure_photo(photo.jpeg, club)


@pytest.mark.parametrize("name", DOZEN)
def test_no_step_moved(name):
    """Remade by `python tests/bench/steps.py`, where the reading was changed on purpose."""
    table, made = kept()
    assert sorted(table.index) == sorted(PHOTOS) and len(PHOTOS) == 60
    if made != versions():
        pytest.skip(f"the file was made with {made}, this is {versions()}: the last digits may differ")
    assert moved(table.loc[name], row_of(lt.reading.trace_photo(*photo_of(name)))) == ""


def test_the_step_that_moved_is_named():
    table, _ = kept()
    row = table.loc["demo perrin/6-4"].to_dict()
    assert moved(row, row) == ""
    assert moved(row, row | {"yaw_deg": row["yaw_deg"] + 0.01, "tilt_deg": 0.0}).startswith("plane moved: yaw_deg was")
    assert moved(row, row | {"code": "no_line"}).startswith("verdict moved: code was")


def test_a_refusal_carries_what_was_found(refused):
    trace = refused.trace
    assert refused.code == "no_line" and trace.mark is None and trace.verdict.why.reason is Reason.RIVALS
    assert (
        sum(trace.plane.frame.full) == 9
        and trace.plane.corners.shape == (4, 2)
        and trace.plane.lines.shape[1:] == (2, 2)
    )
    numbers = [candidate.number for candidate in trace.candidates.candidates]
    assert numbers == list(range(1, len(numbers) + 1)) and sum(c.why is None for c in trace.candidates.candidates) >= 2
    assert [sentence.split(":")[0] for sentence in trace.sentences] == [
        "picture",
        "sharpness",
        "score lines",
        "flat face",
        "ink",
        "print",
        "verdict",
    ]


def test_a_refusal_crosses_processes_without_its_picture(refused):
    sent = pickle.dumps(refused)
    assert len(sent) < 50_000
    there = pickle.loads(sent)
    assert (there.code, there.seen, there.trace.sentences) == (refused.code, refused.seen, refused.trace.sentences)
    assert there.trace._kept is None and refused.trace._kept is not None
    picture = there.trace.figure(DEMO / "photos" / "perrin" / "PW-5.jpg", 500).rgb
    assert np.abs(picture.astype(int) - refused.trace.figure(max_side=500).rgb).mean() < 3
    assert there.trace.figure(max_side=400).rgb.shape == (300, 400, 3)


def test_a_batch_keeps_no_picture():
    from linetilt.reading.batch import measure_job

    _, error = measure_job(*photo_of("demo perrin/PW-5"), None, False, False)
    assert error.code == "no_line" and error.trace._kept is None and error.__traceback__ is None


def test_a_figure_shows_itself_in_a_notebook(refused):
    figure = refused.trace.figure(max_side=640)
    assert figure.rgb.dtype == np.uint8 and max(figure.rgb.shape[:2]) == 640
    assert (cv2.imdecode(np.frombuffer(figure._repr_png_(), np.uint8), cv2.IMREAD_COLOR)[..., ::-1] == figure.rgb).all()
    said = figure._repr_html_()
    assert said.count("<li>") == len(figure.sentences) and "data:image/jpeg;base64," in said
    assert orange(figure.rgb).sum() > 50  # the marks that could be the print


def test_what_was_taken_for_the_score_lines_is_shown_where_there_is_no_plane():
    trace = lt.reading.trace_photo(*photo_of("demo perrin/7-3"))
    assert trace.plane.frame is None and trace.plane.taken.shape == (4, 2) and len(trace.plane.tries) == 12
    assert "score lines" in trace.verdict.seen and "no set of" not in trace.verdict.seen
    bare = lt.reading.trace_photo(np.full((600, 800, 3), 128, np.uint8), lt.Club(label="7", loft_deg=34))
    assert bare.verdict.why.reason is Reason.NO_STRIPES and (bare.figure().rgb == 128).all()


def test_an_answered_photo_has_its_trace_too(easy):
    photo, club, mark = easy
    trace = lt.reading.trace_photo(photo.jpeg, club)
    assert trace.mark == mark and trace.verdict.code == "" and trace.sentences[-1] == "verdict: measured"
    assert (trace.mark.corners == trace.plane.corners).all() and (trace.mark.line == trace.band.line).all()
    by_hand = lt.reading.trace_photo(photo.jpeg, club, corners=mark.corners, line=mark.line)
    assert by_hand.sharpness is by_hand.flat is by_hand.candidates is None and by_hand.band.by_hand


def test_marks_are_drawn_from_what_is_stored(easy):
    photo, _, mark = easy
    stored = [[list(map(float, point)) for point in points] for points in (mark.corners, mark.line)]
    drawn = draw_marks(open_photo(photo.jpeg), *stored, 700)
    changed = (drawn != draw_marks(open_photo(photo.jpeg), [[0, 0]] * 4, [[0, 0], [0, 1]], 700)).any(axis=2)
    scale = 700 / max(open_photo(photo.jpeg).rgb.shape[:2])
    for x, y in (mark.corners + 0.5) * scale - 0.5:
        assert changed[int(y) - 2 : int(y) + 3, int(x) - 2 : int(x) + 3].any()
    x, y = ((mark.line.mean(axis=0) + 0.5) * scale - 0.5).astype(int)
    assert orange(drawn[y - 3 : y + 4, x - 3 : x + 4]).any()


def test_a_mark_knows_its_kit_its_length_and_its_doubt_in_lengths(easy):
    photo, club, mark = easy
    assert mark.kit == lt.__version__ and mark.score_line_length_mm == club.score_line_length_mm
    length = club.score_line_length_mm
    assert mark.u_strike_toe_lengths * length == pytest.approx(mark.u_strike_toe_mm)
    assert mark.u_strike_up_lengths * length == pytest.approx(mark.u_strike_up_mm)
    bare = lt.measure_photo(photo.jpeg, lt.Club(label="7", loft_deg=34, handed=photo.handed))
    assert bare.score_line_length_mm is None and np.isnan(bare.to_row()["score_line_length_mm"])
    assert bare.u_strike_toe_lengths == pytest.approx(mark.u_strike_toe_lengths, rel=0.1)
    assert bare.to_row()["remarks"].split(" ") == list(bare.flags) and tuple(bare.to_row()) == ROW
    assert list(bare.budget["unit"].unique()) == ["deg", "score-line lengths"]


def test_a_remark_says_what_it_does_to_the_uncertainty():
    assert {remark.code: remark.sentence for remark in REMARKS} == FLAGS
    for remark in REMARKS:
        assert remark.code.isidentifier() and not remark.sentence.endswith(".")
        assert remark.effect.startswith(("widens u", "sets u", "nothing")), remark.code


def test_every_reason_is_a_sentence_and_says_its_numbers():
    numbers = dict.fromkeys(
        ("times", "mm", "length_mm", "club_mm", "found", "full", "least", "deg", "pixels_per_mm", "width_mm"), 7.25
    )
    said = {Why.of(reason, **numbers).sentence for reason in Reason}
    assert len(said) == len(Reason) and all(
        sentence[0].islower() and not sentence.endswith(".") and "{" not in sentence for sentence in said
    )


def orange(rgb):
    """Where a picture has nearly the colour that prints are drawn in, (H, W)."""
    return np.abs(rgb.astype(int) - PRINT_INK).max(axis=2) < 60


def tried(rank, reason, field=None, **numbers):
    return Try(0.0, 12.0, rank, True, Why(reason, tuple(numbers.items()), field))


@pytest.mark.parametrize(
    "tries, reason",
    [
        ((), Reason.NO_STRIPES),
        ((tried(0, Reason.NO_STRIPES), tried(1, Reason.UNEVEN)), Reason.UNEVEN),
        ((tried(0, Reason.UNEVEN), tried(1, Reason.OUT_OF_PICTURE)), Reason.UNEVEN),  # anything runs out of a picture
        ((tried(0, Reason.UNEVEN), tried(0, Reason.MIRRORED)), Reason.MIRRORED),
        ((tried(0, Reason.WRONG_SPACING, np.array([[-5.0, 0], [400, 300]]), times=7.0),), Reason.OUT_OF_PICTURE),
        ((tried(0, Reason.WRONG_SPACING, np.array([[200.0, 0], [400, 300]]), times=7.0),), Reason.WRONG_SPACING),
        ((tried(0, Reason.WRONG_SPACING, np.array([[-5.0, 0], [400, 300]]), times=25.0),), Reason.WRONG_SPACING),
    ],
)
def test_of_many_stripes_the_clearest_are_told(tries, reason):
    assert telling_try(tries, 800).reason is reason


@pytest.mark.parametrize(
    "sigma, face, code",
    [(0.5, None, "no_line"), (0.9, (0.1,), "no_line"), (0.9, (0.6,), "blurred"), (1.5, None, "blurred")],
)
def test_a_shaken_photo_is_not_told_to_draw_a_thicker_line(sigma, face, code):
    from linetilt.reading.steps import FlatStep

    seen = Trace(
        PictureStep(800, 600),
        SharpnessStep(0.0, (sigma,)),
        flat=FlatStep(8.0, 0.0, face),
        band=BandStep(why=Why.of(Reason.NOT_A_LINE, length_mm=29, width_mm=8.1)),
    )
    assert decide(seen).code == code


def test_a_photo_from_before_the_shot_that_cannot_be_used_is_named(easy):
    photo, club, _ = easy
    with pytest.raises(lt.PhotoError, match="The photo from before the shot cannot be used") as refusal:
        lt.measure_photo(photo.jpeg, club, before=np.full((600, 800, 3), 128, np.uint8))
    assert refusal.value.code == "no_face" and refusal.value.trace.plane.frame is not None


def test_reading_draws_and_measures_without_what_only_screens_need():
    code = (
        "import sys, linetilt.reading.pipeline; print({'jinja2', 'plotly', 'ipywidgets', 'IPython'} & set(sys.modules))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "set()"
