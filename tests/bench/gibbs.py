"""The model of `fit_bag` with the session's unknowns by Gibbs sampling: slow, exact in the long run, and sharing
nothing with the kit's arithmetic.

Many chains at once. Student's t is a Gaussian of unknown weight, a club that stands apart has a hidden switch, the two
scales are drawn from fine grids.
``python tests/bench/gibbs.py [bags] [seed]`` compares bags of 1 to 8 balls a club from the worlds of swings.py with the
kit.
"""

import sys
from pathlib import Path

import linetilt as lt
import numpy as np

sys.path[:0] = [str(Path(__file__).parents[1])]
from bench.swings import WORLDS, play

UNKNOWNS = ["s_path", "s_lean", "s_turn", "s_aim", "s_loft", "s_heading"]


def sample(y, u, club, length_in, hangs, unknown_sd, priors, chains=64, rounds=1500, burn=250, seed=1):
    """Return draws of the clubs' lie errors, shape (draws, clubs); no gauge, no bends, all clubs of the set.

    Parameters
    ----------
    y, u : ndarray, shape (shots,)
        Readings and their own standard uncertainties.
    club : ndarray of int, shape (shots,)
    length_in : ndarray, shape (clubs,)
    hangs : ndarray, shape (shots, unknowns)
        Sensitivity of each reading to each unknown of the session.
    unknown_sd : ndarray, shape (unknowns,)
    """
    p, rng, clubs = priors, np.random.default_rng(seed), len(length_in)
    x = np.asarray(length_in) - 37.0
    trend = np.column_stack([np.ones(clubs), x])
    design = np.hstack([trend[club], -hangs, np.eye(clubs)[club]])
    prior_sd = np.array([p.offset_sd_deg, p.slope_sd_deg_per_in, *np.maximum(unknown_sd, 1e-6)])
    z = np.linspace(-2.6, 2.6, 53)
    sigmas = p.shot_scatter_deg * np.exp(p.shot_scatter_log_sd * z)
    taus = p.club_scatter_deg * np.exp(p.club_scatter_log_sd * z)
    sigma2, tau2 = np.full(chains, 1.0), np.full(chains, 0.25)
    weight, apart = np.ones((chains, y.size)), np.zeros((chains, clubs), bool)

    def pick(log):
        chance = np.exp(log - log.max(1, keepdims=True)).cumsum(1)
        return (rng.random((chains, 1)) * chance[:, -1:] > chance).sum(1)

    kept = []
    for turn in range(rounds):
        own_var = tau2[:, None] + p.odd_deg**2 * apart
        precision = np.concatenate([np.broadcast_to(prior_sd**-2.0, (chains, prior_sd.size)), 1 / own_var], 1)
        told = weight / (sigma2[:, None] + u**2)
        a = (design.T * told[:, None]) @ design
        a[:, np.arange(a.shape[1]), np.arange(a.shape[1])] += precision
        root = np.linalg.cholesky(a)
        b = (told * (y - p.offset_deg)) @ design
        half = np.linalg.solve(root, b[..., None]) + rng.standard_normal((chains, a.shape[1], 1))
        theta = np.linalg.solve(root.swapaxes(1, 2), half)[..., 0]
        own = theta[:, -clubs:]
        r2 = (y - p.offset_deg - theta @ design.T) ** 2
        scale2 = sigma2[:, None] + u**2
        weight = rng.gamma((p.shot_dof + 1) / 2, 2 / (p.shot_dof + r2 / scale2))
        # The shots' scale with their weights summed out again, else it hardly moves.
        s2 = sigmas[:, None] ** 2 + u**2
        log = -0.5 * (np.log(s2) + (p.shot_dof + 1) * np.log1p(r2[:, None] / s2 / p.shot_dof)).sum(-1) - 0.5 * z**2
        sigma2 = sigmas[pick(log)] ** 2
        weight = rng.gamma((p.shot_dof + 1) / 2, 2 / (p.shot_dof + r2 / (sigma2[:, None] + u**2)))
        var = taus[:, None, None] ** 2 + np.array([0.0, p.odd_deg**2])
        each = -0.5 * (np.log(var) + own[:, None, :, None] ** 2 / var)
        each += np.log([1 - p.odd_probability, p.odd_probability] if p.odd_probability else [1.0, 1e-300])
        top = each.max(-1)
        both = top + np.log(np.exp(each - top[..., None]).sum(-1))
        at = pick(both.sum(-1) - 0.5 * z**2)
        tau2 = taus[at] ** 2
        each = each[np.arange(chains), at]
        apart = rng.random((chains, clubs)) * (1 + np.exp(each[..., 0] - each[..., 1])) < 1
        if turn >= burn:
            kept.append(p.offset_deg + theta[:, :2] @ trend.T + own)
    return np.concatenate(kept)


def of_fit(rows, bag, session, priors=None, **options):
    """Return draws for a golfer's readings as `fit_bag` takes them, with all columns; balls of a club hang on the
    session at their mean.
    """
    club = np.array([bag.labels.index(label) for label in rows["club"]])
    return sample(
        rows["lie_error_deg"].to_numpy(), rows["u_own_deg"].to_numpy(), club, np.array([one.length_in for one in bag]),
        rows.groupby(["club", "heading_known"])[UNKNOWNS].transform("mean").to_numpy(), session.sds,
        priors or lt.lie.Priors(), **options,
    )  # fmt: skip


def compare(bags, seed, **options):
    """Return by how much means (degrees) and half-widths (share) differ from the kit's, bag by bag and club by club."""
    names = ["plain", "all together", "path habit 3", "no net", "odd club 3"]
    shifts, widths = [], []
    for number in range(bags):
        balls = (1, 2, 3, 5, 8)[(number + number // 5) % 5]
        (golfer,), shots = play(WORLDS[names[number % 5]], 1, balls, seed + number)
        bag = golfer.bag()
        fit = lt.fit_bag(shots, bag, session=golfer.told)
        if fit._job.dof != fit.priors.shot_dof or fit._job.runs_sd:  # what the model leaves out was put in
            shots["shot"] = np.random.default_rng(0).permutation(len(shots))
            fit = lt.fit_bag(shots, bag, session=golfer.told)
            if fit._job.dof != fit.priors.shot_dof or fit._job.runs_sd:
                continue
        draws = of_fit(shots, bag, golfer.told, **options)
        low, high = np.quantile(draws, [0.025, 0.975], axis=0)
        table = fit.table
        shifts.append(table["lie_error_deg"].to_numpy() - draws.mean(0))
        widths.append((table["high_deg"] - table["low_deg"]).to_numpy() / (high - low) - 1)
    return np.array(shifts), np.array(widths)


if __name__ == "__main__":
    given = [int(part) for part in sys.argv[1:]] + [20, 9000][len(sys.argv) - 1 :]
    shifts, widths = compare(*given)
    for name, off in (("means, degrees", np.abs(shifts)), ("half-widths, share", np.abs(widths))):
        print(
            f"{len(off)} bags, {name}: middle {np.median(off):.3f}, 95 % {np.quantile(off, 0.95):.3f}, "
            f"worst {off.max():.3f}"
        )
