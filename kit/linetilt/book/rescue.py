"""Save what can still be read of a damaged book."""

import json
import shutil
import sqlite3
import tempfile
from contextlib import closing
from os import PathLike
from pathlib import Path

import pandas as pd

from ..base.errors import BookError
from .book import SessionBook
from .schema import KINDS, check_entry, club_of, facts_of_old
from .store import moment, put_sql

_TABLES = ("edit", "change", *KINDS, "setting", "opening")
_JSON = ("before", "lines", "basis", "mark_budget", "lie_budget", "marks")
_TYPES = {"INTEGER": (int,), "TEXT": (str,), "REAL": (int, float)}
_PAGE, _HEADER = 4096, 100  # bytes; sqlite.org/fileformat2.html, "The Database Header"


def rescue_book(damaged: str | PathLike[str], new_path: str | PathLike[str]) -> pd.DataFrame:
    """Copy what can still be read of a damaged book, and its photos, into a new one. Best effort; the damaged book is
    not touched.

    A book whose first page is lost or that was cut short is read as far as it goes. An entry that cannot be read any
    more is saved as it was before its last correction, where there was one; the new book's `history` names it. An entry
    whose owner is lost, such as a shot whose club is, is saved too, but the new book's lists leave it out; its
    `check` names it.

    Parameters
    ----------
    damaged, new_path : path
        The new book must not exist yet.

    Returns
    -------
    DataFrame
        kind, copied: how many entries of each kind were saved; older: how many of those as they were before their last
        correction; lost: how many were seen to be unreadable (more may be gone).

    Raises
    ------
    BookError
        When not even the list of tables can be read, or `new_path` exists.
    """
    damaged, new_path = Path(damaged), Path(new_path)
    if new_path.exists():
        raise BookError(f"{new_path} exists already; expected a name for a new book; give another one")
    if not damaged.is_file():
        raise BookError(f"there is no file {damaged}; expected the damaged book; give its path")
    with tempfile.TemporaryDirectory() as folder:
        saved = _read(damaged, Path(folder))
    with SessionBook(new_path) as book:
        book._db.execute(
            "PRAGMA foreign_keys = OFF"
        )  # an entry whose owner is lost is still worth keeping; `check` names it
        book._db.execute("BEGIN IMMEDIATE")
        with book._transaction():
            report = [{"kind": kind} | dict.fromkeys(("copied", "older", "lost"), 0) for kind in _TABLES]
            for line in report:
                rows, line["lost"] = saved[line["kind"]][0], len(saved[line["kind"]][1])
                line["copied"] = _put(book, line["kind"], rows)
                line["lost"] += len(rows) - line["copied"]
            for line in report:
                rows = _older(book, line["kind"], saved[line["kind"]][1])
                line["older"] = _put(book, line["kind"], rows)
                line["copied"], line["lost"] = line["copied"] + line["older"], line["lost"] - line["older"]
                if line["older"]:
                    which = ", ".join(str(row["id"]) for row in rows)
                    what = f"rescued as before the last correction: {line['kind']} {which}"
                    book._db.execute("INSERT INTO edit (at, what) VALUES (?, ?)", (moment(), what))
        old_photos = damaged.with_suffix(".linetilt-photos")
        for path in sorted(old_photos.glob("[0-9a-f]*")) if old_photos.is_dir() else ():
            book._keep_photo(path)
    return pd.DataFrame(report)


def _read(damaged, folder):
    """Return by table what can be read (see `_readable_rows`): of the book as it is, or with a new book's list of
    tables in place of its own."""
    copy, fresh, best = folder / "copy.linetilt", folder / "fresh.linetilt", {}
    SessionBook(fresh).close()
    pages = [fresh.read_bytes()[place : place + _PAGE] for place in range(0, fresh.stat().st_size, _PAGE)]
    header, schema = (
        {0: pages[0][:_HEADER]},
        {0: pages[0]} | {number * _PAGE: page for number, page in enumerate(pages) if b"CREATE " in page},
    )
    for stand_in in ({}, header, schema):
        for end in ("", "-journal"):  # a journal left by a crash completes the copy when it is opened
            if Path(f"{damaged}{end}").exists():
                shutil.copyfile(f"{damaged}{end}", f"{copy}{end}")
        if stand_in:
            content = bytearray(copy.read_bytes().ljust(_PAGE, b"\0"))
            for place, part in stand_in.items():
                content[len(content) :] = bytes(max(0, place + len(part) - len(content)))
                content[place : place + len(part)] = part
            content[28:40] = (len(content) // _PAGE).to_bytes(4, "big") + bytes(8)  # size in pages; no free pages
            copy.write_bytes(content)
        try:
            with closing(sqlite3.connect(copy)) as source:
                source.execute(
                    "PRAGMA writable_schema = ON"
                )  # else SQLite reads nothing of a file that is shorter than its header says
                found = {kind: _readable_rows(source, kind) for kind in _TABLES}
                whole = all(source.execute(f"PRAGMA table_info({kind})").fetchall() for kind in KINDS) and not any(
                    lost for _, lost in found.values()
                )
        except (sqlite3.Error, UnicodeDecodeError):
            continue
        best = max(best, found, key=lambda tables: sum(len(rows) for rows, _ in tables.values()))
        if whole:
            break
    if not best:
        raise BookError(
            f"{damaged}: not even the list of tables can be read; expected a book that is damaged in parts; nothing "
            "was saved; take your last copy"
        )
    return best


def _readable_rows(source, kind):
    """Return the sound rows of a table, as dicts, and the ids of the others: spans that cannot be read are halved until
    they can."""
    types = {row[1]: row[2] for row in source.execute(f"PRAGMA table_info({kind})")}
    if not types:  # a book from before this table
        return [], []
    rows, lost, spans = [], [], [(1, _last(source, kind))]
    while spans:
        low, high = spans.pop()
        try:
            rows += source.execute(
                f"SELECT rowid, * FROM {kind} WHERE rowid BETWEEN ? AND ? ORDER BY rowid", (low, high)
            ).fetchall()
        except (sqlite3.Error, UnicodeDecodeError):
            middle = (low + high) // 2
            lost += [low] if low == high else []
            spans += [(middle + 1, high), (low, middle)] if low < high else []
    sound = []
    for number, *values in rows:
        row = dict(zip(types, values, strict=True))
        if _is_sound(kind, row, types):
            sound.append(row)
        else:
            lost.append(number)
    return sound, lost


def _last(source, kind):
    """Return the highest id that a table can hold."""
    for sql in ("SELECT seq FROM sqlite_sequence WHERE name = ?", f"SELECT max(rowid) FROM {kind} WHERE ? != ''"):
        try:
            found = source.execute(sql, (kind,)).fetchone()
            if found and isinstance(found[0], int) and 0 < found[0] < 1 << 32:
                return found[0]
        except (sqlite3.Error, UnicodeDecodeError):
            pass
    return 0


def _is_sound(kind, row, types):
    """True where every value is of its column's type and may stand there: damage can leave a row that reads, but not as
    it was written."""
    try:
        for name, value in row.items():
            if value is not None and not isinstance(value, _TYPES.get(types[name], (object,))):
                return False
            if value is not None and (name in _JSON or (kind, name) == ("setting", "value")):
                json.loads(value)
        check_entry(row)
        if kind == "club":
            club_of(row)
    except (ValueError, TypeError, KeyError):  # InputError is a ValueError
        return False
    return True


def _put(book, kind, rows):
    """Put rows in place, as far as nothing stands there yet, and return how many."""
    types = {row[1]: row[2] for row in book._db.execute(f"PRAGMA table_info({kind})")}
    before = book._db.total_changes
    for row in rows:
        row = _as_now(kind, row)
        row = {name: value for name, value in row.items() if name in types}
        if row:
            book._db.execute(put_sql(kind, row).replace("INSERT", "INSERT OR IGNORE", 1), tuple(row.values()))
    return book._db.total_changes - before


def _as_now(kind, row):
    """Return a row of an older book as this version keeps it."""
    if kind == "shot" and "counted" in row:
        return facts_of_old(row)
    if kind == "change" and row["kind"] == "shot" and "counted" in json.loads(row["before"] or "{}"):
        return row | {"before": json.dumps(facts_of_old(json.loads(row["before"])))}
    return row


def _older(book, kind, lost):
    """Return what the list of changes knows of lost entries: how each stood before its last correction."""
    sql, types = (
        "SELECT before FROM change WHERE kind = ? AND row_id = ? AND before IS NOT NULL ORDER BY id DESC LIMIT 1",
        {},
    )
    found = [book._db.execute(sql, (kind, number)).fetchone() for number in lost]
    types = {row[1]: row[2] for row in book._db.execute(f"PRAGMA table_info({kind})")}
    rows = [json.loads(before) for (before,) in filter(None, found)]
    rows = [_as_now(kind, row) for row in rows]
    return [row for row in rows if set(row) <= set(types) and _is_sound(kind, row, types)]
