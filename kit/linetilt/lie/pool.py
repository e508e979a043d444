"""The arithmetic of pooling a bag, on plain arrays: grids over the scales, expectation propagation within a cell of the grid.

A reading is y = f + e. Over the lines f (a club, hit with the face heading known or not) lies a Gaussian prior, f = H β + c; e is
Student t of scale² σ² + u². For each pair (σ, τ) on the grid, each line's shots enter as one factor that is known on a grid of f,
and each factor is replaced by the Gaussian that fits it best beside all others, again and again until nothing moves (Minka 2001). With Gaussian shots this
is exact; with Student shots it keeps the two humps that one bad shot among two leaves. Cells are summed by their evidence.
"""

import math
from dataclasses import dataclass

import numpy as np

SWEEPS = 5, 25  # at least and at most; most bags are still after ten
STILL = 1e-3  # a cell is still when no line moves by more than this share of its standard deviation
DAMPING = 0.75  # share of a factor's change that is taken after the first sweeps: else a few cells swing for ever
_STEPS = np.linspace(-4.2, 4.2, 72)
NODES = np.sinh(_STEPS)  # of f, dense in the middle; times a line's own width
NODE_WEIGHTS = np.cosh(_STEPS) * (_STEPS[1] - _STEPS[0])  # of the sum that stands for an integral over f
CHUNK_VALUES = 400_000  # numbers an array may hold at once: golfers are worked off in chunks of that size


@dataclass(frozen=True)
class Pooled:
    """Posterior of one golfer. Lines come first (known heading, club by club; then unknown heading), then offset, slope and heading."""

    mean: np.ndarray  # (lines + 3,)
    cov: np.ndarray  # (lines + 3, lines + 3), of the whole mixture
    nodes: np.ndarray  # (clubs, nodes): where each club's posterior is known
    chance: np.ndarray  # (clubs, nodes): probability of each node, sums to 1 a club
    cell_weight: np.ndarray  # (sigmas, taus)
    cell_cov: np.ndarray  # (sigmas, lines + 3, lines + 3), given sigma
    sigma: np.ndarray  # (sigmas,)
    tau: np.ndarray  # (taus,)
    shot_weight: np.ndarray  # (lines, shots): expected weight of each shot
    shot_score: np.ndarray  # (lines, shots): weight times residual over its scale
    log_evidence: float


def scale_grid(median, log_sd, count):
    """Return points and weights for a lognormal scale: `count` points over ±2.6 log standard deviations (one if `log_sd` is 0)."""
    if log_sd == 0:
        return np.array([median]), np.array([1.0])
    z = np.linspace(-2.6, 2.6, count)
    weight = np.exp(-0.5 * z**2)
    return median * np.exp(log_sd * z), weight / weight.sum()


def pool(y, u, counted, design, club, spread, beta_sd, sigma, tau, dof):
    """Fit golfers who share a shape of bag.

    Parameters
    ----------
    y, u : ndarray, shape (golfers, lines, shots)
        Readings less what is known of the club, and their standard uncertainties.
    counted : ndarray of bool, same shape
        False for padding.
    design : ndarray, shape (golfers, lines, 3)
        What offset, slope and heading add to a line.
    club : ndarray of int, shape (lines,)
        Which club a line belongs to; the first lines are the clubs themselves, in order.
    spread : ndarray, shape (golfers, clubs)
        Each club's share of τ.
    beta_sd : ndarray, shape (3,)
        Prior standard deviations of offset, slope and heading.
    sigma, tau : tuple of ndarray
        Grid of the scale, and its prior weights.
    dof : float
        Degrees of freedom of the shots; infinite for Gaussian ones.

    Returns
    -------
    list of Pooled
    """
    size = len(sigma[0]) * len(tau[0]) * y.shape[1] * NODES.size
    step = max(1, CHUNK_VALUES // size)
    fits = []
    for start in range(0, len(y), step):
        part = slice(start, start + step)
        fits += _pool(y[part], u[part], counted[part], design[part], club, spread[part], beta_sd, sigma, tau, dof)
    return fits


def _pool(y, u, counted, design, club, spread, beta_sd, sigma, tau, dof):
    golfers, lines, _ = y.shape
    clubs = spread.shape[1]
    eye = np.zeros((golfers, 3, 3)) + np.eye(3)
    whole = np.concatenate([design, eye], axis=1) * beta_sd
    own = np.zeros((golfers, lines + 3, clubs))
    own[:, np.arange(lines), club] = spread[:, club]
    prior = (whole @ whole.swapaxes(1, 2))[:, None] + tau[0][:, None, None] ** 2 * (own @ own.swapaxes(1, 2))[:, None]
    prior = prior[:, None]  # golfers, 1, taus, lines + 3, lines + 3
    inner = prior[..., :lines, :lines]

    nodes, widths = _place_nodes(y, u, counted, inner[:, 0, len(tau[0]) // 2], sigma[0][len(sigma[0]) // 2], dof)
    scale2 = sigma[0][:, None, None] ** 2 + u[:, None] ** 2  # golfers, sigmas, lines, shots
    log_like = _log_likelihood(nodes, y, scale2, counted, dof)[:, :, None]  # golfers, sigmas, 1, lines, nodes
    log_width = np.log(widths)[:, None, None]
    floor = 0.07 * widths[:, None, None].min(-1) ** 2  # no variance below what the nodes resolve
    hit = counted.any(-1)[:, None, None]

    shape = (golfers, len(sigma[0]), len(tau[0]), lines)
    precision, shift = np.zeros(shape), np.zeros(shape)
    at = nodes[:, None, None]
    last, moving = np.full(shape, np.inf), np.ones((golfers, 1, 1, 1), bool)
    for sweep in range(SWEEPS[1]):
        cov = _posterior(inner, precision)
        centre = (cov @ shift[..., None])[..., 0]
        var = np.diagonal(cov, axis1=-2, axis2=-1)
        cavity_var = 1 / (1 / var - precision)
        cavity = cavity_var * (centre / var - shift)
        log_joint = log_like + log_width - 0.5 * (at - cavity[..., None]) ** 2 / cavity_var[..., None]
        top = log_joint.max(-1, keepdims=True)
        joint = np.exp(log_joint - top)
        total = joint.sum(-1)
        still = (np.abs(centre - last) <= STILL * np.sqrt(var)).all(-1)
        moving &= (sweep < SWEEPS[0]) | ~still.all((1, 2))[
            :, None, None, None
        ]  # a golfer at rest is left alone, whoever shares the arrays
        if sweep == SWEEPS[1] - 1 or not moving.any():
            break
        last = centre
        mean = np.einsum("...n,...n->...", joint, at) / total
        spread2 = np.maximum(np.einsum("...n,...n->...", joint, at**2) / total - mean**2, floor)
        new = np.where(hit, np.maximum(1 / spread2 - 1 / cavity_var, 1e-9), 0.0)
        new_shift = np.where(hit, mean * (1 / cavity_var + new) - cavity / cavity_var, 0.0)
        step = moving * (DAMPING if sweep >= SWEEPS[0] else 1.0)
        precision, shift = precision + step * (new - precision), shift + step * (new_shift - shift)

    # Evidence: the Gaussian integral of all factors, times what each factor's integral differs from its Gaussian's.
    log_z = np.log(total) + top[..., 0] - 0.5 * np.log(2 * math.pi * cavity_var)
    pull = cavity / cavity_var + shift
    log_z -= 0.5 * (pull**2 / (1 / cavity_var + precision) - cavity**2 / cavity_var - np.log1p(precision * cavity_var))
    log_cell = np.where(hit, log_z, 0.0).sum(-1)
    log_cell += (
        0.5 * (shift * centre).sum(-1) - 0.5 * np.linalg.slogdet(np.eye(lines) + inner * precision[..., None, :])[1]
    )
    log_cell += np.where(
        still | ~still.any((1, 2), keepdims=True), 0.0, -np.inf
    )  # what never came to rest is no evidence
    log_cell += np.log(sigma[1])[:, None] + np.log(tau[1])
    top_cell = log_cell.max((1, 2), keepdims=True)
    weight = np.exp(log_cell - top_cell)
    evidence = np.log(weight.sum((1, 2))) + top_cell[:, 0, 0]
    weight /= weight.sum((1, 2), keepdims=True)

    free = np.zeros((*shape[:-1], 3))
    all_cov = _posterior(prior, np.concatenate([precision, free], -1))
    all_mean = (all_cov @ np.concatenate([shift, free], -1)[..., None])[..., 0]
    mix_mean = np.einsum("gst,gsti->gi", weight, all_mean)
    off = all_mean - mix_mean[:, None, None]
    by_sigma = np.einsum("gst,gstij->gsij", weight, all_cov + off[..., :, None] * off[..., None, :])
    mix_cov = by_sigma.sum(1)
    by_sigma /= np.maximum(weight.sum(2), 1e-300)[:, :, None, None]

    given_sigma = np.einsum("gst,gstln->gsln", weight, joint / total[..., None])  # sigma and node together
    chance = given_sigma.sum(1)[:, :clubs]
    places = nodes[:, :clubs].copy()
    for golfer, line in zip(
        *np.nonzero(~hit[:, 0, 0, :clubs])
    ):  # never hit: a mixture of Gaussians on nodes of its own
        places[golfer, line] = mix_mean[golfer, line] + math.sqrt(mix_cov[golfer, line, line]) * NODES / 4
        z = (places[golfer, line][:, None, None] - all_mean[golfer, ..., line]) / np.sqrt(
            all_cov[golfer, ..., line, line]
        )
        density = (weight[golfer] * np.exp(-0.5 * z**2) / np.sqrt(all_cov[golfer, ..., line, line])).sum(
            (1, 2)
        ) * NODE_WEIGHTS
        chance[golfer, line] = density / density.sum()
    mix_mean[:, :clubs] = (chance * places).sum(
        -1
    )  # the curve's own, which a factor with two humps may take from the Gaussian's
    shot_weight, shot_score = _shot_weights(given_sigma, nodes, y, scale2, counted, dof)
    return [
        Pooled(
            mix_mean[g],
            mix_cov[g],
            places[g],
            chance[g],
            weight[g],
            by_sigma[g],
            sigma[0],
            tau[0],
            shot_weight[g],
            shot_score[g],
            float(evidence[g]),
        )
        for g in range(golfers)
    ]


def _posterior(prior, precision):
    """Return (prior⁻¹ + diag(precision))⁻¹ without inverting the prior."""
    size = prior.shape[-1]
    return np.linalg.solve(
        np.eye(size) + prior * precision[..., None, :], np.broadcast_to(prior, (*precision.shape, size))
    )


def _place_nodes(y, u, counted, inner, middle_sigma, dof):
    """Return nodes of each line and their widths, about a quick fit at one middling τ: reweighted least squares for the t shots."""
    balls = counted.sum((1, 2))
    sigma2 = np.full(len(y), middle_sigma**2)
    weight, told = counted * 1.0, (dof if math.isfinite(dof) else 1e9)
    for _ in range(12):
        scale2 = sigma2[:, None, None] + u**2
        precision = (weight / scale2).sum(-1)
        cov = _posterior(inner, precision)
        centre = (cov @ (weight * y / scale2).sum(-1)[..., None])[..., 0]
        var = np.diagonal(cov, axis1=1, axis2=2)
        r2 = np.where(counted, (y - centre[..., None]) ** 2 + var[..., None], 0.0)
        weight = counted * (told + 1) / (told + r2 / scale2)
        sigma2 = ((weight * r2 * sigma2[:, None, None] / scale2).sum((1, 2)) + 4 * middle_sigma**2) / (balls + 4)
    width = np.sqrt(var)[..., None]
    return centre[..., None] + width * NODES, width * NODE_WEIGHTS


def _log_likelihood(nodes, y, scale2, counted, dof):
    total = 0.0
    for shot in range(y.shape[-1]):
        s2 = scale2[..., shot, None]
        r2 = (nodes - y[..., shot, None])[:, None] ** 2 / s2
        if math.isinf(dof):
            term = -0.5 * (r2 + np.log(2 * math.pi * s2))
        else:
            constant = math.lgamma((dof + 1) / 2) - math.lgamma(dof / 2) - 0.5 * math.log(math.pi * dof)
            term = constant - 0.5 * (dof + 1) * np.log1p(r2 / dof) - 0.5 * np.log(s2)
        total = total + np.where(counted[:, None, :, shot, None], term, 0.0)
    return total


def _shot_weights(given_sigma, nodes, y, scale2, counted, dof):
    weights, scores = np.ones(y.shape), np.zeros(y.shape)
    for shot in range(y.shape[-1]):
        r = (y[..., shot, None] - nodes)[:, None] / np.sqrt(scale2[..., shot, None])
        w = np.ones_like(r) if math.isinf(dof) else (dof + 1) / (dof + r**2)
        weights[..., shot] = (given_sigma * w).sum((1, 3))
        scores[..., shot] = (given_sigma * w * r).sum((1, 3))
    return np.where(counted, weights, 0.0), np.where(counted, scores, 0.0)
