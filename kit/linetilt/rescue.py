"""Save what can still be read of a damaged book."""

import shutil
import sqlite3
import tempfile
from contextlib import closing
from pathlib import Path

import pandas as pd

from .book import SessionBook, put_sql
from .book_schema import KINDS
from .errors import BookError


def rescue_book(damaged, new_path):
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
                    book._db.execute(put_sql(kind, row).replace("INSERT", "INSERT OR IGNORE", 1), tuple(row.values()))
                copied = book._db.total_changes - before
                report.append({"kind": kind, "copied": copied, "lost": lost + len(rows) - copied})
        old_photos = damaged.with_suffix(".linetilt-photos")
        for path in sorted(old_photos.glob("[0-9a-f]*")) if old_photos.is_dir() else ():
            book._keep_photo(path)
    return pd.DataFrame(report)


def _readable_rows(source, kind):
    """Return the rows of a table that can be read, as dicts, and how many cannot: spans that fail are halved until they do not."""
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
