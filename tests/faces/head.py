"""Seeded iron heads, drawn as maps in millimetres in the plane of the face.

Axes: u grows towards the toe, from the middle of the field of full-length score lines; v grows up the face, from the
middle of the lowest full-length score line. Everything here is invented; sizes are those common on irons (common
practice, no source).
"""

from dataclasses import dataclass, field

import cv2
import numpy as np

FINISHES = ("chrome", "satin", "brushed", "blasted", "raw", "black", "grey")
PAINTS = ("none", "white", "black", "lowest")
GROOVE_DEPTH_MM = 0.4


@dataclass(frozen=True)
class FaceMaps:
    """Surface of a head over a grid in the plane of the face.

    The middle of pixel (row r, column c) lies at u = u0 + c / pixels_per_mm, v = v0 - r / pixels_per_mm: the toe is at
    the right, the top of the face at the top. A photo of a right-handed club shows the toe at the left, so mirror it.
    """

    albedo: np.ndarray  # (H, W, 3) linear RGB; the mirror colour where metallic
    metallic: np.ndarray  # (H, W) 0 to 1
    roughness: np.ndarray  # (H, W) 0 to 1
    height_mm: (
        np.ndarray
    )  # (H, W) fine relief of the flat face: score lines, brushing, scratches; negative is into the metal
    shape_mm: np.ndarray  # (H, W) coarse relief: rounded edges of the blade, and the hosel; 0 on the flat face
    inside: np.ndarray  # (H, W) bool, blade or hosel
    u0: float
    v0: float
    pixels_per_mm: float

    def grid(self):
        """Return u and v of every pixel, each (H, W), in mm."""
        rows, columns = self.inside.shape
        return np.meshgrid(
            self.u0 + np.arange(columns) / self.pixels_per_mm, self.v0 - np.arange(rows) / self.pixels_per_mm
        )


@dataclass(frozen=True, eq=False)
class Head:
    """An iron head; angles in degrees, lengths in mm, points as (u, v)."""

    score_line_length_mm: float
    score_line_pitch_mm: float
    score_line_width_mm: float
    count: int  # full-length score lines
    loft_deg: float
    lie_deg: float
    finish: str
    paint: str
    lines: np.ndarray  # (M, 3): v, u of the heel end, u of the toe end; the full-length ones first, from the lowest up
    outline: np.ndarray  # (N, 2) polygon of the blade
    hosel_base: tuple  # where the hosel's axis starts on the face plane
    hosel_radius_mm: float
    wear: float = 0.5  # 0 new to 1 old: scratches, dull patches
    dirt: float = 0.3  # 0 clean to 1: specks, soil in score lines
    wear_spot: bool = False  # burnished middle
    brush_vertical: bool = False
    ornaments: tuple = field(default=())  # (kind, u, v, size, grey)

    @property
    def field_corners(self):
        """Corners of the field of full-length lines, (4, 2): low heel, low toe, high toe, high heel."""
        half, top = self.score_line_length_mm / 2, (self.count - 1) * self.score_line_pitch_mm
        return np.array([[-half, 0.0], [half, 0.0], [half, top], [-half, top]])

    @property
    def shaft_direction(self):
        """Unit vector up the shaft as (u, v, out of the face)."""
        lie, loft = np.radians([self.lie_deg, self.loft_deg])
        return np.array([-np.cos(lie), np.sin(lie) * np.cos(loft), np.sin(lie) * np.sin(loft)])

    @classmethod
    def draw(cls, rng, club=None, **fixed):
        """Draw a random head.

        Parameters
        ----------
        rng : numpy.random.Generator
        club : linetilt.Club, optional
            Loft, lie and the sizes of the score lines are taken from it where it has them.
        **fixed
            Fields of the head that are given, not drawn (`finish="chrome"`); `outline`, `lines` follow from the others.
        """
        known = {
            name: getattr(club, name, None)
            for name in ("loft_deg", "lie_deg", "score_line_length_mm", "score_line_pitch_mm", "score_line_width_mm")
        }
        known = {name: value for name, value in known.items() if value is not None} | fixed
        drawn = {
            "loft_deg": rng.uniform(22, 58),
            "lie_deg": rng.uniform(60.5, 64.5),
            "score_line_length_mm": rng.uniform(46, 58),
            "score_line_pitch_mm": rng.uniform(3.0, 3.9),
            "score_line_width_mm": rng.uniform(0.6, 0.9),
            "finish": rng.choice(FINISHES, p=(0.22, 0.2, 0.15, 0.15, 0.08, 0.1, 0.1)),
            "paint": rng.choice(PAINTS, p=(0.45, 0.25, 0.15, 0.15)),
            "wear": rng.uniform(0, 1),
            "dirt": rng.uniform(0, 1) ** 2,
            "wear_spot": rng.random() < 0.35,
            "brush_vertical": rng.random() < 0.35,
            "hosel_radius_mm": rng.uniform(6.2, 7.0),
        } | known
        drawn["finish"], drawn["paint"] = str(drawn["finish"]), str(drawn["paint"])
        length, pitch = drawn["score_line_length_mm"], drawn["score_line_pitch_mm"]
        if "count" not in drawn:
            height = rng.uniform(25, 36) + 0.2 * (drawn["loft_deg"] - 35)
            drawn["count"] = int(np.clip(round(height / pitch) + 1, 9, 15))
        half, top = length / 2, (drawn["count"] - 1) * pitch
        lines, low, high = _draw_lines(rng, half, pitch, drawn["count"])
        slope = np.tan(np.radians(rng.uniform(11, 17) - 0.15 * max(top - 30, 0)))
        outline = _draw_outline(rng, half, low - rng.uniform(4, 6), top + rng.uniform(3, 5), slope, high)
        base = (-half - rng.uniform(10, 13), rng.uniform(9, 12))
        ornaments = drawn.pop("ornaments", None)
        if ornaments is None:
            ornaments = _draw_ornaments(rng, half) if rng.random() < 0.5 else ()
        return cls(lines=lines, outline=outline, hosel_base=base, ornaments=tuple(ornaments), **drawn)

    def maps(self, rng, pixels_per_mm):
        """Return the head's surface as `FaceMaps` at `pixels_per_mm` (8 or more; 12 keeps edges of ink true)."""
        ppm = float(pixels_per_mm)
        u0, v0 = self.outline[:, 0].min() - 22, self.outline[:, 1].max() + 4
        columns = int((self.outline[:, 0].max() + 3 - u0) * ppm) + 1
        rows = int((v0 - self.outline[:, 1].min() + 3) * ppm) + 1
        u, v = np.meshgrid(
            (u0 + np.arange(columns) / ppm).astype(np.float32), (v0 - np.arange(rows) / ppm).astype(np.float32)
        )
        to_pixel = _Pen(u0, v0, ppm)
        noise = _Noise(rng, rows, columns, ppm)
        shape_mm, inside, hosel = self._shape(u, v, to_pixel)

        albedo, metallic, roughness, height = self._metal(rng, noise, u, v, to_pixel)
        polished = np.clip(hosel, 0, 1)[..., None]
        if self.finish in ("blasted", "raw"):  # the hosel keeps the head's own smooth finish
            albedo = albedo * (1 - polished) + polished * np.float32(0.66 if self.finish == "blasted" else 0.3)
            roughness = roughness * (1 - hosel) + hosel * np.float32(0.22)
        surface = albedo, metallic, roughness, height
        self._scratches(rng, to_pixel, surface)
        self._ornaments(to_pixel, surface)
        self._score_lines(rng, noise, u, v, ppm, surface)
        self._dirt(rng, noise, to_pixel, surface)
        return FaceMaps(
            np.clip(albedo, 0.005, 0.98),
            np.clip(metallic, 0, 1),
            np.clip(roughness, 0.04, 1),
            height,
            shape_mm,
            inside,
            float(u0),
            float(v0),
            ppm,
        )

    def _shape(self, u, v, to_pixel):
        """Coarse relief, inside mask and the share of the hosel, each (H, W)."""
        blade = _signed_distance(self.outline, u.shape, to_pixel)
        along = self.shaft_direction[:2] / np.linalg.norm(self.shaft_direction[:2])
        du, dv = u - self.hosel_base[0], v - self.hosel_base[1]
        t = du * along[0] + dv * along[1]
        across = np.abs(-du * along[1] + dv * along[0])
        radius = self.hosel_radius_mm
        tube = radius - np.where(t > 0, across, np.hypot(across, t))
        blend = np.clip(0.5 + (tube - blade) / 14, 0, 1)
        union = blade * (1 - blend) + tube * blend + 7 * blend * (1 - blend)  # a fillet where hosel and blade meet
        hosel = np.clip((tube - blade + 3) / 5, 0, 1) * np.clip((t - 1) / 9, 0, 1)
        edge = np.clip(1 - blade / 1.6, 0, 1)
        round_off = -1.2 * edge**2
        swell = np.sqrt(np.clip(radius**2 - np.minimum(across, radius) ** 2, 0, None)) - radius * 0.55
        shape_mm = round_off * (1 - hosel) + swell * hosel
        return shape_mm.astype(np.float32), union > 0, hosel.astype(np.float32)

    def _metal(self, rng, noise, u, v, to_pixel):
        """Bare surface before lines and dirt: albedo, metallic, roughness, height."""
        one = np.ones(u.shape, np.float32)
        tint = np.array([1.0, rng.uniform(0.97, 1.0), rng.uniform(0.93, 0.99)], np.float32)
        base, rough, metal = {
            "chrome": (0.74, 0.12, 1.0),
            "satin": (0.60, 0.33, 1.0),
            "brushed": (0.58, 0.27, 1.0),
            "blasted": (0.52, 0.48, 1.0),
            "raw": (0.42, 0.38, 0.95),
            "black": (0.045, 0.30, 0.8),
            "grey": (0.17, 0.34, 1.0),
        }[self.finish]
        albedo = one[..., None] * (base * rng.uniform(0.93, 1.07)) * tint
        roughness = one * rough * np.float32(rng.uniform(0.85, 1.15))
        metallic, height = one * metal, 0 * one
        grain = {
            "chrome": 0.0002,
            "satin": 0.0008,
            "brushed": 0.0025,
            "blasted": 0.0035,
            "raw": 0.002,
            "black": 0.001,
            "grey": 0.001,
        }
        if self.finish in ("satin", "brushed"):
            streak = noise.streaks(vertical=self.brush_vertical)
            height += grain[self.finish] * streak
            roughness *= 1 + 0.12 * streak
            albedo *= (1 + (0.05 if self.finish == "brushed" else 0.02) * streak)[..., None]
        else:
            height += grain[self.finish] * noise.fine(0.06)
        if self.finish == "blasted":
            half, soft = self.score_line_length_mm / 2, 0.25
            ends = np.clip((half + 2.5 - np.abs(u)) / soft, 0, 1)  # blasted field, polished heel and toe
            roughness = roughness * ends + 0.13 * (1 - ends)
            albedo = albedo * (0.9 * ends + 1.3 * (1 - ends))[..., None]
            height *= ends
        if self.finish == "raw":
            rust = np.clip(
                0.9 * noise.cloud(6) + 0.7 * noise.cloud(1.2) + 0.35 * noise.fine(0.15) + 1.6 * self.wear - 1.3, 0, 1
            )
            brown = np.array([0.15, 0.07, 0.033], np.float32) * (1 + 0.25 * noise.cloud(0.8))[..., None]
            albedo = albedo * (1 - rust[..., None]) + brown * rust[..., None]
            metallic = metallic * (1 - 0.9 * rust)
            roughness = roughness * (1 - rust) + 0.75 * rust
            height += 0.004 * rust * noise.fine(0.08)
        smudge = np.clip(noise.cloud(9) - 0.4, 0, 1.5) + 0.35 * np.clip(noise.cloud(2.5) - 0.8, 0, 1)
        roughness += 0.10 * self.wear * smudge * (1 if self.finish != "black" else 1.6)
        roughness *= 1 + 0.05 * noise.cloud(14)
        albedo *= (1 + 0.03 * noise.cloud(11))[..., None]
        if self.wear_spot:  # where most balls were struck
            middle = rng.normal(0, 3), rng.uniform(10, 16)
            spot = np.exp(-(((u - middle[0]) / rng.uniform(6, 9)) ** 2 + ((v - middle[1]) / rng.uniform(5, 8)) ** 2))
            spot = np.clip(spot * (1 + 0.25 * noise.cloud(1.5) + 0.12 * noise.fine(0.2)), 0, 1)
            bright = 0.32 if self.finish in ("black", "grey", "raw") else base * 1.12
            share = (0.55 if self.finish in ("black", "grey", "raw") else 0.8) * spot[..., None]
            albedo = albedo * (1 - share) + bright * share
            metallic = metallic * (1 - share[..., 0]) + share[..., 0]
            roughness = roughness * (1 - 0.35 * spot)
        return albedo, metallic, roughness, height

    def _score_lines(self, rng, noise, u, v, ppm, surface):
        albedo, metallic, roughness, height = surface
        colour = {"white": 0.72, "black": 0.012, "lowest": float(rng.choice([0.7, 0.7, 0.015]))}.get(self.paint)
        chip = 0.55 * noise.cloud(0.9) + 0.45 * noise.cloud(4)  # where paint has left the groove
        soil = 0.6 * noise.cloud(1.5) + 0.5 * noise.cloud(6)
        for index, (line_v, heel, toe) in enumerate(self.lines):
            rows = np.abs(v[:, 0] - line_v) < 1.2
            uu, vv = u[rows], v[rows]
            half = self.score_line_width_mm / 2
            beyond = np.maximum(np.maximum(heel + half - uu, uu - toe + half), 0)  # rounded ends, tip to tip
            away = np.hypot(vv - line_v, beyond)
            groove = np.clip((half - away) * ppm + 0.5, 0, 1)
            height[rows] -= GROOVE_DEPTH_MM * np.clip((half - away) / (0.45 * half), 0, 1)
            painted = colour is not None and (self.paint != "lowest" or index == 0)
            floor = np.clip(
                (0.86 * half - away) * ppm + 0.5, 0, 1
            )  # paint and soil lie on the floor, the walls stay bare
            if painted:
                cover = floor * np.clip(2.5 * (1.6 - 0.9 * self.wear - chip[rows]), 0, 1)
                _lay(surface, rows, cover, (colour, colour, colour * 0.97), 0, 0.55)
            else:
                albedo[rows] *= (1 - 0.5 * groove)[..., None]  # little light finds its way down
                roughness[rows] += 0.2 * groove
            grime = floor * np.clip(1.2 * (soil[rows] - 1.7 + 2.2 * self.dirt), 0, 0.9)
            _lay(surface, rows, grime, (0.055, 0.042, 0.028), 0, 0.85)

    def _scratches(self, rng, to_pixel, surface):
        albedo, metallic, roughness, height = surface
        mark = np.zeros(height.shape, np.uint8)
        low, high = self.outline.min(0), self.outline.max(0)
        for _ in range(int(10 + 130 * self.wear * rng.uniform(0.5, 1))):
            start = rng.uniform(low, high)
            angle, length = rng.normal(np.pi / 2, 0.8), rng.exponential(2.5) + 0.4
            bend = angle + rng.normal(0, 0.15)
            points = [start, start + length / 2 * np.array([np.cos(angle), np.sin(angle)])]
            points.append(points[1] + length / 2 * np.array([np.cos(bend), np.sin(bend)]))
            layer = int(rng.uniform(60, 255))
            cv2.polylines(
                mark,
                [to_pixel(points)],
                False,
                layer,
                max(1, round(rng.uniform(0.03, 0.14) * to_pixel.ppm)),
                cv2.LINE_AA,
                to_pixel.SHIFT,
            )
        for _ in range(int(25 * self.wear)):  # small dings of sand
            cv2.circle(
                mark,
                to_pixel([rng.uniform(low, high)])[0],
                int(rng.uniform(0.08, 0.25) * to_pixel.ppm * 2**to_pixel.SHIFT),
                int(rng.uniform(60, 200)),
                -1,
                cv2.LINE_AA,
                to_pixel.SHIFT,
            )
        share = mark.astype(np.float32) / 255
        dark = self.finish in ("black", "grey", "raw")
        albedo += ((0.35 if dark else -0.06) * share)[..., None]
        metallic += dark * 0.5 * share
        roughness += (0.0 if dark else 0.15) * share
        height -= 0.012 * share

    def _ornaments(self, to_pixel, surface):
        for kind, u, v, size, grey in self.ornaments:
            mask = np.zeros(surface[1].shape, np.uint8)
            if kind == "dot":
                cv2.circle(
                    mask,
                    to_pixel([(u, v)])[0],
                    int(size * to_pixel.ppm * 2**to_pixel.SHIFT),
                    255,
                    -1,
                    cv2.LINE_AA,
                    to_pixel.SHIFT,
                )
            else:
                shape = {
                    "stroke": [(0, -1), (0, 1)],
                    "hook": [(0.5, 1), (-0.5, 1), (0.2, -1)],
                    "bars": [(-0.5, 0), (0.5, 0)],
                }[kind]
                points = np.array(shape) * (-size, size) + (u, v)
                cv2.polylines(
                    mask, [to_pixel(points)], False, 255, round(0.7 * to_pixel.ppm), cv2.LINE_AA, to_pixel.SHIFT
                )
            share = mask.astype(np.float32) / 255
            surface[3][:] -= 0.25 * cv2.GaussianBlur(share, (0, 0), 0.08 * to_pixel.ppm)
            _lay(surface, slice(None), share, (grey, grey, grey), 0, 0.5)

    def _dirt(self, rng, noise, to_pixel, surface):
        mask = np.zeros((3, *surface[1].shape), np.uint8)
        low, high = self.outline.min(0), self.outline.max(0)
        for _ in range(rng.poisson(45 * self.dirt)):
            centre, size = (
                to_pixel([rng.uniform(low, high)])[0],
                np.array([rng.lognormal(-1.5, 0.6), rng.lognormal(-1.5, 0.6)]),
            )
            axes = np.maximum(size * to_pixel.ppm * 2**to_pixel.SHIFT, 1).astype(int)
            cv2.ellipse(
                mask[0],
                cv2.RotatedRect(
                    tuple(map(float, centre / 2**to_pixel.SHIFT)),
                    tuple(map(float, 2 * axes / 2**to_pixel.SHIFT)),
                    float(rng.uniform(0, 180)),
                ),
                int(rng.uniform(120, 255)),
                -1,
            )
        for _ in range(rng.poisson(4 * self.dirt)):  # blades of grass, or the stain they left
            start = rng.uniform(low, high)
            step = rng.normal(0, 2.5, 2)
            cv2.polylines(
                mask[1],
                [to_pixel([start, start + step, start + 1.8 * step + rng.normal(0, 0.4, 2)])],
                False,
                int(rng.uniform(60, 200)),
                max(1, round(rng.uniform(0.15, 0.5) * to_pixel.ppm)),
                cv2.LINE_AA,
                to_pixel.SHIFT,
            )
        soft = [cv2.GaussianBlur(layer.astype(np.float32) / 255, (0, 0), 0.09 * to_pixel.ppm) for layer in mask]
        _lay(
            surface, slice(None), np.clip(soft[0] * (1.1 + 0.5 * noise.fine(0.12)), 0, 0.95), (0.10, 0.07, 0.04), 0, 0.9
        )
        _lay(
            surface, slice(None), np.clip(soft[1] * (0.8 + 0.4 * noise.fine(0.15)), 0, 0.8), (0.06, 0.11, 0.025), 0, 0.7
        )


def _lay(surface, rows, cover, colour, metal, rough):
    """Lay a dull layer over the surface in place."""
    albedo, metallic, roughness, _ = surface
    cover = cover.astype(np.float32)
    albedo[rows] += cover[..., None] * (np.array(colour, np.float32) - albedo[rows])
    metallic[rows] += cover * (metal - metallic[rows])
    roughness[rows] += cover * (rough - roughness[rows])


def _draw_lines(rng, half, pitch, count):
    """Score lines (M, 3), and the lowest and highest v among them."""
    lines = [(i * pitch, -half, half) for i in range(count)]
    below = int(rng.choice([0, 1, 2], p=[0.55, 0.33, 0.12]))
    above = int(rng.choice([0, 1, 2, 3], p=[0.5, 0.25, 0.17, 0.08]))
    style = rng.choice(["both", "toe", "heel"], p=[0.45, 0.3, 0.25])
    cut = rng.uniform(3, 7)
    for i in range(1, below + 1):
        lines.append((-i * pitch, -half + cut * i * (style != "toe"), half - cut * i * (style != "heel")))
    for i in range(1, above + 1):  # at the top the blade falls off to the heel
        lines.append(((count - 1 + i) * pitch, -half + (8 + cut) * i, half - rng.uniform(0, 1.5) * i))
    lines = np.array(lines)
    return lines, lines[:, 0].min(), lines[count:] if above else lines[:0]


def _draw_outline(rng, half, sole, top_heel, slope, high):
    """Blade as a smooth closed polygon: `sole` is v of the leading edge, `top_heel` v of the top line at the field's
    heel end."""
    for v, heel, _ in high:  # lift the top line over short lines that stand above the field
        top_heel = max(top_heel, v + 2.5 - slope * (heel + half))
    top_toe = top_heel + slope * (2 * half + 4)
    reach = rng.uniform(14, 18)
    tall = top_toe - sole
    points = np.array(
        [
            (-half - 22, sole + 13),
            (-half - 20, sole + 5),
            (-half - 12, sole + 1.2),
            (-half, sole + 0.2),
            (0, sole - 0.4),
            (half * 0.7, sole + 0.3),
            (half + reach * 0.45, sole + 2.2),
            (half + reach * 0.85, sole + 0.17 * tall),
            (half + reach, sole + 0.42 * tall),
            (half + reach * 1.02, sole + 0.68 * tall),
            (half + reach * 0.86, sole + 0.92 * tall),
            (half + reach * 0.5, sole + 1.035 * tall),
            (half, top_toe - 0.5),
            (half * 0.3, top_heel + slope * half * 1.3 - 0.2),
            (-half, top_heel),
            (-half - 9, top_heel - slope * 9 - 2),
            (-half - 16, top_heel - slope * 16 - 4),
        ]
    )
    points[:, 0] += rng.normal(0, 0.25, len(points))
    for _ in range(4):  # Chaikin's corner cutting
        after = np.roll(points, -1, 0)
        points = np.stack([0.75 * points + 0.25 * after, 0.25 * points + 0.75 * after], 1).reshape(-1, 2)
    return points


def _draw_ornaments(rng, half):
    grey = float(rng.choice([0.012, 0.012, 0.6]))
    kind = str(rng.choice(["dot", "stroke", "hook", "bars"]))
    side = 1 if rng.random() < 0.75 else -1
    return [
        (
            kind,
            side * (half + rng.uniform(5, 7)),
            rng.uniform(1, 9),
            rng.uniform(0.7, 1.3) if kind == "dot" else rng.uniform(1.2, 2.2),
            grey,
        )
    ]


def _signed_distance(polygon, shape, to_pixel):
    """Distance to the polygon's edge in mm, positive inside, (H, W)."""
    mask = np.zeros(shape, np.uint8)
    cv2.fillPoly(mask, [to_pixel(polygon)], 1, cv2.LINE_8, to_pixel.SHIFT)
    inner = cv2.distanceTransform(mask, cv2.DIST_L2, 5)
    outer = cv2.distanceTransform(1 - mask, cv2.DIST_L2, 5)
    return cv2.GaussianBlur(inner - outer, (0, 0), 1.0) / to_pixel.ppm


class _Pen:
    """Millimetres to OpenCV's fixed-point pixels."""

    SHIFT = 4

    def __init__(self, u0, v0, ppm):
        self.u0, self.v0, self.ppm = u0, v0, ppm

    def __call__(self, points):
        points = np.asarray(points, float)
        pixels = np.stack([(points[:, 0] - self.u0) * self.ppm, (self.v0 - points[:, 1]) * self.ppm], 1)
        return np.round(pixels * 2**self.SHIFT).astype(np.int32)


class _Noise:
    """Seeded random textures of unit standard deviation, sizes in mm."""

    def __init__(self, rng, rows, columns, ppm):
        self.rng, self.rows, self.columns, self.ppm = rng, rows, columns, ppm

    def cloud(self, size):
        """Smooth blobs about `size` across."""
        shape = int(self.rows / self.ppm / size) + 4, int(self.columns / self.ppm / size) + 4
        small = self.rng.standard_normal(shape, dtype=np.float32)
        return cv2.resize(small, (self.columns, self.rows), interpolation=cv2.INTER_CUBIC) / 0.75

    def fine(self, size):
        """Grain about `size` across."""
        grain = self.rng.standard_normal((self.rows, self.columns), dtype=np.float32)
        grain = cv2.GaussianBlur(grain, (0, 0), max(size * self.ppm / 2, 0.4))
        return grain / grain.std()

    def streaks(self, vertical):
        """Brushing: grain drawn out along one direction."""
        grain = self.rng.standard_normal((self.rows, self.columns), dtype=np.float32)
        long, wide = 9 * self.ppm, max(0.03 * self.ppm, 0.35)
        size = int(2 * long) | 1
        sigma = (wide, long) if vertical else (long, wide)
        kernel = (int(6 * wide) | 1, size) if vertical else (size, int(6 * wide) | 1)
        grain = cv2.GaussianBlur(grain, kernel, sigma[0], sigmaY=sigma[1])
        return grain / grain.std()
