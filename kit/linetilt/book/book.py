"""SessionBook: one SQLite file that keeps golfers, bags, sessions, shots, plans and bends; the photos lie beside it.

The file is in SQLite's rollback-journal mode with ``synchronous=EXTRA``: when a method that writes has returned, its data is
on the disk, and between writes the book is one whole file that may be copied, put on a stick or on a network drive. While the
book is open its journal stays beside it, emptied (PERSIST): of the five times that a write asks the disk to have something
written for good, the folder's then has nothing to write. A closed book is one file. A write-ahead log asks once, but would leave
acknowledged shots in a second file, and does not work across a network (sqlite.org/wal.html). Counted by tests/bench/book.py.
"""

import hashlib
import json
import re
import sqlite3
import threading
from collections.abc import Mapping
from contextlib import contextmanager, suppress
from dataclasses import fields, replace
from datetime import UTC, datetime
from functools import wraps
from pathlib import Path

import numpy as np
import pandas as pd

from ..base.club import Bag, Club, check_number
from ..base.errors import BookError, InputError
from ..base.files import write_whole
from .schema import (
    APPLICATION_ID,
    CLUB_COLUMNS,
    MARK_COLUMNS,
    SESSION_SETTINGS,
    SHOT_NUMBERS,
    STEPS,
    check_day,
    check_entry,
    check_kind,
    club_of,
    club_row,
)

PICTURE_STARTS = {b"\xff\xd8": ".jpg", b"\x89PNG": ".png", b"RIFF": ".webp"}  # else .heic or .bin, see `_suffix`
_SHOT_COLUMNS = (
    "number",
    "at",
    "photo",
    *MARK_COLUMNS,
    "flags",
    "lie_error_deg",
    "u_lie_error_deg",
    "heading_known",
    "start_deg",
    "u_start_deg",
    "counted",
    "why",
    "note",
)
NO_READING = "no lie reading"
_LATER_BENDS = """SELECT later.id FROM bend later, session s WHERE s.id = {session} AND (later.day > s.day OR (later.day = s.day
    AND (SELECT min(edit_id) FROM change WHERE kind = 'bend' AND row_id = later.id)
        > (SELECT min(edit_id) FROM change WHERE kind = 'session' AND row_id = s.id)))"""

_AGAIN = "nothing of this entry was kept"
_SENTENCES = {  # by SQLite's result code: what was found, what was expected, what to do next
    sqlite3.SQLITE_FULL: f"the disk is full; expected room for the entry; {_AGAIN}: free some space and enter it again",
    sqlite3.SQLITE_READONLY: "the book or its folder may only be read; expected one that you may write in; copy the book to a folder of your own",
    sqlite3.SQLITE_READONLY_DBMOVED: f"the book's file was moved or deleted while it was open; expected it where it was opened; {_AGAIN}: "
    "put the file back and open it again",
    sqlite3.SQLITE_CANTOPEN: "the book cannot be opened there; expected a file in a folder that exists and in which you may write; check both, or choose another place",
    sqlite3.SQLITE_PERM: "you have no right to this book; expected one that you may read and write; ask its owner, or copy it to a folder of your own",
    sqlite3.SQLITE_BUSY: f"another program keeps the book busy; expected it to let go within {{wait:g}} s; {_AGAIN}: close the other program or try again",
    sqlite3.SQLITE_CORRUPT: "the book is damaged; expected a whole one; leave it as it is, and save what can be read with linetilt.rescue_book(this book, a new name)",
    sqlite3.SQLITE_NOTADB: "the file does not begin as a book does; expected a book of linetilt; choose another file, or, if this was one, "
    "save what can be read with linetilt.rescue_book(this book, a new name)",
    sqlite3.SQLITE_CONSTRAINT: f"that clashes with another entry; expected two clubs of a bag to have two names; {_AGAIN}: give it a name of its own",
    sqlite3.SQLITE_IOERR: f"the disk could not read or write the book; expected a drive that answers and has room; {_AGAIN}: check the drive or the network, "
    "then open the book again",
}
_SENTENCES[sqlite3.SQLITE_LOCKED] = _SENTENCES[sqlite3.SQLITE_BUSY]
_UNKNOWN = f"the book answers: {{error}}; expected an entry that it can hold; {_AGAIN}: open it again, and look at it with check()"


def _reading(method):
    """Say that the book is damaged where a method finds a value in it that no entry can have put there."""

    @wraps(method)
    def read(self, *arguments, **named):
        try:
            return method(self, *arguments, **named)
        except InputError:
            raise
        except (ValueError, TypeError, KeyError) as error:
            raise BookError(f"{self.path}: {_SENTENCES[sqlite3.SQLITE_CORRUPT]}") from error

    return read


class SessionBook:
    """A shop's or coach's book, in one file; a context manager.

    Parameters
    ----------
    path : path
        The book, usually named ``something.linetilt``; made where there is none. Photos go to the folder
        ``something.linetilt-photos`` beside it, each under the SHA-256 of its content.
    wait_s : float
        How long a write waits for another process that is writing, in seconds.

    Raises
    ------
    BookError
        When the file is no book, is damaged, was made by a newer kit, or cannot be opened.

    Notes
    -----
    Every method that writes is one transaction: when it has returned, its entry survives a crash; when it raises, nothing of it
    was kept. Corrections and undo keep what they replace (`history`). Identifiers are whole numbers and are never used twice.
    """

    def __init__(self, path, *, wait_s=10.0):
        self._lock, self._db, self._wait_s = threading.RLock(), None, wait_s
        self.path, self.photo_folder = _places(path)
        try:
            with self._sentences():
                self._db = sqlite3.connect(self.path, timeout=wait_s, isolation_level=None, check_same_thread=False)
                self._db.execute("PRAGMA foreign_keys = ON")
                self._db.execute("PRAGMA synchronous = EXTRA")
                self._db.execute("PRAGMA journal_mode = PERSIST")
                self._open()
        except BaseException:
            self.close()
            raise

    def _open(self):
        if self._version() == len(STEPS):
            return
        self._db.execute("BEGIN IMMEDIATE")
        with self._transaction():
            for step in STEPS[self._version() :]:  # read again: another process may have just done it
                for statement in step:
                    self._db.execute(statement)
            self._db.execute(f"PRAGMA application_id = {APPLICATION_ID}")
            self._db.execute(f"PRAGMA user_version = {len(STEPS)}")

    def _version(self):
        version, mine = (
            self._db.execute(f"PRAGMA {name}").fetchone()[0] for name in ("user_version", "application_id")
        )
        if mine != APPLICATION_ID and (version or mine or self._db.execute("SELECT 1 FROM sqlite_master").fetchone()):
            raise BookError(
                f"{self.path} is not a book of linetilt but some other program's file; expected a book or a new name; it was left as it is; choose another name"
            )
        if version > len(STEPS):
            raise BookError(
                f"{self.path} was written by a newer linetilt (version {version} of the book, this one knows {len(STEPS)}); "
                "expected one of this version or an older one; it was left as it is; update linetilt to open it"
            )
        return version

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.close()

    def close(self):
        """Close the book; what was entered is on the disk already."""
        if self._db is not None:
            with suppress(
                sqlite3.Error, UnicodeDecodeError
            ):  # closed already, damaged, or another process is writing: then the last one to close tidies up
                self._db.execute("PRAGMA journal_mode = DELETE")
            self._db.close()

    # Entering

    def add_golfer(self, name, handed="right", note=""):
        """Enter a golfer and return the golfer's id."""
        values = check_entry({"name": name, "handed": handed, "note": note})
        with self._edit("golfer added"):
            return self._insert("golfer", values)

    def add_bag(self, golfer, bag, name="bag", *, day=None, note=""):
        """Enter a golfer's clubs and return the bag's id.

        Parameters
        ----------
        golfer : int
        bag : Bag
        name : str
        day : date or str, optional
            When the gauge readings among the clubs were taken (year-month-day); default today.
        note : str

        Returns
        -------
        int
        """
        values = check_entry({"name": name, "note": note})
        day = check_day(day)
        with self._edit("bag added"):
            bag_id = self._insert("bag", {"golfer_id": self._need("golfer", golfer), **values})
            for club in bag:
                self._insert_club(bag_id, club, day)
            return bag_id

    def add_club(self, bag, club, *, day=None):
        """Add one `Club` to a bag and return the club's id; `day` dates its gauge reading, if it has one."""
        return self.add_clubs(bag, [club], day=day)[0]

    def add_clubs(self, bag, clubs, *, day=None):
        """Add several `Club`s to a bag as one entry, which `undo` takes back as a whole, and return their ids.

        Raises
        ------
        InputError
            Where the bag has a club of that name; then none of them is entered.
        """
        day, clubs = check_day(day), list(clubs)
        if not clubs:
            raise InputError("no club to add was given; expected at least one")
        with self._edit(f"{'club' if len(clubs) == 1 else 'clubs'} {', '.join(club.label for club in clubs)} added"):
            there = {
                label
                for (label,) in self._db.execute("SELECT label FROM club WHERE bag_id = ?", (self._need("bag", bag),))
            }
            for club in clubs:
                if club.label in there:
                    raise InputError(
                        f"bag {bag} has a club {club.label!r} already; expected a label that is free; give the new one another"
                    )
                there.add(club.label)
            return [self._insert_club(bag, club, day) for club in clubs]

    def add_gauge_reading(self, bag, club, gauge_lie_deg, *, day=None):
        """Enter the lie of a club read on a gauge, in degrees, and return the reading's id."""
        values = {
            "gauge_lie_deg": check_number("gauge_lie_deg", gauge_lie_deg, 45.0, 80.0, "degrees"),
            "day": check_day(day),
        }
        with self._edit(f"gauge reading added, club {club}"):
            return self._insert("gauge", {"club_id": self._club_id(bag, club), **values})

    def add_session(self, bag, *, day=None, place="", retest_of=None, note="", **settings):
        """Enter a session with a bag and return its id; it is then the current one.

        Parameters
        ----------
        bag : int
        day : date or str, optional
        place : str
        retest_of : int, optional
            The session that this one tests again.
        note : str
        **settings
            Any of length_unit ("mm" or "in"), carry_unit ("m" or "yd"), net_distance_mm (ball to net, in mm, where the start of
            the ball is read on a net), setup_tilt_deg and u_setup_tilt_deg (lean of the ball's line, in degrees).
        """
        for name in settings:
            if name not in SESSION_SETTINGS:
                raise InputError(f"{name} is no setting of a session; expected some of {', '.join(SESSION_SETTINGS)}")
        values = check_entry({"day": day, "place": place, "note": note, **settings})
        with self._edit("session added"):
            if retest_of is not None:
                retest_of = self._need("session", retest_of)
            return self._insert("session", {"bag_id": self._need("bag", bag), "retest_of": retest_of, **values})

    def add_shot(
        self, session, club, *, photo=None, mark=None, reading=None, start=None, counted=None, why="", note=""
    ):
        """Enter one shot and return its id. Its photo, if any, is safe on the disk before the shot is.

        Parameters
        ----------
        session : int
        club : str
            The club's label in the session's bag.
        photo : path or bytes, optional
        mark : FaceMark or mapping, optional
            Its tilt, strike, line width, their uncertainties, flags, budget, and the places of its marks in the photo (`marks`)
            are kept, as far as it has them.
        reading : LieReading or mapping, optional
        start : StartDirection or float, optional
            Start direction in degrees, closed side positive, alone or with its standard uncertainty.
        counted : bool, optional
            Default: counted where there is a lie reading. A shot without one cannot count.
        why : str
            Why it was set aside.
        note : str

        Returns
        -------
        int
        """
        measured = _measured(mark, reading, start)
        has_lie = measured["lie_error_deg"] is not None
        counted = has_lie if counted is None else bool(counted)
        why = why or ("" if counted or has_lie else NO_READING)
        values = measured | check_entry({"counted": counted, "why": why, "note": note}) | {"at": _now()}
        _check_counted(values)
        session = self._need("session", session)
        club_id = self._club_id(self._row("session", session)["bag_id"], club)
        if photo is not None:
            values["photo"] = self._keep_photo(photo)
        with self._edit(f"shot added, club {club}"):
            (number,) = self._db.execute(
                "SELECT coalesce(max(number), 0) + 1 FROM shot WHERE session_id = ?", (session,)
            ).fetchone()
            return self._insert("shot", {"session_id": session, "number": number, "club_id": club_id, **values})

    def set_aside(self, shot, why):
        """Leave a shot out of the pooling, saying why; ``change("shot", shot, counted=True)`` takes it in again."""
        if not str(why).strip():
            raise InputError('why is empty; expected a reason, such as "heavy strike"; say why the shot is set aside')
        self.change("shot", shot, counted=False, why=why)

    def add_plan(self, session, plan, *, note=""):
        """Keep a plan (a DataFrame, a row a club) made from a session and return its id."""
        values = check_entry({"note": note}) | {"lines": _to_json(plan), "at": _now()}
        with self._edit("plan added"):
            return self._insert("plan", {"session_id": self._need("session", session), **values})

    def add_bend(self, bag, club, bend_deg, *, day=None, gauge_lie_deg=None, note=""):
        """Enter a bend that was done, upright positive, in degrees, and the gauge's reading after it if there is one; return its id."""
        values = {
            "bend_deg": check_number("bend_deg", bend_deg, -10.0, 10.0, "degrees"),
            **check_entry({"day": day, "note": note}),
        }
        if gauge_lie_deg is not None:
            gauge_lie_deg = check_number("gauge_lie_deg", gauge_lie_deg, 45.0, 80.0, "degrees")
        with self._edit(f"bend added, club {club}"):
            club_id = self._club_id(bag, club)
            (last,) = self._db.execute("SELECT max(id) FROM gauge WHERE club_id = ?", (club_id,)).fetchone()
            bend = self._insert("bend", {"club_id": club_id, "after_gauge": last, **values})
            if gauge_lie_deg is not None:
                self._insert("gauge", {"club_id": club_id, "day": values["day"], "gauge_lie_deg": gauge_lie_deg})
            return bend

    def open_session(self, session):
        """Make a session the current one, which the notebooks go on with; no edit, so `undo` passes it over."""
        session = self._need("session", session)
        with self._lock, self._sentences():
            self._db.execute(
                "UPDATE session SET opened = strftime('%Y-%m-%dT%H:%M:%f', 'now') WHERE id = ?", (session,)
            )

    def keep_setting(self, session, name, value):
        """Keep a choice made for a session, such as the bench's step: any value that JSON holds, by name. No edit, so `undo` passes it over."""
        session, value = self._need("session", session), json.dumps(value)
        with self._lock, self._sentences():
            self._db.execute(
                "INSERT INTO setting VALUES (?, ?, ?) ON CONFLICT DO UPDATE SET value = excluded.value",
                (session, name, value),
            )

    # Correcting

    def change(self, kind, row, **values):
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
        fixed = ("id", "number", "at", "photo", "lines", "after_gauge", "opened", "marks")
        free = [name for name in old if name not in fixed and not name.endswith(("_id", "_budget"))]
        if not values:
            raise InputError(
                f"nothing to correct was given; expected at least one of {', '.join(free)}; give it with its right value"
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

    def remove_club(self, bag, club):
        """Take a club and its gauge readings out of a bag; `undo` brings it back. A club with shots or bends stays.

        Raises
        ------
        InputError
        """
        club_id = self._club_id(bag, club)
        with self._edit(f"club {club} removed"):
            for kind in ("shot", "bend"):
                if self._db.execute(f"SELECT 1 FROM {kind} WHERE club_id = ?", (club_id,)).fetchone():
                    raise InputError(
                        f"club {club!r} has {kind}s in this book and cannot be removed; expected a club without; leave it, or correct its name"
                    )
            for (gauge,) in self._db.execute("SELECT id FROM gauge WHERE club_id = ?", (club_id,)).fetchall():
                self._delete("gauge", gauge)
            self._delete("club", club_id)

    def measure_again(self, shot, *, mark=None, reading=None, start=None, club=None, why=None):
        """Put a new measurement (see `add_shot`) in place of a shot's old one, which stays in `history`.

        What is not given stays, except that a new mark does away with the lie reading of the old one. A shot that was set
        aside only because it had no lie reading counts from now on; one that lost its reading is set aside. `club` is the label
        of the club that it was hit with after all; `why` sets the shot aside in the same entry.
        """
        shot = self._need("shot", shot)
        old = self._row("shot", shot)
        stays = [name for name in (*MARK_COLUMNS, "flags", "mark_budget", "marks") if mark is None]
        stays += [name for name in ("start_deg", "u_start_deg") if start is None]
        stays += [
            name
            for name in ("lie_error_deg", "u_lie_error_deg", "heading_known", "lie_budget")
            if mark is None and reading is None
        ]
        values = {name: value for name, value in _measured(mark, reading, start).items() if name not in stays}
        if club is not None:
            values["club_id"] = self._club_id(self._row("session", old["session_id"])["bag_id"], club)
        if not values and why is None:
            raise InputError(
                "nothing was measured; expected a mark, a reading, a start direction or a club; give one of them"
            )
        if why is not None:
            values |= {"counted": 0, **check_entry({"why": why})}
        elif "lie_error_deg" not in values:
            pass
        elif values["lie_error_deg"] is None:
            values |= {"counted": 0, "why": NO_READING}
        elif old["why"] == NO_READING:
            values |= {"counted": 1, "why": ""}
        self._correct("shot", [shot], values)

    def undo(self, edit=None):
        """Take back the last edit of the book that is not yet taken back, whoever made it, and return what it was.

        With `edit` (an edit_id of `history`) that one, unless it is taken back already or a later one touched the same entries.
        """
        last = """SELECT id, what FROM edit e WHERE undoes IS NULL AND id < :undo AND NOT EXISTS (SELECT 1 FROM edit WHERE undoes = e.id)
            AND (:edit IS NULL OR (id = :edit AND NOT EXISTS (
                SELECT 1 FROM change mine JOIN change later ON later.kind = mine.kind AND later.row_id = mine.row_id AND later.edit_id > mine.edit_id
                JOIN edit by ON by.id = later.edit_id
                WHERE mine.edit_id = :edit AND by.undoes IS NULL AND NOT EXISTS (SELECT 1 FROM edit WHERE undoes = by.id))))
            ORDER BY id DESC LIMIT 1"""
        with self._lock, self._sentences():
            with self._edit("undo") as undo:
                found = self._db.execute(last, {"edit": edit, "undo": undo}).fetchone()
                if not found:
                    raise InputError(
                        "there is nothing to undo in this book; expected an entry that is not taken back yet"
                        if edit is None
                        else f"edit {edit} cannot be taken back: there is none, it was, or what it touched was changed since; expected one of history(); take back the later ones first"
                    )
                undone, what = found
                self._db.execute("UPDATE edit SET undoes = ?, what = ? WHERE id = ?", (undone, f"undone: {what}", undo))
                changes = "SELECT kind, row_id, before FROM change WHERE edit_id = ? ORDER BY id DESC"
                for kind, row, before in self._db.execute(changes, (undone,)).fetchall():
                    self._record(kind, row)
                    self._db.execute(
                        f"DELETE FROM {kind} WHERE id = ?" if before is None else put_sql(kind, before),
                        (row,) if before is None else tuple(json.loads(before).values()),
                    )
                return what

    @_reading
    def history(self, kind=None, row=None):
        """Return what happened, oldest first: all edits of the book, or the revisions of one entry.

        Returns
        -------
        DataFrame
            edit_id, at, what, undoes; for one entry also its columns as they stood after that edit (empty: taken back).
        """
        if kind is None:
            return self._table("SELECT id AS edit_id, at, what, undoes FROM edit ORDER BY id")
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

    # Reading

    def state(self):
        """Return a value that is another one after any write to the book, by this process or another."""
        with self._lock, self._sentences():
            return self._db.execute("PRAGMA data_version").fetchone()[0], self._db.total_changes

    def golfers(self):
        """Return a DataFrame, a row a golfer."""
        return self._table("SELECT id AS golfer_id, name, handed, note FROM golfer ORDER BY id")

    def bags(self):
        """Return a DataFrame, a row a bag."""
        return self._table("SELECT id AS bag_id, golfer_id, name, note FROM bag ORDER BY id")

    @_reading
    def clubs(self, bag, *, session=None):
        """Return a DataFrame, a row a club of a bag: club_id, then the columns of `read_bag` as they are now.

        Bends done count in `bent_deg`, and in `gauge_lie_deg` where no reading was taken after them. With a `session`, the clubs are as
        they were when its balls were hit: bends of later days, or entered after it on its day, and what a gauge read after them are left out.
        """
        later = "" if session is None else _LATER_BENDS.format(session=self._need("session", session))
        # The reading of the latest day counts; bends entered after it was are added.
        sql = f"""SELECT id AS club_id, {", ".join(name for name in CLUB_COLUMNS if name != "bent_deg")},
                bent_deg + coalesce((SELECT sum(bend_deg) FROM bend WHERE club_id = club.id AND id NOT IN ({later})), 0) AS bent_deg,
                (SELECT gauge_lie_deg + coalesce((SELECT sum(bend_deg) FROM bend
                    WHERE club_id = club.id AND after_gauge >= gauge.id AND id NOT IN ({later})), 0)
                 FROM gauge WHERE club_id = club.id AND id <= coalesce((SELECT min(coalesce(after_gauge, 0)) FROM bend
                    WHERE club_id = club.id AND id IN ({later})), id) ORDER BY day DESC, id DESC LIMIT 1) AS gauge_lie_deg
            FROM club WHERE bag_id = ? ORDER BY id"""
        table = self._table(sql, (self._need("bag", bag),))
        return table[["club_id", *(field.name for field in fields(Club))]].astype({"from_set": bool})

    @_reading
    def bag(self, bag, *, session=None):
        """Return a `Bag` as its clubs are now, or as they were when a session's balls were hit (see `clubs`)."""
        rows = self.clubs(bag, session=session).drop(columns="club_id").astype(object).to_dict("records")
        return Bag(Club(**{name: None if pd.isna(value) else value for name, value in row.items()}) for row in rows)

    def gauge_readings(self, bag):
        """Return a DataFrame, a row a gauge reading of a bag's clubs."""
        return self._table(
            "SELECT gauge.id AS gauge_id, label AS club, day, gauge_lie_deg FROM gauge JOIN club ON club.id = club_id "
            "WHERE bag_id = ? ORDER BY gauge.id",
            (self._need("bag", bag),),
        )

    @_reading
    def sessions(self, session=None):
        """Return a DataFrame, a row a session (all, or the one given), with its settings (see `add_session`) and its numbers of shots entered and counted."""
        numbers = {name: float for name in SESSION_SETTINGS if not name.endswith("_unit")}
        return self._table(
            f"""SELECT session.id AS session_id, golfer_id, golfer.name AS golfer, bag_id, bag.name AS bag, day, place, retest_of,
                session.note AS note, {", ".join(SESSION_SETTINGS)},
                coalesce(shots, 0) AS shots, coalesce(counted, 0) AS counted
            FROM session JOIN bag ON bag.id = bag_id JOIN golfer ON golfer.id = golfer_id
                LEFT JOIN (SELECT session_id, count(*) AS shots, sum(counted) AS counted FROM shot {"" if session is None else "WHERE session_id = :one"}
                    GROUP BY session_id) ON session_id = session.id
            {"" if session is None else "WHERE session.id = :one"} ORDER BY session.id""",
            {} if session is None else {"one": self._need("session", session)},
        ).astype(numbers)

    @_reading
    def current_session(self):
        """Return the row of `sessions` that was entered or opened last, as a Series; None in a book without sessions."""
        last = self._table(
            "SELECT session.id FROM session JOIN bag ON bag.id = bag_id JOIN golfer ON golfer.id = golfer_id "
            "ORDER BY opened DESC, session.id DESC LIMIT 1"
        )
        return (
            None if last.empty else self.sessions(int(last["id"].iloc[0])).set_index("session_id", drop=False).iloc[0]
        )

    @_reading
    def shots(self, session=None):
        """Return a DataFrame, a row a shot in the order hit, of one session or of all: what `fit_bag` takes as it is."""
        sql = f"""SELECT shot.id AS shot_id, session_id, label AS club, {", ".join(_SHOT_COLUMNS)}
            FROM shot JOIN club ON club.id = club_id {"" if session is None else "WHERE session_id = ?"} ORDER BY session_id, number"""
        table = self._table(sql, () if session is None else (self._need("session", session),))
        return table.astype(dict.fromkeys(SHOT_NUMBERS, float) | {"heading_known": bool, "counted": bool})

    @_reading
    def setting(self, session, name, usual=None):
        """Return what `keep_setting` keeps under that name, or `usual`."""
        with self._lock, self._sentences():
            found = self._db.execute(
                "SELECT value FROM setting WHERE session_id = ? AND name = ?", (self._need("session", session), name)
            ).fetchone()
        return json.loads(found[0]) if found else usual

    @_reading
    def budget(self, shot, of="lie"):
        """Return the uncertainty budget kept with a shot, `of` its "lie" or its "mark", as a DataFrame (empty: none was kept)."""
        if of not in ("lie", "mark"):
            raise InputError(f'of is {of!r}; expected "lie" or "mark"')
        return pd.DataFrame(json.loads(self._row("shot", self._need("shot", shot))[f"{of}_budget"] or "[]"))

    @_reading
    def budgets(self):
        """Return all budgets kept as one DataFrame, a row a component: shot_id, `of` ("lie" or "mark"), then the budget's own columns."""
        with self._lock, self._sentences():
            kept = self._db.execute(
                "SELECT id, lie_budget, mark_budget FROM shot WHERE coalesce(lie_budget, mark_budget) IS NOT NULL ORDER BY id"
            ).fetchall()
        return pd.DataFrame(
            [
                {"shot_id": shot, "of": of} | line
                for shot, *both in kept
                for of, lines in zip(("lie", "mark"), both)
                for line in json.loads(lines or "[]")
            ]
        )

    @_reading
    def marks(self, shot):
        """Return where a shot's marks are in its photo, in pixels (x, y) of the upright full-size photo, or None.

        Returns
        -------
        dict or None
            `corners` (4 points) and `line` (2 points) as in `FaceMark`; `by_hand`: which of the two the fitter placed.
        """
        return json.loads(self._row("shot", self._need("shot", shot))["marks"] or "null")

    @_reading
    def photo(self, shot):
        """Return the path of a shot's photo, or None."""
        name = self._row("shot", self._need("shot", shot))["photo"]
        return self.photo_path(name) if name else None

    def photo_path(self, name):
        """Return the path of one of the book's photos by its name in the table of shots; in a book that was tampered with the name may lead elsewhere."""
        if not re.fullmatch(r"[0-9a-f]{64}\.[a-z]{3,4}", name):
            raise BookError(
                f"{self.path} names a photo {name!r}; expected the SHA-256 of one; leave that book alone, and ask where it comes from"
            )
        return self.photo_folder / name

    @_reading
    def plans(self, session=None):
        """Return a DataFrame, a row a club of each plan kept: plan_id, session_id, at, note, then the plan's own columns."""
        sql = f"SELECT id, session_id, at, note, lines FROM plan {'' if session is None else 'WHERE session_id = ?'} ORDER BY id"
        with self._lock, self._sentences():
            rows = self._db.execute(sql, () if session is None else (self._need("session", session),)).fetchall()
        return pd.DataFrame(
            [
                dict(zip(("plan_id", "session_id", "at", "note"), row, strict=False)) | line
                for row in rows
                for line in json.loads(row[4])
            ]
        )

    def bends(self, bag=None):
        """Return a DataFrame, a row a bend done, of one bag or of all."""
        sql = f"""SELECT bend.id AS bend_id, bag_id, label AS club, day, bend_deg, note FROM bend JOIN club ON club.id = club_id
            {"" if bag is None else "WHERE bag_id = ?"} ORDER BY bend.id"""
        return self._table(sql, () if bag is None else (self._need("bag", bag),))

    def check(self):
        """Return what is wrong with the book and its photos, a sentence each (empty: all is well). Reads everything; slow."""
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

    # Inside

    @contextmanager
    def _sentences(self):
        try:
            yield
        except sqlite3.ProgrammingError as error:
            raise BookError(
                f"{self.path}: the book is closed; expected an open one; open it again with SessionBook({str(self.path)!r})"
            ) from error
        except (sqlite3.Error, UnicodeDecodeError) as error:
            code = sqlite3.SQLITE_CORRUPT if "decode" in str(error) else getattr(error, "sqlite_errorcode", 0)
            sentence = _SENTENCES.get(code) or _SENTENCES.get(code & 0xFF, _UNKNOWN)
            raise BookError(f"{self.path}: {sentence.format(wait=self._wait_s, error=error)}") from error

    @contextmanager
    def _transaction(self):
        try:
            yield
            self._db.execute("COMMIT")
        except BaseException:
            if self._db.in_transaction:
                self._db.execute("ROLLBACK")
            raise

    @contextmanager
    def _edit(self, what):
        """One transaction and one line in the list of edits; gives the edit's id."""
        with self._lock, self._sentences():
            self._db.execute("BEGIN IMMEDIATE")
            with self._transaction():
                self._edit_id = self._db.execute("INSERT INTO edit (at, what) VALUES (?, ?)", (_now(), what)).lastrowid
                yield self._edit_id

    def _insert(self, kind, values):
        row = self._db.execute(put_sql(kind, values), tuple(values.values())).lastrowid
        self._db.execute("INSERT INTO change (edit_id, kind, row_id) VALUES (?, ?, ?)", (self._edit_id, kind, row))
        return row

    def _insert_club(self, bag_id, club, day):
        club_id = self._insert("club", {"bag_id": bag_id, **club_row(club)})
        if club.gauge_lie_deg is not None:
            self._insert("gauge", {"club_id": club_id, "day": day, "gauge_lie_deg": club.gauge_lie_deg})
        return club_id

    def _correct(self, kind, rows, values):
        names = [
            self._row(kind, row)["label"] if kind == "club" else row for row in rows
        ]  # a club is known by its label
        with self._edit(f"{kind} {', '.join(map(str, names))} corrected"):
            for row in rows:
                if kind == "shot":
                    _check_counted(self._row(kind, row) | values)
                self._record(kind, row)
                self._db.execute(
                    f"UPDATE {kind} SET {', '.join(f'{name} = ?' for name in values)} WHERE id = ?",
                    (*values.values(), row),
                )

    def _delete(self, kind, row):
        self._record(kind, row)
        self._db.execute(f"DELETE FROM {kind} WHERE id = ?", (row,))

    def _record(self, kind, row):
        """Keep what stands there now, before it is changed."""
        now = self._row(kind, row)
        self._db.execute(
            "INSERT INTO change (edit_id, kind, row_id, before) VALUES (?, ?, ?, ?)",
            (self._edit_id, kind, row, now and json.dumps(now)),
        )

    def _row(self, kind, row):
        with self._lock, self._sentences():
            cursor = self._db.execute(f"SELECT * FROM {kind} WHERE id = ?", (int(row),))
            found = cursor.fetchone()
            return found and dict(zip((column[0] for column in cursor.description), found, strict=True))

    def _need(self, kind, row):
        with self._lock, self._sentences():
            known = isinstance(row, int) or hasattr(row, "__index__")
            if not known or not self._db.execute(f"SELECT 1 FROM {kind} WHERE id = ?", (int(row),)).fetchone():
                raise InputError(
                    f"there is no {kind} {row!r} in this book; expected the number it was given when it was entered"
                )
            return int(row)

    def _club_id(self, bag, label):
        with self._lock, self._sentences():
            clubs = dict(
                self._db.execute("SELECT label, id FROM club WHERE bag_id = ? ORDER BY id", (self._need("bag", bag),))
            )
        if str(label) not in clubs:
            raise InputError(
                f"no club {label!r} in the bag; expected one of {', '.join(clubs)}; correct the label, or enter the club"
            )
        return clubs[str(label)]

    def _table(self, sql, arguments=()):
        with self._lock, self._sentences():
            cursor = self._db.execute(sql, arguments)
            return pd.DataFrame(cursor.fetchall(), columns=[column[0] for column in cursor.description])

    def _keep_photo(self, photo):
        """Keep a photo under the SHA-256 of its content, and return that name."""
        try:
            content = bytes(photo) if isinstance(photo, bytes | bytearray | memoryview) else Path(photo).read_bytes()
        except (OSError, TypeError, ValueError) as error:
            raise InputError(
                f"the photo cannot be read: {error}; expected a file's path or its bytes; choose another file"
            ) from error
        final = self.photo_folder / (hashlib.sha256(content).hexdigest() + _suffix(content))
        write_whole(final, content, "the photo")
        return final.name


def _places(path):
    """Return a book's path and its photo folder, or say why no book can be there."""
    try:
        path = Path(path)
        if "\0" in str(path):
            raise ValueError("no file's name holds that")
        if path.is_dir():
            raise BookError(f"{path} is a folder; expected a file such as shop.linetilt; name a file in it")
        if path.exists() and not path.is_file():
            raise BookError(f"{path} is a device, not a file; expected a file such as shop.linetilt; name another one")
        photos = path.with_suffix(".linetilt-photos")
        if path.exists() and not path.stat().st_size and photos.is_dir() and any(photos.iterdir()):
            raise BookError(
                f"{path} is empty, and {photos.name} beside it is not; expected the book of these photos; put your last copy of it there, "
                "or move the photos away to begin a new one"
            )
    except (TypeError, ValueError) as error:
        raise BookError(
            f"the book's path is {path!r}; expected a file's name such as 'shop.linetilt'; give another one"
        ) from error
    except OSError as error:
        raise BookError(
            f"{path} cannot be looked at ({error.strerror}); expected a file in a folder of your own; choose another place or a shorter name"
        ) from error
    return path, photos


def put_sql(kind, row):
    """SQL that puts a row (a dict, or its JSON) in place, whether or not its id is taken."""
    names = list(json.loads(row) if isinstance(row, str) else row)
    update = (
        f" ON CONFLICT (id) DO UPDATE SET {', '.join(f'{name} = excluded.{name}' for name in names)}"
        if isinstance(row, str)
        else ""
    )
    return f"INSERT INTO {kind} ({', '.join(names)}) VALUES ({', '.join('?' * len(names))}){update}"


def _measured(mark, reading, start):
    """Return a shot's columns that come from measuring it."""
    flags = _get(mark, "flags") or ()
    start_deg, u_start_deg = start if isinstance(start, tuple) else (start, None)
    values = {name: _get(mark, name) for name in MARK_COLUMNS} | {
        "flags": flags if isinstance(flags, str) else ", ".join(map(str, flags)),
        "lie_error_deg": _get(reading, "lie_error_deg"),
        "u_lie_error_deg": _get(reading, "u_lie_error_deg"),
        "heading_known": bool(_get(reading, "heading_known")),
        "start_deg": start_deg,
        "u_start_deg": u_start_deg,
    }
    tables = {"mark_budget": _to_json(_get(mark, "budget")), "lie_budget": _to_json(_get(reading, "budget"))}
    return check_entry(values) | tables | {"marks": _marks_of(mark)}


def _marks_of(mark):
    """Return the places of a mark in its photo as JSON, to a hundredth of a pixel, or None."""
    corners, line = _get(mark, "corners"), _get(mark, "line")
    if corners is None or line is None:
        return None
    places = {
        name: np.round(np.asarray(points, float), 2).tolist() for name, points in (("corners", corners), ("line", line))
    }
    return json.dumps(places | {"by_hand": list(_get(mark, "by_hand") or ())})


def _check_counted(shot):
    if shot["counted"] and shot["lie_error_deg"] is None:
        raise InputError(
            "counted is True for a shot without a lie reading; expected a reading; give it as well, or set the shot aside"
        )


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


def _now():
    return datetime.now(UTC).isoformat(timespec="milliseconds")


def _suffix(content):
    if content[4:8] == b"ftyp":
        return ".heic"
    return next((end for start, end in PICTURE_STARTS.items() if content.startswith(start)), ".bin")
