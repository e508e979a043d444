"""Do the intervals hold when every ball carries the same habit? Golfers from the swing up (swings.py), one table.

``python tests/bench/honest.py [golfers a line] [base of seeds] [worlds, by a part of their name]``: coverage of the
clubs' and the bag's mean's 95 % intervals, root mean square error, half-widths, harmful bends under a simple rule,
alarms. The kit's constants were chosen on bases 0, 300 to 400, 1,000 and 3,000, the usual lean and turn of a line also
on 70,000; judge on others.
"""

import argparse
import math
import sys
import time
from pathlib import Path

import linetilt as lt
import numpy as np
import pandas as pd
from linetilt.lie.bagfit import whole_step_bend

sys.path[:0] = [str(Path(__file__).parents[1])]
from bench.golfers import LABELS
from bench.swings import WORLDS, draw, play

SURE, WORTH_DEG, STEP_DEG = 0.8, 0.25, 0.25


def simple_bend(samples):
    """The whole-step bend of a club if it is surely for the better and worth it, else 0."""
    bend = whole_step_bend(samples.mean(), (math.inf, math.inf), STEP_DEG)
    better = np.abs(samples) - np.abs(samples + bend)
    return bend if (better > 0).mean() >= SURE and better.mean() >= WORTH_DEG else 0.0


def fit_all(drawn, shots, gauge=False):
    bags = {number: golfer.bag(gauge) for number, golfer in enumerate(drawn)}
    try:
        sessions = {number: golfer.told for number, golfer in enumerate(drawn)}
        fits = lt.lie.fit_bags(shots, bags, session=sessions)
    except TypeError:  # the kit before it knew of sessions
        fits = lt.lie.fit_bags(shots, bags)
    return [fits[number] for number in range(len(drawn))]


def measure(world, golfers, balls, seed, gauge=False):
    """Return one row of figures."""
    drawn, shots = play(world, golfers, balls, seed)
    fits = fit_all(drawn, shots, gauge)
    truth = np.array([golfer.truth for golfer in drawn])
    mean = np.array([fit.table["lie_error_deg"] for fit in fits])
    low, high = (np.array([fit.quantile_deg(p) for fit in fits]) for p in (0.025, 0.975))
    inside = (low < truth) & (truth < high)
    row = {
        "balls": balls,
        "rms": math.sqrt(np.mean((mean - truth) ** 2)),
        "half": (high - low).mean() / 2,
        "clubs": inside.mean(),
    }
    if hasattr(fits[0], "joint"):
        off = np.array(
            [
                (fit.joint()[0].mean() - golfer.truth.mean()) / np.sqrt(fit.joint()[1].to_numpy().mean())
                for fit, golfer in zip(fits, drawn)
            ]
        )
        row["bag"] = np.mean(np.abs(off) < 1.96)
    settled = np.array([fit.settled for fit in fits])
    close = np.abs(mean - truth) <= fits[0].stop.tolerance_deg
    row["settled"] = settled.mean()
    row["kept"] = close[settled].mean() if settled.any() else math.nan
    bends = np.array([[simple_bend(fit.samples_deg(label, 101)) for label in LABELS] for fit in fits])
    bent = bends != 0
    row["bends"] = bent.mean()
    row["harmful"] = (np.abs(truth + bends) > np.abs(truth))[bent].mean() if bent.any() else math.nan
    far = np.abs(truth) >= 2.5
    row["far bent"] = (bent & (np.abs(truth + bends) < np.abs(truth)))[far].mean() if far.any() else math.nan
    notes = [" ".join(fit.warnings) for fit in fits]
    row["warned"] = np.mean(
        [any(words in note for words in ("one after the other", "two kinds", "Late shots")) for note in notes]
    )
    if world.odd:
        odd = np.array([golfer.odd for golfer in drawn])
        at = np.arange(golfers), odd
        row["odd held"] = inside[at].mean()
        row["odd named"] = np.mean([f"The {LABELS[o]} stands apart" in note for o, note in zip(odd, notes)])
        row["odd short"] = np.mean((np.abs(truth) - np.abs(mean - np.median(mean, axis=1)[:, None]))[at])
    else:
        row["odd named"] = np.mean(["stands apart" in note for note in notes])
    return row


def balls_to_the_stop(world, golfers, seed, most=80):
    """Return balls until every club is settled by the advice of `next_club`, and how many are then within tolerance."""
    rng = np.random.default_rng(seed)
    drawn = [draw(world, rng) for _ in range(golfers)]
    shots = {n: golfer.hit([3], rng, n) for n, golfer in enumerate(drawn)}
    done = {}
    for balls in range(1, most + 1):
        open_ones = [n for n in shots if n not in done]
        if not open_ones:
            break
        bags, told = {n: drawn[n].bag() for n in open_ones}, {n: drawn[n].told for n in open_ones}
        table = pd.concat([shots[n] for n in open_ones], ignore_index=True)
        try:
            fits = lt.lie.fit_bags(table, bags, session=told)
        except TypeError:
            fits = lt.lie.fit_bags(table, bags)
        for n, fit in fits.items():
            if fit.finished or balls == most:
                done[n] = (balls, np.abs(fit.table["lie_error_deg"].to_numpy() - drawn[n].truth) <= 1)
            else:
                club = LABELS.index(fit.next_club().club)
                shots[n] = pd.concat([shots[n], drawn[n].hit([club], rng, n, first=balls)], ignore_index=True)
    counts = np.array([done[n][0] for n in range(golfers)])
    return counts.mean(), np.median(counts), np.mean(counts == most), np.mean([done[n][1] for n in range(golfers)])


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("golfers", nargs="?", type=int, default=200, help="golfers a line")
    parser.add_argument("seed", nargs="?", type=int, default=70_000, help="base of all seeds")
    parser.add_argument("part", nargs="?", default="", help="only worlds whose name holds this")
    parser.add_argument("--balls", default="1,2,3,5,8")
    parser.add_argument("--stop", action="store_true", help="also play plain golfers until every club is settled")
    given = parser.parse_args()
    start, rows = time.perf_counter(), []
    for number, (name, world) in enumerate(WORLDS.items()):
        if given.part in name:
            for balls in map(int, given.balls.split(",")):
                rows.append({"world": name} | measure(world, given.golfers, balls, given.seed + 100 * number + balls))
                print(f"{time.perf_counter() - start:5.0f} s  {name}, {balls}", file=sys.stderr, flush=True)
    if given.part in "plain":
        for balls in map(int, given.balls.split(",")):
            rows.append(
                {"world": "plain, gauge"} | measure(WORLDS["plain"], given.golfers, balls, given.seed + balls, True)
            )
    print(f"{given.golfers} golfers a line, seeds from {given.seed}")
    print(pd.DataFrame(rows).round(3).to_string(index=False, na_rep=""))
    if given.stop:
        mean, median, never, close = balls_to_the_stop(WORLDS["plain"], given.golfers // 2, given.seed + 50)
        print(
            f"plain golfers: {mean:.1f} balls to the stop (median {median:.0f}, {never:.0%} never), "
            f"{close:.1%} of clubs then within 1°"
        )
    print(f"{time.perf_counter() - start:.0f} s")


if __name__ == "__main__":
    main()
