"""What stands before the camera: the head as a mesh, surroundings as an environment map, things to lay a club on."""

import math

import cv2
import numpy as np

VOXEL_MM, EDGE_MM, FILLET_MM = 0.6, 1.5, 5.0


def head_mesh(head):
    """Mesh of a head from its signed distance: vertices (u, v, n) in mm, normals, triangles. The face is the plane n =
    0."""
    from skimage.measure import marching_cubes

    low = np.array([head.outline[:, 0].min() - 16, head.outline[:, 1].min() - 2, -22.0])
    up = head.shaft_direction
    base = np.array([*head.hosel_base, -6.0])
    top = base + 56 * up
    high = np.array([head.outline[:, 0].max() + 2, max(head.outline[:, 1].max() + 2, top[1] + 8), top[2] + 8])
    low[0] = min(low[0], top[0] - 8)
    u, v, n = (np.arange(a, b, VOXEL_MM, dtype=np.float32) for a, b in zip(low, high))
    n += np.float32(0.37 * VOXEL_MM)  # the face lies between two layers

    scale = 6
    place = np.round((head.outline - low[:2]) * scale * 16).astype(np.int32)
    mask = np.zeros((int((v[-1] - low[1]) * scale) + 1, int((u[-1] - low[0]) * scale) + 1), np.uint8)
    cv2.fillPoly(mask, [place], 1, cv2.LINE_8, 4)
    flat = cv2.distanceTransform(1 - mask, cv2.DIST_L2, 5) - cv2.distanceTransform(mask, cv2.DIST_L2, 5)
    flat = cv2.GaussianBlur(flat, (0, 0), 2.0) / scale
    columns, rows = np.meshgrid((u - low[0]) * scale, (v - low[1]) * scale)
    flat = cv2.remap(
        flat, columns.astype(np.float32), rows.astype(np.float32), cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
    )
    flat = flat.T[:, :, None]  # (U, V, 1)

    thick = (5.0 + 11 * np.exp(-(v - head.outline[:, 1].min()) / 9))[None, :, None]
    across = np.abs(n[None, None, :] + thick / 2) - thick / 2 + EDGE_MM
    inward = flat + EDGE_MM
    blade = np.minimum(np.maximum(across, inward), 0) + np.hypot(np.maximum(across, 0), np.maximum(inward, 0)) - EDGE_MM

    grid = [u[:, None, None] - base[0], v[None, :, None] - base[1], n[None, None, :] - base[2]]
    along = sum(g * a for g, a in zip(grid, up))
    out = np.sqrt(np.maximum(sum(g * g for g in grid) - along**2, 0))
    side, ends = out - head.hosel_radius_mm + 0.8, np.abs(along - 26) - 30 + 0.8
    hosel = np.minimum(np.maximum(side, ends), 0) + np.hypot(np.maximum(side, 0), np.maximum(ends, 0)) - 0.8
    mix = np.maximum(FILLET_MM - np.abs(blade - hosel), 0) / FILLET_MM
    whole = np.minimum(blade, hosel) - mix**2 * FILLET_MM / 4
    vertices, faces, normals, _ = marching_cubes(whole.astype(np.float32), 0.0, spacing=(VOXEL_MM,) * 3)
    vertices = vertices + (u[0], v[0], n[0])
    return vertices, -normals if (normals[np.argmax(vertices[:, 2])][2] < 0) else normals, faces, base + 55.5 * up


def _directions(rows=256):
    """Directions (rows, 2 rows, 3) of an equirectangular map as Mitsuba reads it, y up."""
    theta = (np.arange(rows) + 0.5) / rows * np.pi
    phi = (np.arange(2 * rows) + 0.5) / (2 * rows) * 2 * np.pi
    theta, phi = np.meshgrid(theta, phi, indexing="ij")
    return np.stack([np.sin(theta) * np.sin(phi), np.cos(theta), -np.sin(theta) * np.cos(phi)], -1)


def surroundings(rng, kind, lean_deg, eye, glare):
    """Environment map (H, W, 3) of radiance in the picture's axes: x right, y up the face, z out of it.

    `lean_deg` is how far the face looks up at the sky or ceiling, `eye` the direction of the camera, `glare` asks for a
    lamp that the face mirrors into it.
    """
    toward = _directions()
    lean, around = math.radians(lean_deg), rng.uniform(-0.7, 0.7)
    up = np.array([0, math.cos(lean), math.sin(lean)])
    front = np.array([0, -math.sin(lean), math.cos(lean)])
    front, right = math.cos(around) * front + math.sin(around) * np.array([1.0, 0, 0]), None
    right = np.cross(up, front)
    z, f, r = toward @ up, toward @ front, toward @ right
    azimuth = np.arctan2(r, f)
    noise = lambda n: cv2.resize(
        rng.standard_normal((n, 2 * n)).astype(np.float32), (512, 256), interpolation=cv2.INTER_CUBIC
    )
    light = np.zeros((256, 512, 3))
    if kind == "garage":
        light[:] = np.array([0.34, 0.31, 0.27]) * rng.uniform(0.7, 1.2)
        for _ in range(16):  # shelves, doors, boxes along the walls
            a, w, h0, h1 = (
                rng.uniform(-np.pi, np.pi),
                rng.uniform(0.08, 0.35),
                rng.uniform(-0.6, 0.1),
                rng.uniform(0.05, 0.45),
            )
            light[(np.abs(np.angle(np.exp(1j * (azimuth - a)))) < w) & (z > h0) & (z < h1)] = rng.uniform(
                0.02, 0.5
            ) * rng.uniform(0.7, 1.1, 3)
        light[z > 0.5] = np.array([0.62, 0.59, 0.54])
        light[z < -0.35] = np.array([0.16, 0.15, 0.14])
        height = np.maximum(z, 1e-3)
        x, y = r / height, f / height
        for place in rng.uniform(-1.6, 1.6, rng.integers(2, 4)):
            strip = (z > 0.2) & (np.abs(x - place) < 0.07) & (np.abs(y - rng.uniform(-0.7, 0.9)) < 0.75)
            light[strip] = np.array([17, 17.5, 18.5]) * rng.uniform(0.8, 1.3)
        if rng.random() < 0.75:  # a window
            a = rng.uniform(-2.4, 2.4)
            da = np.angle(np.exp(1j * (azimuth - a)))
            pane = (np.abs(da) < 0.38) & (z > 0.02) & (z < 0.5) & (np.abs(da) > 0.018) & (np.abs(z - 0.26) > 0.014)
            light[pane] = np.array([4.6, 5.3, 6.4]) * rng.uniform(0.6, 1.4)
    elif kind == "bay":  # under the roof of a driving range, open to one side
        light[:] = np.array([0.22, 0.20, 0.18])
        opening = (np.abs(np.angle(np.exp(1j * (azimuth - rng.choice([-1, 1]) * rng.uniform(0.7, 1.6))))) < 1.15) & (
            np.abs(z) < 0.55
        )
        sky = np.array([2.6, 2.95, 3.4]) * (1 + 0.12 * noise(6))[..., None]
        turf = np.array([0.16, 0.24, 0.09]) * (1 + 0.2 * noise(24))[..., None]
        light = np.where(opening[..., None], np.where((z > 0.03)[..., None], sky, turf), light)
        light[z > 0.6] = np.array([0.30, 0.27, 0.22])
        light[z < -0.5] = np.array([0.10, 0.14, 0.08])
        beams = (z > 0.6) & (np.abs((r / np.maximum(z, 1e-3)) % 0.5 - 0.25) < 0.05)
        light[beams] = 0.12
        lamp = (
            (z > 0.3)
            & (np.abs(r / np.maximum(z, 1e-3) - rng.uniform(-0.8, 0.8)) < 0.09)
            & (np.abs(f / np.maximum(z, 1e-3) - 0.2) < 0.5)
        )
        light[lamp] = np.array([11, 10.6, 9.6])
    else:  # open air
        blue = np.array([0.75, 1.0, 1.45]) * (1.25 - 0.55 * np.clip(z, 0, 1))[..., None]
        cloud = np.clip(0.5 + 0.8 * noise(5) + 0.5 * noise(14), 0, 1)[..., None] * rng.uniform(0.5, 1)
        light = blue * (1 - cloud) + np.array([2.1, 2.1, 2.1]) * cloud
        ground = np.array([0.17, 0.23, 0.09]) * (1 + 0.15 * noise(20))[..., None]
        trees = z < 0.06 + 0.1 * np.abs(noise(30)) * (noise(5) > -0.3)
        light = np.where(trees[..., None], np.array([0.09, 0.13, 0.06]), light)
        light = np.where((z < -0.03)[..., None], ground, light)
        a, h = rng.uniform(-2.6, 2.6), rng.uniform(0.45, 0.85)
        sun = math.sqrt(1 - h * h) * (math.cos(a) * front + math.sin(a) * right) + h * up
        light += np.array([60, 56, 48]) * rng.uniform(0.5, 1.1) * np.exp(-((1 - toward @ sun) / 0.0022))[..., None]
    eye = np.asarray(eye) / np.linalg.norm(eye)
    # whoever holds the phone: head, shoulders and arms against the light
    body_up = up - (up @ eye) * eye
    body_up /= max(np.linalg.norm(body_up), 1e-6)
    body_side = np.cross(eye, body_up)
    with np.errstate(divide="ignore", invalid="ignore"):
        front_of = toward @ eye
        p, q = (toward @ body_side) / front_of, (toward @ body_up) / front_of
    seen = front_of > 0.2
    coat = rng.choice([0.03, 0.08, 0.2]) * rng.uniform(0.7, 1.2, 3)
    light[seen & (np.abs(p) < 0.42 - 0.12 * (q > -0.05)) & (q < 0.12)] = coat
    light[seen & (np.hypot(p / 0.8, q - 0.28) < 0.19)] = np.array([0.32, 0.2, 0.14]) * rng.uniform(0.4, 1.2)
    if glare:
        mirrored = np.array([-eye[0], -eye[1], eye[2]]) + np.array([*rng.uniform(-0.12, 0.12, 2), 0])
        mirrored /= np.linalg.norm(mirrored)
        light += (
            np.array([9, 9, 9.5]) * np.exp(-(((1 - toward @ mirrored) / rng.uniform(0.0012, 0.004)) ** 2))[..., None]
        )
    return cv2.GaussianBlur(light.astype(np.float32), (0, 0), 0.9)


def ground(rng, kind, side_mm, pixels=1280):
    """Picture (pixels, pixels, 3) of a surface of `side_mm`, linear RGB, and its roughness as one number."""
    noise = lambda n: cv2.resize(
        rng.standard_normal((n, n)).astype(np.float32), (pixels, pixels), interpolation=cv2.INTER_CUBIC
    )
    ppm = pixels / side_mm
    if kind == "wood":
        y, x = np.mgrid[0:pixels, 0:pixels].astype(np.float32) / ppm
        plank = np.floor(x / 95)
        tone = rng.uniform(0.8, 1.15, 400)[plank.astype(int) % 400]
        bend = cv2.GaussianBlur(noise(12), (0, 0), 8)
        grain = (
            np.sin((x + 6 * bend + 40 * tone) * 1.7) * 0.5
            + cv2.GaussianBlur(rng.standard_normal((pixels, pixels)).astype(np.float32), (1, 61), 0.5, sigmaY=18) * 4
        )
        out = np.array([0.33, 0.20, 0.10]) * (tone * (1 + 0.16 * grain + 0.05 * noise(90)))[..., None]
        out[(x % 95) < 1.3] *= 0.15
        stain = np.clip(noise(7) - 1.2, 0, 1)[..., None]
        return np.clip(out * (1 - 0.6 * stain), 0.005, 0.9), 0.55
    if kind == "concrete":
        out = (
            np.array([0.34, 0.33, 0.31])
            * (1 + 0.10 * noise(8) + 0.08 * noise(60) + 0.10 * noise(pixels // 4) + 0.08 * noise(pixels))[..., None]
        )
        pits = np.clip(noise(pixels // 5) - 2.3, 0, 1)[..., None]
        return np.clip(out * (1 - 0.8 * np.clip(2 * pits, 0, 1)), 0.01, 0.9), 0.8
    if kind == "mat":  # short artificial turf or rubber
        if rng.random() < 0.35:
            out = np.array([0.035, 0.036, 0.038]) * (1 + 0.25 * noise(pixels // 3) + 0.2 * noise(20))[..., None]
            for _ in range(int(side_mm * 3)):
                cv2.circle(
                    out,
                    tuple(int(c) for c in rng.uniform(0, pixels, 2)),
                    int(max(1, rng.uniform(0.4, 1.1) * ppm)),
                    (rng.uniform(0.05, 0.2) * rng.uniform(0.8, 1.2, 3)).tolist(),
                    -1,
                    cv2.LINE_AA,
                )
            return np.clip(out, 0.004, 0.9), 0.7
        length, width, lush, deep = 3.2, 0.55, np.array([0.055, 0.155, 0.05]), np.array([0.008, 0.035, 0.012])
    else:  # grass
        length, width, lush, deep = 16.0, 1.6, np.array([0.13, 0.25, 0.045]), np.array([0.02, 0.035, 0.01])
    out = np.zeros((pixels, pixels, 3), np.float32) + deep.astype(np.float32)
    count = int(min(2.6 * side_mm**2 / (length * width), 120_000))
    step = max(length * ppm, 2)
    for layer in np.linspace(0.15, 1, count):
        start = rng.uniform(-step, pixels + step, 2)
        angle, bright = rng.uniform(0, 2 * np.pi), layer * rng.uniform(0.5, 1.25)
        end = start + step * rng.uniform(0.5, 1) * np.array([math.cos(angle), math.sin(angle)])
        colour = (
            (deep + (lush - deep) * bright) * rng.uniform(0.8, 1.2, 3)
            if kind != "grass" or rng.random() > 0.05
            else np.array([0.32, 0.26, 0.12]) * bright
        )
        cv2.line(
            out,
            tuple(np.round(start * 16).astype(int).tolist()),
            tuple(np.round(end * 16).astype(int).tolist()),
            colour.tolist(),
            max(1, round(width * ppm * rng.uniform(0.6, 1.1))),
            cv2.LINE_AA,
            4,
        )
    return np.clip(out, 0.004, 0.9), 0.75
