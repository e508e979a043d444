"""Lie geometry against brute force with scipy's rotations, uncertainty against Monte Carlo, published and hand-made
values."""

import math

import numpy as np
import pytest
import uncertainties
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from linetilt import InputError, lie_reading
from linetilt.base.ball import BALL_RADIUS_MM
from linetilt.lie import ball as ball_module
from linetilt.lie.ball import propagate
from linetilt.lie.geometry import ink_shift_mm, lie_from_tilt_deg, print_tilt_deg
from linetilt.lie.hands import (
    handle_change_mm,
    length_change_in,
    lie_change_from_handle_deg,
    lie_change_from_length_deg,
)
from linetilt.lie.start import heading_from_start, start_from_net, start_from_offline
from scipy.optimize import brentq
from scipy.spatial.transform import Rotation


def turned(axis, angle_deg):
    return Rotation.from_euler(axis, angle_deg, degrees=True)


def face_frame(lie_deg, loft_deg, score_heading_deg):
    """Normal, toe and up-the-face directions: a right-handed face built level and square, tilted toe up, then turned
    closed.

    Axes: x to the target, y left, z up. Leaning the face back by the loft about y, toe up is a turn about x that
    lifts -y, closed is a turn about z towards +y.
    """
    pose = turned("z", score_heading_deg) * turned("x", -lie_deg) * turned("y", -loft_deg)
    return pose.apply([[1, 0, 0], [0, -1, 0], [0, 0, 1]])


def line_plane(setup_tilt_deg, line_turn_deg):
    """Normal of the plane of the ball's line: the vertical plane to the target, its top leaned to the toe (-y), then
    turned."""
    return (turned("z", line_turn_deg) * turned("x", setup_tilt_deg)).apply([0, 1, 0])


def brute_force(lie_deg, loft_deg, score_heading_deg, setup_tilt_deg, line_turn_deg):
    """Tilt of the print by cutting planes, and the face's heading."""
    normal, toe, up = face_frame(lie_deg, loft_deg, score_heading_deg)
    along = np.cross(normal, line_plane(setup_tilt_deg, line_turn_deg))
    along *= np.sign(along @ up)
    return math.degrees(math.atan2(along @ toe, along @ up)), math.degrees(math.atan2(normal[1], normal[0]))


def draws(seed, n):
    rng = np.random.default_rng(seed)
    return zip(*(rng.uniform(-half, half, n) for half in (20, 15, 15, 15)), rng.uniform(2, 72, n), strict=True)


def test_tilt_and_inverse_agree_with_cutting_planes():
    for lie, score_heading, setup, turn, loft in draws(1, 400):
        tilt, heading = brute_force(lie, loft, score_heading, setup, turn)
        if abs(tilt) > 60 or abs(heading) > 45:
            continue
        assert print_tilt_deg(lie, loft, heading, setup, turn) == pytest.approx(tilt, abs=1e-9)
        assert lie_from_tilt_deg(tilt, loft, heading, setup, turn) == pytest.approx(lie, abs=1e-9)


def test_tilt_and_ink_shift_agree_with_a_great_circle_traced_on_the_ball():
    for lie, score_heading, setup, turn, loft in draws(2, 60):
        normal, toe, up = face_frame(lie, loft, score_heading)
        plane = line_plane(setup, turn)
        a = np.cross(plane, [0, 0, 1.0])
        a /= np.linalg.norm(a)
        b = np.cross(plane, a)
        angle = np.linspace(0, 2 * np.pi, 200_001)
        circle = BALL_RADIUS_MM * (np.cos(angle)[:, None] * a + np.sin(angle)[:, None] * b)
        depth = circle @ -normal  # the face touches the ball at -normal; the nearest ink prints first
        near = circle[depth > depth.max() - 1e-7]
        print_points = np.column_stack([near @ toe, near @ up])
        spread = print_points - print_points.mean(axis=0)
        direction = np.linalg.svd(spread, full_matrices=False)[2][0]
        tilt = math.degrees(math.atan(direction[0] / direction[1]))
        heading = math.degrees(math.atan2(normal[1], normal[0]))
        if abs(heading) > 45:
            continue
        assert print_tilt_deg(lie, loft, heading, setup, turn) == pytest.approx(tilt, abs=1e-3)
        shift = ink_shift_mm(heading, loft, setup, turn, lie)
        assert abs(shift) == pytest.approx(BALL_RADIUS_MM * math.acos(min(1, depth.max() / BALL_RADIUS_MM)), abs=1e-3)
        heel_side = -(print_points.mean(axis=0) @ [direction[1], -direction[0]]) * np.sign(direction[1])
        assert abs(shift) < 1e-3 or np.sign(shift) == np.sign(heel_side)


small = st.floats(-3, 3)
lofts = st.floats(15, 65)


@given(small, lofts, small, small, small)
def test_first_order_forms(lie, loft, heading, setup, turn):
    """ε ≈ cos λ (θ + sin λ F) − cos² λ δ, to the second and third order of the angles that it drops."""
    tilt = print_tilt_deg(lie, loft, heading, setup, turn)
    c, s = math.cos(math.radians(loft)), math.sin(math.radians(loft))
    first = c * (tilt + s * (heading - turn)) - c * c * setup
    assert lie == pytest.approx(first, abs=0.25)  # 3° to the third power in radians, over cos² 65° and with cross terms
    tiny = 1e-3
    near = print_tilt_deg(tiny * lie, loft, tiny * heading, tiny * setup, tiny * turn)
    assert tiny * lie == pytest.approx(c * (near + s * tiny * (heading - turn)) - c * c * tiny * setup, abs=1e-9)


def test_printed_numbers_of_the_geometry():
    lie = 4.0
    heading = math.degrees(math.atan(math.tan(math.radians(60)) * math.sin(math.radians(lie))))  # score lines square
    assert print_tilt_deg(lie, 60, heading) == pytest.approx(2, abs=0.01)
    assert lie_from_tilt_deg(2, 60) == pytest.approx(1, abs=0.001)  # face square
    assert ink_shift_mm(1, 34) == pytest.approx(0.31, abs=0.005)
    assert lie_change_from_length_deg(0.5, 37, 62.5) == pytest.approx(1.4, abs=0.05)
    # Common practice: half an inch plays 1 to 1.5 degrees more upright, all along a set of irons.
    assert np.all(np.abs(lie_change_from_length_deg(0.5, [38.5, 35.5], [60.5, 64.5]) - 1.25) < 0.4)
    # Level club, square face, true line: upright lines print upright.
    assert print_tilt_deg(0, 34) == 0 == ink_shift_mm(0, 34)


def test_setup_tilt_reads_half_at_45_degrees_of_loft():
    assert print_tilt_deg(0, 45, setup_tilt_deg=0.01) == pytest.approx(0.01 * math.cos(math.radians(45)), rel=1e-5)
    assert lie_from_tilt_deg(0, 45, setup_tilt_deg=0.01) == pytest.approx(-0.005, rel=1e-5)


def test_a_turned_line_acts_as_an_opened_face():
    assert print_tilt_deg(1.5, 40, 6, 2, 2.5) == pytest.approx(print_tilt_deg(1.5, 40, 3.5, 2), abs=1e-12)


def test_toe_down_sends_the_line_from_low_toe_to_high_heel():
    assert print_tilt_deg(-2, 34) < 0
    assert lie_reading(-2.4, 34).lie_error_deg < 0


wide = st.floats(-20, 20)


@given(wide, st.floats(0, 75), wide, wide, wide)
def test_round_trip(lie, loft, heading, setup, turn):
    tilt = print_tilt_deg(lie, loft, heading, setup, turn)
    assume(abs(tilt) <= 60)
    assert lie_from_tilt_deg(tilt, loft, heading, setup, turn) == pytest.approx(lie, abs=1e-9)


@given(wide, st.floats(0, 75), wide, wide, wide)
def test_mirror(lie, loft, heading, setup, turn):
    there = print_tilt_deg(lie, loft, heading, setup, turn)
    assert print_tilt_deg(-lie, loft, -heading, -setup, -turn) == pytest.approx(-there, abs=1e-12)
    assert ink_shift_mm(-heading, loft, -setup, -turn, lie) == pytest.approx(
        -ink_shift_mm(heading, loft, setup, turn, lie), abs=1e-12
    )


def test_arrays_broadcast_and_are_left_alone():
    lie, loft = np.linspace(-5, 5, 11), np.array([[25.0], [56.0]])
    before = lie.copy()
    tilt = print_tilt_deg(lie, loft, 2.0)
    assert tilt.shape == (2, 11)
    assert tilt[1, 3] == print_tilt_deg(lie[3], 56.0, 2.0)
    np.testing.assert_allclose(lie_from_tilt_deg(tilt, loft, 2.0), np.broadcast_to(lie, (2, 11)), atol=1e-9)
    np.testing.assert_array_equal(lie, before)


@settings(max_examples=50)
@given(st.floats(-8, 8), st.floats(15, 65), st.floats(-6, 6), st.floats(-3, 3), st.floats(-3, 3))
def test_sensitivities_against_differences_of_a_bracketing_root_finder(tilt, loft, heading, setup, turn):
    point = np.array([tilt, loft, heading, setup, turn])
    reading = lie_reading(tilt, loft, face_heading_deg=heading, setup_tilt_deg=setup, line_turn_deg=turn)

    def solve(at):
        return brentq(lambda lie: print_tilt_deg(lie, *at[1:]) - at[0], -44, 44, xtol=1e-13)

    assert reading.lie_error_deg == pytest.approx(solve(point), abs=1e-9)
    for place, sensitivity in enumerate(reading.budget["sensitivity"]):
        step = np.zeros(5)
        step[place] = 1e-3
        assert sensitivity == pytest.approx((solve(point + step) - solve(point - step)) / 2e-3, abs=1e-6)


@pytest.mark.parametrize(
    ("tilt", "loft", "heading"), [(2.0, 34, None), (-3.0, 56, None), (4.0, 24, 3.0), (0.0, 46, -4.0)]
)
def test_uncertainty_against_monte_carlo(tilt, loft, heading):
    """JCGM 101:2008 (GUM Supplement 1): propagate the distributions themselves."""
    reading = lie_reading(tilt, loft, face_heading_deg=heading, u_tilt_deg=0.6)
    rng = np.random.default_rng(7)
    n = 200_000
    columns = [rng.normal(value, u, n) for value, u in reading.budget[["value", "u"]].itertuples(index=False)]
    lies = lie_from_tilt_deg(*columns)
    assert reading.lie_error_deg == pytest.approx(lies.mean(), abs=0.03)
    assert reading.u_lie_error_deg == pytest.approx(lies.std(), rel=0.02)
    assert np.mean((lies > reading.low_deg) & (lies < reading.high_deg)) == pytest.approx(0.95, abs=0.005)


def test_uncertainty_against_the_uncertainties_package():
    tilt, loft, heading, setup, turn = (
        uncertainties.ufloat(*pair) for pair in ((2, 0.4), (40, 2), (3, 1), (0.5, 0.6), (-1, 0.8))
    )

    solve = uncertainties.wrap(
        lambda tilt, *rest: brentq(lambda lie: print_tilt_deg(lie, *rest) - tilt, -44, 44, xtol=1e-13)
    )
    lie = solve(tilt, loft, heading, setup, turn)
    reading = lie_reading(
        2,
        40,
        u_tilt_deg=0.4,
        u_loft_deg=2,
        face_heading_deg=3,
        u_face_heading_deg=1,
        setup_tilt_deg=0.5,
        u_setup_tilt_deg=0.6,
        line_turn_deg=-1,
        u_line_turn_deg=0.8,
    )
    assert reading.lie_error_deg == pytest.approx(lie.nominal_value, abs=1e-9)
    assert reading.u_lie_error_deg == pytest.approx(lie.std_dev, rel=1e-5)


def test_budget_adds_up():
    reading = lie_reading(1.5, 34)
    budget = reading.budget
    assert budget["share"].sum() == pytest.approx(1, abs=1e-12)
    assert math.hypot(*budget["contribution_deg"]) == pytest.approx(reading.u_lie_error_deg, rel=1e-12)
    np.testing.assert_allclose(budget["contribution_deg"], np.abs(budget["sensitivity"]) * budget["u"])
    assert reading.high_deg - reading.low_deg == pytest.approx(2 * 1.959964 * reading.u_lie_error_deg, rel=1e-6)


def test_an_unknown_heading_is_counted_not_forgotten():
    known, unknown = lie_reading(2, 45, face_heading_deg=0.0), lie_reading(2, 45)
    assert (known.heading_known, unknown.heading_known) == (True, False)
    assert unknown.lie_error_deg == known.lie_error_deg
    row = unknown.budget.set_index("component").loc["face heading (unknown)"]
    assert row["u"] == ball_module.U_HEADING_UNKNOWN_DEG
    assert row["contribution_deg"] == pytest.approx(0.5 * row["u"], rel=0.01)  # sin λ cos λ
    assert unknown.u_lie_error_deg > 1.3 * known.u_lie_error_deg


def test_propagation_gum_h1():
    """JCGM 100:2008, annex H.1: end-gauge calibration; combined standard uncertainty 32 nm (31.7 before rounding)."""
    length, u, budget = propagate(
        lambda standard, d, d_alpha, theta, alpha, d_theta: (
            standard + d - standard * (d_alpha * theta + alpha * d_theta)
        ),
        [50.000623e6, 215, 0, -0.1, 11.5e-6, 0],
        [25, 9.7, 0.58e-6, 0.41, 1.2e-6, 0.029],
        ["standard", "difference", "expansion difference", "bench", "expansion", "temperature difference"],
        ["nm", "nm", "1/°C", "°C", "1/°C", "°C"],
    )
    assert length == pytest.approx(50.000838e6, abs=0.5)
    assert u == pytest.approx(31.7, abs=0.05)
    np.testing.assert_allclose(budget["contribution"], [25, 9.7, 2.9, 0, 0, 16.6], atol=0.1)
    assert budget["share"].sum() == pytest.approx(1)


def test_propagation_gum_h2():
    """JCGM 100:2008, annex H.2: resistance, reactance and impedance from five correlated sets of readings."""
    readings = np.array(
        [
            [5.007, 4.994, 5.005, 4.990, 4.999],
            [19.663e-3, 19.639e-3, 19.640e-3, 19.685e-3, 19.678e-3],
            [1.0456, 1.0438, 1.0468, 1.0428, 1.0433],
        ]
    )
    mean, u, r = readings.mean(axis=1), readings.std(axis=1, ddof=1) / math.sqrt(5), np.corrcoef(readings)
    printed = {
        (127.732, 0.071): lambda v, i, phi: v / i * np.cos(phi),
        (219.847, 0.295): lambda v, i, phi: v / i * np.sin(phi),
        (254.260, 0.236): lambda v, i, phi: v / i + 0 * phi,
    }
    for (value, uncertainty), function in printed.items():
        got, u_got, budget = propagate(function, mean, u, ["V", "I", "phase"], ["V", "A", "rad"], correlation=r)
        assert got == pytest.approx(value, abs=0.0006)
        assert u_got == pytest.approx(uncertainty, abs=0.0006)
        assert budget["share"].sum() == pytest.approx(1)


def test_heading_from_start_uses_the_published_shares():
    """Wood, Henrikson, Broadie, Proceedings 2(6) (2018) 249 (table second-hand): 76 / 69 / 61 % for driver / 7-iron /
    wedge."""
    for loft, share, u_share in ((10.5, 0.76, 0.08), (34, 0.69, 0.03), (56, 0.61, 0.07)):
        heading = heading_from_start(2.0, loft, 0.0, u_start_deg=0.0, u_path_deg=0.0)
        assert heading.face_heading_deg == pytest.approx(2 / share)
        assert heading.u_face_heading_deg == pytest.approx(2 / share * u_share / share)
    # A ball that starts between face and path: 1 to the closed side along a path 3 to the open side needs a face well
    # closed.
    heading = heading_from_start(1.0, 34, -3.0)
    assert 0.69 * heading.face_heading_deg + 0.31 * -3.0 == pytest.approx(1.0)
    assert heading.budget["share"].sum() == pytest.approx(1)


def test_an_unknown_path_is_counted():
    known, unknown = heading_from_start(1, 34, 0.0), heading_from_start(1, 34)
    assert unknown.face_heading_deg == known.face_heading_deg
    assert unknown.u_face_heading_deg > 1.4 * known.u_face_heading_deg
    assert "path of the head (unknown)" in list(unknown.budget["component"])
    assert unknown.u_face_heading_deg == pytest.approx(
        ball_module.U_HEADING_KNOWN_DEG, abs=0.1
    )  # what that default stands for


def test_start_direction_is_closed_positive_for_both_hands():
    right, left = start_from_net(100, 2000, "right"), start_from_net(100, 2000, "left")
    assert right.start_deg == pytest.approx(math.degrees(math.atan(0.05))) == -left.start_deg
    assert right.u_start_deg == pytest.approx(math.degrees(25 / 2000), rel=0.01) == left.u_start_deg
    assert start_from_offline(-7, 140, "left").start_deg == pytest.approx(math.degrees(math.atan(0.05)))
    near, far = start_from_offline(1, 20, u_left_m=0.3), start_from_offline(7, 140, u_left_m=2)
    assert near.u_start_deg < 1 < far.u_start_deg  # a whole flight has curved
    np.testing.assert_allclose(start_from_net([0, 50], 3000).start_deg, [0, math.degrees(math.atan(1 / 60))])


@given(st.floats(-9, 9), st.floats(33, 46), st.floats(55, 66))
def test_hands_and_length_and_their_inverses(change, length, lie):
    down = handle_change_mm(change, length, lie)
    assert lie_change_from_handle_deg(down, length, lie) == pytest.approx(change, abs=1e-9)
    longer = length_change_in(change, length, lie)
    assume(abs(longer) <= 8)
    assert lie_change_from_length_deg(longer, length, lie) == pytest.approx(change, abs=1e-9)
    assert abs(change) < 1e-6 or (down > 0, longer > 0) == (
        change > 0,
        change > 0,
    )  # lower hands and a longer club both bring the toe up
    # Brute force: the grip's height over the ground, before and after the shaft pivots at the head.
    grip = turned("x", lie).apply([0, length * 25.4, 0])[2]
    assert grip - turned("x", lie - change).apply([0, length * 25.4, 0])[2] == pytest.approx(down, abs=1e-9)
    assert turned("x", lie - change).apply([0, (length + longer) * 25.4, 0])[2] == pytest.approx(grip, abs=1e-9)


def test_hands_first_order():
    assert handle_change_mm(0.01, 37, 62) == pytest.approx(
        math.radians(0.01) * 37 * 25.4 * math.cos(math.radians(62)), rel=1e-3
    )


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: lie_reading(math.nan, 34), "tilt_deg is nan; expected a number from -60 to 60 degrees"),
        (lambda: lie_reading("steep", 34), "tilt_deg is 'steep'"),
        (lambda: lie_reading([1, 2], 34), "expected one number"),
        (lambda: lie_reading(61, 34), "tilt_deg is 61"),
        (lambda: lie_reading(1, 76), "loft_deg is 76; expected a number from 0 to 75 degrees"),
        (lambda: lie_reading(1, None), "loft_deg is None"),
        (lambda: lie_reading(1, 34, u_tilt_deg=0), "u_tilt_deg is 0; expected a standard uncertainty above zero"),
        (lambda: lie_reading(1, 34, u_loft_deg=-1), "u_loft_deg is -1"),
        (lambda: lie_reading(1, 34, face_heading_deg=math.inf), "face_heading_deg is inf"),
        (lambda: lie_from_tilt_deg(60, 75, 45), "no lie error prints that; expected one within 45 degrees"),
        (lambda: print_tilt_deg([0, 46], 34), "lie_error_deg is 46"),
        (lambda: print_tilt_deg([0, 1], [30, 40, 50]), "different numbers of values"),
        (lambda: start_from_net(10, 2000, "both"), 'handed is \'both\'; expected "right" or "left"'),
        (
            lambda: start_from_net(10, 2000, u_left_mm=-1),
            "u_left_mm is -1; expected a number from 0 to 2000 millimetres",
        ),
        (lambda: start_from_offline(1, 0), "distance_m is 0"),
        (lambda: handle_change_mm(1, 37, 85), "lie_deg is 85"),
        (lambda: lie_change_from_handle_deg(-250, 18, 80), "past upright"),
        (lambda: heading_from_start(None, 34), "start_deg is None"),
    ],
)
def test_refusals_name_the_argument_and_what_is_expected(call, words):
    with pytest.raises(InputError) as refusal:
        call()
    assert words in str(refusal.value)
