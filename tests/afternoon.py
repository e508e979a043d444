"""The invented afternoon of the demo photos as a book: the truth behind each photo, roughened by a seed, stands for its
measurement."""

from pathlib import Path

import linetilt as lt
import numpy as np
import pandas as pd
from linetilt.session.which_book import DEMO_KNOWN

DEMO = Path(__file__).parent.parent / "demo_photos"


def afternoon(path, seed=3):
    """Return an open book with both golfers, their shots with photos, Perrin's plan handed out; sessions 1 and 2."""
    rng = np.random.default_rng(seed)
    table = pd.read_csv(DEMO / "shots.csv", dtype={"club": str}).merge(
        pd.read_csv(DEMO / "truth.csv"), on="photo", validate="one_to_one"
    )
    table["u_tilt_deg"] = rng.uniform(0.25, 0.6, len(table))
    table["tilt_deg"] += rng.normal(0, table["u_tilt_deg"])
    table["photo"] = [str(DEMO / "photos" / name) for name in table["photo"]]
    table["why"] = table["note"].where(table["note"].notna(), np.nan)
    table[["u_strike_toe_mm", "u_strike_up_mm"]] = 0.4, 0.8
    book = lt.SessionBook(path)
    for golfer, handed, file in (("Perrin Oldacre", "right", "bag.csv"), ("Wynn Tarrow", "left", "bag_left.csv")):
        session = book.add_session(
            book.add_bag(book.add_golfer(golfer, handed), lt.read_bag(DEMO / file), day="2026-04-18"),
            day="2026-04-18",
            place="Saltmarsh End",
            **DEMO_KNOWN,
        )
        rows = table[table["golfer"] == golfer]
        lt.enter_readings(
            book,
            session,
            rows[
                [
                    "club",
                    "photo",
                    "tilt_deg",
                    "u_tilt_deg",
                    "strike_toe_mm",
                    "u_strike_toe_mm",
                    "strike_up_mm",
                    "u_strike_up_mm",
                    "line_width_mm",
                    "net_left_mm",
                    "net_distance_mm",
                    "why",
                ]
            ],
        )
    misses = pd.read_csv(DEMO / "misses.csv", dtype={"club": str})
    misses = misses[misses["golfer"] == "Perrin Oldacre"].set_index("club").drop(columns="golfer")
    lt.keep_rules(book, 1, misses=misses.to_dict("index"))
    lt.session.hand_out(book, 1)
    return book
