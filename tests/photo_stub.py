"""A stand-in for measuring: it answers from a table of true marks, and refuses what the test says."""

from types import SimpleNamespace

import cv2
import numpy as np
import pandas as pd
from linetilt.base.errors import NoFace, NoLine
from linetilt.reading.photo import open_photo

FIELD = np.array([[140.0, 130.0], [40.0, 130.0], [40.0, 60.0], [140.0, 60.0]])
LINE = np.array([[90.0, 120.0], [88.0, 70.0]])


def write_photo(path, shade, megapixels=0.3):
    """Write a small photo whose red is its number, by which the stand-in knows it."""
    width = int(1000 * (megapixels / 0.75) ** 0.5)
    picture = np.full((width * 3 // 4, width, 3), shade, np.uint8)
    path.parent.mkdir(parents=True, exist_ok=True)
    cv2.imwrite(str(path), picture)
    return path


class Measure:
    """Called like `measure_photo`; `calls` and `befores` keep what it was asked, `refuse` maps a photo's shade to an
    error."""

    def __init__(self):
        self.calls, self.refuse, self.befores = [], {}, []

    def __call__(self, photo, club, *, before=None, corners=None, line=None):
        shade = int(open_photo(photo).rgb[5, 5, 0])
        self.befores.append(before)
        self.calls.append((shade, club.label, corners is not None, line is not None))
        error = self.refuse.get(shade)
        if (error is NoFace and corners is None) or (error is NoLine and line is None):
            raise error("the stand-in was told to refuse it")
        (low_x, low_y), (high_x, high_y) = LINE if line is None else line
        tilt = np.degrees(np.arctan2(low_x - high_x, low_y - high_y)) - (shade % 7)
        return SimpleNamespace(
            tilt_deg=float(tilt),
            u_tilt_deg=0.4,
            strike_toe_mm=4.0,
            u_strike_toe_mm=0.5,
            strike_up_mm=15.0,
            u_strike_up_mm=0.8,
            line_width_mm=2.3,
            u_line_width_mm=0.2,
            flags=(),
            budget=pd.DataFrame({"component": ["ink"], "u": [0.4]}),
            corners=FIELD if corners is None else np.array(corners, float),
            line=LINE if line is None else np.array(line, float),
            overlay=lambda max_side=1600: np.zeros((30, 40, 3), np.uint8),
        )
