"""The whole way from a photo to tilt and strike, against drawn photos whose truth is kept, and what must be refused.

Seeds from 600 on were not looked at while the kit was tuned.
"""

from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace

import cv2
import linetilt as lt
import numpy as np
import pandas as pd
import pytest
from faces.camera import take_photo
from linetilt.reading.mark import FLAGS, ROW
from skimage import data

EASY = dict(hard=False, megapixels=1.6, finish="satin", ink="blue")


def club_of(photo, **more):
    return lt.Club(
        label="7", loft_deg=34, handed=photo.handed, score_line_length_mm=photo.head.score_line_length_mm, **more
    )


@pytest.fixture(scope="module")
def photo():
    return take_photo(600, **EASY)


@pytest.fixture(scope="module")
def mark(photo):
    return lt.measure_photo(photo.jpeg, club_of(photo))


def test_drawn_photos_are_read_within_their_uncertainty():
    z, errors, toes = [], [], []
    for seed in range(601, 613):
        photo = take_photo(
            seed,
            megapixels=1.6,
            ink=("blue", "red", "green")[seed % 3],
            finish=("satin", "chrome", "brushed")[seed % 3],
        )
        mark = lt.measure_photo(photo.jpeg, club_of(photo))
        errors.append(mark.tilt_deg - photo.print.tilt_deg)
        z.append(errors[-1] / mark.u_tilt_deg)
        toes.append(mark.strike_toe_mm - photo.print.toe_mm)
    assert np.median(np.abs(errors)) < 0.5  # the ink itself allows 0.2 to 0.5
    assert np.max(np.abs(z)) < 4 and np.sqrt(np.mean(np.square(z))) < 1.7
    assert np.median(np.abs(toes)) < 0.3


@pytest.mark.parametrize("seed", [15117, 5088, 15009])
def test_rust_that_stands_out_more_than_the_print_is_passed_over(seed):
    """Faces whose rust was once taken for a wide or doubtful mark, so that the print beside it was never looked for."""
    photo = take_photo(seed)
    mark = lt.measure_photo(photo.jpeg, club_of(photo))
    assert (
        abs(mark.strike_toe_mm - photo.print.toe_mm) < 0.7
        and abs(mark.tilt_deg - photo.print.tilt_deg) < 3 * mark.u_tilt_deg
    )


def test_the_budget_adds_up_to_the_stated_uncertainty(mark):
    """JCGM 100:2008 (GUM), equation 10: independent parts add as squares."""
    for quantity, u in (
        ("tilt", mark.u_tilt_deg),
        ("strike_toe", mark.u_strike_toe_mm),
        ("strike_up", mark.u_strike_up_mm),
    ):
        part = mark.budget[mark.budget.quantity == quantity]
        assert np.sqrt((part.u**2).sum()) == pytest.approx(u) and part.share.sum() == pytest.approx(1)


def test_a_mirrored_picture_of_the_other_hand_reads_the_same(photo, mark):
    """A left-handed club is a right-handed one in a mirror: tilt towards the toe and strike towards the toe stay."""
    other = replace(club_of(photo), handed="left" if photo.handed == "right" else "right")
    twin = lt.measure_photo(np.ascontiguousarray(photo.rgb[:, ::-1]), other)
    plain = lt.measure_photo(photo.rgb, club_of(photo))
    assert twin.tilt_deg == pytest.approx(plain.tilt_deg, abs=0.1)
    assert twin.strike_toe_mm == pytest.approx(plain.strike_toe_mm, abs=0.1)
    assert twin.strike_up_mm == pytest.approx(plain.strike_up_mm, abs=0.3)


def test_a_turned_photo_reads_the_same(photo):
    """Roll of the camera must not count: the score lines are the reference."""
    height, width = photo.rgb.shape[:2]
    tilts = []
    for angle in (-12, 0, 12):
        turn = cv2.getRotationMatrix2D((width / 2, height / 2), angle, 0.8)
        tilts.append(
            lt.measure_photo(
                cv2.warpAffine(photo.rgb, turn, (width, height), borderMode=cv2.BORDER_REPLICATE), club_of(photo)
            ).tilt_deg
        )
    assert np.ptp(tilts) < 0.35


def test_without_a_length_no_millimetre_is_invented(photo, mark):
    bare = lt.measure_photo(photo.jpeg, replace(club_of(photo), score_line_length_mm=None))
    assert np.isnan([bare.strike_toe_mm, bare.u_strike_toe_mm, bare.strike_up_mm, bare.line_width_mm]).all()
    assert bare.strike_toe_lengths == pytest.approx(mark.strike_toe_mm / club_of(photo).score_line_length_mm, abs=0.005)
    assert bare.tilt_deg == pytest.approx(mark.tilt_deg, abs=0.2) and "no_length" in bare.flags


def test_marks_by_hand_skip_only_their_step(photo, mark):
    corners = lt.measure_photo(
        photo.jpeg, club_of(photo), corners=mark.corners + np.array([[2, -1], [-2, 1], [1, 2], [-1, -2]])
    )
    assert corners.tilt_deg == pytest.approx(mark.tilt_deg, abs=0.4) and "by_hand" in corners.flags
    line = lt.measure_photo(photo.jpeg, club_of(photo), line=mark.line)
    assert line.tilt_deg == pytest.approx(mark.tilt_deg, abs=0.3) and line.u_tilt_deg > mark.u_tilt_deg
    with pytest.raises(lt.InputError, match="lower end, then its upper end"):
        lt.measure_photo(photo.jpeg, club_of(photo), line=mark.line[::-1])
    with pytest.raises(lt.InputError, match="low heel, low toe, high toe, high heel"):
        lt.measure_photo(photo.jpeg, club_of(photo), corners=mark.corners[[1, 0, 2, 3]])
    with pytest.raises(lt.InputError, match="expected 4 points"):
        lt.measure_photo(photo.jpeg, club_of(photo), corners=[[1, 2]])


def test_the_overlay_is_drawn_on_a_copy(mark):
    before = mark._picture.copy()
    picture = mark.overlay(700)
    assert picture.dtype == np.uint8 and max(picture.shape[:2]) == 700
    assert (mark._picture == before).all() and set(mark.flags) <= set(FLAGS)


def codes_of(seeds, **options):
    seen = []
    for seed in seeds:
        photo = take_photo(seed, **options)
        try:
            lt.measure_photo(photo.jpeg, club_of(photo))
        except lt.PhotoError as error:
            seen.append(error.code)
        else:
            seen.append("")
    return seen


def test_a_bare_face_is_refused():
    """Over 621 lies a reflection, below which a print might be."""
    first, reflecting, *rest = codes_of(range(620, 628), prints=0, **EASY)
    assert {first, *rest} <= {"no_line", "two_lines"} and reflecting == "glare"


def test_two_prints_are_mostly_refused():
    """Up to 7 mm apart and across each other; those nearly on top of each other can pass for one."""
    codes = codes_of(range(720, 732), prints=2, **EASY)
    assert sum(code in ("two_lines", "no_line") for code in codes) >= 6 and "two_lines" in codes


def test_a_photo_from_before_the_shot_takes_out_what_was_there():
    """Old ink that was not wiped off: a second print where only the first is new."""
    old = take_photo(640, prints=1, **EASY)
    both = old.rgb.astype(float)
    height, width = both.shape[:2]
    club = club_of(old)
    middle = cv2.perspectiveTransform(
        np.float32([[[-9, 4], [-7.5, 4], [-6.5, 24], [-8, 24]]]), old.homography.astype(np.float32)
    )
    mask = cv2.fillConvexPoly(np.zeros((height, width), np.float32), np.round(middle[0]).astype(int), 1.0)
    for up, _, _ in old.head.lines:  # a print leaves the score lines bare
        line = cv2.perspectiveTransform(np.float32([[[-20, up], [20, up]]]), old.homography.astype(np.float32))[0]
        cv2.line(mask, *np.round(line).astype(int).tolist(), 0.0, int(0.9 * np.linalg.norm(line[1] - line[0]) / 40))
    for up in np.arange(5, 24, 4.0):  # dimples leave gaps
        hole = cv2.perspectiveTransform(
            np.float32([[[-9 + (up - 4) / 20, up], [-8 + (up - 4) / 20, up]]]), old.homography.astype(np.float32)
        )[0]
        cv2.circle(mask, np.round(hole[0]).astype(int).tolist(), int(np.linalg.norm(hole[1] - hole[0])), 0.0, -1)
    both = (both * (1 - 0.8 * cv2.GaussianBlur(mask, (0, 0), 1.5))[..., None]).clip(0, 255).astype(np.uint8)
    truth = np.degrees(np.arctan2(1.0, 20))
    mark = lt.measure_photo(both, club, before=old.rgb)
    assert mark.tilt_deg == pytest.approx(
        truth, abs=max(0.8, 2.5 * mark.u_tilt_deg)
    ) and mark.strike_toe_mm == pytest.approx(-7.75, abs=0.6)


@pytest.mark.parametrize("name", ["page", "text", "brick", "cat", "coins", "grass", "camera"])
def test_general_pictures_are_refused_with_advice(name):
    picture = getattr(data, name)()
    scale = int(np.ceil(800 / max(picture.shape[:2])))
    picture = np.kron(picture, np.ones((scale, scale) + (1,) * (picture.ndim - 2), np.uint8)).astype(np.uint8)
    with pytest.raises(lt.PhotoError, match="What to do"):
        lt.measure_photo(picture, lt.Club(label="7", loft_deg=34, score_line_length_mm=52))


def test_many_photos_keep_their_order_and_one_bad_photo_stops_nothing(photo, tmp_path):
    path = tmp_path / "face.jpg"
    path.write_bytes(photo.jpeg)
    club = club_of(photo)
    jobs = pd.DataFrame(
        {
            "photo": [str(path), b"not a photo", str(tmp_path / "missing.jpg"), str(path)],
            "club": [club] * 4,
            "ball": [4, 3, 2, 1],
        },
        index=[7, 5, 3, 1],
    )
    done, marks = [], {}
    table = lt.measure_photos(jobs, progress=lambda *count: done.append(count), on_mark=marks.__setitem__)
    assert table.index.tolist() == [7, 5, 3, 1] and table["ball"].tolist() == [4, 3, 2, 1]
    assert table["error_code"].tolist() == ["", "unreadable", "unreadable", ""]
    assert done[-1] == (4, 4) and set(marks) == {0, 3}
    assert table["error"].iloc[1].endswith(".") and np.isnan(table["tilt_deg"].iloc[1])
    with ProcessPoolExecutor(2) as pool:
        pooled = lt.measure_photos(jobs, executor=pool)
    pd.testing.assert_frame_equal(table, pooled)
    assert list(table.columns[-len(ROW) - 2 :]) == [*ROW, "error_code", "error"] and ROW[-1] == "remarks"
    assert table["kit"].tolist() == [lt.__version__, "", "", lt.__version__]
    with pytest.raises(lt.InputError, match="expected photo and club"):
        lt.measure_photos(jobs.drop(columns="club"))
    with pytest.raises(lt.InputError, match="give bag="):
        lt.measure_photos(jobs.assign(club="7"))


def test_the_demo_photos_are_read_within_their_uncertainty(request):
    """Path-traced photos, another renderer than the one that the kit was tuned on; truth.csv holds what was drawn."""
    folder = request.config.rootpath / "demo_photos"
    truth = pd.read_csv(folder / "truth.csv", dtype=str).set_index("photo")
    bag = lt.read_bag(folder / "bag.csv")
    for name, label in (
        ("perrin/5-4.jpg", "5"),
        ("perrin/6-4.jpg", "6"),
        ("perrin/8-4.jpg", "8"),
        ("perrin/9-5.jpg", "9"),
    ):
        mark = lt.measure_photo(folder / "photos" / name, bag[label])
        row = truth.loc[name, ["tilt_deg", "strike_toe_mm", "strike_up_mm"]].astype(float)
        assert abs(mark.tilt_deg - row.tilt_deg) < 3 * mark.u_tilt_deg < 1.5
        assert mark.strike_toe_mm == pytest.approx(row.strike_toe_mm, abs=0.6) and mark.strike_up_mm == pytest.approx(
            row.strike_up_mm, abs=2
        )
