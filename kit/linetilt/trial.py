"""The invented golfer whom a trial book shows until a book of one's own is named."""

from pathlib import Path

import pandas as pd

from .club import read_bag

GOLFER, DAY, PLACE = "Robin Demo", "2026-05-31", "an invented range"


def fill_trial_book(book, folder="."):
    """Put the invented golfer's bag and shots into an empty trial book, and return the book; any other book stays as it is.

    Parameters
    ----------
    book : SessionBook
        As `panels.common.open_book` gives it.
    folder : path
        Where `lie_table_bag.csv` and `lie_table_shots.csv` lie.
    """
    if not book.trial or len(book.golfers()):
        return book
    folder = Path(folder)
    bag = read_bag(folder / "lie_table_bag.csv")
    session = book.add_session(book.add_bag(book.add_golfer(GOLFER), bag, "irons", day=DAY), day=DAY, place=PLACE)
    for shot in pd.read_csv(folder / "lie_table_shots.csv", keep_default_na=True).to_dict("records"):
        why = shot["why"] if isinstance(shot["why"], str) else ""
        book.add_shot(session, str(shot["club"]), mark=shot, reading=shot, counted=bool(shot["counted"]), why=why)
    return book
