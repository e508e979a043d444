"""Where the ink is, on faces made by hand: colours that are common on the face are not ink, specks are not its
edges."""

import numpy as np
import pytest
from linetilt.base.errors import NoLine, TwoLines
from linetilt.reading.evidence import Why
from linetilt.reading.ink.band import fit_band
from linetilt.reading.ink.choice import find_band
from linetilt.reading.ink.colour import ink_look, rarity
from test_prints import U, V, bitten, face, stroke

FINISH, RUST, INK, OTHER_INK, PALE_INK = (
    np.array(colour, float) for colour in ((130, 130, 132), (96, 62, 44), (66, 64, 70), (120, 50, 110), (96, 150, 120))
)


def rusty(seed, share):
    """A grainy face (H, W, 3) of which `share` is rust, in patches of about a millimetre."""
    rng = np.random.default_rng(seed)
    grain = rng.normal(0, 1, (len(V), len(U)))
    for axis in (0, 1):
        grain = np.apply_along_axis(np.convolve, axis, grain, np.ones(9), "same")
    is_rust = grain > np.quantile(grain, 1 - share)
    return np.where(is_rust[..., None], RUST, FINISH) + rng.normal(0, 6, (*is_rust.shape, 3))


def leaning(ink, slope, aside=0.0):
    """An upright map leaning by `slope` about 15 mm up, `aside` mm to the toe."""
    shift = np.rint((slope * (V - 15) + aside) * 8).astype(int)
    return np.stack([np.roll(row, by) for row, by in zip(ink, shift)])


def refusal(flat):
    """The kind of refusal that a face leads to; None where a print is found."""
    found = find_band(flat)
    return found.reason.kind if isinstance(found, Why) else None


def inked(colour, ink, tone):
    return np.where(ink[..., None] > 0, tone, colour).astype(np.float32)


@pytest.mark.parametrize("seed", range(6))
def test_a_print_is_read_among_rust_that_stands_out_more(seed):
    """The rust differs from the face by 119 in colour, the ink by 111, and there is ten times as much of it."""
    slope = np.tan(np.radians(3.0))
    band = find_band(face(inked(rusty(seed, 0.25), leaning(bitten(stroke(), seed), slope), INK)))
    assert abs(np.degrees(np.arctan(band.slope)) - 3.0) < max(3 * np.degrees(band.u_slope), 0.3)
    assert abs(band.toe_mm) < 0.5 and band.u_slope < np.tan(np.radians(1.5))


@pytest.mark.parametrize("seed", range(6))
def test_a_second_print_of_another_colour_is_refused(seed):
    colour = inked(rusty(seed, 0.02), leaning(bitten(stroke(), seed), 0.03), INK)
    second = leaning(bitten(stroke(), seed + 50), -0.08, aside=5.0)
    assert refusal(face(inked(colour, second, OTHER_INK))) is TwoLines


def test_a_second_print_of_a_third_of_the_contrast_is_mostly_refused():
    refused = 0
    for seed in range(8):
        colour = inked(rusty(seed, 0.0), leaning(bitten(stroke(), seed), 0.03), INK - 25)
        second = leaning(bitten(stroke(), seed + 50), -0.08, aside=5.0)
        refused += refusal(face(inked(colour, second, PALE_INK))) is TwoLines
    assert refused >= 7


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("tone, refused", [(INK, True), (FINISH + 90, False)])
def test_an_even_stroke_beside_a_print_counts_by_its_ink(tone, refused, seed):
    """Of the print's own ink it may be a thin, full print; a bright one is a scratch."""
    colour = inked(rusty(seed, 0.0), leaning(bitten(stroke(), seed), 0.03), INK)
    flat = face(inked(colour, leaning(stroke(1.6), -0.08, aside=9.0), tone))
    if refused:
        assert refusal(flat) in (TwoLines, NoLine)
    else:
        assert abs(find_band(flat).slope - 0.03) < np.tan(np.radians(1.5))


def test_two_patchy_prints_side_by_side_are_mostly_refused():
    """Each lies in the flank of the other, which makes it look noisy there."""
    refused = 0
    for seed in range(12):
        first, second = (bitten(bitten(stroke(1.9), seed + k), seed + k + 7) for k in (0, 50))
        colour = inked(inked(rusty(seed, 0.0), leaning(first, 0.03), INK), leaning(second, -0.04, aside=7.0), INK + 15)
        noisy = colour + np.random.default_rng(seed).normal(0, 8, colour.shape).astype(np.float32)
        refused += refusal(face(noisy)) in (TwoLines, NoLine)
    assert refused >= 9


def test_specks_beside_a_print_do_not_move_its_edges():
    """Specks of a tenth of a square millimetre, one in every fourth row."""
    rng = np.random.default_rng(4)
    ink = leaning(bitten(stroke(), 2), 0.05)
    clear = face().clear
    plain = fit_band(ink, U, V, clear, 0.0, 0.0, 15.0, 3.1)
    speckled = ink.copy()
    for row in range(0, len(V) - 2, 4):
        at = np.searchsorted(U, rng.choice([-1, 1]) * rng.uniform(1.8, 2.8))
        speckled[row : row + 2, at : at + 3] = 1
    spotted = fit_band(speckled, U, V, clear, 0.0, 0.0, 15.0, 3.1)
    assert spotted.slope == pytest.approx(plain.slope, abs=0.01) and spotted.width_mm == pytest.approx(
        plain.width_mm, abs=0.15
    )


def test_rarity_follows_how_often_a_colour_is_seen():
    """Independent: the share of the face that has the colour, counted."""
    rng = np.random.default_rng(7)
    face_colours = np.concatenate(
        [FINISH + rng.normal(0, 6, (7000, 3)), RUST + rng.normal(0, 6, (2900, 3)), INK + rng.normal(0, 6, (100, 3))]
    )
    finish, rust, ink, unseen = rarity(face_colours, np.array([FINISH, RUST, INK, [250, 20, 20]], float))
    assert finish == rust == 0 and 0.3 < ink < unseen == 5


def test_colours_of_the_flanks_are_taken_out_of_the_lane():
    """A lane that is half rust: the map must tell ink from rust, though both are dark."""
    rng = np.random.default_rng(8)
    some = lambda colour, count: colour - FINISH + rng.normal(0, 3, (count, 3))
    look, noise = ink_look(
        np.concatenate([some(INK, 600), some(RUST, 600), some(FINISH, 300)]),
        np.concatenate([some(RUST, 900), some(FINISH, 2000)]),
        True,
    )
    on, off = look(some(INK, 500)), look(some(RUST, 500))
    assert noise < 0.1 and np.median(on) > 0.8 and np.percentile(off, 95) < 0.35
