"""Make the demo photos and their tables again: `python demo_photos/render.py`.

A path tracer (Mitsuba 3) draws each marked face in its surroundings; lens, sensor and JPEG follow in OpenCV. Photos
that are there already are left alone; `--only 7-3` makes those whose name holds the text, `--tables` the tables alone.
"""

import argparse
import ctypes.util
import glob
import io
import math
import os
import sys
import time
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
import pandas as pd
from PIL import Image

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE), str(HERE.parent / "tests")]

import scene  # noqa: E402
import story  # noqa: E402
from faces.head import Head  # noqa: E402
from faces.ink import INKS, draw_print  # noqa: E402

LONG, SHORT = 1632, 1224
TEXELS_PER_MM = 16.0
PHOTO_BYTES = 290_000
DIAGONAL_35MM = 43.2666


def seeded(*words):
    """Generator of its own for each thing, so that one change leaves the rest as it was."""
    return np.random.default_rng([story.SEED, *[byte for word in words for byte in str(word).encode()]])


@dataclass(frozen=True)
class View:
    """Where the camera stands, in mm in the picture's axes: x right, y up the face, z out of it; the face is z = 0."""

    size: tuple  # width, height of the upright photo
    f_px: float
    f35_mm: float
    eye: np.ndarray
    axes: np.ndarray  # (3, 3) rows: right, up, forward
    pitch_deg: float  # above the face's normal
    yaw_deg: float  # towards the toe
    roll_deg: float  # the club appears turned clockwise
    side: float  # x = side * u

    def pixels(self, points_uv):
        """Pixels (N, 2) of points (N, 2) of the face; the middle of the first pixel is (0, 0)."""
        points = np.column_stack([self.side * points_uv[:, 0], points_uv[:, 1], np.zeros(len(points_uv))]) - self.eye
        right, up, forward = self.axes @ points.T
        return (
            np.column_stack(
                [self.size[0] / 2 + self.f_px * right / forward, self.size[1] / 2 - self.f_px * up / forward]
            )
            - 0.5
        )


def head_of(shot):
    """The head of a shot's club: the same at every shot."""
    row = next(r for r in (story.BAG if shot.golfer == story.RIGHT else story.BAG_LEFT) if r[0] == shot.club)
    finish, paint = story.LOOKS[shot.golfer, shot.club]
    wear = {"chrome": 0.35, "black": 0.45, "raw": 0.5}.get(finish, 0.4)
    return Head.draw(
        seeded(shot.golfer, shot.club),
        loft_deg=row[1],
        lie_deg=row[2],
        score_line_length_mm=row[7],
        score_line_pitch_mm=row[8],
        score_line_width_mm=row[9],
        finish=finish,
        paint=paint,
        wear=wear,
        dirt=0.22 if finish != "grey" else 0.12,
        wear_spot=shot.club in ("6", "9", "7"),
    )


def view_of(shot, head):
    """Hand-held camera of a shot."""
    rng = seeded(shot.photo, "camera")
    side = -1.0 if shot.golfer == story.RIGHT else 1.0
    size = (SHORT, LONG) if rng.random() < 0.3 else (LONG, SHORT)
    f35 = float(rng.choice([24, 26, 26, 26, 28, 48, 52]))
    f_px = f35 / DIAGONAL_35MM * math.hypot(*size)
    pitch, yaw = (float(np.clip(rng.normal(0, 6), -15, 15)) for _ in range(2))
    roll = float(np.clip(rng.normal(0, 6), -20, 20))
    p, y, r = np.radians([pitch, yaw, roll])
    out = np.array([side * math.sin(y) * math.cos(p), math.sin(p), math.cos(y) * math.cos(p)])
    right = np.cross([0.0, 1.0, 0.0], out)
    right /= np.linalg.norm(right)
    up = np.cross(out, right)
    axes = np.array([math.cos(r) * right + math.sin(r) * up, math.cos(r) * up - math.sin(r) * right, -out])
    fill, aside = rng.uniform(0.66, 0.86), rng.uniform(-0.05, 0.05, 2)
    aim, distance = np.array([0.0, 15.0]), 200.0
    for _ in range(12):  # step back and turn until the blade fills its share of the picture
        view = View(size, f_px, f35, np.array([*aim, 0]) + distance * out, axes, pitch, yaw, roll, side)
        seen = view.pixels(head.outline)
        low, high = seen.min(0), seen.max(0)
        distance *= max((high - low) / np.array(size)) / fill
        off = (low + high) / 2 - np.array(size) * (0.5 + aside)
        aim += (off[0] * axes[0] - off[1] * axes[1])[:2] * distance / f_px
    return view


def prints_of(shot, head, maps):
    """Coverage of the ink on the face's grid, 0 to 1, and the pen line's colour."""
    grid = dict(
        shape=maps.inside.shape,
        u0=maps.u0,
        v0=maps.v0,
        ppm=maps.pixels_per_mm,
        score_lines_v=head.lines[:, 0],
        score_line_width_mm=head.score_line_width_mm,
        score_line_half_length_mm=head.score_line_length_mm / 2,
        ink=shot.ink,
    )
    rng = seeded(shot.photo, "ink")
    first = draw_print(
        rng,
        **grid,
        tilt_deg=shot.tilt_deg,
        toe_mm=shot.strike_toe_mm,
        up_mm=shot.strike_up_mm,
        width_mm=shot.line_width_mm,
    )
    cover = first.coverage * first.opacity
    if shot.kind == "double":
        second = draw_print(
            rng,
            **grid,
            tilt_deg=shot.tilt_deg - 5.5,
            toe_mm=shot.strike_toe_mm + 5.0,
            up_mm=shot.strike_up_mm - 4.0,
            width_mm=shot.line_width_mm,
        )
        cover = np.maximum(cover, second.coverage * second.opacity)
    return cover * maps.inside, np.array(INKS[shot.ink], np.float32)


def mitsuba():
    """Import Mitsuba with its fast variant where an LLVM library is found, else with the plain one."""
    if "DRJIT_LIBLLVM_PATH" not in os.environ:
        found = [ctypes.util.find_library(f"LLVM-{n}") for n in (20, 19, 18)]
        found += [
            p
            for n in (20, 19, 18)
            for p in glob.glob(f"/usr/lib/*/libLLVM*{n}*.so*") + glob.glob(f"/usr/lib/llvm-{n}/lib/libLLVM*.so*")
        ]
        found += glob.glob("/opt/homebrew/opt/llvm*/lib/libLLVM.dylib")
        usable = [path for path in found if path]
        if usable:
            os.environ["DRJIT_LIBLLVM_PATH"] = usable[0]
    import mitsuba as mi

    try:
        mi.set_variant("llvm_ad_rgb")
        mi.Float(1) + 1
    except Exception as error:
        print(f"no fast variant ({error}); going on with the slow one", file=sys.stderr)
        mi.set_variant("scalar_rgb")
    mi.set_log_level(mi.LogLevel.Error)
    return mi


def trace(mi, shot, head, view, samples):
    """Linear RGB of a shot, (height, width, 3), a mask of the blade, and the mean colour of the light."""
    rng = seeded(shot.photo, "scene")
    maps = head.maps(seeded(shot.golfer, shot.club, "maps"), TEXELS_PER_MM)
    cover, colour = prints_of(shot, head, maps)
    alpha = cover[..., None]
    dense = 1 - (1 - alpha) ** 2  # light goes through the ink twice
    albedo = maps.albedo * (1 - dense) + colour * dense
    metallic, roughness = maps.metallic * (1 - 0.95 * dense[..., 0]), maps.roughness * (1 - cover) + 0.38 * cover
    flat = cv2.GaussianBlur(((np.abs(maps.shape_mm) < 0.02) & maps.inside).astype(np.float32), (0, 0), 5)
    height = cv2.GaussianBlur(maps.height_mm, (0, 0), 0.8) * flat + 0.004 * cover
    dv, du = np.gradient(height, 1 / TEXELS_PER_MM)
    bump = np.dstack([-du, dv * (-1 if view.side < 0 else 1), np.ones_like(du)])
    bump /= np.linalg.norm(bump, axis=2, keepdims=True)
    texture = lambda array, raw=True: {
        "type": "bitmap",
        "bitmap": mi.Bitmap(np.ascontiguousarray(array, np.float32)),
        "raw": raw,
        "wrap_mode": "clamp",
    }

    vertices, normals, faces, top = scene.head_mesh(head)
    rows, columns = maps.inside.shape
    uv = np.column_stack(
        [
            ((vertices[:, 0] + 0.03 * vertices[:, 2] - maps.u0) * TEXELS_PER_MM + 0.5) / columns,
            ((maps.v0 - vertices[:, 1] + 0.03 * vertices[:, 2]) * TEXELS_PER_MM + 0.5) / rows,
        ]
    )
    flip = np.array([view.side, 1, 1])
    steel = {
        "type": "principled",
        "base_color": texture(albedo),
        "metallic": texture(metallic[..., None]),
        "roughness": texture(roughness[..., None]),
        "specular": 0.35,
    }
    blade = mi.Mesh(
        "head",
        len(vertices),
        len(faces),
        has_vertex_normals=True,
        has_vertex_texcoords=True,
        props=_props(mi, {"type": "normalmap", "normalmap": texture(bump * 0.5 + 0.5), "bsdf": steel}),
    )
    given = mi.traverse(blade)
    given["vertex_positions"], given["vertex_normals"] = (
        (vertices * flip).ravel().astype(np.float32),
        (normals * flip).ravel().astype(np.float32),
    )
    given["vertex_texcoords"] = uv.ravel().astype(np.float32)
    given["faces"] = (faces[:, ::-1] if view.side < 0 else faces).ravel().astype(np.uint32)
    given.update()

    shaft = head.shaft_direction * flip
    at = lambda t: (top * flip + t * shaft).tolist()
    dull = lambda grey, rough: {
        "type": "principled",
        "base_color": {"type": "rgb", "value": grey},
        "roughness": rough,
        "specular": 0.5,
    }
    graphite = shot.golfer != story.RIGHT
    tube = (
        dull([0.02, 0.022, 0.03], 0.25)
        if graphite
        else {
            "type": "principled",
            "base_color": {"type": "rgb", "value": [0.72, 0.71, 0.69]},
            "metallic": 1.0,
            "roughness": 0.15,
        }
    )

    laid = rng.random() < 0.5
    kind = str(rng.choice(["garage", "bay", "air"], p=[0.45, 0.3, 0.25]))
    below = str(
        rng.choice(
            {
                "garage": ["wood", "concrete", "mat"],
                "bay": ["mat", "concrete", "mat"],
                "air": ["grass", "grass", "concrete"],
            }[kind]
        )
    )
    if below == "grass":
        laid = False
    lean = rng.uniform(48, 75) if laid else rng.uniform(28, 55)
    if laid:
        side_mm, normal, spot = (
            460.0,
            np.array([rng.normal(0, 0.04), rng.normal(0, 0.05), 1.0]),
            np.array([0, 15, -17.5]),
        )
    else:
        side_mm = 1500.0
        normal = np.array([rng.normal(0, 0.1), math.cos(math.radians(lean)), math.sin(math.radians(lean))])
        spot = np.array([0, 0, -1.0]) * rng.uniform(350, 900)
    normal /= np.linalg.norm(normal)
    picture, rough = scene.ground(rng, below, side_mm)
    turn = rng.uniform(0, 360) if below != "wood" else rng.choice([0, 90]) + rng.normal(0, 12)
    T = mi.ScalarTransform4f
    floor = (
        T().look_at(origin=spot.tolist(), target=(spot + normal).tolist(), up=[1, 0.01, 0])
        @ T().rotate([0, 0, 1], float(turn))
        @ T().scale(side_mm * 4)
    )
    glare = rng.random() < 0.22
    light = scene.surroundings(rng, kind, lean, view.eye - np.array([0, 15, 0]), glare)
    right, up, forward = view.axes
    case = [[0.04, 0.04, 0.045], [0.05, 0.09, 0.2], [0.5, 0.48, 0.45]][int(rng.integers(3))]
    back = view.eye - 2 * forward + 45 * up * rng.choice([-1, -0.4])
    phone = T().look_at(origin=back.tolist(), target=(back + forward).tolist(), up=up.tolist())
    focus = float(-(view.eye - np.array([0, 15, 0])) @ forward) * (1 + rng.normal(0, 0.012))

    world = mi.load_dict(
        {
            "type": "scene",
            "integrator": {"type": "path", "max_depth": 4},
            "head": blade,
            "ferrule": {
                "type": "cylinder",
                "p0": at(-1),
                "p1": at(16),
                "radius": head.hosel_radius_mm - 0.25,
                "bsdf": {"type": "twosided", "bsdf": dull([0.012] * 3, 0.2)},
            },
            "shaft": {
                "type": "cylinder",
                "p0": at(0),
                "p1": at(600),
                "radius": 4.7,
                "bsdf": {"type": "twosided", "bsdf": tube},
            },
            "floor": {
                "type": "rectangle",
                "to_world": floor,
                "bsdf": {
                    "type": "twosided",
                    "bsdf": {
                        "type": "principled",
                        "roughness": rough,
                        "specular": 0.3,
                        "base_color": {
                            "type": "bitmap",
                            "bitmap": mi.Bitmap(picture.astype(np.float32)),
                            "raw": True,
                            "wrap_mode": "mirror",
                            "to_uv": T().scale([8, 8, 1]),
                        },
                    },
                },
            },
            **{
                f"finger{i}": {
                    "type": "sphere",
                    "to_world": T().translate((view.eye - 4 * forward + across * 41 * right + (off - 30) * up).tolist())
                    @ T().scale([9, 9, 16]),
                    "bsdf": dull([0.45, 0.27, 0.19], 0.5),
                }
                for i, (across, off) in enumerate([(-1, 8), (-1, -14), (1, -5)])
            },
            "phone": {
                "type": "rectangle",
                "to_world": phone @ T().scale([37, 76, 1]),
                "bsdf": {"type": "twosided", "bsdf": dull(case, 0.4)},
            },
            "light": {"type": "envmap", "bitmap": mi.Bitmap(light)},
            "sensor": {
                "type": "thinlens",
                "fov": math.degrees(2 * math.atan(view.size[0] / 2 / view.f_px)),
                "fov_axis": "x",
                "near_clip": 1.0,
                "far_clip": 20000.0,
                "aperture_radius": float(rng.uniform(0.6, 1.5)),
                "focus_distance": focus,
                "to_world": T().look_at(origin=view.eye.tolist(), target=(view.eye + forward).tolist(), up=up.tolist()),
                "film": {
                    "type": "hdrfilm",
                    "width": view.size[0],
                    "height": view.size[1],
                    "pixel_format": "rgb",
                    "rfilter": {"type": "gaussian", "stddev": 0.45},
                },
                "sampler": {"type": "independent", "sample_count": samples},
            },
        }
    )
    linear = np.array(mi.render(world, spp=samples, seed=int(rng.integers(2**31))))
    mask = np.zeros(linear.shape[:2], np.uint8)
    cv2.fillPoly(mask, [np.round(view.pixels(head.outline)).astype(np.int32)], 1)
    return linear, mask.astype(bool), light.reshape(-1, 3).mean(0)


def _props(mi, bsdf):
    props = mi.Properties()
    props["mesh_bsdf"] = mi.load_dict(bsdf)
    return props


def develop(shot, linear, mask, cast):
    """The phone's part: exposure, lens, noise, tone, sharpening. Returns 8-bit RGB."""
    rng = seeded(shot.photo, "phone")
    level = np.percentile(linear[mask].mean(1), 55) ** 0.6 * np.percentile(linear.mean(2), 80) ** 0.4
    linear = np.clip(linear * rng.uniform(0.2, 0.3) / level, 0, 6)
    linear = linear * (cast.mean() / cast) ** 0.8 * np.exp(rng.normal(0, 0.025, 3))  # white balance, not perfect
    if shot.kind == "unusable":
        path = np.zeros((141, 141), np.float32)
        cv2.polylines(path, [np.array([(22, 100), (60, 62), (118, 44)])], False, 1.0, 3, cv2.LINE_AA)
        linear = cv2.filter2D(linear, -1, path / path.sum(), borderType=cv2.BORDER_REPLICATE)
    over = np.clip(linear - 1.2, 0, 4)
    linear = linear + 0.03 * cv2.GaussianBlur(over, (0, 0), 12) + 0.008 * cv2.GaussianBlur(over, (0, 0), 60)
    linear = cv2.GaussianBlur(
        linear.astype(np.float32), (0, 0), rng.choice([0.5, 0.6, 0.7, 0.9, 1.3], p=[0.3, 0.25, 0.2, 0.15, 0.1])
    )
    y, x = np.mgrid[-1 : 1 : linear.shape[0] * 1j, -1 : 1 : linear.shape[1] * 1j].astype(np.float32)
    linear *= (1 - rng.uniform(0.05, 0.2) * (x * x + y * y) / 2)[..., None]
    tone = 0.75 * linear
    tone = np.clip(tone * (2.51 * tone + 0.03) / (tone * (2.43 * tone + 0.59) + 0.14), 0, 1) ** (
        1 / 2.2
    )  # a film-like curve
    tone8 = (tone * 255 + 0.5).astype(np.uint8)
    tone8 = cv2.fastNlMeansDenoisingColored(tone8, None, 2.2, 6, 5, 11)  # as phones do
    tone = tone8.astype(np.float32) / 255
    tone += rng.uniform(0.15, 0.45) * (tone - cv2.GaussianBlur(tone, (0, 0), 1.3))
    grain = rng.standard_normal(tone.shape, dtype=np.float32) * 0.5 + rng.standard_normal(
        (*tone.shape[:2], 1), dtype=np.float32
    )
    grain = cv2.GaussianBlur(grain, (0, 0), 0.55)
    tone += rng.uniform(0.006, 0.016) * grain * (1.2 - 0.7 * tone)
    return (np.clip(tone, 0, 1) * 255 + 0.5).astype(np.uint8)


def save(shot, view, rgb, path):
    """Write the JPEG with its EXIF, pixels stored as the sensor lay."""
    rng = seeded(shot.photo, "file")
    turned = int(rng.choice([6, 6, 8]) if view.size[0] < view.size[1] else rng.choice([1, 1, 3]))
    if rng.random() < 0.25:
        turned = 1
    stored = {1: rgb, 3: rgb[::-1, ::-1], 6: np.rot90(rgb), 8: np.rot90(rgb, -1)}[turned]
    exif, quality = Image.Exif(), int(rng.integers(80, 93))
    if turned != 1:
        exif[0x0112] = turned
    if rng.random() < 0.65:
        inside = exif.get_ifd(0x8769)
        inside[0xA405] = int(view.f35_mm)
        if rng.random() < 0.7:
            minute = 14 * 60 + 4 + 2 * [s.photo for s in story.shots()].index(shot.photo)
            stamp = f"2026:04:18 {minute // 60:02d}:{minute % 60:02d}:{int(rng.integers(60)):02d}"
            exif[0x0132] = inside[0x9003] = stamp
    while True:
        data = io.BytesIO()
        Image.fromarray(np.ascontiguousarray(stored)).save(data, "JPEG", quality=quality, exif=exif)
        if data.tell() <= PHOTO_BYTES or quality <= 76:
            break
        quality -= 2
    path.parent.mkdir(parents=True, exist_ok=True)
    part = path.with_suffix(".part")
    part.write_bytes(data.getvalue())
    part.replace(path)


def write_truth():
    """Write truth.csv: what each photo was made from."""
    rows = []
    for shot in story.shots():
        head = head_of(shot)
        view = view_of(shot, head)
        row = {
            "photo": shot.photo,
            "tilt_deg": shot.tilt_deg,
            "strike_toe_mm": shot.strike_toe_mm,
            "strike_up_mm": shot.strike_up_mm,
            "line_width_mm": shot.line_width_mm,
            "lie_error_deg": shot.lie_error_deg,
            "face_heading_deg": shot.face_heading_deg,
            "line_turn_deg": shot.line_turn_deg,
            "setup_tilt_deg": shot.setup_tilt_deg,
            "camera_pitch_deg": view.pitch_deg,
            "camera_yaw_deg": view.yaw_deg,
            "camera_roll_deg": view.roll_deg,
            "focal_length_px": view.f_px,
            "finish": head.finish,
            "paint": head.paint,
            "ink": shot.ink,
            "kind": shot.kind,
            "full_score_lines": head.count,
        }
        for name, (x, y) in zip(("low_heel", "low_toe", "high_toe", "high_heel"), view.pixels(head.field_corners)):
            row |= {f"{name}_x_px": x, f"{name}_y_px": y}
        rows.append(row)
    pd.DataFrame(rows).to_csv(HERE / "truth.csv", index=False, float_format="%.3f")


def main():
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--tables", action="store_true", help="write the tables only")
    parser.add_argument("--only", default="", help="photos whose name holds this text")
    parser.add_argument("--samples", type=int, default=9, help="paths a pixel")
    parser.add_argument("--out", type=Path, default=HERE / "photos")
    options = parser.parse_args()
    story.write_tables(HERE)
    write_truth()
    if options.tables:
        return
    mi = mitsuba()
    wanted = [shot for shot in story.shots() if options.only in shot.photo]
    with ThreadPoolExecutor(1) as darkroom:  # develops one photo while the next is traced
        jobs = []
        for shot in sorted(wanted, key=lambda shot: shot.number):  # a shot of every club first
            if (options.out / shot.photo).exists():
                continue
            begun = time.perf_counter()
            head = head_of(shot)
            view = view_of(shot, head)
            traced = trace(mi, shot, head, view, options.samples)
            jobs.append(
                darkroom.submit(
                    lambda shot, view, traced: save(shot, view, develop(shot, *traced), options.out / shot.photo),
                    shot,
                    view,
                    traced,
                )
            )
            print(f"{shot.photo}: traced in {time.perf_counter() - begun:.0f} s", flush=True)
            del traced
        for job in jobs:
            job.result()


if __name__ == "__main__":
    main()
