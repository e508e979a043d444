"""Simulated golfers for the checks of pooling: what is drawn, and the simple ways that pooling is compared with.

A golfer has an offset ~ N(0, 1.5°) and a slope ~ N(0, 0.55°) an inch over eight irons; each club adds what it is itself
(its lie against the maker's figure, ~ N(0, 0.4°), which a gauge would read) and what the golfer does with it (~ N(0,
0.3°)). Shots are Student t with 5 degrees of freedom and a standard deviation of 0.8° to 2°, even over golfers; a share
of 5 to 10 % of them is bad and has ~ N(0, 4.7°) added; the photo adds an error of a stated uncertainty of 0.25° to
0.6°. These are not the priors of `fit_bag`: the tails, the scatter's law and the bad shots differ from what it assumes.
`KINDS` holds golfers who differ from its assumptions altogether.
"""

from dataclasses import dataclass

import linetilt as lt
import numpy as np
import pandas as pd

LABELS = ["4", "5", "6", "7", "8", "9", "PW", "GW"]
LOFT_DEG = np.array([23.0, 26.0, 30.0, 34.0, 38.0, 42.0, 46.0, 50.0])
LENGTH_IN = np.array([38.5, 38.0, 37.5, 37.0, 36.5, 36.0, 35.75, 35.5])
LIE_DEG = np.array([61.0, 61.5, 62.0, 62.5, 63.0, 63.5, 64.0, 64.0])
SEVEN = LABELS.index("7")


@dataclass(frozen=True)
class Kind:
    """What golfers of a kind are drawn from; degrees throughout."""

    offset_sd: float = 1.5
    slope_sd: float = 0.55
    club_sd: float = 0.4  # the club itself
    habit_sd: float = 0.3  # the golfer with this club
    shot_sd: tuple = (0.8, 2.0)
    bad_share: tuple = (0.05, 0.10)
    bad_sd: float = 4.7
    odd: float = 0.0  # one club of the set is off by this much, either way
    apart: int = 0  # so many clubs are from elsewhere: their own error ~ N(0, 1.2°), and the bag says so
    heading: float | None = None  # face heading unknown: session mean ~ N(0, this), and 1° from shot to shot
    drift: float = 0.0  # change of lie error from the first to the last shot


KINDS = {
    "as assumed": Kind(),
    "steady": Kind(shot_sd=(0.4, 0.6), bad_share=(0.0, 0.02)),
    "wild": Kind(shot_sd=(2.5, 3.5), bad_share=(0.15, 0.2)),
    "no trend, clubs differ": Kind(slope_sd=0.0, club_sd=0.7, habit_sd=0.5),
    "steep trend": Kind(offset_sd=3.0, slope_sd=1.5),
    "one odd club": Kind(odd=3.0),
    "mixed bag": Kind(apart=3),
    "face heading unknown": Kind(heading=2.0),
}


@dataclass(frozen=True)
class Golfer:
    """A drawn golfer; `hit` plays balls."""

    kind: Kind
    truth: np.ndarray  # lie error of each club
    club_part: np.ndarray  # what a gauge would read of it
    shot_sd: float
    bad_share: float
    heading: float
    apart: np.ndarray

    def bag(self, gauge=False, head="forged", limit=10.0):
        """Return the golfer's bag; without gauge readings unless asked. The limit is wide so that it settles
        nothing."""
        return lt.Bag(
            [
                lt.Club(
                    label=LABELS[i],
                    loft_deg=LOFT_DEG[i],
                    length_in=LENGTH_IN[i],
                    lie_deg=LIE_DEG[i],
                    head=head,
                    bend_limit_deg=limit,
                    gauge_lie_deg=LIE_DEG[i] + self.club_part[i] if gauge else None,
                    from_set=not self.apart[i],
                )
                for i in range(len(LABELS))
            ]
        )

    def hit(self, clubs, rng, name=0):
        """Return a reading for each position in `clubs`, in that order, with the truth beside it (`bad_shot`, and
        `off_deg`: reading less truth)."""
        clubs = np.asarray(clubs)
        size = len(clubs)
        u = rng.uniform(0.25, 0.6, size)
        off = np.where(rng.random(size) < self.bad_share, rng.normal(0, self.kind.bad_sd, size), 0.0)
        y = (
            self.truth[clubs]
            + off
            + rng.standard_t(5, size) * self.shot_sd / np.sqrt(5 / 3)
            + u * rng.standard_normal(size)
        )
        y += self.kind.drift * (np.arange(size) / max(1, size - 1) - 0.5)
        if self.kind.heading is not None:
            turn = np.sin(np.radians(LOFT_DEG[clubs])) * np.cos(np.radians(LOFT_DEG[clubs]))
            y -= turn * (self.heading + rng.standard_normal(size))
            u = np.hypot(u, turn * np.hypot(1.0, self.kind.heading))  # as a single reading would state it
        y = np.clip(y, -44.0, 44.0)  # a print beyond that is no reading
        return pd.DataFrame(
            {
                "golfer": name,
                "club": [LABELS[i] for i in clubs],
                "lie_error_deg": y,
                "u_lie_error_deg": u,
                "heading_known": self.kind.heading is None,
                "bad_shot": off != 0,
                "off_deg": y - self.truth[clubs],
            }
        )


def draw(kind, rng):
    """Return a golfer of a kind."""
    count = len(LABELS)
    apart = np.zeros(count, bool)
    apart[rng.choice(count, kind.apart, replace=False)] = True
    club_part = rng.normal(0, kind.club_sd, count)
    club_part[apart] = rng.normal(0, 1.2, kind.apart)
    if kind.odd:
        club_part[rng.integers(count)] += kind.odd * rng.choice([-1, 1])
    truth = (
        rng.normal(0, kind.offset_sd)
        + rng.normal(0, kind.slope_sd) * (LENGTH_IN - 37.0)
        + club_part
        + rng.normal(0, kind.habit_sd, count)
    )
    heading = rng.normal(0, kind.heading) if kind.heading is not None else 0.0
    return Golfer(kind, truth, club_part, rng.uniform(*kind.shot_sd), rng.uniform(*kind.bad_share), heading, apart)


def play(kind, golfers, balls, seed):
    """Return `golfers` golfers, and their readings of `balls` balls with each club, hit in random order."""
    rng = np.random.default_rng(seed)
    drawn = [draw(kind, rng) for _ in range(golfers)]
    rows = [
        golfer.hit(rng.permutation(np.repeat(np.arange(len(LABELS)), balls)), rng, number)
        for number, golfer in enumerate(drawn)
    ]
    return drawn, pd.concat(rows, ignore_index=True)


def huber_mean(values, scale=1.2, tuning=1.345):
    """Return the Huber mean of the last axis, for a known scale in degrees (Huber, Ann. Math. Stat. 35 (1964) 73)."""
    values = np.asarray(values, float)
    centre = np.median(values, axis=-1)
    for _ in range(50):
        off = np.abs(values - centre[..., None])
        weight = np.minimum(1.0, tuning * scale / np.maximum(off, 1e-12))
        centre = (weight * values).sum(-1) / weight.sum(-1)
    return centre
