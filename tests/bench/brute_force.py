"""The model of `fit_bag` integrated by brute force, with scipy's densities on plain grids: slow, and sharing nothing
with the kit.

Given the scales, the clubs are independent along the trend, so each club's integral over its own lie error is a table
in the trend's value there; offset and slope are then summed over a grid.
"""

import linetilt as lt
import numpy as np
from scipy import stats


def posterior(readings, length_in, priors=None, sizes=(15, 15, 61, 45)):
    """Return mean, low and high (95 %) of each club's lie error; face headings known, no gauge.

    Parameters
    ----------
    readings : dict of (values, uncertainties) by club position
    length_in : ndarray, shape (clubs,)
    """
    p = priors or lt.lie.Priors()
    x = np.asarray(length_in) - 37.0
    values = np.concatenate([np.atleast_1d(v) for v, _ in readings.values()])
    mu = np.linspace(values.min() - 4, values.max() + 4, 501)
    z_sigma, z_tau = np.linspace(-3, 3, sizes[0]), np.linspace(-3, 3, sizes[1])
    offsets = np.linspace(np.median(values) - 5, np.median(values) + 5, sizes[2])
    slopes = np.linspace(-3, 3, sizes[3]) * p.slope_sd_deg_per_in
    prior_trend = stats.norm.pdf(offsets, p.offset_deg, p.offset_sd_deg)[:, None] * stats.norm.pdf(
        slopes, 0, p.slope_sd_deg_per_in
    )
    at = offsets[:, None, None] + slopes[None, :, None] * x  # offset, slope, club
    total = np.zeros((len(x), mu.size))
    for zs in z_sigma:
        sigma = p.shot_scatter_deg * np.exp(p.shot_scatter_log_sd * zs)
        like = np.ones((len(x), mu.size))
        for club, (y, u) in readings.items():
            for one, its_u in zip(np.atleast_1d(y), np.atleast_1d(u)):
                like[club] *= stats.t.pdf(one, p.shot_dof, mu, np.hypot(sigma, its_u))
        for zt in z_tau:
            tau = p.club_scatter_deg * np.exp(p.club_scatter_log_sd * zt)
            step = mu[1] - mu[0]
            usual, wide = (stats.norm.pdf(mu[:, None], mu, max(sd, step)) for sd in (tau, np.hypot(tau, p.odd_deg)))
            kernel = step * ((1 - p.odd_probability) * usual + p.odd_probability * wide)  # trend's value, lie error
            table = kernel @ like.T  # trend's value, club
            each = np.stack([np.interp(at[..., k], mu, table[:, k]) for k in range(len(x))], axis=-1)
            whole = prior_trend * stats.norm.pdf(zs) * stats.norm.pdf(zt)
            whole = whole * each.prod(-1)
            for k in range(len(x)):
                weight = whole / np.maximum(each[..., k], 1e-300)
                share = np.bincount(
                    np.clip(np.searchsorted(mu, at[..., k].ravel()), 0, mu.size - 1), weight.ravel(), mu.size
                )
                total[k] += like[k] * (share @ kernel)
    total /= total.sum(1, keepdims=True)
    cumulative = np.cumsum(total, axis=1) - 0.5 * total
    low, high = (np.array([np.interp(q, c, mu) for c in cumulative]) for q in (0.025, 0.975))
    return total @ mu, low, high
