"""How well the lean of the ball's line is read from a photo: drawn scenes from seeds that nothing was chosen on.

    python tests/bench/setup_accuracy.py [scenes] [first seed]

A confident miss is an answer that is wrong by more than four of its own standard uncertainties.
"""

import sys
from pathlib import Path

import cv2
import numpy as np
import skimage.data

sys.path[:0] = [str(Path(__file__).parents[1]), str(Path(__file__).parents[2] / "kit")]

from faces.setup_scene import take_setup_photo
from linetilt.base.errors import PhotoError
from linetilt.marking.setup import measure_setup

LOW = {"pitch_deg": 3.0, "u_pitch_deg": 3.0}  # the phone stands low and looks about level


def judge(photo, **given):
    """Return (error, standard uncertainty), or the refusal's code."""
    try:
        reading = measure_setup(photo.jpeg, handed=photo.handed, reference=photo.reference, **given)
    except PhotoError as refusal:
        return refusal.code
    return reading.setup_tilt_deg - photo.setup_tilt_deg, reading.u_setup_tilt_deg


def row(name, results):
    """Print a row of the table."""
    answers = np.array([result for result in results if not isinstance(result, str)]).reshape(-1, 2)
    refused = [result for result in results if isinstance(result, str)]
    told = ", ".join(f"{refused.count(code)} {code}" for code in sorted(set(refused))) or "-"
    if len(answers):
        size, doubt = np.abs(answers[:, 0]), answers[:, 1]
        held, wrong = f"{100 * np.mean(size <= 1.96 * doubt):.0f} %", int((size > 4 * doubt).sum())
        figures = (
            f"{np.median(size):.2f}° | {np.percentile(size, 95):.2f}° | {np.median(doubt):.2f}° | {held} | {wrong}"
        )
    else:
        figures = "- | - | - | - | 0"
    print(f"| {name} | {len(results)} | {len(answers)} | {figures} | {told} |", flush=True)


def other_pictures():
    """Return what is said to pictures that show no setup at all: the code of the refusal, or an error beyond all
    doubt."""
    said = []
    for name in (
        "astronaut",
        "brick",
        "camera",
        "cell",
        "chelsea",
        "clock",
        "coffee",
        "coins",
        "grass",
        "gravel",
        "moon",
        "page",
        "rocket",
        "text",
    ):
        picture = getattr(skimage.data, name)()
        picture = (
            cv2.resize(picture, None, fx=2, fy=2, interpolation=cv2.INTER_CUBIC)
            if min(picture.shape[:2]) < 600
            else picture
        )
        for reference in ("cord", "edge"):
            try:
                said.append((90.0, measure_setup(picture, reference=reference).u_setup_tilt_deg))
            except PhotoError as refusal:
                said.append(refusal.code)
    return said


def main(scenes=120, first=50_000):
    """Print the table."""
    print(
        "| scenes | drawn | answered | median error | 95 % of errors below | median u | 95 % interval holds | "
        "confident misses | refused |"
    )
    print("| --- | --- | --- | --- | --- | --- | --- | --- | --- |", flush=True)
    seeds = range(first, first + scenes)
    row(
        "plumb cord, phone held by hand",
        [judge(take_setup_photo(seed, reference="cord")) for seed in seeds[: scenes // 2]],
    )
    row(
        "plumb cord, phone low and level",
        [
            judge(take_setup_photo(seed, reference="cord", pitch_deg=seed % 7, aim_down_deg=0.0), **LOW)
            for seed in seeds[scenes // 2 :]
        ],
    )
    row("level bar", [judge(take_setup_photo(seed, reference="edge")) for seed in seeds[: scenes // 3]])
    row(
        "no cord in the picture",
        [judge(take_setup_photo(seed, reference="cord", reference_there=False)) for seed in seeds[: scenes // 6]],
    )
    row("no line on the ball", [judge(take_setup_photo(seed, line_there=False)) for seed in seeds[: scenes // 6]])
    row("two lines on the ball", [judge(take_setup_photo(seed, second_line=True)) for seed in seeds[: scenes // 6]])
    row("no ball", [judge(take_setup_photo(seed, ball_there=False)) for seed in seeds[: scenes // 6]])
    row("14 other pictures (skimage.data)", other_pictures())


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
