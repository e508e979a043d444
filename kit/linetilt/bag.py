"""Readings of all clubs -> a pooled estimate for each club, the club to hit next, and when to stop."""

import math
from dataclasses import dataclass, field, fields
from functools import cached_property
from statistics import NormalDist
from typing import NamedTuple

import numpy as np
import pandas as pd

from ._pool import Pooled, pool, scale_grid
from .club import Bag, check_number
from .errors import InputError

# A 7-iron's length, and how a set shortens as loft grows, for clubs whose length was not measured: common practice, no source.
SEVEN_IRON_LENGTH_IN, SEVEN_IRON_LOFT_DEG, INCHES_PER_LOFT_DEG = 37.0, 34.0, -0.12

U_SHOT_FLOOR = 0.25  # share of a shot's stated uncertainty that stays its own, whatever the session's heading takes out

# Alarms, set so that golfers who fit the model raise each of them in no more than about one bag of fifty.
BAD_SHOT_WEIGHT = 0.41
DRIFT_Z, DRIFT_DEG = 2.6, 0.75
BOW_Z, BOW_DEG = 2.0, 1.0
ODD_Z, ODD_DEG = 2.0, 1.0

_BEND_NODES = np.array([NormalDist().inv_cdf((i + 0.5) / 7) for i in range(7)])  # middles of seven equal slices of a normal curve


@dataclass(frozen=True, kw_only=True)
class Priors:
    """What is taken for granted before the first ball; every assumption can be changed.

    Parameters
    ----------
    offset_deg, offset_sd_deg : float
        Lie error of a golfer's 7-iron: usual value, and standard deviation over golfers, in degrees.
    slope_deg_per_in, slope_sd_deg_per_in : float
        Change of lie error for each inch of length, over golfers, in degrees an inch.
    club_scatter_deg, club_scatter_log_sd : float
        What one club does beside the golfer's trend: median of its standard deviation over golfers, in degrees, and the
        standard deviation of that number's logarithm (0: known exactly).
    gauged_scatter_deg : float
        The same for clubs read on a lie gauge, where the club's own share is known and only the golfer's is left, in degrees.
    apart_factor : float
        How many times wider that scatter is for a club bought apart from the set.
    shot_scatter_deg, shot_scatter_log_sd : float
        Scale of the shots about their club: median over golfers, in degrees, and standard deviation of its logarithm.
    shot_dof : float
        Degrees of freedom of Student's t for the shots; ``inf`` for shots without outliers.
    heading_sd_deg : float
        Mean face heading of a golfer's session where it is not known: standard deviation over golfers, in degrees.

    Notes
    -----
    The figures are common practice and guesses from trials, without a published source. They matter at one to three balls a
    club and fade after that.
    """

    offset_deg: float = 0.0
    offset_sd_deg: float = 2.5
    slope_deg_per_in: float = 0.0
    slope_sd_deg_per_in: float = 0.6
    club_scatter_deg: float = 0.5
    club_scatter_log_sd: float = 0.6
    gauged_scatter_deg: float = 0.3
    apart_factor: float = 2.0
    shot_scatter_deg: float = 1.0
    shot_scatter_log_sd: float = 0.4
    shot_dof: float = 4.0
    heading_sd_deg: float = 2.0

    def __post_init__(self):
        for name in (f.name for f in fields(self)):
            low = -1e6 if name in ("offset_deg", "slope_deg_per_in") else 0.0
            value = check_number(f"priors: {name}", getattr(self, name), low, math.inf, "")
            if low == 0.0 and not name.endswith("log_sd") and value == 0.0:
                raise InputError(f"priors: {name} is 0; expected more than 0 (a tiny number says that it is known)")
            object.__setattr__(self, name, value)


@dataclass(frozen=True, kw_only=True)
class Stop:
    """When a bag is finished: every club within a tolerance of its estimate, or beyond what more balls could change.

    Parameters
    ----------
    tolerance_deg : float
        How close a club's lie error must lie to its estimate, in degrees.
    probability : float
        With which probability.
    step_deg : float
        Smallest step of the bench, in degrees. A club whose whole 95 % interval asks for the same bend, because its head
        allows no more, is finished too.
    """

    tolerance_deg: float = 1.0
    probability: float = 0.9
    step_deg: float = 0.25

    def __post_init__(self):
        check_number("stop: tolerance_deg", self.tolerance_deg, 0.1, 5, "degrees")
        check_number("stop: probability", self.probability, 0.5, 0.999, "")
        check_number("stop: step_deg", self.step_deg, 0.05, 1, "degrees")


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


@dataclass(frozen=True)
class BagFit:
    """What the balls say about each club of one golfer's bag.

    Attributes
    ----------
    table : DataFrame
        A row a club; see `BagFit.table`.
    shots : DataFrame
        The readings with what each was worth: `weight` (about 1 for a good shot, near 0 for one that disagrees, 0 if set
        aside), `residual_deg`, `bad` and a `note` on the bad ones.
    """

    bag: Bag
    priors: Priors
    stop: Stop
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
            off = bend + u_bend_deg * _BEND_NODES * (bend != 0)
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
            close = self._below(position, mean[position] + tolerance) - self._below(position, mean[position] - tolerance)
            room = bend_room(club)
            at_limit = max(room) > 0 and whole_step_bend(low.iloc[position], room, self.stop.step_deg) == whole_step_bend(
                high.iloc[position], room, self.stop.step_deg
            )
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
        line_mean = self._pooled.mean[: len(self._design)] + self._design @ [self.priors.offset_deg, self.priors.slope_deg_per_in, 0.0]
        known = self._known_deg[[self.bag.labels.index(label) for label in shots["club"]]]
        shots["weight"] = 0.0
        shots.loc[counted, "weight"] = self._pooled.shot_weight[at]
        shots["residual_deg"] = shots["lie_error_deg"] - known - line_mean[self._line]
        shots["bad"] = counted & (shots["weight"] < BAD_SHOT_WEIGHT)
        shots["note"] = [
            f"{abs(r):.1f}° {'more upright' if r > 0 else 'flatter'} than this club's other shots lead to expect: look at the print again"
            if bad else ""
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
        return NextClub(label, float(gains[best]),
                        f"Hit the {label} next: one ball should take {gains[best] / loss:.0%} off what is still uncertain.")

    def balls_to_go(self):
        """Return how many more balls it takes to finish, as an honest range (low, high); (0, 0) when finished.

        The range reaches from a steady golfer to a scattered one, as far as the balls so far leave that open (5 % and 95 % of the shots'
        scale). It counts balls that count, and ends at 99.
        """
        if self.finished:
            return 0, 0
        fit = self._pooled
        cumulative = np.cumsum(fit.cell_weight.sum(1))
        return tuple(self._count_balls(min(int(np.searchsorted(cumulative, p)), len(fit.sigma) - 1)) for p in (0.05, 0.95))

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
            notes.append(f"Only {len(counted)} ball{'s' * (len(counted) > 1)} in all: the numbers still lean on what is usual for golfers.")
        unknown = int((~counted["heading_known"]).sum())
        if unknown:
            notes.append(f"The face heading is not known for {unknown} of {len(counted)} balls: the intervals are wider, most of all for wedges.")
        if len(counted) >= 8 and counted["bad"].mean() > 0.25:
            notes.append(f"{int(counted['bad'].sum())} of {len(counted)} shots disagree with the rest: check prints and clubs before you bend.")
        drift, z = self._drift()
        if abs(z) > DRIFT_Z and abs(drift) > DRIFT_DEG:
            notes.append(f"Late shots sit {abs(drift):.1f}° {'more upright' if drift > 0 else 'flatter'} than early ones: "
                         "the golfer may be tired or changing the swing. Rest, then hit a few early clubs again.")
        bow, z = self._bow()
        if abs(z) > BOW_Z and abs(bow) > BOW_DEG:
            where = "more upright" if bow > 0 else "flatter"
            notes.append(f"The set does not follow a straight trend: the middle clubs sit {abs(bow):.1f}° {where} than both ends lead to expect. "
                         "Hit more balls with each club rather than trust its neighbours.")
        own, cov = self._own
        for club, value, u in zip(self.bag, own, np.sqrt(np.maximum(np.diag(cov), 0.0))):
            if abs(value) > max(ODD_DEG, ODD_Z * u):
                blame = ("the gauge finds that the club is not the cause, so it is how the golfer swings it" if _gauged(club)
                         else "put it on the gauge to see whether it is the club or the golfer")
                notes.append(f"The {club.label} stands apart: {abs(value):.1f}° {'more upright' if value > 0 else 'flatter'} than the "
                             f"other clubs lead to expect; {blame}.")
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
        share = _spread(self.bag, self.priors)
        var = contrast**2 @ (tau2 * share**2) - contrast @ cov @ contrast
        value = contrast @ own
        middle, ends = np.argmin(abs(x - (x.max() + x.min()) / 2)), [int(np.argmin(x)), int(np.argmax(x))]
        return value * (contrast[middle] - contrast[ends].mean()), value / math.sqrt(max(var, 1e-9))


def fit_bag(readings, bag, *, priors=None, stop=None):
    """Pool the readings of one golfer's bag.

    A reading is the golfer's trend over club length, plus what this one club does beside it, plus a shot whose scatter is
    Student t, widened by the photo's own uncertainty. The scatters are not plugged in but integrated over, so that the
    intervals hold at few balls.

    Parameters
    ----------
    readings : DataFrame
        A row a shot. Needed: `club` (label), `lie_error_deg`, `u_lie_error_deg` (standard uncertainty of the reading), in
        degrees. Optional: `heading_known` (False: read as if the face were square; True if left out), `counted` (False: set
        aside by the fitter, such as a heavy strike or a second hit on the same spot), `strike_toe_mm`, `strike_up_mm`, `shot`
        (a number that rises in the order of hitting; the rows' order if left out). Further columns are kept.
    bag : Bag
        Clubs read on a gauge (`gauge_lie_deg` beside `lie_deg`) and clubs bought apart (`from_set=False`) are treated as such.
    priors : Priors, optional
    stop : Stop, optional

    Returns
    -------
    BagFit

    Raises
    ------
    InputError
        When a reading belongs to no club of the bag, is not a number, has an uncertainty of zero or less, or none counts.

    Notes
    -----
    A shot whose face heading is unknown carries in `u_lie_error_deg` all of that doubt, as `lie_reading` gives it. The fit has the session's
    mean heading as an unknown of its own, so that share, sin λ cos λ · `heading_sd_deg`, is taken out of the shot's uncertainty.
    """
    return fit_bags(readings.assign(golfer=0) if isinstance(readings, pd.DataFrame) else readings, bag, priors=priors, stop=stop)[0]


def fit_bags(readings, bags, *, priors=None, stop=None):
    """Pool the bags of many golfers in one call.

    Parameters
    ----------
    readings : DataFrame
        As for `fit_bag`, with a column `golfer`.
    bags : Bag or dict of Bag
        One bag for all, or each golfer's own.
    priors, stop : optional
        As for `fit_bag`.

    Returns
    -------
    dict of BagFit
        By golfer, in the order of their first reading.
    """
    priors, stop = priors or Priors(), stop or Stop()
    readings = _check_readings(readings)
    jobs = {}
    for golfer, rows in readings.groupby("golfer", sort=False):
        bag = bags if isinstance(bags, Bag) else bags.get(golfer)
        if not isinstance(bag, Bag):
            raise InputError(f"no bag for golfer {golfer!r}; expected one lt.Bag for all, or a dict with a bag for each")
        jobs[golfer] = _lay_out(rows.drop(columns="golfer"), bag, priors, golfer if readings["golfer"].nunique() > 1 else None)
    fits = {}
    for shape in {job["y"].shape for job in jobs.values()}:
        same = [golfer for golfer, job in jobs.items() if job["y"].shape == shape]
        stack = {name: np.stack([jobs[golfer][name] for golfer in same]) for name in ("y", "u", "filled", "design", "spread")}
        pooled = pool(
            stack["y"], stack["u"], stack["filled"], stack["design"], jobs[same[0]]["club"], stack["spread"],
            np.array([priors.offset_sd_deg, priors.slope_sd_deg_per_in, priors.heading_sd_deg]),
            scale_grid(priors.shot_scatter_deg, priors.shot_scatter_log_sd, 11),
            scale_grid(priors.club_scatter_deg, priors.club_scatter_log_sd, 9), priors.shot_dof,
        )
        for golfer, one in zip(same, pooled):
            job = jobs[golfer]
            fits[golfer] = BagFit(job["bag"], priors, stop, one, job["rows"], job["line"], job["shot"], job["design"])
    return {golfer: fits[golfer] for golfer in jobs}


def usual_length_in(club):
    """Return a club's length in inches, or what is usual for its loft where it was not measured."""
    if club.length_in is not None:
        return club.length_in
    return SEVEN_IRON_LENGTH_IN + INCHES_PER_LOFT_DEG * (club.loft_deg - SEVEN_IRON_LOFT_DEG)


def _logit(probability):
    p = np.clip(probability, 1e-13, 1 - 1e-13)
    return np.log(p / (1 - p))


def _gauged(club):
    return club.gauge_lie_deg is not None and club.lie_deg is not None


def _spread(bag, priors):
    """Each club's share of the club scatter."""
    gauged = priors.gauged_scatter_deg / priors.club_scatter_deg
    return np.array([(gauged if _gauged(club) else 1.0) * (1.0 if club.from_set else priors.apart_factor) for club in bag])


def _lay_out(rows, bag, priors, golfer):
    """Return one golfer's rows as padded arrays: a line a club, then (if any heading is unknown) another line a club."""
    who = "" if golfer is None else f"golfer {golfer}: "
    labels = bag.labels
    strangers = [label for label in rows["club"].unique() if label not in labels]
    if strangers:
        raise InputError(f"{who}readings for club {strangers[0]!r}, which is not in the bag; it holds {', '.join(labels)}")
    if not rows["counted"].any():
        raise InputError(f"{who}none of the {len(rows)} readings counts; expected at least one ball that was not set aside")
    clubs = len(labels)
    club = np.array([labels.index(label) for label in rows["club"]])
    halves = 1 if rows.loc[rows["counted"], "heading_known"].all() else 2
    line = club + np.where(rows["heading_known"], 0, clubs * (halves - 1))
    counted = rows["counted"].to_numpy()
    shot = pd.Series(np.where(counted, 1, 0)).groupby(line).cumsum().to_numpy() - 1
    width = int(2 ** math.ceil(math.log2(shot[counted].max() + 1)))  # padded to a power of two: few shapes for many golfers
    loft = np.radians([one.loft_deg for one in bag])
    x = np.array([usual_length_in(one) for one in bag]) - SEVEN_IRON_LENGTH_IN
    turned = [np.zeros(clubs), -np.sin(loft) * np.cos(loft)][:halves]
    design = np.concatenate([np.column_stack([np.ones(clubs), x, k]) for k in turned])
    y, u, filled = np.zeros((halves * clubs, width)), np.ones((halves * clubs, width)), np.zeros((halves * clubs, width), bool)
    at = line[counted], shot[counted]
    known = np.array([one.total_bent_deg for one in bag])[club] + (design @ [priors.offset_deg, priors.slope_deg_per_in, 0.0])[line]
    u_shot = rows["u_lie_error_deg"].to_numpy()
    u_shot = np.sqrt(np.maximum(u_shot**2 - (design[line, 2] * priors.heading_sd_deg) ** 2, (U_SHOT_FLOOR * u_shot) ** 2))
    y[at], u[at], filled[at] = (rows["lie_error_deg"] - known)[counted], u_shot[counted], True
    return {"bag": bag, "rows": rows, "line": line, "shot": shot, "design": design, "y": y, "u": u, "filled": filled,
            "club": np.tile(np.arange(clubs), halves), "spread": _spread(bag, priors)}


def _check_readings(readings):
    if not isinstance(readings, pd.DataFrame):
        raise InputError(f"readings is a {type(readings).__name__}; expected a DataFrame with a row a shot")
    needed = ["club", "lie_error_deg", "u_lie_error_deg", "golfer"]
    missing = [name for name in needed if name not in readings.columns]
    if missing:
        raise InputError(f"the readings have no column {missing[0]}; expected at least {', '.join(needed[:3])}")
    if readings.empty:
        raise InputError("the readings are empty; expected at least one ball")
    table = readings.copy()
    table["club"] = table["club"].astype(str)
    for name, usual in (("heading_known", True), ("counted", True)):
        table[name] = _booleans(table, name) if name in table else usual
    for name in ("strike_toe_mm", "strike_up_mm"):
        table[name] = pd.to_numeric(table[name], errors="coerce") if name in table else math.nan
    table["shot"] = pd.to_numeric(table["shot"]) if "shot" in table else np.arange(1, len(table) + 1)
    for name, good, expected in (
        ("lie_error_deg", lambda v: v.abs() <= 45, "a number of degrees from -45 to 45"),
        ("u_lie_error_deg", lambda v: (v > 0) & (v <= 45), "degrees above 0, since every reading has some uncertainty"),
    ):
        values = pd.to_numeric(table[name], errors="coerce")
        wrong = table["counted"] & ~good(values)
        if wrong.any():
            row = int(np.flatnonzero(wrong)[0])
            raise InputError(f"{name} of reading {row + 1} (club {table['club'].iloc[row]}) is {readings[name].iloc[row]}; "
                             f"expected {expected}. Set the shot aside (counted False) if it has no reading")
        table[name] = values
    return table.reset_index(drop=True)


def _booleans(table, name):
    for row, value in enumerate(table[name]):
        if value not in (True, False):
            raise InputError(f"{name} of reading {row + 1} is {value!r}; expected True or False")
    return table[name].astype(bool)

