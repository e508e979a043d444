"""The plane of the face as a photo shows it: pixels of the photo <-> millimetres on the face."""

from dataclasses import dataclass, field, replace

import numpy as np

from ..evidence import Array, Floats
from .pose import project
from .score_lines import HALVED

NOMINAL_LENGTH_MM = 52.0  # stands in for an unknown score-line length, so that the fit has a scale; never reported


@dataclass(frozen=True)
class FaceFrame:
    """The plane of the face as the photo shows it.

    u runs towards the toe from the middle of the score-line field, v up the face from the lowest full-length line.

    Attributes
    ----------
    to_face : ndarray, shape (3, 3)
        Takes (x, y, 1) in pixels of the working picture to (u, v, 1) in mm, up to scale.
    length_mm : float
        Length of a full score line; `NOMINAL_LENGTH_MM` where `scaled` is False.
    scaled : bool
        True where a length of the club fixed the millimetre.
    pitch_mm : float
        Distance between neighbouring lines, as found.
    lines : tuple of (float, float, float)
        v, heel end and toe end (mm) of every line found, from the lowest up.
    full : tuple of bool
        Which of them are full-length.
    variants : ndarray, shape (K, 3, 3)
        `to_face` moved by one standard deviation along each independent direction of the fit's covariance.
    residual_mm : float
        Root mean square distance of the measured points from the fitted lines.
    pixels_per_mm : float
        In the middle of the field.
    pitch_deg, yaw_deg, roll_deg : float
        How the camera looked at the face.
    doubtful : int
        How many lines at the bottom may or may not be full-length.
    by_hand : bool
        True where the corners were placed by hand.
    hand_unsure : bool
        True where the outline neither confirms nor refutes on which side the toe is.
    """

    to_face: Floats
    length_mm: float
    scaled: bool
    pitch_mm: float
    lines: tuple[tuple[float, float, float], ...]
    full: tuple[bool, ...]
    variants: Floats = field(repr=False)
    residual_mm: float
    pixels_per_mm: float
    pitch_deg: float
    yaw_deg: float
    roll_deg: float
    doubtful: int = 0
    by_hand: bool = False
    hand_unsure: bool = False

    def face(self, pixels: Array) -> Floats:
        """Pixels (N, 2) -> mm (N, 2)."""
        return project(self.to_face, pixels)

    def pixels(self, face: Array) -> Floats:
        """mm (N, 2) -> pixels (N, 2)."""
        return project(np.linalg.inv(self.to_face), face)

    def with_plane(self, to_face: Floats, pixels_per_mm: float) -> "FaceFrame":
        """The same face where another photo shows it: these lines, that plane."""
        return replace(self, to_face=to_face, pixels_per_mm=pixels_per_mm)

    def halved(self) -> "FaceFrame":
        """This frame for the picture at half its size."""
        return replace(
            self, to_face=self.to_face @ HALVED, variants=self.variants @ HALVED, pixels_per_mm=self.pixels_per_mm / 2
        )

    def doubled(self) -> "FaceFrame":
        """This frame for the picture at twice its size."""
        half = np.linalg.inv(HALVED)
        return replace(
            self, to_face=self.to_face @ half, variants=self.variants @ half, pixels_per_mm=self.pixels_per_mm * 2
        )

    @property
    def corners(self) -> Floats:
        """Corners of the full-length field in pixels, (4, 2): low heel, low toe, high toe, high heel."""
        v = [line[0] for line, full in zip(self.lines, self.full) if full] or [line[0] for line in self.lines]
        half = self.length_mm / 2
        return self.pixels(np.array([[-half, v[0]], [half, v[0]], [half, v[-1]], [-half, v[-1]]]))
