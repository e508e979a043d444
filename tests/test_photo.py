"""Opening photos: every EXIF orientation, focal length, sizes, and what is refused before a pixel is decoded."""

import struct

import cv2
import numpy as np
import pytest
from faces.camera import with_exif
from linetilt.base.errors import NoFace, PhotoError, PhotoTooLarge, UnreadablePhoto
from linetilt.reading.photo import PHONE_F35_MM, open_photo


def scene(width=900, height=700):
    picture = np.full((height, width, 3), 90, np.uint8)
    picture[: height // 2, : width // 2] = (220, 30, 30)  # red, top left
    return picture


def jpeg(picture):
    return cv2.imencode(".jpg", np.ascontiguousarray(picture[..., ::-1]))[1].tobytes()


# Exif 2.32 (CIPA DC-008): what the camera stored for a scene that stands upright after the code is applied
STORED = {1: lambda a: a, 3: lambda a: a[::-1, ::-1], 6: lambda a: np.rot90(a), 8: lambda a: np.rot90(a, -1)}


@pytest.mark.parametrize("code", STORED)
def test_orientation_is_applied(code):
    picture = open_photo(with_exif(jpeg(STORED[code](scene())), 26, code))
    assert picture.rgb.shape == (700, 900, 3)
    assert picture.rgb[100, 100, 0] > 180 and picture.rgb[600, 800, 0] < 120


def test_focal_length_comes_from_exif_or_is_doubted():
    told, usual = open_photo(with_exif(jpeg(scene()), 52)), open_photo(jpeg(scene()))
    assert (told.f35_mm, told.f35_from) == (52.0, "exif")
    assert (usual.f35_mm, usual.f35_from) == (PHONE_F35_MM, "usual")
    assert usual.u_f35_mm > 5 * told.u_f35_mm
    # a 36 x 24 frame's diagonal is 43.27 mm: 52 mm is 1.2018 diagonals
    assert told.focal_px == pytest.approx(1.2018 * np.hypot(900, 700), rel=1e-3)


@pytest.mark.parametrize("kind", [".png", ".webp"])
def test_other_formats(kind):
    data = cv2.imencode(kind, scene()[..., ::-1])[1].tobytes()
    assert open_photo(data).rgb.shape == (700, 900, 3)


def test_arrays_grey_alpha_and_16_bit():
    for array in (scene()[..., 0], np.dstack([scene(), scene()[..., 0]]), scene().astype(np.uint16) * 257):
        assert open_photo(array).rgb.dtype == np.uint8


def test_a_large_photo_is_opened_at_working_size():
    picture = open_photo(jpeg(scene(4000, 3000)))
    assert picture.reduction == 2 and picture.rgb.shape == (1500, 2000, 3)


def test_a_huge_picture_is_refused_from_its_header():
    header = (
        b"\x89PNG\r\n\x1a\n"
        + struct.pack(">I", 13)
        + b"IHDR"
        + struct.pack(">II", 30000, 30000)
        + b"\0" * 100
        + b"IEND"
    )
    with pytest.raises(PhotoTooLarge, match="30000 x 30000, 900 megapixels; 50 is the most"):
        open_photo(header)


@pytest.mark.parametrize("bad", [b"", b"GIF89a" + b"0" * 99, jpeg(scene())[:5000], b"\xff\xd8\xff" + b"\0" * 50])
def test_unreadable(bad):
    with pytest.raises(UnreadablePhoto, match="What to do: save it as JPEG"):
        open_photo(bad)


def test_paths(tmp_path):
    with pytest.raises(UnreadablePhoto, match="cannot be opened"):
        open_photo(tmp_path / "missing.jpg")
    with pytest.raises(UnreadablePhoto, match="is not a file"):
        open_photo(tmp_path)
    with pytest.raises(NoFace, match="only 20 x 20 pixels"):
        open_photo(np.zeros((20, 20, 3), np.uint8))


def test_every_refusal_has_its_own_code_and_advice():
    kinds = PhotoError.kinds()
    assert set(kinds) == {
        "unreadable",
        "too_large",
        "no_face",
        "face_cut_off",
        "no_line",
        "two_lines",
        "blurred",
        "mirrored",
        "glare",
        "no_plumb",
        "crashed",
        "stopped",
    }
    assert len({kind.advice for kind in kinds.values()}) == len(kinds)
