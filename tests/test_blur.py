"""A photo too blurred to be measured is told so, and a sharp one that is refused for another reason is not."""

import cv2
import linetilt as lt
import numpy as np
import pytest
from faces.camera import take_photo
from linetilt.reading.blur import MOST_SIGMA_PX, SIDE_PX, edge_sigmas


def club_of(photo):
    return lt.Club(label="7", loft_deg=34, handed=photo.handed, score_line_length_mm=photo.head.score_line_length_mm)


def jpeg(rgb, quality):
    return cv2.imencode(".jpg", np.ascontiguousarray(rgb[..., ::-1]), [cv2.IMWRITE_JPEG_QUALITY, quality])[1].tobytes()


def code_of(photo, rgb):
    noisy = rgb + np.random.default_rng(1).normal(0, 2, rgb.shape)  # a sensor's noise is never blurred
    with pytest.raises(lt.PhotoError) as refused:
        lt.measure_photo(np.clip(noisy, 0, 255).astype(np.uint8), club_of(photo))
    return refused.value.code, str(refused.value)


def pixels_per_mm(photo):
    at = cv2.perspectiveTransform(np.float32([[[-20, 15], [20, 15]]]), photo.homography.astype(np.float32))[0]
    return float(np.linalg.norm(at[1] - at[0])) / 40


@pytest.mark.parametrize("seed", [960, 961, 962])
def test_out_of_focus_or_shaken_is_called_blurred(seed):
    photo = take_photo(seed, megapixels=1.2)
    mm = pixels_per_mm(photo)
    for across, upright in ((1.3, 1.3), (1.5, 0.1), (0.1, 1.5)):
        rgb = cv2.GaussianBlur(photo.rgb, (0, 0), sigmaX=across * mm, sigmaY=upright * mm)
        code, words = code_of(photo, rgb)
        assert code == "blurred" and "hold the phone still" in words


def test_a_sharp_photo_of_a_bare_face_is_not_called_blurred():
    for seed in range(963, 967):
        photo = take_photo(seed, megapixels=1.2, prints=0)
        assert code_of(photo, photo.rgb)[0] != "blurred"


@pytest.mark.parametrize("sigma", [1.0, 2.0, 4.0])
def test_the_width_of_an_edge_is_found(sigma):
    """A disc's blur is known; the grid's own (a box, 1/sqrt(12) pixel) does not count beside it."""
    disc = cv2.circle(np.full((SIDE_PX, SIDE_PX, 3), 60, np.uint8), (250, 250), 150, (190, 190, 190), -1).astype(
        np.float32
    )
    rgb = cv2.GaussianBlur(disc, (0, 0), sigma) + np.random.default_rng(2).normal(0, 1, disc.shape)
    assert edge_sigmas(np.clip(rgb, 0, 255).astype(np.uint8)) == pytest.approx([sigma] * 2, rel=0.15, abs=0.1)


def test_a_blank_picture_has_no_edges_to_judge_by():
    assert edge_sigmas(np.full((500, 600, 3), 128, np.uint8)) == []


@pytest.mark.parametrize("seed", [970, 971, 972, 973])
def test_a_sharp_face_before_a_blurred_background_is_measured(seed):
    photo = take_photo(seed, megapixels=1.2)
    corners = cv2.perspectiveTransform(
        photo.head.field_corners[None].astype(np.float32), photo.homography.astype(np.float32)
    )[0]
    face = np.zeros(photo.rgb.shape[:2], np.uint8)
    cv2.fillConvexPoly(face, np.int32(corners.mean(axis=0) + 1.6 * (corners - corners.mean(axis=0))), 1)
    stripes = np.where((np.arange(photo.rgb.shape[1]) // 40 % 2)[None, :, None] > 0, 250, 5).astype(np.uint8)
    behind = cv2.GaussianBlur(np.broadcast_to(stripes, photo.rgb.shape).copy(), (0, 0), 9)
    rgb = np.where(cv2.GaussianBlur(face, (0, 0), 3)[..., None] > 0, photo.rgb, behind)
    assert max(edge_sigmas(rgb)) > MOST_SIGMA_PX
    mark = lt.measure_photo(rgb, club_of(photo))
    assert abs(mark.tilt_deg - photo.print.tilt_deg) < 3 * mark.u_tilt_deg


def test_a_file_squeezed_to_blocks_is_called_so_unless_its_size_makes_up_for_it():
    photo = take_photo(972, megapixels=1.2)
    for quality in (5, 12, 19):
        with pytest.raises(lt.PhotoError, match="squeezed so hard.*the phone's own photo") as refused:
            lt.measure_photo(jpeg(photo.rgb, quality), club_of(photo))
        assert refused.value.code == "blurred"
    large = cv2.resize(photo.rgb, None, fx=3, fy=3, interpolation=cv2.INTER_CUBIC)  # is decoded at half its size
    for rgb, quality in ((photo.rgb, 25), (large, 15)):
        mark = lt.measure_photo(jpeg(rgb, quality), club_of(photo))
        assert abs(mark.tilt_deg - photo.print.tilt_deg) < 3 * mark.u_tilt_deg


def test_a_line_placed_by_hand_on_a_squeezed_file_is_measured():
    photo = take_photo(972, megapixels=1.2)
    whole = lt.measure_photo(photo.jpeg, club_of(photo))
    by_hand = lt.measure_photo(jpeg(photo.rgb, 12), club_of(photo), corners=whole.corners, line=whole.line)
    assert by_hand.tilt_deg == pytest.approx(whole.tilt_deg, abs=0.05)
