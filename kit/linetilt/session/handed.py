"""A plan that was handed out is a fact: what it said, what it stood on, and what has changed since."""

import hashlib
import json
from dataclasses import asdict, dataclass
from typing import Any

import pandas as pd

from ..book.book import SessionBook
from ..book.schema import LENGTH_COLUMNS, LIE_COLUMNS, MARK_COLUMNS, SESSION_SETTINGS, START_COLUMNS, UNITS
from ..words.plans import advice_words, changed_words
from .middle import session_bag, session_plan, session_row, session_rules, session_shots, standing

_BALL_FACTS = ("club", *MARK_COLUMNS, *LENGTH_COLUMNS, *LIE_COLUMNS, *START_COLUMNS)


@dataclass(frozen=True, eq=False)
class HandedPlan:
    """The plan of a session that was handed out last.

    Attributes
    ----------
    plan_id : int
    day : str
        When it was handed out (year-month-day).
    lines : DataFrame
        What it said, as from `plan_bends`.
    changes : tuple of str
        What it stood on and what is no longer so, a clause each; empty while nothing has changed but what it asked for.
    new : tuple of str
        Where the plan of now says something else, a sentence a club.
    """

    plan_id: int
    day: str
    lines: pd.DataFrame
    changes: tuple[str, ...]
    new: tuple[str, ...]

    @property
    def stands(self) -> bool:
        """True while the plan of now asks for the same with every club."""
        return not self.new

    @property
    def sentences(self) -> list[str]:
        """What a page says about it: nothing while nothing has changed."""
        if not self.changes and self.stands:
            return []
        if not self.changes:
            return [f"The plan handed out on {self.day} says something else: {'; '.join(self.new)}."]
        head = f"The plan handed out on {self.day} stood on other facts: {'; '.join(self.changes)}."
        if self.stands:
            return [f"{head} It still says the same."]
        return [f"{head} What it said and what holds now: {'; '.join(self.new)}."]


def hand_out(book: SessionBook, session: int) -> int:
    """Keep the plan of now as the one that was handed out, with what it stands on, and return its number.

    Handing out the same plan on the same facts again keeps nothing new.
    """
    from .. import __version__

    plan, basis = session_plan(book, session), _basis(book, session)
    last = book.last_plan(session)
    if last is not None and last["basis"] == json.loads(json.dumps(basis)):
        return int(last["plan_id"])
    return book.add_plan(session, plan, basis=basis, kit=__version__)


def handed_plan(book: SessionBook, session: int) -> HandedPlan | None:
    """Return the plan of a session that was handed out last, with what has changed since; None where there is none."""
    return book.derive(("handed", session), lambda: _handed(book, session))


def _handed(book: SessionBook, session: int) -> HandedPlan | None:
    last = book.last_plan(session)
    if last is None:
        return None
    now, lines = standing(book, session), last["lines"]
    asked = dict(zip(lines["club"], lines["bend_deg"].fillna(0.0))) if "bend_deg" in lines else {}
    bent = {label: bend for label, bend in now.done_deg.items() if abs(bend - asked.get(label, 0.0)) < 1e-6}
    changes = _changes(last["basis"], _basis(book, session), bent) if last["basis"] else ()
    return HandedPlan(int(last["plan_id"]), last["at"][:10], lines, changes, _new_lines(lines, now.plan, bent))


def _basis(book: SessionBook, session: int) -> dict[str, Any]:
    """Return all that a session's plan stands on, as JSON holds it."""
    from .. import __version__

    shots = session_shots(book, session)
    shots = shots[shots["counted"]]
    balls = {
        str(row["shot_id"]): [
            int(row["number"]),
            row["club"],
            hashlib.sha256(repr([row[name] for name in _BALL_FACTS]).encode()).hexdigest()[:12],
        ]
        for row in shots.to_dict("records")
    }
    clubs = {club.label: asdict(club) for club in session_bag(book, session)}
    row = session_row(book, session)
    return {
        "balls": balls,
        "clubs": clubs,
        "settings": {
            name: float(row[name]) for name in SESSION_SETTINGS if name not in UNITS and not pd.isna(row[name])
        },
        "rules": session_rules(book, session),
        "done": standing(book, session).done_deg,
        "kit": __version__,
    }


def _changes(then: dict[str, Any], now: dict[str, Any], bent: dict[str, float]) -> tuple[str, ...]:
    """Return what is no longer as it was, a clause each; bends done as the plan asked are no change."""
    said: list[str] = []
    old, new = then["balls"], now["balls"]
    more: dict[str, int] = {}
    for shot in new.keys() - old.keys():
        more[new[shot][1]] = more.get(new[shot][1], 0) + 1
    said += [changed_words("more_balls", club, more[club]) for club in now["clubs"] if club in more]
    gone = sorted(old[shot][0] for shot in old.keys() - new.keys())
    said += [changed_words("gone_ball", None, number) for number in gone]
    said += [changed_words("ball", None, new[shot][0]) for shot in new if shot in old and old[shot] != new[shot]]
    for part in ("settings", "rules"):
        for name in sorted({*then[part], *now[part]}):
            before, after = then[part].get(name), now[part].get(name)
            if before != after:
                said.append(changed_words(name, before, after))
    for club in sorted({*then["clubs"], *now["clubs"]}):
        before, after = then["clubs"].get(club), now["clubs"].get(club)
        if before is None or after is None:
            said.append(changed_words("club", club, after is not None))
            continue
        for name in before:
            if before[name] != after[name]:
                said.append(f"{club}: {changed_words(name, before[name], after[name])}")
    for club in sorted({*then["done"], *now["done"]}):
        bend = now["done"].get(club, 0.0) - then["done"].get(club, 0.0)
        if abs(bend) > 1e-9 and club not in bent:
            said.append(changed_words("done", club, round(bend, 3)))
    if then["kit"] != now["kit"]:
        said.append(changed_words("kit", then["kit"], now["kit"]))
    return tuple(said)


def _new_lines(then: pd.DataFrame, now: pd.DataFrame | None, bent: dict[str, float]) -> tuple[str, ...]:
    """Return what is asked for now in place of what was, a clause a club; a club bent as asked needs no other bend."""
    if now is None or "outcome" not in then:
        return ()
    old = {row["club"]: advice_words(row) for row in then.to_dict("records")}
    said = []
    for row in now.to_dict("records"):
        words = advice_words(row)
        if old.get(row["club"]) != words and (row["club"] not in bent or row["bend_deg"]):
            said.append(f"the {row['club']}: {old.get(row['club'], 'nothing')} then, {words} now")
    return tuple(said)
