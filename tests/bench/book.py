"""How quick a book of 200,000 shots is, beside an empty book and beside bare SQLite doing the same, and what a write
waits for.

    python tests/bench/book.py [folder on the disk to try]

Where `strace` is installed, the times that each of SQLite's journals waits for the disk are counted as well.
"""

import os
import re
import shutil
import sqlite3
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import linetilt as lt
import pandas as pd
from linetilt.session import standing

SHOTS, SESSIONS = 200_000, 4_000
LIMITS_MS = {"open": 1000, "add a shot": 20, "lie table of a session": 1000}
CLUBS = [
    lt.Club(label=label, loft_deg=loft, lie_deg=62)
    for label, loft in (("5", 26), ("6", 30), ("7", 34), ("8", 38), ("9", 42), ("PW", 46), ("52", 52), ("56", 56))
]
MARK = {
    "tilt_deg": 1.5,
    "u_tilt_deg": 0.4,
    "budget": pd.DataFrame({"component": ["ink", "corners", "pose"], "u": [0.3, 0.2, 0.2]}),
}
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
    bag = book.add_bag(book.add_golfer("Robin"), lt.Bag(CLUBS))
    clubs = book.clubs(bag)["club_id"].tolist()
    ids = [book.add_session(bag)]
    template = book._row("shot", book.add_shot(ids[0], "7", mark=MARK, note="as any"))
    del template["id"]
    with book._edit("added", "filled"):
        for _ in range(sessions - 1):
            ids.append(book._insert("session", {"bag_id": bag, "day": "2026-05-31", "place": "", "note": ""}))
        for n in range(shots):
            book._insert(
                "shot",
                template
                | {"session_id": ids[n % sessions], "number": 10 + n, "club_id": clubs[n // sessions % len(clubs)]},
            )
    return ids[sessions // 2]


def bare(path):
    """The peer: one table, one index, the same durability, no history."""
    db = sqlite3.connect(path, isolation_level=None)
    db.execute("PRAGMA synchronous = EXTRA")
    db.execute("CREATE TABLE shot (id INTEGER PRIMARY KEY, session_id, club, tilt_deg, u_tilt_deg, note, budget)")
    db.execute("CREATE INDEX i ON shot (session_id)")
    return db


def sync_ms(folder):
    """How long the disk takes to have 4 kB written for good."""
    with open(folder / "sync", "wb") as file:

        def sync():
            file.write(bytes(4096))
            file.flush()
            os.fsync(file.fileno())

        return 1000 * seconds(sync, 50)


WRITES = """
import sqlite3, sys
db = sqlite3.connect(sys.argv[1], isolation_level=None)
db.execute(f"PRAGMA journal_mode = {sys.argv[2]}"), db.execute(f"PRAGMA synchronous = {sys.argv[3]}")
db.execute("CREATE TABLE shot (id INTEGER PRIMARY KEY, note)")
for n in range(int(sys.argv[5])):
    db.execute("BEGIN IMMEDIATE"), db.execute("INSERT INTO shot (note) VALUES (?)", ("x" * 900,)), db.execute("COMMIT")
    if sys.argv[4] == "copied back":
        db.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchall()
import os
os._exit(0)
"""


def syncs(folder):
    """Count the times that one write of bare SQLite waits for the disk, by its journal; nothing where strace is not
    installed."""
    if shutil.which("strace") is None:
        return {}
    found = {}
    for mode, durability, after in (
        ("DELETE", "EXTRA", ""),
        ("DELETE", "FULL", ""),
        ("TRUNCATE", "EXTRA", ""),
        ("PERSIST", "EXTRA", ""),
        ("PERSIST", "NORMAL", ""),
        ("WAL", "FULL", ""),
        ("WAL", "FULL", "copied back"),
    ):
        counted = []
        for writes in (10, 30):
            path = folder / f"{mode}{durability}{after}{writes}.db"
            trace = [
                "strace",
                "-f",
                "-c",
                "-e",
                "trace=fsync,fdatasync",
                sys.executable,
                "-c",
                WRITES,
                path,
                mode,
                durability,
                after,
                str(writes),
            ]
            said = subprocess.run(trace, capture_output=True, text=True, check=True).stderr
            counted.append(
                sum(int(line.split()[3]) for line in said.splitlines() if re.search(r" fdatasync$| fsync$", line))
            )
        found[f"{mode} {durability} {after}".strip()] = (counted[1] - counted[0]) / 20
    return found


def main(shots=SHOTS, sessions=SESSIONS):
    with tempfile.TemporaryDirectory(dir=sys.argv[1] if len(sys.argv) > 1 else None) as folder:
        folder = Path(folder)
        with lt.SessionBook(folder / "big.linetilt") as big, lt.SessionBook(folder / "small.linetilt") as small:
            session = fill(big, shots, sessions)
            first = fill(small, 10, 1)
            budget = big._row("shot", 1)["mark_budget"]
            peer = bare(folder / "peer.db")
            row = ("7", MARK["tilt_deg"], MARK["u_tilt_deg"], "as any", budget)
            peer.execute("BEGIN")
            insert = "INSERT INTO shot (session_id, club, tilt_deg, u_tilt_deg, note, budget) VALUES (?, ?, ?, ?, ?, ?)"
            peer.executemany(insert, ((n % sessions, *row) for n in range(shots)))
            peer.execute("COMMIT")
            count = iter(range(10**6))

            def add(book, into, photo=False):
                return lambda: book.add_shot(into, "7", mark=MARK, photo=PHOTO + b"%d" % next(count) if photo else None)

            def add_bare():
                peer.execute("BEGIN IMMEDIATE")
                peer.execute(insert, (7, *row))
                peer.execute("COMMIT")

            def stand(book, of):
                def after_a_write():  # what was derived before is kept until somebody writes
                    book.keep_setting(of, "any", next(count))
                    standing(book, of)

                return after_a_write

            def open_again(name):
                return lambda: lt.SessionBook(folder / name).close()

            part = "SELECT id, session_id, club, tilt_deg, u_tilt_deg, note FROM shot"
            rows = [
                ("open", seconds(open_again("big.linetilt"), 20), seconds(open_again("small.linetilt"), 20), None),
                (
                    "add a shot",
                    seconds(add(big, session), 100),
                    seconds(add(small, first), 100),
                    seconds(add_bare, 100),
                ),
                (
                    "add a shot with a photo of 100 kB",
                    seconds(add(big, session, True), 50),
                    seconds(add(small, first, True), 50),
                    None,
                ),
                (
                    "correct a shot",
                    seconds(lambda: big.change("shot", 1000, note="again"), 50),
                    seconds(lambda: small.change("shot", 5, note="again"), 50),
                    None,
                ),
                (
                    "shots of one session",
                    seconds(lambda: big.shots(session), 20),
                    seconds(lambda: small.shots(first), 20),
                    seconds(lambda: pd.read_sql_query(part + " WHERE session_id = 7", peer), 20),
                ),
                (
                    "lie table of a session",
                    seconds(stand(big, session), 5),
                    seconds(stand(small, first), 5),
                    None,
                ),
                ("list of sessions", seconds(big.sessions, 3), seconds(small.sessions, 20), None),
                ("all shots", seconds(big.shots, 3), None, seconds(lambda: pd.read_sql_query(part, peer), 3)),
            ]
            peer.close()
        size = (folder / "big.linetilt").stat().st_size / 1e6
        wait, counts = sync_ms(folder), syncs(folder)
    print(
        f"| {shots:,} shots in {sessions:,} sessions, {size:.0f} MB | this book, ms | book of 10 shots, ms | bare "
        f"SQLite, {shots:,} rows, ms |"
    )
    print("| --- | --- | --- | --- |")
    for name, *values in rows:
        print(f"| {name} | " + " | ".join("" if value is None else f"{1000 * value:.1f}" for value in values) + " |")
    print(
        f"\nOne wait for this disk takes {wait:.2f} ms. Waits a write, by SQLite's journal: "
        f"{', '.join(f'{mode} {count:g}' for mode, count in counts.items()) or 'not counted'}."
    )
    for name, value, *_ in rows:
        if name in LIMITS_MS:
            print(
                f"{name}: {1000 * value:.1f} ms, at most {LIMITS_MS[name]} wanted: "
                f"{'kept' if 1000 * value <= LIMITS_MS[name] else 'NOT KEPT'}"
            )


if __name__ == "__main__":
    main()
