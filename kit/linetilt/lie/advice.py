"""What to do next with a bag, how long it may take, and whose the uncertainty of a club is."""

import math
from dataclasses import dataclass
from statistics import NormalDist
from typing import NamedTuple

import numpy as np
import pandas as pd

from .doubts import gauged
from .unknowns import CHECKED_DEG, COLUMNS, usual_sensitivity

# What a step costs, in minutes: common practice, no source.
BALL_MINUTES = 1.5  # one ball: wipe, line, hit, photo
NET_MINUTES = 5.0  # hang a net with an aim dot
CHECK_MINUTES = {"path_deg": 10.0, "lean_deg": 2.0, "turn_deg": 2.0, "aim_deg": 4.0, "shaft_lean_deg": 5.0}
GAUGE_MINUTES = 3.0
U_GAUGE_DEG = 0.25  # a reading of the lie on the gauge

BLOCKS = 2, 3  # balls that are hit with one club before anybody thinks again
WORTH = 0.02  # a step that takes a smaller share than this off what is uncertain changes nothing
MANY_BALLS = 150  # nobody hits more in a session: balls cannot do it

# What an unknown is called, and what lowers its doubt: the code of the step, and words.
CHECKS = {
    "path_deg": ("path", "path of the head", "check_path", "a path check"),
    "lean_deg": ("lean", "lean of the ball's line", "photo_lean", "a plumb photo"),
    "turn_deg": ("turn", "turn of the ball's line", "photo_turn", "a photo of the line from above"),
    "aim_deg": ("aim", "aim dot and distance of the net", "check_aim", "a check of the aim dot"),
    "shaft_lean_deg": ("shaft_lean", "lean of the shaft", "check_shaft", "a photo of the shaft at impact"),
    "heading_deg": ("heading", "mean heading of the face", "spot_ball", "a ball into a net with an aim dot"),
}


class NextClub(NamedTuple):
    """The club to hit next (None when the bag is finished), by how much a ball lowers the loss, and "
    "the same in words."""

    club: str | None
    lowers_by: float
    sentence: str


@dataclass(frozen=True)
class NextStep:
    """The best next step.

    Attributes
    ----------
    code : str
        "balls", "spot_ball", "check_path", "photo_lean", "photo_turn", "check_aim", "check_shaft", "gauge" or "stop".
    club : str or None
        The club to hit or to gauge.
    balls : int
        How many balls; 0 for a check.
    minutes : float
        What it costs.
    lowers_by, share : float
        By how much it lowers the loss (summed variance of the clubs that are not settled, degrees squared), and as a
        share of it.
    balls_help : bool
        Whether any number of balls alone could settle the bag.
    settled, clubs : int
        How many clubs meet the stop rule, of how many.
    half_deg : float
        Half-width of the widest club's 95 % interval, in degrees.
    steps : DataFrame
        All steps that were weighed, best first: code, club, balls, minutes, lowers_by, share, a_minute.
    sentence : str
    """

    code: str
    club: str | None
    balls: int
    minutes: float
    lowers_by: float
    share: float
    balls_help: bool
    settled: int
    clubs: int
    half_deg: float
    steps: pd.DataFrame
    sentence: str


def next_ball_design(fit) -> np.ndarray:
    """Return what each β adds to the next ball of each club, as most balls so far are hit; shape (clubs, betas)."""
    job, count = fit._job, len(fit.bag)
    design = job.design[:count].copy()
    hit = job.filled[:count].any(1)
    loft = np.array([club.loft_deg for club in fit.bag])
    order = np.flatnonzero(hit)[np.argsort(loft[hit], kind="stable")]
    for column in range(2, design.shape[1]):
        design[~hit, column] = np.interp(loft[~hit], loft[order], design[order, column])
    return design


def _ball_rows(fit, design):
    """Return the rows that pick a ball's expected reading out of (lies, β); shape (clubs, clubs + betas)."""
    session = design.copy()
    session[:, :2] = 0.0
    return np.hstack([np.eye(len(fit.bag)), session])


def _ball_var(fit, sigma2):
    """Variance that one more ball brings: Student shots tell (ν + 1)/(ν + 3) of what Gaussian ones would."""
    nu = fit._job.dof
    told = 1.0 if math.isinf(nu) else (nu + 1) / (nu + 3)
    return (sigma2 + float(np.median(fit._job.u[fit._job.filled] ** 2))) / told


def _gains(cov, rows, noise, open_clubs):
    """Return by how much measuring each row, with variance `noise`, lowers the summed variance of the open clubs."""
    seen = cov[: len(open_clubs)] @ rows.T
    return open_clubs @ (seen**2 / (np.einsum("ij,jk,ik->i", rows, cov, rows) + noise))


def _sigma2(fit):
    return float(fit._pooled.cell_weight.sum(1) @ fit._pooled.sigma**2)


def next_club(fit) -> NextClub:
    """See `BagFit.next_club`."""
    if fit.finished:
        return NextClub(None, 0.0, "Finished: no club needs another ball.")
    open_clubs = ~fit.settled.to_numpy()
    gains = _gains(fit._pooled.cov, _ball_rows(fit, next_ball_design(fit)), _ball_var(fit, _sigma2(fit)), open_clubs)
    best = int(np.argmax(gains))
    label = fit.bag.labels[best]
    share = gains[best] / _loss(fit)
    return NextClub(
        label,
        float(gains[best]),
        f"Hit the {label} next: one ball should take {share:.0%} off what is still uncertain.",
    )


def _loss(fit):
    return float(np.diag(fit._pooled.cov)[: len(fit.bag)][~fit.settled.to_numpy()].sum())


def _need(fit):
    """Variance at which a club meets the stop rule, were its curve normal."""
    return (fit.stop.tolerance_deg / NormalDist().inv_cdf(0.5 + fit.stop.probability / 2)) ** 2


def _after_endless_balls(cov, rows, count):
    """Variances of the lies once every club's expected reading is known exactly."""
    seen = cov[:count] @ rows.T
    return np.diag(cov)[:count] - np.einsum("ij,ji->i", seen, np.linalg.pinv(rows @ cov @ rows.T, rcond=1e-9) @ seen.T)


def balls_to_go(fit) -> tuple[float, float]:
    """See `BagFit.balls_to_go`."""
    if fit.finished:
        return 0, 0
    weight = fit._pooled.cell_weight.sum(1)
    cumulative = np.cumsum(weight)
    return tuple(_count_balls(fit, min(int(np.searchsorted(cumulative, p)), weight.size - 1)) for p in (0.05, 0.95))


def _count_balls(fit, cell):
    pooled, count = fit._pooled, len(fit.bag)
    weight = pooled.cell_weight[cell] / max(pooled.cell_weight[cell].sum(), 1e-300)
    off = pooled.cell_mean[cell] - weight @ pooled.cell_mean[cell]
    cov = np.einsum("t,tij->ij", weight, pooled.cell_cov[cell] + off[:, :, None] * off[:, None, :])
    rows, noise, need = _ball_rows(fit, next_ball_design(fit)), _ball_var(fit, pooled.sigma[cell] ** 2), _need(fit)
    if (_after_endless_balls(cov, rows, count) > need).any():
        return math.inf
    for balls in range(1, MANY_BALLS + 1):
        open_clubs = np.diag(cov)[:count] > need
        row = rows[int(np.argmax(_gains(cov, rows, noise, open_clubs)))] if open_clubs.any() else rows[0]
        seen = cov @ row
        cov = cov - np.outer(seen, seen) / (row @ seen + noise)
        if (np.diag(cov)[:count] <= need).all():
            return balls
    return math.inf


def next_step(fit) -> NextStep:
    """Return the step that lowers the loss most a minute; see `NextStep`."""
    count, cov = len(fit.bag), fit._pooled.cov
    settled = int(fit.settled.sum())
    half = float((fit.quantile_deg(0.975) - fit.quantile_deg(0.025)).max() / 2)
    columns = ["code", "club", "balls", "minutes", "lowers_by"]
    steps = pd.DataFrame([] if fit.finished else _steps(fit), columns=columns)
    loss = 0.0 if fit.finished else _loss(fit)
    steps["share"] = steps["lowers_by"] / loss if loss else 0.0
    steps["a_minute"] = steps["lowers_by"] / steps["minutes"]
    steps = steps.sort_values("a_minute", ascending=False, kind="stable", ignore_index=True)
    rows = _ball_rows(fit, next_ball_design(fit))
    balls_help = fit.finished or bool((_after_endless_balls(cov, rows, count) <= _need(fit)).all())
    worth = steps[steps["share"] >= WORTH]
    if not balls_help:  # balls first would be time for nothing while a check can still open the way
        checks = worth[worth["code"] != "balls"]
        worth = checks if len(checks) else worth
    common = (balls_help, settled, count, half, steps)
    if worth.empty:
        words = (
            f"Enough: all {count} clubs are known well enough."
            if fit.finished
            else f"Stop here: {settled} of {count} clubs are known well enough, ±{half:.1f}° at worst; "
            "five more balls would change nothing."
        )
        return NextStep("stop", None, 0, 0.0, 0.0, 0.0, *common, words)
    best = worth.iloc[0]
    return NextStep(
        best["code"],
        best["club"] if isinstance(best["club"], str) else None,
        int(best["balls"]),
        float(best["minutes"]),
        float(best["lowers_by"]),
        float(best["share"]),
        *common,
        _words(best, balls_help),
    )


def _words(step, balls_help):
    what = {
        "balls": f"Hit {step['balls']} balls with the {step['club']}",
        "spot_ball": f"Hit {step['balls']} balls with the {step['club']} into a net with an aim dot, and type the spot",
        "gauge": f"Put the {step['club']} on the gauge",
    } | {code: f"Get {words}" for _, _, code, words in CHECKS.values() if code != "spot_ball"}
    why = "" if balls_help else "More balls alone cannot settle the bag. "
    return f"{why}{what[step['code']]}: it should take {step['share']:.0%} off what is still uncertain."


def _steps(fit):
    """Return every step that may be worth its time, as rows of code, club, balls, minutes and what it lowers the loss
    by.
    """
    bag, count, cov = fit.bag, len(fit.bag), fit._pooled.cov
    open_clubs, noise = ~fit.settled.to_numpy(), _ball_var(fit, _sigma2(fit))
    design = next_ball_design(fit)
    found = []

    def balls(code, design, extra):
        for many in BLOCKS:
            gains = _gains(cov, _ball_rows(fit, design), noise / many, open_clubs)
            best = int(np.argmax(gains))
            found.append((code, bag.labels[best], many, many * BALL_MINUTES + extra, float(gains[best])))

    balls("balls", design, 0.0)
    names = list(COLUMNS)
    counts = design[:, 2 : 2 + len(names)].any(0)
    if counts[names.index("heading_deg")]:
        seen = design.copy()
        shaft = fit.session.shaft_lean_deg[0]
        for position, club in enumerate(bag):
            known = usual_sensitivity(max(0.0, club.loft_deg - shaft), True)
            seen[position, 2 : 2 + len(names)] = [-known[column] for column in COLUMNS.values()]
        balls("spot_ball", seen, NET_MINUTES)
    for at, name in enumerate(names):
        place = count + 2 + at
        if name in CHECKED_DEG and counts[at] and cov[place, place] > CHECKED_DEG[name] ** 2:
            row = np.eye(cov.shape[0])[[place]]
            gain = _gains(cov, row, CHECKED_DEG[name] ** 2, open_clubs)[0]
            found.append((CHECKS[name][2], None, 0, CHECK_MINUTES[name], float(gain)))
    if gauges := _gauge_gains(fit, open_clubs):
        label, gain = max(gauges.items(), key=lambda one: one[1])
        found.append(("gauge", label, 0, GAUGE_MINUTES, gain))
    return found


def _gauge_gains(fit, open_clubs):
    """Return by how much a gauge reading of each club that may have one lowers the loss."""
    count, own, prior = len(fit.bag), fit._pooled.own_cov, fit._pooled.own_var
    # A club's own part covaries with every lie as its lie does less what the trend at its length does.
    level = fit._job.design[:count, :2]
    across = fit._pooled.cov[:count, :count] - fit._pooled.cov[:count, count : count + 2] @ level.T
    gains = {}
    for position, club in enumerate(fit.bag):
        if gauged(club) or club.lie_deg is None:
            continue
        golfers = min(fit.priors.gauged_scatter_deg**2, 0.9 * prior[position])
        share = 1 - golfers / prior[position]  # of the own part that is the club itself
        var = share * prior[position] - share**2 * (prior[position] - own[position, position])
        gains[club.label] = float(open_clubs @ (share * across[:, position]) ** 2 / (var + U_GAUGE_DEG**2))
    return gains


def budget(fit, label: str) -> pd.DataFrame:
    """Return where the uncertainty of one club's lie error comes from.

    Parameters
    ----------
    fit : BagFit
    label : str

    Returns
    -------
    DataFrame
        A row a component: `code`, `component`, `whose` ("this ball's", "this club's", "this session's", "this
        golfer's"), `u_deg`, `share` (of the variance; they add up to 1), and `shrinks` (what would lower it; "" if
        nothing does). Largest first.

    Notes
    -----
    The estimate is linear in what it is made of once the scales are held at their means, so each independent source has
    its share of the error's variance; the shares are then laid over the table's `u_lie_error_deg`, which has the
    scales' own doubt in it as well.
    """
    job, pooled = fit._job, fit._pooled
    position, count = fit.bag.labels.index(label), len(fit.bag)
    prior_sd = np.array([fit.priors.offset_sd_deg, fit.priors.slope_sd_deg_per_in, *fit.session.sds, job.runs_sd])
    member = np.eye(count)[job.club]
    sigma2 = _sigma2(fit)
    weight = pooled.shot_weight * job.filled / (sigma2 + job.u**2)
    hit = job.filled.any(1)
    noise = 1 / weight[hit].sum(1)
    lines, member = job.design[hit] * prior_sd, (member * np.sqrt(pooled.own_var))[hit]
    own = np.concatenate([np.where(np.arange(prior_sd.size) < 2, job.design[position], 0.0) * prior_sd])
    self_own = np.eye(count)[position] * np.sqrt(pooled.own_var)
    gain = np.linalg.solve(lines @ lines.T + member @ member.T + np.diag(noise), lines @ own + member @ self_own)
    beta, clubs = (gain @ lines - own) ** 2, (gain @ member - self_own) ** 2
    balls = gain**2 @ noise
    prints = float(np.average(job.u[job.filled] ** 2 / (sigma2 + job.u[job.filled] ** 2)))
    itself = 0.0
    if not gauged(fit.bag[label]):
        itself = 1 - min(fit.priors.gauged_scatter_deg**2 / pooled.own_var[position], 0.9)
    rows = [
        ("scatter", "scatter of the balls", "this ball's", balls * (1 - prints), "more balls"),
        ("print", "reading of the prints", "this ball's", balls * prints, "more balls"),
        ("club", "the club itself", "this club's", clubs[position] * itself, "a gauge reading"),
        (
            "swing",
            "how the golfer swings this club",
            "this golfer's",
            clubs[position] * (1 - itself),
            f"more balls with the {label}",
        ),
        (
            "trend",
            "the golfer's trend over the set",
            "this golfer's",
            beta[:2].sum() + clubs.sum() - clubs[position],
            "more balls",
        ),
        *(
            (CHECKS[name][0], CHECKS[name][1], "this session's", part, CHECKS[name][3])
            for name, part in zip(COLUMNS, beta[2:])
        ),
        ("runs", "balls that come in runs", "this session's", beta[-1], "balls in another order, after a rest"),
    ]
    table = pd.DataFrame(rows, columns=["code", "component", "whose", "share", "shrinks"])
    table["share"] /= table["share"].sum()
    table = table[(table["share"] > 0) | table["code"].isin(["scatter", "print", "club", "trend"])]
    table.insert(3, "u_deg", np.sqrt(table["share"]) * fit._u_deg[position])
    return table.sort_values("share", ascending=False, kind="stable", ignore_index=True)
