"""On which side the toe is: seen in the outline of drawn and path-traced faces, and never the wrong way round."""

from pathlib import Path

import cv2
import linetilt as lt
import numpy as np
import pytest
from faces.camera import take_photo
from linetilt.reading.evidence import Reason
from linetilt.reading.photo import open_photo
from linetilt.reading.plane.face import find_face
from linetilt.reading.plane.way_up import AGAINST, FOR, toe_side
from linetilt.reading.verdict import telling_try

DEMO = Path(__file__).resolve().parents[1] / "demo_photos"
BAGS = {"perrin": lt.read_bag(DEMO / "bag.csv"), "wynn": lt.read_bag(DEMO / "bag_left.csv")}
OTHER = {"right": "left", "left": "right"}


def club_of(photo, handed):
    return lt.Club(label="7", loft_deg=34, handed=handed, score_line_length_mm=photo.head.score_line_length_mm)


@pytest.mark.parametrize(
    "name",
    [
        "perrin/4-5.jpg",
        "perrin/6-2.jpg",
        "perrin/8-3.jpg",
        "perrin/9-1.jpg",
        "perrin/PW-4.jpg",
        "perrin/SW-2.jpg",
        "wynn/7-1.jpg",
        "wynn/7-5.jpg",
    ],
)
def test_path_traced_faces_are_confirmed_and_their_mirror_images_refused(name):
    """Steel, black, rust and chrome, on turf, wood and concrete, with hosel and shaft."""
    golfer, file = name.split("/")
    club = BAGS[golfer][file.split("-")[0]]
    picture = open_photo(DEMO / "photos" / name)
    assert not find_face(picture, club).frame.hand_unsure
    mirrored = find_face(open_photo(np.ascontiguousarray(picture.rgb[:, ::-1])), club)
    assert mirrored.frame is None and telling_try(mirrored.tries, picture.rgb.shape[1]).reason is Reason.MIRRORED


def test_path_traced_faces_upside_down_are_refused_or_said_to_be_unsure():
    refused = 0
    for name in ("4-5", "5-3", "6-2", "8-3", "9-1"):
        picture = open_photo(DEMO / "photos" / "perrin" / f"{name}.jpg")
        turned = find_face(open_photo(np.ascontiguousarray(picture.rgb[::-1, ::-1])), BAGS["perrin"][name[0]])
        if turned.frame is None:
            why = telling_try(turned.tries, 10_000)
            assert why.reason is Reason.UPSIDE_DOWN and "sole is at the bottom" in why.reason.kind.advice
            refused += 1
        else:
            assert turned.frame.hand_unsure
    assert refused >= 3


def test_drawn_faces_are_never_taken_the_wrong_way_round():
    """Face alone, close or far: confirmed, or said to be unsure; a mirror image, or one upside down, is refused, or
    said to be unsure."""
    sure = []
    for seed in range(910, 918):
        photo = take_photo(seed, megapixels=1.2)
        found = find_face(open_photo(photo.jpeg), club_of(photo, photo.handed)).frame
        sure.append(not found.hand_unsure)
        mirrored = cv2.imencode(".jpg", photo.rgb[:, ::-1, ::-1])[1].tobytes()
        over = cv2.imencode(".jpg", photo.rgb[::-1, ::-1, ::-1])[1].tobytes()
        for jpeg, club in (
            (mirrored, club_of(photo, photo.handed)),
            (over, club_of(photo, photo.handed)),
            (photo.jpeg, club_of(photo, OTHER[photo.handed])),
        ):
            turned = find_face(open_photo(jpeg), club)
            if turned.frame is None:
                assert telling_try(turned.tries, 10_000).reason in (Reason.MIRRORED, Reason.UPSIDE_DOWN)
            else:
                assert turned.frame.hand_unsure
    assert np.mean(sure) > 0.7


def test_a_mirror_image_speaks_as_loudly_for_the_other_side():
    photo = take_photo(920, megapixels=1.2)
    picture = open_photo(photo.jpeg)
    frame = find_face(picture, club_of(photo, photo.handed)).frame
    width = picture.rgb.shape[1]
    flip = np.array([[-1, 0, width - 1], [0, 1, 0], [0, 0, 1.0]])
    (there, _), (back, _) = (
        toe_side(frame, picture.rgb),
        toe_side(frame.with_plane(frame.to_face @ flip, frame.pixels_per_mm), picture.rgb[:, ::-1].copy()),
    )
    assert there == pytest.approx(back, abs=0.15)  # resampled the other way round
    swapped = frame.with_plane(np.diag([-1.0, 1, 1]) @ frame.to_face, frame.pixels_per_mm)
    assert toe_side(swapped, picture.rgb)[0] == pytest.approx(-there, abs=0.15)


def test_where_no_outline_is_seen_neither_side_is_believed():
    photo = take_photo(921, megapixels=1.2)
    picture = open_photo(photo.jpeg)
    frame = find_face(picture, club_of(photo, photo.handed)).frame
    plain = np.full_like(picture.rgb, 120)
    assert all(AGAINST < side < FOR for side in toe_side(frame, plain))


def test_the_flag_is_said_in_words():
    words = lt.reading.mark.FLAGS["hand_unsure"]
    assert "mirrored" in words and "shaft" in words
