"""Estimates, limits of the heads and the golfer's miss -> for each club a bend, a change of delivery or nothing, with
the reason in words."""

import math
from collections.abc import Mapping
from statistics import NormalDist
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from ..base.checks import check
from ..base.club import Bag
from ..base.errors import InputError
from ..lie.bagfit import SLICES, BagFit, bend_room, whole_step_bend
from ..lie.hands import handle_change_mm, length_change_in
from ..lie.layout import usual_length_in
from ..words.plans import (
    BEND,
    CHECKS,
    FEEDS_FEARED,
    FIND_OUT,
    HANDS,
    LEAVE,
    LEVEL,
    MISS_FIRST,
    MORE_BALLS,
    NOT_SURE,
    OTHER_WAY,
    PART,
    TOO_LITTLE,
    instead_words,
    reason_words,
)

CAUTION = (
    "Bending a head can crack or ruin it, or hurt somebody: leave it to a qualified club technician with the right "
    "bench and "
    "eye protection, keep to the maker's limit for this very head, and measure again after every bend."
)
HEAD_CAUTION = {
    "forged": "",
    "cast": "Cast heads crack without warning: small steps only, by somebody who bends this kind of head often.",
    "not bendable": "This head must not be bent.",
    None: "Nobody has said how this head is made: it is treated as cast until a technician vouches for it.",
}

LIE_MAX_DEG = 80.0  # The Equipment Rules, Part 2, 1d (from memory): the shaft at least 10° from upright
USUAL_LIE_DEG = 62.5  # of a mid iron, where the lie is not known: common practice, no source
U_BEND_DEG = 0.2  # standard uncertainty of a bend: benches read to 0.25° to 0.5°; common practice, no source
LENGTH_CHANGE_MAX_IN = 1.0  # past this, length alone is no answer: common practice, no source
NEIGHBOUR_STEP_DEG = (0.0, 1.5)  # lie a club gains on its longer neighbour, least and most: common practice, no source

# What a degree of lie moves the landing at most (score lines aimed as before), in metres at a loft: this kit's own
# flight, for a medium golfer.
_MOVE_LOFT_DEG, _MOVE_M_PER_DEG = (34.0, 58.0), (2.0, 1.0)


def plan_bends(
    fit: BagFit,
    bag: Bag,
    *,
    done_deg: Mapping[str, float] | None = None,
    step_deg: float = 0.25,
    cap_deg: float | None = None,
    misses: Mapping[str, Any] | None = None,
    bend_uncertainty_deg: float = U_BEND_DEG,
    sure: float = 0.8,
    worth_deg: float = 0.25,
    feared_weight: float = 3.0,
) -> pd.DataFrame:
    """Decide club by club.

    Parameters
    ----------
    fit : BagFit
    bag : Bag
        The clubs as they are now, with their limits; bends done before count towards limit and cap.
    done_deg : mapping of str to float, optional
        By label: bends done since the balls of the fit were hit, upright positive, in degrees. What they did is not
        asked for again.
    step_deg : float
        Smallest step of the bench, in degrees.
    cap_deg : float, optional
        The golfer's own cap on the total change from the maker's figure, either way, in degrees.
    misses : DataFrame, optional
        Where shots with a club end, a row a club: `club`, `mean_left_m`, `sd_left_m` (left of the target, whichever
        hand the golfer plays), `feared` ("left", "right" or empty: the side that costs more), and if known
        `left_m_per_deg` (how far a degree of upright bend moves this golfer's shots to the left; negative for
        left-handers).
    bend_uncertainty_deg : float
        Standard uncertainty of a bend, in degrees. No bend smaller than this is asked for.
    sure : float
        A bend must help with at least this probability,
    worth_deg : float
        and bring the club closer to level by at least this much on average, in degrees.
    feared_weight : float
        How many times more a miss on the feared side costs. A bend that raises the expected squared miss, so weighted,
        is advised against.

    Returns
    -------
    DataFrame
        A row a club: `club`, `outcome` (a code of `linetilt.words.plans.OUTCOMES`), `because` (a code, for clubs that
        are left alone or whose miss comes first), `bend_deg` (upright positive), `wanted_deg` (without limits),
        `done_deg`,
        `lie_error_deg`, `low_deg` and `high_deg` (now, with the bends done; 95 %), `limit` that bound it ("head",
        "cap", "rules" or ""), `limit_deg`, `used_deg` (how much of it is used up), `helps` (probability that the bend
        helps),
        `within_one_after`, `hands_lower_mm` and `longer_in` (the other answer to the same reading: how far to lower the
        hands, or how much longer the club), `alternative` (the same in words), `lie_now_deg`, `lie_after_deg`,
        `reason`, `caution`. `attrs["caution"]` holds for every bend; `attrs["set_notes"]` are sentences on the steps
        between clubs and on single clubs that stand apart.

    Raises
    ------
    InputError
        When a choice is out of range, or `misses` names an unknown club, side or number.
    """
    check("step_deg", step_deg)
    check("bend_uncertainty_deg", bend_uncertainty_deg)
    check("sure", sure)
    check("worth_deg", worth_deg)
    check("feared_weight", feared_weight)
    if cap_deg is not None:
        cap_deg = check("cap_deg", cap_deg)
    misses = _check_misses(misses, bag)
    rules = _Rules(step_deg, cap_deg, bend_uncertainty_deg, sure, worth_deg, feared_weight)
    done = {label: float((done_deg or {}).get(label, 0.0)) for label in fit.bag.labels}
    plan = pd.DataFrame([_decide(fit, bag[label], done[label], misses.get(label), rules) for label in fit.bag.labels])
    moved = plan["bend_deg"] + plan["done_deg"]
    plan["within_one_after"] = fit.probability_within(1.0, moved, bend_uncertainty_deg).to_numpy()
    plan.attrs["caution"] = CAUTION
    plan.attrs["set_notes"] = _set_notes(fit, bag, plan)
    return plan


class _Rules(NamedTuple):
    step_deg: float
    cap_deg: float | None
    bend_uncertainty_deg: float
    sure: float
    worth_deg: float
    feared_weight: float


def _decide(fit, club, done, miss, rules):
    """Return one row of the plan."""
    label, samples, settled = club.label, fit.samples_deg(club.label), fit.settled[club.label]
    if done:
        samples = np.sort((samples[:, None] + done + rules.bend_uncertainty_deg * SLICES).ravel())
    mean = float(samples.mean())
    room, limit = _room(club, rules.cap_deg)
    wanted, bend = (whole_step_bend(mean, reach, rules.step_deg) for reach in ((math.inf, math.inf), room))
    helps, worthwhile = _helps(samples, wanted, rules)
    limited = bend != wanted
    if limited:
        bend_helps, bend_is_worthwhile = _helps(samples, bend, rules)
        bend = bend if bend_is_worthwhile else 0.0
    against = _veto(club, bend, miss, rules.feared_weight) if bend and miss else ""

    outcome, because, step = BEND, "", fit.next_step()
    open_question = not settled and step.code != "stop" and (worthwhile or not _surely_small(samples, fit.stop))
    if open_question and step.code in CHECKS and not step.balls_help:
        outcome, because = FIND_OUT, step.code
    elif open_question:
        outcome = MORE_BALLS
    elif not worthwhile:
        outcome = LEAVE
        because = LEVEL if abs(mean) < 0.5 else TOO_LITTLE if helps >= rules.sure else NOT_SURE
    elif against:
        outcome, because = MISS_FIRST, against
    elif bend == 0:
        outcome = HANDS
    elif limited:
        outcome, helps = PART, bend_helps
    bend = bend if outcome in (BEND, PART) else 0.0
    lie_now = _lie_now(club)
    hands_mm, longer_in = _other_answer(club, -mean - bend * limited, lie_now)
    low, high = np.interp([0.025, 0.975], (np.arange(len(samples)) + 0.5) / len(samples), samples)
    row = {
        "club": label,
        "outcome": outcome,
        "because": because,
        "bend_deg": bend,
        "wanted_deg": wanted,
        "done_deg": done,
        "lie_error_deg": mean,
        "low_deg": float(low),
        "high_deg": float(high),
        "limit": limit if outcome in (PART, HANDS) else "",
        "limit_deg": rules.cap_deg if limit == "cap" else club.limit_deg,
        "used_deg": club.total_bent_deg * math.copysign(1, wanted),
        "helps": helps,
        "within_one_after": math.nan,
        "hands_lower_mm": hands_mm,
        "longer_in": longer_in,
        "alternative": instead_words(hands_mm, longer_in, LENGTH_CHANGE_MAX_IN),
        "lie_now_deg": lie_now,
        "lie_after_deg": lie_now + bend,
    }
    return row | {
        "reason": reason_words(row, club.handed, LIE_MAX_DEG),
        "caution": HEAD_CAUTION[club.head] if bend or wanted else "",
    }


def _room(club, cap_deg):
    """Return the room (flatter, upright) in degrees, and what binds it."""
    down, up = bend_room(club, cap_deg)
    limit = "cap" if cap_deg is not None and cap_deg < club.limit_deg else "head"
    to_rules = max(0.0, LIE_MAX_DEG - _lie_now(club)) if not math.isnan(_lie_now(club)) else math.inf
    return ((down, to_rules), "rules") if to_rules < up else ((down, up), limit)


def _lie_now(club):
    if club.gauge_lie_deg is not None:
        return club.gauge_lie_deg
    return math.nan if club.lie_deg is None else club.lie_deg + club.bent_deg


def _helps(samples, bend, rules):
    """Return the probability that a bend brings the club closer to level, and whether it is sure and worth enough."""
    if bend == 0 or abs(bend) < rules.bend_uncertainty_deg:
        return 0.0, False
    after = np.abs(samples[:, None] + bend + rules.bend_uncertainty_deg * SLICES)
    before = np.abs(samples)[:, None]
    helps = float((after < before).mean())
    return helps, bool(helps >= rules.sure and (before - after).mean() >= rules.worth_deg)


def _surely_small(samples, stop):
    return bool((np.abs(samples) <= stop.tolerance_deg).mean() >= stop.probability)


def _veto(club, bend, miss, feared_weight):
    """Return the code of why a bend is advised against because of the golfer's miss, or nothing."""
    move = miss.get("left_m_per_deg", math.nan)
    if math.isnan(move):
        move = float(np.interp(club.loft_deg, _MOVE_LOFT_DEG, _MOVE_M_PER_DEG)) * (1 if club.handed == "right" else -1)
    shift = bend * move
    weights = [feared_weight if miss["feared"] == side else 1.0 for side in ("left", "right")]
    before, after = (_miss_cost(miss["mean_left_m"] + moved, miss["sd_left_m"], *weights) for moved in (0.0, shift))
    if after <= before:
        return ""
    return FEEDS_FEARED if miss["feared"] == ("left" if shift > 0 else "right") else OTHER_WAY


def _miss_cost(mean_left, sd, left_weight, right_weight):
    """Expected squared miss, each side weighted, of a normal spread of shots."""

    def half(mean):  # E[x²; x > 0]
        z = mean / sd
        return (mean**2 + sd**2) * NormalDist().cdf(z) + mean * sd * NormalDist().pdf(z)

    return left_weight * half(mean_left) + right_weight * half(-mean_left)


def _other_answer(club, change_deg, lie_now):
    """Return hands to lower in mm and length to add in inches for a change of lie error."""
    if abs(change_deg) < 0.1:
        return 0.0, 0.0
    change_deg = max(-10.0, min(10.0, change_deg))  # past that no hands and no length will do
    lie = USUAL_LIE_DEG if math.isnan(lie_now) else lie_now
    length = usual_length_in(club)
    return handle_change_mm(change_deg, length, lie), length_change_in(change_deg, length, lie)


def _set_notes(fit, bag, plan):
    """Return sentences on the steps between neighbours and on clubs that stand apart."""
    notes = []
    known = plan[plan["lie_now_deg"].notna()]
    known = known.assign(length=[usual_length_in(bag[label]) for label in known["club"]]).sort_values(
        "length", ascending=False, kind="stable"
    )
    low, high = NEIGHBOUR_STEP_DEG
    for (_, longer), (_, shorter) in zip(known.iloc[:-1].iterrows(), known.iloc[1:].iterrows()):
        before = shorter["lie_now_deg"] - longer["lie_now_deg"]
        after = shorter["lie_after_deg"] - longer["lie_after_deg"]
        names = f"from the {longer['club']} to the {shorter['club']}"
        if not low - 0.25 <= after <= high + 0.25 and abs(after - before) > 1e-9:
            what = f"falls by {-after:.2g}°" if after < 0 else f"rises by {after:.2g}°"
            notes.append(
                f"After these bends the lie {what} {names} ({before:+.2g}° now): ask whether both clubs should "
                "change together."
            )
    table = fit.table.set_index("club")
    for label in plan["club"]:
        gauge = table.loc[label, "gauge_deg"]
        if abs(gauge) >= 0.5:  # NaN where no gauge was used
            notes.append(
                f"The {label} itself is {abs(gauge):.2g}° {'upright' if gauge > 0 else 'flat'} of the maker's "
                "figure: that part is the club, not the golfer."
            )
    return notes + [note for note in fit.warnings if "stands apart" in note]


def _check_misses(misses, bag):
    if misses is None:
        return {}
    needed = ("club", "mean_left_m", "sd_left_m", "feared")
    if not isinstance(misses, pd.DataFrame) or any(name not in misses for name in needed):
        raise InputError(
            f"misses is no table of misses; expected a DataFrame with the columns {', '.join(needed)}, a row a club"
        )
    checked = {}
    for row in misses.to_dict("records"):
        label = bag[row["club"]].label
        feared = row["feared"] if isinstance(row["feared"], str) else ""
        if feared not in ("left", "right", ""):
            raise InputError(f'misses: feared of club {label} is {feared!r}; expected "left", "right" or nothing')
        checked[label] = {
            "mean_left_m": check("mean_left_m", row["mean_left_m"], called=f"misses: mean_left_m of club {label}"),
            "sd_left_m": check("sd_left_m", row["sd_left_m"], called=f"misses: sd_left_m of club {label}"),
            "left_m_per_deg": float(row.get("left_m_per_deg", math.nan)),
            "feared": feared,
        }
    return checked
