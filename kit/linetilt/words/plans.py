"""What a line of a plan says: its outcome in words, the sentence behind it, and the other answer to the same
reading."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from .terms import bend_words, sits, turn


@dataclass(frozen=True)
class Outcome:
    """What to do with a club: its code, as plans keep it, and its words."""

    code: str
    words: str


BEND, PART, HANDS, LEAVE = "bend", "part", "hands", "leave"
MORE_BALLS, FIND_OUT, MISS_FIRST = "more_balls", "find_out", "miss_first"
OUTCOMES = {
    outcome.code: outcome
    for outcome in (
        Outcome(BEND, "bend"),
        Outcome(PART, "part of the bend"),
        Outcome(HANDS, "change delivery"),
        Outcome(LEAVE, "leave alone"),
        Outcome(MORE_BALLS, "hit more balls"),
        Outcome(FIND_OUT, "find out more first"),
        Outcome(MISS_FIRST, "look at the miss first"),
    )
}

# What balls cannot tell and something else would: codes of `NextStep`, and what to do.
CHECKS = {
    "check_path": "say or measure the golfer's path",
    "photo_lean": "check the ball's line by photo with a plumb cord",
    "photo_turn": "check from above that the ball's line points down the target line",
    "check_aim": "check aim dot and distance of the net",
    "check_shaft": "say or measure how far the shaft leans at impact",
    "spot_ball": "hit balls into a net with an aim dot",
    "gauge": "put the clubs on the gauge",
}

# Why a club is left, or its miss looked at first.
LEVEL, TOO_LITTLE, NOT_SURE, FEEDS_FEARED, OTHER_WAY = "level", "too_little", "not_sure", "feeds_feared", "other_way"


def advice_words(line: Mapping[str, Any]) -> str:
    """Return the outcome of a line of a plan in words, with its bend: "bend 1.75° upright", "leave alone"."""
    words = OUTCOMES[line["outcome"]].words if line["outcome"] in OUTCOMES else str(line["outcome"])
    if not line["bend_deg"]:
        return words
    return f"bend {bend_words(line['bend_deg'])}" + (" (part)" if line["outcome"] == PART else "")


def reason_words(line: Mapping[str, Any], handed: str, lie_most_deg: float) -> str:
    """Return why a club gets its outcome, as a sentence.

    Parameters
    ----------
    line : mapping
        club, outcome, because, bend_deg, wanted_deg, done_deg, lie_error_deg, low_deg, high_deg, helps, limit,
        limit_deg and used_deg of a line of a plan.
    handed : {"right", "left"}
    lie_most_deg : float
        The most upright lie that the rules of golf allow, in degrees.
    """
    lie, bend, club = line["lie_error_deg"], line["bend_deg"], line["club"]
    finding = f"The {club} sits {sits(lie)}"
    if line["done_deg"]:
        finding = f"The {club}, bent {bend_words(line['done_deg'])} since these balls, should sit {sits(lie)} now"
    side = "left" if (lie > 0) == (handed == "right") else "right"
    sends = f", which sends the ball {side}"
    outcome = line["outcome"]
    if outcome == MORE_BALLS:
        span = f"{sits(line['low_deg'])} to {sits(line['high_deg'])}"
        looks = finding.replace(" sits ", " looks ", 1)
        return f"{looks}, but may be anywhere from {span}: hit more balls before anybody bends it."
    if outcome == FIND_OUT:
        span = f"{sits(line['low_deg'])} to {sits(line['high_deg'])}"
        looks = finding.replace(" sits ", " looks ", 1)
        return (
            f"{looks}, but may be anywhere from {span}, and more balls cannot tell: {CHECKS[line['because']]} before "
            "anybody bends it."
        )
    if outcome == MISS_FIRST:
        return _miss_words(line, handed)
    if outcome == LEAVE and line["because"] == LEVEL:
        if line["done_deg"]:
            return f"{finding}: leave it alone."
        return f"The {club} sits within {max(0.1, abs(lie)):.1f}° of level: leave it alone."
    if outcome == LEAVE:
        too_little = line["because"] == TOO_LITTLE
        doubt = "would gain too little" if too_little else f"is not sure enough to help ({line['helps']:.0%})"
        return f"{finding}, and a bend {doubt}: leave it alone."
    if outcome == HANDS:
        return f"{finding}{sends}, but {_kept_from(line, lie_most_deg)}: work on the hands."
    bend_it = f"bend it {bend_words(bend)}"
    if outcome == PART:
        kept = _kept_from(line, lie_most_deg)
        return f"{finding}{sends}: {bend_it} and no more, since {kept}; the rest is for the hands."
    return f"{finding}{sends}: {bend_it}."


def _kept_from(line: Mapping[str, Any], lie_most_deg: float) -> str:
    """Say what keeps a club from the bend that it asks for."""
    if line["limit"] == "rules":
        return f"the rules of golf allow no lie above {lie_most_deg:g}°"
    if line["limit"] == "head" and line["limit_deg"] == 0:
        return "its head must not be bent"
    way, back = turn(line["wanted_deg"]), turn(-line["wanted_deg"])
    whose = "its head allows" if line["limit"] == "head" else "the golfer's cap is"
    words = f"{whose} {line['limit_deg']:g}° {way} of the maker's figure"
    used = line["used_deg"]
    if abs(used) < 0.05:
        return words
    if used > 0:
        return f"{words}, of which {used:.1f}° is used up"
    return f"{words} and it starts {-used:.1f}° {back} of that figure"


def _miss_words(line: Mapping[str, Any], handed: str) -> str:
    """Say why a bend is advised against because of where the golfer's shots miss."""
    upright = line["wanted_deg"] > 0
    to = "left" if upright == (handed == "right") else "right"
    kind = "An upright bend" if upright else "A flat bend"
    if line["because"] == FEEDS_FEARED:
        return f"{kind} moves shots {to}, and {to} is the miss you fear: work on the hands first."
    club = line["club"]
    return f"{kind} moves shots {to}, and with the {club} they do not miss the other way: look at the swing first."


def instead_words(hands_mm: float, longer_in: float, most_in: float) -> str:
    """Return the other answer to a reading: the hands lower or higher, or the club longer or shorter."""
    if not hands_mm and not longer_in:
        return "nothing to change"
    words = f"hands {abs(hands_mm):.0f} mm {'lower' if hands_mm > 0 else 'higher'}"
    if abs(longer_in) < 0.05:
        return words
    if abs(longer_in) <= most_in:
        way = "longer" if longer_in > 0 else "shorter"
        return f"{words}, or the club {abs(longer_in):.1f} in {way} with the hands where they are"
    return f"{words}; length alone cannot do it"


_FACTS = {  # how a fact that a plan stands on is called
    "net_distance_mm": "the net's distance",
    "setup_tilt_deg": "the lean of the ball's line",
    "u_setup_tilt_deg": "how sure that lean is",
    "path_deg": "the golfer's path",
    "u_path_deg": "how sure that path is",
    "line_turn_deg": "the turn of the ball's line",
    "u_line_turn_deg": "how sure that turn is",
    "shaft_lean_deg": "the lean of the shaft",
    "u_shaft_lean_deg": "how sure that lean of the shaft is",
    "step_deg": "the bench's step",
    "cap_deg": "the golfer's cap",
    "misses": "where shots miss",
    "loft_deg": "loft",
    "lie_deg": "maker's lie",
    "gauge_lie_deg": "lie by the gauge",
    "length_in": "length",
    "head": "kind of head",
    "bend_limit_deg": "limit of the bend",
    "bent_deg": "bends done before",
    "handed": "hand",
    "score_line_length_mm": "score-line length",
    "from_set": "whether it is of the set",
    "label": "name",
}


def changed_words(what: str, before: Any, after: Any) -> str:
    """Return one change since a plan was handed out, as a clause.

    Parameters
    ----------
    what : str
        "more_balls" (before: the club, after: how many), "gone_ball" and "ball" (after: its number), "club" (before:
        which, after: whether it is there), "done" (before: the club, after: the bend), "kit", or the name of a fact.
    before, after
        As they were and are.
    """
    if what == "more_balls":
        return f"{after} more {'ball' if after == 1 else 'balls'} with the {before}"
    if what == "gone_ball":
        return f"ball {after} no longer counts"
    if what == "ball":
        return f"ball {after} was corrected"
    if what == "club":
        return f"the {before} {'came into' if after else 'left'} the bag"
    if what == "done":
        return f"the {before} was bent {bend_words(after)}"
    if what == "kit":
        return f"made by version {before} of the kit, this is {after}"
    name = _FACTS.get(what, what)
    if isinstance(before, dict) or isinstance(after, dict | bool):
        return f"{name} changed"
    shown = [
        "nothing" if value is None else f"{value:g}" if isinstance(value, float) else str(value)
        for value in (before, after)
    ]
    return f"{name} was {shown[0]}, is {shown[1]}"
