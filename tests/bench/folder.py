"""How quick a look into a folder of 20,000 photos is, beside `os.walk` asking for the same sizes. Run: python
tests/bench/folder.py [PHOTOS]"""

import os
import statistics
import sys
import tempfile
import time
from pathlib import Path

import linetilt as lt
from linetilt.session.intake import PhotoIntake, open_session


def ms(call, repeats=5):
    """Median time of one call."""
    times = []
    for _ in range(repeats):
        start = time.perf_counter()
        call()
        times.append(1000 * (time.perf_counter() - start))
    return statistics.median(times)


def walk(folder):
    """The peer: every file's size and time, and no more."""
    return [os.stat(os.path.join(inside, name))[6:9] for inside, _, names in os.walk(folder) for name in names]


def main(photos=20_000):
    with tempfile.TemporaryDirectory() as home:
        folder = Path(home) / "photos"
        for n in range(photos):
            place = folder / f"{n // 1000}"
            place.mkdir(parents=True, exist_ok=True)
            (place / f"7-{n}.jpg").write_bytes(b"\xff\xd8\xff" + bytes(200 + n))
        with lt.SessionBook(Path(home) / "shop.linetilt") as book:
            session = open_session(book, lt.Bag([lt.Club(label="7", loft_deg=34)]))
            start = time.perf_counter()
            intake = PhotoIntake(book, session, folder)
            first = 1000 * (time.perf_counter() - start)
            name = intake.entries()[photos // 2].name

            def after_a_write():
                book.keep_setting(session, "any", time.perf_counter())
                intake.entries()

            rows = [
                ("first look", first),
                ("look again, nothing new", ms(intake.look)),
                ("the list after a write to the book", ms(after_a_write)),
                ("the list again", ms(intake.entries)),
                ("one photo of it", ms(lambda: intake.entry(name))),
            ]
        peer = ms(lambda: walk(folder))
    print(f"| {photos:,} photos | ms | of os.walk with sizes ({peer:.0f} ms) |")
    print("| --- | --- | --- |")
    for what, value in rows:
        print(f"| {what} | {value:.1f} | {value / peer:.2f} times |")


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
