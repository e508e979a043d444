"""A fast photograph of a face: shading in the plane of the face, a pinhole camera, a phone's picture chain.

It keeps what makes measuring hard (patchy ink, reflections, brushing, oblique views, softness, noise, JPEG) and what
the path tracer behind the demo photos gives up: a photo takes about a second, so that hundreds can be counted.
"""

import struct
from dataclasses import dataclass

import cv2
import numpy as np

from .head import Head
from .ink import INKS, draw_print

DIAGONAL_35MM = 43.2666  # mm, of a 36 x 24 frame
HOSEL_FROM_MM = 24.0


@dataclass(frozen=True)
class Photo:
    """A photo and its truth; `homography` takes (u, v, 1) in mm to pixels of the upright picture."""

    jpeg: bytes
    rgb: np.ndarray  # upright, before JPEG
    homography: np.ndarray
    print: object
    head: object
    handed: str
    pitch_deg: float
    yaw_deg: float
    roll_deg: float
    f_px: float
    f35_mm: float | None  # as written into EXIF


def face_homography(handed, pitch_deg, yaw_deg, roll_deg, f_px, size, centre_uv, distance_mm):
    """Pinhole view of the plane: (3, 3) from (u, v, 1) mm to pixels, and the camera's place in (u, v, out of face)
    mm."""
    width, height = size
    side = -1.0 if handed == "right" else 1.0  # toe on the picture's left for a right-handed club
    pitch, yaw, roll = np.radians([pitch_deg, yaw_deg, roll_deg])
    rx = np.array([[1, 0, 0], [0, np.cos(pitch), -np.sin(pitch)], [0, np.sin(pitch), np.cos(pitch)]])
    ry = np.array([[np.cos(yaw), 0, np.sin(yaw)], [0, 1, 0], [-np.sin(yaw), 0, np.cos(yaw)]])
    rz = np.array([[np.cos(roll), -np.sin(roll), 0], [np.sin(roll), np.cos(roll), 0], [0, 0, 1]])
    rotation = rz @ rx @ ry
    plane = np.array(
        [[side, 0, -side * centre_uv[0]], [0, -1, centre_uv[1]], [0, 0, 0]]
    )  # (u, v, 1) -> X right, Y down
    pose = rotation @ plane + np.outer([0, 0, distance_mm], [0, 0, 1])
    camera = np.array([[f_px, 0, width / 2 - 0.5], [0, f_px, height / 2 - 0.5], [0, 0, 1]])
    eye = rotation.T @ np.array([0, 0, -distance_mm])  # X right, Y down, Z away from the viewer
    return camera @ pose, np.array([side * eye[0] + centre_uv[0], -eye[1] + centre_uv[1], -eye[2]])


def _draw_shaft(rng, picture, head, homography, f_px, handed):
    """Paint hosel, ferrule and shaft into a linear picture: a round bar that comes towards the camera and leaves the
    picture.

    The blade's own map ends where the hosel leaves it, `HOSEL_FROM_MM` up its axis.
    """
    height, width = picture.shape[:2]
    camera = np.array([[f_px, 0, width / 2 - 0.5], [0, f_px, height / 2 - 0.5], [0, 0, 1]])
    pose = np.linalg.inv(camera) @ homography
    out_of_face = -camera @ np.cross(pose[:, 0], -pose[:, 1]) * (-1.0 if handed == "right" else 1.0)
    project = np.column_stack([homography[:, :2], out_of_face, homography[:, 2]])
    base, up = np.array([*head.hosel_base, -6.0]), head.shaft_direction
    across = np.array([up[1], -up[0], 0]) / np.hypot(up[0], up[1])
    steel = rng.random() < 0.7
    lobes = [(rng.uniform(-0.9, 0.9), rng.uniform(0.08, 0.4), rng.uniform(0.2, 1.2)) for _ in range(3)]
    metal = picture[
        picture.shape[0] // 3 : -picture.shape[0] // 3, picture.shape[1] // 3 : -picture.shape[1] // 3
    ].mean(axis=(0, 1))
    parts = [
        (HOSEL_FROM_MM, 55.5, head.hosel_radius_mm, metal),
        (54.5, 71.5, head.hosel_radius_mm - 0.25, 0.03 * metal),
        (71.5, 600.0, 4.7, metal * (rng.uniform(0.8, 1.2) if steel else rng.uniform(0.02, 0.5, 3))),
    ]
    stripes = np.linspace(-1, 1, 15)
    for start, end, radius, colour in parts:
        along = np.concatenate([np.arange(start, min(end, 120), 2.0), np.arange(120, end, 20.0), [end]])
        rims = (base + along[:, None] * up)[:, None, :] + radius * stripes[None, :, None] * across
        seen = np.concatenate([rims, np.ones((*rims.shape[:2], 1))], axis=2) @ project.T
        for k in range(len(along) - 1):
            if seen[k : k + 2, :, 2].min() < 0.15 * seen[0, 0, 2]:  # beside or behind the lens
                break
            corners = seen[k : k + 2, :, :2] / seen[k : k + 2, :, 2:]
            if np.abs(corners).max() > 30000:
                break
            for i in range(len(stripes) - 1):
                middle = (stripes[i] + stripes[i + 1]) / 2
                light = (
                    0.25
                    + 0.4 * np.sqrt(1 - middle**2)
                    + sum(p * np.exp(-(((middle - m) / w) ** 2)) for m, w, p in lobes)
                )
                quad = np.round(corners[[0, 0, 1, 1], [i, i + 1, i + 1, i]] * 16).astype(np.int32)
                cv2.fillConvexPoly(picture, quad, (colour * light).tolist(), cv2.LINE_8, 4)


def _shade(rng, maps, coverage, ink, opacity, eye, glare):
    """Linear RGB of every texel under a few soft lamps and a graded surround."""
    ppm = maps.pixels_per_mm
    rows, columns = maps.inside.shape
    u = (maps.u0 + np.arange(columns, dtype=np.float32) / ppm)[None, :]
    v = (maps.v0 - np.arange(rows, dtype=np.float32) / ppm)[:, None]
    height = cv2.GaussianBlur(maps.height_mm.astype(np.float32), (0, 0), 0.06 * ppm + 0.3)
    nx = -cv2.Sobel(height, cv2.CV_32F, 1, 0, ksize=3) * ppm / 8
    ny = cv2.Sobel(height, cv2.CV_32F, 0, 1, ksize=3) * ppm / 8
    nz = 1 / np.sqrt(1 + nx**2 + ny**2)
    nx, ny = nx * nz, ny * nz
    view = [eye[0] - u + 0 * v, eye[1] - v + 0 * u, np.full((rows, columns), eye[2], np.float32)]
    size = np.sqrt(sum(c**2 for c in view))
    view = [(c / size).astype(np.float32) for c in view]
    dot = 2 * (view[0] * nx + view[1] * ny + view[2] * nz)
    mirror = [dot * n - c for n, c in zip((nx, ny, nz), view)]

    tint = rng.uniform(0.85, 1.15, 3)
    specular = np.zeros((rows, columns), np.float32) + rng.uniform(0.1, 0.35)
    specular += rng.uniform(0.0, 0.5) * mirror[1] + rng.uniform(-0.3, 0.3) * mirror[0]
    diffuse = np.float32(rng.uniform(0.35, 0.7))
    rough = np.clip(maps.roughness, 0.05, 1).astype(np.float32)
    for k in range(rng.integers(2, 5)):
        if glare and k == 0:  # a lamp whose reflection lies on the face
            spot = np.array([rng.uniform(-25, 25), rng.uniform(0, 35), 0])
            to = eye - spot
            lamp = np.array([-to[0], -to[1], to[2]]) / np.linalg.norm(to)
            power, spread = rng.uniform(1.0, 4.0), rng.uniform(0.02, 0.07)
        else:
            lamp = np.array([rng.normal(0, 1), rng.normal(0.5, 0.8), rng.uniform(0.15, 1)])
            lamp /= np.linalg.norm(lamp)
            power, spread = rng.uniform(0.5, 2.5), rng.uniform(0.1, 0.45)
        angle2 = (mirror[0] - lamp[0]) ** 2 + (mirror[1] - lamp[1]) ** 2 + (mirror[2] - lamp[2]) ** 2
        var = spread**2 + (0.6 * rough) ** 2
        specular += power * spread**2 / var * np.exp(-angle2 / (2 * var))
        diffuse = diffuse + 0.25 * power * np.clip(nx * lamp[0] + ny * lamp[1] + nz * lamp[2], 0, 1)
    specular = np.clip(specular, 0.02, None)

    metallic = maps.metallic.astype(np.float32)[..., None]
    albedo = maps.albedo.astype(np.float32)
    base = metallic * albedo * (0.75 * specular + 0.25 * diffuse)[..., None]
    base += (1 - metallic) * (albedo * diffuse[..., None] + 0.04 * specular[..., None])
    alpha = np.clip(coverage * opacity, 0, 1)[..., None]
    inked = np.array(INKS[ink], np.float32) * diffuse[..., None] + 0.04 * specular[..., None]
    # thin ink lets the metal through, tinted
    return ((1 - alpha) * base + alpha * (0.85 * inked + 0.15 * base * np.array(INKS[ink], np.float32))) * tint.astype(
        np.float32
    )


def _background(rng, size):
    width, height = size
    small = rng.uniform(0.02, 0.5, 3) * np.ones((24, 32, 3))
    for _ in range(6):
        cv2.circle(
            small,
            (int(rng.integers(0, 32)), int(rng.integers(0, 24))),
            int(rng.integers(2, 10)),
            rng.uniform(0.02, 0.6, 3).tolist(),
            -1,
        )
    out = cv2.GaussianBlur(
        cv2.resize(small.astype(np.float32), (width, height), interpolation=cv2.INTER_CUBIC), (0, 0), width / 150
    )
    kind = rng.integers(0, 3)
    scale = rng.uniform(0.003, 0.02) * width
    grain = rng.standard_normal((int(height / scale) + 2, int(width / scale) + 2)).astype(np.float32)
    grain = cv2.resize(grain, (width, height), interpolation=cv2.INTER_CUBIC)
    if kind == 1:  # boards or a striped mat
        period, angle = rng.uniform(0.02, 0.12) * width, rng.uniform(0, np.pi)
        y, x = np.mgrid[0:height, 0:width].astype(np.float32)
        grain = 0.5 * grain + np.sign(np.sin((x * np.cos(angle) + y * np.sin(angle)) * 2 * np.pi / period))
    return np.clip(out * (1 + rng.uniform(0.02, 0.3) * grain[..., None]), 0.003, None)


def _develop(rng, linear, sharp_px, hard):
    """Lens blur, noise, tone curve, sharpening: linear RGB to 8 bits."""
    linear = cv2.GaussianBlur(linear, (0, 0), max(sharp_px, 0.3))
    if hard and rng.random() < 0.3:  # a little shake of the hand
        length = int(rng.uniform(2, 5))
        kernel = np.zeros((2 * length + 1, 2 * length + 1), np.float32)
        angle = rng.uniform(0, np.pi)
        end = (length + int(round(length / 2 * np.cos(angle))), length + int(round(length / 2 * np.sin(angle))))
        cv2.line(kernel, (2 * length - end[0], 2 * length - end[1]), end, 1.0)
        linear = cv2.filter2D(linear, -1, kernel / kernel.sum())
    rows, columns = linear.shape[:2]
    y, x = np.mgrid[-1 : 1 : rows * 1j, -1 : 1 : columns * 1j].astype(np.float32)
    linear = linear * (1 - rng.uniform(0, 0.25) * (x**2 + y**2) / 2)[..., None]
    middle = linear[rows // 4 : 3 * rows // 4, columns // 4 : 3 * columns // 4]
    linear = linear * (rng.uniform(0.25, 0.6) / np.percentile(middle, rng.uniform(70, 95)))
    shot, read = rng.uniform(0.002, 0.02), rng.uniform(0.001, 0.006)
    noise = rng.standard_normal(linear.shape, dtype=np.float32)
    noise = cv2.GaussianBlur(noise, (0, 0), rng.uniform(0.3, 0.8))
    linear = linear + noise * np.sqrt(shot**2 * np.clip(linear, 0, None) + read**2)
    tone = np.clip(linear, 0, 1.0) ** (1 / 2.2)
    tone = tone + rng.uniform(0, 0.25) * (tone * tone * (3 - 2 * tone) - tone)
    tone = tone + rng.uniform(0, 0.8) * (tone - cv2.GaussianBlur(tone, (0, 0), 1.5))
    return (np.clip(tone, 0, 1) * 255 + 0.5).astype(np.uint8)


def with_exif(jpeg, f35_mm=None, orientation=1):
    """Put a minimal EXIF block (orientation, 35 mm focal length) into JPEG bytes."""
    entry = lambda tag, kind, count, value: struct.pack("<HHI4s", tag, kind, count, value)
    short = lambda number: struct.pack("<HH", number, 0)
    first = [entry(0x0112, 3, 1, short(orientation))]
    exif = b""
    if f35_mm:
        first.append(entry(0x8769, 4, 1, struct.pack("<I", 8 + 2 + 12 * 2 + 4)))
        exif = struct.pack("<H", 1) + entry(0xA405, 3, 1, short(int(f35_mm))) + struct.pack("<I", 0)
    tiff = (
        b"II*\0" + struct.pack("<I", 8) + struct.pack("<H", len(first)) + b"".join(first) + struct.pack("<I", 0) + exif
    )
    block = b"Exif\0\0" + tiff
    return jpeg[:2] + b"\xff\xe1" + struct.pack(">H", len(block) + 2) + block + jpeg[2:]


def take_photo(
    seed, *, megapixels=None, hard=True, club=None, handed=None, angles_deg=None, prints=1, finish=None, **print_options
):
    """Photograph one marked face drawn from `seed`.

    Parameters
    ----------
    seed : int
    megapixels : float, optional
        Drawn from 0.5 to 12 when not given.
    hard : bool
        Draw conditions over the whole stated range (pitch and yaw to 20 degrees, roll to 30, blur, glare); otherwise
        gentle ones.
    angles_deg : (pitch, yaw, roll), optional
    prints : int
        Prints on the face: 0, 1 or 2.

    Returns
    -------
    Photo
    """
    rng = np.random.default_rng([seed, 7919])
    handed = handed or ("left" if rng.random() < 0.2 else "right")
    megapixels = megapixels or float(np.exp(rng.uniform(np.log(0.5), np.log(12))))
    aspect = rng.choice([4 / 3, 3 / 4, 16 / 9, 1.0], p=[0.6, 0.15, 0.2, 0.05])
    width = int(np.sqrt(megapixels * 1e6 * aspect)) // 2 * 2
    height = int(megapixels * 1e6 / width) // 2 * 2
    f35 = float(rng.choice([24, 26, 28, 35, 48, 52]) if rng.random() < 0.35 else rng.normal(26, 1.0))
    f_px = f35 / DIAGONAL_35MM * np.hypot(width, height)
    limit = (20, 20, 30) if hard else (6, 6, 8)
    pitch, yaw, roll = angles_deg if angles_deg is not None else [rng.uniform(-a, a) for a in limit]

    head = Head.draw(rng, club=club)
    length = head.score_line_length_mm
    across = 1.0 if roll == 0 else abs(np.cos(np.radians(roll)))
    fill = rng.uniform(0.42, 0.72) / across
    if aspect > 1:
        fill *= min(1.0, 1.25 / aspect)
    distance = f_px * length / (fill * width * 1.0)
    centre = (rng.uniform(-4, 8), rng.uniform(10, 20))
    lines = head.lines  # (v, heel end, toe end): the photographer steps back until every score line shows
    ends = np.array([(u, v, 1) for v, heel, toe in lines for u in (heel, toe)])
    while True:
        homography, eye = face_homography(handed, pitch, yaw, roll, f_px, (width, height), centre, distance)
        seen = ends @ homography.T
        x, y = (seen[:, :2] / seen[:, 2:]).T
        margin = 0.03 * min(width, height)
        if min(x.min(), y.min(), width - x.max(), height - y.max()) > margin:
            break
        distance *= 1.04

    scale = f_px / distance
    ppm = float(np.clip(scale * 1.1, 7, 18))
    maps = head.maps(rng, ppm)
    grid = dict(
        shape=maps.inside.shape,
        u0=maps.u0,
        v0=maps.v0,
        ppm=ppm,
        score_lines_v=head.lines[:, 0],
        score_line_width_mm=head.score_line_width_mm,
        score_line_half_length_mm=length / 2,
    )
    first = draw_print(rng, **grid, **print_options)
    coverage = first.coverage * (prints > 0)
    if prints > 1:
        second = draw_print(
            rng,
            **grid,
            ink=first.ink,
            toe_mm=first.toe_mm + float(rng.uniform(-7, 7)),
            up_mm=first.up_mm + float(rng.uniform(-3, 3)),
        )
        coverage = np.maximum(coverage, second.coverage)
    linear = _shade(rng, maps, coverage, first.ink, first.opacity, eye, hard and rng.random() < 0.25)
    if rng.random() < 0.4:  # a soft shadow's edge across the face
        y, x = np.mgrid[0 : linear.shape[0], 0 : linear.shape[1]].astype(np.float32)
        angle, soft = rng.uniform(0, 2 * np.pi), rng.uniform(2, 15) * ppm
        edge = (
            (x - linear.shape[1] / 2) * np.cos(angle)
            + (y - linear.shape[0] / 2) * np.sin(angle)
            + rng.uniform(-20, 20) * ppm
        )
        linear = linear * (1 - rng.uniform(0.1, 0.5) / (1 + np.exp(-np.clip(edge / soft, -30, 30))))[..., None]

    to_map = np.array([[ppm, 0, -maps.u0 * ppm], [0, -ppm, maps.v0 * ppm], [0, 0, 1]])
    warp = homography @ np.linalg.inv(to_map)
    seen = cv2.warpPerspective(linear.astype(np.float32), warp, (width, height), flags=cv2.INTER_LINEAR)
    du, dv = maps.grid() - np.array(head.hosel_base)[:, None, None]
    up = head.shaft_direction[:2] / np.linalg.norm(head.shaft_direction[:2])
    inside = maps.inside & (du * up[0] + dv * up[1] < HOSEL_FROM_MM + 10)
    mask = cv2.warpPerspective(inside.astype(np.float32), warp, (width, height), flags=cv2.INTER_LINEAR)[..., None]
    picture = mask * seen + (1 - mask) * _background(rng, (width, height)).astype(np.float32)
    _draw_shaft(np.random.default_rng([seed, 31]), picture, head, homography, f_px, handed)
    soft_mm = rng.uniform(0.02, 0.14 if hard else 0.06)
    rgb = _develop(rng, picture, soft_mm * scale, hard)

    written = f35 if rng.random() < 0.6 else None
    orientation = int(rng.choice([1, 1, 1, 3, 6, 8]))
    turned = {1: rgb, 3: rgb[::-1, ::-1], 6: np.rot90(rgb), 8: np.rot90(rgb, -1)}[
        orientation
    ]  # stored so that EXIF turns it upright
    ok, data = cv2.imencode(
        ".jpg", np.ascontiguousarray(turned[..., ::-1]), [cv2.IMWRITE_JPEG_QUALITY, int(rng.integers(75, 96))]
    )
    return Photo(
        with_exif(data.tobytes(), written, orientation),
        rgb,
        homography,
        first,
        head,
        handed,
        pitch,
        yaw,
        roll,
        f_px,
        written and float(int(written)),
    )
