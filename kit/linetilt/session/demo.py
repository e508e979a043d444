"""An invented season and retakes of photos, for trying things out: a dozen golfers, an afternoon together, bends,
retests and practice. Nobody in it is real."""

import math
from collections.abc import Sequence
from os import PathLike
from pathlib import Path

import cv2
import numpy as np
import pandas as pd

from ..base.club import Bag, Club
from ..book.book import SessionBook
from ..lie.geometry import print_tilt_deg
from ..lie.layout import usual_length_in
from ..reading.photo import DIAGONAL_35MM, open_photo
from .entering import enter_readings
from .handed import hand_out
from .middle import session_plan
from .which_book import DEMO_KNOWN

GOLFERS = (
    ("Ansel Fairweather", "right"),
    ("Bryn Larkspur", "right"),
    ("Corin Ashdown", "left"),
    ("Delphine Marrow", "right"),
    ("Edda Stillwater", "right"),
    ("Fenn Harrowgate", "right"),
    ("Greer Tolland", "right"),
    ("Hollis Quaymoor", "left"),
    ("Imre Sandholt", "right"),
    ("Juno Westerby", "right"),
    ("Kester Vale", "right"),
    ("Linnet Oakshott", "right"),
)
CLUBS = (  # label, loft, lie, length, head
    ("5", 26, 61.5, 38.0, "cast"),
    ("7", 34, 62.5, 37.0, "forged"),
    ("9", 42, 63.5, 36.0, "forged"),
    ("PW", 46, 64.0, 35.75, "forged"),
    ("56", 56, 64.5, 35.25, "forged"),
)
DAYS = ("2026-04-11", "2026-04-25", "2026-05-09")
BENCH_DAY = "2026-04-18"
PRACTICE_DAYS = ("2026-04-15", "2026-04-22", "2026-04-29", "2026-05-06", "2026-05-13", "2026-05-20")
BENT_OFFSETS = (-3.4, 3.2, -3.6, 3.3)  # lie errors of the 7-iron, in degrees, of golfers whose clubs are to be bent
BENT, PRACTISING = (
    GOLFERS[:4],
    (GOLFERS[4], GOLFERS[5]),
)  # the first moves the strike and raises the hands, the second does not change

# Standard deviations behind the season, in degrees.
GOLFER_SD, SLOPE_SD, CLUB_SD, DAY_SD, SHOT_SD, HEADING_SD, PATH_SD = 1.3, 0.4, 0.5, 0.4, 1.0, 1.5, 2.0
TOE_SD_MM, STRIKE_MM = 4.0, (5.0, 4.0)
U_TILT_DEG = 0.4


def demo_book(path: str | PathLike[str], golfers: int = 12) -> SessionBook:
    """Fill a new book with the invented season; the same each time but for the moments of entry.

    Parameters
    ----------
    path : path
        Of the book; there must be none yet.
    golfers : int
        Only the first so many.

    Returns
    -------
    SessionBook
        Open. A dozen golfers hit 3 balls with each of 5 clubs on three Saturdays; four had clubs bent after the first;
        two practised with the 7-iron besides.
    """
    book = SessionBook(path)
    rng = np.random.default_rng(20260411)
    for name, handed in GOLFERS[:golfers]:
        swing = _swing(rng)
        if (name, handed) in BENT:
            swing["offset"] = BENT_OFFSETS[BENT.index((name, handed))]
        golfer = book.add_golfer(name, handed)
        gauge = np.round(4 * rng.normal(0, 0.4, len(CLUBS))) / 4
        own = dict(zip((club[0] for club in CLUBS), gauge))
        bag = Bag(
            Club(
                label=label,
                loft_deg=loft,
                handed=handed,
                lie_deg=lie,
                gauge_lie_deg=lie + own[label],
                length_in=length,
                head=head,
                from_set=label != "56",
                score_line_length_mm=52.0,
            )
            for label, loft, lie, length, head in CLUBS
        )
        bag_id = book.add_bag(golfer, bag, day=DAYS[0])
        first = None
        for day in sorted({*DAYS, *(PRACTICE_DAYS if (name, handed) in PRACTISING else ())}):
            practice = day in PRACTICE_DAYS
            retest = first if day in DAYS and (name, handed) in BENT else None
            session = book.add_session(
                bag_id,
                day=day,
                place="Saltmarsh End",
                retest_of=retest,
                note="practice" if practice else "",
                **DEMO_KNOWN,
            )
            weeks = (pd.Timestamp(day) - pd.Timestamp(DAYS[0])).days / 7
            if (name, handed) == PRACTISING[0]:
                swing |= {"toe_mm": 10.0 - 1.8 * weeks, "offset": 2.0 - 0.3 * weeks}
            clubs = ["7"] * 10 if practice else [label for label, *_ in CLUBS for _ in range(3)]
            now = {row.label: row.gauge_lie_deg - row.lie_deg for row in book.clubs(bag_id).itertuples()}
            enter_readings(book, session, _hit(rng, bag, swing, clubs, now, handed))
            if first is None:
                first = session
                if (name, handed) in BENT:
                    _bend(book, session, bag_id)
    return book


def _bend(book, session, bag_id):
    plan = session_plan(book, session)
    hand_out(book, session)
    bends = [
        {"club": row.club, "bend_deg": row.bend_deg, "gauge_lie_deg": row.lie_after_deg}
        for row in plan[plan["bend_deg"] != 0].itertuples()
    ]
    if bends:
        book.add_bends(bag_id, bends, day=BENCH_DAY)


def _swing(rng):
    return {
        "offset": rng.normal(0, GOLFER_SD),
        "slope": rng.normal(-0.3, SLOPE_SD),
        "habit": dict(zip((c[0] for c in CLUBS), rng.normal(0, CLUB_SD, len(CLUBS)))),
        "toe_mm": rng.normal(0, TOE_SD_MM),
        "up_mm": rng.normal(16, 2),
    }


def _hit(rng, bag, swing, clubs, own, handed):
    """Return a table of readings, as a fitter would type it."""
    day, rows = rng.normal(0, DAY_SD), []
    for label in clubs:
        club = bag[label]
        lie = (
            swing["offset"]
            + swing["slope"] * (usual_length_in(club) - 37)
            + swing["habit"][label]
            + own[label]
            + day
            + rng.normal(0, SHOT_SD)
        )
        heading, path = rng.normal(0, HEADING_SD), rng.normal(0, PATH_SD)
        tilt = print_tilt_deg(lie, club.loft_deg, heading, rng.normal(0, 0.4), rng.normal(0, 0.5)) + rng.normal(
            0, U_TILT_DEG
        )
        start = 0.7 * heading + 0.3 * path
        rows.append(
            {
                "club": label,
                "tilt_deg": round(float(tilt), 2),
                "u_tilt_deg": U_TILT_DEG,
                "strike_toe_mm": round(float(rng.normal(swing["toe_mm"], STRIKE_MM[0])), 1),
                "u_strike_toe_mm": 0.4,
                "strike_up_mm": round(float(np.clip(rng.normal(swing["up_mm"], STRIKE_MM[1]), 2, 38)), 1),
                "u_strike_up_mm": 0.8,
                "net_left_mm": round((1 if handed == "right" else -1) * 3000 * math.tan(math.radians(start))),
                "net_distance_mm": 3000,
            }
        )
    return pd.DataFrame(rows)


def demo_retakes(
    jobs: pd.DataFrame, people: Sequence[str] = ("Ansel", "Bryn", "Corin"), repeats: int = 2
) -> pd.DataFrame:
    """Photograph the same faces again, in software: from the same spot and in the same light, by people who aim and
    hold the phone differently.

    Turning a camera about its lens changes a picture by a known projection (K R K⁻¹ with the focal length that the
    photo states), so these are what such photos would be. What they cannot show is another spot, another lamp or a
    smudged lens.

    Parameters
    ----------
    jobs : DataFrame
        photo (path of a JPEG), club, mark, as for `measure_photos`.
    people : sequence of str
    repeats : int
        Photos of each mark by each person.

    Returns
    -------
    DataFrame
        A row a photo: mark, person, repeat, club, photo (bytes of a JPEG).
    """
    rows = []
    for seed, (job, person, repeat) in enumerate(
        (job, person, repeat)
        for job in jobs.to_dict("records")
        for person in range(len(people))
        for repeat in range(repeats)
    ):
        rng, habit = np.random.default_rng(seed), np.random.default_rng(1000 + person)
        turn_deg = habit.normal(0, (1.5, 1.5, 5.0)) + rng.normal(0, (1.0, 1.0, 2.0))
        blur, light = (
            0.4 + habit.uniform(0, 0.5) + rng.uniform(0, 0.3),
            habit.uniform(0.85, 1.1) * rng.uniform(0.97, 1.03),
        )
        photo = _retake(Path(job["photo"]).read_bytes(), turn_deg, blur, light, rng)
        rows.append(
            {"mark": job["mark"], "person": people[person], "repeat": repeat + 1, "club": job["club"], "photo": photo}
        )
    return pd.DataFrame(rows)


def _retake(data, turn_deg, blur_px, light, rng):
    """Return a JPEG taken from the same spot by a camera turned about its own axes; what the photo says of itself
    (EXIF) stays."""
    raw = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR | cv2.IMREAD_IGNORE_ORIENTATION)
    height, width = raw.shape[:2]
    focal = open_photo(data).f35_mm / DIAGONAL_35MM * math.hypot(height, width)
    camera = np.array([[focal, 0, (width - 1) / 2], [0, focal, (height - 1) / 2], [0, 0, 1]])
    turn = cv2.Rodrigues(np.radians(turn_deg))[0]
    seen = cv2.warpPerspective(
        raw,
        camera @ turn @ np.linalg.inv(camera),
        (width, height),
        flags=cv2.INTER_AREA,
        borderMode=cv2.BORDER_REPLICATE,
    )
    seen = cv2.GaussianBlur(seen, (0, 0), blur_px * width / 1280).astype(float) * light + rng.normal(0, 2.0, seen.shape)
    _, jpeg = cv2.imencode(".jpg", np.clip(seen, 0, 255).astype(np.uint8), [cv2.IMWRITE_JPEG_QUALITY, 88])
    exif = data.find(b"\xff\xe1")
    own = data[exif : exif + 2 + int.from_bytes(data[exif + 2 : exif + 4], "big")] if 0 < exif < 64 else b""
    return jpeg.tobytes()[:2] + own + jpeg.tobytes()[2:]
