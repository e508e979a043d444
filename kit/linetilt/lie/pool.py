"""The arithmetic of pooling a bag, on plain arrays: grids over the scales, expectation propagation within a cell of the
grid.

A reading is y = f + e. A line f is a club as balls of one kind read it: f = H β + c, with β the golfer's trend and the
session's unknowns (Gaussian), c what the club does beside it (mostly of scale τ, now and then far wider: a mixture of
two Gaussians); e is Student t of scale² σ² + u².
For each pair (σ, τ) on the grid, each line's shots enter as one factor that is known on a grid of f and each club's
mixture as another, and each factor is replaced by the Gaussian that fits it best beside all others, again and again
until nothing moves (Minka 2001). With Gaussian shots and no wide part this is exact.
At the end each club's own two factors are put back as they are, so that the two humps of one bad shot among two, or of
a club that may stand apart, are kept.
Cells are summed by their evidence.
"""

import math
from dataclasses import dataclass

import numpy as np

SWEEPS = 5, 15  # at least and at most; most bags are still after ten
STILL = 4e-3  # a cell is still when no line moves by more than this share of its standard deviation
DAMPING = 0.75  # share of a factor's change that is taken after the first sweeps: else a few cells swing for ever
CLUB_DAMPING = 0.7  # the same for a club's own factor
SLIGHT = -7.0  # a cell whose log evidence is so far below the best one's need not come to rest
_STEPS = np.linspace(-4.2, 4.2, 72)
NODES = np.sinh(_STEPS)  # of f, dense in the middle; times a line's own width
NODE_WEIGHTS = np.cosh(_STEPS) * (_STEPS[1] - _STEPS[0])  # of the sum that stands for an integral over f
BINS, BIN_REACH = (
    181,
    8.0,
)  # of a club's lie where the session stands between it and its line, over ± so many standard deviations
CHUNK_VALUES = 400_000  # numbers an array may hold at once: golfers are worked off in chunks of that size


@dataclass(frozen=True)
class Pooled:
    """Posterior of one golfer. The clubs' lies come first, then β: offset, slope, and the session's unknowns."""

    mean: np.ndarray  # (clubs + betas,)
    cov: np.ndarray  # (clubs + betas, clubs + betas), of the whole mixture
    nodes: np.ndarray  # (clubs, nodes): where each club's posterior is known
    chance: np.ndarray  # (clubs, nodes): probability of each node, sums to 1 a club
    line_mean: np.ndarray  # (lines,): what a ball of that line is expected to read
    cell_weight: np.ndarray  # (sigmas, taus)
    cell_mean: np.ndarray  # (sigmas, taus, clubs + betas)
    cell_cov: np.ndarray  # (sigmas, taus, clubs + betas, clubs + betas)
    own_mean: np.ndarray  # (clubs,): what each club does beside the trend
    own_cov: np.ndarray  # (clubs, clubs)
    own_var: np.ndarray  # (clubs,): prior variance of that, as the readings leave it
    wide: np.ndarray  # (clubs,): probability that a club is one of those that stand apart
    sigma: np.ndarray  # (sigmas,)
    tau: np.ndarray  # (taus,)
    shot_weight: np.ndarray  # (lines, shots): expected weight of each shot
    shot_score: np.ndarray  # (lines, shots): weight times residual over its scale
    log_evidence: float


def scale_grid(median, log_sd, count):
    """Return points and weights for a lognormal scale: `count` points over ±2.6 log standard deviations (one if
    `log_sd` is 0).
    """
    if log_sd == 0:
        return np.array([median]), np.array([1.0])
    z = np.linspace(-2.6, 2.6, count)
    weight = np.exp(-0.5 * z**2)
    return median * np.exp(log_sd * z), weight / weight.sum()


def pool(y, u, counted, design, club, spread, beta_sd, sigma, tau, wide, dof):
    """Fit golfers who share a shape of bag.

    Parameters
    ----------
    y, u : ndarray, shape (golfers, lines, shots)
        Readings less what is known of the club, and their standard uncertainties.
    counted : ndarray of bool, same shape
        False for padding.
    design : ndarray, shape (golfers, lines, betas)
        What each β adds to a line; the first two are offset and slope, which alone are the golfer's.
    club : ndarray of int, shape (lines,)
        Which club a line belongs to; the first lines are one of each club, in order.
    spread : ndarray, shape (golfers, clubs)
        Each club's share of τ.
    beta_sd : ndarray, shape (betas,)
        Prior standard deviations of β.
    sigma, tau : tuple of ndarray
        Grid of the scale, and its prior weights.
    wide : tuple
        Probability that a club stands apart, and the standard deviation of those that do.
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
        fits += _pool(y[part], u[part], counted[part], design[part], club, spread[part], beta_sd, sigma, tau, wide, dof)
    return fits


def _pool(y, u, counted, design, club, spread, beta_sd, sigma, tau, wide, dof):
    golfers, lines, _ = y.shape
    clubs = spread.shape[1]
    scaled = design * beta_sd
    trend = (scaled @ scaled.swapaxes(1, 2))[:, None, None]  # golfers, 1, 1, lines, lines
    member = np.eye(clubs)[club]  # lines, clubs
    same = member @ member.T
    kinds = [0.0, wide[1]] if wide[0] > 0 else [0.0]
    share = np.log([1 - wide[0], wide[0]][: len(kinds)])
    kind_var = (tau[0][:, None, None] ** 2 + np.square(kinds)) * spread[:, None, None, :, None] ** 2
    usual_var = (np.exp(share) * kind_var).sum(-1)  # golfers, 1, taus, clubs

    middle = usual_var[:, 0, len(tau[0]) // 2]
    inner = trend[:, 0, 0] + middle[:, club, None] * same
    nodes, widths = _place_nodes(y, u, counted, inner, sigma[0][len(sigma[0]) // 2], dof)
    scale2 = sigma[0][:, None, None] ** 2 + u[:, None] ** 2  # golfers, sigmas, lines, shots
    log_like = _log_likelihood(nodes, y, scale2, counted, dof)[:, :, None]  # golfers, sigmas, 1, lines, nodes
    log_width = np.log(widths)[:, None, None]
    floor = 0.07 * widths[:, None, None].min(-1) ** 2  # no variance below what the nodes resolve
    hit = counted.any(-1)[:, None, None]
    club_hit = (hit[..., None] & (member > 0)).any(-2)

    shape = (golfers, len(sigma[0]), len(tau[0]))
    precision, shift = np.zeros((*shape, lines)), np.zeros((*shape, lines))
    own_var, own_shift = usual_var + np.zeros((*shape, clubs)), np.zeros((*shape, clubs))  # the clubs' Gaussians
    at = nodes[:, None, None]
    last, moving = np.full((*shape, lines), np.inf), np.ones((golfers, 1, 1, 1), bool)
    slight = np.zeros(shape, bool)

    def cells():
        """Log evidence of each cell: the Gaussian integral of all factors, times what each factor's integral differs
        from its Gaussian's.
        """
        log_z = np.log(total) + top[..., 0] - 0.5 * np.log(2 * math.pi * cavity_var)
        log_z -= _log_gaussian(1 / cavity_var, cavity / cavity_var, precision, shift)
        log_own = np.zeros((*shape, clubs))
        if len(kinds) > 1:
            away, away_shift = _beside_clubs(precision, shift, cov, centre, own_var, own_shift, member)
            log_own = _by_kind(away, away_shift, kind_var, share)[-1]
            log_own -= _log_gaussian(away, away_shift, 1 / own_var, own_shift)
            log_own += 0.5 * (np.log(2 * math.pi * own_var) + own_var * own_shift**2)
        beside = (shift - precision * prior_mean) * (centre - prior_mean) + prior_mean * (
            2 * shift - precision * prior_mean
        )
        log_cell = np.where(hit, log_z, 0.0).sum(-1) + np.where(club_hit, log_own, 0.0).sum(-1) + 0.5 * beside.sum(-1)
        log_cell -= 0.5 * np.linalg.slogdet(np.eye(lines) + prior * precision[..., None, :])[1]
        return log_cell + np.log(sigma[1])[:, None] + np.log(tau[1])

    for sweep in range(SWEEPS[1]):
        prior, prior_mean, cov, centre = _posterior(trend, own_var, own_shift, precision, shift, club, same)
        if len(kinds) > 1 and sweep:  # the clubs first, then the lines beside what the clubs have become
            away, away_shift = _beside_clubs(precision, shift, cov, centre, own_var, own_shift, member)
            kind_mean, kind_post, kind_chance, log_club = _by_kind(away, away_shift, kind_var, share)
            mean = (kind_chance * kind_mean).sum(-1)
            spread2 = (kind_chance * (kind_post + kind_mean**2)).sum(-1) - mean**2
            new = np.clip(1 / spread2 - away, 1 / kind_var[..., -1], 1 / kind_var[..., 0])
            new_shift = mean * (away + new) - away_shift
            step = moving * club_hit * CLUB_DAMPING
            own_shift = own_shift + step * (new_shift - own_shift)
            own_var = 1 / (1 / own_var + step * (new - 1 / own_var))
            prior, prior_mean, cov, centre = _posterior(trend, own_var, own_shift, precision, shift, club, same)
        var = np.diagonal(cov, axis1=-2, axis2=-1)
        cavity_var = 1 / (1 / var - precision)
        cavity = cavity_var * (centre / var - shift)
        log_joint = log_like + log_width - 0.5 * (at - cavity[..., None]) ** 2 / cavity_var[..., None]
        top = log_joint.max(-1, keepdims=True)
        joint = np.exp(log_joint - top)
        total = joint.sum(-1)
        still = (np.abs(centre - last) <= STILL * np.sqrt(var)).all(-1)
        if sweep >= SWEEPS[0] and sweep % 2 == SWEEPS[0] % 2:
            log_cell = cells()
            slight = log_cell < log_cell.max((1, 2), keepdims=True) + SLIGHT
        # A golfer at rest is left alone, whoever shares the arrays.
        moving &= (sweep < SWEEPS[0]) | ~(still | slight).all((1, 2))[:, None, None, None]
        if sweep == SWEEPS[1] - 1 or not moving.any():
            break
        last = centre
        mean = np.einsum("...n,...n->...", joint, at) / total
        spread2 = np.maximum(np.einsum("...n,...n->...", joint, at**2) / total - mean**2, floor)
        new = np.where(hit, np.maximum(1 / spread2 - 1 / cavity_var, 1e-9), 0.0)
        new_shift = np.where(hit, mean * (1 / cavity_var + new) - cavity / cavity_var, 0.0)
        step = moving * (DAMPING if sweep >= SWEEPS[0] else 1.0)
        precision, shift = precision + step * (new - precision), shift + step * (new_shift - shift)
    log_cell = cells()
    # What never came to rest is no evidence.
    log_cell += np.where(still | slight | ~still.any((1, 2), keepdims=True), 0.0, -np.inf)
    top_cell = log_cell.max((1, 2), keepdims=True)
    weight = np.exp(log_cell - top_cell)
    evidence = np.log(weight.sum((1, 2))) + top_cell[:, 0, 0]
    weight /= weight.sum((1, 2), keepdims=True)

    # Everything that is asked for, as Gaussians: the clubs' lies, β, and the clubs' own parts. β first, in units of its
    # prior and with the own parts
    # counted as scatter, then the own parts beside β: so wide priors cost no digits.
    betas = design.shape[2]
    inverse = np.linalg.solve(np.eye(lines) + precision[..., None] * own_var[..., None, club] * same, np.eye(lines))
    told = inverse * precision[..., None, :]
    scaled_t, own_member = scaled.swapaxes(1, 2)[:, None, None], own_var[..., None] * member.T
    beta_cov = np.linalg.inv(np.eye(betas) + scaled_t @ told @ scaled[:, None, None])
    pull = (inverse @ (shift - precision * prior_mean)[..., None])[..., 0]
    beta_mean = (beta_cov @ scaled_t @ pull[..., None])[..., 0]
    own_on_beta = -own_member @ told @ scaled[:, None, None]
    own_cov = own_var[..., None] * np.eye(clubs) - own_member @ told @ own_member.swapaxes(-1, -2)
    own_mean = own_var * (own_shift + pull @ member) + (own_on_beta @ beta_mean[..., None])[..., 0]
    level = np.concatenate([scaled[:, :clubs, :2], np.zeros((golfers, clubs, betas - 2))], axis=2)
    basis = np.concatenate([level, np.zeros((golfers, betas, betas)) + np.diag(beta_sd), np.zeros_like(level)], axis=1)
    picks = np.concatenate([np.eye(clubs), np.zeros((betas, clubs)), np.eye(clubs)])
    on_beta = basis[:, None, None] + picks @ own_on_beta
    line_on_beta = scaled[:, None, None] + member @ own_on_beta
    all_cov = on_beta @ beta_cov @ on_beta.swapaxes(-1, -2) + picks @ own_cov @ picks.T
    with_line = on_beta @ beta_cov @ line_on_beta.swapaxes(-1, -2) + picks @ own_cov @ member.T
    all_mean = (basis[:, None, None] @ beta_mean[..., None])[..., 0] + own_mean @ picks.T

    curves = _club_curves(
        all_mean, all_cov, with_line, centre, var, precision, shift, own_var, own_shift, kind_var, share, log_like,
        nodes, widths, weight, hit, np.abs(scaled[:, :clubs, 2:]).max(-1) < 1e-12,
    )  # fmt: skip
    kept = clubs + betas
    mix_mean = np.einsum("gst,gsti->gi", weight, all_mean)
    off = all_mean - mix_mean[:, None, None]
    mix_cov = np.einsum("gst,gstij->gij", weight, all_cov) + np.einsum("gst,gsti,gstj->gij", weight, off, off)
    line_mean = np.einsum("gst,gstl->gl", weight, centre)
    prior_var = np.einsum("gst,gstj->gj", weight, own_var + np.zeros_like(own_var))
    given_sigma = np.einsum("gst,gstln->gsln", weight, joint / total[..., None])  # sigma and node together
    shot_weight, shot_score = _shot_weights(given_sigma, nodes, y, scale2, counted, dof)
    fits = []
    for g in range(golfers):
        places, chance, apart = curves[g]
        mean = mix_mean[g, :kept].copy()
        mean[:clubs] = (chance * places).sum(
            -1
        )  # the curve's own, which a factor with two humps may take from the Gaussian's
        fits.append(
            Pooled(
                mean, mix_cov[g, :kept, :kept], places, chance, line_mean[g], weight[g], all_mean[g, ..., :kept],
                all_cov[g, ..., :kept, :kept], mix_mean[g, kept:], mix_cov[g, kept:, kept:], prior_var[g], apart,
                sigma[0], tau[0], shot_weight[g], shot_score[g], float(evidence[g]),
            )
        )  # fmt: skip
    return fits


def _posterior(trend, own_var, own_shift, precision, shift, club, same):
    """Return the lines' covariance and mean before the shots and after them."""
    prior = trend + own_var[..., club, None] * same
    prior_mean = (own_var * own_shift)[..., club]
    cov = np.linalg.solve(np.eye(len(club)) + prior * precision[..., None, :], prior)
    return prior, prior_mean, cov, prior_mean + (cov @ (shift - precision * prior_mean)[..., None])[..., 0]


def _beside_clubs(precision, shift, cov, centre, own_var, own_shift, member):
    """Return what all else says of each club's own part: its precision, and precision times mean."""
    told = precision[..., None] * (np.eye(precision.shape[-1]) - cov * precision[..., None, :])
    told = np.einsum("...lj,lj->...j", told @ member, member)
    mean = own_var * (own_shift + (shift - precision * centre) @ member)
    away = np.maximum(told / (1 - own_var * told), 1e-12)
    return away, mean * (1 / own_var + away) - own_shift


def _by_kind(precision, shift, kind_var, share):
    """Return mean, variance and probability of each kind of club, and the log integral, where all else says N(shift /
    precision, 1 / precision).
    """
    post = 1 / (1 / kind_var + precision[..., None])
    mean = post * shift[..., None]
    var = kind_var + 1 / precision[..., None]
    log = share - 0.5 * (np.log(2 * math.pi * var) + (shift / precision)[..., None] ** 2 / var)
    top = log.max(-1, keepdims=True)
    chance = np.exp(log - top)
    total = chance.sum(-1, keepdims=True)
    return mean, post, chance / total, (np.log(total) + top)[..., 0]


def _log_gaussian(precision, shift, more, more_shift):
    """Return the log of the integral of N(x; shift / precision, 1 / precision) · exp(-more x²/2 + more_shift x)."""
    return 0.5 * ((shift + more_shift) ** 2 / (precision + more) - shift**2 / precision - np.log1p(more / precision))


def _club_curves(
    all_mean, all_cov, with_line, centre, var, precision, shift, own_var, own_shift, kind_var, share, log_like,
    nodes, widths, weight, hit, same_as_line,
):  # fmt: skip
    """Return each golfer's clubs on nodes: places and chance (clubs, nodes), and the probability that a club stands
    apart (clubs,).

    A club's own factor and its first line's are taken out of the Gaussian and put back as they are.
    """
    golfers, clubs = same_as_line.shape
    first = np.arange(clubs)
    x, c = first, all_mean.shape[-1] - clubs + first
    # Means and covariances of (own part, line, lie), a club at a time; then with each kind's Gaussian for the own part.
    mean = np.stack([all_mean[..., c], centre[..., :clubs], all_mean[..., x]], -1)
    pairs = [
        [all_cov[..., c, c], with_line[..., c, first], all_cov[..., c, x]],
        [with_line[..., c, first], var[..., :clubs], with_line[..., x, first]],
        [all_cov[..., x, c], with_line[..., x, first], all_cov[..., x, x]],
    ]
    cov = np.stack([np.stack(row, -1) for row in pairs], -2)[..., None, :, :]
    mean = mean[..., None, :]
    more, more_shift = 1 / kind_var - 1 / own_var[..., None], -own_shift[..., None]
    held = cov[..., 0, 0]
    fall = more / (1 + more * held)
    lift = (more_shift - more * mean[..., 0]) / (1 + more * held)
    log_kind = share - 0.5 * np.log(2 * math.pi * kind_var)
    log_kind = log_kind + _log_gaussian(1 / held, mean[..., 0] / held, more, more_shift)
    mean = mean + cov[..., :, 0] * lift[..., None]
    cov = cov - fall[..., None, None] * cov[..., :, 0, None] * cov[..., 0, None, :]
    line_var = cov[..., 1, 1]
    own_precision, own_pull = precision[..., :clubs, None], shift[..., :clubs, None]
    cavity_var = 1 / (1 / line_var - own_precision)
    cavity = cavity_var * (mean[..., 1] / line_var - own_pull)
    log_joint = (log_like[..., :clubs, None, :] + np.log(widths)[:, None, None, :clubs, None]) - 0.5 * (
        nodes[:, None, None, :clubs, None] - cavity[..., None]
    ) ** 2 / cavity_var[..., None]
    log_kind = log_kind - 0.5 * np.log(2 * math.pi * cavity_var)
    log_kind = log_kind - _log_gaussian(1 / cavity_var, cavity / cavity_var, own_precision, own_pull)
    log_joint += np.where(hit[..., :clubs, None], log_kind, share)[..., None]
    top = log_joint.max((-1, -2), keepdims=True)
    joint = np.exp(log_joint - top)
    joint *= weight[..., None, None, None] / joint.sum((-1, -2), keepdims=True)
    apart = joint[..., -1, :].sum((1, 2, 4)) if joint.shape[-2] > 1 else np.zeros((golfers, clubs))
    slope = cov[..., 2, 1] / line_var
    rest = np.maximum(cov[..., 2, 2] - slope * cov[..., 2, 1], 0.0)
    each = joint.sum(-1)
    rest_var = (each * rest).sum((1, 2, 4))
    curves = []
    for g in range(golfers):
        if same_as_line[g].all():
            curves.append((nodes[g, :clubs], joint[g].sum((0, 1, 3)), apart[g]))
            continue
        spot = mean[g, ..., 2, None] + slope[g, ..., None] * (nodes[g, :clubs, None] - mean[g, ..., 1, None])
        each = [_spread_out(spot[:, :, j].ravel(), joint[g, :, :, j].ravel(), rest_var[g, j]) for j in range(clubs)]
        curves.append((*(np.stack(part) for part in zip(*each)), apart[g]))
    return curves


def _spread_out(spot, weight, var):
    """Return nodes, and the probability of each, of many weighted spots that each stand for a Gaussian of variance
    `var`.
    """
    centre = weight @ spot
    sd = math.sqrt(max(weight @ (spot - centre) ** 2 + var, 1e-12))
    step = 2 * BIN_REACH * sd / (BINS - 1)
    at = np.clip((spot - centre) / step + (BINS - 1) / 2, 0, BINS - 1.001)
    low = at.astype(int)
    part = at - low
    binned = np.bincount(low, weight * (1 - part), BINS + 1) + np.bincount(low + 1, weight * part, BINS + 1)
    steps = np.arange(BINS) - (BINS - 1) / 2
    chance = np.convolve(binned[:BINS], np.exp(-0.5 * (steps * step) ** 2 / max(var, 1e-12)), "same")
    return centre + step * steps, chance / chance.sum()


def _place_nodes(y, u, counted, inner, middle_sigma, dof):
    """Return nodes of each line and their widths, about a quick fit at one middling τ: reweighted least squares for the
    t shots.
    """
    balls = counted.sum((1, 2))
    sigma2 = np.full(len(y), middle_sigma**2)
    weight, told = counted * 1.0, (dof if math.isfinite(dof) else 1e9)
    for _ in range(12):
        scale2 = sigma2[:, None, None] + u**2
        precision = (weight / scale2).sum(-1)
        cov = np.linalg.solve(np.eye(y.shape[1]) + inner * precision[..., None, :], inner)
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
