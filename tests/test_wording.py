"""What a refusal says: what was given, what was expected, what to do next. Every place that raises one is looked at,
and every reason is provoked."""

import ast
import functools
import pickle
import sqlite3
from pathlib import Path

import cv2
import linetilt as lt
import numpy as np
import pytest
from faces.camera import take_photo
from faces.setup_scene import take_setup_photo
from linetilt.base.errors import InputError, PhotoError
from linetilt.book.store import _SENTENCES
from linetilt.reading.photo import open_photo

SOURCES = sorted(Path(lt.__file__).parent.rglob("*.py"))


def in_words(node):
    """A message of the sources as text, with … for what is filled in."""
    if isinstance(node, ast.Constant):
        return str(node.value)
    if isinstance(node, ast.JoinedStr):
        return "".join(in_words(part) if isinstance(part, ast.Constant) else "…" for part in node.values)
    if isinstance(node, ast.BinOp):
        return in_words(node.left) + in_words(node.right)
    if isinstance(node, ast.IfExp):
        return in_words(node.body) if "expected" not in in_words(node.orelse) else in_words(node.orelse)
    if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute):  # "…".rstrip()
        return in_words(node.func.value)
    return "…"


def raised():
    """Every raise of the kit's errors in its sources: file and line, the class, and the sentence as far as it stands
    there."""
    for path in SOURCES:
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if (
                isinstance(node, ast.Raise)
                and isinstance(node.exc, ast.Call)
                and isinstance(node.exc.func, ast.Name)
                and node.exc.args
            ):
                said, cause = node.exc.args[0], getattr(node.cause, "id", None)
                passed_on = cause and ast.unparse(said) == f"str({cause})"  # another refusal as it is
                yield f"{path.name}:{node.lineno}", node.exc.func.id, ": …" if passed_on else in_words(said)


def test_every_refusal_says_what_was_given_and_what_was_expected():
    found = [(place, sentence) for place, kind, sentence in raised() if kind in ("InputError", "BookError")]
    assert len(found) > 100
    own = [
        (place, sentence) for place, sentence in found if not sentence.endswith(": …")
    ]  # else it passes on another one
    assert [
        f"{place}: {sentence}" for place, sentence in own if "expected" not in sentence and "give bag=" not in sentence
    ] == []
    assert [
        sentence for _, sentence in found if sentence.split("expected")[0].strip() == "" and "…" not in sentence
    ] == []  # nothing said of what was given


def test_every_refusal_says_what_to_do():
    assert str(InputError("loft_deg is 99; expected a number from 2 to 75 degrees")).endswith(
        "; correct it and try again"
    )
    for own in ("x is 1; expected 2; give 2", "x is 1; expected 2. Set it aside", "there is no x; enter it first"):
        assert str(InputError(own)) == own
    nested = InputError(f"row 3: {InputError('x is 1; expected 2')}")
    assert (
        str(nested) == "row 3: x is 1; expected 2; correct it and try again" == str(pickle.loads(pickle.dumps(nested)))
    )
    for place, kind, sentence in raised():
        if kind == "BookError" and "expected" in sentence:
            assert ";" in sentence.split("expected")[-1] or ":" in sentence.split("expected")[-1], place


@pytest.mark.parametrize("code", sorted(_SENTENCES))
def test_what_sqlite_says_is_a_sentence_of_three_parts(tmp_path, code):
    with lt.SessionBook(tmp_path / "shop.linetilt") as book:
        error = sqlite3.OperationalError("as SQLite says it")
        error.sqlite_errorcode = code
        with pytest.raises(lt.BookError) as refusal, book._sentences():
            raise error
    given, expected, todo = (
        str(refusal.value)
        .replace("; nothing of this entry was kept: ", "; ")
        .replace("; nothing of this entry was kept", "")
        .split("; ", 2)
    )
    assert (
        str(tmp_path) in given
        and expected.startswith("expected ")
        and len(todo.split()) > 2
        and "{" not in str(refusal.value)
    )


# Photos: every reason code is provoked

EASY = dict(hard=False, megapixels=1.6, finish="satin", ink="blue")


@functools.cache
def drawn(seed, **options):
    photo = take_photo(seed, **EASY, **options)
    club = lt.Club(label="7", loft_deg=34, handed=photo.handed, score_line_length_mm=photo.head.score_line_length_mm)
    return open_photo(photo.jpeg).rgb, club


def mirrored():
    rgb, club = drawn(601)
    return lt.measure_photo(np.ascontiguousarray(rgb[:, ::-1]), club)


def cut_off():
    rgb, club = drawn(600)
    corners = lt.measure_photo(rgb, club).corners
    return lt.measure_photo(
        np.ascontiguousarray(rgb[:, : int(corners[:, 0].max() - 0.15 * np.ptp(corners[:, 0]))]), club
    )


def glare():
    rgb, club = drawn(612)
    line = lt.measure_photo(rgb, club).line
    length, rgb = np.linalg.norm(line[0] - line[1]), rgb.copy()
    cv2.ellipse(
        rgb, line.mean(0).astype(int).tolist(), (int(0.3 * length), int(0.6 * length)), 0, 0, 360, (255, 255, 255), -1
    )
    return lt.measure_photo(cv2.GaussianBlur(rgb, (0, 0), 3), club)


def two_prints():
    for seed in range(720, 732):  # not every pair is told apart: see test_mark
        try:
            lt.measure_photo(*drawn(seed, prints=2))
        except PhotoError as error:
            if error.code == "two_lines":
                raise
    return None


PROVOKED = {
    "unreadable": lambda: open_photo(b"no picture"),
    "too_large": lambda: open_photo(
        b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR" + (30_000).to_bytes(4, "big") * 2 + bytes(100) + b"IEND\xaeB`\x82"
    ),
    "no_face": lambda: lt.measure_photo(np.full((900, 1200, 3), 128, np.uint8), drawn(600)[1]),
    "face_cut_off": cut_off,
    "no_line": lambda: lt.measure_photo(*drawn(620, prints=0)),
    "two_lines": two_prints,
    "blurred": lambda: lt.measure_photo(cv2.GaussianBlur(drawn(600)[0], (0, 0), 15), drawn(600)[1]),
    "mirrored": mirrored,
    "glare": glare,
    "no_plumb": lambda: lt.measure_setup(
        take_setup_photo(
            304, tilt_deg=3.0, handed="right", reference="cord", background="plain", hard=False, reference_there=False
        ).jpeg
    ),
}


def test_no_reason_is_left_out():
    assert set(PROVOKED) | {"crashed", "stopped"} == set(PhotoError.kinds())  # those two are a batch's: test_batch


@pytest.mark.parametrize("code", sorted(PROVOKED))
def test_a_refused_photo_says_what_was_seen_and_what_to_do(code):
    with pytest.raises(PhotoError) as refusal:
        PROVOKED[code]()
    seen, advice = str(refusal.value).split(". What to do: ")
    assert (
        refusal.value.code == code
        and seen[0].isupper()
        and len(seen.split()) > 2
        and len(advice.split()) > 4
        and advice.endswith(".")
    )
    assert advice.split()[0].rstrip(",") in (
        "save",
        "use",
        "fill",
        "move",
        "draw",
        "wipe",
        "hold",
        "turn",
        "hang",
        "go",
    )  # it begins with what to do


def test_every_kind_of_photo_error_has_advice_of_its_own():
    kinds = [kind for first in PhotoError.__subclasses__() for kind in (first, *first.__subclasses__())]
    assert len({kind.advice for kind in kinds}) == len(kinds) and {kind.code for kind in kinds} == set(
        PhotoError.kinds()
    )
