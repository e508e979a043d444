"""What speaks against a fit: drift, runs, two kinds of swing, a bow, clubs that stand apart; and
what is done about it.
"""

import math
from dataclasses import replace
from typing import NamedTuple

import numpy as np
import pandas as pd

from ..base.club import Club

# Alarms, set so that golfers who fit the model raise each of them in no more than about one bag of fifty.
DRIFT_Z, DRIFT_DEG = 2.6, 0.75
BOW_Z, BOW_DEG = 2.0, 1.0
ODD_Z, ODD_DEG, ODD_CHANCE = 2.3, 1.0, 0.4
RUNS_FROM, RUNS_SAID = 1.0, 2.3  # scores from which runs are counted, and said
RUN_LENGTH, RUN_PAIRS = 5, 8  # balls of a run; pairs of neighbours below which nothing is looked for
RUN_LAGS = (
    (1, 1.0),
    (2, 0.75),
    (3, 0.5),
)  # neighbours, and what they count: about as two shots of such a run hang together
# Two kinds: gain of log likelihood, how far apart (scales, and degrees), share of the rarer one, balls to look at all.
KINDS_GAIN, KINDS_SCALES, KINDS_DEG, KINDS_SHARE, KINDS_BALLS = 3.5, 2.4, 1.5, 0.2, 16


def gauged(club: Club) -> bool:
    """Return whether a gauge has said how far the club itself is from the maker's figure."""
    return club.gauge_lie_deg is not None and club.lie_deg is not None


def refit(job, fit):
    """Return the job with what a first fit shows the model to leave out, or None where it shows nothing.

    Balls that come in runs say less of the bag than as many that do not, by the variance of the runs' mean. Two kinds
    of swing are no outliers of each other: the shots are then taken for Gaussian, so that the middle of both is sought
    rather than the commoner kind.
    """
    runs, seen = _runs(fit), []
    sd, dof = job.runs_sd, job.dof
    if runs.score > RUNS_FROM:
        sd = runs.sd
        seen += [("runs", runs.score)] if runs.score > RUNS_SAID else []
    apart, scales, gain = _two_kinds(fit)
    if gain > KINDS_GAIN and scales > KINDS_SCALES and apart > KINDS_DEG and not math.isinf(dof):
        dof = math.inf
        seen.append(("two kinds", apart))
    if (sd, dof) == (job.runs_sd, job.dof):
        return None
    return replace(job, runs_sd=float(sd), dof=dof, seen=tuple(seen))


class _Runs(NamedTuple):
    score: float  # in standard deviations of what shots without runs would give
    sd: float  # of what the bag's balls have in common by it, in degrees


def _in_order(fit):
    """Return line, residual, its scale (degrees) and Student score of every counted shot, in the order of hitting."""
    job, fitted = fit._job, fit._pooled
    counted = np.flatnonzero(job.rows["counted"].to_numpy())
    counted = counted[np.argsort(job.rows["shot"].to_numpy()[counted], kind="stable")]
    at = job.line[counted], job.shot[counted]
    scale = np.sqrt((fitted.cell_weight.sum(1) @ fitted.sigma) ** 2 + job.u[at] ** 2)
    return job.club[at[0]], job.y[at] - fitted.line_mean[at[0]], scale, fitted.shot_score[at]


def _runs(fit):
    """Compare neighbouring shots of different clubs: those of one club are alike or unlike for other reasons."""
    club, _, scale, score = _in_order(fit)
    alike = pairs = 0.0
    for lag, weight in RUN_LAGS:
        other = club[lag:] != club[:-lag]
        alike += weight * (score[lag:] * score[:-lag])[other].sum()
        pairs += weight**2 * other.sum()
    if pairs < RUN_PAIRS:
        return _Runs(0.0, 0.0)
    share = alike / (max(np.mean(score**2), 0.3) * pairs)  # of a shot's variance that its run has, about
    z = share * math.sqrt(pairs)
    sure = max(0.0, 1 - 1 / max(z, 1e-9) ** 2)
    return _Runs(z, math.sqrt(max(share, 0.0) * sure * np.mean(scale**2) * RUN_LENGTH / club.size))


def _two_kinds(fit):
    """Return how far apart two kinds of shots are (0: one is rare), in degrees and in scales, and the log gain."""
    _, residual, _, _ = _in_order(fit)
    if residual.size < KINDS_BALLS:
        return 0.0, 0.0, 0.0
    one, _, _ = _mixture(residual, np.median(residual)[None])
    two, places, share = _mixture(residual, np.quantile(residual, [0.2, 0.8]))
    apart = abs(places[1] - places[0]) if share.min() > KINDS_SHARE else 0.0
    return apart, apart / places[2], two - one


def _mixture(values, start, dof=4.0, rounds=20):
    """Return log likelihood, places and scale, and shares of a mixture of Student's t with one scale, by expectation
    and maximisation.
    """
    place, share, scale2 = start.copy(), np.full(start.size, 1 / start.size), values.var() / (2 * start.size) + 1e-9
    for last in [*[False] * rounds, True]:
        r2 = (values - place[:, None]) ** 2 / scale2
        log = np.log(share)[:, None] - 0.5 * (dof + 1) * np.log1p(r2 / dof)
        top = log.max(0)
        part = np.exp(log - top)
        total = part.sum(0)
        if last:
            break
        part /= total
        weight = part * (dof + 1) / (dof + r2)
        place = (weight @ values) / weight.sum(1)
        share = np.clip(part.mean(1), 0.02, 0.98)
        scale2 = (weight * (values - place[:, None]) ** 2).sum() / values.size + 1e-9
    log_like = (top + np.log(total)).sum() - 0.5 * values.size * math.log(scale2)
    return log_like, np.append(place, math.sqrt(scale2)), share


def warnings(fit) -> list[str]:
    """Return what the fitter should know about a fit, a sentence each."""
    notes = []
    counted = fit.shots[fit.shots["counted"]]
    if len(counted) < 3:
        notes.append(
            f"Only {len(counted)} ball{'s' * (len(counted) > 1)} in all: the numbers still lean on "
            "what is usual for golfers."
        )
    unknown = int((~counted["heading_known"]).sum())
    if unknown:
        notes.append(
            f"The face heading is not known for {unknown} of {len(counted)} balls: the intervals are "
            "wider, most of all for wedges."
        )
    if len(counted) >= 8 and counted["bad"].mean() > 0.25:
        notes.append(
            f"{int(counted['bad'].sum())} of {len(counted)} shots disagree with the rest: check prints "
            "and clubs before you bend."
        )
    for what, value in fit._job.seen:
        notes.append(
            "Shots hit one after the other are alike, so they tell less than as many that are not. "
            "Rest, then hit the next balls with other clubs."
            if what == "runs"
            else f"The shots fall into two kinds, about {value:.1f}° apart: two swings, or two ways to "
            "set the line. The middle of both is given; "
            "find out which one the golfer means before anybody bends."
        )
    drift, z = _drift(fit)
    if abs(z) > DRIFT_Z and abs(drift) > DRIFT_DEG:
        notes.append(
            f"Late shots sit {abs(drift):.1f}° {'more toe up' if drift > 0 else 'more toe down'} than early ones: "
            "the golfer may be tired or changing the swing. Rest, then hit a few early clubs again."
        )
    bow, z = _bow(fit)
    if abs(z) > BOW_Z and abs(bow) > BOW_DEG:
        where = "more toe up" if bow > 0 else "more toe down"
        notes.append(
            f"The set does not follow a straight trend: the middle clubs sit {abs(bow):.1f}° {where} "
            "than both ends lead to expect. "
            "Hit more balls with each club rather than trust its neighbours."
        )
    own, cov = fit._own
    for club, value, u, wide in zip(fit.bag, own, np.sqrt(np.maximum(np.diag(cov), 0.0)), fit._pooled.wide):
        if abs(value) > ODD_DEG and (abs(value) > ODD_Z * u or wide > ODD_CHANCE):
            blame = (
                "the gauge finds that the club is not the cause, so it is how the golfer swings it"
                if gauged(club)
                else "put it on the gauge to see whether it is the club or the golfer"
            )
            notes.append(
                f"The {club.label} stands apart: {abs(value):.1f}° "
                f"{'more toe up' if value > 0 else 'more toe down'} than the "
                f"other clubs lead to expect; {blame}."
            )
    return notes


def _drift(fit):
    """Return change of the residuals from first to last shot within clubs, in degrees, and its score in standard
    deviations.
    """
    job = fit._job
    counted = job.rows["counted"].to_numpy()
    rows = job.rows[counted]
    order = rows["shot"].rank().to_numpy() / max(1, counted.sum())
    centred = order - pd.Series(order).groupby(rows["club"].to_numpy()).transform("mean").to_numpy()
    at = job.line[counted], job.shot[counted]
    scale = np.sqrt(fit.trend["shot_scatter_deg"] ** 2 + job.u[at] ** 2)
    nu = fit.priors.shot_dof
    told = 1.0 if math.isinf(nu) else (nu + 1) / (nu + 3)
    information = told * (centred**2 / scale**2).sum()
    if information < 1e-9:
        return 0.0, 0.0
    score = (centred * fit._pooled.shot_score[at] / scale).sum()
    return score / information, score / math.sqrt(information)


def _bow(fit):
    """Return how far the middle of the set bows from the line through its ends, in degrees, and its score."""
    own, cov = fit._own
    x = fit._job.design[: len(fit.bag), 1]
    if len(np.unique(x)) < 4:
        return 0.0, 0.0
    basis, _ = np.linalg.qr(np.column_stack([np.ones_like(x), x, x**2]))
    contrast = basis[:, 2]
    var = contrast**2 @ fit._pooled.own_var - contrast @ cov @ contrast
    value = contrast @ own
    middle, ends = np.argmin(abs(x - (x.max() + x.min()) / 2)), [int(np.argmin(x)), int(np.argmax(x))]
    return value * (contrast[middle] - contrast[ends].mean()), value / math.sqrt(max(var, 1e-9))
