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
from .ball import U_HEADING_UNKNOWN_DEG, U_LINE_TURN_DEG, U_LOFT_DEG, U_SETUP_TILT_DEG, U_TILT_DEG
from .geometry import lie_of, tilt_of
from .start import (
    FACE_SHARE,
    SHARE_LOFT_DEG,
    U_FACE_SHARE,
    U_NET_SPOT_MM,
    U_PATH_DEG,
    U_PATH_UNKNOWN_DEG,
    U_START_DEG,
    closed,
)

COMPONENTS = (
    "tilt of the print",
    "loft delivered",
    "face heading",
    "setup tilt of the ball's line",
    "turn of the ball's line",
)
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
    **session: float | None,
) -> pd.DataFrame:
    """Turn a table of balls into lie readings, a row a ball.

    Parameters
    ----------
    table : DataFrame
        A row a ball: `club` (label) and, where known, `tilt_deg` and `u_tilt_deg`; where the ball started as
        `net_left_mm` (left of the aim dot, seen from behind) with `net_distance_mm` (else the one given here), or as
        `start_deg` with
        `u_start_deg` (closed side positive); `lie_error_deg`, `u_lie_error_deg` and `heading_known` of a lie that was
        judged without a print, taken as they are. NaN and a column left out mean not known; other columns are passed
        over.
    bag : Bag
        The clubs, for loft and hand.
    **session
        What holds for all balls: `net_distance_mm` from the ball to the net; `setup_tilt_deg`, `u_setup_tilt_deg`,
        `line_turn_deg`, `u_line_turn_deg` and `u_loft_deg` as in `lie_reading`; `path_deg` and `u_path_deg` as in
        `heading_from_start`.

    Returns
    -------
    DataFrame
        With the table's index: start_deg and u_start_deg; face_heading_deg and u_face_heading_deg (0 and the usual
        doubt where nobody saw the start); heading_known; lie_error_deg, u_lie_error_deg, low_deg and high_deg (95 %),
        NaN
        where there is neither tilt nor lie; problem, a sentence where a tilt gives no lie.

    Raises
    ------
    InputError
        When a club is not in the bag or a cell is no number.

    Examples
    --------
    >>> import linetilt as lt, pandas as pd
    >>> bag = lt.Bag([lt.Club(label="7", loft_deg=34)])
    >>> balls = pd.DataFrame({"club": ["7", "7"], "tilt_deg": [2.0, -1.0], "net_left_mm": [50.0, None]})
    >>> lt.lie_readings(balls, bag, net_distance_mm=3000).round(1)[["lie_error_deg", "u_lie_error_deg", "heading_known"]]
       lie_error_deg  u_lie_error_deg  heading_known
    0            2.3              1.0           True
    1           -0.8              1.5          False
    """
    return _read(table, bag, **session)[0]


def lie_budgets(table: pd.DataFrame, bag: Bag, **session: float | None) -> pd.DataFrame:
    """Return the uncertainty budgets of what `lie_readings` says of the same balls, a row a component of a ball with a
    print.

    Columns: ball (the index of its row), component, value, unit, u, sensitivity, contribution_deg, share (of the
    variance; the shares of a ball add up to 1).
    """
    values, doubts, sensitivity, good, seen = _read(table, bag, **session)[1]
    at = np.flatnonzero(good)
    contribution = np.abs(sensitivity * doubts)[:, at]
    share = contribution**2 / (contribution**2).sum(0)
    names = np.array([list(COMPONENTS)] * len(at), object).reshape(len(at), len(COMPONENTS))
    names[~seen[at], 2] = "face heading (unknown)"
    flat = {
        name: part[:, at].T.ravel() for name, part in (("value", values), ("u", doubts), ("sensitivity", sensitivity))
    }
    return pd.DataFrame(
        {
            "ball": np.repeat(table.index.to_numpy()[at], len(COMPONENTS)),
            "component": names.ravel(),
            "value": flat["value"],
            "unit": "deg",
            "u": flat["u"],
            "sensitivity": flat["sensitivity"],
            "contribution_deg": contribution.T.ravel(),
            "share": share.T.ravel(),
        }
    )


def _read(
    table: pd.DataFrame,
    bag: Bag,
    *,
    net_distance_mm: float | None = None,
    setup_tilt_deg: float = 0.0,
    u_setup_tilt_deg: float = U_SETUP_TILT_DEG,
    line_turn_deg: float = 0.0,
    u_line_turn_deg: float = U_LINE_TURN_DEG,
    u_loft_deg: float = U_LOFT_DEG,
    path_deg: float | None = None,
    u_path_deg: float | None = None,
) -> tuple[pd.DataFrame, tuple]:
    """Return the readings, and the parts that their budgets are made of."""
    clubs = _clubs(table, bag)
    given = {name: _column(table, name) for name in NUMBERS}
    loft = np.array([club.loft_deg for club in clubs], float)
    mirrored = np.array([club.handed == "left" for club in clubs], bool)
    start, u_start = _starts(given, mirrored, net_distance_mm)
    seen = ~np.isnan(start)
    path = 0.0 if path_deg is None else path_deg
    u_path = u_path_deg if u_path_deg is not None else U_PATH_UNKNOWN_DEG if path_deg is None else U_PATH_DEG
    heading, u_heading = _headings(np.where(seen, start, 0.0), np.where(seen, u_start, 0.0), loft, path, u_path)
    heading, u_heading = np.where(seen, heading, 0.0), np.where(seen, u_heading, U_HEADING_UNKNOWN_DEG)
    tilt, u_tilt = given["tilt_deg"], given["u_tilt_deg"]
    measured, whole = ~np.isnan(tilt), np.ones(len(table))
    values = np.stack([np.where(measured, tilt, 0.0), loft, heading, setup_tilt_deg * whole, line_turn_deg * whole])
    doubts = np.stack(
        [
            np.where(np.isnan(u_tilt), U_TILT_DEG, u_tilt),
            u_loft_deg * whole,
            u_heading,
            u_setup_tilt_deg * whole,
            u_line_turn_deg * whole,
        ]
    )
    lie, sensitivity = _propagated(values)
    with np.errstate(invalid="ignore"):
        possible = (np.abs(lie) <= 45) & (np.abs(tilt_of(lie, *values[1:]) - values[0]) < 1e-9)
    u_lie = np.sqrt(((sensitivity * doubts) ** 2).sum(0))
    judged = ~measured & ~np.isnan(given["lie_error_deg"])
    good = measured & possible
    lie = np.where(good, lie, np.where(judged, given["lie_error_deg"], np.nan))
    u_lie = np.where(good, u_lie, np.where(judged, given["u_lie_error_deg"], np.nan))
    told = (
        table["heading_known"].fillna(False).to_numpy(bool) if "heading_known" in table else np.zeros(len(table), bool)
    )
    found = pd.DataFrame(
        {
            "start_deg": start,
            "u_start_deg": u_start,
            "face_heading_deg": heading,
            "u_face_heading_deg": u_heading,
            "heading_known": np.where(judged, told, seen & measured),
            "lie_error_deg": lie,
            "u_lie_error_deg": u_lie,
            "low_deg": lie - COVERAGE_FACTOR * u_lie,
            "high_deg": lie + COVERAGE_FACTOR * u_lie,
            "problem": np.where(measured & ~possible, IMPOSSIBLE, ""),
        },
        index=table.index,
    )
    return found, (values, doubts, sensitivity, good, seen)


def _propagated(values: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return lies and their sensitivities to each part, exact to rounding by a complex step (see `propagate`)."""
    with np.errstate(invalid="ignore"):
        lie = lie_of(*values)
        step = 1e-30
        rows = []
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


def _headings(
    start: NDArray[np.float64], u_start: NDArray[np.float64], loft: NDArray[np.float64], path: float, u_path: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return face headings and their standard uncertainties from start directions, as `heading_from_start` does."""
    share, u_share = np.interp(loft, SHARE_LOFT_DEG, FACE_SHARE), np.interp(loft, SHARE_LOFT_DEG, U_FACE_SHARE)
    heading = (start - (1 - share) * path) / share
    parts = (u_start / share, u_share * (start - path) / share**2, u_path * (1 - share) / share)
    return heading, np.sqrt(sum(part**2 for part in parts))


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
