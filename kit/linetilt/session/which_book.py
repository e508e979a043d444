"""Which book a notebook works in: the fitter's own, shared by all notebooks, or until it holds a golfer one with the
invented afternoon."""

import json
import os
import shutil
import tempfile
import weakref
from os import PathLike
from pathlib import Path

import pandas as pd

from ..base.bag_file import read_bag
from ..book.book import SessionBook
from .middle import keep_rules

BOOK_VARIABLE = "LINETILT_BOOK"  # names the book where a notebook's first cell does not
USUAL_BOOK = Path("linetilt", "shop.linetilt")  # in the user's own folder, where nothing else is said
DEMO_BOOK = "demo.linetilt"  # beside the fitter's own
DEMO_GOLFER, DEMO_DAY, DEMO_PLACE = "Perrin Oldacre", "2026-04-18", "Saltmarsh End"
DEMO_KNOWN = {  # the net, a path read by a launch monitor, and the line checked with a plumb cord and from above
    "net_distance_mm": 3000.0,
    "path_deg": 0.0,
    "u_path_deg": 1.0,
    "setup_tilt_deg": 0.0,
    "u_setup_tilt_deg": 0.3,
    "line_turn_deg": 0.0,
    "u_line_turn_deg": 0.3,
}
READINGS = "readings.csv"  # in the demo folder: what its photos say, and what a fitter decided


def open_book(
    book_file: str | PathLike[str] | None = None, *, demo: str | PathLike[str] | None = None, measured: bool = False
) -> SessionBook:
    """Open the book that a notebook works in.

    Parameters
    ----------
    book_file : path, optional
        The book; made where there is none. None: the book that the environment variable ``LINETILT_BOOK`` names, which
        ``python -m linetilt`` sets for all notebooks; without that a trial book in a temporary folder, forgotten when
        the kernel ends.
    demo : path, optional
        The kit's `demo_photos`. As long as the book holds no golfer, its invented golfer and bag are shown in a book of
        their own: `demo.linetilt` beside it, kept like any other, or the trial book itself.
    measured : bool
        Whether the demo's readings are entered too, where nobody has counted any ball of it yet.

    Returns
    -------
    SessionBook
        Its `trial` says whether it will be forgotten, its `demo` is the demo's folder, or None for the fitter's own
        book.

    Raises
    ------
    BookError
    """
    named = book_file or os.environ.get(BOOK_VARIABLE)
    folder = None if named else tempfile.mkdtemp(prefix="linetilt-")
    book = SessionBook(Path(named).expanduser() if named else Path(folder, DEMO_BOOK))
    shown = None if demo is None or len(book.golfers()) else Path(demo)
    if shown and named:
        book.close()
        book = SessionBook(book.path.with_name(DEMO_BOOK))
    book.trial, book.demo = not named, shown
    if book.trial:
        weakref.finalize(book, shutil.rmtree, folder, ignore_errors=True)  # with the book, or when the kernel ends
    if shown:
        _enter_demo(book)
        if measured:
            _enter_readings(book)
    return book


def _enter_demo(book):
    if book.golfers().empty:
        bag = book.add_bag(book.add_golfer(DEMO_GOLFER), read_bag(book.demo / "bag.csv"), "irons", day=DEMO_DAY)
        session = book.add_session(bag, day=DEMO_DAY, place=DEMO_PLACE, **DEMO_KNOWN)
        listed = pd.read_csv(book.demo / "misses.csv", dtype={"club": str})
        keep_rules(
            book,
            session,
            misses=listed[listed["golfer"] == DEMO_GOLFER].set_index("club").drop(columns="golfer").to_dict("index"),
        )


def _enter_readings(book):
    session = int(book.current_session()["session_id"])
    shots = book.shots(session)
    if shots["counted"].any():
        return
    readings = pd.read_csv(book.demo / READINGS, dtype={"club": str})
    readings = readings[~readings["photo"].isin(shots["note"])].astype(object)
    balls = []
    for row in readings.where(readings.notna(), None).to_dict("records"):
        places = {name: json.loads(row[name]) for name in ("corners", "line") if row[name]}
        net = {name: row[name] for name in ("net_left_mm", "net_distance_mm")}
        decision = {name: row[name] or "" for name in ("state", "reason", "why")}
        photo = book.demo / "photos" / "perrin" / row["photo"]
        balls.append(
            {"club": row["club"], "photo": photo, "mark": row | places, "note": row["photo"], **net, **decision}
        )
    if balls:
        book.add_shots(session, balls)
