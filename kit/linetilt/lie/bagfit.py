"""What a pooled bag says: the table, each shot's worth, the club to hit next, when to stop, and what speaks against the fit."""

import math
from dataclasses import dataclass, field
from functools import cached_property
from statistics import NormalDist
from typing import NamedTuple

import numpy as np
import pandas as pd

from ..base.club import Bag
from .pool import Pooled

# Alarms, set so that golfers who fit the model raise each of them in no more than about one bag of fifty.
BAD_SHOT_WEIGHT = 0.41
DRIFT_Z, DRIFT_DEG = 2.6, 0.75
BOW_Z, BOW_DEG = 2.0, 1.0
ODD_Z, ODD_DEG = 2.3, 1.0

SLICES = np.array(
    [NormalDist().inv_cdf((i + 0.5) / 7) for i in range(7)]
)  # middles of seven equal slices of a normal curve


class NextClub(NamedTuple):
    """The club to hit next (None when the bag is finished), by how much a ball lowers the loss, and the same in words."""

    club: str | None
    lowers_by: float
    sentence: str


def bend_room(club, cap_deg=None):
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


def whole_step_bend(lie_error_deg, room, step_deg):
    """Return the bend in whole steps, upright positive, that leaves least of a lie error within `room` (flatter, upright)."""
    down, up = (np.floor(side / step_deg + 1e-9) for side in room)
    return float(np.clip(round(-lie_error_deg / step_deg), -down, up)) * step_deg


@dataclass(frozen=True, eq=False)
class BagFit:
    """What the balls say about each club of one golfer's bag.

    Attributes
    ----------
    bag, priors, stop
        What `fit_bag` was given.
    table : DataFrame
        A row a club; see `BagFit.table`.
    shots : DataFrame
        The readings with what each was worth: `weight` (about 1 for a good shot, near 0 for one that disagrees, 0 if set
        aside), `residual_deg`, `bad` and a `note` on the bad ones.
    """

    bag: Bag
    priors: object
    stop: object
    _pooled: Pooled = field(repr=False)
    _readings: pd.DataFrame = field(repr=False)
    _line: np.ndarray = field(repr=False)
    _shot: np.ndarray = field(repr=False)
    _design: np.ndarray = field(repr=False)

    @property
    def _count(self):
        return len(self.bag)

    @cached_property
    def _known_deg(self):
        return np.array([club.total_bent_deg for club in self.bag])

    @cached_property
    def _mean_deg(self):
        at_offset = self._design[: self._count] @ [self.priors.offset_deg, self.priors.slope_deg_per_in, 0.0]
        return self._pooled.mean[: self._count] + self._known_deg + at_offset

    @cached_property
    def _curves(self):
        """Each club's lie error on its nodes, and the logit of the cumulative probability there (nearly straight, so it interpolates well)."""
        shift = self._mean_deg - self._pooled.mean[: self._count]
        chance = self._pooled.chance
        return self._pooled.nodes + shift[:, None], _logit(np.cumsum(chance, axis=1) - 0.5 * chance)

    def _below(self, position, value_deg):
        nodes, logit = self._curves
        return 1 / (1 + np.exp(-np.interp(value_deg, nodes[position], logit[position], left=-30.0, right=30.0)))

    def quantile_deg(self, probability):
        """Return each club's lie error that is not exceeded with `probability`, as a Series in degrees, indexed by label."""
        nodes, logit = self._curves
        values = [np.interp(_logit(probability), c, n) for n, c in zip(nodes, logit)]
        return pd.Series(values, index=self.bag.labels, name="lie_error_deg")

    def probability_within(self, half_deg, bend_deg=0.0, u_bend_deg=0.0):
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

    def samples_deg(self, label, size=1001):
        """Return `size` equally likely values of one club's lie error, in degrees, ascending (quantiles, not random draws)."""
        position = self.bag.labels.index(self.bag[label].label)
        nodes, logit = self._curves
        return np.interp(_logit((np.arange(size) + 0.5) / size), logit[position], nodes[position])

    @cached_property
    def settled(self):
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
    def finished(self):
        """True when every club meets the stop rule."""
        return bool(self.settled.all())

    @cached_property
    def trend(self):
        """The golfer's trend over the set, as a Series.

        `offset_deg` (lie error at 37 in, a 7-iron's usual length), `slope_deg_per_in`, `heading_deg` (mean face heading of
        the shots whose heading is unknown), each with its standard uncertainty `u_…`, and the means of the two scales,
        `shot_scatter_deg` and `club_scatter_deg`.
        """
        fit = self._pooled
        mean, u = fit.mean[-3:].copy(), np.sqrt(np.diag(fit.cov)[-3:])
        if len(self._design) == self._count:  # every heading is known: there is nothing to say about it
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

    @property
    def log_evidence(self):
        """Natural logarithm of the probability density of all readings under the model, for comparing priors."""
        return self._pooled.log_evidence

    @cached_property
    def _own(self):
        """Mean and covariance of what each club does beside the trend, its known part left out."""
        pick = np.hstack([np.eye(self._count, len(self._pooled.mean) - 3), -self._design[: self._count]])
        return pick @ self._pooled.mean, pick @ self._pooled.cov @ pick.T

    @cached_property
    def table(self):
        """A row a club, in the bag's order.

        Columns: `club`; `balls` that counted; `lie_error_deg` with `u_lie_error_deg`, `low_deg` and `high_deg` (95 %);
        `settled` by the stop rule; `within_half`, `within_one`: probability to lie within ±0.5° and ±1° as it is;
        `bend_deg`: the whole-step bend that the head allows, before misses and the golfer's cap are weighed (see `plan_bends`), and
        `within_half_bent`, `within_one_bent` after it; `trend_deg`: the golfer's trend at this club; `own_deg`,
        `u_own_deg`: what is left for the golfer with this club beside trend and gauge; `gauge_deg`: how far the club itself is from the maker's
        figure; `strike_toe_mm`, `strike_up_mm` with `…_sd_mm`: mean and standard deviation of its counted strikes.
        """
        fit, (own, own_cov) = self._pooled, self._own
        trend = self._design[: self._count, :2] @ self.trend[["offset_deg", "slope_deg_per_in"]].to_numpy()
        bends = [whole_step_bend(m, bend_room(club), self.stop.step_deg) for m, club in zip(self._mean_deg, self.bag)]
        counted = self.shots[self.shots["counted"]]
        table = pd.DataFrame(
            {
                "club": self.bag.labels,
                "balls": [int((counted["club"] == label).sum()) for label in self.bag.labels],
                "lie_error_deg": self._mean_deg,
                "u_lie_error_deg": np.sqrt((fit.chance * (fit.nodes - fit.mean[: self._count, None]) ** 2).sum(1)),
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
                "gauge_deg": [club.total_bent_deg if _gauged(club) else math.nan for club in self.bag],
            }
        )
        for name in ("strike_toe_mm", "strike_up_mm"):
            groups = counted.groupby("club")[name]
            table[name] = table["club"].map(groups.mean())
            table[name.replace("_mm", "_sd_mm")] = table["club"].map(groups.std())
        return table

    @cached_property
    def shots(self):
        """The readings, in their order, with `weight`, `residual_deg`, `bad` and `note`; shots set aside weigh 0."""
        shots = self._readings.copy()
        counted = shots["counted"].to_numpy()
        at = self._line[counted], self._shot[counted]
        line_mean = self._pooled.mean[: len(self._design)] + self._design @ [
            self.priors.offset_deg,
            self.priors.slope_deg_per_in,
            0.0,
        ]
        known = self._known_deg[[self.bag.labels.index(label) for label in shots["club"]]]
        shots["weight"] = 0.0
        shots.loc[counted, "weight"] = self._pooled.shot_weight[at]
        shots["residual_deg"] = shots["lie_error_deg"] - known - line_mean[self._line]
        shots["bad"] = counted & (shots["weight"] < BAD_SHOT_WEIGHT)
        shots["note"] = [
            f"{abs(r):.1f}° {'more upright' if r > 0 else 'flatter'} than this club's other shots lead to expect: look at the print again"
            if bad
            else ""
            for r, bad in zip(shots["residual_deg"], shots["bad"])
        ]
        return shots

    def _measured(self):
        """Positions in the pooled state that a next ball of each club would measure (heading known or not, as most are)."""
        known = self._readings.loc[self._readings["counted"], "heading_known"].mean() >= 0.5
        return np.arange(self._count) + (0 if known or len(self._design) == self._count else self._count)

    def _ball_var(self, sigma2):
        """Variance that one more ball brings: Student shots tell (ν + 1)/(ν + 3) of what Gaussian ones would."""
        nu = self.priors.shot_dof
        told = 1.0 if math.isinf(nu) else (nu + 1) / (nu + 3)
        u2 = float((self._readings.loc[self._readings["counted"], "u_lie_error_deg"] ** 2).median())
        return (sigma2 + u2) / told

    def _gains(self, cov, ball_var, settled):
        """Return by how much a ball with each club lowers the summed variance of the clubs that are not settled."""
        measured = self._measured()
        drop = cov[: self._count, measured] ** 2 / (np.diag(cov)[measured] + ball_var)
        return (~settled) @ drop

    def next_club(self):
        """Return which club to hit next: the one whose ball lowers the expected loss most.

        The loss is the summed variance of the lie errors of all clubs that do not yet meet the stop rule, so a ball counts for
        every club that it tells something about.

        Returns
        -------
        NextClub
            `club` is None when the bag is finished; `lowers_by` is in degrees squared.
        """
        if self.finished:
            return NextClub(None, 0.0, "Finished: no club needs another ball.")
        sigma2 = float(self._pooled.cell_weight.sum(1) @ self._pooled.sigma**2)
        settled = self.settled.to_numpy()
        gains = self._gains(self._pooled.cov, self._ball_var(sigma2), settled)
        best = int(np.argmax(gains))
        loss = float(np.diag(self._pooled.cov)[: self._count][~settled].sum())
        label = self.bag.labels[best]
        return NextClub(
            label,
            float(gains[best]),
            f"Hit the {label} next: one ball should take {gains[best] / loss:.0%} off what is still uncertain.",
        )

    def balls_to_go(self):
        """Return how many more balls it takes to finish, as an honest range (low, high); (0, 0) when finished.

        The range reaches from a steady golfer to a scattered one, as far as the balls so far leave that open (5 % and 95 % of the shots'
        scale). It counts balls that count, and ends at 99.
        """
        if self.finished:
            return 0, 0
        fit = self._pooled
        cumulative = np.cumsum(fit.cell_weight.sum(1))
        return tuple(
            self._count_balls(min(int(np.searchsorted(cumulative, p)), len(fit.sigma) - 1)) for p in (0.05, 0.95)
        )

    def _count_balls(self, cell):
        cov = self._pooled.cell_cov[cell].copy()
        ball_var = self._ball_var(self._pooled.sigma[cell] ** 2)
        measured, count = self._measured(), self._count
        need = (self.stop.tolerance_deg / NormalDist().inv_cdf(0.5 + self.stop.probability / 2)) ** 2
        for balls in range(1, 99):
            settled = np.diag(cov)[:count] <= need
            best = measured[int(np.argmax(self._gains(cov, ball_var, settled)))] if not settled.all() else measured[0]
            column = cov[:, best].copy()
            cov -= np.outer(column, column) / (column[best] + ball_var)
            if (np.diag(cov)[:count] <= need).all():
                return balls
        return 99

    @cached_property
    def warnings(self):
        """What the fitter should know about this fit, a sentence each (empty: nothing speaks against it)."""
        notes = []
        counted = self.shots[self.shots["counted"]]
        if len(counted) < 3:
            notes.append(
                f"Only {len(counted)} ball{'s' * (len(counted) > 1)} in all: the numbers still lean on what is usual for golfers."
            )
        unknown = int((~counted["heading_known"]).sum())
        if unknown:
            notes.append(
                f"The face heading is not known for {unknown} of {len(counted)} balls: the intervals are wider, most of all for wedges."
            )
        if len(counted) >= 8 and counted["bad"].mean() > 0.25:
            notes.append(
                f"{int(counted['bad'].sum())} of {len(counted)} shots disagree with the rest: check prints and clubs before you bend."
            )
        drift, z = self._drift()
        if abs(z) > DRIFT_Z and abs(drift) > DRIFT_DEG:
            notes.append(
                f"Late shots sit {abs(drift):.1f}° {'more upright' if drift > 0 else 'flatter'} than early ones: "
                "the golfer may be tired or changing the swing. Rest, then hit a few early clubs again."
            )
        bow, z = self._bow()
        if abs(z) > BOW_Z and abs(bow) > BOW_DEG:
            where = "more upright" if bow > 0 else "flatter"
            notes.append(
                f"The set does not follow a straight trend: the middle clubs sit {abs(bow):.1f}° {where} than both ends lead to expect. "
                "Hit more balls with each club rather than trust its neighbours."
            )
        own, cov = self._own
        for club, value, u in zip(self.bag, own, np.sqrt(np.maximum(np.diag(cov), 0.0))):
            if abs(value) > max(ODD_DEG, ODD_Z * u):
                blame = (
                    "the gauge finds that the club is not the cause, so it is how the golfer swings it"
                    if _gauged(club)
                    else "put it on the gauge to see whether it is the club or the golfer"
                )
                notes.append(
                    f"The {club.label} stands apart: {abs(value):.1f}° {'more upright' if value > 0 else 'flatter'} than the "
                    f"other clubs lead to expect; {blame}."
                )
        return notes

    def _drift(self):
        """Return change of the residuals from first to last shot within clubs, in degrees, and its score in standard deviations."""
        counted = self._readings["counted"].to_numpy()
        rows = self._readings[counted]
        order = rows["shot"].rank().to_numpy() / max(1, counted.sum())
        centred = order - pd.Series(order).groupby(rows["club"].to_numpy()).transform("mean").to_numpy()
        at = self._line[counted], self._shot[counted]
        scale = np.sqrt(self.trend["shot_scatter_deg"] ** 2 + rows["u_lie_error_deg"].to_numpy() ** 2)
        nu = self.priors.shot_dof
        told = 1.0 if math.isinf(nu) else (nu + 1) / (nu + 3)
        information = told * (centred**2 / scale**2).sum()
        if information < 1e-9:
            return 0.0, 0.0
        score = (centred * self._pooled.shot_score[at] / scale).sum()
        return score / information, score / math.sqrt(information)

    def _bow(self):
        """Return how far the middle of the set bows from the line through its ends, in degrees, and its score."""
        own, cov = self._own
        x = self._design[: self._count, 1]
        if len(np.unique(x)) < 4:
            return 0.0, 0.0
        basis, _ = np.linalg.qr(np.column_stack([np.ones_like(x), x, x**2]))
        contrast = basis[:, 2]
        tau2 = float(self._pooled.cell_weight.sum(0) @ self._pooled.tau**2)
        share = club_spread(self.bag, self.priors)
        var = contrast**2 @ (tau2 * share**2) - contrast @ cov @ contrast
        value = contrast @ own
        middle, ends = np.argmin(abs(x - (x.max() + x.min()) / 2)), [int(np.argmin(x)), int(np.argmax(x))]
        return value * (contrast[middle] - contrast[ends].mean()), value / math.sqrt(max(var, 1e-9))


def _gauged(club):
    return club.gauge_lie_deg is not None and club.lie_deg is not None


def club_spread(bag, priors):
    """Each club's share of the club scatter."""
    gauged = priors.gauged_scatter_deg / priors.club_scatter_deg
    return np.array(
        [(gauged if _gauged(club) else 1.0) * (1.0 if club.from_set else priors.apart_factor) for club in bag]
    )


def _logit(probability):
    p = np.clip(probability, 1e-13, 1 - 1e-13)
    return np.log(p / (1 - p))
