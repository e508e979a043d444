"""Spoiled, odd and hostile photos: only a result or a PhotoError comes back. The long run of the same kinds is
`tests/bench/fuzz.py`."""

import os
import shutil
import tempfile
from pathlib import Path

import cv2
import linetilt as lt
import numpy as np
import pytest
from bench import fuzz
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from linetilt.base.errors import UnreadablePhoto
from linetilt.reading.photo import Picture, open_photo

CLUB = lt.Club(label="7", loft_deg=34, score_line_length_mm=52.0)
FORMS = [
    "jpeg",
    "progressive",
    "grey",
    "cmyk",
    "png",
    "grey_png",
    "alpha",
    "palette",
    "bits",
    "deep",
    "apng",
    "gif",
    "webp",
    "lossless",
    "moving",
    "heic",
    "tiff",
    "bmp",
]
relaxed = settings(deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.function_scoped_fixture])


@pytest.fixture(scope="module")
def files():
    return fuzz.Files()


def opened(photo):
    """The picture, or the refusal; anything else is the fault that is looked for."""
    try:
        return open_photo(photo)
    except lt.PhotoError as error:
        assert "What to do: " in str(error)
        return error


def test_every_sound_form_is_read_or_refused_by_name(files):
    for form in FORMS:
        came = opened(files[form])
        if form in ("gif", "tiff", "bmp"):
            assert "not a JPEG, PNG, WebP or HEIC" in str(came)
        else:
            assert isinstance(came, Picture) and came.rgb.shape == (500, 520, 3), form


@settings(relaxed, max_examples=150)
@given(
    form=st.sampled_from(FORMS),
    flips=st.lists(st.tuples(st.integers(0, 2000), st.integers(0, 7)), max_size=8),
    keep=st.floats(0, 1),
    tail=st.sampled_from([0, 2, 16]),
)
def test_flipped_and_cut(files, form, flips, keep, tail):
    data = bytearray(files[form])
    for at, bit in flips:
        data[at % len(data)] ^= 1 << bit
    end = bytes(data[-tail:]) if tail else b""
    opened(bytes(data[: int(keep * len(data))]) + end if keep < 0.9 else bytes(data))


@settings(relaxed, max_examples=150)
@given(
    start=st.sampled_from([b"", b"\xff\xd8\xff", b"\x89PNG\r\n\x1a\n", b"RIFF\x10\0\0\0WEBP", b"\0\0\0\x18ftypheic"]),
    rest=st.binary(max_size=400),
)
def test_anything_behind_the_first_bytes(start, rest):
    assert isinstance(opened(start + rest), lt.PhotoError)


@settings(relaxed, max_examples=100)
@given(
    seed=st.integers(0, 2**32 - 1),
    kind=st.sampled_from(
        [
            fuzz.no_file,
            fuzz.odd_name,
            fuzz.array,
            fuzz.huge_header,
            fuzz.segments,
            fuzz.spoiled_exif,
            fuzz.polyglot,
            fuzz.wrong_ending,
        ]
    ),
)
def test_odd_things(files, seed, kind):
    """Pipes, devices, loops, names, arrays, headers that lie; `measure_photo` and `measure_setup` open a photo with the
    same function."""
    folder = Path(tempfile.mkdtemp())
    try:
        opened(kind(np.random.default_rng(seed), files, folder))
    finally:
        shutil.rmtree(folder, ignore_errors=True)


@pytest.mark.parametrize("entry", ["photo", "setup"])
def test_both_ways_in_refuse_what_shows_nothing(files, entry):
    rng = np.random.default_rng(3)
    for photo in (
        b"",
        files["jpeg"][:900],
        files["small png"],
        np.full((600, 600), 90, np.uint8),
        fuzz.noisy_array(rng, files, None),
        np.full((600, 600, 3), np.nan),
    ):
        with pytest.raises(lt.PhotoError):
            lt.measure_photo(photo, CLUB) if entry == "photo" else lt.measure_setup(photo)


def test_a_second_header_does_not_pass_for_the_first(files):
    """Each of these shows the kit a small size and a decoder a huge one; what is decoded is never larger than what is
    allowed."""
    big = (
        b"\xff\xc0" + (17).to_bytes(2, "big") + b"\x08\x75\x30\x75\x30\x03\x01\x22\x00\x02\x11\x01\x03\x11\x01"
    )  # 30000 x 30000
    hidden = b"\xff\xd8\xff\x01\xff\xfe\x00\x13" + big[2:] + files["jpeg"][2:]
    vp8 = b"\x30\x01\x00\x9d\x01\x2a" + (16383).to_bytes(2, "little") * 2 + bytes(300)
    canvas = bytes(4) + (519).to_bytes(3, "little") + (499).to_bytes(3, "little")
    for data in (
        hidden,
        b"\xff\xd8" + big + files["jpeg"][2:],
        fuzz.riff((b"VP8 ", vp8), (b"VP8X", canvas)),
        fuzz.riff((b"VP8X", canvas), (b"VP8 ", vp8)),
    ):
        came = opened(data)
        assert isinstance(came, lt.PhotoError) or came.rgb.size < 150e6


def test_thousands_of_parts_or_scans_are_not_walked_through(files):
    head, scan = files["progressive"].split(b"\xff\xda", 1)
    many = head + (b"\xff\xda" + scan.rsplit(b"\xff\xd9", 1)[0]) * 60 + b"\xff\xd9"
    assert isinstance(opened(many), UnreadablePhoto)
    assert isinstance(opened(b"\xff\xd8" + b"\xff\xfe\0\x02" * 200_000 + files["jpeg"][2:]), UnreadablePhoto)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no pipes on this system")
def test_a_pipe_a_loop_and_a_device_do_not_hang(tmp_path):
    os.mkfifo(tmp_path / "pipe.jpg")
    (tmp_path / "loop.jpg").symlink_to(tmp_path / "loop.jpg")
    (tmp_path / "empty.jpg").write_bytes(b"")
    for path in (
        tmp_path / "pipe.jpg",
        tmp_path / "loop.jpg",
        tmp_path / "empty.jpg",
        tmp_path,
        "/dev/zero",
        "/proc/kmsg",
    ):
        with pytest.raises(UnreadablePhoto):
            lt.measure_photo(path, CLUB)


def test_a_png_part_longer_than_the_file_is_refused_before_room_is_made_for_it():
    data = bytearray(cv2.imencode(".png", np.zeros((900, 1200, 3), np.uint8))[1].tobytes())
    at = data.index(b"IDAT") - 4
    data[at : at + 4] = (900_000_000).to_bytes(4, "big")
    with pytest.raises(lt.PhotoError, match="damaged"):
        lt.measure_photo(bytes(data), lt.Club(label="7", loft_deg=34))


def test_pictures_of_every_kind_are_worked_on_at_one_size():
    """A picture of 48 megapixels took 1.3 GB where it was no JPEG."""
    assert open_photo(np.zeros((6000, 8000), np.uint8)).rgb.shape == (1500, 2000, 3)
    png = open_photo(cv2.imencode(".png", np.zeros((3000, 4001, 3), np.uint8))[1].tobytes())
    assert (png.rgb.shape, png.reduction) == ((1500, 2000, 3), 2)
