"""The print's geometry, exactly: the tilt that a lie prints, the lie that prints a tilt, and where the ink passes.

Signs are in handed-neutral words: toe and heel, closed and open. A left-handed golfer's tilts need no change.
"""

import numpy as np

from ..base.ball import BALL_RADIUS_MM
from ..base.checks import RANGES, check_number
from ..base.errors import InputError


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
    lie, loft, *line = arrays(
        lie_error_deg=lie_error_deg,
        loft_deg=loft_deg,
        face_heading_deg=face_heading_deg,
        setup_tilt_deg=setup_tilt_deg,
        line_turn_deg=line_turn_deg,
    )
    return tilt_of(lie, loft, *line)


def lie_from_tilt_deg(tilt_deg, loft_deg, face_heading_deg=0.0, setup_tilt_deg=0.0, line_turn_deg=0.0):
    """Return the lie error that prints a tilt, in degrees: the exact inverse of `print_tilt_deg`, by iteration.

    Takes what that takes, with the tilt in the lie error's place; raises InputError also where no lie error within 45°
    prints such a tilt.
    """
    tilt, *rest = arrays(
        tilt_deg=tilt_deg,
        loft_deg=loft_deg,
        face_heading_deg=face_heading_deg,
        setup_tilt_deg=setup_tilt_deg,
        line_turn_deg=line_turn_deg,
    )
    lie = lie_of(tilt, *rest)
    wrong = ~((np.abs(lie) <= 45) & (np.abs(tilt_of(lie, *rest) - tilt) < 1e-9))
    if np.any(wrong):
        row = [np.broadcast_to(part, np.shape(wrong))[wrong][0] for part in (tilt, *rest)]
        raise InputError(
            f"tilt_deg is {row[0]:g} at a loft_deg of {row[1]:g} and a face_heading_deg of {row[2]:g}; no lie error "
            "prints that; "
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
            *arrays(
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


def _line_angle(lie, loft, heading, lean):
    """Angle in the face between the line's print and where a level, square-on line would print, from the heading and
    the lean."""
    sin_eta = np.sin(loft) * np.cos(lie)
    return np.arctan(sin_eta * np.tan(heading) - np.sqrt(1 - sin_eta**2) * np.tan(lean) / np.cos(heading))


def tilt_of(lie, loft, heading, lean, turn):
    lie, loft, heading, lean = (np.pi / 180 * part for part in (lie, loft, heading - turn, lean))
    return 180 / np.pi * (np.arctan(np.tan(lie) / np.cos(loft)) - _line_angle(lie, loft, heading, lean))


def lie_of(tilt, loft, heading, lean, turn):
    """Invert `tilt_of`; complex numbers pass through for exact derivatives. What does not settle fails the caller's
    check."""
    tilt, loft, heading, lean = (np.pi / 180 * part for part in (tilt, loft, heading - turn, lean))
    lie = 0.0 * (tilt + loft + heading + lean)
    for _ in range(200):
        before, lie = lie, np.arctan(np.cos(loft) * np.tan(tilt + _line_angle(lie, loft, heading, lean)))
        if np.all(np.abs(lie - before) < 1e-15):
            break
    return 180 / np.pi * lie


def one_number(name, value):
    """Return one number that lies within its quantity's range."""
    if np.ndim(value):
        raise InputError(f"{name} is {value!r}; expected one number, in {_range(name)[2]}")
    return check_number(name, value, *_range(name))


def doubt(name, value, allow_zero=True, high=45.0, unit="degrees"):
    """Return a standard uncertainty, in `unit`."""
    number = check_number(name, value, 0.0, high, unit)
    if not (number or allow_zero):
        raise InputError(f"{name} is 0; expected a standard uncertainty above zero, in {unit}")
    return number


def arrays(**given):
    """Return each argument as a float array that lies within its range."""
    found = []
    for name, value in given.items():
        low, high, unit = _range(name)
        try:
            array = np.asarray(value, float)
        except (TypeError, ValueError):
            array = np.array(np.nan)
        wrong = ~((low <= array) & (array <= high))
        if np.any(wrong):
            shown = repr(array[wrong][0].item()) if array.ndim else repr(value)
            raise InputError(f"{name} is {shown}; expected a number from {low:g} to {high:g} {unit}")
        found.append(array)
    try:
        np.broadcast_shapes(*(array.shape for array in found))
    except ValueError as error:
        raise InputError(
            f"{' and '.join(given)} hold different numbers of values; expected one each, or as many of each"
        ) from error
    return found


def _range(name):
    """The range of a quantity: loft here is the one delivered, which may be less than any club's."""
    return RANGES[{"loft_deg": "delivered_loft_deg"}.get(name, name)]
