"""From impact to where the ball lands: the launch by the collision, and the trajectory, for many shots at once.

Axes and signs: `x` towards the target, `y` to the left of it, `z` up; angles to the left are positive.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from ..base.checks import HANDS
from ..base.errors import InputError
from .air import BALL_MASS_KG, BALL_RADIUS_M, SEA_LEVEL, Air, Array, Model, model_called

GRAVITY_M_S2 = 9.80665  # ISO 80000-3
YARDS_PER_M = 1 / 0.9144
UNITS_PER_M = {"yd": YARDS_PER_M, "m": 1.0}
CARRY_SPREAD = 0.07  # credible published models differ by about this much either way at a mid iron

# Turning inertia of an iron's head about the vertical through its middle: common practice (memory), cavity-backed iron.
HEAD_INERTIA_KG_M2 = 2.5e-4
FRICTION = 0.40  # largest tangential over normal speed given to the ball; Cochran & Stobbs (1968), medium sure

_SPIN_DECAY_PER_M = 2.0e-5 / BALL_RADIUS_M  # Smits & Smith 1994; Penner 2001, eq 16
_BLOCK = 5000  # shots worked on at a time, so that they stay in the processor's cache
# One step is the time for this way at launch speed, or this long: what keeps the landing within 0.05 m
# (tests/bench/flight_accuracy.py).
_STEP_M, _STEP_S = 34.0, 0.6
_STEP_FRACTION = {"closed form": 1.0, "Smits & Smith": 0.5, "table": 0.2}  # models with corners need shorter steps

_LIMITS = {  # the range in which a number can be that quantity, and its unit in words
    "club_speed_m_s": (1, 90, "metres a second"),
    "delivered_loft_deg": (0, 80, "degrees"),
    "attack_deg": (-30, 30, "degrees"),
    "path_deg": (-45, 45, "degrees"),
    "score_heading_deg": (-45, 45, "degrees"),
    "lie_error_deg": (-30, 30, "degrees"),
    "head_mass_kg": (0.1, 0.6, "kilograms"),
    "strike_toe_mm": (-60, 60, "millimetres"),
    "ball_speed_m_s": (1, 120, "metres a second"),
    "launch_deg": (-60, 89, "degrees"),
    "azimuth_deg": (-89, 89, "degrees"),
    "spin_rpm": (0, 20_000, "rpm"),
    "axis_tilt_deg": (-85, 85, "degrees"),
}


@dataclass(frozen=True)
class Launch:
    """How the ball leaves the face, an array a quantity; `fly(**launch.ball)` flies it.

    Attributes
    ----------
    ball_speed_m_s, launch_deg, spin_rpm : ndarray
        Speed, angle above the ground, and spin.
    azimuth_deg : ndarray
        Where the ball starts, left of the target line positive (whatever the golfer's hand).
    axis_tilt_deg : ndarray
        Lean of the spin axis about the ball's first line of flight; positive curves the ball to the left.
    face_heading_deg : ndarray
        Heading of the face's normal, closed positive.
    """

    ball_speed_m_s: np.ndarray
    launch_deg: np.ndarray
    azimuth_deg: np.ndarray
    spin_rpm: np.ndarray
    axis_tilt_deg: np.ndarray
    face_heading_deg: np.ndarray

    @property
    def ball(self) -> dict[str, Any]:
        """The five numbers that `fly` takes, as a dict."""
        return {name: value for name, value in vars(self).items() if name != "face_heading_deg"}


@dataclass(frozen=True)
class Landing:
    """Where and how the ball comes down on level ground, an array a quantity (bounce and roll are not modelled).

    Attributes
    ----------
    carry_m, offline_m : ndarray
        Landing point along the target line and to its left, in metres. Carry is good to ±7 % unless scaled to the
        golfer's own.
    apex_m : ndarray
        Highest point.
    landing_angle_deg : ndarray
        Steepness of the fall, from the ground.
    time_s, landing_spin_rpm : ndarray
        Time in the air, and the spin left.
    path_m : ndarray or None
        With `path_points`: points (x, y, z) at even times from launch to landing, shape (path_points, 3, *shape of the
        shots*).
    """

    carry_m: np.ndarray
    offline_m: np.ndarray
    apex_m: np.ndarray
    landing_angle_deg: np.ndarray
    time_s: np.ndarray
    landing_spin_rpm: np.ndarray
    path_m: np.ndarray | None = None


def from_metres(length_m: float, unit: str) -> float:
    """Return a length in the session's unit, "yd" or "m"."""
    return length_m * _per_metre(unit)


def to_metres(length: float, unit: str) -> float:
    """Return a length given in the session's unit, "yd" or "m", in metres."""
    return length / _per_metre(unit)


def _per_metre(unit: str) -> float:
    if unit not in UNITS_PER_M:
        raise InputError(f'unit is {unit!r}; expected "yd" (yards) or "m" (metres)')
    return UNITS_PER_M[unit]


def check_numbers(**given: ArrayLike) -> dict[str, Array]:
    """Return the arguments as float arrays of one shape, or raise InputError naming argument, value and unit."""
    arrays = {}
    for name, value in given.items():
        low, high, unit = _LIMITS[name]
        try:
            array = np.asarray(value, float)
        except (TypeError, ValueError):
            raise InputError(f"{name} is {value!r}; expected numbers from {low:g} to {high:g} {unit}") from None
        if not array.size:
            raise InputError(f"{name} is empty; expected at least one number from {low:g} to {high:g} {unit}")
        good = (array >= low) & (array <= high)
        if not good.all():
            where = np.flatnonzero(~good.ravel())[0]
            place = f" (shot {where + 1})" if array.ndim else ""
            raise InputError(
                f"{name} is {array.ravel()[where]:g}{place}; expected a number from {low:g} to {high:g} {unit}"
            )
        arrays[name] = array
    try:
        return dict(zip(arrays, np.broadcast_arrays(*arrays.values())))
    except ValueError:
        shapes = ", ".join(f"{name} {array.shape}" for name, array in arrays.items() if array.ndim)
        raise InputError(
            f"the shots do not match in number: {shapes}; expected one number or as many as there are shots"
        ) from None


def launch(
    *,
    club_speed_m_s: ArrayLike,
    delivered_loft_deg: ArrayLike,
    attack_deg: ArrayLike = 0.0,
    path_deg: ArrayLike = 0.0,
    score_heading_deg: ArrayLike = 0.0,
    lie_error_deg: ArrayLike = 0.0,
    head_mass_kg: ArrayLike = 0.27,
    strike_toe_mm: ArrayLike = 0.0,
    handed: str = "right",
) -> Launch:
    """Return how the ball leaves the face, from how the head arrives.

    Parameters
    ----------
    club_speed_m_s, delivered_loft_deg : float or ndarray
        Speed of the head, and loft at impact (static loft less forward shaft lean).
    attack_deg : float or ndarray
        Up positive, down negative.
    path_deg : float or ndarray
        Heading of the head's path, in the same sense as a closed face: to the left for a right-handed golfer.
    score_heading_deg : float or ndarray
        Heading of the score lines' frame, closed positive.
    lie_error_deg : float or ndarray
        Too upright positive. It turns the face's normal by atan(tan loft · sin lie error) to the closed side.
    head_mass_kg : float or ndarray
        Irons 0.27, wedges 0.28 to 0.30 kg (common practice, memory).
    strike_toe_mm : float or ndarray
        How far from the middle of the face. It costs ball speed as the head gives way; its turning is not modelled.
    handed : {"right", "left"}
        A left-handed golfer's launch comes out mirrored: closed then means to the right.

    Returns
    -------
    Launch
        In the shape that the arguments broadcast to.

    Raises
    ------
    InputError
        Naming the argument and its unit.

    Examples
    --------
    A 7-iron that sits 2° too flat starts the ball to the right of the line, which is negative:

    >>> start = launch(club_speed_m_s=36, delivered_loft_deg=28, attack_deg=-4, lie_error_deg=-2)
    >>> round(float(start.ball_speed_m_s), 1), round(float(start.azimuth_deg), 1)
    (46.5, -0.8)

    Notes
    -----
    The first flight lies in the plane of the face's normal and the path, the spin axis square to it: Jorgensen, The
    Physics of Golf, 2nd ed. (1999), Technical Appendix 3. Along the normal e = 0.86 - 0.0029 V (V in m/s), along the
    face the ball rolls when it leaves, or slips at the limit of friction: Penner, Am. J. Phys. 69 (2001) 563-568. The
    face's share of the start direction comes out as measured by Wood, Henrikson and Broadie, Proceedings 2(6) (2018)
    249, up and down, but 4 to 9 points above it to the side.
    """
    if handed not in HANDS:
        raise InputError(f'handed is {handed!r}; expected "right" or "left"')
    shots = check_numbers(
        club_speed_m_s=club_speed_m_s,
        delivered_loft_deg=delivered_loft_deg,
        attack_deg=attack_deg,
        path_deg=path_deg,
        score_heading_deg=score_heading_deg,
        lie_error_deg=lie_error_deg,
        head_mass_kg=head_mass_kg,
        strike_toe_mm=strike_toe_mm,
    )
    loft, attack, path, turn, lie = (
        np.radians(shots[name])
        for name in ("delivered_loft_deg", "attack_deg", "path_deg", "score_heading_deg", "lie_error_deg")
    )
    # The face's normal: level and square, tilted by the lie error about the target axis, then turned about the
    # vertical.
    level, side, high = np.cos(loft), np.sin(loft) * np.sin(lie), np.sin(loft) * np.cos(lie)
    cos, sin = np.cos(turn), np.sin(turn)
    normal = np.array([level * cos - side * sin, level * sin + side * cos, high])
    head = _direction(attack, path) * shots["club_speed_m_s"]
    into = np.sum(head * normal, axis=0)
    along = head - into * normal
    along_speed = np.sqrt(np.sum(along * along, axis=0))
    along /= np.maximum(along_speed, 1e-12)
    # Off the middle the head gives way as if it were lighter.
    reach_m = shots["strike_toe_mm"] / 1000
    ratio = BALL_MASS_KG * (1 / shots["head_mass_kg"] + reach_m * reach_m / HEAD_INERTIA_KG_M2)
    out = (1.86 - 0.0029 * into) * into / (1 + ratio)
    slide = np.minimum(along_speed / (3.5 + ratio), FRICTION * out)
    ball = out * normal + slide * along
    axis = np.cross(along, normal, axis=0)
    speed, launch_rad, azimuth = _polar(ball)
    up, left = _across(launch_rad, azimuth)
    tilt = np.arctan2(np.sum(axis * up, axis=0), -np.sum(axis * left, axis=0))
    mirror = -1.0 if handed == "left" else 1.0
    return Launch(
        ball_speed_m_s=speed,
        launch_deg=np.degrees(launch_rad),
        azimuth_deg=mirror * np.degrees(azimuth),
        spin_rpm=2.5 * slide / BALL_RADIUS_M * (30 / np.pi),
        axis_tilt_deg=mirror * np.degrees(tilt),
        face_heading_deg=np.degrees(np.arctan2(normal[1], normal[0])),
    )


def fly(
    *,
    ball_speed_m_s: ArrayLike,
    launch_deg: ArrayLike,
    azimuth_deg: ArrayLike = 0.0,
    spin_rpm: ArrayLike,
    axis_tilt_deg: ArrayLike = 0.0,
    wind_m_s: Sequence[ArrayLike] = (0.0, 0.0, 0.0),
    air: Air = SEA_LEVEL,
    model: str = "closed form",
    path_points: int = 0,
) -> Landing:
    """Return where each ball lands on level ground.

    Parameters
    ----------
    ball_speed_m_s, launch_deg, azimuth_deg, spin_rpm, axis_tilt_deg : float or ndarray
        As in `Launch`. A ball that starts level or downwards lands where it lies.
    wind_m_s : sequence of three
        Where the wind blows to: along the target line (tail wind positive), to the left, and up. Numbers, or an array
        a shot.
    air : Air
    model : {"closed form", "Smits & Smith", "table"}
        Drag and lift of the ball (see `air.py`).
    path_points : int
        How many points of each path to return as well.

    Returns
    -------
    Landing

    Raises
    ------
    InputError
        Naming the argument and its unit.

    Examples
    --------
    >>> landing = fly(ball_speed_m_s=[50, 54], launch_deg=17, spin_rpm=6000)
    >>> landing.carry_m.round()
    array([141., 155.])

    Notes
    -----
    Drag against the motion through the air, lift along (spin axis × that motion), spin decaying with the way flown
    (Penner 2001). Fourth-order Runge-Kutta in the frame of the spin axis, where lift swaps two components; landing and
    apex from the quintic between the two steps around them. Within 0.05 m of an integration to 1e-10, anywhere from 15
    to 80 m/s, 3° to 55°, 500 to 11 000 rpm, axis ±20°, wind to 10 m/s.
    """
    shots = check_numbers(
        ball_speed_m_s=ball_speed_m_s,
        launch_deg=launch_deg,
        azimuth_deg=azimuth_deg,
        spin_rpm=spin_rpm,
        axis_tilt_deg=axis_tilt_deg,
    )
    shape = shots["ball_speed_m_s"].shape
    wind = _check_wind(wind_m_s, shape)
    forces = model_called(model)
    columns = [array.ravel() for array in shots.values()]
    blocks = -(-columns[0].size // _BLOCK)
    parts = [
        _fly_block(tuple(shot), blown, air, forces, _STEP_FRACTION[model], path_points)
        for *shot, blown in zip(
            *(np.array_split(column, blocks) for column in columns), np.array_split(wind, blocks, axis=1)
        )
    ]
    out = np.concatenate([landed for landed, _ in parts], axis=1).reshape(6, *shape)
    paths = [path for _, path in parts if path is not None]
    path_m = np.concatenate(paths, axis=2).reshape(path_points, 3, *shape) if paths else None
    return replace(Landing(*(quantity[()] for quantity in out)), path_m=path_m)


def _check_wind(wind_m_s: Sequence[ArrayLike], shape: tuple[int, ...]) -> Array:
    try:
        wind = np.array([np.broadcast_to(np.asarray(part, float), shape).ravel() for part in wind_m_s])
    except (TypeError, ValueError):
        wind = np.empty((0, 0))
    if len(wind) != 3 or not (np.abs(wind) <= [[40.0], [40.0], [5.0]]).all():
        raise InputError(
            f"wind_m_s is {wind_m_s!r}; expected three numbers in metres a second: tail wind and wind to the left "
            "from -40 to 40, upwards from -5 to 5"
        )
    return wind


def _direction(up: Array, azimuth: Array) -> Array:
    return np.array([np.cos(up) * np.cos(azimuth), np.cos(up) * np.sin(azimuth), np.sin(up)])


def _polar(vector: Array) -> tuple[Array, Array, Array]:
    level = np.hypot(vector[0], vector[1])
    return np.hypot(level, vector[2]), np.arctan2(vector[2], level), np.arctan2(vector[1], vector[0])


def _across(up: Array, azimuth: Array) -> tuple[Array, Array]:
    """Return the two directions square to a line of flight: the one above it, and the level one to its left."""
    left = np.array([-np.sin(azimuth), np.cos(azimuth), np.zeros_like(azimuth)])
    return np.array([-np.sin(up) * np.cos(azimuth), -np.sin(up) * np.sin(azimuth), np.cos(up)]), left


def _fly_block(
    shots: tuple[Array, ...], wind: Array, air: Air, forces: Model, fraction: float, path_points: int
) -> tuple[Array, Array | None]:
    """Return the six quantities of `Landing`, shape (6, n), and the paths, for one block of shots.

    `shots` are ball speed, launch, azimuth, spin and lean of the axis, an array each, in the units of `fly`.
    """
    speed, launch_deg, azimuth_deg, spin_rpm, tilt_deg = shots
    launch_rad, azimuth, tilt = np.radians(launch_deg), np.radians(azimuth_deg), np.radians(tilt_deg)
    grounded = launch_rad <= 0
    launch_rad = np.where(grounded, 1e-3, launch_rad)
    # Frame of the spin axis: a level direction, the axis, and their cross product. Velocities are metres a step from
    # here on.
    up, left = _across(launch_rad, azimuth)
    axis = up * np.sin(tilt) - left * np.cos(tilt)
    level = np.array([-axis[1], axis[0], np.zeros_like(tilt)]) / np.hypot(axis[0], axis[1])
    frame = np.array([level, axis, np.cross(axis, level, axis=0)])
    step_s = fraction * np.minimum(_STEP_M / speed, _STEP_S)
    drift = wind * step_s
    state = np.empty((4, speed.size))  # three components of the velocity through the air, and the surface speed by spin
    state[:3] = np.einsum("fxn,xn->fn", frame, _direction(launch_rad, azimuth) * speed * step_s - drift)
    state[3] = BALL_RADIUS_M * (np.pi / 30) * spin_rpm * step_s
    gravity = -GRAVITY_M_S2 * step_s * step_s * frame[:, 2]
    reynolds = air.reynolds_per_m_s / step_s

    landings: list[Array] = []
    landed_shots: list[Array] = []
    top = np.zeros((6, speed.size))
    history: list[tuple[int, Array, list[Array]]] = []
    steps = _steps(state, gravity, reynolds, drift[2], frame[1:, 2], air.pull_per_m, forces)
    for index, shot, before, after, turned, landed in steps:
        if path_points:
            history.append((index, shot, [part[:3].copy() for part in (*before, *after)]))
        if turned.size:
            which = shot[turned]
            tilt_up = frame[1:, 2].take(which, axis=1)
            top[:, which] = [np.sum(tilt_up * part[1:3].take(turned, axis=1), axis=0) for part in (*before, *after)]
            top[[0, 1, 3, 4], which[:, None]] += drift[2, which, None] * [index, 1, index + 1, 1]
        if landed.size:
            start = np.full((1, landed.size), float(index))
            landings.append(np.concatenate([start, *(part.take(landed, axis=1) for part in (*before, *after))]))
            landed_shots.append(shot[landed])
    order = np.concatenate(landed_shots)
    back = np.empty_like(order)
    back[order] = np.arange(order.size)
    start, *ends = np.split(np.concatenate(landings, axis=1).take(back, axis=1), [1, 4, 8, 12, 15, 19])
    start = start[0]

    curve = np.einsum("fxn,cfn->cxn", frame, _quintic(*(part[:3] for part in ends)))
    curve[0] += drift * start
    curve[1] += drift
    share = _first_below(curve[:, 2])
    place, velocity = _value(curve, share), _slope(curve, share)
    _, state_before, rate_before, _, state_after, _ = ends
    spin = state_before[3] + share * (rate_before[3] + share * (state_after[3] - state_before[3] - rate_before[3]))
    _, fall, _ = _polar(velocity)
    time = (start + share) * step_s
    out = np.array(
        [*place[:2], _highest(_quintic(*top)), -np.degrees(fall), time, spin / (BALL_RADIUS_M * np.pi / 30 * step_s)]
    )
    out[:, grounded] = 0.0
    out[3, grounded], out[5, grounded] = -launch_deg[grounded], spin_rpm[grounded]
    if not path_points:
        return out, None
    at = np.linspace(0, 1, path_points)[:, None] * time / step_s
    path = np.zeros((path_points, 3, speed.size))
    for index, shot, ends in history:
        row, column = np.nonzero((at[:, shot] >= index) & (at[:, shot] < index + 1 + 1e-9))
        curve = np.einsum("fxn,cfn->cxn", frame[:, :, shot], _quintic(*ends))[:, :, column]
        moment = at[row, shot[column]]
        path[row, :, shot[column]] = (_value(curve, moment - index) + drift[:, shot[column]] * moment).T
    path[:, :, grounded] = 0.0
    return out, path


def _steps(
    state: Array, gravity: Array, reynolds: Array, rise: Array, upward: Array, pull: float, forces: Model
) -> Iterator[tuple[int, Array, tuple[Array, ...], tuple[Array, ...], Array, Array]]:
    """Step all shots until each has landed.

    Yields the step's number, the shots still flying, (place, state, acceleration) at its start and at its end in the
    frame of the spin axis, which of these shots passed their highest point in this step, and which landed. The arrays
    are reused.
    """
    shot = np.arange(state.shape[1])
    now: tuple[Array, ...] = (np.zeros((3, shot.size)), state.copy(), np.empty_like(state))
    _rates(now[1], gravity, reynolds, pull, forces, now[2])
    rising = upward[0] * state[1] + upward[1] * state[2] + rise > 0
    index = 0
    spare: tuple[Array, ...] | None = None
    while shot.size:
        if spare is None:
            spare = *(np.empty_like(part) for part in now), np.empty_like(now[1]), np.empty_like(now[1])
        place, state, rate = now
        end, trial, third, second, fourth = spare
        np.multiply(rate, 0.5, out=trial)
        trial += state
        _rates(trial, gravity, reynolds, pull, forces, second)
        np.multiply(second, 0.5, out=trial)
        trial += state
        _rates(trial, gravity, reynolds, pull, forces, third)
        np.add(third, state, out=trial)
        _rates(trial, gravity, reynolds, pull, forces, fourth)
        second += third
        np.add(rate[:3], second[:3], out=end)
        end *= 1 / 6
        end += place
        end += state[:3]
        np.add(rate, fourth, out=trial)
        trial *= 1 / 6
        second *= 1 / 3
        trial += second
        trial += state
        _rates(trial, gravity, reynolds, pull, forces, third)
        after = end, trial, third
        height, climb = (upward[0] * part[1] + upward[1] * part[2] for part in after[:2])
        still_rising = climb + rise > 0
        down = height + rise * (index + 1) <= 0
        landed = np.flatnonzero(down)
        yield index, shot, now, after, np.flatnonzero(rising > still_rising), landed
        now, spare, rising = after, (*now, second, fourth), still_rising
        index += 1
        if landed.size:
            stay, spare = np.flatnonzero(~down), None
            shot, reynolds, rise, rising = (part.take(stay) for part in (shot, reynolds, rise, rising))
            gravity, upward, *kept = (part.take(stay, axis=1) for part in (gravity, upward, *now))
            now = tuple(kept)


def _rates(state: Array, gravity: Array, reynolds: Array, pull: float, forces: Model, out: Array) -> None:
    """Write the change of `state` a step into `out`."""
    along, axial, across, surface = state
    speed2 = along * along
    speed = axial * axial
    speed2 += speed
    np.multiply(across, across, out=speed)
    speed2 += speed
    np.sqrt(speed2, out=speed)
    drag, lift = forces(speed2, speed, surface, reynolds, pull)
    np.multiply(state[:3], drag, out=out[:3])
    np.subtract(gravity, out[:3], out=out[:3])
    np.multiply(lift, across, out=drag)
    out[0] -= drag
    lift *= along
    out[2] += lift
    speed *= -_SPIN_DECAY_PER_M
    np.multiply(speed, surface, out=out[3])


def _quintic(place: Array, slope: Array, bend: Array, end_place: Array, end_slope: Array, end_bend: Array) -> Array:
    """Return coefficients, lowest first, of the quintic through place, first and second derivative at 0 and at 1."""
    way = end_place - place
    return np.array(
        [
            place,
            slope,
            bend / 2,
            10 * way - 6 * slope - 4 * end_slope - (3 * bend - end_bend) / 2,
            -15 * way + 8 * slope + 7 * end_slope + (3 * bend - 2 * end_bend) / 2,
            6 * way - 3 * (slope + end_slope) - (bend - end_bend) / 2,
        ]
    )


def _value(curve: Array, at: Array | float) -> Array:
    return ((((curve[5] * at + curve[4]) * at + curve[3]) * at + curve[2]) * at + curve[1]) * at + curve[0]


def _slope(curve: Array, at: Array | float) -> Array:
    return (((5 * curve[5] * at + 4 * curve[4]) * at + 3 * curve[3]) * at + 2 * curve[2]) * at + curve[1]


def _first_below(curve: Array) -> Array:
    """Return where a height that starts at or above 0 and ends below it comes down through 0.

    The start is the root of the parabola with the same ends and first slope: launch itself, also a root, is left aside.
    """
    fall = curve[0] + curve[1] - _value(curve, 1.0)
    root = np.sqrt(np.maximum(curve[1] ** 2 + 4 * fall * curve[0], 0))
    rising = curve[1] > 0
    at = np.where(rising, curve[1] + root, 2 * curve[0]) / np.where(rising, 2 * fall, root - curve[1])
    for _ in range(4):
        at -= _value(curve, at) / _slope(curve, at)
    return at


def _highest(curve: Array) -> Array:
    """Return the highest value of a curve that rises at 0 and not at 1 (0 for a curve that is 0 throughout)."""
    start, end = curve[1], _slope(curve, 1.0)
    at = start / np.where(start > end, start - end, 1.0)
    for _ in range(3):
        bend = ((20 * curve[5] * at + 12 * curve[4]) * at + 6 * curve[3]) * at + 2 * curve[2]
        at -= _slope(curve, at) / np.where(bend == 0, 1.0, bend)
    return _value(curve, at)
