"""A fast photograph of a ball with its pen line and a plumb cord or a level edge, as a phone sees it along the target
line.

World axes in metres, as at impact: x to the target, y left, z up; the ball stands on z = 0 at the origin. The truth is
in the world, the picture comes from a pinhole camera: nothing here calls the kit.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from scipy.spatial import cKDTree

from .camera import DIAGONAL_35MM, with_exif

RADIUS_M = 0.021335  # The Equipment Rules (The R&A and USGA), Part 4: diameter at least 42.67 mm
BALLS = {"white": (0.82, 0.82, 0.80), "yellow": (0.85, 0.80, 0.12), "orange": (0.85, 0.34, 0.08)}
PENS = {
    "black": (0.03, 0.03, 0.035),
    "blue": (0.04, 0.07, 0.35),
    "red": (0.50, 0.03, 0.05),
    "green": (0.03, 0.22, 0.08),
    "violet": (0.17, 0.04, 0.27),
}
CORDS = {
    "white": (0.75, 0.75, 0.72),
    "black": (0.03, 0.03, 0.03),
    "orange": (0.8, 0.25, 0.03),
    "pink": (0.8, 0.15, 0.35),
}
BACKGROUNDS = ("plain", "boards", "bricks", "net", "clutter")


@dataclass(frozen=True)
class SetupPhoto:
    """A photo and its truth."""

    jpeg: bytes
    rgb: np.ndarray
    setup_tilt_deg: float
    reference: str
    handed: str
    line_ends: np.ndarray  # (2, 2) pixels: two points of the pen line on the visible side, low and high
    reference_ends: np.ndarray  # (2, 2) pixels
    pitch_deg: float
    roll_deg: float
    ball_px: float  # diameter
    told: str


def _rotation(axis, degrees):
    return cv2.Rodrigues(np.asarray(axis, float) * np.radians(degrees))[0]


class _Camera:
    def __init__(self, rng, size, f_px, distance, elevation, azimuth, roll, aim):
        self.size, self.f = size, f_px
        e, a = np.radians([elevation, azimuth])
        ball = np.array([0, 0, RADIUS_M])
        self.eye = ball + distance * np.array([-np.cos(e) * np.cos(a), np.cos(e) * np.sin(a), np.sin(e)])
        forward = ball - self.eye
        forward /= np.linalg.norm(forward)
        right = np.cross(forward, [0, 0, 1.0])
        right /= np.linalg.norm(right)
        base = np.array([right, np.cross(forward, right), forward])  # rows: picture's right, down, into the picture
        turn = _rotation([0, 0, 1], roll) @ _rotation([1, 0, 0], aim[1]) @ _rotation([0, 1, 0], aim[0])
        self.rows = turn @ base
        self.pitch_deg = float(np.degrees(-np.arcsin(self.rows[2][2])))
        self.middle = np.array([size[0] / 2 - 0.5, size[1] / 2 - 0.5])

    def pixels(self, points):
        seen = (np.atleast_2d(points) - self.eye) @ self.rows.T
        return self.middle + self.f * seen[:, :2] / seen[:, 2:]

    def rays(self, x, y):
        local = np.stack([(x - self.middle[0]) / self.f, (y - self.middle[1]) / self.f, np.ones_like(x)], -1)
        return local @ self.rows


def _noise(rng, shape, cell):
    small = rng.standard_normal((int(shape[0] / cell) + 3, int(shape[1] / cell) + 3)).astype(np.float32)
    return cv2.resize(small, shape[::-1], interpolation=cv2.INTER_CUBIC)


def _surroundings(rng, camera, kind):
    """Linear RGB of the mat and of what stands behind it."""
    width, height = camera.size
    y, x = np.mgrid[0:height, 0:width].astype(np.float32)
    rays = camera.rays(x, y)
    wall = rng.uniform(1.2, 4.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        to_ground = np.where(rays[..., 2] < -1e-6, -camera.eye[2] / rays[..., 2], np.inf)
        to_wall = (wall - camera.eye[0]) / rays[..., 0]
    ground = to_ground < to_wall
    hit = camera.eye + np.where(ground, to_ground, to_wall)[..., None] * rays
    mat = (
        np.array([rng.uniform(0.02, 0.12), rng.uniform(0.08, 0.25), rng.uniform(0.02, 0.1)])
        if rng.random() < 0.7
        else rng.uniform(0.05, 0.3) * np.ones(3)
    )
    grain = _noise(rng, (height, width), 2.0) * 0.25 + _noise(rng, (height, width), 9.0) * 0.15
    out = np.where(ground[..., None], mat * np.clip(1 + grain, 0.2, None)[..., None], 0.0)
    paint = rng.uniform(0.08, 0.6) * (1 + rng.uniform(-0.15, 0.15, 3))
    pattern = 1 + 0.05 * _noise(rng, (height, width), 25.0)
    across, up = hit[..., 1], hit[..., 2]
    lean = np.radians(rng.normal(0, 1.5))  # what is built is not plumb
    across, up = across * np.cos(lean) - up * np.sin(lean), up * np.cos(lean) + across * np.sin(lean)
    if kind == "boards":
        pitch = rng.uniform(0.08, 0.2)
        pattern = (
            pattern
            * (1 + 0.12 * np.sin(np.floor(across / pitch) * 12.9898))
            * np.where(np.mod(across, pitch) < 0.006, 0.55, 1.0)
        )
    elif kind == "bricks":
        row = np.floor(up / 0.075)
        joint = (np.mod(up, 0.075) < 0.01) | (np.mod(across + 0.11 * np.mod(row, 2), 0.22) < 0.01)
        pattern = pattern * np.where(joint, 1.4, 1.0 + 0.1 * np.sin(row * 7.1 + np.floor(across / 0.22) * 3.3))
    elif kind == "net":
        mesh = rng.uniform(0.02, 0.05)
        thread = (np.mod(up + across, mesh) < 0.003) | (np.mod(up - across, mesh) < 0.003)
        pattern = pattern * np.where(thread, 0.5, 1.0)
    elif kind == "clutter":
        for _ in range(9):
            cy, cz, sy, sz = rng.uniform(-1.5, 1.5), rng.uniform(0, 1.5), rng.uniform(0.05, 0.5), rng.uniform(0.05, 0.4)
            box = (np.abs(across - cy) < sy) & (np.abs(up - cz) < sz)
            pattern = np.where(box, rng.uniform(0.3, 1.6), pattern)
    return np.where(ground[..., None], out, paint * pattern[..., None]).astype(np.float32)


def _along(rgb, ends, half_px, colour):
    """Paint a straight strip with soft edges, in place."""
    height, width = rgb.shape[:2]
    (x0, y0), (x1, y1) = ends
    low = np.floor(np.minimum([x0, y0], [x1, y1]) - half_px - 3).astype(int)
    high = np.ceil(np.maximum([x0, y0], [x1, y1]) + half_px + 3).astype(int)
    left, top = np.clip(low, 0, [width, height])
    right, bottom = np.clip(high, 0, [width, height])
    if right <= left or bottom <= top:
        return
    y, x = np.mgrid[top:bottom, left:right].astype(np.float32)
    length = np.hypot(x1 - x0, y1 - y0)
    along = ((x - x0) * (x1 - x0) + (y - y0) * (y1 - y0)) / length
    across = np.abs((x - x0) * (y1 - y0) - (y - y0) * (x1 - x0)) / length
    cover = (
        np.clip(half_px + 0.5 - across, 0, min(1, 2 * half_px))
        * np.clip(along + 0.5, 0, 1)
        * np.clip(length - along + 0.5, 0, 1)
    )
    part = rgb[top:bottom, left:right]
    part += cover[..., None] * (np.asarray(colour, np.float32) * (1 - 0.4 * across / (half_px + 1))[..., None] - part)


def _ball(rng, rgb, camera, normal, offset_m, ball, pen, width_m, lines, logo, light):
    """Shade the ball with its dimples, pen line and print, two by two samples a pixel, in place."""
    centre = np.array([0, 0, RADIUS_M])
    at, seen = camera.pixels(centre)[0], (centre - camera.eye) @ camera.rows.T
    reach = camera.f * RADIUS_M / seen[2] * 1.25 + 4
    left, top = np.maximum(np.floor(at - reach).astype(int), 0)
    right, bottom = np.minimum(np.ceil(at + reach).astype(int), np.array(camera.size))
    fine = 2
    y, x = np.mgrid[0 : (bottom - top) * fine, 0 : (right - left) * fine].astype(np.float64)
    rays = camera.rays(left + (x + 0.5) / fine - 0.5, top + (y + 0.5) / fine - 0.5)
    rays /= np.linalg.norm(rays, axis=-1, keepdims=True)
    to = camera.eye - centre
    b = rays @ to
    root = b * b - to @ to + RADIUS_M**2
    hit = root > 0
    n = (to + (-b - np.sqrt(np.maximum(root, 0)))[..., None] * rays) / RADIUS_M
    turn = _rotation(rng.normal(size=3), 60)
    count = int(rng.integers(300, 400))
    k = np.arange(count) + 0.5
    z, phi = 1 - 2 * k / count, np.pi * (1 + 5**0.5) * k
    dimples = np.stack([np.sqrt(1 - z * z) * np.cos(phi), np.sqrt(1 - z * z) * np.sin(phi), z], -1) @ turn
    dimples = dimples[dimples @ (-camera.rows[2]) > -0.3]
    bumpy = n.copy()
    size = np.sqrt(4 / count) * 0.86
    which = cKDTree(dimples).query(n.reshape(-1, 3).astype(np.float32))[1].reshape(n.shape[:2])
    nearest = (n * dimples[which]).sum(-1)
    away = n - dimples[which] * nearest[..., None]
    distance = np.linalg.norm(away, axis=-1)
    inside = distance < size
    slope = np.where(
        inside, 0.35 * np.minimum(distance / size, 1) * (1 - np.clip(distance / size - 0.8, 0, 0.2) * 3), 0
    )
    bumpy -= slope[..., None] * away / np.maximum(distance, 1e-6)[..., None]
    bumpy /= np.linalg.norm(bumpy, axis=-1, keepdims=True)
    dip = inside & (distance < 0.35 * size)

    colour = np.array(BALLS[ball]) * np.ones(n.shape)
    for number, (m, c) in enumerate(lines):
        wobble = 0.12e-3 * np.sin(9 * np.arctan2(n @ np.cross(m, [1, 0.2, 0.1]), n @ [1, 0.2, 0.1]) + number)
        away = np.abs(n @ m * RADIUS_M - c + wobble)
        ink = np.clip((width_m / 2 - away) / 0.08e-3 + 0.5, 0, 1) * np.where(dip, rng.uniform(0.75, 1), 1.0)
        colour += (ink * rng.uniform(0.85, 0.97))[..., None] * (np.array(PENS[pen]) - colour)
    if logo:
        side = rng.choice([-1, 1])
        towards = -camera.rows[2]
        p = _rotation([0, 0, 1], side * rng.uniform(38, 60)) @ towards
        p /= np.linalg.norm(p)
        right_dir = np.cross([0, 0, 1], p)
        right_dir /= np.linalg.norm(right_dir)
        spin = _rotation(p, rng.uniform(-180, 180))
        right_dir, up_dir = spin @ right_dir, spin @ np.cross(p, right_dir)
        picture = np.zeros((120, 320), np.uint8)
        cv2.putText(
            picture, rng.choice(["ABC 3", "XOXO", "No 7"]), (20, 90), cv2.FONT_HERSHEY_DUPLEX, 2.6, 255, 9, cv2.LINE_AA
        )
        u = n @ right_dir * 350 + 160
        v = -(n @ up_dir) * 350 + 60
        mark = (
            cv2.remap(picture, u.astype(np.float32), v.astype(np.float32), cv2.INTER_LINEAR, borderValue=0)
            / 255.0
            * (n @ p > 0)
        )
        colour += mark[..., None] * (np.array(PENS[rng.choice(list(PENS))]) - colour)
    lamp, ambient, power, shine = light
    view = -rays
    half = lamp + view
    half /= np.linalg.norm(half, axis=-1, keepdims=True)
    sky = 0.5 + 0.5 * bumpy[..., 2]
    shade = ambient * (0.35 + 0.65 * sky) + power * np.clip(bumpy @ lamp, 0, None)
    contact = np.clip((n[..., 2] + 1) / 0.35, 0.25, 1)
    linear = (
        colour * (shade * contact)[..., None] + shine * (np.clip((bumpy * half).sum(-1), 0, None) ** 120)[..., None]
    )
    cover = hit.astype(np.float32)
    total = cv2.resize(
        (linear * hit[..., None]).astype(np.float32), (right - left, bottom - top), interpolation=cv2.INTER_AREA
    )
    cover = cv2.resize(cover, (right - left, bottom - top), interpolation=cv2.INTER_AREA)[..., None]
    part = rgb[top:bottom, left:right]
    part += total - cover * part
    return 2 * reach / 1.25


def take_setup_photo(
    seed,
    *,
    reference=None,
    tilt_deg=None,
    handed=None,
    background=None,
    pen=None,
    ball=None,
    roll_deg=None,
    pitch_deg=None,
    aim_down_deg=None,
    second_line=False,
    ball_there=True,
    line_there=True,
    reference_there=True,
    hard=True,
):
    """Photograph a set-up ball drawn from `seed`.

    Parameters
    ----------
    seed : int
    reference : {"cord", "edge"}, optional
    tilt_deg : float, optional
        Lean of the line's plane, by the kit's sign; drawn with a standard deviation of 2.5 degrees where not given.
    handed, background, pen, ball, roll_deg, pitch_deg, aim_down_deg : optional
        Drawn where not given; `pitch_deg` is how far the ball lies below the camera's level, `aim_down_deg` how far the
        camera then looks below the ball.
    second_line : bool
        A second great circle on the ball, as of an old line.
    ball_there, line_there, reference_there : bool
        False leaves that out.
    hard : bool
        Over the whole stated range of blur, noise and views.

    Returns
    -------
    SetupPhoto
    """
    rng = np.random.default_rng([seed, 104729])
    draw = {
        "reference": rng.choice(["cord", "cord", "cord", "edge"]),
        "tilt": rng.normal(0, 2.5),
        "handed": rng.choice(["right", "right", "right", "left"]),
        "background": rng.choice(BACKGROUNDS),
        "pen": rng.choice(list(PENS)),
        "ball": rng.choice(["white"] * 6 + ["yellow", "orange"]),
        "roll": rng.normal(0, 3.0),
        "pitch": rng.uniform(0, 20) if hard else rng.uniform(3, 10),
    }
    reference, handed, background = (
        reference or str(draw["reference"]),
        handed or str(draw["handed"]),
        background or str(draw["background"]),
    )
    pen, ball = pen or str(draw["pen"]), ball or str(draw["ball"])
    tilt = draw["tilt"] if tilt_deg is None else tilt_deg
    roll = draw["roll"] if roll_deg is None else roll_deg
    size = (1600, 1200) if rng.random() < 0.5 else (1200, 1600)
    f35 = float(rng.choice([52, 77])) if rng.random() < 0.3 else float(rng.normal(26, 1))
    f_px = f35 / DIAGONAL_35MM * np.hypot(*size)
    ball_px = rng.uniform(130, 420)
    distance = f_px * 2 * RADIUS_M / ball_px
    elevation = draw["pitch"] if pitch_deg is None else pitch_deg
    field = np.degrees(np.arctan(np.array(size) / 2 / f_px))
    aim = (
        rng.uniform(-0.25, 0.25) * field[0],
        -rng.uniform(-0.1, 0.45) * field[1] * 0.8,
    )  # the ball low in the picture, the cord above it
    if aim_down_deg is not None:
        aim = (aim[0], -aim_down_deg)
    camera = _Camera(rng, size, f_px, distance, elevation, rng.normal(0, 2.5), roll, aim)
    rgb = _surroundings(rng, camera, background)

    side = -1.0 if handed == "right" else 1.0  # the toe's side is at side * y
    delta = np.radians(tilt)
    up = np.array([0, side * np.sin(delta), np.cos(delta)])
    normal = _rotation([0, 0, 1], rng.normal(0, 1.5)) @ np.cross(up, [1.0, 0, 0])
    x_far = rng.uniform(0.0, 0.25)
    depth = camera.rows[2] @ (np.array([x_far, 0, 0.1]) - camera.eye)
    span = size[0] / f_px * depth  # width of the picture there, in metres
    if reference == "cord":
        where = rng.choice([-1, 1]) * rng.uniform(0, 0.18) * span
        x_far = max(x_far, 0.03) if abs(where) < 0.05 else x_far
        lean = np.radians(rng.normal(0, 0.05))
        foot = np.array([x_far, where, rng.uniform(0.03, 0.08) if abs(where) > 0.05 else rng.uniform(0.05, 0.09)])
        top = foot + np.array([0, np.sin(lean), np.cos(lean)]) * 2.0
        ends = camera.pixels(np.array([foot, foot + (top - foot) * min(1.0, 0.45 * depth)]))
        colour = CORDS[rng.choice(list(CORDS))]
        if reference_there:
            thick = rng.uniform(0.8e-3, 2.5e-3)
            far = camera.pixels(np.array([foot, foot + (top - foot) * min(1.0, 0.9 * depth)]))
            _along(rgb, far, camera.f * thick / depth / 2, colour)
            bob = camera.pixels(np.array([foot - [0, 0, 0.03], foot]))
            _along(rgb, bob, camera.f * 0.008 / depth / 2, rng.uniform(0.05, 0.5) * np.ones(3))
    else:
        yaw = rng.normal(0, 3.0)
        along = _rotation([0, 0, 1], yaw) @ _rotation([1, 0, 0], rng.normal(0, 0.15)) @ np.array([0, 1.0, 0])
        along = along / np.linalg.norm(along)
        middle = np.array([max(x_far, 0.04), rng.uniform(-0.1, 0.1) * span, rng.uniform(0.02, 0.10)])
        half = rng.uniform(0.25, 0.6) * span
        a, b = middle - along * half, middle + along * half
        deep = rng.uniform(0.02, 0.05)
        ends = camera.pixels(np.array([a, b]))
        if reference_there:
            box = camera.pixels(np.array([a, b, b - [0, 0, deep], a - [0, 0, deep]]))
            paint = np.array([0.7, 0.5, 0.05]) if rng.random() < 0.5 else rng.uniform(0.02, 0.8) * np.ones(3)
            mask = np.zeros(rgb.shape[:2], np.uint8)
            cv2.fillConvexPoly(mask, np.round(box * 16).astype(np.int32), 255, cv2.LINE_AA, 4)
            rgb += (mask / 255.0)[..., None].astype(np.float32) * (
                paint * (1 + 0.04 * _noise(rng, rgb.shape[:2], 6.0))[..., None] - rgb
            ).astype(np.float32)
    if hard and rng.random() < 0.4:  # a club leaning in the picture
        angle = np.radians(rng.choice([-1, 1]) * rng.uniform(15, 60))
        start = np.array([rng.uniform(0, size[0]), rng.uniform(0.2, 0.6) * size[1]])
        _along(
            rgb,
            [start, start + 700 * np.array([np.sin(angle), -np.cos(angle)])],
            0.012 * camera.f / depth / 2 + 1,
            rng.uniform(0.1, 0.7) * np.ones(3),
        )

    lamp = np.array([rng.uniform(-1, 0.4), rng.normal(0, 0.7), rng.uniform(0.4, 1.2)])
    lamp /= np.linalg.norm(lamp)
    light = (lamp, rng.uniform(0.35, 0.7), rng.uniform(0.1, 0.6), rng.uniform(0.0, 0.5))
    shadow = camera.pixels(np.array([[-0.2 * lamp[0] * RADIUS_M, -lamp[1] * RADIUS_M, 0.001]]))[0]
    y, x = np.mgrid[0 : size[1], 0 : size[0]].astype(np.float32)
    flat = max(0.12, np.sin(np.radians(max(elevation, 4))))
    dark = np.exp(
        -(((x - shadow[0]) / (0.6 * ball_px)) ** 2 + ((y - shadow[1]) / (0.6 * ball_px * flat + 6)) ** 2) * 1.5
    )
    rgb *= (1 - 0.6 * dark)[..., None]
    width_m = rng.uniform(1.0e-3, 2.4e-3)
    lines = [(normal, rng.normal(0, 0.25e-3))] if line_there else []
    if second_line:
        lines.append((_rotation([1, 0, 0], rng.choice([-1, 1]) * rng.uniform(8, 40)) @ normal, 0.0))
    if ball_there:
        _ball(rng, rgb, camera, normal, 0.0, ball, pen, width_m, lines, rng.random() < 0.5, light)

    rgb *= rng.uniform(0.7, 1.1)
    soft = rng.uniform(0.4, 2.2 if hard else 1.0)
    rgb = cv2.GaussianBlur(rgb, (0, 0), soft)
    level = rng.uniform(0.002, 0.012 if hard else 0.005)
    rgb = (
        rgb
        + cv2.GaussianBlur(rng.standard_normal(rgb.shape, dtype=np.float32), (0, 0), 0.6)
        * np.sqrt(level**2 * np.clip(rgb, 0, None) + 0.002**2)
        * 2
    )
    tone = np.clip(rgb, 0, 1) ** (1 / 2.2)
    tone = tone + rng.uniform(0, 0.6) * (tone - cv2.GaussianBlur(tone, (0, 0), 1.5))
    picture = (np.clip(tone, 0, 1) * 255 + 0.5).astype(np.uint8)
    data = cv2.imencode(
        ".jpg", np.ascontiguousarray(picture[..., ::-1]), [cv2.IMWRITE_JPEG_QUALITY, int(rng.integers(75, 96))]
    )[1].tobytes()
    towards = camera.eye / np.linalg.norm(camera.eye)
    level_dir = np.cross(normal, np.cross(towards, normal))
    level_dir /= np.linalg.norm(level_dir)
    tangent = np.cross(normal, level_dir) * np.sign(np.cross(normal, level_dir)[2])
    points = [
        np.array([0, 0, RADIUS_M]) + RADIUS_M * (np.cos(t) * level_dir + np.sin(t) * tangent)
        for t in np.radians([-50, 50])
    ]
    told = (
        f"{ball} ball, {pen} line, {reference}, {background}, {ball_px:.0f} px, f {f35:.0f}, "
        f"pitch {camera.pitch_deg:.0f}, roll {roll:.1f}"
    )
    return SetupPhoto(
        with_exif(data, f35 if rng.random() < 0.6 else None),
        picture,
        float(tilt),
        reference,
        handed,
        camera.pixels(np.array(points)),
        ends,
        camera.pitch_deg,
        float(roll),
        float(ball_px),
        told,
    )
