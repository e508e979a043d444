"""Photos made to mislead, with their truth: `python tests/bench/adversarial.py [photos a kind] [first seed] [kind
...]`.

Each kind spoils the same drawn faces (`tests/faces`) in one way. A confident miss is a photo answered more than 1° and
more than three standard uncertainties wrong; where no print is there, any answer is one. Those that carry the flag
`hand_unsure` (the fitter is asked to check the hand before believing the sign) are counted apart. A strike miss is more
than 2 mm and three standard uncertainties wrong.
"""

import os
import sys
from dataclasses import dataclass
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
sys.path[:0] = [str(Path(__file__).parents[1])]

import cv2
import linetilt as lt
import numpy as np
import pandas as pd
from faces.camera import take_photo, with_exif
from faces.ink import INKS, draw_print

MEGAPIXELS = (0.6, 2.5)
LINEAR = ((np.arange(256) / 255) ** 2.2).astype(np.float32)  # of a picture's values


@dataclass(frozen=True)
class Scene:
    """One face with and without its print, and a generator for what spoils it."""

    rng: np.random.Generator
    marked: object
    bare: object

    @property
    def ppm(self):
        """Pixels of the picture to a millimetre of the face."""
        h = self.marked.homography
        at = np.array([[0, 15, 1], [1, 15, 1], [0, 16, 1.0]]) @ h.T
        at = at[:, :2] / at[:, 2:]
        return float(np.sqrt(abs(np.linalg.det(at[1:] - at[0]))))

    def on_face(self, layer, u0, v0, ppm):
        """A layer over the face (row r, column c at u0 + c / ppm, v0 - r / ppm) as the camera sees it, blurred as the
        photo is."""
        grid = np.array([[1 / ppm, 0, u0], [0, -1 / ppm, v0], [0, 0, 1]])
        height, width = self.marked.rgb.shape[:2]
        seen = cv2.warpPerspective(
            layer.astype(np.float32), self.marked.homography @ grid, (width, height), flags=cv2.INTER_AREA
        )
        return cv2.GaussianBlur(seen, (0, 0), max(0.08 * self.ppm, 0.5))

    def ink(self, rgb, coverage, name, opacity):
        """Lay ink on a finished picture, as dark as the light there makes it."""
        cover = self.on_face(coverage * opacity, -40, 60, 12.0)[..., None]
        return self.laid(rgb, cover, name, 1.6 * self.light(rgb))

    def light(self, rgb):
        """Linear brightness of the surroundings, (H, W, 1)."""
        height, width = rgb.shape[:2]
        small = cv2.resize(
            rgb, (max(int(width / self.ppm), 8), max(int(height / self.ppm), 8)), interpolation=cv2.INTER_AREA
        )
        return cv2.resize(cv2.GaussianBlur(LINEAR[small].mean(axis=2), (0, 0), 4), (width, height))[..., None]

    def laid(self, rgb, cover, name, light):
        """Ink of that name over a picture, `cover` (H, W, 1) of it, lit by `light`."""
        inked = (1 - cover) * LINEAR[rgb] + cover * np.array(INKS[name], np.float32) * light
        return _8bit(np.clip(inked, 0, 1) ** np.float32(1 / 2.2))

    def print(self, **options):
        """Another print on a grid of the face."""
        head = self.marked.head
        return draw_print(
            self.rng,
            shape=(960, 960),
            u0=-40,
            v0=60,
            ppm=12.0,
            score_lines_v=head.lines[:, 0],
            score_line_width_mm=head.score_line_width_mm,
            score_line_half_length_mm=head.score_line_length_mm / 2,
            **options,
        )

    def spot(self, beside):
        """A place on the face, (u, v) in mm: in the middle, or clear of the print."""
        true = self.marked.print
        if not beside:
            return float(self.rng.normal(0, 5)), float(self.rng.uniform(10, 20))
        side = self.rng.choice([-1, 1]) if abs(true.toe_mm) < 6 else -np.sign(true.toe_mm)
        return float(true.toe_mm + side * self.rng.uniform(5, 13)), float(self.rng.uniform(8, 22))


def _8bit(tone):
    return (np.clip(tone, 0, 1) * 255 + 0.5).astype(np.uint8)


def _layer():
    return np.zeros((960, 960), np.uint8)  # 80 x 80 mm at 12 pixels a mm, from u = -40, v = 60


def _stroke(layer, points, width_mm, value=255):
    pixels = np.round((np.asarray(points) * [1, -1] + [40, 60]) * 12 * 16).astype(np.int32)
    cv2.polylines(layer, [pixels.reshape(-1, 1, 2)], False, value, max(int(round(width_mm * 12)), 1), cv2.LINE_AA, 4)
    return layer


# ---- kinds: Scene -> picture; those that leave the print in place have its truth -------------------------------------


def good(scene):
    return scene.marked.rgb


def mirrored(scene):
    return scene.marked.rgb[:, ::-1]


def upside_down(scene):
    return scene.marked.rgb[::-1, ::-1]


def two_prints(scene):
    first = scene.marked.print
    second = scene.print(
        ink=first.ink,
        width_mm=first.width_mm * scene.rng.uniform(0.9, 1.1),
        toe_mm=first.toe_mm + scene.rng.uniform(-7, 7),
        up_mm=first.up_mm + scene.rng.uniform(-3, 3),
    )
    return scene.ink(scene.marked.rgb, second.coverage, first.ink, first.opacity)


def old_ink(scene):
    """An earlier print that was wiped badly: fainter, elsewhere, at another angle, of any ink."""
    first = scene.marked.print
    old = scene.print(
        tilt_deg=float(np.clip(first.tilt_deg + scene.rng.choice([-1, 1]) * scene.rng.uniform(2, 8), -12, 12)),
        toe_mm=first.toe_mm + scene.rng.normal(0, 5),
        ink=first.ink if scene.rng.random() < 0.6 else None,
    )
    return scene.ink(scene.marked.rgb, old.coverage, old.ink, scene.rng.uniform(0.15, 0.5))


def _scratch(scene, rgb, beside):
    u, v = scene.spot(beside)
    angle, length = np.radians(scene.rng.normal(0, 12)), scene.rng.uniform(10, 26)
    step = length / 2 * np.array([np.sin(angle), np.cos(angle)])
    middle = np.array([u, v]) + scene.rng.normal(0, 0.5, 2)
    layer = _stroke(_layer(), [(u, v) - step, middle, (u, v) + step], scene.rng.uniform(0.15, 1.2))
    share = scene.on_face(layer / np.float32(255), -40, 60, 12.0)[..., None] * scene.rng.uniform(0.4, 0.9)
    return _8bit(rgb / np.float32(255) * (1 - share) + share * (0.95 if scene.rng.random() < 0.5 else 0.08))


def _shadow(scene, rgb, beside):
    """A band or an edge of shade, of a shaft, a finger or a lamp's frame, nearly along a print."""
    u, v = scene.spot(beside)
    lean = np.tan(np.radians(scene.rng.normal(0, 12)))
    width = scene.rng.uniform(1.5, 6) if scene.rng.random() < 0.6 else 60.0
    y, x = np.mgrid[0:960, 0:960] / 12.0
    off = (x - 40 - u) - lean * ((60 - y) - v)
    soft = scene.rng.uniform(0.1, 0.8)
    dark = scene.rng.uniform(0.25, 0.75) / (
        (1 + np.exp(-np.clip(off / soft, -30, 30))) * (1 + np.exp(np.clip((off - width) / soft, -30, 30)))
    )
    return _8bit(rgb / np.float32(255) * (1 - scene.on_face(dark, -40, 60, 12.0)[..., None]))


def _logo(scene, rgb, beside):
    """A stamped or painted sign: bars, a ring, a letter's strokes."""
    u, v = scene.spot(beside)
    layer, high = _layer(), scene.rng.uniform(3, 12)
    for _ in range(int(scene.rng.integers(1, 4))):
        kind = scene.rng.integers(0, 3)
        x, y = u + scene.rng.normal(0, 2), v + scene.rng.normal(0, 1)
        if kind == 0:
            _stroke(layer, [(x, y - high / 2), (x + scene.rng.normal(0, 1), y + high / 2)], scene.rng.uniform(0.8, 3))
        elif kind == 1:
            t = np.linspace(0, 2 * np.pi, 30)
            _stroke(
                layer, np.column_stack([x + high / 3 * np.cos(t), y + high / 3 * np.sin(t)]), scene.rng.uniform(0.8, 2)
            )
        else:
            _stroke(layer, [(x - 2, y - high / 2), (x, y + high / 2), (x + 2, y - high / 2)], scene.rng.uniform(0.8, 2))
    colour = (
        np.array(INKS[str(scene.rng.choice(list(INKS)))]) ** (1 / 2.2)
        if scene.rng.random() < 0.6
        else np.full(3, scene.rng.choice([0.05, 0.9]))
    )
    share = scene.on_face(layer / np.float32(255), -40, 60, 12.0)[..., None] * scene.rng.uniform(0.6, 0.95)
    return _8bit(rgb / np.float32(255) * (1 - share) + share * colour)


def _tape(scene, rgb):
    """A strip of tape over the middle of the face: score lines only just show through."""
    left, right = scene.rng.uniform(-24, -12), scene.rng.uniform(12, 24)
    low, high = scene.rng.uniform(-6, 4), scene.rng.uniform(24, 40)
    turn = np.radians(scene.rng.normal(0, 4))
    corners = np.array([(left, low), (right, low), (right, high), (left, high)]) @ np.array(
        [[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]]
    )
    layer = _layer()
    cv2.fillPoly(layer, [np.round((corners * [1, -1] + [40, 60]) * 12).astype(np.int32)], 255, cv2.LINE_AA)
    share = scene.on_face(layer / np.float32(255), -40, 60, 12.0)[..., None] * scene.rng.uniform(0.6, 0.97)
    colour = [np.full(3, 0.9), np.array([0.85, 0.78, 0.6]), np.array([0.3, 0.5, 0.85]), np.full(3, 0.15)][
        scene.rng.integers(0, 4)
    ]
    return _8bit(
        rgb / np.float32(255) * (1 - share) + share * colour.astype(np.float32) * (0.4 + scene.light(rgb) ** 0.45)
    )


def scratch_beside(scene):
    return _scratch(scene, scene.marked.rgb, True)


def scratch_instead(scene):
    return _scratch(scene, scene.bare.rgb, False)


def shadow_beside(scene):
    return _shadow(scene, scene.marked.rgb, True)


def shadow_instead(scene):
    return _shadow(scene, scene.bare.rgb, False)


def logo_beside(scene):
    return _logo(scene, scene.marked.rgb, True)


def logo_instead(scene):
    return _logo(scene, scene.bare.rgb, False)


def tape_under(scene):
    """The print is on tape laid over the face."""
    true = scene.marked.print
    taped = _tape(scene, scene.bare.rgb)
    cover = scene.on_face(true.coverage * true.opacity, true.u0, true.v0, true.ppm)[..., None]
    return scene.laid(taped, cover, true.ink, 0.6)


def tape_instead(scene):
    return _tape(scene, scene.bare.rgb)


def bare(scene):
    return scene.bare.rgb


def two_patches(scene):
    """Ink took in two small places only."""
    true = scene.marked.print
    rows, columns = np.indices(true.coverage.shape, np.float32)
    u, v = true.u0 + columns / true.ppm, true.v0 - rows / true.ppm
    along = (u - true.toe_mm) * np.sin(np.radians(true.tilt_deg)) + (v - true.up_mm) * np.cos(np.radians(true.tilt_deg))
    gap = scene.rng.uniform(4, 14)
    kept = sum((np.abs(along - middle) < scene.rng.uniform(0.8, 2.0)) for middle in (-gap / 2, gap / 2)).clip(0, 1)
    cover = scene.on_face(true.coverage * kept * true.opacity, true.u0, true.v0, true.ppm)[..., None]
    return scene.laid(scene.bare.rgb, cover, true.ink, 1.6 * scene.light(scene.bare.rgb))


def moire(scene, rgb=None, strength=1.0):
    rgb = scene.marked.rgb if rgb is None else rgb
    height, width = rgb.shape[:2]
    y, x = np.mgrid[0:height, 0:width].astype(np.float32)
    out = rgb / np.float32(255)
    for channel in range(3):  # fine grating, and the broad beats that differ between colours
        angle, period = scene.rng.uniform(0, np.pi), scene.rng.uniform(2.2, 4)
        wave = 0.5 * np.sin(2 * np.pi * (x * np.cos(angle) + y * np.sin(angle)) / period)
        angle, period = scene.rng.uniform(0, np.pi), scene.rng.uniform(12, 60)
        wave = wave + np.sin(2 * np.pi * (x * np.cos(angle) + y * np.sin(angle)) / period)
        out[..., channel] *= 1 + strength * scene.rng.uniform(0.03, 0.12) * wave
    return _8bit(out)


def _phone_screen(scene):
    """A phone's screen that shows the photo between bars with words, signs and a clock."""
    width, height = 1080, int(scene.rng.choice([1920, 2340]))
    photo = scene.marked.rgb
    tall = int(round(photo.shape[0] * width / photo.shape[1]))
    shown = cv2.resize(
        photo, (width, tall), interpolation=cv2.INTER_AREA if photo.shape[1] > width else cv2.INTER_CUBIC
    )[:height]
    page = np.full((height, width, 3), int(scene.rng.choice([0, 250])), np.uint8)
    ink = 255 - page[0, 0].astype(int)
    top = (height - shown.shape[0]) // 2
    page[top : top + shown.shape[0]] = shown
    cv2.putText(page, "12:41", (60, 70), cv2.FONT_HERSHEY_SIMPLEX, 1.6, ink.tolist(), 3, cv2.LINE_AA)
    for k in range(4):
        cv2.circle(page, (150 + 260 * k, height - 110), 34, ink.tolist(), 5, cv2.LINE_AA)
    cv2.rectangle(page, (360, height - 40), (720, height - 30), ink.tolist(), -1)
    return page


def screenshot(scene):
    return _phone_screen(scene)


def screen_photo(scene):
    """A photo of the screen: a little askew, its grid beating with the sensor's, a reflection over it."""
    page = _phone_screen(scene).astype(np.float32)
    height, width = page.shape[:2]
    corners = np.float32([[0, 0], [width, 0], [width, height], [0, height]])
    seen = (
        corners * 0.85
        + np.float32([0.07 * width, 0.07 * height])
        + scene.rng.normal(0, 0.012 * width, (4, 2)).astype(np.float32)
    )
    out = cv2.warpPerspective(
        page,
        cv2.getPerspectiveTransform(corners, seen),
        (width, height),
        flags=cv2.INTER_AREA,
        borderValue=(25, 25, 25),
    )
    y, x = np.mgrid[0:height, 0:width].astype(np.float32)
    glow = scene.rng.uniform(0, 50) * np.exp(
        -(((x - scene.rng.uniform(0, width)) / 400) ** 2 + ((y - scene.rng.uniform(0, height)) / 600) ** 2)
    )
    return moire(scene, np.clip(cv2.GaussianBlur(out, (0, 0), 0.9) * 0.9 + glow[..., None], 0, 255))


def vignetting(scene):
    rgb = scene.marked.rgb
    y, x = np.mgrid[-1 : 1 : rgb.shape[0] * 1j, -1 : 1 : rgb.shape[1] * 1j]
    x, y = x - scene.rng.normal(0, 0.2), y - scene.rng.normal(0, 0.2)
    return _8bit(rgb / np.float32(255) * (1 / (1 + scene.rng.uniform(0.8, 4) * (x**2 + y**2)))[..., None])


def motion_blur(scene):
    rgb = scene.marked.rgb
    length, angle = scene.ppm * scene.rng.uniform(0.3, 2.0), scene.rng.uniform(0, np.pi)
    size = int(length) // 2 * 2 + 3
    kernel, middle = np.zeros((size, size), np.float32), (size - 1) / 2
    ends = [
        np.round((middle + s * length / 2 * np.array([np.cos(angle), np.sin(angle)])) * 16).astype(int).tolist()
        for s in (-1, 1)
    ]
    cv2.line(kernel, *ends, 1.0, 1, cv2.LINE_AA, 4)
    return cv2.filter2D(rgb, -1, kernel / kernel.sum())


def heavy_jpeg(scene):
    return scene.marked.rgb


WITHOUT_PRINT = {"bare", "scratch_instead", "shadow_instead", "logo_instead", "tape_instead"}
KINDS = {
    kind.__name__: kind
    for kind in (
        good,
        mirrored,
        upside_down,
        two_prints,
        old_ink,
        scratch_beside,
        scratch_instead,
        shadow_beside,
        shadow_instead,
        logo_beside,
        logo_instead,
        tape_under,
        tape_instead,
        bare,
        two_patches,
        moire,
        screenshot,
        screen_photo,
        vignetting,
        motion_blur,
        heavy_jpeg,
    )
}
KINDS["other_hand"] = good


def scene_of(seed, kind):
    """The face of a seed, and a generator that this kind alone draws from."""
    rng = np.random.default_rng([seed, 11])
    megapixels = float(np.exp(rng.uniform(*np.log(MEGAPIXELS))))
    return Scene(np.random.default_rng([seed, sorted(KINDS).index(kind)]), *_faces(seed, megapixels))


_drawn = {}


def _faces(seed, megapixels):
    if seed not in _drawn:
        _drawn.clear()
        _drawn[seed] = take_photo(seed, megapixels=megapixels), take_photo(seed, megapixels=megapixels, prints=0)
    return _drawn[seed]


def adversarial_photo(seed, kind):
    """Return JPEG bytes, the club to measure it as, and the Print that is the truth or None where there is none."""
    scene = scene_of(seed, kind)
    rgb = KINDS[kind](scene)
    quality = int(scene.rng.integers(4, 40)) if kind == "heavy_jpeg" else 88
    jpeg = cv2.imencode(".jpg", np.ascontiguousarray(rgb[..., ::-1]), [cv2.IMWRITE_JPEG_QUALITY, quality])[1].tobytes()
    if kind not in ("screenshot", "screen_photo"):
        jpeg = with_exif(jpeg, scene.marked.f35_mm)
    handed = scene.marked.handed
    if kind == "other_hand":
        handed = {"right": "left", "left": "right"}[handed]
    club = lt.Club(label="7", loft_deg=34, handed=handed, score_line_length_mm=scene.marked.head.score_line_length_mm)
    return jpeg, club, None if kind in WITHOUT_PRINT else scene.marked.print


def judge(seed, kind):
    """Measure one: a row with kind, seed, code ("" where answered), errors, and whether it is a confident miss."""
    jpeg, club, true = adversarial_photo(seed, kind)
    row = {"kind": kind, "seed": seed, "code": "", "flagged": False, "miss": False, "strike_miss": False}
    try:
        mark = lt.measure_photo(jpeg, club)
    except lt.PhotoError as error:
        return row | {"code": error.code}
    row |= {
        "tilt": mark.tilt_deg,
        "u": mark.u_tilt_deg,
        "flags": ";".join(mark.flags),
        "flagged": "hand_unsure" in mark.flags,
    }
    if true is None:
        return row | {"miss": True}
    wrong = lambda error, u, most: bool(abs(error) > most and abs(error) > 3 * u)
    return row | {
        "true": true.tilt_deg,
        "miss": wrong(mark.tilt_deg - true.tilt_deg, mark.u_tilt_deg, 1.0),
        "strike_miss": wrong(mark.strike_toe_mm - true.toe_mm, mark.u_strike_toe_mm, 2.0)
        or wrong(mark.strike_up_mm - true.up_mm, mark.u_strike_up_mm, 2.0),
    }


def summary(table):
    """A row a kind: tries, refused by reason, answered right, confident misses, the flagged among them, strike misses,
    seeds."""
    rows = []
    for kind, group in table.groupby("kind", sort=False):
        answered = group[group.code == ""]
        plain = answered[answered.miss & ~answered.flagged]
        codes = ", ".join(f"{code} {count}" for code, count in group.code[group.code != ""].value_counts().items())
        rows.append(
            [
                kind,
                len(group),
                codes,
                int((~answered.miss).sum()),
                len(plain),
                int((answered.miss & answered.flagged).sum()),
                int(answered.strike_miss.sum()),
                " ".join(map(str, plain.seed)),
            ]
        )
    return pd.DataFrame(
        rows,
        columns=[
            "kind",
            "tries",
            "refused",
            "right",
            "confident misses",
            "flagged misses",
            "strike misses",
            "seeds of misses",
        ],
    )


def main(count=20, first=20000, *kinds):
    rows = []
    for seed in range(int(first), int(first) + int(count)):
        for kind in kinds or KINDS:
            rows.append(judge(seed, kind))
            if rows[-1]["miss"]:
                print(rows[-1], file=sys.stderr, flush=True)
    table = pd.DataFrame(rows)
    out = summary(table)
    print("| " + " | ".join(out.columns) + " |\n|" + " --- |" * len(out.columns))
    for row in out.itertuples(index=False):
        print("| " + " | ".join(map(str, row)) + " |")
    refused = (table.code[table.kind == "good"] != "").mean()
    print(
        f"\n{count} photos a kind, seeds from {first}; good photos refused in the same run: {refused:.0%}; confident "
        f"misses: {int((table.miss & ~table.flagged).sum())}"
    )
    missed = table[table.miss & (table.code == "")]
    if len(missed):
        print(missed.drop(columns=["code", "miss"]).round(2).to_string(index=False))


if __name__ == "__main__":
    main(*sys.argv[1:])
