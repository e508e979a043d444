"""What the height of the hands and the length of a club do to the lie at impact."""

import numpy as np

from ..base.errors import InputError
from ..base.units import MM_PER_INCH
from .geometry import arrays


def handle_change_mm(lie_change_deg, length_in, lie_deg):
    """Return how far the hands go down (raised: negative), measured vertically, to bring the toe up by
    `lie_change_deg`.

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
    change, length, lie = arrays(lie_change_deg=lie_change_deg, length_in=length_in, lie_deg=lie_deg)
    return MM_PER_INCH * length * (np.sin(np.radians(lie)) - np.sin(np.radians(lie - change)))


def lie_change_from_handle_deg(handle_mm, length_in, lie_deg):
    """Return how many degrees the toe comes up when the hands go down by `handle_mm`: the inverse of
    `handle_change_mm`."""
    handle, length, lie = arrays(handle_mm=handle_mm, length_in=length_in, lie_deg=lie_deg)
    return _lie_change(lie, np.sin(np.radians(lie)) - handle / (MM_PER_INCH * length), f"handle_mm is {handle_mm}")


def length_change_in(lie_change_deg, length_in, lie_deg):
    """Return how much longer (shorter: negative) a club brings the toe up by `lie_change_deg`, hands kept at their
    height.

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
    change, length, lie = arrays(lie_change_deg=lie_change_deg, length_in=length_in, lie_deg=lie_deg)
    return length * (np.sin(np.radians(lie)) / np.sin(np.radians(lie - change)) - 1)


def lie_change_from_length_deg(change_in, length_in, lie_deg):
    """Return how many degrees the toe comes up on a club longer by `change_in`: the inverse of `length_change_in`."""
    change, length, lie = arrays(change_in=change_in, length_in=length_in, lie_deg=lie_deg)
    return _lie_change(lie, length * np.sin(np.radians(lie)) / (length + change), f"change_in is {change_in}")


def _lie_change(lie, sine, given):
    if np.any(sine > 1):
        raise InputError(f"{given}; that would take the shaft past upright; expected a smaller change")
    return lie - np.degrees(np.arcsin(sine))
