"""Kill processes in the middle of writing, and count what was lost. Run: python tests/bench/kills.py [KILLS [SEED]]"""

import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))
from kills import kill_writers

WORDS = {
    "kills": "kills with SIGKILL at random moments, two writers of one book at a time",
    "acknowledged": "shots acknowledged before the kill",
    "lost": "of those not in the book",
    "changed": "of those not as they were entered (note, budget, photo)",
    "damaged": "times that the book did not open or failed SQLite's check",
    "journals": "pairs of kills that left a transaction half done, taken back at the next opening",
    "orphans": "photos written whole whose shot was not entered any more",
    "parts": "half-written photos, all under a name that no photo has",
    "halves": "half-written photos under a photo's name",
}


def main(kills=200, seed=11):
    with tempfile.TemporaryDirectory() as folder:
        found = kill_writers(Path(folder), kills, seed)
    for name, words in WORDS.items():
        print(f"{found[name]:6d}  {words}")
    sys.exit(any(found[name] for name in ("lost", "changed", "damaged", "halves")))


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
