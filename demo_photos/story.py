"""The invented afternoon behind the demo photos: two golfers, their bags, every shot, and the truth by plain 3D
geometry.

Nothing here calls the kit: the truth of each print is found by turning a face plane in space and cutting it with the
plane of the ball's line, so that the kit can be checked against it.
"""

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd

SEED = 20260418
RIGHT, LEFT = "Perrin Oldacre", "Wynn Tarrow"
BALL_RADIUS_MM = 42.67 / 2
NET_MM = 3000.0
SHOT_SD_DEG, HEADING_SD_DEG, PATH_SD_DEG = 1.0, 1.5, 2.0
SETUP_SD_DEG, TURN_SD_DEG = 0.4, 0.5  # how well the ball's line is placed

# label, loft, lie, gauge, length, head, from_set, line length, pitch, line width, mean lie error of the golfer with
# this club
BAG = [
    ("4", 23, 61.0, 61.0, 38.5, "cast", True, 51.0, 3.40, 0.75, -1.9),
    ("5", 26, 61.5, 61.5, 38.0, "forged", True, 52.0, 3.40, 0.75, -1.5),
    ("6", 30, 62.0, 62.1, 37.5, "not bendable", True, 52.0, 3.40, 0.75, -1.0),
    ("7", 34, 62.5, 62.5, 37.0, "forged", True, 52.0, 3.40, 0.75, -0.6),
    ("8", 38, 63.0, 61.0, 36.5, "forged", True, 52.5, 3.40, 0.75, -2.35),
    ("9", 42, 63.5, 63.5, 36.0, "forged", True, 52.5, 3.40, 0.75, 0.2),
    ("PW", 46, 64.0, 63.9, 35.75, "forged", True, 53.0, 3.40, 0.75, 0.5),
    ("SW", 56, 64.5, 64.6, 35.25, "forged", False, 55.0, 3.60, 0.80, 0.9),
]
BAG_LEFT = [("7", 33, 62.0, None, 36.75, "forged", True, 50.0, 3.20, 0.70, 0.8)]

# golfer, club, mean offline (left positive), scatter, the side the golfer fears
MISSES = [
    (RIGHT, "4", -7.0, 11.0, "right"),
    (RIGHT, "5", 4.5, 10.0, "left"),
    (RIGHT, "6", -3.5, 8.5, "right"),
    (RIGHT, "7", -2.0, 7.5, "right"),
    (RIGHT, "8", -6.0, 7.0, "right"),
    (RIGHT, "9", 0.5, 6.0, "left"),
    (RIGHT, "PW", 1.5, 5.0, "left"),
    (RIGHT, "SW", 2.0, 4.0, "left"),
    (LEFT, "7", -2.5, 7.5, "right"),
]

# finish and paint of each head: the owner refinishes heads in the winter, so that no two look alike
LOOKS = {
    (RIGHT, "4"): ("satin", "none"),
    (RIGHT, "5"): ("brushed", "black"),
    (RIGHT, "6"): ("grey", "white"),
    (RIGHT, "7"): ("chrome", "white"),
    (RIGHT, "8"): ("blasted", "none"),
    (RIGHT, "9"): ("black", "none"),
    (RIGHT, "PW"): ("chrome", "lowest"),
    (RIGHT, "SW"): ("raw", "none"),
    (LEFT, "7"): ("satin", "white"),
}
INK_OF = {"4": "blue", "5": "red", "6": "red", "7": "black", "8": "black", "9": "red", "PW": "green", "SW": "blue"}


@dataclass(frozen=True)
class Shot:
    golfer: str
    club: str
    number: int
    kind: str  # "", "heavy", "double", "unusable"
    ink: str
    lie_error_deg: float
    face_heading_deg: float
    line_turn_deg: float
    setup_tilt_deg: float
    tilt_deg: float
    strike_toe_mm: float
    strike_up_mm: float
    line_width_mm: float
    net_left_mm: float

    @property
    def photo(self):
        return f"{self.golfer.split()[0].lower()}/{self.club}-{self.number}.jpg"


def _turn(axis, angle_deg):
    """Rotation about a unit axis by Rodrigues' formula."""
    x, y, z = axis
    cross = np.array([[0, -z, y], [z, 0, -x], [-y, x, 0]])
    angle = math.radians(angle_deg)
    return np.eye(3) + math.sin(angle) * cross + (1 - math.cos(angle)) * cross @ cross


def print_on_face(loft_deg, lie_error_deg, face_heading_deg, line_turn_deg, setup_tilt_deg):
    """Tilt of the print in degrees, and how far towards the toe of the contact it passes in mm, by brute force.

    Frame of a right-handed golfer: x to the target, y to the left, z up. `face_heading_deg` is the heading of the
    face's normal; the turn of the score lines' frame that gives it is searched for.
    """
    loft = math.radians(loft_deg)
    level = np.array(
        [[math.cos(loft), 0, math.sin(loft)], [0, -1, 0], [-math.sin(loft), 0, math.cos(loft)]]
    )  # normal, toe, up the face
    tilted = level @ _turn((1, 0, 0), -lie_error_deg).T
    low, high = face_heading_deg - 60, face_heading_deg + 60
    for _ in range(60):  # bisect the turn about the vertical
        middle = (low + high) / 2
        normal = _turn((0, 0, 1), middle) @ tilted[0]
        low, high = (
            (middle, high) if math.degrees(math.atan2(normal[1], normal[0])) < face_heading_deg else (low, middle)
        )
    normal, toe, up = tilted @ _turn((0, 0, 1), middle).T
    plane = (
        _turn((0, 0, 1), line_turn_deg) @ _turn((1, 0, 0), setup_tilt_deg) @ np.array([0, 1, 0])
    )  # the line's plane, leaned, then turned
    along = np.cross(normal, plane)
    along *= np.sign(along @ up)
    # the plane holds the ball's middle, one radius in front of the contact: plane . (-r normal + a toe) = 0
    return math.degrees(math.atan2(along @ toe, along @ up)), BALL_RADIUS_MM * (plane @ normal) / (plane @ toe)


def shots():
    """Every shot of the afternoon, in order."""
    rng = np.random.default_rng(SEED)
    extra = {"4": ["heavy"], "9": ["heavy"], "PW": ["double"], "7": ["unusable"]}
    out = []
    for golfer, rows in ((RIGHT, BAG), (LEFT, BAG_LEFT)):
        for label, loft, *_, mean in rows:
            kinds = [""] * 5
            for kind in extra.get(label, []) if golfer == RIGHT else []:
                kinds.insert(int(rng.integers(1, 5)), kind)
            scatter = rng.normal(0, SHOT_SD_DEG, len(kinds))
            usual = np.array([kind in ("", "double") for kind in kinds])
            scatter[usual] -= 0.6 * scatter[usual].mean()  # five shots tell the story
            for number, (kind, off) in enumerate(zip(kinds, scatter), 1):
                lie = mean + off
                heading, path = rng.normal(0, HEADING_SD_DEG), rng.normal(0, PATH_SD_DEG)
                turn, setup = rng.normal(0, TURN_SD_DEG), rng.normal(0, SETUP_SD_DEG)
                tilt, aside = print_on_face(loft, lie, heading, turn, setup)
                if kind == "heavy":  # the mat moved the ball before the face arrived
                    tilt += rng.choice([-1, 1]) * rng.uniform(6.5, 9.5)
                toe, up = rng.normal(1.0, 4.5), np.clip(rng.normal(15.5, 3.0), 9.5, 22)
                if kind == "heavy":
                    up = rng.uniform(18, 23)
                start = 0.7 * heading + 0.3 * path
                left = NET_MM * math.tan(math.radians(start)) * (1 if golfer == RIGHT else -1)
                ink = INK_OF[label] if golfer == RIGHT else "green"
                if rng.random() < 0.25:
                    ink = str(rng.choice(["blue", "red", "black", "green"])) if label not in ("9", "6") else "green"
                if (label, ink) == ("4", "black"):  # lost on satin that mirrors a dark phone
                    ink = "blue"
                out.append(
                    Shot(
                        golfer,
                        label,
                        number,
                        kind,
                        ink,
                        lie,
                        heading,
                        turn,
                        setup,
                        tilt,
                        toe + aside,
                        up,
                        rng.uniform(1.5, 3.2),
                        5 * round((left + rng.normal(0, 4)) / 5),
                    )
                )
    return out


def write_tables(folder):
    """Write bag.csv, bag_left.csv, shots.csv and misses.csv."""
    names = [
        "label",
        "loft_deg",
        "lie_deg",
        "gauge_lie_deg",
        "length_in",
        "head",
        "from_set",
        "score_line_length_mm",
        "score_line_pitch_mm",
        "score_line_width_mm",
    ]
    for file, rows, hand in (("bag.csv", BAG, "right"), ("bag_left.csv", BAG_LEFT, "left")):
        bag = pd.DataFrame([row[:-1] for row in rows], columns=names)
        bag.insert(2, "handed", hand)
        bag["from_set"] = bag["from_set"].map({True: "yes", False: "no"})
        bag.to_csv(folder / file, index=False)
    notes = {"": "", "heavy": "heavy", "double": "hit twice without wiping", "unusable": "photo taken in a hurry"}
    pd.DataFrame(
        [(s.photo, s.golfer, s.club, s.number, s.net_left_mm, int(NET_MM), notes[s.kind]) for s in shots()],
        columns=["photo", "golfer", "club", "shot", "net_left_mm", "net_distance_mm", "note"],
    ).to_csv(folder / "shots.csv", index=False)
    pd.DataFrame(MISSES, columns=["golfer", "club", "mean_left_m", "sd_left_m", "feared"]).to_csv(
        folder / "misses.csv", index=False
    )
