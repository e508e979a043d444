"""Simulated golfers from the swing up: what the club does at impact is drawn, printed by the exact geometry, and read
back as the kit would.

A golfer has a lie trend and clubs as in golfers.py, and besides habits that every ball of the session shares: path,
face heading, lean of the shaft, share of the start that follows the face; the session has habits of setting the line
(lean and turn) and an aim dot that is a little off. Each ball scatters about them. A print is `print_tilt_deg` of lie,
delivered loft, heading, lean and turn, with the reading's error; the net's spot gives a start. What the kit is told are
the print, the start, and in some worlds a path or a lean that somebody measured.
"""

import sys
from dataclasses import dataclass
from pathlib import Path

import linetilt as lt
import numpy as np
import pandas as pd
from linetilt.lie.geometry import lie_from_tilt_deg, print_tilt_deg
from linetilt.lie.start import FACE_SHARE, SHARE_LOFT_DEG, U_FACE_SHARE

sys.path[:0] = [str(Path(__file__).parents[1])]
from bench.golfers import LABELS, LENGTH_IN, LIE_DEG, LOFT_DEG

SHAFT_LEAN = 5.0  # what the kit assumes
BALL = {
    "path": 1.2,
    "heading": 2.0,
    "lean": 0.35,
    "turn": 0.35,
    "shaft": 1.0,
    "start": 0.45,
}  # scatter from ball to ball


@dataclass(frozen=True)
class World:
    """What golfers of a world are drawn from; degrees throughout."""

    offset_sd: float = 1.5
    slope_sd: float = 0.55
    club_sd: float = 0.4
    habit_sd: float = 0.3
    shot_sd: tuple = (0.8, 2.0)
    bad_share: tuple = (0.05, 0.10)
    level: bool = False  # every club sits level
    path_sd: float = 0.0
    path_at: float | None = None  # a path this far in-to-out for every golfer, in place of a drawn one
    path_known: bool = False  # measured to ±1°
    lean_sd: float = 0.0  # habit of setting the line: lean, and turn
    turn_sd: float = 0.0
    set_known: bool = False  # a plumb photo and one from above were taken: ±0.3° each
    shaft: tuple = (5.0, 0.0)  # mean, standard deviation (negative: uniform from 0 to 8)
    aim_sd: float = 0.0
    net: bool = True
    odd: float = 0.0
    print_u: float = 1.0  # what is stated of a print's uncertainty, of what it is
    kinds: float = 0.0  # two kinds of swing, this far apart in lie
    runs: float = 0.0  # runs of five balls share an error of this standard deviation
    by_club: bool = False  # hit club by club


def world(**changes):
    """A world in which path and line were measured, the rest is drawn as usual, and `changes` differ."""
    known = {
        "path_sd": 2.0,
        "path_known": True,
        "lean_sd": 0.7,
        "turn_sd": 0.7,
        "set_known": True,
        "shaft": (5.0, 2.0),
        "aim_sd": 0.3,
    }
    return World(**(known | changes))


NOTHING_KNOWN = {"path_known": False, "set_known": False}
WORLDS = {
    "plain": world(),
    "path straight": world(path_known=False, path_sd=0.0),
    "path habit 2": world(path_known=False),
    "path habit 3": world(path_known=False, path_sd=3.0),
    "path habit 4": world(path_known=False, path_sd=4.0),
    "path 4 in-to-out, level": world(path_known=False, path_at=-4.0, level=True),
    "path 4 out-to-in, level": world(path_known=False, path_at=4.0, level=True),
    "setting 0.7": world(set_known=False),
    "setting 1.0": world(set_known=False, lean_sd=1.0, turn_sd=1.0),
    "shaft lean 0-8": world(shaft=(4.0, -1.0)),
    "all together": world(path_sd=3.0, **NOTHING_KNOWN),
    "no net": world(path_sd=3.0, net=False, **NOTHING_KNOWN),
    "odd club 3": world(odd=3.0),
    "u stated half": world(print_u=0.5),
    "u stated twice": world(print_u=2.0),
    "two kinds of swing": world(kinds=4.0, shot_sd=(0.6, 1.0)),
    "runs": world(runs=1.2),
    "runs, club by club": world(runs=1.2, by_club=True),
}


@dataclass(frozen=True)
class Swinger:
    """A drawn golfer of a world, with the session's habits."""

    world: World
    truth: np.ndarray
    club_part: np.ndarray
    odd: int
    shot_sd: float
    bad_share: float
    path: float
    heading: float
    shaft: float
    lean: float
    turn: float
    aim: float
    share_z: float
    kind_share: float
    told: lt.lie.SessionUnknowns

    def bag(self, gauge=False, limit=10.0):
        return lt.Bag(
            [
                lt.Club(
                    label=LABELS[i], loft_deg=LOFT_DEG[i], length_in=LENGTH_IN[i], lie_deg=LIE_DEG[i],
                    head="forged", bend_limit_deg=limit,
                    gauge_lie_deg=LIE_DEG[i] + self.club_part[i] if gauge else None,
                )
                for i in range(len(LABELS))
            ]
        )  # fmt: skip

    def hit(self, clubs, rng, name=0, first=0, shaft_lean=SHAFT_LEAN):
        """Return a reading for each position in `clubs`, in that order; `first` counts the balls before them."""
        world, clubs = self.world, np.asarray(clubs)
        size, z = len(clubs), lambda: rng.standard_normal(len(clubs))
        static = LOFT_DEG[clubs]
        off = np.where(rng.random(size) < self.bad_share, rng.normal(0, 4.7, size), 0.0)
        lie = self.truth[clubs] + off + rng.standard_t(5, size) * self.shot_sd / np.sqrt(5 / 3)
        if world.kinds:
            other = rng.random(size) < self.kind_share
            lie += world.kinds * (other - self.kind_share)
        if world.runs:
            run = (first + np.arange(size)) // 5
            errors = np.random.default_rng([name, 9]).normal(0, world.runs, run.max() + 1)
            lie += errors[run]
        loft = static - self.shaft - BALL["shaft"] * z()
        heading, path = self.heading + BALL["heading"] * z(), self.path + BALL["path"] * z()
        lean, turn = self.lean + BALL["lean"] * z(), self.turn + BALL["turn"] * z()
        share = np.interp(loft, SHARE_LOFT_DEG, FACE_SHARE) + self.share_z * np.interp(
            loft, SHARE_LOFT_DEG, U_FACE_SHARE
        )
        start = share * heading + (1 - share) * path + self.aim + BALL["start"] * z()
        u_tilt = rng.uniform(0.25, 0.6, size)
        tilt = print_tilt_deg(np.clip(lie, -40, 40), loft, heading, lean, turn) + u_tilt * z()
        session = self.told
        values = {
            "tilt": np.clip(tilt, -50, 50),
            "loft": static - shaft_lean,
            "start": start if world.net else np.full(size, np.nan),
            "path": np.full(size, session.path_deg[0]),
            "lean": np.full(size, session.lean_deg[0]),
            "turn": np.full(size, session.turn_deg[0]),
        }
        return readings([LABELS[i] for i in clubs], values, u_tilt * world.print_u, session, name, first)


def read(tilt, loft, start, path, lean, turn, heading=0.0):
    """A print's lie as the kit reads it: the heading from the start, or as given where nobody saw it."""
    share = np.interp(loft, SHARE_LOFT_DEG, FACE_SHARE)
    heading = np.where(np.isnan(start), heading, (start - (1 - share) * path) / share)
    return lie_from_tilt_deg(tilt, loft, heading, lean, turn)


def readings(clubs, values, u_tilt, session, name=0, first=0):
    """Return a table of readings with sensitivities (central differences of `read`), the ball's own and the whole
    uncertainty.
    """
    base = read(**values)

    def slope(**step):
        ((key, width),) = step.items()
        up, down = dict(values), dict(values)
        if key == "heading":
            up[key], down[key] = width, -width
        else:
            up[key], down[key] = values[key] + width, values[key] - width
        return (read(**up) - read(**down)) / (2 * width)

    s = {name: slope(**{name: 0.01}) for name in ("tilt", "loft", "path", "lean", "turn", "heading")}
    s["start"] = np.where(np.isnan(values["start"]), 0.0, slope(start=0.01))
    known = ~np.isnan(values["start"])
    share = np.interp(values["loft"], SHARE_LOFT_DEG, FACE_SHARE)
    u_share = np.interp(values["loft"], SHARE_LOFT_DEG, U_FACE_SHARE)
    heading = np.where(known, (values["start"] - (1 - share) * values["path"]) / share, 0.0)
    s["share"] = np.where(known, s["start"] * (values["path"] - heading), 0.0)
    own = [("tilt", u_tilt), ("start", 0.5), ("path", 1.0), ("lean", 0.35), ("turn", 0.35), ("share", u_share)]
    own.append(("heading", 2.0))
    own2 = sum((s[key] * u) ** 2 for key, u in own)
    shared2 = sum(
        (s[key] * sd) ** 2 for key, sd in zip(("path", "lean", "turn", "start", "loft", "heading"), session.sds)
    )
    return pd.DataFrame(
        {
            "golfer": name, "club": clubs, "lie_error_deg": np.clip(base, -44, 44),
            "u_lie_error_deg": np.sqrt(own2 + shared2),
            "u_own_deg": np.sqrt(own2), "heading_known": known, "shot": first + 1 + np.arange(len(clubs)),
            "s_path": s["path"], "s_lean": s["lean"], "s_turn": s["turn"], "s_aim": s["start"], "s_loft": s["loft"],
            "s_heading": s["heading"],
        }
    )  # fmt: skip


def draw(world, rng):
    """Return a golfer of a world."""
    count = len(LABELS)
    club_part = rng.normal(0, world.club_sd, count)
    odd = int(rng.integers(count))
    habit = rng.normal(0, world.habit_sd, count)
    truth = rng.normal(0, world.offset_sd) + rng.normal(0, world.slope_sd) * (LENGTH_IN - 37.0) + club_part + habit
    if world.odd:
        step = world.odd * rng.choice([-1, 1])
        truth[odd] += step - club_part[odd] - habit[odd]
        club_part[odd] = step
    if world.level:
        truth, club_part = np.zeros(count), np.zeros(count)
    mean, sd = world.shaft
    shaft = rng.uniform(0, 8) if sd < 0 else rng.normal(mean, sd)
    path = rng.normal(0, world.path_sd) if world.path_at is None else world.path_at
    lean, turn, aim = rng.normal(0, world.lean_sd), rng.normal(0, world.turn_sd), rng.normal(0, world.aim_sd)
    told = {}
    if world.path_known:
        told["path_deg"] = (path + rng.normal(0, 1.0), 1.0)
    if world.set_known:
        told |= {"lean_deg": (lean + rng.normal(0, 0.3), 0.3), "turn_deg": (turn + rng.normal(0, 0.3), 0.3)}
    return Swinger(
        world, truth, club_part, odd, rng.uniform(*world.shot_sd), rng.uniform(*world.bad_share), path,
        rng.normal(0, 1.5), shaft, lean, turn, aim,
        rng.standard_normal(), rng.uniform(0.3, 0.7), lt.lie.SessionUnknowns(**told),
    )  # fmt: skip


def play(world, golfers, balls, seed, shaft_lean=SHAFT_LEAN):
    """Return `golfers` golfers, and their readings of `balls` balls with each club, in random order or club by club."""
    rng = np.random.default_rng(seed)
    drawn = [draw(world, rng) for _ in range(golfers)]
    rows = []
    for number, golfer in enumerate(drawn):
        order = np.repeat(rng.permutation(len(LABELS)), balls)
        rows.append(golfer.hit(order if world.by_club else rng.permutation(order), rng, number, shaft_lean=shaft_lean))
    return drawn, pd.concat(rows, ignore_index=True)
