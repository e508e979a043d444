"""One SQLite file, written so that what was acknowledged survives a crash: opening it, transactions, edits that keep
what they replace.

The file is in SQLite's rollback-journal mode with ``synchronous=EXTRA``: when a method that writes has returned, its
data is on the disk, and between writes the book is one whole file that may be copied, put on a stick or on a network
drive. While the book is open its journal stays beside it, emptied (PERSIST): of the five times that a write asks the
disk to have something written for good, the folder's then has nothing to write. A closed book is one file. A
write-ahead log asks once, but would leave acknowledged shots in a second file, and does not work across a network
(sqlite.org/wal.html). Counted by tests/bench/book.py.
"""

import hashlib
import json
import os
import platform
import sqlite3
import threading
from collections.abc import Callable, Hashable, Iterator
from contextlib import contextmanager, suppress
from datetime import UTC, datetime
from functools import wraps
from os import PathLike
from pathlib import Path
from typing import Any

import pandas as pd

from ..base.errors import BookError, InputError, SessionChanged
from ..base.files import write_whole
from .schema import APPLICATION_ID, STEPS

PICTURE_STARTS = {b"\xff\xd8": ".jpg", b"\x89PNG": ".png", b"RIFF": ".webp"}  # else .heic or .bin, see `_suffix`
BAY_VARIABLE = "LINETILT_BAY"  # names the place where balls are hit, if two of them share one machine

_AGAIN = "nothing of this entry was kept"
_SENTENCES = {  # by SQLite's result code: what was found, what was expected, what to do next
    sqlite3.SQLITE_FULL: f"the disk is full; expected room for the entry; {_AGAIN}: free some space and enter it again",
    sqlite3.SQLITE_READONLY: "the book or its folder may only be read; expected one that you may write in; copy the "
    "book to a folder of your own",
    sqlite3.SQLITE_READONLY_DBMOVED: "the book's file was moved or deleted while it was open; expected it where it "
    f"was opened; {_AGAIN}: "
    "put the file back and open it again",
    sqlite3.SQLITE_CANTOPEN: "the book cannot be opened there; expected a file in a folder that exists and in which "
    "you may write; check both, or choose another place",
    sqlite3.SQLITE_PERM: "you have no right to this book; expected one that you may read and write; ask its owner, "
    "or copy it to a folder of your own",
    sqlite3.SQLITE_BUSY: f"another program keeps the book busy; expected it to let go within {{wait:g}} s; {_AGAIN}: "
    "close the other program or try again",
    sqlite3.SQLITE_CORRUPT: "the book is damaged; expected a whole one; leave it as it is, and save what can be read "
    "with linetilt.rescue_book(this book, a new name)",
    sqlite3.SQLITE_NOTADB: "the file does not begin as a book does; expected a book of linetilt; choose another "
    "file, or, if this was one, "
    "save what can be read with linetilt.rescue_book(this book, a new name)",
    sqlite3.SQLITE_CONSTRAINT: "that clashes with another entry; expected two clubs of a bag to have two names; "
    f"{_AGAIN}: give it a name of its own",
    sqlite3.SQLITE_IOERR: "the disk could not read or write the book; expected a drive that answers and has room; "
    f"{_AGAIN}: check the drive or the network, "
    "then open the book again",
}
_SENTENCES[sqlite3.SQLITE_LOCKED] = _SENTENCES[sqlite3.SQLITE_BUSY]
_UNKNOWN = (
    f"the book answers: {{error}}; expected an entry that it can hold; {_AGAIN}: open it again, and look at it with "
    "check()"
)


def reading(method):
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


class Store:
    """The file behind a `SessionBook`: what all its parts stand on."""

    def __init__(self, path: str | PathLike[str], *, wait_s: float = 10.0) -> None:
        self._lock, self._db, self._wait_s = threading.RLock(), None, wait_s
        self._acting, self._derived = threading.local(), {}
        self.bay = os.environ.get(BAY_VARIABLE) or platform.node() or "bay"
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
            for step in self._steps_to_do():  # looked at again: another process may have just done them
                if callable(step):
                    step(self._db)
                else:
                    for statement in step:
                        self._db.execute(statement)
            self._db.execute(f"PRAGMA application_id = {APPLICATION_ID}")
            self._db.execute(f"PRAGMA user_version = {len(STEPS)}")

    def _steps_to_do(self):
        done = self._version()
        if done == 3 and any(column[1] == "marks" for column in self._db.execute("PRAGMA table_info(shot)")):
            return STEPS[2], *STEPS[4:]  # a kit of one week added the marks first, and the settings not at all
        return STEPS[done:]

    def _version(self):
        version, mine = (
            self._db.execute(f"PRAGMA {name}").fetchone()[0] for name in ("user_version", "application_id")
        )
        if mine != APPLICATION_ID and (version or mine or self._db.execute("SELECT 1 FROM sqlite_master").fetchone()):
            raise BookError(
                f"{self.path} is not a book of linetilt but some other program's file; expected a book or a new "
                "name; it was left as it is; choose another name"
            )
        if version > len(STEPS):
            raise BookError(
                f"{self.path} was written by a newer linetilt (version {version} of the book, this one knows "
                f"{len(STEPS)}); "
                "expected one of this version or an older one; it was left as it is; update linetilt to open it"
            )
        return version

    def close(self) -> None:
        """Close the book; what was entered is on the disk already."""
        if self._db is not None:
            with suppress(
                sqlite3.Error, UnicodeDecodeError
            ):  # closed already, damaged, or another process is writing: then the last one to close tidies up
                self._db.execute("PRAGMA journal_mode = DELETE")
            self._db.close()

    # Who writes

    @contextmanager
    def acting(self, screen: str, session: int | None = None) -> Iterator[None]:
        """Write as one screen, which `undo` can then tell from others.

        Parameters
        ----------
        screen : str
        session : int, optional
            The session that the screen works in. Where another one was opened in this bay meanwhile, nothing is
            written.

        Raises
        ------
        SessionChanged
            By the first method that writes.
        """
        before = getattr(self._acting, "who", ("", None))
        self._acting.who = (screen, session)
        try:
            yield self
        finally:
            self._acting.who = before

    # What follows from the facts

    def state(self) -> Hashable:
        """Return a value that is another one after any write to the book, by this process or another."""
        with self._lock, self._sentences():
            return self._db.execute("PRAGMA data_version").fetchone()[0], self._db.total_changes

    def derive(self, key: Hashable, make: Callable[[], Any]) -> Any:
        """Return what `make()` gives, kept under `key` until anybody writes to the book; for what follows from the
        facts alone."""
        with self._lock:
            state = self.state()
            if self._derived.get("state") != state:
                self._derived = {"state": state}
            if key not in self._derived:
                self._derived[key] = make()
            return self._derived[key]

    # Inside

    @contextmanager
    def _sentences(self):
        try:
            yield
        except sqlite3.ProgrammingError as error:
            raise BookError(
                f"{self.path}: the book is closed; expected an open one; open it again with "
                f"SessionBook({str(self.path)!r})"
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
    def _edit(self, action, what):
        """One transaction and one line in the list of edits; gives the edit's id."""
        screen, session = getattr(self._acting, "who", ("", None))
        with self._lock, self._sentences():
            self._db.execute("BEGIN IMMEDIATE")
            with self._transaction():
                if session is not None:
                    self._same_session(session)
                self._edit_id = self._db.execute(
                    "INSERT INTO edit (at, what, action, screen, session_id) VALUES (?, ?, ?, ?, ?)",
                    (moment(), what, action, screen, session),
                ).lastrowid
                yield self._edit_id

    def _same_session(self, session):
        now = self._opened()
        if now != session:
            names = dict(
                self._db.execute(
                    "SELECT session.id, golfer.name FROM session JOIN bag ON bag.id = bag_id JOIN golfer ON "
                    "golfer.id = golfer_id "
                    "WHERE session.id IN (?, ?)",
                    (session, now),
                )
            )
            raise SessionChanged(session, now, names.get(session, "nobody"), names.get(now, "nobody"))

    def _opened(self):
        """Return the session opened last in this bay, or in any where none was opened here; of a rescued book one whose
        bag is not lost."""
        listed = """SELECT session_id FROM opening WHERE {} AND EXISTS (SELECT 1
            FROM session JOIN bag ON bag.id = bag_id
            JOIN golfer ON golfer.id = golfer_id WHERE session.id = opening.session_id) ORDER BY id DESC LIMIT 1"""
        here = self._db.execute(listed.format("bay = ?"), (self.bay,)).fetchone()
        row = here or self._db.execute(listed.format("TRUE")).fetchone()
        return row and row[0]

    def _insert(self, kind, values):
        row = self._db.execute(put_sql(kind, values), tuple(values.values())).lastrowid
        self._db.execute("INSERT INTO change (edit_id, kind, row_id) VALUES (?, ?, ?)", (self._edit_id, kind, row))
        return row

    def _update(self, kind, row, values):
        self._record(kind, row)
        self._db.execute(
            f"UPDATE {kind} SET {', '.join(f'{name} = ?' for name in values)} WHERE id = ?", (*values.values(), row)
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
                f"no club {label!r} in the bag; expected one of {', '.join(clubs)}; correct the label, or enter the "
                "club"
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
                f"{path} is empty, and {photos.name} beside it is not; expected the book of these photos; put your "
                "last copy of it there, "
                "or move the photos away to begin a new one"
            )
    except (TypeError, ValueError) as error:
        raise BookError(
            f"the book's path is {path!r}; expected a file's name such as 'shop.linetilt'; give another one"
        ) from error
    except OSError as error:
        raise BookError(
            f"{path} cannot be looked at ({error.strerror}); expected a file in a folder of your own; choose another "
            "place or a shorter name"
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


def moment():
    return datetime.now(UTC).isoformat(timespec="milliseconds")


def _suffix(content):
    if content[4:8] == b"ftyp":
        return ".heic"
    return next((end for start, end in PICTURE_STARTS.items() if content.startswith(start)), ".bin")
