"""How quick a book of 200,000 shots is, beside an empty book and beside bare SQLite doing the same. Run: python tests/bench/book.py"""

import sqlite3
import statistics
import sys
import tempfile
import time
from pathlib import Path

import pandas as pd

import linetilt as lt

SHOTS, SESSIONS = 200_000, 4_000
READING = lt.lie_reading(1.5, 34, u_tilt_deg=0.4)
PHOTO = bytes(range(256)) * 400  # 100 kB, other content for each shot below


def seconds(call, repeats):
    """Median time of one call."""
    times = []
    for _ in range(repeats):
        start = time.perf_counter()
        call()
        times.append(time.perf_counter() - start)
    return statistics.median(times)


def fill(book, shots, sessions):
    """Enter shots in bulk, through the book's own rows but in one transaction."""
    bag = book.add_bag(book.add_golfer("Robin"), lt.Bag([lt.Club(label="7", loft_deg=34)]))
    ids = [book.add_session(bag)]
    template = book._row("shot", book.add_shot(ids[0], "7", reading=READING, note="as any"))
    del template["id"]
    with book._edit("filled"):
        for _ in range(sessions - 1):
            ids.append(book._insert("session", {"bag_id": bag, "day": "2026-05-31", "place": "", "note": ""}))
        for n in range(shots):
            book._insert("shot", template | {"session_id": ids[n % sessions], "number": 10 + n})
    return ids[sessions // 2]


def bare(path):
    """The peer: one table, one index, the same durability, no history."""
    db = sqlite3.connect(path, isolation_level=None)
    db.execute("PRAGMA synchronous = EXTRA")
    db.execute("CREATE TABLE shot (id INTEGER PRIMARY KEY, session_id, club, lie_error_deg, u_lie_error_deg, note, budget)")
    db.execute("CREATE INDEX i ON shot (session_id)")
    return db


def main(shots=SHOTS, sessions=SESSIONS):
    with tempfile.TemporaryDirectory(dir=sys.argv[1] if len(sys.argv) > 1 else None) as folder:
        folder = Path(folder)
        with lt.SessionBook(folder / "big.linetilt") as big, lt.SessionBook(folder / "small.linetilt") as small:
            session = fill(big, shots, sessions)
            first = fill(small, 10, 1)
            budget = big._row("shot", 1)["lie_budget"]
            peer = bare(folder / "peer.db")
            row = ("7", READING.lie_error_deg, READING.u_lie_error_deg, "as any", budget)
            peer.execute("BEGIN")
            insert = "INSERT INTO shot (session_id, club, lie_error_deg, u_lie_error_deg, note, budget) VALUES (?, ?, ?, ?, ?, ?)"
            peer.executemany(insert, ((n % sessions, *row) for n in range(shots)))
            peer.execute("COMMIT")
            count = iter(range(10**6))

            def add(book, into, photo=False):
                return lambda: book.add_shot(into, "7", reading=READING, photo=PHOTO + b"%d" % next(count) if photo else None)

            def add_bare():
                peer.execute("BEGIN IMMEDIATE")
                peer.execute(insert, (7, *row))
                peer.execute("COMMIT")

            def open_again(name):
                return lambda: lt.SessionBook(folder / name).close()

            part = "SELECT id, session_id, club, lie_error_deg, u_lie_error_deg, note FROM shot"
            rows = [
                ("open", seconds(open_again("big.linetilt"), 20), seconds(open_again("small.linetilt"), 20), None),
                ("add a shot", seconds(add(big, session), 100), seconds(add(small, first), 100), seconds(add_bare, 100)),
                ("add a shot with a photo of 100 kB", seconds(add(big, session, True), 50), seconds(add(small, first, True), 50), None),
                ("correct a shot", seconds(lambda: big.change("shot", 1000, note="again"), 50),
                 seconds(lambda: small.change("shot", 5, note="again"), 50), None),
                ("shots of one session", seconds(lambda: big.shots(session), 20), seconds(lambda: small.shots(first), 20),
                 seconds(lambda: pd.read_sql_query(part + " WHERE session_id = 7", peer), 20)),
                ("list of sessions", seconds(big.sessions, 3), seconds(small.sessions, 20), None),
                ("all shots", seconds(big.shots, 3), None, seconds(lambda: pd.read_sql_query(part, peer), 3)),
            ]  # fmt: skip
            peer.close()
        size = (folder / "big.linetilt").stat().st_size / 1e6
    print(f"| {shots:,} shots in {sessions:,} sessions, {size:.0f} MB | this book, ms | book of 10 shots, ms | bare SQLite, {shots:,} rows, ms |")
    print("| --- | --- | --- | --- |")
    for name, *values in rows:
        print(f"| {name} | " + " | ".join("" if value is None else f"{1000 * value:.1f}" for value in values) + " |")


if __name__ == "__main__":
    main()
