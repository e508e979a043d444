"""From the tilt of a printed line to the lie error, with its uncertainty budget; what hands and length do to the lie.

Signs are in handed-neutral words: toe and heel, closed and open. A left-handed golfer's tilts need no change; directions
seen from behind the ball (left, right) are mirrored here once, in `start_from_net` and `start_from_offline`.
"""

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import pandas as pd

from ..base.ball import BALL_RADIUS_MM
from ..base.club import HANDS, check_number
from ..base.errors import InputError
from ..base.statistics import COVERAGE_FACTOR
from ..base.units import MM_PER_INCH

# Standard uncertainties where the fitter says nothing, in degrees: common practice, no source.
U_TILT_DEG = 0.5  # one print read by hand or eye; a measured photo brings its own
U_LOFT_DEG = 2.5  # loft delivered against the loft on the club: the shaft leans by a few degrees
U_SETUP_TILT_DEG = 0.7  # the ball's line against plumb, set by eye
U_LINE_TURN_DEG = 0.7  # the ball's line against the target line, set by eye
U_HEADING_UNKNOWN_DEG = 2.75  # where the face points, shot to shot and golfer to golfer, when nobody saw the ball start
U_HEADING_KNOWN_DEG = 1.5  # a heading from a start direction whose path is unknown (see `heading_from_start`)
U_START_DEG = 0.5  # start direction read by a launch monitor
U_PATH_DEG = 1.0  # path read by a launch monitor
U_PATH_UNKNOWN_DEG = 3.0  # the head's path against the target line when nobody measured it
U_NET_SPOT_MM = 25.0  # where on the net the ball hit, and where it was aimed
CURVE_DOUBT_DEG_PER_M = (
    0.02  # a flight curves about in proportion to its length: some 3° at 150 m for 3° of face to path
)

# Share of the start direction that follows the face, the rest follows the path, with its spread between golfers: driver,
# 7-iron, wedge. Wood, Henrikson, Broadie, Proceedings 2(6) (2018) 249. The lofts are usual ones put to those clubs here.
SHARE_LOFT_DEG = (10.5, 34.0, 56.0)
FACE_SHARE = (0.76, 0.69, 0.61)
U_FACE_SHARE = (0.08, 0.03, 0.07)

_RANGES = {
    "tilt_deg": (-60.0, 60.0, "degrees"),
    "lie_error_deg": (-45.0, 45.0, "degrees"),
    "loft_deg": (0.0, 75.0, "degrees"),
    "face_heading_deg": (-45.0, 45.0, "degrees"),
    "setup_tilt_deg": (-45.0, 45.0, "degrees"),
    "line_turn_deg": (-45.0, 45.0, "degrees"),
    "start_deg": (-45.0, 45.0, "degrees"),
    "path_deg": (-45.0, 45.0, "degrees"),
    "lie_change_deg": (-10.0, 10.0, "degrees"),
    "lie_deg": (45.0, 80.0, "degrees"),
    "length_in": (18.0, 50.0, "inches"),
    "handle_mm": (-250.0, 250.0, "millimetres"),
    "change_in": (-8.0, 8.0, "inches"),
    "left_mm": (-20_000.0, 20_000.0, "millimetres"),
    "distance_mm": (100.0, 50_000.0, "millimetres"),
    "left_m": (-300.0, 300.0, "metres"),
    "distance_m": (0.1, 400.0, "metres"),
}


class StartDirection(NamedTuple):
    """Where a ball started: `start_deg` against the target line, closed side positive, and its standard uncertainty."""

    start_deg: float
    u_start_deg: float


@dataclass(frozen=True, eq=False)
class FaceHeading:
    """The face's heading at impact, closed positive, with its standard uncertainty and the budget behind it."""

    face_heading_deg: float
    u_face_heading_deg: float
    budget: pd.DataFrame


@dataclass(frozen=True, eq=False)
class LieReading:
    """What one print says about the lie.

    Attributes
    ----------
    lie_error_deg, u_lie_error_deg : float
        Lie error at impact (too upright positive) and its standard uncertainty, in degrees.
    low_deg, high_deg : float
        95 % interval: 1.96 standard uncertainties either way, in degrees.
    heading_known : bool
        False where the face's heading was not given and counts as a component of the uncertainty instead.
    budget : DataFrame
        A row a component: component, value, unit, u (standard uncertainty, in that unit), sensitivity (degrees of lie
        a unit), contribution_deg, share (of the variance; the shares add up to 1).
    """

    lie_error_deg: float
    u_lie_error_deg: float
    low_deg: float
    high_deg: float
    heading_known: bool
    budget: pd.DataFrame


def lie_reading(
    tilt_deg,
    loft_deg,
    *,
    u_tilt_deg=U_TILT_DEG,
    face_heading_deg=None,
    u_face_heading_deg=None,
    setup_tilt_deg=0.0,
    u_setup_tilt_deg=U_SETUP_TILT_DEG,
    line_turn_deg=0.0,
    u_line_turn_deg=U_LINE_TURN_DEG,
    u_loft_deg=U_LOFT_DEG,
):
    """Turn the tilt of one printed line into a lie error with its uncertainty.

    Parameters
    ----------
    tilt_deg, u_tilt_deg : float
        Tilt of the print in the plane of the face, top towards the toe positive, and its standard uncertainty, in degrees.
    loft_deg, u_loft_deg : float
        Loft delivered at impact (static loft less forward shaft lean) and its standard uncertainty, in degrees.
    face_heading_deg : float, optional
        Heading of the face at impact, closed positive, in degrees (see `heading_from_start`). None: unknown.
    u_face_heading_deg : float, optional
        Its standard uncertainty, in degrees. Default `U_HEADING_KNOWN_DEG` where a heading is given, else
        `U_HEADING_UNKNOWN_DEG` about square: an unknown heading is never taken as known to be square.
    setup_tilt_deg, u_setup_tilt_deg : float
        Lean of the ball's line from plumb before the hit, top towards the toe's side positive, in degrees.
    line_turn_deg, u_line_turn_deg : float
        Heading of the ball's line against the target line, in the sense of a closed face, in degrees.

    Returns
    -------
    LieReading

    Raises
    ------
    InputError
        When a number cannot be what it is called, or no lie can print that tilt.

    Notes
    -----
    The geometry is exact (see `lie_from_tilt_deg`); the uncertainty is propagated to first order (JCGM 100:2008, 5.1.2).
    """
    heading_known = face_heading_deg is not None
    if u_face_heading_deg is None:
        u_face_heading_deg = U_HEADING_KNOWN_DEG if heading_known else U_HEADING_UNKNOWN_DEG
    given = {
        "tilt_deg": tilt_deg,
        "loft_deg": loft_deg,
        "face_heading_deg": face_heading_deg if heading_known else 0.0,
        "setup_tilt_deg": setup_tilt_deg,
        "line_turn_deg": line_turn_deg,
    }
    doubts = {
        "u_tilt_deg": u_tilt_deg,
        "u_loft_deg": u_loft_deg,
        "u_face_heading_deg": u_face_heading_deg,
        "u_setup_tilt_deg": u_setup_tilt_deg,
        "u_line_turn_deg": u_line_turn_deg,
    }
    values = [_number(name, value) for name, value in given.items()]
    doubts = [_doubt(name, value, allow_zero=name != "u_tilt_deg") for name, value in doubts.items()]
    lie_from_tilt_deg(*values)  # refuses what no lie can print
    names = (
        "tilt of the print",
        "loft delivered",
        "face heading" if heading_known else "face heading (unknown)",
        "setup tilt of the ball's line",
        "turn of the ball's line",
    )
    lie, u_lie, budget = propagate(_lie_of, values, doubts, names, ["deg"] * len(names))
    reach = COVERAGE_FACTOR * u_lie
    budget = budget.rename(columns={"contribution": "contribution_deg"})
    return LieReading(lie, u_lie, lie - reach, lie + reach, heading_known, budget)


def propagate(function, values, uncertainties, names, units, correlation=None):
    """Propagate standard uncertainties through `function` to first order.

    Parameters
    ----------
    function : callable
        Takes the values as positional arguments; must accept complex numbers (numpy's functions do), because the
        sensitivities are taken by a complex step and are exact to rounding.
    values, uncertainties : sequence of float
    names, units : sequence of str
        For the table.
    correlation : (n, n) array, optional
        Correlation coefficients; default independent.

    Returns
    -------
    value, uncertainty : float
    budget : DataFrame
        component, value, unit, u, sensitivity, contribution (sensitivity times u, as a size), share of the variance. The shares
        add up to 1; with correlations one of them may be negative.

    Notes
    -----
    JCGM 100:2008 (GUM), equations 10, 13 and 16.
    """
    values, u = np.asarray(values, float), np.asarray(uncertainties, float)
    step = 1e-30
    sensitivity = np.array([np.imag(function(*(values + 1j * step * unit))) / step for unit in np.eye(len(values))])
    signed = sensitivity * u
    parts = signed * (signed if correlation is None else np.asarray(correlation) @ signed)
    variance = parts.sum()
    budget = pd.DataFrame(
        {
            "component": list(names),
            "value": values,
            "unit": list(units),
            "u": u,
            "sensitivity": sensitivity,
            "contribution": np.abs(signed),
            "share": parts / variance if variance > 0 else np.nan,
        }
    )
    return float(function(*values)), math.sqrt(variance), budget


def print_tilt_deg(lie_error_deg, loft_deg, face_heading_deg=0.0, setup_tilt_deg=0.0, line_turn_deg=0.0):
    """Return the tilt that the ball's line prints on the face, in degrees, exactly.

    Parameters
    ----------
    lie_error_deg, loft_deg, face_heading_deg, setup_tilt_deg, line_turn_deg : float or array
        As in `lie_reading`, in degrees; they broadcast.

    Returns
    -------
    float or array

    Raises
    ------
    InputError
    """
    lie, loft, *line = _arrays(
        lie_error_deg=lie_error_deg,
        loft_deg=loft_deg,
        face_heading_deg=face_heading_deg,
        setup_tilt_deg=setup_tilt_deg,
        line_turn_deg=line_turn_deg,
    )
    return _tilt_of(lie, loft, *line)


def lie_from_tilt_deg(tilt_deg, loft_deg, face_heading_deg=0.0, setup_tilt_deg=0.0, line_turn_deg=0.0):
    """Return the lie error that prints a tilt, in degrees: the exact inverse of `print_tilt_deg`, by iteration.

    Takes what that takes, with the tilt in the lie error's place; raises InputError also where no lie error within 45° prints such a tilt.
    """
    tilt, *rest = _arrays(
        tilt_deg=tilt_deg,
        loft_deg=loft_deg,
        face_heading_deg=face_heading_deg,
        setup_tilt_deg=setup_tilt_deg,
        line_turn_deg=line_turn_deg,
    )
    lie = _lie_of(tilt, *rest)
    wrong = ~((np.abs(lie) <= 45) & (np.abs(_tilt_of(lie, *rest) - tilt) < 1e-9))
    if np.any(wrong):
        row = [np.broadcast_to(part, np.shape(wrong))[wrong][0] for part in (tilt, *rest)]
        raise InputError(
            f"tilt_deg is {row[0]:g} at a loft_deg of {row[1]:g} and a face_heading_deg of {row[2]:g}; no lie error prints that; "
            "expected one within 45 degrees; check the tilt, the loft and the heading"
        )
    return lie


def ink_shift_mm(face_heading_deg, loft_deg, setup_tilt_deg=0.0, line_turn_deg=0.0, lie_error_deg=0.0):
    """Return how far to the heel side of the point of contact the ink passes, in mm (negative: to the toe side).

    Add it to a mark's ``strike_toe_mm`` to get where the ball's middle met the face.

    Parameters
    ----------
    face_heading_deg, loft_deg, setup_tilt_deg, line_turn_deg, lie_error_deg : float or array
        As in `lie_reading`, in degrees; they broadcast.

    Returns
    -------
    float or array
        Measured along the ball's surface, about ``BALL_RADIUS_MM * (cos(loft) * heading + sin(loft) * setup tilt)``.

    Raises
    ------
    InputError
    """
    heading, loft, lean, turn, lie = np.radians(
        np.broadcast_arrays(
            *_arrays(
                face_heading_deg=face_heading_deg,
                loft_deg=loft_deg,
                setup_tilt_deg=setup_tilt_deg,
                line_turn_deg=line_turn_deg,
                lie_error_deg=lie_error_deg,
            )
        )
    )
    sin_eta = np.sin(loft) * np.cos(lie)
    across = np.sqrt(1 - sin_eta**2) * np.sin(heading - turn) * np.cos(lean) + sin_eta * np.sin(lean)
    return BALL_RADIUS_MM * np.arcsin(across)


def heading_from_start(start_deg, loft_deg, path_deg=None, *, u_start_deg=U_START_DEG, u_path_deg=None):
    """Turn the direction in which a ball started into the heading of the face.

    Parameters
    ----------
    start_deg, u_start_deg : float
        Start direction against the target line, closed side positive, and its standard uncertainty, in degrees
        (`start_from_net`, `start_from_offline`, or a launch monitor).
    loft_deg : float
        Loft delivered, in degrees; decides how much of the direction is the face's.
    path_deg : float, optional
        Direction of the head's path at impact, same sense, in degrees. None: unknown, about the target line.
    u_path_deg : float, optional
        Its standard uncertainty; default `U_PATH_DEG`, or `U_PATH_UNKNOWN_DEG` where the path is unknown.

    Returns
    -------
    FaceHeading

    Raises
    ------
    InputError

    Notes
    -----
    start = share * heading + (1 - share) * path, with the shares and spreads of Wood, Henrikson and Broadie,
    Proceedings 2(6) (2018) 249, interpolated over loft and held beyond the ends.
    """
    start, loft = _number("start_deg", start_deg), _number("loft_deg", loft_deg)
    path_known = path_deg is not None
    path = _number("path_deg", path_deg) if path_known else 0.0
    if u_path_deg is None:
        u_path_deg = U_PATH_DEG if path_known else U_PATH_UNKNOWN_DEG
    share, u_share = np.interp(loft, SHARE_LOFT_DEG, FACE_SHARE), np.interp(loft, SHARE_LOFT_DEG, U_FACE_SHARE)
    heading, u_heading, budget = propagate(
        lambda start, share, path: (start - (1 - share) * path) / share,
        (start, share, path),
        (_doubt("u_start_deg", u_start_deg), u_share, _doubt("u_path_deg", u_path_deg)),
        ("start direction", "share of the face", "path of the head" if path_known else "path of the head (unknown)"),
        ("deg", "1", "deg"),
    )
    return FaceHeading(heading, u_heading, budget.rename(columns={"contribution": "contribution_deg"}))


def start_from_net(left_mm, distance_mm, handed="right", *, u_left_mm=U_NET_SPOT_MM):
    """Return the start direction of a ball that hit a net.

    Parameters
    ----------
    left_mm : float or array
        How far left of the aim dot the ball hit, seen from behind the ball, in mm (right: negative).
    distance_mm : float or array
        From the ball to the net along the target line, in mm.
    handed : {"right", "left"}
    u_left_mm : float
        Standard uncertainty of `left_mm`, in mm.

    Returns
    -------
    StartDirection
        In degrees, closed side positive: left for a right-handed golfer, right for a left-handed one.

    Raises
    ------
    InputError
    """
    left, distance = _arrays(left_mm=left_mm, distance_mm=distance_mm)
    u_left = _doubt("u_left_mm", u_left_mm, high=2000.0, unit="millimetres")
    slope = u_left * distance / (distance**2 + left**2)
    return StartDirection(_closed(left, distance, handed), np.degrees(slope))


def start_from_offline(left_m, distance_m, handed="right", *, u_left_m=0.0):
    """Return the start direction of a ball seen left or right of the target line some way out.

    Parameters
    ----------
    left_m : float or array
        How far left of the target line, seen from behind the ball, in metres (right: negative).
    distance_m : float or array
        How far out along the target line that was seen, in metres. The nearer the better: the flight curves, and that
        doubt grows by `CURVE_DOUBT_DEG_PER_M`.
    handed : {"right", "left"}
    u_left_m : float
        Standard uncertainty of `left_m`, in metres, apart from the curve.

    Returns
    -------
    StartDirection
        In degrees, closed side positive: left for a right-handed golfer, right for a left-handed one.

    Raises
    ------
    InputError
    """
    left, distance = _arrays(left_m=left_m, distance_m=distance_m)
    u_left = _doubt("u_left_m", u_left_m, high=50.0, unit="metres")
    slope = np.degrees(u_left * distance / (distance**2 + left**2))
    return StartDirection(_closed(left, distance, handed), np.hypot(slope, CURVE_DOUBT_DEG_PER_M * distance))


def handle_change_mm(lie_change_deg, length_in, lie_deg):
    """Return how far the hands go down (raised: negative), measured vertically, to bring the toe up by `lie_change_deg`.

    Parameters
    ----------
    lie_change_deg : float or array
        Wanted change of the lie error, toe up positive, in degrees: the same effect as an upright bend of that many.
    length_in, lie_deg : float or array
        The club's length in inches, and the angle at which its shaft meets the ground, in degrees.

    Returns
    -------
    float or array
        In mm.

    Raises
    ------
    InputError
    """
    change, length, lie = _arrays(lie_change_deg=lie_change_deg, length_in=length_in, lie_deg=lie_deg)
    return MM_PER_INCH * length * (np.sin(np.radians(lie)) - np.sin(np.radians(lie - change)))


def lie_change_from_handle_deg(handle_mm, length_in, lie_deg):
    """Return how many degrees the toe comes up when the hands go down by `handle_mm`: the inverse of `handle_change_mm`."""
    handle, length, lie = _arrays(handle_mm=handle_mm, length_in=length_in, lie_deg=lie_deg)
    return _lie_change(lie, np.sin(np.radians(lie)) - handle / (MM_PER_INCH * length), f"handle_mm is {handle_mm}")


def length_change_in(lie_change_deg, length_in, lie_deg):
    """Return how much longer (shorter: negative) a club brings the toe up by `lie_change_deg`, hands kept at their height.

    Parameters
    ----------
    lie_change_deg, length_in, lie_deg : float or array
        As in `handle_change_mm`.

    Returns
    -------
    float or array
        In inches.

    Raises
    ------
    InputError
    """
    change, length, lie = _arrays(lie_change_deg=lie_change_deg, length_in=length_in, lie_deg=lie_deg)
    return length * (np.sin(np.radians(lie)) / np.sin(np.radians(lie - change)) - 1)


def lie_change_from_length_deg(change_in, length_in, lie_deg):
    """Return how many degrees the toe comes up on a club longer by `change_in`: the inverse of `length_change_in`."""
    change, length, lie = _arrays(change_in=change_in, length_in=length_in, lie_deg=lie_deg)
    return _lie_change(lie, length * np.sin(np.radians(lie)) / (length + change), f"change_in is {change_in}")


def _lie_change(lie, sine, given):
    if np.any(sine > 1):
        raise InputError(f"{given}; that would take the shaft past upright; expected a smaller change")
    return lie - np.degrees(np.arcsin(sine))


def _line_angle(lie, loft, heading, lean):
    """Angle in the face between the line's print and where a level, square-on line would print, from the heading and the lean."""
    sin_eta = np.sin(loft) * np.cos(lie)
    return np.arctan(sin_eta * np.tan(heading) - np.sqrt(1 - sin_eta**2) * np.tan(lean) / np.cos(heading))


def _tilt_of(lie, loft, heading, lean, turn):
    lie, loft, heading, lean = (np.pi / 180 * part for part in (lie, loft, heading - turn, lean))
    return 180 / np.pi * (np.arctan(np.tan(lie) / np.cos(loft)) - _line_angle(lie, loft, heading, lean))


def _lie_of(tilt, loft, heading, lean, turn):
    """Invert `_tilt_of`; complex numbers pass through for exact derivatives. What does not settle fails the caller's check."""
    tilt, loft, heading, lean = (np.pi / 180 * part for part in (tilt, loft, heading - turn, lean))
    lie = 0.0 * (tilt + loft + heading + lean)
    for _ in range(200):
        before, lie = lie, np.arctan(np.cos(loft) * np.tan(tilt + _line_angle(lie, loft, heading, lean)))
        if np.all(np.abs(lie - before) < 1e-15):
            break
    return 180 / np.pi * lie


def _closed(left, distance, handed):
    if handed not in HANDS:
        raise InputError(f'handed is {handed!r}; expected "right" or "left"')
    return np.degrees(np.arctan2(left if handed == "right" else -left, distance))


def _number(name, value):
    if np.ndim(value):
        raise InputError(f"{name} is {value!r}; expected one number, in {_RANGES[name][2]}")
    return check_number(name, value, *_RANGES[name])


def _doubt(name, value, allow_zero=True, high=45.0, unit="degrees"):
    number = check_number(name, value, 0.0, high, unit)
    if not (number or allow_zero):
        raise InputError(f"{name} is 0; expected a standard uncertainty above zero, in {unit}")
    return number


def _arrays(**given):
    """Return each argument as a float array that lies within its range."""
    arrays = []
    for name, value in given.items():
        low, high, unit = _RANGES[name]
        try:
            array = np.asarray(value, float)
        except (TypeError, ValueError):
            array = np.array(np.nan)
        wrong = ~((low <= array) & (array <= high))
        if np.any(wrong):
            shown = repr(array[wrong][0].item()) if array.ndim else repr(value)
            raise InputError(f"{name} is {shown}; expected a number from {low:g} to {high:g} {unit}")
        arrays.append(array)
    try:
        np.broadcast_shapes(*(array.shape for array in arrays))
    except ValueError as error:
        raise InputError(
            f"{' and '.join(given)} hold different numbers of values; expected one each, or as many of each"
        ) from error
    return arrays
