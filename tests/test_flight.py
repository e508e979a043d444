"""Air, launch and trajectory against standards, published values and an independent integration."""

from pathlib import Path

import linetilt as lt
import numpy as np
import pandas as pd
import pytest
from flight_reference import EXACT, fly_one, smits_smith
from linetilt.flight import air as air_module
from linetilt.flight.trajectory import BALL_MASS_KG, BALL_RADIUS_M

PUBLISHED = Path(__file__).parent / "published"
IRON = {"ball_speed_m_s": 48.0, "launch_deg": 19.0, "spin_rpm": 6500.0}


def polar(azimuth_deg, up_deg):
    """Return the unit vector of a direction."""
    azimuth, up = np.radians(azimuth_deg), np.radians(up_deg)
    return np.array([np.cos(up) * np.cos(azimuth), np.cos(up) * np.sin(azimuth), np.sin(up)])


# Air


@pytest.mark.parametrize(
    ("height_m", "pressure_pa", "density", "viscosity"),
    [
        (0, 101_325, 1.2250, 1.7894e-5),
        (1000, 89_874.6, 1.11164, 1.7579e-5),
        (2000, 79_495.2, 1.00649, 1.7260e-5),
        (3000, 70_108.5, 0.90912, 1.6938e-5),
    ],
)
def test_standard_atmosphere(height_m, pressure_pa, density, viscosity):
    # ISO 2533:1975, by geopotential altitude; heights above sea level from memory.
    air = lt.flight.Air(altitude_m=height_m, temperature_c=15 - 0.0065 * height_m)
    assert air.pressure_pa == pytest.approx(pressure_pa, rel=2e-5)
    assert air.density_kg_m3 == pytest.approx(density, rel=2e-5)
    assert air.viscosity_pa_s == pytest.approx(viscosity, rel=5e-5)


def cipm_2007(t, p, humidity):
    """Density of moist air, Picard et al., Metrologia 45 (2008) 149 (constants from memory; 1.1993 as printed)."""
    kelvin = t + 273.15
    saturated = np.exp(1.2378847e-5 * kelvin**2 - 1.9121316e-2 * kelvin + 33.93711047 - 6.3431645e3 / kelvin)
    x = humidity * (1.00062 + 3.14e-8 * p + 5.6e-7 * t * t) * saturated / p
    z = 1 - p / kelvin * (
        1.58123e-6
        - 2.9331e-8 * t
        + 1.1043e-10 * t * t
        + (5.707e-6 - 2.051e-8 * t) * x
        + (1.9898e-4 - 2.376e-6 * t) * x * x
    )
    z += (p / kelvin) ** 2 * (1.83e-11 - 0.765e-8 * x * x)
    return p * 28.96546e-3 / (z * 8.314472 * kelvin) * (1 - 0.3780 * x)


def test_moist_air_against_cipm_2007():
    assert cipm_2007(20, 101_325, 0.5) == pytest.approx(1.1993, abs=5e-5)
    assert lt.flight.Air(temperature_c=20, humidity_percent=50).density_kg_m3 == pytest.approx(1.1993, rel=4e-4)
    for t in (5, 12, 20, 28, 35):
        for hpa in (800, 950, 1013.25, 1030):
            for humidity in (0, 40, 100):
                ours = lt.flight.Air(temperature_c=t, pressure_hpa=hpa, humidity_percent=humidity).density_kg_m3
                assert ours == pytest.approx(cipm_2007(t, 100 * hpa, humidity / 100), rel=6e-4)


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({"temperature_c": 90}, "temperature_c is 90.*degrees Celsius"),
        ({"humidity_percent": 101}, "humidity_percent is 101.*percent"),
        ({"altitude_m": float("nan")}, "altitude_m is nan.*metres"),
        ({"pressure_hpa": 1000, "altitude_m": 10}, "pressure_hpa and altitude_m are both given"),
    ],
)
def test_air_that_cannot_be_is_refused(given, words):
    with pytest.raises(lt.InputError, match=words):
        lt.flight.Air(**given)


# Drag and lift


@pytest.fixture(scope="module")
def bearman_harvey():
    """Bearman & Harvey, Aeronautical Quarterly 27 (1976) 112-122, figures 7 and 8, digitised; 0.041 m, 1.5e-5 m²/s."""
    table = pd.read_csv(PUBLISHED / "bearman_harvey_1976.csv")
    # The speed and spin at which our ball in our air has the Reynolds number and the spin ratio of the table's row.
    reynolds, ratio = table.speed_m_s * 0.041 / 1.5e-5, table.spin_rpm * 0.0205 / table.speed_m_s
    table["our_speed"] = reynolds / (1e5 * lt.flight.Air().reynolds_per_m_s)
    table["our_spin"] = ratio * table.our_speed / BALL_RADIUS_M
    return table


def test_the_table_model_is_the_published_table(bearman_harvey):
    drag, lift = air_module.coefficients(bearman_harvey.our_speed, bearman_harvey.our_spin, model="table")
    np.testing.assert_allclose(drag, bearman_harvey.drag_coefficient, atol=1e-9)
    np.testing.assert_allclose(lift, bearman_harvey.lift_coefficient, atol=1e-9)


def test_the_closed_form_fits_the_published_table(bearman_harvey):
    drag, lift = air_module.coefficients(bearman_harvey.our_speed, bearman_harvey.our_spin)
    # The speeds of an iron's flight. Slower columns are uneven, and the digitised curves level out at driver speed.
    iron = bearman_harvey.speed_m_s.between(25, 64)
    assert np.sqrt(np.mean((drag - bearman_harvey.drag_coefficient)[iron] ** 2)) < 0.007
    assert np.sqrt(np.mean((lift - bearman_harvey.lift_coefficient)[iron] ** 2)) < 0.007


def test_models_agree_as_well_as_published_ones_do():
    landings = {name: lt.fly(**IRON, axis_tilt_deg=5, model=name) for name in air_module.MODELS}
    # Credible published models spread from 128 to 144 m at a 34° iron.
    assert landings["closed form"].carry_m == pytest.approx(landings["table"].carry_m, rel=0.025)
    assert landings["closed form"].offline_m == pytest.approx(landings["table"].offline_m, rel=0.027)
    assert 1.02 < landings["Smits & Smith"].carry_m / landings["closed form"].carry_m < 144 / 128


# Trajectory


def test_vacuum_is_the_exact_parabola():
    nothing = lt.flight.Air(pressure_hpa=0)
    known = lt.fly(ball_speed_m_s=50, launch_deg=20, spin_rpm=3000, air=nothing)
    assert known.carry_m == pytest.approx(163.8652, abs=5e-5)
    assert known.apex_m == pytest.approx(14.9105, abs=5e-5)
    random = np.random.default_rng(0)
    speed, up = random.uniform(10, 90, 300), random.uniform(1, 85, 300)
    shots = lt.fly(ball_speed_m_s=speed, launch_deg=up, azimuth_deg=3, spin_rpm=0, air=nothing)
    time = 2 * speed * np.sin(np.radians(up)) / 9.80665
    np.testing.assert_allclose(
        np.hypot(shots.carry_m, shots.offline_m), speed * np.cos(np.radians(up)) * time, rtol=1e-9
    )
    np.testing.assert_allclose(shots.time_s, time, rtol=1e-9)
    np.testing.assert_allclose(shots.apex_m, (speed * np.sin(np.radians(up))) ** 2 / 2 / 9.80665, rtol=1e-9)
    np.testing.assert_allclose(shots.landing_angle_deg, up, rtol=1e-9)


def test_against_an_independent_integration():
    corners = [(s, u, r, t) for s in (15, 45, 80) for u in (3, 55) for r in (500, 11_000) for t in (-20, 20)]
    random = np.random.default_rng(1)
    anywhere = np.column_stack(
        [random.uniform(low, high, 24) for low, high in ((15, 80), (3, 55), (500, 11_000), (-20, 20))]
    )
    speed, up, rpm, tilt = np.vstack([corners, anywhere]).T
    for wind in ((0, 0, 0), (10, 0, 0), (-7, 7, 0)):
        ours = lt.fly(
            ball_speed_m_s=speed, launch_deg=up, spin_rpm=rpm, axis_tilt_deg=tilt, azimuth_deg=2, wind_m_s=wind
        )
        for i in range(len(speed)):
            end, time = fly_one(speed[i], up[i], 2, rpm[i], tilt[i], wind, **EXACT)
            assert np.hypot(ours.carry_m[i] - end[0], ours.offline_m[i] - end[1]) < 0.05
            assert ours.time_s[i] == pytest.approx(time, abs=0.003)
            assert ours.landing_spin_rpm[i] == pytest.approx(end[6] / BALL_RADIUS_M * 30 / np.pi, rel=0.002)
            fall = np.degrees(np.arctan2(-end[5], np.hypot(end[3], end[4])))
            assert ours.landing_angle_deg[i] == pytest.approx(fall, abs=0.1)


def test_another_model_against_an_independent_integration():
    end, _ = fly_one(48, 19, 1, 6500, 6, (3, -4, 0), smits_smith, **EXACT)
    ours = lt.fly(**IRON, azimuth_deg=1, axis_tilt_deg=6, wind_m_s=(3, -4, 0), model="Smits & Smith")
    assert (ours.carry_m, ours.offline_m) == pytest.approx((end[0], end[1]), abs=0.05)


def test_mirror_image():
    left = lt.fly(**IRON, azimuth_deg=3, axis_tilt_deg=8, wind_m_s=(2, 4, 0))
    right = lt.fly(**IRON, azimuth_deg=-3, axis_tilt_deg=-8, wind_m_s=(2, -4, 0))
    assert left.offline_m == pytest.approx(-right.offline_m, rel=1e-12)
    assert left.carry_m == pytest.approx(right.carry_m, rel=1e-12)


def test_signs_and_weather():
    plain = lt.fly(**IRON)
    assert plain.offline_m == pytest.approx(0, abs=1e-9)
    assert lt.fly(**IRON, azimuth_deg=2).offline_m > 3
    assert lt.fly(**IRON, axis_tilt_deg=5).offline_m > 3
    assert lt.fly(**IRON, wind_m_s=(0, 5, 0)).offline_m > 3
    assert lt.fly(**IRON, wind_m_s=(5, 0, 0)).carry_m > plain.carry_m > lt.fly(**IRON, wind_m_s=(-5, 0, 0)).carry_m
    assert lt.fly(**IRON, air=lt.flight.Air(temperature_c=35)).carry_m > plain.carry_m
    assert lt.fly(**IRON, air=lt.flight.Air(altitude_m=1500)).carry_m > plain.carry_m + 3
    assert plain.landing_spin_rpm < IRON["spin_rpm"]


def test_shots_do_not_depend_on_their_neighbours():
    random = np.random.default_rng(2)
    shots = {
        "ball_speed_m_s": random.uniform(15, 80, 9001),
        "launch_deg": random.uniform(3, 55, 9001),
        "spin_rpm": random.uniform(500, 11_000, 9001),
    }
    together = lt.fly(**shots)
    for i in (0, 4500, 9000):
        alone = lt.fly(**{name: value[i] for name, value in shots.items()})
        assert together.carry_m[i] == pytest.approx(alone.carry_m, rel=1e-12)
        assert together.apex_m[i] == pytest.approx(alone.apex_m, rel=1e-9)
    assert lt.fly(**{name: value[:6].reshape(2, 3) for name, value in shots.items()}).carry_m.shape == (2, 3)


def test_paths_run_from_launch_over_the_apex_to_the_landing():
    land = lt.fly(
        ball_speed_m_s=[40, 60],
        launch_deg=[30, 12],
        spin_rpm=[8000, 3000],
        azimuth_deg=4,
        wind_m_s=(3, -5, 0),
        path_points=201,
    )
    assert land.path_m.shape == (201, 3, 2)
    np.testing.assert_allclose(land.path_m[0], 0, atol=1e-9)
    np.testing.assert_allclose(land.path_m[-1], [land.carry_m, land.offline_m, [0, 0]], atol=1e-6)
    np.testing.assert_allclose(land.path_m[:, 2].max(axis=0), land.apex_m, atol=0.02)
    assert np.abs(np.diff(land.path_m, 2, axis=0)).max() < 0.05  # smooth: no corner where steps meet


def test_a_ball_hit_into_the_ground_goes_nowhere():
    land = lt.fly(ball_speed_m_s=[30, 30], launch_deg=[-5, 20], spin_rpm=3000, path_points=5)
    assert (land.carry_m[0], land.offline_m[0], land.apex_m[0], land.time_s[0]) == (0, 0, 0, 0)
    assert land.carry_m[1] > 30
    assert not land.path_m[:, :, 0].any()


# Launch


def test_lie_error_turns_the_whole_launch_about_the_target_axis():
    # With path, attack and heading zero the head comes along the target axis, so tilting the face turns everything
    # about it.
    straight = lt.launch(club_speed_m_s=36, delivered_loft_deg=40)
    for lie in (-6.0, 2.0, 10.0):
        tilted = lt.launch(club_speed_m_s=36, delivered_loft_deg=40, lie_error_deg=lie)
        assert tilted.ball_speed_m_s == pytest.approx(straight.ball_speed_m_s, rel=1e-12)
        assert tilted.spin_rpm == pytest.approx(straight.spin_rpm, rel=1e-12)
        turn = np.radians(lie)
        x, _, z = polar(0, straight.launch_deg)
        expected = [x, z * np.sin(turn), z * np.cos(turn)]
        np.testing.assert_allclose(polar(tilted.azimuth_deg, tilted.launch_deg), expected, atol=1e-12)
        # Conventions: heading of the face = atan(tan loft · sin lie error), too upright to the closed side.
        assert tilted.face_heading_deg == pytest.approx(
            np.degrees(np.arctan(np.tan(np.radians(40)) * np.sin(turn))), rel=1e-12
        )


def test_the_collision_keeps_momentum_and_leaves_the_ball_rolling():
    # Recomputed from the outcome: push along the normal and along the face act back on the head, of mass M.
    speed, loft, attack, path, heading, lie, mass = 36.0, 30.0, -4.0, 3.0, -2.0, 1.5, 0.28
    start = lt.launch(
        club_speed_m_s=speed,
        delivered_loft_deg=loft,
        attack_deg=attack,
        path_deg=path,
        score_heading_deg=heading,
        lie_error_deg=lie,
        head_mass_kg=mass,
    )
    level = np.array([np.cos(np.radians(loft)), 0, np.sin(np.radians(loft))])
    tilt = np.array(
        [
            [1, 0, 0],
            [0, np.cos(np.radians(lie)), np.sin(np.radians(lie))],
            [0, -np.sin(np.radians(lie)), np.cos(np.radians(lie))],
        ]
    )
    c, s = np.cos(np.radians(heading)), np.sin(np.radians(heading))
    normal = np.array([[c, -s, 0], [s, c, 0], [0, 0, 1]]) @ tilt @ level
    ball = start.ball_speed_m_s * polar(start.azimuth_deg, start.launch_deg)
    head = speed * polar(path, attack)
    head_after = head - BALL_MASS_KG / mass * ball
    e = 0.86 - 0.0029 * head @ normal  # Penner 2001
    assert (ball - head_after) @ normal == pytest.approx(e * head @ normal, rel=1e-9)
    up, left = polar(start.azimuth_deg, start.launch_deg + 90), polar(start.azimuth_deg + 90, 0)
    tilt_rad = np.radians(start.axis_tilt_deg)
    spin = start.spin_rpm * np.pi / 30 * (up * np.sin(tilt_rad) - left * np.cos(tilt_rad))
    contact = ball + np.cross(spin, -BALL_RADIUS_M * normal)
    along = np.eye(3) - np.outer(normal, normal)
    np.testing.assert_allclose(along @ contact, along @ head_after, atol=1e-9)
    # D-plane (Jorgensen 1999): launch within the plane of the normal and the path.
    assert np.cross(normal, head) @ ball == pytest.approx(0, abs=1e-9)


@pytest.mark.parametrize(
    ("name", "swing", "vertical", "horizontal"),
    [
        (
            "driver",
            {"club_speed_m_s": 45, "delivered_loft_deg": 13, "attack_deg": -1, "head_mass_kg": 0.2},
            (0.83, 0.08),
            (0.76, 0.08),
        ),
        (
            "7-iron",
            {"club_speed_m_s": 36, "delivered_loft_deg": 28, "attack_deg": -4, "head_mass_kg": 0.27},
            (0.81, 0.05),
            (0.69, 0.03),
        ),
        (
            "wedge",
            {"club_speed_m_s": 30, "delivered_loft_deg": 48, "attack_deg": -5, "head_mass_kg": 0.29},
            (0.72, 0.06),
            (0.61, 0.07),
        ),
    ],
)
def test_share_of_the_face_in_the_start_direction(name, swing, vertical, horizontal):
    # Wood, Henrikson, Broadie, Proceedings 2(6) (2018) 249 (table second-hand; the swings are common practice).
    start = lt.launch(**swing)
    share = (start.launch_deg - swing["attack_deg"]) / (swing["delivered_loft_deg"] - swing["attack_deg"])
    assert abs(share - vertical[0]) < vertical[1]
    open_face = lt.launch(**swing, score_heading_deg=-2)
    share = open_face.azimuth_deg / open_face.face_heading_deg
    # A ball that rolls off takes more of its side from the face than was measured: within the spread, or by at most 9
    # points.
    assert -horizontal[1] < share - horizontal[0] < 0.09, name


def test_slipping_limits_the_spin():
    steep = lt.launch(club_speed_m_s=30, delivered_loft_deg=78)
    normal, along = 30 * np.cos(np.radians(78)), 30 * np.sin(np.radians(78))
    ratio = BALL_MASS_KG / 0.27
    assert steep.spin_rpm == pytest.approx(
        2.5 * 0.40 * (1.86 - 0.0029 * normal) * normal / (1 + ratio) / BALL_RADIUS_M * 30 / np.pi, rel=1e-9
    )
    assert steep.spin_rpm < 2.5 * along / (3.5 + ratio) / BALL_RADIUS_M * 30 / np.pi


def test_off_the_middle_costs_speed_alike_to_both_sides():
    middle, toe, heel = lt.launch(club_speed_m_s=36, delivered_loft_deg=30, strike_toe_mm=[0, 15, -15]).ball_speed_m_s
    assert toe == pytest.approx(heel) and 0.90 * middle < toe < 0.98 * middle


def test_left_handed_golfer_is_the_mirror_image():
    swing = {"club_speed_m_s": 36, "delivered_loft_deg": 30, "path_deg": -2, "score_heading_deg": 1, "lie_error_deg": 3}
    right, left = lt.launch(**swing), lt.launch(**swing, handed="left")
    assert lt.fly(**left.ball).offline_m == pytest.approx(-lt.fly(**right.ball).offline_m)
    assert left.face_heading_deg == right.face_heading_deg  # closed stays closed


# Bad input


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({"club_speed_m_s": -30}, "club_speed_m_s is -30; .*metres a second"),
        ({"delivered_loft_deg": 95}, "delivered_loft_deg is 95; .*degrees"),
        ({"attack_deg": float("nan")}, "attack_deg is nan; .*degrees"),
        ({"lie_error_deg": []}, "lie_error_deg is empty; .*degrees"),
        ({"path_deg": [0, 1, 99]}, r"path_deg is 99 \(shot 3\)"),
        ({"path_deg": "left"}, "path_deg is 'left'"),
        (
            {"path_deg": [1, 2], "attack_deg": [1, 2, 3]},
            r"do not match in number: .*attack_deg \(3,\), path_deg \(2,\)",
        ),
        ({"head_mass_kg": 270}, "head_mass_kg is 270; .*kilograms"),
        ({"handed": "both"}, "handed is 'both'"),
    ],
)
def test_launch_refuses_by_name_and_unit(given, words):
    with pytest.raises(lt.InputError, match=words):
        lt.launch(**({"club_speed_m_s": 36, "delivered_loft_deg": 30} | given))


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({"ball_speed_m_s": -1}, "ball_speed_m_s is -1; .*metres a second"),
        ({"launch_deg": 95}, "launch_deg is 95; .*degrees"),
        ({"spin_rpm": float("inf")}, "spin_rpm is inf; .*rpm"),
        ({"spin_rpm": np.array([])}, "spin_rpm is empty"),
        ({"wind_m_s": 5}, "wind_m_s is 5; expected three numbers in metres a second"),
        ({"wind_m_s": (0, float("nan"), 0)}, "wind_m_s is .*metres a second"),
        ({"model": "magic"}, "model is 'magic'; expected one of 'closed form'"),
    ],
)
def test_fly_refuses_by_name_and_unit(given, words):
    with pytest.raises(lt.InputError, match=words):
        lt.fly(**(IRON | given))
