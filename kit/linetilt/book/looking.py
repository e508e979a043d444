"""Looking: what the book holds, as tables."""

import hashlib
import json
import re
from dataclasses import fields
from pathlib import Path
from typing import Any

import pandas as pd

from ..base.club import Bag, Club
from ..base.errors import BookError, InputError
from .correcting import Correcting
from .schema import (
    CLUB_COLUMNS,
    LENGTH_COLUMNS,
    LIE_COLUMNS,
    MARK_COLUMNS,
    SESSION_SETTINGS,
    SHOT_NUMBERS,
    START_COLUMNS,
    check_kind,
)
from .store import reading

_SHOT_COLUMNS = (
    "number", "at", "key", "photo", "kit", *MARK_COLUMNS, *LENGTH_COLUMNS, "remarks", *LIE_COLUMNS, "heading_known",
    *START_COLUMNS, "state", "reason", "why", "note",
)  # fmt: skip
# A bend is done after a session if it was entered after it, whatever a clock said.
_LATER_BENDS = """SELECT later.id FROM bend later
    WHERE (SELECT min(edit_id) FROM change WHERE kind = 'bend' AND row_id = later.id)
    > (SELECT min(edit_id) FROM change WHERE kind = 'session' AND row_id = {session})"""
# A shot counts for the lie if somebody let it count and it has a print, or a lie judged without one.
_COUNTS = "state = 'counted' AND coalesce(tilt_deg, lie_error_deg) IS NOT NULL"


class Looking(Correcting):
    """The part of a `SessionBook` that reads."""

    def golfers(self) -> pd.DataFrame:
        """Return a DataFrame, a row a golfer."""
        return self._table("SELECT id AS golfer_id, name, handed, note FROM golfer ORDER BY id")

    def bags(self) -> pd.DataFrame:
        """Return a DataFrame, a row a bag."""
        return self._table("SELECT id AS bag_id, golfer_id, name, note FROM bag ORDER BY id")

    @reading
    def clubs(self, bag: int, *, session: int | None = None) -> pd.DataFrame:
        """Return a DataFrame, a row a club of a bag: club_id, then the fields of `Club` as they are now.

        Bends done count in `bent_deg`, and in `gauge_lie_deg` where no reading was taken after them. The gauge reading
        entered last counts. With a `session`, the clubs are as they were when it began: bends entered after the session
        was, and what a gauge read after them, are left out.
        """
        later = "" if session is None else _LATER_BENDS.format(session=self._need("session", session))
        sql = f"""SELECT id AS club_id, {", ".join(name for name in CLUB_COLUMNS if name != "bent_deg")},
                bent_deg + coalesce((SELECT sum(bend_deg) FROM bend
                    WHERE club_id = club.id AND id NOT IN ({later})), 0) AS bent_deg,
                (SELECT gauge_lie_deg + coalesce((SELECT sum(bend_deg) FROM bend
                    WHERE club_id = club.id AND after_gauge >= gauge.id AND id NOT IN ({later})), 0)
                 FROM gauge WHERE club_id = club.id AND id <= coalesce((SELECT min(coalesce(after_gauge, 0)) FROM bend
                    WHERE club_id = club.id AND id IN ({later})), id) ORDER BY id DESC LIMIT 1) AS gauge_lie_deg
            FROM club WHERE bag_id = ? ORDER BY id"""
        table = self._table(sql, (self._need("bag", bag),))
        return table[["club_id", *(field.name for field in fields(Club))]].astype({"from_set": bool})

    @reading
    def bag(self, bag: int, *, session: int | None = None) -> Bag:
        """Return a `Bag` as its clubs are now, or as they were when a session's balls were hit (see `clubs`)."""
        rows = self.clubs(bag, session=session).drop(columns="club_id").astype(object).to_dict("records")
        return Bag.as_kept(
            Club(**{name: None if pd.isna(value) else value for name, value in row.items()}) for row in rows
        )

    def gauge_readings(self, bag: int) -> pd.DataFrame:
        """Return a DataFrame, a row a gauge reading of a bag's clubs."""
        return self._table(
            "SELECT gauge.id AS gauge_id, label AS club, day, gauge_lie_deg FROM gauge JOIN club ON club.id = club_id "
            "WHERE bag_id = ? ORDER BY gauge.id",
            (self._need("bag", bag),),
        )

    @reading
    def sessions(self, session: int | None = None) -> pd.DataFrame:
        """Return a DataFrame, a row a session (all, or the one given), with its settings (see `add_session`) and its
        numbers of shots entered and counted."""
        numbers = {name: float for name in SESSION_SETTINGS if not name.endswith("_unit")}
        table = self._table(
            f"""SELECT session.id AS session_id, golfer_id, golfer.name AS golfer, bag_id, bag.name AS bag, day, place,
                retest_of,
                session.note AS note, {", ".join(SESSION_SETTINGS)},
                coalesce(shots, 0) AS shots, coalesce(counted, 0) AS counted
            FROM session JOIN bag ON bag.id = bag_id JOIN golfer ON golfer.id = golfer_id
                LEFT JOIN (SELECT session_id, count(*) AS shots, sum({_COUNTS}) AS counted FROM shot
                    {"" if session is None else "WHERE session_id = :one"}
                    GROUP BY session_id) ON session_id = session.id
            {"" if session is None else "WHERE session.id = :one"} ORDER BY session.id""",
            {} if session is None else {"one": self._need("session", session)},
        ).astype(numbers)
        if session is not None and table.empty:  # in a rescued book
            raise InputError(
                f"session {session} belongs to a bag or a golfer that is lost; expected one of sessions(); choose "
                "another one"
            )
        return table

    @reading
    def current_session(self) -> pd.Series | None:
        """Return the row of `sessions` that was opened last in this bay, as a Series; None in a book without
        sessions."""
        with self._lock, self._sentences():
            session = self._opened()
        return None if session is None else self.sessions(session).set_index("session_id", drop=False).iloc[0]

    @reading
    def shots(self, session: int | None = None) -> pd.DataFrame:
        """Return a DataFrame, a row a shot in the order hit, of one session or of all: the facts as they were entered.

        `counted` is True for a shot that somebody let count and that has a print, or a lie judged without one. Its lie
        reading follows from the facts: see `linetilt.session_shots`.
        """
        columns = ", ".join(f"shot.{name}" for name in _SHOT_COLUMNS)
        sql = f"""SELECT shot.id AS shot_id, session_id, label AS club, {columns},
            {_COUNTS} AS counted
            FROM shot JOIN club ON club.id = club_id {"" if session is None else "WHERE session_id = ?"}
            ORDER BY session_id, number"""
        table = self._table(sql, () if session is None else (self._need("session", session),))
        return table.astype(dict.fromkeys(SHOT_NUMBERS, float) | {"heading_known": bool, "counted": bool})

    @reading
    def setting(self, session: int, name: str, usual: Any = None) -> Any:
        """Return what `keep_setting` keeps under that name, or `usual`."""
        with self._lock, self._sentences():
            found = self._db.execute(
                "SELECT value FROM setting WHERE session_id = ? AND name = ?", (self._need("session", session), name)
            ).fetchone()
        return json.loads(found[0]) if found else usual

    @reading
    def budgets(self, session: int | None = None) -> pd.DataFrame:
        """Return the uncertainty budgets of the marks, kept when they were measured, as one DataFrame: shot_id, then a
        budget's own columns."""
        where = "" if session is None else "AND session_id = ?"
        with self._lock, self._sentences():
            kept = self._db.execute(
                f"SELECT id, mark_budget FROM shot WHERE mark_budget IS NOT NULL {where} ORDER BY id",
                () if session is None else (self._need("session", session),),
            ).fetchall()
        return pd.DataFrame([{"shot_id": shot} | line for shot, lines in kept for line in json.loads(lines)])

    @reading
    def marks(self, shot: int) -> dict[str, Any] | None:
        """Return where a shot's marks are in its photo, in pixels (x, y) of the upright full-size photo, or None.

        Returns
        -------
        dict or None
            `corners` (4 points) and `line` (2 points) as in `FaceMark`; `by_hand`: which of the two the fitter placed.
        """
        return json.loads(self._row("shot", self._need("shot", shot))["marks"] or "null")

    @reading
    def photo(self, shot: int) -> Path | None:
        """Return the path of a shot's photo, or None."""
        name = self._row("shot", self._need("shot", shot))["photo"]
        return self.photo_path(name) if name else None

    def photo_path(self, name: str) -> Path:
        """Return the path of one of the book's photos by its name in the table of shots; in a book that was tampered
        with the name may lead elsewhere."""
        if not re.fullmatch(r"[0-9a-f]{64}\.[a-z]{3,4}", name):
            raise BookError(
                f"{self.path} names a photo {name!r}; expected the SHA-256 of one; leave that book alone, and ask "
                "where it comes from"
            )
        return self.photo_folder / name

    @reading
    def plans(self, session: int | None = None) -> pd.DataFrame:
        """Return a DataFrame, a row a club of each plan that was handed out: plan_id, session_id, at, kit, note, then
        the plan's own columns."""
        names = ("plan_id", "session_id", "at", "kit", "note")
        rows = self._plan_rows("id, session_id, at, kit, note, lines", session)
        return pd.DataFrame(
            [dict(zip(names, row, strict=False)) | line for row in rows for line in json.loads(row[-1])]
        )

    @reading
    def last_plan(self, session: int) -> dict[str, Any] | None:
        """Return the plan of a session that was handed out last: a dict with plan_id, at, kit, note, lines (DataFrame)
        and basis; None where there is none."""
        rows = self._plan_rows("id, at, kit, note, lines, basis", session)
        if not rows:
            return None
        plan = dict(zip(("plan_id", "at", "kit", "note", "lines", "basis"), rows[-1]))
        return plan | {"lines": pd.DataFrame(json.loads(plan["lines"])), "basis": json.loads(plan["basis"])}

    def _plan_rows(self, columns, session):
        sql = f"SELECT {columns} FROM plan {'' if session is None else 'WHERE session_id = ?'} ORDER BY id"
        with self._lock, self._sentences():
            return self._db.execute(sql, () if session is None else (self._need("session", session),)).fetchall()

    def shots_after_bends(self, session: int) -> dict[str, int]:
        """Return how many of a session's shots were entered after a bend of their club that was itself entered after
        the session, by label."""
        first = "(SELECT min(edit_id) FROM change WHERE kind = '{}' AND row_id = {}.id)"
        sql = f"""SELECT label, count(DISTINCT shot.id)
            FROM shot JOIN club ON club.id = shot.club_id JOIN bend ON bend.club_id = club.id
            WHERE session_id = :session AND bend.id IN ({_LATER_BENDS.format(session=":session")})
                AND {first.format("shot", "shot")} > {first.format("bend", "bend")} GROUP BY label"""
        with self._lock, self._sentences():
            return dict(self._db.execute(sql, {"session": self._need("session", session)}))

    def bends_since(self, session: int) -> pd.DataFrame:
        """Return the bends entered after a session was, as `bends`."""
        session = self._need("session", session)
        bag = self._row("session", session)["bag_id"]
        bends = self.bends(bag)
        with self._lock, self._sentences():
            later = {row[0] for row in self._db.execute(_LATER_BENDS.format(session=session))}
        return bends[bends["bend_id"].isin(later)].reset_index(drop=True)

    def last_edit(
        self,
        screen: str,
        session: int | None = None,
        actions: tuple[str, ...] = ("added", "corrected", "decided", "removed"),
    ) -> Any:
        """Return the last edit that a screen made (in a session, if one is given) and that is not taken back, or
        None."""
        sql = f"""SELECT max(id) FROM edit e WHERE screen = ? AND (? IS NULL OR session_id IS NULL OR session_id = ?)
            AND action IN ({", ".join("?" * len(actions))}) AND NOT EXISTS (SELECT 1 FROM edit WHERE undoes = e.id)"""
        with self._lock, self._sentences():
            return self._db.execute(sql, (screen, session, session, *actions)).fetchone()[0]

    def touched(self, edit: int, kind: str) -> set[int]:
        """Return the ids of the entries of a kind that an edit touched, a set."""
        with self._lock, self._sentences():
            rows = self._db.execute(
                "SELECT row_id FROM change WHERE edit_id = ? AND kind = ?", (int(edit), check_kind(kind))
            )
            return {row for (row,) in rows}

    def bends(self, bag: int | None = None) -> pd.DataFrame:
        """Return a DataFrame, a row a bend done, of one bag or of all."""
        sql = f"""SELECT bend.id AS bend_id, bag_id, label AS club, day, bend_deg, note
            FROM bend JOIN club ON club.id = club_id
            {"" if bag is None else "WHERE bag_id = ?"} ORDER BY bend.id"""
        return self._table(sql, () if bag is None else (self._need("bag", bag),))

    def check(self) -> list[str]:
        """Return what is wrong with the book and its photos, a sentence each (empty: all is well). Reads everything;
        slow."""
        notes = []
        try:
            with self._lock, self._sentences():
                notes += [row[0] for row in self._db.execute("PRAGMA integrity_check") if row[0] != "ok"]
                notes += [
                    f"{row[0]} {row[1]} belongs to a {row[2]} that is gone"
                    for row in self._db.execute("PRAGMA foreign_key_check")
                ]
                photos = [row[0] for row in self._db.execute("SELECT DISTINCT photo FROM shot WHERE photo IS NOT NULL")]
        except BookError as damage:
            return [*notes, str(damage)]
        for name in photos:
            try:
                path = self.photo_path(name)
            except BookError as error:
                notes.append(str(error))
                continue
            if not path.is_file():
                notes.append(f"the photo {name} is gone")
            elif hashlib.sha256(path.read_bytes()).hexdigest() != path.stem:
                notes.append(f"the photo {name} is not what was entered")
        return notes
