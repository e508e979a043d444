"""How well a photo is measured: `python tests/bench/accuracy.py [photos] [first seed]`.

Three columns on the same drawn photos (`tests/faces`): the kit; the textbook way, built from scikit-image (Hough lines
for the score lines, Otsu's threshold on saturation in the middle of the picture, orientation of the largest upright
region); and the limit: the kit's own fit, given the true plane and the true map of the ink. Seeds from 5000 on were not
looked at while the kit was tuned.
"""

import sys
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import numpy as np
import pandas as pd

sys.path[:0] = [str(Path(__file__).parents[1])]

import linetilt as lt
from faces.camera import take_photo
from linetilt.reading.evidence import Why
from linetilt.reading.ink.band import fit_band
from linetilt.reading.ink.flat import GROOVE_MM
from skimage import color, feature, filters, measure, morphology, transform


def limit_tilt_deg(photo):
    """The kit's fit on the true map of the ink, in the true plane; NaN where that is too little for one."""
    mark = photo.print
    ink = np.minimum(mark.coverage / np.percentile(mark.coverage[mark.coverage > 0.2], 85), 1.5)
    u, v = mark.u0 + np.arange(ink.shape[1]) / mark.ppm, mark.v0 - np.arange(ink.shape[0]) / mark.ppm
    clear = np.abs(v[:, None] - photo.head.lines[:, 0][None, :]).min(axis=1) >= GROOVE_MM
    toe, up = (ink * u).sum() / ink.sum(), (ink * v[:, None]).sum() / ink.sum()
    du, dv = u[None, :] - toe, v[:, None] - up
    slope = np.tan(0.5 * np.arctan2(2 * (ink * du * dv).sum(), (ink * dv * dv).sum() - (ink * du * du).sum()))
    reach = 3.1
    for _ in range(3):
        band = fit_band(ink, u, v, clear, slope, toe, up, reach)
        if isinstance(band, Why):
            return np.nan
        slope, toe, up, reach = band.slope, band.toe_mm, band.up_mm, band.width_mm / 2 + 1.4
    return float(np.degrees(np.arctan(slope)))


def textbook_tilt_deg(rgb, handed):
    """Score lines by Hough, ink by saturation, its orientation against theirs; NaN where nothing is found."""
    step = max(int(max(rgb.shape[:2]) / 1000), 1)
    rgb = rgb[::step, ::step]
    edges = feature.canny(color.rgb2gray(rgb), sigma=2)
    angles = np.radians(np.arange(55, 125, 0.25))
    peaks = transform.hough_line_peaks(*transform.hough_line(edges, theta=angles), num_peaks=12)
    if not len(peaks[1]):
        return np.nan
    middle = (slice(rgb.shape[0] // 4, -rgb.shape[0] // 4), slice(rgb.shape[1] // 4, -rgb.shape[1] // 4))
    saturation = color.rgb2hsv(rgb)[..., 1][middle]
    regions = measure.regionprops(
        measure.label(morphology.closing(saturation > filters.threshold_otsu(saturation), morphology.disk(7)))
    )
    likely = [region for region in regions if region.eccentricity > 0.95 and abs(region.orientation) < np.radians(45)]
    if not likely:
        return np.nan
    across = np.median(peaks[1]) - np.pi / 2  # how far the score lines fall away from the picture's horizontal
    lean = max(likely, key=lambda region: region.area).orientation  # from the vertical, anticlockwise
    turn = np.degrees(lean + across)
    return turn if handed == "right" else -turn


def one(seed):
    photo = take_photo(seed)
    true = photo.print
    club = lt.Club(label="x", loft_deg=34, handed=photo.handed, score_line_length_mm=photo.head.score_line_length_mm)
    row = {
        "seed": seed,
        "finish": photo.head.finish,
        "ink": true.ink,
        "limit": limit_tilt_deg(photo) - true.tilt_deg,
        "textbook": textbook_tilt_deg(photo.rgb, photo.handed) - true.tilt_deg,
    }
    try:
        mark = lt.measure_photo(photo.jpeg, club)
    except lt.PhotoError as error:
        return row | {"code": error.code}
    return row | {
        "code": "",
        "kit": mark.tilt_deg - true.tilt_deg,
        "u": mark.u_tilt_deg,
        "toe": mark.strike_toe_mm - true.toe_mm,
        "u_toe": mark.u_strike_toe_mm,
        "up": mark.strike_up_mm - true.up_mm,
        "u_up": mark.u_strike_up_mm,
    }


def main(photos=200, first=5000):
    with ProcessPoolExecutor(2) as pool:
        table = pd.DataFrame(pool.map(one, range(first, first + photos)))
    kit = table[table.code == ""]
    held = lambda error, u: f"{(error.abs() < 1.96 * u).mean():.1%}"
    size = lambda error: (f"{error.abs().median():.2f}°", f"{error.abs().quantile(0.95):.2f}°")
    confident = kit[(kit.kit.abs() > 1) & (kit.kit.abs() > 3 * kit.u)]
    rows = [
        (
            "answered",
            f"{len(kit) / len(table):.1%}",
            f"{table.textbook.notna().mean():.1%}",
            f"{table.limit.notna().mean():.1%}",
        ),
        ("tilt error, median", size(kit.kit)[0], size(table.textbook)[0], size(kit.limit)[0]),
        ("tilt error, 95th percentile", size(kit.kit)[1], size(table.textbook)[1], size(kit.limit)[1]),
        ("95 % interval of the tilt holds the truth", held(kit.kit, kit.u), "", ""),
        ("more than 1° and 3 u wrong", str(len(confident)), "", ""),
        ("strike heel-toe, median error", f"{kit.toe.abs().median():.2f} mm", "", ""),
        ("its 95 % interval holds the truth", held(kit.toe, kit.u_toe), "", ""),
        ("strike up the face, median error", f"{kit.up.abs().median():.2f} mm", "", ""),
        ("its 95 % interval holds the truth", held(kit.up, kit.u_up), "", ""),
    ]
    print(
        f"{photos} drawn photos, seeds {first} to {first + photos - 1}; the limit on the photos that the kit answered\n"
    )
    print("| | kit | textbook | limit |\n| --- | --- | --- | --- |")
    for row in rows:
        print(f"| {' | '.join(row)} |")
    both = kit[["kit", "limit"]].abs()
    median, most = (part.kit / part.limit for part in (both.median(), both.quantile(0.95)))
    print(f"\nkit to limit: {median:.2f} times at the median, {most:.2f} times at the 95th percentile")
    print("refused:", {code: group.seed.tolist() for code, group in table[table.code != ""].groupby("code")})
    if len(confident):
        print(confident.round(2).to_string(index=False))


if __name__ == "__main__":
    main(*(int(word) for word in sys.argv[1:]))
