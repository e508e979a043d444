"""From a chosen photo to its numbers on the screen, beside the plain decoding of the same file: one markdown table.

Run: python tests/bench/photo_panel.py
"""

import sys
import tempfile
import time
from pathlib import Path

import cv2
import linetilt as lt
from linetilt.app.panels.photos import PhotosPanel

DEMO = Path(__file__).parents[2] / "demo_photos"
PHOTO, RUNS = "6-4.jpg", 5


def seconds(action):
    start = time.perf_counter()
    action()
    return time.perf_counter() - start


def middle(values):
    return sorted(values)[len(values) // 2]


def main():
    small = cv2.imread(str(DEMO / "photos" / "perrin" / PHOTO))
    print(
        "| photo | decoding alone | measure_photo | chosen to numbers and picture | as often the decoding |\n| --- | "
        "--- | --- | --- | --- |"
    )
    for megapixels in (2, 12):
        with tempfile.TemporaryDirectory() as place:
            place = Path(place)
            (place / "phone").mkdir()
            scale = (megapixels * 1e6 / small[..., 0].size) ** 0.5
            picture = cv2.resize(small, None, fx=scale, fy=scale, interpolation=cv2.INTER_CUBIC)
            content = cv2.imencode(".jpg", picture, [cv2.IMWRITE_JPEG_QUALITY, 92])[1].tobytes()
            for run in range(RUNS):  # files that differ behind the picture: each is new to the panel
                (place / "phone" / f"6-{run}.jpg").write_bytes(content + bytes([run]))
            paths = sorted((place / "phone").iterdir())
            decoding = middle([seconds(lambda: cv2.imread(str(path))) for path in paths])
            with lt.SessionBook(place / "bench.linetilt") as book:
                intake = lt.session.open_photos(book, place / "phone", DEMO / "bag.csv")
                measuring = middle([seconds(lambda: lt.measure_photo(path, intake.bag["6"])) for path in paths])
                panel = PhotosPanel(intake, watch_s=600)
                shown = []
                for run in list(range(1, RUNS)) + [0]:
                    shown.append(seconds(lambda: setattr(panel._list, "value", f"6-{run}.jpg")))
                    if "Toe" not in panel._words.value and "Level" not in panel._words.value:
                        sys.exit(f"no numbers: {panel._words.value}")
                panel.close()
            print(
                f"| {picture[..., 0].size / 1e6:.0f} megapixels | {decoding:.3f} s | {measuring:.2f} s | "
                f"{middle(shown):.2f} s | {middle(shown) / decoding:.0f} |"
            )


if __name__ == "__main__":
    main()
