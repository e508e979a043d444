"""How fast a photo is measured against decoding it alone, in one run on one core: `python tests/bench/speed.py
[photos]`."""

import resource
import sys
import time
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path

import cv2
import numpy as np

sys.path[:0] = [str(Path(__file__).parents[1])]

import linetilt as lt
from faces.camera import take_photo


def best_s(call, times=5):
    """Least processor time of some calls, in seconds."""
    spent = []
    for _ in range(times):
        start = time.process_time()
        call()
        spent.append(time.process_time() - start)
    return min(spent)


def draw(seed):
    """A 12-megapixel JPEG, the hand and the score lines' length; in a process of its own, so that its memory and its
    heap are not the measuring one's."""
    photo = take_photo(seed, megapixels=12, finish="satin", ink="blue")
    noise = np.random.default_rng(seed).normal(
        0, 4, photo.rgb.shape
    )  # a phone's grain: drawn faces compress better than real ones
    coded = cv2.imencode(
        ".jpg", np.clip(photo.rgb[..., ::-1] + noise, 0, 255).astype(np.uint8), [cv2.IMWRITE_JPEG_QUALITY, 92]
    )[1]
    return coded.tobytes(), photo.handed, photo.head.score_line_length_mm


def main(photos=15):
    cv2.setNumThreads(1)
    with ProcessPoolExecutor(1, get_context("spawn")) as pool:
        drawn = list(pool.map(draw, range(8500, 8500 + photos)))
    rows, peak, before = [], None, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e3
    for content, handed, length in drawn:
        club, coded = (
            lt.Club(label="7", loft_deg=34, handed=handed, score_line_length_mm=length),
            np.frombuffer(content, np.uint8),
        )
        measure = best_s(lambda: lt.measure_photo(content, club))
        peak = peak or resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e3
        rows.append((coded.size / 1e6, best_s(lambda: cv2.imdecode(coded, cv2.IMREAD_COLOR)), measure))
    size, decode, measure = np.median(rows, axis=0)
    print("| 12-megapixel JPEG, one core | figure |\n| --- | --- |")
    print(
        f"| file | {size:.1f} MB |\n| cv2.imdecode | {decode:.3f} s |\n| measure_photo | {measure:.3f} s |\n| ratio "
        f"| {measure / decode:.1f} |"
    )
    print(f"| peak memory, measuring one photo | {peak:.0f} MB, of which the libraries take {before:.0f} |")


if __name__ == "__main__":
    main(*(int(word) for word in sys.argv[1:]))
