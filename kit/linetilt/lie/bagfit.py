"""What a pooled bag says: the table, each shot's worth, the clubs' lies together, and when a club is settled."""

import math
from dataclasses import dataclass, field
from functools import cached_property
from statistics import NormalDist
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from ..base.club import Bag, Club
from . import advice, doubts
from .pool import Pooled
from .priors import Priors, Stop
from .unknowns import COLUMNS, SessionUnknowns

if TYPE_CHECKING:
    from .layout import Job

BAD_SHOT_WEIGHT = 0.41  # set so that golfers who fit the model have about one good shot in fifty named

SLICES = np.array(
    [NormalDist().inv_cdf((i + 0.5) / 7) for i in range(7)]
)  # middles of seven equal slices of a normal curve


def bend_room(club: Club, cap_deg: float | None = None) -> tuple[float, float]:
    """Return how far a club may still be bent.

    Parameters
    ----------
    club : Club
    cap_deg : float, optional
        The golfer's own cap on the total change from the maker's figure, in degrees.

    Returns
    -------
    flatter, upright : float
        Room either way, in degrees, both positive. Bends already done count.
    """
    limit = club.limit_deg if cap_deg is None else min(club.limit_deg, cap_deg)
    return max(0.0, limit + club.total_bent_deg), max(0.0, limit - club.total_bent_deg)


def whole_step_bend(lie_error_deg: float, room: tuple[float, float], step_deg: float) -> float:
    """Return the bend in whole steps, upright positive, that leaves least of a lie error within `room` (flatter,
    upright).
    """
    down, up = (np.floor(side / step_deg + 1e-9) for side in room)
    return float(np.clip(round(-lie_error_deg / step_deg), -down, up)) * step_deg


@dataclass(frozen=True, eq=False)
class BagFit:
    """What the balls say about each club of one golfer's bag.

    Attributes
    ----------
    priors, stop
        What `fit_bag` was given.
    bag : Bag
        The clubs.
    session : SessionUnknowns
        What the session's unknowns were taken for.
    table : DataFrame
        A row a club; see `BagFit.table`.
    shots : DataFrame
        The readings with what each was worth: `weight` (about 1 for a good shot, near 0 for one that disagrees, 0 if
        set aside), `residual_deg`, `bad` and a `note` on the bad ones.
    """

    priors: Priors
    stop: Stop
    _job: "Job" = field(repr=False)
    _pooled: Pooled = field(repr=False)

    @property
    def bag(self) -> Bag:
        return self._job.bag

    @property
    def session(self) -> SessionUnknowns:
        return self._job.session

    @property
    def _count(self):
        return len(self.bag)

    @cached_property
    def _shift_deg(self):
        """What is known of each club before the first ball: its bends, and the usual golfer."""
        return self._job.known[: self._count]

    @cached_property
    def _mean_deg(self):
        return self._pooled.mean[: self._count] + self._shift_deg

    @cached_property
    def _curves(self):
        """Each club's lie error on its nodes, and the logit of the cumulative probability there (nearly straight, so it
        interpolates well).
        """
        chance = self._pooled.chance
        return self._pooled.nodes + self._shift_deg[:, None], _logit(np.cumsum(chance, axis=1) - 0.5 * chance)

    def _below(self, position, value_deg):
        nodes, logit = self._curves
        return 1 / (1 + np.exp(-np.interp(value_deg, nodes[position], logit[position], left=-30.0, right=30.0)))

    def quantile_deg(self, probability: float) -> pd.Series:
        """Return each club's lie error that is not exceeded with `probability`, as a Series in degrees, indexed by
        label.
        """
        nodes, logit = self._curves
        values = [np.interp(_logit(probability), c, n) for n, c in zip(nodes, logit)]
        return pd.Series(values, index=self.bag.labels, name="lie_error_deg")

    def probability_within(self, half_deg: float, bend_deg: ArrayLike = 0.0, u_bend_deg: float = 0.0) -> pd.Series:
        """Return the probability that each club lies within ±`half_deg` of level, after a bend if one is given.

        Parameters
        ----------
        half_deg : float
            In degrees.
        bend_deg : float or array-like, one a club
            Change of lie, upright positive, in degrees.
        u_bend_deg : float
            Standard uncertainty of a bend, in degrees; clubs that are not bent have none.

        Returns
        -------
        Series indexed by label
        """
        values = []
        for position, bend in enumerate(np.broadcast_to(np.asarray(bend_deg, float), self._count)):
            off = bend + u_bend_deg * SLICES * (bend != 0)
            values.append(np.mean(self._below(position, half_deg - off) - self._below(position, -half_deg - off)))
        return pd.Series(values, index=self.bag.labels, name="probability")

    def samples_deg(self, label: str, size: int = 1001) -> np.ndarray:
        """Return `size` equally likely values of one club's lie error, in degrees, ascending (quantiles, not random
        draws).
        """
        position = self.bag.labels.index(self.bag[label].label)
        nodes, logit = self._curves
        return np.interp(_logit((np.arange(size) + 0.5) / size), logit[position], nodes[position])

    @cached_property
    def settled(self) -> pd.Series:
        """Whether each club meets the stop rule, as a Series of bool indexed by label."""
        mean, tolerance = self._mean_deg, self.stop.tolerance_deg
        low, high = self.quantile_deg(0.025), self.quantile_deg(0.975)
        values = []
        for position, club in enumerate(self.bag):
            close = self._below(position, mean[position] + tolerance) - self._below(
                position, mean[position] - tolerance
            )
            room = bend_room(club)
            at_limit = max(room) > 0 and whole_step_bend(
                low.iloc[position], room, self.stop.step_deg
            ) == whole_step_bend(high.iloc[position], room, self.stop.step_deg)
            values.append(close >= self.stop.probability or at_limit)
        return pd.Series(values, index=self.bag.labels, name="settled", dtype=bool)

    @property
    def finished(self) -> bool:
        """True when every club meets the stop rule."""
        return bool(self.settled.all())

    def joint(self) -> tuple[pd.Series, pd.DataFrame]:
        """Return the clubs' lie errors together: mean (degrees) and covariance (degrees squared), both indexed by
        label.

        The covariance's diagonal is the square of the table's `u_lie_error_deg`. What the session leaves open is shared
        by all clubs, so the covariances are what a plan for the whole bag hangs on.
        """
        labels, count = self.bag.labels, self._count
        cov = self._pooled.cov[:count, :count]
        scale = self._u_deg / np.sqrt(np.diag(cov))
        mean = pd.Series(self._mean_deg, index=labels, name="lie_error_deg")
        return mean, pd.DataFrame(cov * np.outer(scale, scale), index=labels, columns=labels)

    def draws(self, n: int = 1000, seed: int = 0) -> np.ndarray:
        """Return `n` joint draws of the clubs' lie errors in degrees, shape (n, clubs); the same for the same seed.

        They hang together as the fit's mixture of Gaussians does; each club by itself follows its curve, humps and
        tails included.
        """
        rng, fit = np.random.default_rng(seed), self._pooled
        cells = rng.multinomial(n, fit.cell_weight.ravel() / fit.cell_weight.sum())
        mean = fit.cell_mean.reshape(cells.size, -1)[:, : self._count]
        cov = fit.cell_cov.reshape(cells.size, *fit.cell_cov.shape[2:])[:, : self._count, : self._count]
        root = np.linalg.cholesky(cov + 1e-12 * np.eye(self._count))
        cell = np.repeat(np.arange(cells.size), cells)
        values = mean[cell] + (root[cell] @ rng.standard_normal((n, self._count, 1)))[..., 0]
        for position, label in enumerate(self.bag.labels):
            values[np.argsort(values[:, position], kind="stable"), position] = self.samples_deg(label, n)
        return values[rng.permutation(n)]

    @cached_property
    def _u_deg(self):
        fit = self._pooled
        return np.sqrt((fit.chance * (fit.nodes - fit.mean[: self._count, None]) ** 2).sum(1))

    @cached_property
    def trend(self) -> pd.Series:
        """The golfer's trend over the set, as a Series.

        `offset_deg` (lie error at 37 in, a 7-iron's usual length), `slope_deg_per_in`, `heading_deg` (mean face heading
        of the shots whose heading is unknown), each with its standard uncertainty `u_…`, and the means of the two
        scales, `shot_scatter_deg` and `club_scatter_deg`.
        """
        fit = self._pooled
        at = self._count + np.array([0, 1, 7])
        mean, u = fit.mean[at], np.sqrt(np.diag(fit.cov)[at])
        if not self._job.design[:, 7].any():  # every heading is known: there is nothing to say about it
            mean[2] = u[2] = math.nan
        return pd.Series(
            {
                "offset_deg": mean[0] + self.priors.offset_deg,
                "u_offset_deg": u[0],
                "slope_deg_per_in": mean[1] + self.priors.slope_deg_per_in,
                "u_slope_deg_per_in": u[1],
                "heading_deg": mean[2],
                "u_heading_deg": u[2],
                "shot_scatter_deg": fit.cell_weight.sum(1) @ fit.sigma,
                "club_scatter_deg": fit.cell_weight.sum(0) @ fit.tau,
            }
        )

    @cached_property
    def unknowns(self) -> pd.DataFrame:
        """The session's unknowns as the balls leave them: `usual_deg`, `u_usual_deg`, `value_deg`, `u_deg` and `counts`
        (a ball hangs on it).
        """
        at = self._count + 2 + np.arange(len(COLUMNS))
        usual = np.array([getattr(self.session, name)[0] for name in COLUMNS])
        sign = np.where(
            np.array(list(COLUMNS)) == "shaft_lean_deg", -1.0, 1.0
        )  # a shaft that leans more delivers less loft
        return pd.DataFrame(
            {
                "usual_deg": usual,
                "u_usual_deg": self.session.sds,
                "value_deg": usual + sign * self._pooled.mean[at],
                "u_deg": np.sqrt(np.diag(self._pooled.cov)[at]),
                "counts": self._job.design[:, 2 : 2 + len(COLUMNS)].any(0),
            },
            index=list(COLUMNS),
        )

    @property
    def log_evidence(self) -> float:
        """Natural logarithm of the probability density of all readings under the model, for comparing priors."""
        return self._pooled.log_evidence

    @cached_property
    def _own(self):
        """Mean and covariance of what each club does beside the trend, its known part left out."""
        level = self._job.design[: self._count, :2] @ self._pooled.mean[self._count : self._count + 2]
        return self._pooled.mean[: self._count] - level, self._pooled.own_cov

    @cached_property
    def table(self) -> pd.DataFrame:
        """A row a club, in the bag's order.

        Columns: `club`; `balls` that counted; `lie_error_deg` with `u_lie_error_deg`, `low_deg` and `high_deg` (95 %);
        `settled` by the stop rule; `within_half`, `within_one`: probability to lie within ±0.5° and ±1° as it is;
        `bend_deg`: the whole-step bend that the head allows, before misses and the golfer's cap are weighed (see
        `plan_bends`), and `within_half_bent`, `within_one_bent` after it; `trend_deg`: the golfer's trend at this club;
        `own_deg`, `u_own_deg`: what is left for the golfer with this club beside trend and gauge; `gauge_deg`: how far
        the club itself is from the maker's figure; `strike_toe_mm`, `strike_up_mm` with `…_sd_mm`: mean and standard
        deviation of its counted strikes.
        """
        own, own_cov = self._own
        trend = self._job.design[: self._count, :2] @ self.trend[["offset_deg", "slope_deg_per_in"]].to_numpy()
        bends = [whole_step_bend(m, bend_room(club), self.stop.step_deg) for m, club in zip(self._mean_deg, self.bag)]
        counted = self.shots[self.shots["counted"]]
        table = pd.DataFrame(
            {
                "club": self.bag.labels,
                "balls": [int((counted["club"] == label).sum()) for label in self.bag.labels],
                "lie_error_deg": self._mean_deg,
                "u_lie_error_deg": self._u_deg,
                "low_deg": self.quantile_deg(0.025).to_numpy(),
                "high_deg": self.quantile_deg(0.975).to_numpy(),
                "settled": self.settled.to_numpy(),
                "within_half": self.probability_within(0.5).to_numpy(),
                "within_one": self.probability_within(1.0).to_numpy(),
                "bend_deg": bends,
                "within_half_bent": self.probability_within(0.5, bends).to_numpy(),
                "within_one_bent": self.probability_within(1.0, bends).to_numpy(),
                "trend_deg": trend,
                "own_deg": own,
                "u_own_deg": np.sqrt(np.maximum(np.diag(own_cov), 0.0)),
                "gauge_deg": [club.total_bent_deg if doubts.gauged(club) else math.nan for club in self.bag],
            }
        )
        for name in ("strike_toe_mm", "strike_up_mm"):
            groups = counted.groupby("club")[name]
            table[name] = table["club"].map(groups.mean())
            table[name.replace("_mm", "_sd_mm")] = table["club"].map(groups.std())
        return table

    @cached_property
    def shots(self) -> pd.DataFrame:
        """The readings, in their order, with `weight`, `residual_deg`, `bad` and `note`; shots set aside weigh 0."""
        job, shots = self._job, self._job.rows.copy()
        counted = shots["counted"].to_numpy()
        at = job.line[counted], job.shot[counted]
        shots["weight"] = 0.0
        shots.loc[counted, "weight"] = self._pooled.shot_weight[at]
        shots["residual_deg"] = shots["lie_error_deg"] - (job.known + self._pooled.line_mean)[job.line]
        shots["bad"] = counted & (shots["weight"] < BAD_SHOT_WEIGHT)
        shots["note"] = [
            f"{abs(r):.1f}° {'more toe up' if r > 0 else 'more toe down'} than this club's other shots lead "
            "to expect: look at the print again"
            if bad
            else ""
            for r, bad in zip(shots["residual_deg"], shots["bad"])
        ]
        return shots

    def next_step(self) -> advice.NextStep:
        """Return the step that lowers the loss most a minute: balls, a check of the session, a gauge reading, or to
        stop (see `NextStep`).
        """
        return self._next_step

    @cached_property
    def _next_step(self):
        return advice.next_step(self)

    def next_club(self) -> advice.NextClub:
        """Return which club to hit next: the one whose ball lowers the expected loss most.

        The loss is the summed variance of the lie errors of all clubs that do not yet meet the stop rule, so a ball
        counts for every club that it tells something about.

        Returns
        -------
        NextClub
            `club` is None when the bag is finished; `lowers_by` is in degrees squared.
        """
        return advice.next_club(self)

    def balls_to_go(self) -> tuple[float, float]:
        """Return how many more balls it takes to finish, as an honest range (low, high); (0, 0) when finished.

        The range reaches from a steady golfer to a scattered one, as far as the balls so far leave that open (5 % and
        95 % of the shots' scale). It counts balls that count. ``math.inf`` where balls cannot do it: what is shared by
        all of them is too much in doubt (`next_step` says what would help), or it would take more than a day's balls.
        """
        return self._balls_to_go

    @cached_property
    def _balls_to_go(self):
        return advice.balls_to_go(self)

    def budget(self, label: str) -> pd.DataFrame:
        """Return where a club's uncertainty comes from, and what would lower it: see `linetilt.lie.advice.budget`."""
        return advice.budget(self, self.bag[label].label)

    @cached_property
    def warnings(self) -> list[str]:
        """What the fitter should know about this fit, a sentence each (empty: nothing speaks against it)."""
        return doubts.warnings(self)


def _logit(probability):
    p = np.clip(probability, 1e-13, 1 - 1e-13)
    return np.log(p / (1 - p))
