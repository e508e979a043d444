"""One ball: from the tilt of its print to the lie error, with its uncertainty budget."""

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd

from ..base.statistics import COVERAGE_FACTOR
from .geometry import doubt, lie_from_tilt_deg, lie_of, one_number

# Standard uncertainties where the fitter says nothing, in degrees: common practice, no source.
U_TILT_DEG = 0.5  # one print read by hand or eye; a measured photo brings its own
U_LOFT_DEG = 2.5  # loft delivered against the loft on the club: the shaft leans by a few degrees
U_SETUP_TILT_DEG = 0.7  # the ball's line against plumb, set by eye
U_LINE_TURN_DEG = 0.7  # the ball's line against the target line, set by eye
U_HEADING_UNKNOWN_DEG = 2.75  # where the face points, shot to shot and golfer to golfer, when nobody saw the ball start
U_HEADING_KNOWN_DEG = 1.5  # a heading from a start direction whose path is unknown (see `heading_from_start`)


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
    tilt_deg: float,
    loft_deg: float,
    *,
    u_tilt_deg: float = U_TILT_DEG,
    face_heading_deg: float | None = None,
    u_face_heading_deg: float | None = None,
    setup_tilt_deg: float = 0.0,
    u_setup_tilt_deg: float = U_SETUP_TILT_DEG,
    line_turn_deg: float = 0.0,
    u_line_turn_deg: float = U_LINE_TURN_DEG,
    u_loft_deg: float = U_LOFT_DEG,
) -> LieReading:
    """Turn the tilt of one printed line into a lie error with its uncertainty.

    Parameters
    ----------
    tilt_deg, u_tilt_deg : float
        Tilt of the print in the plane of the face, top towards the toe positive, and its standard uncertainty, in
        degrees.
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
    The geometry is exact (see `lie_from_tilt_deg`); the uncertainty is propagated to first order (JCGM 100:2008,
    5.1.2).
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
    values = [one_number(name, value) for name, value in given.items()]
    doubts = [doubt(name, value, allow_zero=name != "u_tilt_deg") for name, value in doubts.items()]
    lie_from_tilt_deg(*values)  # refuses what no lie can print
    names = (
        "tilt of the print",
        "loft delivered",
        "face heading" if heading_known else "face heading (unknown)",
        "setup tilt of the ball's line",
        "turn of the ball's line",
    )
    lie, u_lie, budget = propagate(lie_of, values, doubts, names, ["deg"] * len(names))
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
        component, value, unit, u, sensitivity, contribution (sensitivity times u, as a size), share of the variance.
        The shares add up to 1; with correlations one of them may be negative.

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
