"""A table of balls -> the lie reading of each, with its budget: `lie_reading` for many at once, by the same
formulas."""

from collections.abc import Iterable

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from ..base.checks import RANGES, number_of
from ..base.club import Bag
from ..base.errors import InputError
from ..base.statistics import COVERAGE_FACTOR
from ..base.tables import words_of
from .ball import U_TILT_DEG
from .geometry import lie_of, tilt_of
from .start import FACE_SHARE, SHARE_LOFT_DEG, U_FACE_SHARE, U_NET_SPOT_MM, U_START_DEG, closed
from .unknowns import COLUMNS, SessionUnknowns

# How much a golfer and a setter differ from ball to ball, as standard deviations in degrees: common practice, no
# source.
BALL_PATH_DEG, BALL_LEAN_DEG, BALL_TURN_DEG, BALL_HEADING_DEG = 1.0, 0.35, 0.35, 2.0

BALL, GOLFER, SESSION = "this ball's", "this golfer's", "this session's"
# What a reading's uncertainty is made of, in the order of the parts that `_read` gives: its name, and whose it is.
COMPONENTS = (
    ("tilt of the print", BALL),
    ("start direction", BALL),
    ("path from ball to ball", BALL),
    ("lean of the line from ball to ball", BALL),
    ("turn of the line from ball to ball", BALL),
    ("face heading from ball to ball (nobody saw the start)", BALL),
    ("share of the start that follows the face", GOLFER),
    ("path of the head", SESSION),
    ("lean of the ball's line as set", SESSION),
    ("turn of the ball's line as set", SESSION),
    ("aim dot and distance of the net", SESSION),
    ("shaft lean, and so the loft delivered", SESSION),
    ("mean heading of the face (nobody saw the start)", SESSION),
)
OWN = sum(whose != SESSION for _, whose in COMPONENTS)
NUMBERS = (
    "tilt_deg",
    "u_tilt_deg",
    "net_left_mm",
    "net_distance_mm",
    "start_deg",
    "u_start_deg",
    "lie_error_deg",
    "u_lie_error_deg",
)
IMPOSSIBLE = "no lie within 45 degrees prints that tilt with this loft and heading"


def lie_readings(
    table: pd.DataFrame,
    bag: Bag,
    *,
    net_distance_mm: float | None = None,
    session: SessionUnknowns | None = None,
) -> pd.DataFrame:
    """Turn a table of balls into lie readings, a row a ball.

    Parameters
    ----------
    table : DataFrame
        A row a ball: `club` (label) and, where known, `tilt_deg` and `u_tilt_deg`; where the ball started as
        `net_left_mm` (left of the aim dot, seen from behind) with `net_distance_mm` (else the one given here), or as
        `start_deg` with `u_start_deg` (closed side positive); `lie_error_deg`, `u_lie_error_deg` and `heading_known` of
        a lie that was judged without a print, taken as they are. NaN and a column left out mean not known; other
        columns are passed over.
    bag : Bag
        The clubs, for loft and hand.
    net_distance_mm : float, optional
        From the ball to the net.
    session : SessionUnknowns, optional
        What all balls share, with its doubt: path, lean and turn of the ball's line, aim, shaft lean, mean heading.
        Default what is usual.

    Returns
    -------
    DataFrame
        With the table's index, and all that `fit_bag` takes: start_deg and u_start_deg; face_heading_deg;
        heading_known; lie_error_deg and u_lie_error_deg (NaN where there is neither tilt nor lie) with low_deg and
        high_deg (95 %);
        u_own_deg, the ball's own standard uncertainty without what the session shares; s_path, s_lean, s_turn, s_aim,
        s_loft, s_heading, by how much the lie would change if that unknown were a degree more; problem, a sentence
        where a tilt gives no lie.

    Raises
    ------
    InputError
        When a club is not in the bag or a cell is no number.

    Notes
    -----
    The geometry is exact (see `lie_from_tilt_deg`); the uncertainty is propagated to first order (JCGM 100:2008,
    5.1.2), with sensitivities exact to rounding by a complex step. Not for one ball alone: its `u_lie_error_deg` holds
    the
    session's share too, which more balls do not lower.

    Examples
    --------
    >>> import linetilt as lt, pandas as pd
    >>> bag = lt.Bag([lt.Club(label="7", loft_deg=34)])
    >>> balls = pd.DataFrame({"club": ["7", "7"], "tilt_deg": [2.0, -1.0], "net_left_mm": [50.0, None]})
    >>> read = lt.lie_readings(balls, bag, net_distance_mm=3000).round(1)
    >>> read[["lie_error_deg", "u_lie_error_deg", "u_own_deg", "heading_known"]]
       lie_error_deg  u_lie_error_deg  u_own_deg  heading_known
    0            2.3              1.1        0.6           True
    1           -0.9              1.5        1.0          False
    """
    return _read(table, bag, net_distance_mm, session or SessionUnknowns())[0]


def lie_budgets(
    table: pd.DataFrame,
    bag: Bag,
    *,
    net_distance_mm: float | None = None,
    session: SessionUnknowns | None = None,
) -> pd.DataFrame:
    """Return the uncertainty budgets of what `lie_readings` says of the same balls.

    Returns
    -------
    DataFrame
        A row a component of a ball with a print: ball (the index of its row), component, whose ("this ball's", "this
        golfer's", "this session's"), unit, u, sensitivity, contribution_deg, share (of the variance; the shares of a
        ball add up to 1). Components that a ball does not hang on are left out.
    """
    _, doubts, sensitivity, good = _read(table, bag, net_distance_mm, session or SessionUnknowns())
    at = np.flatnonzero(good)
    signed = (sensitivity * doubts)[:, at]
    budget = pd.DataFrame(
        {
            "ball": np.repeat(table.index.to_numpy()[at], len(COMPONENTS)),
            "component": [name for name, _ in COMPONENTS] * len(at),
            "whose": [whose for _, whose in COMPONENTS] * len(at),
            "unit": ["1" if whose == GOLFER else "deg" for _, whose in COMPONENTS] * len(at),
            "u": doubts[:, at].T.ravel(),
            "sensitivity": sensitivity[:, at].T.ravel(),
            "contribution_deg": np.abs(signed).T.ravel(),
            "share": (signed**2 / (signed**2).sum(0)).T.ravel(),
        }
    )
    return budget[budget["sensitivity"] != 0].reset_index(drop=True)


def _read(
    table: pd.DataFrame, bag: Bag, net_distance_mm: float | None, session: SessionUnknowns
) -> tuple[pd.DataFrame, NDArray[np.float64], NDArray[np.float64], NDArray[np.bool_]]:
    """Return the readings, and for each of `COMPONENTS` (components, balls) the doubt and the sensitivity; which are
    good."""
    clubs = _clubs(table, bag)
    given = {name: _column(table, name) for name in NUMBERS}
    loft = np.array([club.loft_deg for club in clubs], float) - session.shaft_lean_deg[0]
    mirrored = np.array([club.handed == "left" for club in clubs], bool)
    start, u_start = _starts(given, mirrored, net_distance_mm)
    seen, path, whole = ~np.isnan(start), session.path_deg[0], np.ones(len(table))
    share, u_share = np.interp(loft, SHARE_LOFT_DEG, FACE_SHARE), np.interp(loft, SHARE_LOFT_DEG, U_FACE_SHARE)
    heading = np.where(seen, (np.where(seen, start, 0.0) - (1 - share) * path) / share, session.heading_deg[0])
    tilt, u_tilt = given["tilt_deg"], given["u_tilt_deg"]
    measured = ~np.isnan(tilt)
    lean, turn = session.lean_deg[0] * whole, session.turn_deg[0] * whole
    values = np.stack([np.where(measured, tilt, 0.0), loft, heading, lean, turn])
    lie, (s_tilt, s_loft, s_face, s_lean, s_turn) = _propagated(values)
    possible = (np.abs(lie) <= 45) & (np.abs(tilt_of(lie, *values[1:]) - values[0]) < 1e-9)
    s_start = np.where(seen, s_face / share, 0.0)
    s_path, s_heading = -(1 - share) * s_start, np.where(seen, 0.0, s_face)
    of_session = np.stack([s_path, s_lean, s_turn, s_start, -s_loft, s_heading])
    sensitivity = np.concatenate(
        [[s_tilt, s_start, s_path, s_lean, s_turn, s_heading, s_start * (path - heading)], of_session]
    )
    own = (BALL_PATH_DEG, BALL_LEAN_DEG, BALL_TURN_DEG, BALL_HEADING_DEG)
    doubts = np.stack(
        [
            np.where(np.isnan(u_tilt), U_TILT_DEG, u_tilt),
            np.where(seen, u_start, 0.0),
            *(u * whole for u in own),
            u_share,
            *(u * whole for u in session.sds),
        ]
    )
    parts = (sensitivity * doubts) ** 2
    judged, good = ~measured & ~np.isnan(given["lie_error_deg"]), measured & possible
    lie = np.where(good, lie, np.where(judged, given["lie_error_deg"], np.nan))
    u_lie = np.where(good, np.sqrt(parts.sum(0)), np.where(judged, given["u_lie_error_deg"], np.nan))
    u_own = np.where(good, np.sqrt(parts[:OWN].sum(0)), u_lie)
    told = np.zeros(len(table), bool)
    if "heading_known" in table:
        told = table["heading_known"].eq(True).to_numpy(bool)
    found = pd.DataFrame(
        {
            "start_deg": start,
            "u_start_deg": u_start,
            "face_heading_deg": heading,
            "heading_known": np.where(judged, told, seen & measured),
            "lie_error_deg": lie,
            "u_lie_error_deg": u_lie,
            "low_deg": lie - COVERAGE_FACTOR * u_lie,
            "high_deg": lie + COVERAGE_FACTOR * u_lie,
            "u_own_deg": u_own,
            **{name: np.where(good, part, 0.0) for name, part in zip(COLUMNS.values(), of_session, strict=True)},
            "problem": np.where(measured & ~possible, IMPOSSIBLE, ""),
        },
        index=table.index,
    )
    return found, doubts, sensitivity, good


def _propagated(values: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return lies and their sensitivities to each value, exact to rounding by a complex step (see `propagate`)."""
    lie, step, rows = lie_of(*values), 1e-30, []
    for part in range(len(values)):
        moved = values.astype(complex)
        moved[part] += 1j * step
        rows.append(np.imag(lie_of(*moved)) / step)
    return lie, np.array(rows)


def _starts(
    given: dict[str, NDArray[np.float64]], mirrored: NDArray[np.bool_], net_distance_mm: float | None
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    left = given["net_left_mm"]
    distance = np.where(
        np.isnan(given["net_distance_mm"]),
        np.nan if net_distance_mm is None else net_distance_mm,
        given["net_distance_mm"],
    )
    spot = np.where(mirrored, -1.0, 1.0) * closed(left, distance, "right")
    u_spot = np.degrees(U_NET_SPOT_MM * distance / (distance**2 + left**2))
    told = ~np.isnan(given["start_deg"])
    u_told = np.where(np.isnan(given["u_start_deg"]), U_START_DEG, given["u_start_deg"])
    return np.where(told, given["start_deg"], spot), np.where(told, u_told, u_spot)


def _clubs(table: pd.DataFrame, bag: Bag) -> list:
    if not isinstance(table, pd.DataFrame) or "club" not in table:
        raise InputError("the balls are no table with a column club; expected a DataFrame with a row a ball")
    known: dict = {}
    clubs = []
    for row, name in enumerate(table["club"], start=1):
        label = words_of(name) if pd.api.types.is_scalar(name) else str(name)
        if label not in known:
            try:
                known[label] = bag[label]
            except InputError as error:
                raise InputError(f"ball {row}: {error}") from error
        clubs.append(known[label])
    return clubs


def _column(table: pd.DataFrame, name: str) -> NDArray[np.float64]:
    """Return a column as floats within the range of its quantity, NaN where it is left out or a cell is empty."""
    if name not in table:
        return np.full(len(table), np.nan)
    values = _floats(table[name], name)
    low, high, unit = RANGES[name]
    with np.errstate(invalid="ignore"):
        wrong = (values < low) | (values > high)
    if wrong.any():
        row = int(np.flatnonzero(wrong)[0])
        raise InputError(
            f"{name} of ball {row + 1} is {values[row]:g}; expected a number from {low:g} to {high:g} {unit}"
        )
    return values


def _floats(cells: Iterable, name: str) -> NDArray[np.float64]:
    values = []
    for row, cell in enumerate(cells, start=1):
        empty = cell is None or cell is pd.NA or (isinstance(cell, float) and cell != cell)
        values.append(np.nan if empty else number_of(cell))
        if not empty and not np.isfinite(values[-1]):
            raise InputError(
                f"{name} of ball {row} is {cell!r}; expected a number; leave it empty where it is not known"
            )
    return np.array(values, float)
