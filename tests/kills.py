"""Processes that write in a book and are killed with SIGKILL at random moments, and what is there afterwards."""

import hashlib
import os
import random
import signal
import sqlite3
import time
from contextlib import closing
from itertools import count
from multiprocessing import get_context

import linetilt as lt
import pandas as pd


def content(tag, n):
    """A photo that only this shot can have."""
    return f"photo {tag} {n}".encode() * 2000


def write_until_killed(path, session, tag, said, photos=True):
    """Enter shots for ever, and say each one that was acknowledged."""
    mark = {"tilt_deg": 1.0, "u_tilt_deg": 0.4, "budget": pd.DataFrame({"component": ["ink"], "u": [0.4]})}
    with lt.SessionBook(path, wait_s=60) as book:
        said.send("ready")
        for n in count():
            shot = book.add_shot(session, "7", photo=content(tag, n) if photos else None, mark=mark, note=f"{tag} {n}")
            if n % 3 == 2:
                book.change("shot", shot, note=f"{tag} {n} corrected")
            said.send((shot, n))


def heard(pipe):
    """What a writer said before it died; half a message counts for nothing."""
    while True:
        try:
            yield pipe.recv()
        except EOFError:
            return


def kill_writers(folder, kills, seed, *, wait_s=0.12):
    """Kill writers of one book, two at a time, so that kills also hit a process that waits for the other.

    Parameters
    ----------
    folder : Path
    kills : int
        An even number.
    seed : int
        Of the moments.
    wait_s : float
        The longest time that a writer writes before it is killed.

    Returns
    -------
    dict
        kills, acknowledged (shots), lost (of those), changed (of those: not as they were acknowledged), damaged (times
        that the book did not open or was not whole after a kill), journals (kills in the middle of a transaction),
        orphans (photos of a shot         that was not entered), halves (half-written photos that stand under a photo's
        name), parts (half-written files         beside them).
    """
    path = folder / "shop.linetilt"
    with lt.SessionBook(path) as book:
        session = book.add_session(book.add_bag(book.add_golfer("Robin"), lt.Bag([lt.Club(label="7", loft_deg=34)])))
    start, chance, said = get_context("forkserver"), random.Random(seed), {}
    start.set_forkserver_preload(["linetilt", "kills"])
    found = dict.fromkeys(
        ("kills", "acknowledged", "lost", "changed", "damaged", "journals", "orphans", "halves", "parts"), 0
    )
    for pair in range(kills // 2):
        writers = []
        for tag in (f"{pair}a", f"{pair}b"):
            pipe, far = start.Pipe(duplex=False)
            process = start.Process(target=write_until_killed, args=(path, session, tag, far))
            process.start()
            far.close()
            writers.append((tag, pipe, process))
        for _, pipe, _ in writers:
            assert pipe.recv() == "ready"
        for tag, pipe, process in writers:
            time.sleep(chance.uniform(0, wait_s))
            os.kill(process.pid, signal.SIGKILL)
            process.join()
            said |= {shot: (tag, n) for shot, n in heard(pipe)}
            found["kills"] += 1
        journal = path.with_name(path.name + "-journal")  # after the second of a pair: nobody else is writing
        found["journals"] += journal.exists() and any(
            journal.read_bytes()[:1]
        )  # sqlite.org/atomiccommit.html: hot, if its header is not zeros
        try:
            with lt.SessionBook(path) as book:
                book.golfers()
            with closing(sqlite3.connect(path)) as plain:
                found["damaged"] += plain.execute("PRAGMA quick_check").fetchall() != [("ok",)]
        except (lt.BookError, sqlite3.Error):
            found["damaged"] += 1
    with lt.SessionBook(path) as book:
        found["damaged"] += book.check() != []
        table = book.shots(session).set_index("shot_id")
        budgets = book.budgets(session).set_index("shot_id")["u"]
        assert sorted(table["number"]) == list(range(1, len(table) + 1))
        for shot, (tag, n) in said.items():
            if shot not in table.index:
                found["lost"] += 1
                continue
            whole = book.photo(shot).read_bytes() == content(tag, n) and budgets.loc[[shot]].tolist() == [0.4]
            found["changed"] += not (whole and table["note"][shot] == f"{tag} {n}" + " corrected" * (n % 3 == 2))
        names = {file.name for file in book.photo_folder.iterdir()}
        found["parts"] = sum(name.startswith(".") for name in names)
        photos = {name for name in names if not name.startswith(".")}
        found["orphans"] = len(photos - set(table["photo"]))
        found["halves"] = sum(
            hashlib.sha256((book.photo_folder / name).read_bytes()).hexdigest() != name.partition(".")[0]
            for name in photos
        )
    return found | {"acknowledged": len(said)}
