"""Readings of all clubs -> a pooled estimate for each club."""

import math
from collections.abc import Hashable, Mapping

import numpy as np
import pandas as pd

from ..base.club import Bag
from ..base.errors import InputError
from ..base.tables import number_of, words_of
from .bagfit import BagFit
from .doubts import refit
from .layout import lay_out
from .pool import pool, scale_grid
from .priors import Priors, Stop
from .unknowns import COLUMNS, SessionUnknowns


def fit_bag(
    readings: pd.DataFrame,
    bag: Bag,
    *,
    priors: Priors | None = None,
    stop: Stop | None = None,
    session: SessionUnknowns | None = None,
) -> BagFit:
    """Pool the readings of one golfer's bag.

    A reading is the golfer's trend over club length, plus what this one club does beside it, less what the session's
    unknowns do to it, plus a shot whose scatter is Student t, widened by the photo's own uncertainty. The scatters are
    not plugged in but integrated over, so that the intervals hold at few balls; the unknowns are the same for all
    balls, so that no number of balls hides them.

    Parameters
    ----------
    readings : DataFrame
        A row a shot. Needed: `club` (label), `lie_error_deg`, `u_lie_error_deg` (standard uncertainty of the reading),
        in degrees. Optional: `heading_known` (False: read as if the face were square; True if left out), `counted`
        (False: set aside by the fitter, such as a heavy strike or a second hit on the same spot), `strike_toe_mm`,
        `strike_up_mm`, `shot` (a number that rises in the order of hitting; the rows' order if left out). `s_path`,
        `s_lean`, `s_turn`, `s_aim`, `s_loft`, `s_heading`: by how much the reading would change if that unknown of the
        session were a degree more, in degrees of lie a degree (0 or empty: this ball does not hang on it; a column left
        out: none does); and with them `u_own_deg`, the ball's own standard uncertainty without the session's share.
        Further columns are kept.
    bag : Bag
        The clubs as they were hit. What a gauge (`gauge_lie_deg` beside `lie_deg`) or `bent_deg` says of a club itself
        is taken as its share, the rest is the golfer's; clubs bought apart (`from_set=False`) lean less on the others.
    priors : Priors, optional
    stop : Stop, optional
    session : SessionUnknowns, optional
        What is known of the session beside its readings; default the usual doubts.

    Returns
    -------
    BagFit

    Raises
    ------
    InputError
        When a reading belongs to no club of the bag, is not a number, has an uncertainty of zero or less, or none
        counts.

    Notes
    -----
    Without the column `s_heading` a shot whose face heading is unknown carries in `u_lie_error_deg` all of that doubt,
    as `lie_reading` gives it. The fit has the session's mean heading as an unknown of its own, so that share, sin λ cos
    λ · `heading_sd_deg`, is taken out of the shot's uncertainty. Balls of a club that hang on the same unknowns are
    pooled at their mean sensitivity.

    A first fit looks for what the model leaves out: balls that come in runs, and two kinds of swing. Where either is
    seen the bag is fitted again with that in it, and `BagFit.warnings` says so.
    """
    return fit_bags(
        readings.assign(golfer=0) if isinstance(readings, pd.DataFrame) else readings,
        bag,
        priors=priors,
        stop=stop,
        session=session,
    )[0]


def fit_bags(
    readings: pd.DataFrame,
    bags: Bag | Mapping[Hashable, Bag],
    *,
    priors: Priors | None = None,
    stop: Stop | None = None,
    session: SessionUnknowns | Mapping[Hashable, SessionUnknowns] | None = None,
) -> dict[Hashable, BagFit]:
    """Pool the bags of many golfers in one call.

    Parameters
    ----------
    readings : DataFrame
        As for `fit_bag`, with a column `golfer`.
    bags : Bag or dict of Bag
        One bag for all, or each golfer's own.
    priors, stop : optional
        As for `fit_bag`.
    session : SessionUnknowns or dict of SessionUnknowns, optional
        One for all, or each golfer's own.

    Returns
    -------
    dict of BagFit
        By golfer, in the order of their first reading.
    """
    priors, stop = priors or Priors(), stop or Stop()
    usual = SessionUnknowns(heading_deg=(0.0, priors.heading_sd_deg))
    readings = _check_readings(readings)
    jobs = {}
    for golfer, rows in readings.groupby("golfer", sort=False):
        bag = bags if isinstance(bags, Bag) else bags.get(golfer)
        if not isinstance(bag, Bag):
            raise InputError(
                f"no bag for golfer {golfer!r}; expected one lt.Bag for all, or a dict with a bag for each"
            )
        known = session.get(golfer) if isinstance(session, Mapping) else session
        jobs[golfer] = lay_out(
            rows.drop(columns="golfer"),
            bag,
            priors,
            known or usual,
            golfer if readings["golfer"].nunique() > 1 else None,
        )
    fits = _pool_alike(jobs, priors, stop)
    again = {golfer: changed for golfer, fit in fits.items() if (changed := refit(jobs[golfer], fit)) is not None}
    fits |= _pool_alike(again, priors, stop)
    return {golfer: fits[golfer] for golfer in jobs}


def _pool_alike(jobs, priors, stop):
    fits = {}
    for shape in {job.shape for job in jobs.values()}:
        same = [golfer for golfer, job in jobs.items() if job.shape == shape]
        stack = {
            name: np.stack([getattr(jobs[golfer], name) for golfer in same])
            for name in ("y", "u", "filled", "design", "spread")
        }
        first = jobs[same[0]]
        pooled = pool(
            stack["y"],
            stack["u"],
            stack["filled"],
            stack["design"],
            first.club,
            stack["spread"],
            np.array([priors.offset_sd_deg, priors.slope_sd_deg_per_in, *first.session.sds, first.runs_sd]),
            scale_grid(priors.shot_scatter_deg, priors.shot_scatter_log_sd, 9),
            scale_grid(priors.club_scatter_deg, priors.club_scatter_log_sd, 7),
            (priors.odd_probability, priors.odd_deg),
            first.dof,
        )
        fits |= {golfer: BagFit(priors, stop, jobs[golfer], one) for golfer, one in zip(same, pooled)}
    return fits


def _check_readings(readings):
    if not isinstance(readings, pd.DataFrame):
        raise InputError(f"readings is a {type(readings).__name__}; expected a DataFrame with a row a shot")
    needed = ["club", "lie_error_deg", "u_lie_error_deg", "golfer"]
    missing = [name for name in needed if name not in readings.columns]
    if missing:
        raise InputError(f"the readings have no column {missing[0]}; expected at least {', '.join(needed[:3])}")
    if readings.empty:
        raise InputError("the readings are empty; expected at least one ball")
    if twice := readings.columns[readings.columns.duplicated()].tolist():
        raise InputError(f"the readings have two columns {twice[0]!r}; expected each column once; take one of them out")
    table = readings.copy()
    for row, (club, golfer) in enumerate(zip(table["club"], table["golfer"]), start=1):
        if not (pd.api.types.is_scalar(club) and pd.api.types.is_scalar(golfer)) or pd.isna(club) or pd.isna(golfer):
            raise InputError(
                f"club of reading {row} is {club!r}, golfer {golfer!r}; expected a name in each; fill "
                "it in, or take the reading out"
            )
    table["club"] = table["club"].map(words_of)
    for name, usual in (("heading_known", True), ("counted", True)):
        table[name] = _booleans(table, name) if name in table else usual
    for name in ("strike_toe_mm", "strike_up_mm"):
        table[name] = _numbers(table[name]) if name in table else math.nan
    table["shot"] = _numbers(table["shot"]) if "shot" in table else np.arange(1, len(table) + 1)
    if (lost := table["shot"].isna().to_numpy()).any():
        row = int(np.flatnonzero(lost)[0])
        raise InputError(
            f"shot of reading {row + 1} is {readings['shot'].iloc[row]!r}; expected its number in the order of hitting"
        )
    for name in [name for name in COLUMNS.values() if name in table]:
        table[name] = _numbers(table[name]).fillna(0.0)
    if "u_own_deg" in table:
        table["u_own_deg"] = _numbers(table["u_own_deg"])
        table["u_own_deg"] = table["u_own_deg"].where(table["u_own_deg"] > 0)
    for name, good, expected in (
        ("lie_error_deg", lambda v: v.abs() <= 45, "a number of degrees from -45 to 45"),
        ("u_lie_error_deg", lambda v: (v > 0) & (v <= 45), "degrees above 0, since every reading has some uncertainty"),
    ):
        values = _numbers(table[name])
        wrong = table["counted"] & ~good(values)
        if wrong.any():
            row = int(np.flatnonzero(wrong)[0])
            raise InputError(
                f"{name} of reading {row + 1} (club {table['club'].iloc[row]}) is {readings[name].iloc[row]}; "
                f"expected {expected}. Set the shot aside (counted False) if it has no reading"
            )
        table[name] = values
    return table.reset_index(drop=True)


def _numbers(cells):
    """Return cells as floats, NaN where one is no number."""
    if pd.api.types.is_numeric_dtype(cells):
        return cells.astype(float)
    return cells.map(
        lambda cell: number_of(cell) if pd.api.types.is_scalar(cell) and not pd.isna(cell) else math.nan
    ).astype(float)


def _booleans(table, name):
    for row, value in enumerate(table[name]):
        if not pd.api.types.is_scalar(value) or pd.isna(value) or value not in (True, False):
            raise InputError(f"{name} of reading {row + 1} is {value!r}; expected True or False")
    return table[name].astype(bool)
