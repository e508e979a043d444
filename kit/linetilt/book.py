"""SessionBook: one SQLite file that keeps golfers, bags, sessions, shots, plans and bends; the photos lie beside it.

The file is in SQLite's rollback-journal mode with ``synchronous=EXTRA``: when a method that writes has returned, its data is
on the disk, and between writes the book is one whole file that may be copied, put on a stick or on a network drive (a
write-ahead log would leave acknowledged shots in a second file and does not work across a network).
"""

import hashlib
import json
import os
import shutil
import sqlite3
import tempfile
import threading
import uuid
from contextlib import closing, contextmanager
from dataclasses import asdict, fields, replace
from datetime import UTC, date, datetime
from pathlib import Path

import pandas as pd

from .club import HANDS, Bag, Club, check_number
from .errors import BookError, InputError

APPLICATION_ID = 0x6C74424B  # "ltBK" in the file's header: this SQLite file is a book
PICTURE_STARTS = {b"\xff\xd8": ".jpg", b"\x89PNG": ".png", b"RIFF": ".webp"}  # else .heic or .bin, see `_suffix`

# Steps of the schema: a book's version is the number of steps done. Never change a step that was released; add one.
STEPS = (
    (
        "CREATE TABLE edit (id INTEGER PRIMARY KEY AUTOINCREMENT, at TEXT NOT NULL, what TEXT NOT NULL, undoes INTEGER UNIQUE REFERENCES edit)",
        # One row for each row that an edit touched: what stood there before (JSON), nothing where the edit added it.
        """CREATE TABLE change (id INTEGER PRIMARY KEY AUTOINCREMENT, edit_id INTEGER NOT NULL REFERENCES edit, kind TEXT NOT NULL,
            row_id INTEGER NOT NULL, before TEXT)""",
        "CREATE INDEX change_of_row ON change (kind, row_id)",
        "CREATE INDEX change_of_edit ON change (edit_id)",
        "CREATE TABLE golfer (id INTEGER PRIMARY KEY AUTOINCREMENT, name TEXT NOT NULL, handed TEXT NOT NULL, note TEXT NOT NULL)",
        """CREATE TABLE bag (id INTEGER PRIMARY KEY AUTOINCREMENT, golfer_id INTEGER NOT NULL REFERENCES golfer, name TEXT NOT NULL,
            note TEXT NOT NULL)""",
        """CREATE TABLE club (id INTEGER PRIMARY KEY AUTOINCREMENT, bag_id INTEGER NOT NULL REFERENCES bag, label TEXT NOT NULL,
            loft_deg REAL NOT NULL, handed TEXT NOT NULL, score_line_length_mm REAL, score_line_pitch_mm REAL,
            score_line_width_mm REAL, lie_deg REAL, length_in REAL, head TEXT, bend_limit_deg REAL, bent_deg REAL NOT NULL,
            from_set INTEGER NOT NULL, UNIQUE (bag_id, label))""",
        """CREATE TABLE gauge (id INTEGER PRIMARY KEY AUTOINCREMENT, club_id INTEGER NOT NULL REFERENCES club, day TEXT NOT NULL,
            gauge_lie_deg REAL NOT NULL)""",
        "CREATE INDEX gauge_of_club ON gauge (club_id)",
        """CREATE TABLE session (id INTEGER PRIMARY KEY AUTOINCREMENT, bag_id INTEGER NOT NULL REFERENCES bag, day TEXT NOT NULL,
            place TEXT NOT NULL, retest_of INTEGER REFERENCES session, note TEXT NOT NULL)""",
        "CREATE INDEX session_of_bag ON session (bag_id)",
        """CREATE TABLE shot (id INTEGER PRIMARY KEY AUTOINCREMENT, session_id INTEGER NOT NULL REFERENCES session,
            number INTEGER NOT NULL, club_id INTEGER NOT NULL REFERENCES club, at TEXT NOT NULL, photo TEXT,
            tilt_deg REAL, u_tilt_deg REAL, strike_toe_mm REAL, u_strike_toe_mm REAL, strike_up_mm REAL, u_strike_up_mm REAL,
            line_width_mm REAL, u_line_width_mm REAL, flags TEXT NOT NULL, lie_error_deg REAL, u_lie_error_deg REAL,
            heading_known INTEGER NOT NULL, start_deg REAL, u_start_deg REAL, counted INTEGER NOT NULL, why TEXT NOT NULL,
            note TEXT NOT NULL, mark_budget TEXT, lie_budget TEXT, UNIQUE (session_id, number))""",
        "CREATE INDEX shot_of_club ON shot (club_id)",
        "CREATE INDEX shot_counted ON shot (session_id, counted)",
        "CREATE INDEX shot_of_photo ON shot (photo)",
        """CREATE TABLE plan (id INTEGER PRIMARY KEY AUTOINCREMENT, session_id INTEGER NOT NULL REFERENCES session, at TEXT NOT NULL,
            lines TEXT NOT NULL, note TEXT NOT NULL)""",
        "CREATE INDEX plan_of_session ON plan (session_id)",
        """CREATE TABLE bend (id INTEGER PRIMARY KEY AUTOINCREMENT, club_id INTEGER NOT NULL REFERENCES club, day TEXT NOT NULL,
            bend_deg REAL NOT NULL, after_gauge INTEGER REFERENCES gauge, note TEXT NOT NULL)""",
        "CREATE INDEX bend_of_club ON bend (club_id)",
    ),
)

KINDS = ("golfer", "bag", "club", "gauge", "session", "shot", "plan", "bend")
_MARK = ("tilt_deg", "u_tilt_deg", "strike_toe_mm", "u_strike_toe_mm", "strike_up_mm", "u_strike_up_mm", "line_width_mm", "u_line_width_mm")
_NUMBERS = {*_MARK, "lie_error_deg", "u_lie_error_deg", "start_deg", "u_start_deg"}
_CLUB = tuple(field.name for field in fields(Club) if field.name != "gauge_lie_deg")
_SHOT_COLUMNS = ("number", "at", "photo", *_MARK, "flags", "lie_error_deg", "u_lie_error_deg", "heading_known",
                 "start_deg", "u_start_deg", "counted", "why", "note")  # fmt: skip

_SENTENCES = {
    sqlite3.SQLITE_FULL: "the disk is full; nothing of this entry was kept; free some space and enter it again",
    sqlite3.SQLITE_READONLY: "the book or its folder may only be read; copy the book to a folder of your own",
    sqlite3.SQLITE_CANTOPEN: "the book cannot be opened there; check that the folder exists and that you may write in it",
    sqlite3.SQLITE_PERM: "you have no right to this book; ask its owner, or copy it to a folder of your own",
    sqlite3.SQLITE_BUSY: "another program keeps the book busy; nothing of this entry was kept; close the other one or try again",
    sqlite3.SQLITE_LOCKED: "another program keeps the book busy; nothing of this entry was kept; close the other one or try again",
    sqlite3.SQLITE_CORRUPT: "the book is damaged; leave it as it is, and save what can be read with linetilt.book.rescue(this book, a new name)",
    sqlite3.SQLITE_NOTADB: "this is not a book of linetilt, or its first page is damaged; choose another file, or take your last copy",
    sqlite3.SQLITE_CONSTRAINT: "that clashes with another entry (two clubs of one name in a bag?); nothing of this entry was kept",
    sqlite3.SQLITE_IOERR: "the disk could not read or write the book; check the drive or the network, then open it again",
}


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
        self.path = Path(path)
        self.photo_folder = self.path.with_suffix(".linetilt-photos")
        self._lock = threading.RLock()
        self._db = None
        try:
            with self._sentences():
                if self.path.is_dir():
                    raise BookError(f"{self.path} is a folder; expected a file such as shop.linetilt")
                self._db = sqlite3.connect(self.path, timeout=wait_s, isolation_level=None, check_same_thread=False)
                self._db.execute("PRAGMA foreign_keys = ON")
                self._db.execute("PRAGMA synchronous = EXTRA")
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
        version, mine = (self._db.execute(f"PRAGMA {name}").fetchone()[0] for name in ("user_version", "application_id"))
        if mine != APPLICATION_ID and (version or mine or self._db.execute("SELECT 1 FROM sqlite_master").fetchone()):
            raise BookError(f"{self.path} is not a book of linetilt but some other program's file; it was left as it is; choose another name")
        if version > len(STEPS):
            raise BookError(
                f"{self.path} was written by a newer linetilt (version {version} of the book, this one knows {len(STEPS)}); "
                "update linetilt to open it; it was left as it is"
            )
        return version

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.close()

    def close(self):
        """Close the book; what was entered is on the disk already."""
        if self._db is not None:
            self._db.close()

    # Entering

    def add_golfer(self, name, handed="right", note=""):
        """Enter a golfer and return the golfer's id."""
        values = _check("golfer", {"name": name, "handed": handed, "note": note})
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
        values = _check("bag", {"name": name, "note": note})
        day = _day(day)
        with self._edit("bag added"):
            bag_id = self._insert("bag", {"golfer_id": self._need("golfer", golfer), **values})
            for club in bag:
                self._insert_club(bag_id, club, day)
            return bag_id

    def add_club(self, bag, club, *, day=None):
        """Add one `Club` to a bag and return the club's id; `day` dates its gauge reading, if it has one."""
        day = _day(day)
        with self._edit("club added"):
            self._need("bag", bag)
            if self._db.execute("SELECT 1 FROM club WHERE bag_id = ? AND label = ?", (bag, club.label)).fetchone():
                raise InputError(f"bag {bag} has a club {club.label!r} already; give the new one another label")
            return self._insert_club(bag, club, day)

    def add_gauge_reading(self, bag, club, gauge_lie_deg, *, day=None):
        """Enter the lie of a club read on a gauge, in degrees, and return the reading's id."""
        values = {"gauge_lie_deg": check_number("gauge_lie_deg", gauge_lie_deg, 45.0, 80.0, "degrees"), "day": _day(day)}
        with self._edit(f"gauge reading added, club {club}"):
            return self._insert("gauge", {"club_id": self._club_id(bag, club), **values})

    def add_session(self, bag, *, day=None, place="", retest_of=None, note=""):
        """Enter a session with a bag and return its id; `retest_of` is the id of the session that this one tests again."""
        values = _check("session", {"day": day, "place": place, "note": note})
        with self._edit("session added"):
            if retest_of is not None:
                retest_of = self._need("session", retest_of)
            return self._insert("session", {"bag_id": self._need("bag", bag), "retest_of": retest_of, **values})

    def add_shot(self, session, club, *, photo=None, mark=None, reading=None, start=None, counted=None, why="", note=""):
        """Enter one shot and return its id. Its photo, if any, is safe on the disk before the shot is.

        Parameters
        ----------
        session : int
        club : str
            The club's label in the session's bag.
        photo : path or bytes, optional
        mark : FaceMark or mapping, optional
            Its tilt, strike, line width, their uncertainties, flags and budget are kept, as far as it has them.
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
        has_lie = _get(reading, "lie_error_deg") is not None
        counted = has_lie if counted is None else bool(counted)
        if counted and not has_lie:
            raise InputError("counted is True for a shot without a lie reading; give the reading, or enter the shot as set aside")
        start_deg, u_start_deg = start if isinstance(start, tuple) else (start, None)
        flags = _get(mark, "flags") or ()
        values = {name: _get(mark, name) for name in _MARK} | {
            "lie_error_deg": _get(reading, "lie_error_deg"),
            "u_lie_error_deg": _get(reading, "u_lie_error_deg"),
            "heading_known": bool(_get(reading, "heading_known")),
            "start_deg": start_deg,
            "u_start_deg": u_start_deg,
            "flags": flags if isinstance(flags, str) else ", ".join(map(str, flags)),
            "counted": counted,
            "why": why or ("" if counted or has_lie else "no lie reading"),
            "note": note,
        }
        values = _check("shot", values) | {
            "mark_budget": _to_json(_get(mark, "budget")),
            "lie_budget": _to_json(_get(reading, "budget")),
            "at": _now(),
        }
        session = self._need("session", session)
        club_id = self._club_id(self._row("session", session)["bag_id"], club)
        if photo is not None:
            values["photo"] = self._keep_photo(photo)
        with self._edit(f"shot added, club {club}"):
            (number,) = self._db.execute("SELECT coalesce(max(number), 0) + 1 FROM shot WHERE session_id = ?", (session,)).fetchone()
            return self._insert("shot", {"session_id": session, "number": number, "club_id": club_id, **values})

    def set_aside(self, shot, why):
        """Leave a shot out of the pooling, saying why; ``change("shot", shot, counted=True)`` takes it in again."""
        if not str(why).strip():
            raise InputError("why is empty; say why the shot is set aside, such as \"heavy strike\"")
        self.change("shot", shot, counted=False, why=why)

    def add_plan(self, session, plan, *, note=""):
        """Keep a plan (a DataFrame, a row a club) made from a session and return its id."""
        values = _check("plan", {"note": note}) | {"lines": _to_json(plan), "at": _now()}
        with self._edit("plan added"):
            return self._insert("plan", {"session_id": self._need("session", session), **values})

    def add_bend(self, bag, club, bend_deg, *, day=None, gauge_lie_deg=None, note=""):
        """Enter a bend that was done, upright positive, in degrees, and the gauge's reading after it if there is one; return its id."""
        values = {"bend_deg": check_number("bend_deg", bend_deg, -10.0, 10.0, "degrees"), **_check("bend", {"day": day, "note": note})}
        if gauge_lie_deg is not None:
            gauge_lie_deg = check_number("gauge_lie_deg", gauge_lie_deg, 45.0, 80.0, "degrees")
        with self._edit(f"bend added, club {club}"):
            club_id = self._club_id(bag, club)
            (last,) = self._db.execute("SELECT max(id) FROM gauge WHERE club_id = ?", (club_id,)).fetchone()
            bend = self._insert("bend", {"club_id": club_id, "after_gauge": last, **values})
            if gauge_lie_deg is not None:
                self._insert("gauge", {"club_id": club_id, "day": values["day"], "gauge_lie_deg": gauge_lie_deg})
            return bend

    # Correcting

    def change(self, kind, row, **values):
        """Correct an entry; what stood there before stays in `history`.

        Parameters
        ----------
        kind : {"golfer", "bag", "club", "gauge", "session", "shot", "plan", "bend"}
        row : int
            Its id.
        **values
            Columns to correct, named as in the tables; identifiers, numbers within a session and photos stay.

        Raises
        ------
        InputError
        """
        row = self._need(_kind(kind), row)
        with self._edit(f"{kind} {row} corrected"):
            old = self._row(kind, row)
            fixed = {"id", "number", "at", "photo", "lines", "after_gauge", *(name for name in old if name.endswith(("_id", "_budget")))}
            for name in values:
                if name not in old or name in fixed:
                    raise InputError(f"{name} of a {kind} cannot be corrected; expected some of {', '.join(n for n in old if n not in fixed)}")
            if kind == "club":
                values = _club_row(replace(_club_of(old), **values))
            elif values.get("retest_of") is not None:
                values["retest_of"] = self._need("session", values["retest_of"])
            values = _check(kind, values)
            after = old | values
            if kind == "shot" and after["counted"] and after["lie_error_deg"] is None:
                raise InputError("counted is True for a shot without a lie reading; give lie_error_deg as well")
            self._record(kind, row)
            self._db.execute(f"UPDATE {kind} SET {', '.join(f'{name} = ?' for name in values)} WHERE id = ?", (*values.values(), row))

    def undo(self):
        """Take back the last edit of the book that is not yet taken back, whoever made it, and return what it was."""
        with self._lock, self._sentences():
            last = "SELECT id, what FROM edit e WHERE undoes IS NULL AND NOT EXISTS (SELECT 1 FROM edit WHERE undoes = e.id) ORDER BY id DESC"
            with self._edit("undo") as edit:
                found = self._db.execute(last + " LIMIT 2").fetchall()[1:]  # the first is this edit itself
                if not found:
                    raise InputError("there is nothing to undo in this book")
                undone, what = found[0]
                self._db.execute("UPDATE edit SET undoes = ?, what = ? WHERE id = ?", (undone, f"undone: {what}", edit))
                changes = "SELECT kind, row_id, before FROM change WHERE edit_id = ? ORDER BY id DESC"
                for kind, row, before in self._db.execute(changes, (undone,)).fetchall():
                    self._record(kind, row)
                    self._db.execute(f"DELETE FROM {kind} WHERE id = ?" if before is None else _put(kind, before),
                                     (row,) if before is None else tuple(json.loads(before).values()))  # fmt: skip
                return what

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
            edits = self._db.execute(sql, (_kind(kind), row := int(row))).fetchall()
            if not edits:
                raise InputError(f"there never was a {kind} {row} in this book")
            after = [json.loads(edit[4] or "{}") for edit in edits[1:]] + [self._row(kind, row) or {}]
        return pd.DataFrame([dict(zip(("edit_id", "at", "what", "undoes"), edit, strict=False)) | state for edit, state in zip(edits, after, strict=True)])

    # Reading

    def golfers(self):
        """Return a DataFrame, a row a golfer."""
        return self._table("SELECT id AS golfer_id, name, handed, note FROM golfer ORDER BY id")

    def bags(self):
        """Return a DataFrame, a row a bag."""
        return self._table("SELECT id AS bag_id, golfer_id, name, note FROM bag ORDER BY id")

    def clubs(self, bag):
        """Return a DataFrame, a row a club of a bag: club_id, then the columns of `read_bag` as they are now.

        Bends done count in `bent_deg`, and in `gauge_lie_deg` where no reading was taken after them.
        """
        # The reading of the latest day counts; bends entered after it was are added.
        sql = f"""SELECT id AS club_id, {", ".join(name for name in _CLUB if name != "bent_deg")},
                bent_deg + coalesce((SELECT sum(bend_deg) FROM bend WHERE club_id = club.id), 0) AS bent_deg,
                (SELECT gauge_lie_deg + coalesce((SELECT sum(bend_deg) FROM bend WHERE club_id = club.id AND after_gauge >= gauge.id), 0)
                 FROM gauge WHERE club_id = club.id ORDER BY day DESC, id DESC LIMIT 1) AS gauge_lie_deg
            FROM club WHERE bag_id = ? ORDER BY id"""
        table = self._table(sql, (self._need("bag", bag),))
        return table[["club_id", *(field.name for field in fields(Club))]].astype({"from_set": bool})

    def bag(self, bag):
        """Return a `Bag` as its clubs are now."""
        rows = self.clubs(bag).drop(columns="club_id").astype(object).to_dict("records")
        return Bag(Club(**{name: None if pd.isna(value) else value for name, value in row.items()}) for row in rows)

    def gauge_readings(self, bag):
        """Return a DataFrame, a row a gauge reading of a bag's clubs."""
        return self._table("SELECT gauge.id AS gauge_id, label AS club, day, gauge_lie_deg FROM gauge JOIN club ON club.id = club_id "
                           "WHERE bag_id = ? ORDER BY gauge.id", (self._need("bag", bag),))  # fmt: skip

    def sessions(self):
        """Return a DataFrame, a row a session, with its numbers of shots entered and counted."""
        return self._table(
            """SELECT session.id AS session_id, golfer_id, golfer.name AS golfer, bag_id, bag.name AS bag, day, place, retest_of, session.note,
                coalesce(shots, 0) AS shots, coalesce(counted, 0) AS counted
            FROM session JOIN bag ON bag.id = bag_id JOIN golfer ON golfer.id = golfer_id
                LEFT JOIN (SELECT session_id, count(*) AS shots, sum(counted) AS counted FROM shot GROUP BY session_id) ON session_id = session.id
            ORDER BY session.id"""
        )

    def shots(self, session=None):
        """Return a DataFrame, a row a shot in the order hit, of one session or of all: what `fit_bag` takes as it is."""
        sql = f"""SELECT shot.id AS shot_id, session_id, label AS club, {", ".join(_SHOT_COLUMNS)}
            FROM shot JOIN club ON club.id = club_id {"" if session is None else "WHERE session_id = ?"} ORDER BY session_id, number"""
        table = self._table(sql, () if session is None else (self._need("session", session),))
        return table.astype({name: float for name in _NUMBERS} | {"heading_known": bool, "counted": bool})

    def budget(self, shot, of="lie"):
        """Return the uncertainty budget kept with a shot, `of` its "lie" or its "mark", as a DataFrame (empty: none was kept)."""
        if of not in ("lie", "mark"):
            raise InputError(f'of is {of!r}; expected "lie" or "mark"')
        return pd.DataFrame(json.loads(self._row("shot", self._need("shot", shot))[f"{of}_budget"] or "[]"))

    def photo(self, shot):
        """Return the path of a shot's photo, or None."""
        name = self._row("shot", self._need("shot", shot))["photo"]
        return self.photo_folder / name if name else None

    def plans(self, session=None):
        """Return a DataFrame, a row a club of each plan kept: plan_id, session_id, at, note, then the plan's own columns."""
        sql = f"SELECT id, session_id, at, note, lines FROM plan {'' if session is None else 'WHERE session_id = ?'} ORDER BY id"
        with self._lock, self._sentences():
            rows = self._db.execute(sql, () if session is None else (self._need("session", session),)).fetchall()
        return pd.DataFrame(
            [dict(zip(("plan_id", "session_id", "at", "note"), row, strict=False)) | line for row in rows for line in json.loads(row[4])]
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
                notes += [f"{row[0]} {row[1]} belongs to a {row[2]} that is gone" for row in self._db.execute("PRAGMA foreign_key_check")]
                photos = [row[0] for row in self._db.execute("SELECT DISTINCT photo FROM shot WHERE photo IS NOT NULL")]
        except BookError as damage:
            return [*notes, str(damage)]
        for name in photos:
            path = self.photo_folder / name
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
            raise BookError(f"{self.path}: the book is closed; open it again with SessionBook({str(self.path)!r})") from error
        except sqlite3.Error as error:
            code = getattr(error, "sqlite_errorcode", 0) & 0xFF
            raise BookError(f"{self.path}: {_SENTENCES.get(code, f'the book answers: {error}')}") from error

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
        row = self._db.execute(_put(kind, values), tuple(values.values())).lastrowid
        self._db.execute("INSERT INTO change (edit_id, kind, row_id) VALUES (?, ?, ?)", (self._edit_id, kind, row))
        return row

    def _insert_club(self, bag_id, club, day):
        club_id = self._insert("club", {"bag_id": bag_id, **_club_row(club)})
        if club.gauge_lie_deg is not None:
            self._insert("gauge", {"club_id": club_id, "day": day, "gauge_lie_deg": club.gauge_lie_deg})
        return club_id

    def _record(self, kind, row):
        """Keep what stands there now, before it is changed."""
        now = self._row(kind, row)
        self._db.execute("INSERT INTO change (edit_id, kind, row_id, before) VALUES (?, ?, ?, ?)",
                         (self._edit_id, kind, row, now and json.dumps(now)))  # fmt: skip

    def _row(self, kind, row):
        with self._lock, self._sentences():
            cursor = self._db.execute(f"SELECT * FROM {kind} WHERE id = ?", (int(row),))
            found = cursor.fetchone()
            return found and dict(zip((column[0] for column in cursor.description), found, strict=True))

    def _need(self, kind, row):
        with self._lock, self._sentences():
            known = isinstance(row, int) or hasattr(row, "__index__")
            if not known or not self._db.execute(f"SELECT 1 FROM {kind} WHERE id = ?", (int(row),)).fetchone():
                raise InputError(f"there is no {kind} {row!r} in this book; expected the number it was given when it was entered")
            return int(row)

    def _club_id(self, bag, label):
        with self._lock, self._sentences():
            clubs = dict(self._db.execute("SELECT label, id FROM club WHERE bag_id = ? ORDER BY id", (self._need("bag", bag),)))
        if str(label) not in clubs:
            raise InputError(f"no club {label!r} in the bag; it holds {', '.join(clubs)}")
        return clubs[str(label)]

    def _table(self, sql, arguments=()):
        with self._lock, self._sentences():
            cursor = self._db.execute(sql, arguments)
            return pd.DataFrame(cursor.fetchall(), columns=[column[0] for column in cursor.description])

    def _keep_photo(self, photo):
        """Write a photo beside its final name, force it to the disk, rename it, and return its name."""
        try:
            content = bytes(photo) if isinstance(photo, bytes | bytearray | memoryview) else Path(photo).read_bytes()
        except (OSError, TypeError) as error:
            raise InputError(f"the photo cannot be read: {error}; expected a file's path or its bytes") from error
        name = hashlib.sha256(content).hexdigest() + _suffix(content)
        final = self.photo_folder / name
        beside = self.photo_folder / f".{uuid.uuid4().hex}.part"
        try:
            if not self.photo_folder.is_dir():
                self.photo_folder.mkdir(exist_ok=True)
                _sync_folder(self.path.parent)
            if not (final.is_file() and final.stat().st_size == len(content)):
                with open(beside, "wb") as file:
                    file.write(content)
                    file.flush()
                    os.fsync(file.fileno())
                os.replace(beside, final)
            _sync_folder(self.photo_folder)
        except OSError as error:
            beside.unlink(missing_ok=True)
            raise BookError(f"{self.photo_folder}: the photo could not be kept ({error.strerror or error}), nor was its shot; "
                            "check that the disk has space and that you may write in this folder, then enter the shot again") from error  # fmt: skip
        return name


def rescue(damaged, new_path):
    """Copy what can still be read of a damaged book, and its photos, into a new one. Best effort; the damaged book is not touched.

    Parameters
    ----------
    damaged, new_path : path
        The new book must not exist yet.

    Returns
    -------
    DataFrame
        kind, copied: how many entries of each kind were saved; lost: how many were seen to be unreadable (more may be gone).

    Raises
    ------
    BookError
        When not even the list of tables can be read, or `new_path` exists.
    """
    damaged, new_path = Path(damaged), Path(new_path)
    if new_path.exists():
        raise BookError(f"{new_path} exists already; expected a new name")
    if not damaged.is_file():
        raise BookError(f"{damaged} does not exist; expected the damaged book")
    with tempfile.TemporaryDirectory() as folder:
        copy = Path(folder) / "copy.linetilt"
        for end in ("", "-journal"):  # a journal left by a crash completes the copy when it is opened
            if Path(f"{damaged}{end}").exists():
                shutil.copyfile(f"{damaged}{end}", f"{copy}{end}")
        with closing(sqlite3.connect(copy)) as source:
            saved = {kind: _readable_rows(source, kind) for kind in ("edit", "change", *KINDS)}
    report = []
    with SessionBook(new_path) as book:
        book._db.execute("PRAGMA foreign_keys = OFF")  # an entry whose owner is lost is still worth keeping; `check` names it
        book._db.execute("BEGIN IMMEDIATE")
        with book._transaction():
            for kind, (rows, lost) in saved.items():
                known = {row[1] for row in book._db.execute(f"PRAGMA table_info({kind})")}
                rows = [{name: value for name, value in row.items() if name in known} for row in rows]
                before = book._db.total_changes
                for row in rows:
                    book._db.execute(_put(kind, row).replace("INSERT", "INSERT OR IGNORE", 1), tuple(row.values()))
                copied = book._db.total_changes - before
                report.append({"kind": kind, "copied": copied, "lost": lost + len(rows) - copied})
        old_photos = damaged.with_suffix(".linetilt-photos")
        for path in sorted(old_photos.glob("[0-9a-f]*")) if old_photos.is_dir() else ():
            book._keep_photo(path)
    return pd.DataFrame(report)


def _readable_rows(source, kind):
    """Return the rows of a table that can be read, as dicts, and how many seen ones cannot: spans that fail are halved until they do not."""
    try:
        names = [row[1] for row in source.execute(f"PRAGMA table_info({kind})")]
        if not names:
            raise sqlite3.DatabaseError("no such table")
    except sqlite3.DatabaseError as error:
        raise BookError("the list of tables in the damaged book cannot be read; nothing was saved; take your last copy") from error
    try:
        top = source.execute("SELECT coalesce(max(seq), 0) FROM sqlite_sequence WHERE name = ?", (kind,)).fetchone()[0]
    except sqlite3.DatabaseError:
        top = 1 << 24
    rows, lost, spans = [], 0, [(1, top)]
    while spans:
        low, high = spans.pop()
        try:
            rows += source.execute(f"SELECT * FROM {kind} WHERE id BETWEEN ? AND ? ORDER BY id", (low, high)).fetchall()
        except sqlite3.DatabaseError:
            middle = (low + high) // 2
            lost += low == high
            spans += [(middle + 1, high), (low, middle)] if low < high else []
    return [dict(zip(names, row, strict=True)) for row in rows], lost


def _put(kind, row):
    """SQL that puts a row (a dict, or its JSON) in place, whether or not its id is taken."""
    names = list(json.loads(row) if isinstance(row, str) else row)
    update = f" ON CONFLICT (id) DO UPDATE SET {', '.join(f'{name} = excluded.{name}' for name in names)}" if isinstance(row, str) else ""
    return f"INSERT INTO {kind} ({', '.join(names)}) VALUES ({', '.join('?' * len(names))}){update}"


def _check(kind, values):
    """Return the values of an entry fit to be stored, or say which one is not."""
    stored = {}
    for name, value in values.items():
        if kind == "club":
            pass
        elif name == "day":
            value = _day(value)
        elif name in ("counted", "heading_known"):
            value = int(bool(value))
        elif name in _NUMBERS:
            value = None if value is None or value != value else check_number(name, value, -1e4, 1e4, "degrees" if name.endswith("deg") else "millimetres")
        elif name in ("bend_deg", "gauge_lie_deg"):
            value = check_number(name, value, *((-10.0, 10.0) if name == "bend_deg" else (45.0, 80.0)), "degrees")
        elif name == "handed" and value not in HANDS:
            raise InputError(f'handed is {value!r}; expected "right" or "left"')
        elif name in ("name", "note", "place", "why", "flags") and (not isinstance(value, str) or (name == "name" and not value.strip())):
            raise InputError(f"{name} is {value!r}; expected {'a name' if name == 'name' else 'text'}")
        stored[name] = value
    return stored


def _club_row(club):
    row = asdict(club)
    del row["gauge_lie_deg"]  # gauge readings have a table of their own, with their dates
    return row | {"from_set": int(club.from_set)}


def _club_of(row):
    return Club(**{name: row[name] for name in _CLUB} | {"from_set": bool(row["from_set"])})


def _get(thing, name):
    """An attribute of a result or an item of a mapping, None where it has none; numbers that are NaN become None when stored."""
    return thing.get(name) if hasattr(thing, "get") and not hasattr(thing, name) else getattr(thing, name, None)


def _to_json(table):
    if table is None:
        return None
    if not isinstance(table, pd.DataFrame):
        raise InputError(f"a {type(table).__name__} was given where a table is kept; expected a DataFrame")
    return table.to_json(orient="records", double_precision=15)


def _kind(kind):
    if kind not in KINDS:
        raise InputError(f"kind is {kind!r}; expected one of {', '.join(KINDS)}")
    return kind


def _day(day):
    try:
        return date.today().isoformat() if day is None else date.fromisoformat(str(day)[:10]).isoformat()
    except ValueError as error:
        raise InputError(f"day is {day!r}; expected a date such as 2026-05-31") from error


def _now():
    return datetime.now(UTC).isoformat(timespec="milliseconds")


def _suffix(content):
    if content[4:8] == b"ftyp":
        return ".heic"
    return next((end for start, end in PICTURE_STARTS.items() if content.startswith(start)), ".bin")


def _sync_folder(folder):
    """Force a folder's list of names to the disk (not needed, and not possible, on Windows)."""
    if os.name == "posix":
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
