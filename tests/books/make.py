"""Make one old book with the kit that Python imports, and write its dump and its facts: see README.md beside this file.

``python tests/books/make.py NAME "COMMIT"``, with PYTHONPATH at the ``kit`` folder of that commit. The entries are the
same for all versions, as far as each could keep them; expected.json gets what that version's own tables showed of them.
"""

import base64
import io
import json
import sqlite3
import sys
import tempfile
from contextlib import closing
from pathlib import Path
from types import SimpleNamespace

import linetilt as lt
import pandas as pd
from PIL import Image

FOLDER = Path(__file__).parent
LEAN = {"setup_tilt_deg": 2.0, "u_setup_tilt_deg": 0.5}  # of the ball's line, degrees
CLUBS = lt.Bag(
    [
        lt.Club(label="5", loft_deg=26, lie_deg=61, gauge_lie_deg=61.5, length_in=38, head="forged"),
        lt.Club(label="7", loft_deg=34, lie_deg=62.5, gauge_lie_deg=62.25, length_in=37, head="forged", bent_deg=0.5),
        lt.Club(label="56", loft_deg=56, lie_deg=64, gauge_lie_deg=64, length_in=35.25, from_set=False, head="cast"),
    ]
)


def mark(tilt_deg, strike_toe_mm):
    """What measuring a photo gives, here made up; not every version has a place for `corners`, `line` and `by_hand`."""
    return SimpleNamespace(
        tilt_deg=tilt_deg,
        u_tilt_deg=0.4,
        strike_toe_mm=strike_toe_mm,
        u_strike_toe_mm=0.3,
        strike_up_mm=18.5,
        u_strike_up_mm=1.0,
        line_width_mm=3.1,
        u_line_width_mm=0.2,
        flags=("patchy ink",),
        budget=pd.DataFrame({"component": ["ink"], "contribution_deg": [0.4]}),
        corners=[[100.0, 400.0], [900.0, 410.0], [905.0, 120.0], [95.0, 115.0]],
        line=[[480.25, 405.0], [520.75, 118.5]],
        by_hand=("line",),
    )


def small_photo():
    file = io.BytesIO()
    Image.new("RGB", (16, 12), (120, 122, 125)).save(file, "JPEG", quality=50)
    return file.getvalue()


def enter(book):
    """A golfer, three clubs, a session of six shots, a plan, a bend, a correction, and an entry taken back."""
    golfer = book.add_golfer("Ansel Fairweather", note="first visit")
    bag = book.add_bag(golfer, CLUBS, "irons", day="2026-03-01")
    settings = {"net_distance_mm": 5000, "length_unit": "in", **LEAN} if hasattr(book, "open_session") else {}
    session = book.add_session(bag, day="2026-03-02", place="bay 3", **settings)
    if hasattr(book, "keep_setting"):
        book.keep_setting(session, "rules", {"step_deg": 0.5})

    def hit(club, tilt_deg, strike_toe_mm, start=None, **more):
        loft = CLUBS[club].loft_deg
        known = None if start is None else lt.heading_from_start(start[0], loft, u_start_deg=start[1])
        heading = {name: getattr(known, name) for name in ("face_heading_deg", "u_face_heading_deg") if known}
        reading = lt.lie_reading(tilt_deg, loft, u_tilt_deg=0.4, **heading, **LEAN)
        return book.add_shot(session, club, mark=mark(tilt_deg, strike_toe_mm), reading=reading, start=start, **more)

    hit("7", 1.5, -3.0, start=lt.start_from_net(60.0, 5000.0))
    heavy = hit("7", 3.25, 6.0)
    third = hit("5", -0.75, 1.0, note="wet face")
    hit("5", 2.0, 0.5, counted=False, why="second hit on the same spot")
    photo = small_photo()
    book.add_shot(session, "56", photo=photo, counted=False, why=f"photo refused: {refusal(photo)}")
    book.add_shot(session, "56")
    book.set_aside(heavy, "heavy strike")
    book.add_plan(session, plan(book, session, bag), note="before the bench")
    book.add_bend(bag, "7", -1.0, day="2026-03-03", gauge_lie_deg=61.25, note="cold")
    book.change("golfer", golfer, note="likes a flat seven iron")
    book.set_aside(third, "thin strike")
    book.undo()


def refusal(photo):
    if not hasattr(lt, "measure_photo"):
        return "no face was found"  # before the kit could measure: in its user's words
    try:
        lt.measure_photo(photo, CLUBS["56"])
    except lt.PhotoError as error:
        return error
    raise AssertionError("a grey picture was measured; expected it to be refused")


def plan(book, session, bag):
    if not hasattr(lt, "plan_bends"):  # before the kit could plan: what its book was given by hand
        return pd.DataFrame({"club": ["5", "7", "56"], "bend_deg": [0.0, -1.0, 0.0]})
    table = lt.plan_bends(lt.fit_bag(book.shots(session), book.bag(bag)), book.bag(bag))
    return table if isinstance(table, pd.DataFrame) else table.table


def facts(book):
    """What the book shows, by table."""
    tables = {name: getattr(book, name)() for name in ("golfers", "sessions", "shots", "bends", "plans", "history")}
    tables |= {"clubs": book.clubs(1), "gauge_readings": book.gauge_readings(1)}
    rows = {name: table.astype(object).where(table.notna(), None).to_dict("records") for name, table in tables.items()}
    if hasattr(book, "marks"):
        rows["marks"] = [book.marks(shot) for shot in tables["shots"]["shot_id"]]
    if hasattr(book, "setting"):
        rows["rules"] = [book.setting(1, "rules")]
    return rows


def dump(path):
    """Return the book as SQL that a diff can show, with what stands in its header."""
    with closing(sqlite3.connect(path)) as db:
        header = [
            f"PRAGMA {name} = {db.execute(f'PRAGMA {name}').fetchone()[0]};"
            for name in ("application_id", "user_version")
        ]
        return "\n".join([*header, *db.iterdump()]) + "\n"


def lines(value, depth=0):
    """Return JSON with one row of a table on a line."""
    if not value or isinstance(value, str):
        return json.dumps(value)
    if isinstance(value, list):
        begin, end, inner = "[", "]", [json.dumps(row) for row in value]
    else:
        begin, end, inner = "{", "}", [f"{json.dumps(name)}: {lines(part, depth + 1)}" for name, part in value.items()]
    return begin + ",".join("\n" + " " * (depth + 1) + item for item in inner) + "\n" + " " * depth + end


def main(name, commit):
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder, "book.linetilt")
        with closing(lt.SessionBook(path)) as book:
            enter(book)
            found = {"commit": commit, **facts(book)}
            photos = {file.name: base64.b64encode(file.read_bytes()).decode() for file in book.photo_folder.iterdir()}
        sql = dump(path)
    with closing(sqlite3.connect(":memory:")) as db:
        db.executescript(sql)
    FOLDER.joinpath(f"{name}.sql").write_text(sql)
    kept = FOLDER / "expected.json"
    all_books = json.loads(kept.read_text()) if kept.exists() else {"photos": {}, "books": {}}
    all_books["photos"] |= photos
    all_books["books"][name] = found
    all_books["books"] = dict(sorted(all_books["books"].items()))
    kept.write_text(lines(all_books) + "\n")


if __name__ == "__main__":
    main(*sys.argv[1:])
