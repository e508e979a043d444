"""How well pooling does on the golfers of golfers.py: errors, coverage, when to stop, golfers unlike the assumptions,
brute force, time.

One command, about four minutes: ``python tests/bench/bag_accuracy.py``. Its two arguments are golfers a line (300) and
the base of all seeds (70,000). The kit's priors were chosen on golfers of base 0 and its alarm for a club that stands
apart on base 20,000, so those two flatter.
"""

import argparse
import math
import time

import brute_force
import linetilt as lt
import numpy as np
import pandas as pd
from golfers import KINDS, LABELS, LENGTH_IN, SEVEN, Kind, draw, huber_mean, play
from scipy import stats


def fit_all(drawn, shots, gauge=False):
    fits = lt.lie.fit_bags(shots, {number: golfer.bag(gauge) for number, golfer in enumerate(drawn)})
    return [fits[number] for number in range(len(drawn))]


def rms(guess, truth):
    return math.sqrt(np.mean((guess - truth) ** 2))


def straight_line(values):
    """A straight line over club length through the clubs' Huber means."""
    basis = np.column_stack([np.ones(len(LABELS)), LENGTH_IN - 37.0])
    return huber_mean(values) @ np.linalg.pinv(basis).T @ basis.T


def simple_ways(values):
    return {
        "line": straight_line(values),
        "Huber": huber_mean(values),
        "mean": values.mean(-1),
        "7 only": values[:, [SEVEN]].mean(-1),
    }


def measure(kind, golfers, balls, seed, gauge=False):
    drawn, shots = play(kind, golfers, balls, seed)
    fits = fit_all(drawn, shots, gauge)
    truth = np.array([golfer.truth for golfer in drawn])
    estimate = np.array([fit.table["lie_error_deg"] for fit in fits])
    low, high = (np.array([fit.quantile_deg(p) for fit in fits]) for p in (0.025, 0.975))
    club = shots["club"].map(LABELS.index).to_numpy()
    order = np.lexsort((club, shots["golfer"]))
    values = shots["lie_error_deg"].to_numpy()[order].reshape(golfers, len(LABELS), balls)
    return {
        "fit": rms(estimate, truth),
        "inside": np.mean((low < truth) & (truth < high)),
        "half": (high - low).mean() / 2,
        "fits": fits,
        "named": pd.concat([fit.shots for fit in fits]),
        "truth": truth,
        "alarms": [note for fit in fits for note in fit.warnings],
    } | {name: rms(guess, truth) for name, guess in simple_ways(values).items()}


def pooling(golfers, seed):
    print(
        "\n## Root mean square error, degrees\n\n| balls a club | pooled | with gauge | line | Huber mean | plain "
        "mean | 7-iron only | 95 % holds | with gauge | half-width |"
    )
    print("|---|---|---|---|---|---|---|---|---|---|")
    named, ours = [], {}
    for balls in (1, 2, 3, 5, 8):
        one, gauged = (measure(Kind(), golfers, balls, seed + 1000 + balls, gauge) for gauge in (False, True))
        named.append(one["named"])
        ours[balls] = one["fit"]
        print(
            f"| {balls} | {one['fit']:.2f} | {gauged['fit']:.2f} | {one['line']:.2f} | {one['Huber']:.2f} | "
            f"{one['mean']:.2f} | {one['7 only']:.2f} "
            f"| {one['inside']:.1%} | {gauged['inside']:.1%} | {one['half']:.2f} |"
        )
        if balls == 4 or balls == 8:
            alarms = {
                words: sum(words in note for note in one["alarms"]) / golfers
                for words in ("Late shots", "straight trend", "stands apart")
            }
            promise = np.mean(
                [fit.probability_within(0.5, -fit.table["lie_error_deg"]).min() >= 0.9 for fit in one["fits"]]
            )
    errors = {}
    for balls in (64, *range(2, 25)):
        drawn, shots = play(Kind(), golfers, balls, seed + 2000)
        truth = np.array([golfer.truth for golfer in drawn])
        order = np.lexsort((shots["club"].map(LABELS.index), shots["golfer"]))
        errors[balls] = {
            name: rms(guess, truth)
            for name, guess in simple_ways(shots["lie_error_deg"].to_numpy()[order].reshape(golfers, 8, balls)).items()
        }
    print(
        f"\n7-iron only with 64 balls on it: {errors[64]['7 only']:.2f}. For the error that pooling has at 3 balls a "
        f"club ({ours[3]:.2f}):"
    )
    for name in ("mean", "Huber"):
        need = next((balls for balls in range(2, 25) if errors[balls][name] <= ours[3]), 25)
        print(f"- {name}: {need} balls a club, {need / 3:.1f} times as many")
    shots = pd.concat(named)
    far = shots["bad_shot"] & (shots["off_deg"].abs() > 6)
    print(
        f"\nBad shots more than 6° off: {shots['bad'][far].mean():.1%} of {far.sum()} named; good shots named: "
        f"{shots['bad'][~shots['bad_shot']].mean():.2%}."
    )
    print(f"Alarms a bag at 8 balls a club: {', '.join(f'{words} {share:.1%}' for words, share in alarms.items())}.")
    print(f"Golfers for whom 64 balls settle all eight clubs to ±0.5° (90 % each): {promise:.0%}.")


def play_until_finished(golfers, seed, round_the_bag=False, most=120):
    """Return balls needed, coverage at the stop, and the ranges given on the way (after so many balls, low, high, what
    it took)."""
    rng = np.random.default_rng(seed)
    drawn = [draw(Kind(), rng) for _ in range(golfers)]
    bags = {number: golfer.bag() for number, golfer in enumerate(drawn)}
    shots = {number: golfer.hit([SEVEN], rng, number) for number, golfer in enumerate(drawn)}
    finished, ranges = {}, []
    for balls in range(1, most + 1):
        fits = lt.lie.fit_bags(
            pd.concat([shots[number] for number in shots if number not in finished], ignore_index=True), bags
        )
        for number, fit in fits.items():
            if fit.finished or balls == most:
                finished[number] = (balls, fit)
                continue
            club = balls % 8 if round_the_bag else LABELS.index(fit.next_club().club)
            if not round_the_bag and balls in (8, 16, 24):
                ranges.append((number, balls, *fit.balls_to_go()))
            shots[number] = pd.concat([shots[number], drawn[number].hit([club], rng, number)], ignore_index=True)
        if len(finished) == golfers:
            break
    inside = np.mean(
        [
            (fit.quantile_deg(0.025) < drawn[number].truth) & (drawn[number].truth < fit.quantile_deg(0.975))
            for number, (_, fit) in finished.items()
        ]
    )
    close = np.mean(
        [np.abs(fit.table["lie_error_deg"] - drawn[number].truth) <= 1 for number, (_, fit) in finished.items()]
    )
    ranges = pd.DataFrame(
        [(balls, low, high, finished[number][0] - balls) for number, balls, low, high in ranges],
        columns=["after", "low", "high", "took"],
    )
    return np.array([finished[number][0] for number in range(golfers)]), inside, close, ranges


def club_by_club(golfers, seed, most=64):
    """Each club by itself until Student's interval of its plain mean is within ±1° (90 %), at least 3 balls."""
    rng = np.random.default_rng(seed)
    balls, close = [], []
    for _ in range(golfers):
        golfer = draw(Kind(), rng)
        for position in range(len(LABELS)):
            values = golfer.hit([position] * most, rng)["lie_error_deg"].to_numpy()
            for n in range(3, most + 1):
                if stats.t.ppf(0.95, n - 1) * values[:n].std(ddof=1) / math.sqrt(n) <= 1.0:
                    break
            balls.append(n)
            close.append(abs(values[:n].mean() - golfer.truth[position]) <= 1)
    return np.array(balls).reshape(golfers, -1).sum(1), np.mean(close)


def stopping(golfers, seed):
    balls, inside, close, ranges = play_until_finished(golfers, seed + 3000)
    around, inside_around, close_around, _ = play_until_finished(golfers, seed + 3000, round_the_bag=True)
    single, close_single = club_by_club(golfers, seed + 3000)
    print(
        "\n## Balls until every club is within ±1° with 90 %\n\n| way | mean | median | nine in ten | times the "
        "advice | 95 % holds at the stop | within ±1° |"
    )
    print("|---|---|---|---|---|---|---|")
    for name, count, held, near in (
        ("next-club advice", balls, inside, close),
        ("round the bag", around, inside_around, close_around),
        ("club by club", single, None, close_single),
    ):
        print(
            f"| {name} | {count.mean():.1f} | {np.median(count):.0f} | {np.percentile(count, 90):.0f} | "
            f"{count.mean() / balls.mean():.2f} "
            f"| {'' if held is None else f'{held:.1%}'} | {near:.1%} |"
        )
    for after, part in ranges.groupby("after"):
        held = ((part["low"] <= part["took"]) & (part["took"] <= part["high"])).mean()
        print(
            f"\nAfter {after} balls `balls_to_go` held for {held:.0%} of {len(part)} golfers (on average "
            f"{part['low'].mean():.0f} to "
            f"{part['high'].mean():.0f}; it took {part['took'].mean():.0f})."
        )


def unlike(golfers, seed):
    print(
        "\n## Golfers unlike the assumptions\n\n| golfers | balls a club | pooled | best simple way | pooled / "
        "simple | 95 % holds |\n|---|---|---|---|---|---|"
    )
    for name, kind in KINDS.items():
        for balls in (1, 3, 8):
            one = measure(kind, golfers, balls, seed + 4000 + balls)
            best = min(("line", "Huber", "mean", "7 only"), key=one.get)
            print(
                f"| {name} | {balls} | {one['fit']:.2f} | {best} {one[best]:.2f} | {one['fit'] / one[best]:.2f} | "
                f"{one['inside']:.1%} |",
                flush=True,
            )


def against_brute_force(seed):
    shifts, widths = [], []
    for balls in (1, 2, 3, 8):
        drawn, shots = play(Kind(), 3, balls, seed + 5000 + balls)
        for number, fit in enumerate(fit_all(drawn, shots)):
            own = shots[shots["golfer"] == number]
            mean, low, high = brute_force.posterior(
                {
                    LABELS.index(club): (rows["lie_error_deg"].to_numpy(), rows["u_lie_error_deg"].to_numpy())
                    for club, rows in own.groupby("club")
                },
                LENGTH_IN,
            )
            table = fit.table
            shifts.append(np.abs(table["lie_error_deg"].to_numpy() - mean).max())
            widths.append(np.abs((table["high_deg"] - table["low_deg"]).to_numpy() / (high - low) - 1).max())
    print(
        f"\n## Against brute force\n\n12 bags of 1 to 8 balls a club: means within {max(shifts):.3f}° (middle bag "
        f"{np.median(shifts):.3f}°), half-widths "
        f"within {max(widths):.1%} (middle bag {np.median(widths):.1%})."
    )


def timing(seed):
    drawn, shots = play(Kind(), 1000, 8, seed + 6000)
    bags = {number: golfer.bag() for number, golfer in enumerate(drawn)}
    one = shots[shots["golfer"] == 0]
    lt.fit_bag(one, bags[0])
    single = min(_seconds(lambda: lt.fit_bag(one, bags[0]).table) for _ in range(10))
    hundred, thousand = (_seconds(lambda: lt.lie.fit_bags(shots[shots["golfer"] < n], bags)) for n in (100, 1000))
    print(
        f"\n## Time\n\n8 clubs × 8 balls with its table: {1000 * single:.0f} ms; 100 golfers in one call "
        f"{hundred:.2f} s, 1,000 {thousand:.2f} s: "
        f"{thousand / hundred:.1f} times as long."
    )


def _seconds(work):
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("golfers", nargs="?", type=int, default=300, help="golfers a line")
    parser.add_argument("seed", nargs="?", type=int, default=70_000, help="base of all seeds")
    given = parser.parse_args()
    print(f"# Pooling a bag: {given.golfers} simulated golfers a line, 8 clubs, seeds from {given.seed}", flush=True)
    timing(given.seed)
    against_brute_force(given.seed)
    for part in (pooling, stopping, unlike):
        part(given.golfers, given.seed)
