"""A photo of the ball as it stands, seen along the target line -> how far its line leans from plumb.

The line's plane is found on the sphere itself, so the camera need not look exactly along it. A plumb cord (or a level
edge square to the target line) tells which way is down; what it cannot tell, how far the camera looks down, is a
component of the uncertainty. It vanishes where the cord is seen in one line with the ball, and grows with the distance
between the two in the picture.
"""

import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import cv2
import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from ..base.checks import HANDS
from ..base.errors import InputError
from ..base.tables import check_number
from ..reading.photo import open_photo
from .ball import U_MIDDLE, Array, Ball, Shape, ball_from_outline, find_ball, find_line, rays, seen
from .plumb import find_cord, find_edge

REFERENCES = ("cord", "edge")

# Standard uncertainties, from common practice (no source) unless said otherwise.
PITCH_DEG, U_PITCH_DEG = 8.0, 8.0  # how far a phone that stands or is held low looks down
U_CORD_DEG = 0.10  # a hanging cord still sways a little
U_EDGE_DEG = 0.20  # an edge set by its spirit level
U_EDGE_TURN_DEG = 4.0  # how far the edge is from square to the view of the ball
U_LENS_DEG = 0.10  # straight lines bend a little in a phone's picture
U_PEN_DEG = 0.10  # a strip lets the pen wander
U_HAND_PX = 2.0  # a point placed by hand, in pixels of the picture at working size


@dataclass(frozen=True)
class SetupReading:
    """How the ball's line stands before the hit.

    Attributes
    ----------
    setup_tilt_deg : float
        Lean of the line's plane from plumb about the target axis, in degrees: positive where its top leans to the
        toe's side.
    u_setup_tilt_deg : float
        Its standard uncertainty, in degrees.
    reference : {"cord", "edge"}
    flags : tuple of str
        What makes the reading doubtful, a clause each.
    budget : DataFrame
        component, u_deg (share of each in `u_setup_tilt_deg`, to be added as squares).
    """

    setup_tilt_deg: float
    u_setup_tilt_deg: float
    reference: str
    flags: tuple[str, ...]
    budget: pd.DataFrame = field(repr=False, compare=False)
    _picture: Array = field(repr=False, compare=False)
    _drawn: dict[str, Array] = field(repr=False, compare=False)

    @property
    def sentence(self) -> str:
        """The reading in a fitter's words."""
        size, plus = abs(self.setup_tilt_deg), 1.96 * self.u_setup_tilt_deg
        if size <= plus:
            words = f"The line stands upright as far as this photo can tell: {size:.1f}° to the {self._side}"
        else:
            words = f"The top of the line leans {size:.1f}° to the {self._side}"
        return f"{words}, ±{plus:.1f}° (95 %)."

    @property
    def _side(self) -> str:
        return "toe's side" if self.setup_tilt_deg >= 0 else "heel's side"

    def overlay(self) -> Array:
        """Return the photo at working size as RGB, (H, W, 3) of uint8, with what was found drawn on it.

        The ball's outline is dashed, the line on it solid, the cord or edge has square ends; a plumb line through the
        ball is dotted.
        """
        out, drawn = self._picture.copy(), self._drawn
        thick = max(2, round(max(out.shape) / 700))

        def stroke(points: Array, on: int = 1, off: int = 0) -> None:
            pixels = np.round(np.asarray(points)).astype(int)
            for number, (a, b) in enumerate(zip(pixels[:-1], pixels[1:], strict=True)):
                if number % (on + off) < on:
                    cv2.line(out, a.tolist(), b.tolist(), (255, 255, 255), 2 * thick + 1, cv2.LINE_AA)
            for number, (a, b) in enumerate(zip(pixels[:-1], pixels[1:], strict=True)):
                if number % (on + off) < on:
                    cv2.line(out, a.tolist(), b.tolist(), (20, 20, 20), thick, cv2.LINE_AA)

        stroke(drawn["outline"], 3, 3)
        stroke(drawn["line"])
        stroke(drawn["reference"])
        for x, y in np.round(drawn["reference"]).astype(int).tolist():
            cv2.rectangle(
                out, (x - 4 * thick, y - 4 * thick), (x + 4 * thick, y + 4 * thick), (255, 255, 255), 2 * thick + 1
            )
            cv2.rectangle(out, (x - 4 * thick, y - 4 * thick), (x + 4 * thick, y + 4 * thick), (20, 20, 20), thick)
        stroke(drawn["plumb"], 1, 2)
        return out


def measure_setup(
    photo: str | os.PathLike[str] | bytes | Array,
    *,
    handed: str = "right",
    reference: str = "cord",
    from_behind: bool = True,
    ball: Sequence[float] | None = None,
    line_ends: ArrayLike | None = None,
    reference_ends: ArrayLike | None = None,
    pitch_deg: float = PITCH_DEG,
    u_pitch_deg: float = U_PITCH_DEG,
) -> SetupReading:
    """Measure how far the ball's line leans from plumb.

    Parameters
    ----------
    photo : path, bytes or ndarray
        As for `linetilt.reading.photo.open_photo`: the ball on its place seen along the target line, the pen line
        towards the camera, and in the same picture a plumb cord with its weight, or a level bar lying square to the
        target line.
    handed : {"right", "left"}
        The golfer's hand; tells which side is the toe's.
    reference : {"cord", "edge"}
        What tells the vertical.
    from_behind : bool
        True where the camera looks towards the target, False where it looks back from there.
    ball : (float, float, float), optional
        Middle (x, y) and diameter of the ball, placed by hand.
    line_ends : pair of (float, float), optional
        Two points of the pen line, placed by hand.
    reference_ends : pair of (float, float), optional
        Two points of the cord or of the level edge, placed by hand. All points by hand are (x, y) in pixels of the
        upright photo at its full size, the middle of the first pixel being (0, 0). Each replaces its own step of the
        search only.
    pitch_deg, u_pitch_deg : float
        How far the camera looks down from level, and the standard uncertainty of that, in degrees.

    Returns
    -------
    SetupReading

    Raises
    ------
    UnreadablePhoto, PhotoTooLarge, NoBall, NoPenLine, TwoPenLines, NoPlumb
        All of them `PhotoError`: what is not seen is not guessed.
    InputError

    Examples
    --------
    A ball drawn with its line and a level bar, all placed by hand. The line leans by 2° to the heel's side:

    >>> picture = np.full((600, 600, 3), 128, np.uint8)
    >>> lean = np.tan(np.radians(2.0))
    >>> reading = measure_setup(
    ...     picture,
    ...     reference="edge",
    ...     ball=(300, 300, 200),
    ...     line_ends=[(300 - 80 * lean, 220), (300 + 80 * lean, 380)],
    ...     reference_ends=[(100, 400), (500, 400)],
    ...     pitch_deg=0.0,
    ... )
    >>> round(reading.setup_tilt_deg, 1), reading.flags
    (-2.0, ('placed by hand',))

    Notes
    -----
    The uncertainty is combined by the law of propagation (JCGM 100:2008, 5.1.2) with numerical sensitivities.
    """
    if handed not in HANDS:
        raise InputError(f'handed is {handed!r}; expected "right" or "left"')
    if reference not in REFERENCES:
        raise InputError(f'reference is {reference!r}; expected "cord" or "edge"')
    pitch = check_number("pitch_deg", pitch_deg, -60.0, 60.0, "degrees")
    u_pitch = check_number("u_pitch_deg", u_pitch_deg, 0.0, 60.0, "degrees")
    picture = open_photo(photo)
    rgb, focal, shape = picture.rgb, picture.focal_px, picture.rgb.shape
    line_placed = _by_hand("line_ends", line_ends, picture)
    reference_placed = _by_hand("reference_ends", reference_ends, picture)
    sphere = find_ball(rgb, focal) if ball is None else _ball_by_hand(ball, picture)

    if line_placed is None:
        normal, offset, covariance, points = find_line(rgb, sphere, focal)
        basis = np.linalg.eigh(covariance)
    else:
        points = line_placed
        normal, offset, basis = _line_by_hand(line_placed, sphere, focal, shape)
    if reference_placed is not None:
        ends = reference_placed
        u_reference = float(np.degrees(np.sqrt(2) * U_HAND_PX / np.linalg.norm(ends[1] - ends[0])))
    else:
        ends, u_reference = (find_cord if reference == "cord" else find_edge)(rgb, sphere, focal)

    def lean(
        normal: Array = normal,
        turned: float = 0.0,
        pitch: float = pitch,
        focal_factor: float = 1.0,
        edge_turn: float = 0.0,
    ) -> float:
        stretch = np.array([1.0, 1.0, focal_factor])  # another focal length stretches all directions along the view
        plane = np.cross(*(rays(_turned(ends, turned), focal, shape) * stretch))
        centre, line = sphere.centre * stretch, normal / stretch
        centre, line = centre / np.linalg.norm(centre), line / np.linalg.norm(line)
        down = _down_cord(plane, pitch) if reference == "cord" else _down_edge(plane, pitch, centre, edge_turn)
        right = np.cross(down, centre)
        return float(np.degrees(np.arcsin(np.clip(line @ down * np.sign(line @ right), -1, 1))))

    middle = lean()

    def change(**moved: tuple[Any, Any]) -> float:
        return (
            lean(**{name: up for name, (up, _) in moved.items()})
            - lean(**{name: low for name, (_, low) in moved.items()})
        ) / 2

    values, vectors = basis
    parts = {
        "line on the ball": np.sqrt(
            sum(
                change(normal=(normal + s * v, normal - s * v)) ** 2
                for s, v in zip(np.sqrt(np.clip(values, 0, None)), vectors.T, strict=True)
            )
        )
    }
    parts[f"{reference} in the picture"] = abs(change(turned=(u_reference, -u_reference)))
    parts[f"{reference} itself"] = U_CORD_DEG if reference == "cord" else U_EDGE_DEG
    parts["how far the camera looks down"] = max(
        abs(lean(pitch=pitch + u_pitch) - middle), abs(lean(pitch=pitch - u_pitch) - middle)
    )
    if reference == "edge":
        # the turn acts through the unknown pitch as well, so the worst of both is taken
        parts["edge not square to the view"] = max(
            abs(lean(edge_turn=U_EDGE_TURN_DEG * sign, pitch=pitch + up) - lean(pitch=pitch + up))
            for sign in (-1, 1)
            for up in (-u_pitch, 0, u_pitch)
        )
    u_focal = picture.u_f35_mm / picture.f35_mm
    parts["focal length"] = abs(change(focal_factor=(1 + u_focal, 1 - u_focal)))
    parts |= {"lens": U_LENS_DEG, "pen": U_PEN_DEG}
    budget = pd.DataFrame({"component": list(parts), "u_deg": [float(u) for u in parts.values()]})
    u = float(np.sqrt((budget["u_deg"] ** 2).sum()))
    sign = (1.0 if handed == "right" else -1.0) * (1.0 if from_behind else -1.0)
    flags = []
    if abs(offset) > 0.10:
        flags.append("the line does not go round the middle of the ball")
    if parts["how far the camera looks down"] ** 2 > 0.5 * u**2 and u > 0.4:
        flags.append(f"the {reference} is far from the ball in the picture; bring both closer together")
    if line_placed is not None or reference_placed is not None or ball is not None:
        flags.append("placed by hand")
    drawn = {"outline": _outline(sphere, focal, shape), "line": _stroke(points), "reference": ends}
    drawn["plumb"] = _plumb(sphere, _down(ends, reference, pitch, sphere, focal, shape), focal, shape)
    return SetupReading(sign * middle, u, reference, tuple(flags), budget, rgb, drawn)


def marks_by_hand(start: Mapping[str, Any], placed: Mapping[str, Any]) -> dict[str, Any]:
    """Return what `measure_setup` takes by hand, from the pairs of points that a fitter has moved.

    A pair left alone is looked for in the photo.

    Parameters
    ----------
    start, placed : dict
        Two points (x, y) each for "ball" (opposite edges of its outline), "line" and "reference": where they were laid
        out, and where they are now.

    Raises
    ------
    InputError
        Where only one point of a pair was moved: the other is still where nothing is.
    """
    found: dict[str, Any] = {}
    for name, pair in placed.items():
        moved = [np.hypot(*np.subtract(now, then)) > 0.5 for now, then in zip(pair, start[name], strict=True)]
        if any(moved) and not all(moved):
            raise InputError(
                f"only one of the two handles of the {name} was moved; expected both, or none; move the other one too"
            )
        if all(moved):
            found[name] = pair
    if "ball" in found:
        found["ball"] = (*np.mean(found["ball"], axis=0), np.hypot(*np.subtract(*found["ball"])))
    return {name if name == "ball" else f"{name}_ends": points for name, points in found.items()}


def _down(ends: Array, reference: str, pitch: float, sphere: Ball, focal: float, shape: Shape) -> Array:
    """The unit vector that points down, in the camera's axes, from the two ends of the reference in pixels."""
    plane = np.cross(*rays(ends, focal, shape))
    return _down_cord(plane, pitch) if reference == "cord" else _down_edge(plane, pitch, sphere.centre, 0.0)


def _down_cord(plane: Array, pitch_deg: float) -> Array:
    """Down lies in the plane through the camera and the cord; its lean out of the picture's plane is the pitch."""
    plane = plane / np.linalg.norm(plane)
    out = np.array([0.0, 0.0, 1.0]) - plane * plane[2]
    rise = np.linalg.norm(out)
    out /= rise
    across = np.cross(plane, out)
    across *= np.sign(across[1])
    sine = np.clip(np.sin(np.radians(pitch_deg)) / rise, -1, 1)
    return np.sqrt(1 - sine**2) * across + sine * out


def _down_edge(plane: Array, pitch_deg: float, view: Array, turn_deg: float) -> Array:
    """Down is square to the edge: it lies in a plane with the camera, turned from square to the view of the ball."""
    plane, pitch, turn = plane / np.linalg.norm(plane), np.radians(pitch_deg), np.radians(turn_deg)

    def down(roll: float) -> Array:
        return np.array([np.sin(roll) * np.cos(pitch), np.cos(roll) * np.cos(pitch), np.sin(pitch)])

    def miss(roll: float) -> float:
        g = down(roll)
        ahead = view - g * (g @ view)
        ahead /= np.linalg.norm(ahead)
        return plane @ (np.cos(turn) * np.cross(g, ahead) + np.sin(turn) * ahead)

    low, high = -0.8, 0.8
    for _ in range(60):  # bisection: one sign change, as the edge runs across the picture
        centre = (low + high) / 2
        low, high = (centre, high) if np.sign(miss(centre)) == np.sign(miss(low)) else (low, centre)
    return down((low + high) / 2)


def _turned(ends: Array, degrees: float) -> Array:
    middle, (x, y) = ends.mean(axis=0), (ends[1] - ends[0]) / 2
    cos, sin = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    half = np.array([cos * x - sin * y, sin * x + cos * y])
    return np.array([middle - half, middle + half])


def _by_hand(name: str, ends: ArrayLike | None, picture: Any) -> Array | None:
    if ends is None:
        return None
    try:
        points = (np.asarray(ends, float).reshape(2, 2) + 0.5) / picture.reduction - 0.5
    except (TypeError, ValueError):
        points = np.full((2, 2), np.nan)
    height, width = picture.rgb.shape[:2]
    if not (np.isfinite(points).all() and (points >= -1).all() and (points <= [width, height]).all()):
        raise InputError(f"{name} is {ends!r}; expected two points (x, y) inside the picture, in pixels")
    if np.linalg.norm(points[1] - points[0]) < 20:
        raise InputError(f"{name} is {ends!r}; expected two points that lie far apart")
    return points


def _ball_by_hand(ball: Sequence[float], picture: Any) -> Ball:
    try:
        x, y, diameter = (float(value) for value in ball)
    except (TypeError, ValueError):
        raise InputError(f"ball is {ball!r}; expected its middle and its diameter (x, y, diameter) in pixels") from None
    height, width = picture.rgb.shape[:2]
    x, y, radius = (
        (x + 0.5) / picture.reduction - 0.5,
        (y + 0.5) / picture.reduction - 0.5,
        diameter / 2 / picture.reduction,
    )
    if not (0 <= x <= width and 0 <= y <= height and 20 <= radius <= max(height, width)):
        raise InputError(
            f"ball is {ball!r}; expected its middle inside the picture and a diameter of at least 40 pixels"
        )
    angles = np.radians(np.arange(0, 360, 2.0))
    outline = np.array([x, y]) + radius * np.column_stack([np.cos(angles), np.sin(angles)])
    found = ball_from_outline(outline, picture.focal_px, picture.rgb.shape)
    if found is None:
        raise InputError(f"ball is {ball!r}; expected the outline of a ball; place its middle and its edge again")
    return found[0]


def _line_by_hand(ends: Array, sphere: Ball, focal: float, shape: Shape) -> tuple[Array, float, Any]:
    """The plane through the middle of the ball and two points on it, and its covariance by the doubt of all three."""

    def plane(ends: Array, aside: float = 0.0) -> Array:
        v = rays(ends, focal, shape)
        along = v @ sphere.centre
        root = along**2 - 1 + np.sin(np.radians(sphere.half_deg)) ** 2
        if (root < 0).any():
            raise InputError("line_ends lie beside the ball; expected two points of the line on the ball")
        n = ((along - np.sqrt(root))[:, None] * v - sphere.centre) / np.sin(np.radians(sphere.half_deg))
        normal = np.cross(*(n - aside * sphere.axes()[0]))
        normal /= np.linalg.norm(normal)
        return normal * np.sign(normal @ sphere.axes()[0])

    normal, moves = plane(ends), [(plane(ends, U_MIDDLE) - plane(ends, -U_MIDDLE)) / 2]
    for end in range(2):
        for axis in range(2):
            step = np.zeros((2, 2))
            step[end, axis] = 0.5
            moves.append((plane(ends + step) - plane(ends - step)) * U_HAND_PX)
    spread = np.array(moves)
    return normal, 0.0, np.linalg.eigh(spread.T @ spread)


def _outline(sphere: Ball, focal: float, shape: Shape) -> Array:
    right, down, near = sphere.axes()
    t = np.radians(np.arange(0, 361, 4.0))[:, None]
    half = np.radians(sphere.half_deg)
    return seen(np.cos(half) * -near + np.sin(half) * (np.cos(t) * right + np.sin(t) * down), focal, shape)


def _stroke(points: Array) -> Array:
    along = np.linalg.svd(points - points.mean(axis=0))[2][0]
    return points[np.argsort(points @ along)][:: max(1, len(points) // 40)]


def _plumb(sphere: Ball, down: Array, focal: float, shape: Shape) -> Array:
    """A plumb line through the ball's nearest point, from above the ball to below it."""
    t = np.linspace(-1.7, 1.7, 35)[:, None]
    return seen(sphere.centre + np.sin(np.radians(sphere.half_deg)) * (t * down - sphere.centre), focal, shape)
