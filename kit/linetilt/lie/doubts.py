"""What speaks against a fit: drift, runs, two kinds of swing, a bow, clubs that stand apart; and what is done about it."""

import math

import numpy as np
import pandas as pd

# Alarms, set so that golfers who fit the model raise each of them in no more than about one bag of fifty.
DRIFT_Z, DRIFT_DEG = 2.6, 0.75
BOW_Z, BOW_DEG = 2.0, 1.0
ODD_Z, ODD_DEG, ODD_CHANCE = 2.3, 1.0, 0.5


def gauged(club) -> bool:
    """Return whether a gauge has said how far the club itself is from the maker's figure."""
    return club.gauge_lie_deg is not None and club.lie_deg is not None


def refit(job, fit):
    """Return the job with what a first fit shows the model to leave out, or None where it shows nothing."""
    return None


def warnings(fit) -> list[str]:
    """Return what the fitter should know about a fit, a sentence each."""
    notes = []
    counted = fit.shots[fit.shots["counted"]]
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
    drift, z = _drift(fit)
    if abs(z) > DRIFT_Z and abs(drift) > DRIFT_DEG:
        notes.append(
            f"Late shots sit {abs(drift):.1f}° {'more upright' if drift > 0 else 'flatter'} than early ones: "
            "the golfer may be tired or changing the swing. Rest, then hit a few early clubs again."
        )
    bow, z = _bow(fit)
    if abs(z) > BOW_Z and abs(bow) > BOW_DEG:
        where = "more upright" if bow > 0 else "flatter"
        notes.append(
            f"The set does not follow a straight trend: the middle clubs sit {abs(bow):.1f}° {where} than both ends lead to expect. "
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
                f"The {club.label} stands apart: {abs(value):.1f}° {'more upright' if value > 0 else 'flatter'} than the "
                f"other clubs lead to expect; {blame}."
            )
    return notes


def _drift(fit):
    """Return change of the residuals from first to last shot within clubs, in degrees, and its score in standard deviations."""
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
