"""One golfer's readings laid out for the arithmetic: lines, what each hangs on, and what is known of "
"a club beforehand."""

import math
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from ..base.club import Bag, Club
from ..base.errors import InputError
from .doubts import gauged
from .unknowns import COLUMNS, SessionUnknowns

# A 7-iron's length, and how a set shortens as loft grows, for clubs whose length was not measured: common practice, no
# source.
SEVEN_IRON_LENGTH_IN, SEVEN_IRON_LOFT_DEG, INCHES_PER_LOFT_DEG = 37.0, 34.0, -0.12

U_SHOT_FLOOR = 0.25  # share of a shot's stated uncertainty that stays its own, whatever the session's heading takes out


def usual_length_in(club: Club) -> float:
    """Return a club's length in inches, or what is usual for its loft where it was not measured."""
    if club.length_in is not None:
        return club.length_in
    return SEVEN_IRON_LENGTH_IN + INCHES_PER_LOFT_DEG * (club.loft_deg - SEVEN_IRON_LOFT_DEG)


def club_spread(bag: Bag, priors) -> np.ndarray:
    """Return each club's share of the club scatter."""
    golfers = priors.gauged_scatter_deg / priors.club_scatter_deg
    return np.array(
        [(golfers if gauged(club) else 1.0) * (1.0 if club.from_set else priors.apart_factor) for club in bag]
    )


@dataclass(frozen=True, eq=False)
class Job:
    """One golfer's readings as padded arrays: a line for each club, then one for each further way in which its balls
    hang on the session.
    """

    bag: Bag
    rows: pd.DataFrame
    session: SessionUnknowns
    line: np.ndarray  # (shots,): line of each reading
    shot: np.ndarray  # (shots,): its place there
    design: np.ndarray  # (lines, betas)
    y: np.ndarray  # (lines, width)
    u: np.ndarray  # (lines, width)
    filled: np.ndarray  # (lines, width)
    club: np.ndarray  # (lines,)
    spread: np.ndarray  # (clubs,)
    known: np.ndarray  # (lines,): what is known of a line before the first ball
    dof: float
    runs_sd: float = 0.0  # of what all balls share because they came in runs
    seen: tuple = ()  # what a first fit saw that the model leaves out

    @property
    def shape(self):
        """What golfers must share to be fitted in one go."""
        return self.y.shape, tuple(self.club), tuple(self.session.sds), self.dof, self.runs_sd

    def of_shots(self, values):
        """Return values of the readings, one each, as an array like `y`; 0 where there is none."""
        counted, whole = self.rows["counted"].to_numpy(), np.zeros(self.y.shape)
        whole[self.line[counted], self.shot[counted]] = values[counted]
        return whole


def lay_out(rows, bag, priors, session, golfer) -> Job:
    """Return a golfer's checked readings as a `Job`; `golfer` is the name for refusals, None where "
    "there is one only."""
    who = "" if golfer is None else f"golfer {golfer}: "
    labels = bag.labels
    strangers = [label for label in rows["club"].unique() if label not in labels]
    if strangers:
        raise InputError(
            f"{who}readings for club {strangers[0]!r}, which is not in the bag; expected one of "
            f"{', '.join(labels)}; correct the club, or enter it in the bag"
        )
    counted = rows["counted"].to_numpy()
    if not counted.any():
        raise InputError(
            f"{who}none of the {len(rows)} readings counts; expected at least one ball that was not set aside"
        )
    clubs = len(labels)
    club = np.array([labels.index(label) for label in rows["club"]])
    hangs, u_shot = _exposure(rows, bag, club, priors)
    # Balls of a club that hang on the same unknowns share a line; a club's first line is the one with most balls. The
    # loft's share changes
    # sign about a level club and says nothing of the kind.
    kind = (np.abs(hangs[:, [name != "s_loft" for name in COLUMNS.values()]]) > 1e-9) @ (
        1 << np.arange(len(COLUMNS) - 1)
    )
    line, lines = np.zeros(len(rows), int), list(range(clubs))
    for position in range(clubs):
        own = club == position
        kinds, balls = np.unique(kind[own & counted], return_counts=True)
        line[own] = position
        for rank, one in enumerate(kinds[np.argsort(-balls, kind="stable")]):
            line[own & (kind == one)] = len(lines) if rank else position
            lines += [position] * (rank > 0)
    of_line = np.array(lines)
    shot = pd.Series(np.where(counted, 1, 0)).groupby(line).cumsum().to_numpy() - 1
    width = int(
        2 ** math.ceil(math.log2(shot[counted].max() + 1))
    )  # padded to a power of two: few shapes for many golfers
    x = np.array([usual_length_in(one) for one in bag]) - SEVEN_IRON_LENGTH_IN
    balls = np.bincount(line[counted], minlength=len(lines))
    mean = (
        np.stack([np.bincount(line[counted], s[counted], len(lines)) for s in hangs.T], 1)
        / np.maximum(balls, 1)[:, None]
    )
    design = np.column_stack([np.ones(len(lines)), x[of_line], -mean, np.ones(len(lines))])
    known = np.array([one.total_bent_deg for one in bag])[of_line]
    known = known + design[:, :2] @ [priors.offset_deg, priors.slope_deg_per_in]
    shape = len(lines), width
    filled, u = np.zeros(shape, bool), np.ones(shape)
    at = line[counted], shot[counted]
    filled[at], u[at] = True, u_shot[counted]
    job = Job(
        bag,
        rows,
        session,
        line,
        shot,
        design,
        np.zeros(shape),
        u,
        filled,
        of_line,
        club_spread(bag, priors),
        known,
        priors.shot_dof,
    )
    return replace(job, y=job.of_shots(rows["lie_error_deg"].to_numpy() - known[line]))


def _exposure(rows, bag, club, priors):
    """Return how each reading hangs on each unknown (shots, unknowns), and each ball's own standard uncertainty, in
    degrees.
    """
    given = [name for name in COLUMNS.values() if name in rows]
    hangs = np.column_stack(
        [rows[name].to_numpy() if name in rows else np.zeros(len(rows)) for name in COLUMNS.values()]
    )
    u = rows["u_lie_error_deg"].to_numpy()
    if "s_heading" not in given:
        loft = np.radians([one.loft_deg for one in bag])[club]
        turned = np.where(rows["heading_known"], 0.0, np.sin(loft) * np.cos(loft))
        hangs[:, list(COLUMNS).index("heading_deg")] = turned
        u = np.sqrt(np.maximum(u**2 - (turned * priors.heading_sd_deg) ** 2, (U_SHOT_FLOOR * u) ** 2))
    if "u_own_deg" in rows:
        u = np.where(np.isnan(rows["u_own_deg"]), u, rows["u_own_deg"])
    return hangs, u
