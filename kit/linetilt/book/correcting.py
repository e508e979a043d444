"""Correcting: what stood there before stays in the history, and can be brought back."""

import json
import sqlite3
from dataclasses import replace
from typing import Any

import pandas as pd

from ..base.errors import InputError
from ..base.states import SET_ASIDE, TAKEN_BACK, check_state, reason_of
from .entering import Entering, measured_row
from .schema import LENGTH_COLUMNS, LIE_COLUMNS, MARK_COLUMNS, START_COLUMNS, check_entry, check_kind, club_of, club_row
from .store import put_sql, reading


class Correcting(Entering):
    """The part of a `SessionBook` that corrects, decides and takes back."""

    def change(self, kind: str, row: int, **values: Any) -> None:
        """Correct an entry; what stood there before stays in `history`.

        Parameters
        ----------
        kind : {"golfer", "bag", "club", "gauge", "session", "shot", "plan", "bend"}
        row : int or sequence of int
            Its id, or those of several entries that get the same values in one edit.
        **values
            Columns to correct, named as in the tables; identifiers, numbers within a session and photos stay.

        Raises
        ------
        InputError
        """
        rows = [row] if isinstance(row, int | str) or not hasattr(row, "__iter__") else list(row)
        rows = [self._need(check_kind(kind), row) for row in rows]
        if not rows:
            raise InputError(f"no {kind} to correct was given; expected at least one")
        old = self._row(kind, rows[0])
        fixed = (
            "id",
            "number",
            "at",
            "key",
            "photo",
            "lines",
            "basis",
            "kit",
            "after_gauge",
            "opened",
            "marks",
            "state",
            "reason",
        )
        free = [name for name in old if name not in fixed and not name.endswith(("_id", "_budget"))]
        if not values:
            raise InputError(
                f"nothing to correct was given; expected at least one of {', '.join(free)}; give it with its right "
                "value"
            )
        for name in values:
            if name not in free:
                raise InputError(f"{name} of a {kind} cannot be corrected; expected some of {', '.join(free)}")
        if kind == "club":
            clubs = [club_row(replace(club_of(self._row(kind, row)), **values)) for row in rows]
            values = {name: clubs[0][name] for name in values}  # only these: another process may be correcting others
        else:
            values = check_entry(values)
        if values.get("retest_of") is not None:
            values["retest_of"] = self._need("session", values["retest_of"])
        self._correct(kind, rows, values)

    def remove_club(self, bag: int, club: str) -> None:
        """Take a club and its gauge readings out of a bag; `undo` brings it back. A club with shots or bends stays.

        Raises
        ------
        InputError
        """
        club_id = self._club_id(bag, club)
        with self._edit("removed", f"club {club} removed"):
            for kind in ("shot", "bend"):
                if self._db.execute(f"SELECT 1 FROM {kind} WHERE club_id = ?", (club_id,)).fetchone():
                    raise InputError(
                        f"club {club!r} has {kind}s in this book and cannot be removed; expected a club without; "
                        "leave it, or correct its name"
                    )
            for (gauge,) in self._db.execute("SELECT id FROM gauge WHERE club_id = ?", (club_id,)).fetchall():
                self._delete("gauge", gauge)
            self._delete("club", club_id)

    def decide(self, shot: int, state: str, reason: str = "", why: str = "") -> None:
        """Say what becomes of a shot.

        Parameters
        ----------
        shot : int
        state, reason : str
            See `linetilt.base.states`.
        why : str
            The fitter's own words, or what a refused photo showed.
        """
        check_state(state, reason)
        values = {"state": state, "reason": reason} | check_entry({"why": why})
        self._correct("shot", [self._need("shot", shot)], values, "decided")

    def set_aside(self, shot: int, why: str) -> None:
        """Leave a shot out of the pooling; `why` is a reason's code, its words, or words of one's own. `decide` takes
        it in again."""
        self.decide(shot, SET_ASIDE, *reason_of(why))

    def measure_again(
        self,
        shot: int,
        *,
        mark: Any = None,
        lie: Any = None,
        start: Any = None,
        net: Any = None,
        club: str | None = None,
        decide: tuple[str, str, str] | None = None,
    ) -> None:
        """Put new facts (see `add_shots`) in place of a shot's old ones, which stay in `history`.

        Parameters
        ----------
        shot : int
        mark, lie : optional
            A new mark does away with a lie judged without one.
        start : optional
            Start direction; (None, None): nobody saw it. It does away with a spot on the net.
        net : (float, float or None), optional
            Spot on the net and its distance, in mm, as `net_left_mm` and `net_distance_mm`; does away with a start in
            degrees.
        club : str, optional
            Label of the club that it was hit with after all.
        decide : (str, str, str), optional
            State, reason and why, set in the same entry.
        """
        shot = self._need("shot", shot)
        new, values = measured_row(mark, lie, start), {}
        mark_names = (*MARK_COLUMNS, *LENGTH_COLUMNS, "remarks", "mark_budget", "marks", "kit")
        if mark is not None:
            values |= {name: new[name] for name in mark_names}
        if mark is not None or lie is not None:
            values |= {name: new[name] for name in (*LIE_COLUMNS, "heading_known")}
        if start is not None or net is not None:
            values |= dict.fromkeys(START_COLUMNS)
        if start is not None:
            values |= {name: new[name] for name in ("start_deg", "u_start_deg")}
        if net is not None:
            values |= check_entry(dict(zip(("net_left_mm", "net_distance_mm"), net)))
        if club is not None:
            session = self._row("shot", shot)["session_id"]
            values["club_id"] = self._club_id(self._row("session", session)["bag_id"], club)
        if decide is not None:
            check_state(*decide[:2])
            values |= dict(zip(("state", "reason", "why"), decide))
        if not values:
            raise InputError(
                "nothing was measured; expected a mark, a lie, a start direction, a spot on the net or a club; "
                "give one of them"
            )
        self._correct("shot", [shot], values)

    def undo(self, edit: int | None = None) -> str:
        """Take back the last edit of the book that is not yet taken back, whoever made it, and return what it was.

        With `edit` (an edit_id of `history`) that one, unless it is taken back already or a later one touched the same
        entries. A shot with a photo is never taken out of the book: taking back its entry sets it aside.
        """
        last = """SELECT id, what FROM edit e WHERE undoes IS NULL AND id < :undo
            AND NOT EXISTS (SELECT 1 FROM edit WHERE undoes = e.id)
            AND (:edit IS NULL OR (id = :edit AND NOT EXISTS (
                SELECT 1 FROM change mine JOIN change later
                    ON later.kind = mine.kind AND later.row_id = mine.row_id AND later.edit_id > mine.edit_id
                JOIN edit by ON by.id = later.edit_id
                WHERE mine.edit_id = :edit AND by.undoes IS NULL
                    AND NOT EXISTS (SELECT 1 FROM edit WHERE undoes = by.id))))
            ORDER BY id DESC LIMIT 1"""
        with self._lock, self._sentences(), self._edit("undone", "undo") as undo:
            found = self._db.execute(last, {"edit": edit, "undo": undo}).fetchone()
            if not found and edit is None:
                raise InputError("there is nothing to undo in this book; expected an entry that is not taken back yet")
            if not found:
                raise InputError(
                    f"edit {edit} cannot be taken back: there is none, it was, or what it touched was changed since; "
                    "expected one of history(); take back the later ones first"
                )
            undone, what = found
            self._db.execute("UPDATE edit SET undoes = ?, what = ? WHERE id = ?", (undone, f"undone: {what}", undo))
            changes = "SELECT kind, row_id, before FROM change WHERE edit_id = ? ORDER BY id DESC"
            try:
                for kind, row, before in self._db.execute(changes, (undone,)).fetchall():
                    self._restore(kind, row, before)
            except sqlite3.IntegrityError as error:
                raise InputError(
                    f"\u201c{what}\u201d cannot be taken back: other entries stand on it, such as shots whose photos "
                    "stay in the "
                    "book; expected an entry that nothing else needs; set the shots aside instead"
                ) from error
            return what

    def _restore(self, kind, row, before):
        if before is not None:
            self._record(kind, row)
            self._db.execute(put_sql(kind, before), tuple(json.loads(before).values()))
        elif kind == "shot" and self._row(kind, row)["photo"]:
            self._update(kind, row, {"state": SET_ASIDE, "reason": TAKEN_BACK, "why": ""})
        else:
            self._delete(kind, row)

    @reading
    def history(self, kind: str | None = None, row: int | None = None) -> pd.DataFrame:
        """Return what happened, oldest first: all edits of the book, or the revisions of one entry.

        Returns
        -------
        DataFrame
            edit_id, at, what, undoes, action ("added", "corrected", "decided", "removed", "undone"), screen and
            session_id (where it was done, see `acting`), taken_back; for one entry edit_id, at, what, undoes and its
            columns as they stood after that edit (empty: taken back).
        """
        if kind is None:
            return self._table(
                "SELECT id AS edit_id, at, what, undoes, action, screen, session_id, "
                "id IN (SELECT undoes FROM edit WHERE undoes IS NOT NULL) AS taken_back FROM edit ORDER BY id"
            ).astype({"taken_back": bool})
        sql = """SELECT edit_id, at, what, undoes, before FROM change JOIN edit ON edit.id = edit_id
                 WHERE kind = ? AND row_id = ? ORDER BY change.id"""
        with self._lock, self._sentences():
            edits = self._db.execute(sql, (check_kind(kind), row := int(row))).fetchall()
            if not edits:
                raise InputError(
                    f"there never was a {kind} {row} in this book; expected the number it was given when it was entered"
                )
            after = [json.loads(edit[4] or "{}") for edit in edits[1:]] + [self._row(kind, row) or {}]
        names = ("edit_id", "at", "what", "undoes")
        return pd.DataFrame(
            [dict(zip(names, edit, strict=False)) | state for edit, state in zip(edits, after, strict=True)]
        )

    def _correct(self, kind, rows, values, action="corrected"):
        names = [
            self._row(kind, row)["label"] if kind == "club" else row for row in rows
        ]  # a club is known by its label
        with self._edit(action, f"{kind} {', '.join(map(str, names))} {action}"):
            for row in rows:
                self._update(kind, row, values)
