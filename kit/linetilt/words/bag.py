"""Where a session stands, in words: what to do next, the bag a row a club, and what the fitter should know."""

import math
from typing import Any

import pandas as pd

from .plans import FIND_OUT, HANDS, LEAVE, MISS_FIRST, MORE_BALLS, advice_words
from .terms import bend_words, counted, listed, mean_strike_words, scatter_words, sits, span_words


def headline(now: Any) -> str:
    """Return what to do next with a session (a `Standing`), in a sentence or two."""
    waits = _waits(now.numbers())
    if now.fit is None:
        return f"No ball counts yet.{waits or ' Hit the 7-iron first, or whichever club the golfer knows best.'}"
    balls = now.numbers()["counted"]
    if now.fit.finished:
        return f"Enough: after {counted(balls, 'ball')} no club needs another one.{waits}"
    step, done = now.fit.next_step(), int(now.fit.settled.sum())
    return f"{step.sentence} {done} of {len(now.bag)} clubs have enough{balls_to_go_words(now.fit)}.{waits}"


def balls_to_go_words(fit: Any) -> str:
    """Return how many more balls a bag takes, as the end of a sentence; nothing where balls alone cannot do it."""
    low, high = fit.balls_to_go()
    if not math.isfinite(low):
        return ""
    if not math.isfinite(high):
        return f"; {low} more balls or many more should settle the rest"
    more = f"{low}" if low == high else f"{low} to {high}"
    return f"; {more} more {'ball' if high == 1 else 'balls'} should settle the rest"


def _waits(numbers: dict[str, int]) -> str:
    look, refused = numbers["to_look_at"], numbers["refused"]
    said = []
    if look:
        said.append(f"{counted(look, 'ball')} {'waits' if look == 1 else 'wait'} to be looked at")
    if refused:
        said.append(f"{counted(refused, 'photo')} could not be read and {'waits' if refused == 1 else 'wait'} for you")
    return f" {' and '.join(said)} in the second notebook." if said else ""


def bag_words(now: Any) -> pd.DataFrame:
    """Return a session's bag in words, a row a club (DataFrame of str).

    Columns: club, balls, sits, range (95 %), strikes, scatter (of the strikes), enough, advice, reason, instead (the
    other answer). How it sits and the range are of the club as it was hit; what to do is of the club as it is now.
    """
    step = None if now.fit is None else now.fit.next_step()
    following = step.club if step is not None and step.code in ("balls", "spot_ball") else None
    rows = []
    for club in now.bag:
        row = {"club": club.label, "balls": balls_words(now.numbers(club.label)), "enough": "no"}
        row |= dict.fromkeys(("sits", "range", "strikes", "scatter", "advice", "reason", "instead"), "")
        if now.fit is not None:
            found, line = (table.set_index("club").loc[club.label] for table in (now.fit.table, now.plan))
            line = line.to_dict() | {"club": club.label}
            row |= {
                "sits": sits(found["lie_error_deg"]),
                "range": span_words(found["low_deg"], found["high_deg"]),
                "strikes": mean_strike_words(found),
                "scatter": scatter_words(found),
                "enough": "yes" if found["settled"] else "hit it next" if club.label == following else "not yet",
                "advice": advice_words(line),
                "reason": line["reason"],
                "instead": "" if line["outcome"] == LEAVE else line["alternative"],
            }
        rows.append(row)
    columns = ["club", "balls", "sits", "range", "strikes", "scatter", "enough", "advice", "reason", "instead"]
    return pd.DataFrame(rows)[columns]


def balls_words(numbers: dict[str, int]) -> str:
    """Return how many balls there are: "5", "3 + 1 set aside + 2 to look at"."""
    more = {
        "set aside": numbers["set_aside"],
        "to look at": numbers["to_look_at"],
        "not read": numbers["refused"],
        "without a lie": numbers["without_lie"],
    }
    return " + ".join([str(numbers["counted"]), *(f"{number} {what}" for what, number in more.items() if number)])


def summary(plan: pd.DataFrame) -> str:
    """Return a plan in one sentence: which clubs ask for what."""
    groups = {
        "wait for what balls cannot tell|waits for what balls cannot tell": plan["outcome"] == FIND_OUT,
        "ask for a bend|asks for a bend": plan["bend_deg"] != 0,
        "need more balls|needs more balls": plan["outcome"] == MORE_BALLS,
        "are for the hands, not the bench|is for the hands, not the bench": plan["outcome"].isin([HANDS, MISS_FIRST]),
        "can stay as they are|can stay as it is": plan["outcome"] == LEAVE,
    }
    said = []
    for words, chosen in groups.items():
        if chosen.any():
            said.append(f"the {listed(plan.loc[chosen, 'club'])} {words.split('|')[int(chosen.sum() == 1)]}")
    text = "; ".join(said)
    return f"{text[:1].upper()}{text[1:]}."


def session_notes(now: Any) -> list[str]:
    """Return sentences on the fit, the set, balls that cannot be used, and bends entered while balls came in."""
    if now.fit is None:
        return []
    notes = [*now.fit.warnings, *(note for note in now.plan.attrs["set_notes"] if note not in now.fit.warnings)]
    bad = now.shots[(now.shots["problem"] != "") & (now.shots["state"] == "counted")]
    for row in bad.to_dict("records"):
        notes.append(f"Ball {row['number']} ({row['club']}) does not count: {row['problem']}.")
    if spots := now.spots_without_a_net:
        notes.append(
            f"{counted(spots, 'ball')} {'has' if spots == 1 else 'have'} a spot on the net, and nobody has said how "
            "far away the net is: enter its distance in the first notebook, and where these balls started is known."
        )
    for label, number in now.late.items():
        notes.append(
            f"{counted(number, 'ball')} with the {label} came in after it was bent "
            f"{bend_words(now.done_deg[label])}, and "
            f"{'is' if number == 1 else 'are'} read as hit before that: begin a retest for balls hit after it."
        )
    return notes
