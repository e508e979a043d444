"""Write readings.csv: what the kit reads from the demo photos, and what a fitter decides on each. Run: python
demo_photos/readings.py"""

import json
import tempfile
from pathlib import Path

import linetilt as lt
import pandas as pd
from linetilt.book.schema import LENGTH_COLUMNS, MARK_COLUMNS
from linetilt.session.which_book import READINGS

HERE = Path(__file__).parent
DECIDED = {
    "heavy": "heavy strike",
    "hit twice without wiping": "double print",
    "photo taken in a hurry": "other",
}  # by the note in shots.csv
COLUMNS = [
    "photo",
    "club",
    *MARK_COLUMNS,
    *LENGTH_COLUMNS,
    "remarks",
    "net_left_mm",
    "net_distance_mm",
    "state",
    "reason",
    "why",
]


def read_photos(names=None):
    """Measure photos as the photo panel does and decide as their notes say; return a DataFrame, a row a photo.

    Parameters
    ----------
    names : sequence of str, optional
        Such as "6-4.jpg"; default all of the right-handed golfer.
    """
    listed = pd.read_csv(HERE / "shots.csv", dtype={"club": str})
    notes = {
        Path(photo).name: note
        for photo, note in zip(listed["photo"], listed["note"].fillna(""))
        if photo.startswith("perrin/")
    }
    with tempfile.TemporaryDirectory() as folder, lt.open_book(Path(folder, "own.linetilt"), demo=HERE) as book:
        intake = lt.session.open_photos(book, demo=HERE)
        for entry in intake.entries():
            if names is not None and entry.name not in names:
                continue
            try:
                intake.take(entry.name)
            except lt.PhotoError:
                continue  # the book says why
            why = DECIDED.get(notes[entry.name])
            intake.set_aside(entry.name, why) if why else intake.count(entry.name)
        shots = book.shots(intake.session).rename(columns={"photo": "content", "note": "photo"})
        places = [book.marks(int(shot)) or {} for shot in shots["shot_id"]]
    return shots[COLUMNS].assign(
        **{kind: [json.dumps(place[kind]) if place else "" for place in places] for kind in ("corners", "line")}
    )


if __name__ == "__main__":
    table = read_photos()
    table.round(4).to_csv(HERE / READINGS, index=False)
    print(f"{int((table['state'] == 'counted').sum())} of {len(table)} photos count")
