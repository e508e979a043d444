"""Entering: golfers, bags, sessions, shots, plans handed out and bends. Each method is one transaction."""

import json
from collections.abc import Iterable, Mapping
from typing import Any

import numpy as np
import pandas as pd

from ..base.checks import check
from ..base.club import Club, club_label
from ..base.errors import InputError
from ..base.states import COUNTED, check_state
from .schema import (
    LENGTH_COLUMNS,
    MARK_COLUMNS,
    SESSION_SETTINGS,
    check_day,
    check_entry,
    club_row,
    photo_key,
)
from .store import Store, moment


class Entering(Store):
    """The part of a `SessionBook` that enters."""

    def add_golfer(self, name: str, handed: str = "right", note: str = "") -> int:
        """Enter a golfer and return the golfer's id."""
        values = check_entry({"name": name, "handed": handed, "note": note})
        with self._edit("added", "golfer added"):
            return self._insert("golfer", values)

    def add_bag(self, golfer: int, bag: Any, name: str = "bag", *, day: str | None = None, note: str = "") -> int:
        """Enter a golfer's clubs and return the bag's id.

        Parameters
        ----------
        golfer : int
        bag : Bag
        name : str
        day : date or str, optional
            When the gauge readings among the clubs were taken (year-month-day), for the record; default today.
        note : str

        Returns
        -------
        int
        """
        values = check_entry({"name": name, "note": note})
        day = check_day(day)
        with self._edit("added", "bag added"):
            bag_id = self._insert("bag", {"golfer_id": self._need("golfer", golfer), **values})
            for club in bag:
                self._insert_club(bag_id, club, day)
            return bag_id

    def add_club(self, bag: int, club: Club, *, day: str | None = None) -> int:
        """Add one `Club` to a bag and return the club's id; `day` dates its gauge reading, if it has one."""
        return self.add_clubs(bag, [club], day=day)[0]

    def add_clubs(self, bag: int, clubs: Iterable[Club], *, day: str | None = None) -> list[int]:
        """Add several `Club`s to a bag as one entry, which `undo` takes back as a whole, and return their ids.

        Raises
        ------
        InputError
            Where the bag has a club of that name; then none of them is entered.
        """
        day, clubs = check_day(day), list(clubs)
        if not clubs:
            raise InputError("no club to add was given; expected at least one")
        what = f"{'club' if len(clubs) == 1 else 'clubs'} {', '.join(club.label for club in clubs)} added"
        with self._edit("added", what):
            found = self._db.execute("SELECT label FROM club WHERE bag_id = ?", (self._need("bag", bag),))
            there = {club_label(label) for (label,) in found}
            for club in clubs:
                if club_label(club.label) in there:
                    raise InputError(
                        f"bag {bag} has a club {club.label!r} already; expected a label that is free; "
                        "give the new one another"
                    )
                there.add(club_label(club.label))
            return [self._insert_club(bag, club, day) for club in clubs]

    def add_gauge_reading(self, bag: int, club: str, gauge_lie_deg: float, *, day: str | None = None) -> int:
        """Enter the lie of a club read on a gauge, in degrees, and return the reading's id.

        The reading entered last is the club's lie; `day` is for the record.
        """
        values = check_entry({"gauge_lie_deg": gauge_lie_deg, "day": day})
        with self._edit("added", f"gauge reading added, club {club}"):
            return self._insert("gauge", {"club_id": self._club_id(bag, club), **values})

    def add_session(
        self,
        bag: int,
        *,
        day: str | None = None,
        place: str = "",
        retest_of: int | None = None,
        note: str = "",
        **settings: Any,
    ) -> int:
        """Enter a session with a bag and return its id; it is then the one that this bay works in.

        Parameters
        ----------
        bag : int
        day : date or str, optional
        place : str
        retest_of : int, optional
            The session that this one tests again.
        note : str
        **settings
            Any of length_unit ("mm" or "in"), carry_unit ("m" or "yd"), net_distance_mm (ball to net, in mm, where the
            start of the ball is read on a net), setup_tilt_deg and u_setup_tilt_deg (lean of the ball's line, in
            degrees).
        """
        for name in settings:
            if name not in SESSION_SETTINGS:
                raise InputError(f"{name} is no setting of a session; expected some of {', '.join(SESSION_SETTINGS)}")
        values = check_entry({"day": day, "place": place, "note": note, **settings})
        with self._edit("added", "session added"):
            if retest_of is not None:
                retest_of = self._need("session", retest_of)
            session = self._insert("session", {"bag_id": self._need("bag", bag), "retest_of": retest_of, **values})
            self._open_session(session)
            return session

    def add_shot(self, session: int, club: str, **facts: Any) -> int:
        """Enter one shot and return its id: `add_shots` with one shot."""
        return self.add_shots(session, [{"club": club, **facts}])[0]

    def add_shots(self, session: int, shots: Iterable[Mapping[str, Any]]) -> list[int]:
        """Enter several shots as one entry, all of them or none, and return their ids.

        A shot whose key is in the session already is not entered again: its id is that of the first time. The key of a
        shot with a photo is the photo's content, so that no photo becomes two balls, whoever enters it.

        Parameters
        ----------
        session : int
        shots : iterable of mapping
            Of each: `club` (its label in the session's bag), and of what is known

            photo : path or bytes
                It is safe on the disk before the shot is.
            mark : FaceMark or mapping
                What was measured: tilt, strike, line width, their uncertainties, remarks, budget, and the places of the
                marks in the photo.
            lie : LieReading or mapping
                A lie that somebody judged without a print, by tape or eye: `lie_error_deg`, `u_lie_error_deg` and
                `heading_known`. Where there is a tilt the lie follows from it.
            start : StartDirection or float
                Start direction in degrees, closed side positive, alone or with its standard uncertainty.
            net_left_mm, net_distance_mm : float
                Where the ball hit the net, left of the aim dot seen from behind; the distance where it was not the
                session's.
            state, reason, why : str
                See `linetilt.base.states`; counted if left out.
            key : str
                What tells this ball from the session's others.
            note : str

        Returns
        -------
        list of int

        Raises
        ------
        InputError
        """
        rows = [self._shot_row(dict(shot)) for shot in shots]
        if not rows:
            raise InputError("no shot to add was given; expected at least one")
        session = self._need("session", session)
        bag = self._row("session", session)["bag_id"]
        for row in rows:
            row["club_id"] = self._club_id(bag, row.pop("club"))
        for row in rows:
            photo = row.pop("photo")
            if photo is not None:
                row["photo"] = self._keep_photo(photo)
                row["key"] = row["key"] or photo_key(row["photo"])
        known = self._known_keys(session)
        if all(row["key"] in known for row in rows):  # nothing new: no edit either
            return [known[row["key"]] for row in rows]
        labels = sorted({str(dict(shot)["club"]) for shot in shots})
        what = f"{'shot' if len(rows) == 1 else f'{len(rows)} shots'} added, club {', '.join(labels)}"
        with self._edit("added", what):
            known, ids = self._known_keys(session), []  # again: another process may have just entered one of them
            for row in rows:
                if row["key"] not in known:
                    (number,) = self._db.execute(
                        "SELECT coalesce(max(number), 0) + 1 FROM shot WHERE session_id = ?", (session,)
                    ).fetchone()
                    shot = self._insert("shot", {"session_id": session, "number": number, "at": moment(), **row})
                    ids.append(shot)
                    if row["key"]:
                        known[row["key"]] = shot
                else:
                    ids.append(known[row["key"]])
            return ids

    def _known_keys(self, session):
        with self._lock, self._sentences():
            return dict(
                self._db.execute("SELECT key, id FROM shot WHERE session_id = ? AND key IS NOT NULL", (session,))
            )

    def _shot_row(self, shot):
        given = {name: shot.pop(name, None) for name in ("club", "photo", "mark", "lie", "start")}
        words = {name: shot.pop(name, "") or "" for name in ("reason", "why", "note")}
        state, key = shot.pop("state", COUNTED), shot.pop("key", None)
        net = {name: shot.pop(name, None) for name in ("net_left_mm", "net_distance_mm")}
        if shot:
            raise InputError(f"{next(iter(shot))} is nothing that a shot has; expected what add_shots names")
        check_state(state, words["reason"])
        row = measured_row(given["mark"], given["lie"], given["start"]) | check_entry(net | words)
        if key is not None:
            key = check_entry({"key": key})["key"]
        return {"club": given["club"], "photo": given["photo"], "key": key, "state": state} | row

    def add_plan(self, session: int, plan: pd.DataFrame, *, basis: Any = None, kit: str = "", note: str = "") -> int:
        """Keep a plan that was handed out (a DataFrame, a row a club) and return its id.

        Parameters
        ----------
        session : int
        plan : DataFrame
        basis : dict, optional
            What it stood on, as JSON holds it, so that a later look can say what has changed since.
        kit : str
            The kit's version.
        note : str
        """
        values = check_entry({"note": note, "kit": kit}) | {
            "lines": _to_json(plan),
            "basis": json.dumps(basis or {}),
            "at": moment(),
        }
        with self._edit("added", "plan added"):
            return self._insert("plan", {"session_id": self._need("session", session), **values})

    def add_bend(
        self,
        bag: int,
        club: str,
        bend_deg: float,
        *,
        day: str | None = None,
        gauge_lie_deg: float | None = None,
        note: str = "",
    ) -> int:
        """Enter a bend that was done, upright positive, in degrees, and the gauge's reading after it if there is one;
        return its id."""
        return self.add_bends(
            bag, [{"club": club, "bend_deg": bend_deg, "gauge_lie_deg": gauge_lie_deg, "note": note}], day=day
        )[0]

    def add_bends(self, bag: int, bends: Any, *, day: str | None = None) -> list[int]:
        """Enter several bends as one entry, all of them or none, and return their ids.

        Parameters
        ----------
        bag : int
        bends : iterable of dict
            Of each: club, bend_deg (upright positive), gauge_lie_deg (read after it) or None, note.
        day : date or str, optional
        """
        day, rows = check_day(day), []
        for bend in bends:
            row = {"bend_deg": check("bend_deg", bend["bend_deg"]), "day": day}
            row |= check_entry({"note": bend.get("note", "")})
            gauge = bend.get("gauge_lie_deg")
            rows.append((bend["club"], row, None if gauge is None else check_entry({"gauge_lie_deg": gauge})))
        if not rows:
            raise InputError("no bend to add was given; expected at least one")
        ids = []
        with self._edit("added", f"bend added, club {', '.join(str(club) for club, *_ in rows)}"):
            for club, row, gauge in rows:
                club_id = self._club_id(bag, club)
                (last,) = self._db.execute("SELECT max(id) FROM gauge WHERE club_id = ?", (club_id,)).fetchone()
                ids.append(self._insert("bend", {"club_id": club_id, "after_gauge": last, **row}))
                if gauge is not None:
                    self._insert("gauge", {"club_id": club_id, "day": day, **gauge})
        return ids

    def open_session(self, session: int) -> None:
        """Make a session the one that this bay works in; no edit, so `undo` passes it over."""
        session = self._need("session", session)
        with self._lock, self._sentences():
            self._open_session(session)

    def _open_session(self, session):
        self._db.execute("INSERT INTO opening (session_id, bay) VALUES (?, ?)", (session, self.bay))

    def keep_setting(self, session: int, name: str, value: Any) -> None:
        """Keep a choice made for a session, such as the bench's step: any value that JSON holds, by name. No edit, so
        `undo` passes it over."""
        session, value = self._need("session", session), json.dumps(value)
        with self._lock, self._sentences():
            _, acting = getattr(self._acting, "who", ("", None))
            if acting is not None:
                self._same_session(acting)
            self._db.execute(
                "INSERT INTO setting VALUES (?, ?, ?) ON CONFLICT DO UPDATE SET value = excluded.value",
                (session, name, value),
            )

    def _insert_club(self, bag_id, club, day):
        club_id = self._insert("club", {"bag_id": bag_id, **club_row(club)})
        if club.gauge_lie_deg is not None:
            self._insert("gauge", {"club_id": club_id, "day": day, "gauge_lie_deg": club.gauge_lie_deg})
        return club_id


def measured_row(mark, lie, start):
    """Return a shot's columns that come from measuring it or seeing it."""
    remarks = _get(mark, "remarks") or _get(mark, "flags") or ""
    remarks = remarks.replace(",", " ").replace(";", " ").split() if isinstance(remarks, str) else remarks
    start_deg, u_start_deg = start if isinstance(start, tuple) else (start, None)
    values = {name: _get(mark, name) for name in (*MARK_COLUMNS, *LENGTH_COLUMNS)} | {
        "remarks": " ".join(str(code) for code in remarks),
        "kit": _get(mark, "kit") or "",
        "lie_error_deg": _get(lie, "lie_error_deg"),
        "u_lie_error_deg": _get(lie, "u_lie_error_deg"),
        "heading_known": bool(_get(lie, "heading_known")),
        "start_deg": start_deg,
        "u_start_deg": u_start_deg,
    }
    if values["tilt_deg"] is not None and values["lie_error_deg"] is not None:
        raise InputError(
            "a shot has both a tilt and a lie; expected one: the lie follows from a tilt; leave out the lie"
        )
    return check_entry(values) | {"mark_budget": _to_json(_get(mark, "budget")), "marks": _marks_of(mark)}


def _marks_of(mark):
    """Return the places of a mark in its photo as JSON, to a hundredth of a pixel, or None."""
    corners, line = _get(mark, "corners"), _get(mark, "line")
    if corners is None or line is None:
        return None
    places = {
        name: np.round(np.asarray(points, float), 2).tolist() for name, points in (("corners", corners), ("line", line))
    }
    return json.dumps(places | {"by_hand": list(_get(mark, "by_hand") or ())})


def _get(thing, name):
    """An attribute of a result or an item of a mapping or row; None where it has none, or a number that is missing."""
    value = thing.get(name) if isinstance(thing, Mapping | pd.Series) else getattr(thing, name, None)
    return None if value is pd.NA or (isinstance(value, float) and value != value) else value


def _to_json(table):
    if table is None:
        return None
    if not isinstance(table, pd.DataFrame):
        raise InputError(f"a {type(table).__name__} was given where a table is kept; expected a DataFrame")
    return table.to_json(orient="records", double_precision=15)
