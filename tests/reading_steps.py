"""Sixty photos and what each step of a reading finds on them.

`tests/reference/steps.csv` keeps it, `python tests/bench/steps.py` remakes it.
"""

from pathlib import Path

import cv2
import linetilt as lt
import numpy as np
import pandas as pd
from faces.camera import take_photo

KEPT = Path(__file__).parent / "reference" / "steps.csv"
DEMO = Path(__file__).resolve().parents[1] / "demo_photos"
SMALL = {"megapixels": 1.2}

# Every step's columns, in the order in which a photo is read: the first that differs is the step that moved.
COLUMNS = {
    "sharpness": {"blur_px": 0.01},
    "plane": {"pitch_deg": 0.002, "yaw_deg": 0.002, "roll_deg": 0.002, "spacing_mm": 0.0005, "lines": 0, "full": 0},
    "candidates": {"places": 0, "likely": 0},
    "band": {"lean_deg": 0.002, "width_mm": 0.002, "length_mm": 0.01},
    "verdict": {"code": None, "step": None, "reason": None},
    "mark": {
        "tilt_deg": 0.002,
        "u_tilt_deg": 0.002,
        "strike_toe_mm": 0.002,
        "u_strike_toe_mm": 0.002,
        "strike_up_mm": 0.01,
        "u_strike_up_mm": 0.002,
        "remarks": None,
    },
}

_DEMO = (
    *(f"perrin/{iron}" for iron in ("4-1", "4-2", "4-4", "5-4", "6-4", "7-3", "7-4", "8-3", "8-4", "9-4", "9-6")),
    *(f"perrin/{wedge}" for wedge in ("PW-3", "PW-5", "PW-6", "SW-1", "SW-4")),
    *(f"wynn/7-{number}" for number in (1, 2, 4, 5)),
)
PHOTOS = (  # a word for the kind, and the demo photo or the seed
    *(f"demo {name}" for name in _DEMO),
    *(f"drawn {seed}" for seed in range(41000, 41022)),
    *(f"bare {seed}" for seed in range(41030, 41035)),
    *(f"two prints {seed}" for seed in range(41040, 41045)),
    *(f"cut off {seed}" for seed in range(41050, 41053)),
    *(f"out of focus {seed}" for seed in range(41060, 41062)),
    *(f"no length {seed}" for seed in range(41070, 41072)),
    "other hand 41080",
)
DOZEN = (
    "demo perrin/6-4",
    "demo perrin/4-1",
    "demo perrin/7-3",
    "demo perrin/7-4",
    "demo perrin/PW-5",
    "demo wynn/7-4",
    "drawn 41000",
    "drawn 41001",
    "bare 41030",
    "two prints 41040",
    "cut off 41050",
    "other hand 41080",
)


def photo_of(name):
    """The photo of that name, as bytes or an array, and its club."""
    kind, which = name.rsplit(" ", 1)
    if kind == "demo":
        golfer, file = which.split("/")
        bag = lt.read_bag(DEMO / {"perrin": "bag.csv", "wynn": "bag_left.csv"}[golfer])
        return (DEMO / "photos" / f"{which}.jpg").read_bytes(), bag[file.split("-")[0]]
    photo = take_photo(int(which), prints={"bare": 0, "two prints": 2}.get(kind, 1), **SMALL)
    handed = {"right": "left", "left": "right"}[photo.handed] if kind == "other hand" else photo.handed
    length = None if kind == "no length" else photo.head.score_line_length_mm
    club = lt.Club(label="7", loft_deg=34, handed=handed, score_line_length_mm=length)
    if kind == "cut off":
        return np.ascontiguousarray(photo.rgb[:, : int(0.6 * photo.rgb.shape[1])]), club
    if kind == "out of focus":
        return cv2.GaussianBlur(photo.rgb, (0, 0), photo.rgb.shape[1] / 150), club
    return photo.jpeg, club


def row_of(trace):
    """What the steps found, a value for each of `COLUMNS`; NaN or empty where a step was not reached."""
    row = {name: "" if most is None else np.nan for step in COLUMNS.values() for name, most in step.items()}
    if trace.sharpness is not None:
        row["blur_px"] = max(trace.sharpness.sigmas_px, default=0.0)
    frame = None if trace.plane is None else trace.plane.frame
    if frame is not None:
        row |= {"pitch_deg": frame.pitch_deg, "yaw_deg": frame.yaw_deg, "roll_deg": frame.roll_deg}
        row |= {"spacing_mm": frame.pitch_mm, "lines": len(frame.lines), "full": sum(frame.full)}
    if trace.candidates is not None:
        places = trace.candidates.candidates
        row |= {"places": len(places), "likely": sum(place.why is None for place in places)}
    band = None if trace.band is None else trace.band.band
    if band is not None:
        lean = np.degrees(np.arctan(band.slope))
        row |= {"lean_deg": lean, "width_mm": band.width_mm, "length_mm": band.length_mm}
    verdict = trace.verdict
    why = "" if verdict.why is None else verdict.why.reason.name
    row |= {"code": verdict.code, "step": verdict.step, "reason": why}
    if trace.mark is not None:
        row |= {name: value for name, value in trace.mark.to_row().items() if name in row}
    return {name: round(value, 4) if isinstance(value, float) else value for name, value in row.items()}


def read(names):
    """A row a photo, by name."""
    rows = {name: row_of(lt.reading.trace_photo(*photo_of(name))) for name in names}
    return pd.DataFrame.from_dict(rows, orient="index").rename_axis("photo")


def versions():
    """What the digits hang on besides the kit."""
    return f"opencv {cv2.__version__}, numpy {np.__version__}"


def kept():
    """The table that was kept, and the versions that it was made with."""
    with KEPT.open(encoding="utf-8") as file:
        made = file.readline().removeprefix("# ").strip()
    text = [name for step in COLUMNS.values() for name, most in step.items() if most is None]
    return pd.read_csv(KEPT, comment="#", index_col="photo", dtype=dict.fromkeys(text, str)).fillna(
        dict.fromkeys(text, "")
    ), made


def moved(old, new):
    """Of two rows, the first step that differs and how, as a sentence; empty where none does."""
    for step, columns in COLUMNS.items():
        for name, most in columns.items():
            was, now = old[name], new[name]
            same = was == now if most is None else (was != was and now != now) or abs(was - now) <= most + 1e-9
            if not same:
                return f"{step} moved: {name} was {was}, is {now}"
    return ""
