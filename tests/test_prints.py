"""What tells a print from a scratch or a shadow, on ink maps and faces made by hand: dimples of 3.5 to 4 mm and bare
score lines are common practice, no source."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from linetilt.reading.evidence import Reason
from linetilt.reading.ink.band import Band
from linetilt.reading.ink.choice import find_band
from linetilt.reading.ink.flat import FlatFace
from linetilt.reading.ink.prints import check_print, shape_of

RATE, LINES = 8.0, tuple(3.5 * k for k in range(10))
BAND = Band(0.0, 0.005, 0.0, 0.1, 15.0, 0.9, 2.6, 0.1, 5.0, 25.0, 0.8, 0.02, 0.0)
U, V = np.arange(-25, 25, 1 / RATE), np.arange(38, -6, -1 / RATE)


def face(colour=None):
    clear = np.abs(V[:, None] - np.array(LINES)).min(axis=1) >= 0.5
    field = np.broadcast_to((np.abs(U) < 24)[None, :] & (V > -2)[:, None] & (V < 34)[:, None], (len(V), len(U)))
    return FlatFace(
        np.full((len(V), len(U), 3), 120, np.float32) if colour is None else colour, U, V, RATE, clear, field
    )


def stroke(width=2.6, bend=0.0):
    """An even stroke from 5 to 25 mm up, bent by `bend` mm in its middle."""
    middle = bend * np.cos((V - 15) / 20 * np.pi)[:, None]
    return ((np.abs(U[None, :] - middle) < width / 2) & (V > 5)[:, None] & (V < 25)[:, None]).astype(np.float32)


def bitten(ink, seed):
    """Dimples along both edges, as a ball's pattern happens to lie."""
    rng = np.random.default_rng(seed)
    for up in np.arange(5.0, 26.0, 4.0):
        aside = rng.choice([-1, 1]) * rng.uniform(0.8, 2.2)
        ink = np.where((U[None, :] - aside) ** 2 + (V[:, None] - up - rng.uniform(-0.5, 0.5)) ** 2 < 1.8**2, 0, ink)
    return ink.astype(np.float32)


@pytest.mark.parametrize("width, bend", [(2.6, 0.0), (1.6, 0.0), (2.6, 0.8), (1.2, -0.6)])
def test_even_edges_are_no_print(width, bend):
    assert shape_of(stroke(width, bend), face(), replace(BAND, width_mm=width)).even
    grain = np.random.default_rng(0).normal(0, 3, (len(V), len(U), 3)).astype(np.float32)
    found = find_band(face(120 - 60 * np.repeat(stroke(width, bend)[..., None], 3, axis=2) + grain))
    assert found.reason is Reason.EVEN_EDGES


@pytest.mark.parametrize("seed", range(4))
def test_specks_at_an_even_stroke_do_not_make_it_a_print(seed):
    """Rust or dirt that touches a scratch in one row of eight: its inside stays full."""
    rng, ink = np.random.default_rng(seed), stroke(1.6)
    for row in rng.choice(np.nonzero((V > 6) & (V < 24))[0], 18, replace=False):
        side = rng.choice([-1, 1])
        ink[row, (side * U > 0) & (side * U < 0.8 + rng.uniform(0.6, 1.2))] = 1
    assert shape_of(ink, face(), replace(BAND, width_mm=1.6)).even


@pytest.mark.parametrize("seed", range(8))
def test_edges_bitten_by_dimples_are_a_print(seed):
    shape = shape_of(bitten(stroke(), seed), face(), BAND)
    assert shape.hollow > 0.5 and not shape.even


def test_two_prints_side_by_side_leave_the_middle_hollow():
    ink = np.where(np.abs(U)[None, :] < 0.7, 0, bitten(stroke(4.4), 3))
    assert shape_of(ink, face(), replace(BAND, width_mm=4.4)).hollow < 0.3


@pytest.mark.parametrize("in_lines, refused", [(0.0, False), (0.5, False), (1.0, True), (2.5, False)])
def test_what_runs_through_the_score_lines_is_no_print(in_lines, refused):
    """In the score lines the step in colour is `in_lines` times that beside them; what differs even more there is their
    own paint."""
    groove = np.abs(V[:, None] - np.array(LINES)).min(axis=1) < 0.35
    step = -40 * stroke() * np.where(groove, in_lines, 1.0)[:, None]
    colour = (120 + step)[..., None] * np.ones(3)
    frame = SimpleNamespace(lines=[(up, -25, 25) for up in LINES], pitch_mm=3.5)
    why = check_print(face(colour.astype(np.float32)), frame, BAND)
    assert (why is not None and why.reason is Reason.THROUGH_LINES) if refused else why is None


def test_light_in_the_score_lines_is_not_the_mark_running_through_them():
    """A red mark beside the score lines, and in them a grey step of the same size along it: light or chipped paint."""
    groove = np.abs(V[:, None] - np.array(LINES)).min(axis=1) < 0.35
    red, grey = np.array([10.0, -45, -40]), np.array([35.0, 35, 35]) * -1
    colour = 120 + stroke()[..., None] * np.where(groove[:, None, None], grey, red)
    frame = SimpleNamespace(lines=[(up, -25, 25) for up in LINES], pitch_mm=3.5)
    assert check_print(face(colour.astype(np.float32)), frame, BAND) is None
    colour = 120 + stroke()[..., None] * red
    assert check_print(face(colour.astype(np.float32)), frame, BAND).reason is Reason.THROUGH_LINES


@pytest.mark.parametrize("toe_side, refused", [(60, True), (150, False)])
def test_the_edge_of_tape_is_no_print(toe_side, refused):
    """Heel side 150 and mark 65: with 60 on the toe side the mark is one side of an edge, with 150 on both it is a
    print."""
    colour = np.broadcast_to(np.where(U > -1.3, toe_side, 150.0)[None, :, None], (len(V), len(U), 3)).astype(np.float32)
    groove = np.abs(V[:, None] - np.array(LINES)).min(axis=1) < 0.35
    inked = (bitten(stroke(), 5) > 0) & ~groove[:, None]
    frame = SimpleNamespace(lines=tuple((up, -25.0, 25.0) for up in LINES), pitch_mm=3.5)
    flat = face(np.where(inked[..., None], 65, colour).astype(np.float32))
    why = check_print(flat, frame, BAND)
    assert (why is not None and why.reason is Reason.EDGE_OF_ELSE) if refused else why is None
