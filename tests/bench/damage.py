"""Damage books in many ways, and count what is told and what is rescued. Run: python tests/bench/damage.py [BOOKS OF
EACH KIND [SEED]]"""

import random
import statistics
import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))
import linetilt as lt
from test_book import MARK, filled
from test_book_faults import DAMAGES, rows, spoiled, use


def main(books=100, seed=5):
    print("| damage | books | rescued | shots saved as they were, median | least | sentences that are not the kit's |")
    print("| --- | --- | --- | --- | --- | --- |")
    strangers = 0
    with tempfile.TemporaryDirectory() as folder:
        folder = Path(folder)
        with lt.SessionBook(folder / "good.linetilt") as book:
            _, session, _ = filled(book, shots=5)
            for n in range(195):
                book.add_shot(session, "5", mark=MARK, note=f"shot {n}")
            whole = rows(book)
        good, chance = (folder / "good.linetilt").read_bytes(), random.Random(seed)
        for how in DAMAGES:
            shares, rescued, wrong = [], 0, 0
            for trial in range(books if "zeroed" not in how else 1):
                bad, new = folder / f"{trial}.linetilt", folder / f"{trial}-new.linetilt"
                bad.write_bytes(spoiled(good, how, chance))
                before, share = bad.read_bytes(), 0.0
                try:
                    use(bad)
                    lt.rescue_book(bad, new)
                    rescued += 1
                    with lt.SessionBook(new) as book:
                        found = rows(book)
                    share = sum(found.get(shot) == row for shot, row in whole.items()) / len(whole)
                except lt.BookError:
                    pass
                except Exception as error:  # what is counted here
                    wrong += 1
                    print(repr(error), file=sys.stderr)
                assert bad.read_bytes() == before, "the damaged book was touched"
                shares.append(share)
                for path in (bad, new):
                    path.unlink(missing_ok=True)
            strangers += wrong
            print(
                f"| {how} | {len(shares)} | {rescued} | {statistics.median(shares):.0%} | {min(shares):.0%} | {wrong} |"
            )
    sys.exit(strangers > 0)


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
