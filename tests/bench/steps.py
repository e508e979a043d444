"""What every step finds on sixty photos: `python tests/bench/steps.py` remakes `tests/reference/steps.csv`.

Says which step moved on which photo since the file was made, the first one of each. `python tests/bench/steps.py check`
leaves the file as it is.
"""

import sys
import time
from pathlib import Path

sys.path[:0] = [str(Path(__file__).parents[1])]

from reading_steps import KEPT, PHOTOS, kept, moved, read, versions


def main(check=""):
    start = time.perf_counter()
    table = read(PHOTOS)
    print(f"{len(table)} photos in {time.perf_counter() - start:.0f} s, {(table['code'] == '').sum()} answered")
    if KEPT.exists():
        old, made = kept()
        if made != versions():
            print(f"the kept file was made with {made}, this run with {versions()}: the last digits may differ")
        for name in table.index:
            said = moved(old.loc[name], table.loc[name]) if name in old.index else "is new"
            if said:
                print(f"{name}: {said}")
    if not check:
        KEPT.parent.mkdir(exist_ok=True)
        with KEPT.open("w", encoding="utf-8") as file:
            file.write(f"# {versions()}\n")
            table.to_csv(file, lineterminator="\n")


if __name__ == "__main__":
    main(*sys.argv[1:])
