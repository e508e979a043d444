"""How sharp a photo is: how hard its file was squeezed, and how wide even its clearest edges are.

Across and upright apart, since a hand that moves blurs only one of them.
"""

from collections.abc import Sequence

import cv2
import numpy as np

from .evidence import Array, Reason, Why
from .ink.flat import FlatFace
from .photo import Picture
from .plane.score_lines import shrunk

SIDE_PX = 500  # long side of the picture that is looked at: 3 to 6 pixels to a millimetre of the face
FACE_RATE = 4.0  # samples a mm, where the face alone is looked at
FINE_PX, COARSE_PX = 1.1, 3.6  # the two smoothings whose slopes are compared
# By trial on drawn and path-traced photos: sharp ones stay below 0.9, and out of focus by 0.6 mm or shaken by 4 mm most
# lie above.
MOST_SIGMA_PX = 1.15
# Picture and face as wide as this, and no print found: no sharp drawn face without a print is so soft in both, of 40
# looked at.
SOFT_SIGMA_PX, SOFT_FACE_SIGMA_PX = 0.8, 0.4
LEAST_EDGES = 0.06  # of the picture's long side, in pixels on the crest of an edge: fewer say nothing
# The tables of ITU-T T.81, K.1, at a quality of 20 as most writers count it; of drawn photos below, one in 20 is
# misread.
SQUEEZED_MOST = 40


def squeezed(picture: Picture) -> Why | None:
    """Say so where a picture's file was squeezed to blocks: a squeezed print still has edges, in the wrong places."""
    return Why.of(Reason.SQUEEZED, steps=picture.squeezed) if picture.squeezed > SQUEEZED_MOST else None


def blurred(sigmas: Sequence[float], face: Sequence[float] | None = None) -> Why | None:
    """Say so where no edge across, or no upright edge, is sharp.

    Parameters
    ----------
    sigmas : sequence of float
        `edge_sigmas` of the picture.
    face : sequence of float, optional
        `face_sigmas`: of a picture whose surroundings are blurred the face is looked at by itself.
    """
    widest = max(sigmas, default=0.0)
    if widest > MOST_SIGMA_PX and face is not None and len(face) == 2:
        widest = max(face)
    return Why.of(Reason.BLURRED, times=widest / MOST_SIGMA_PX) if widest > MOST_SIGMA_PX else None


def soft(sigmas: Sequence[float], face: Sequence[float] | None) -> Why | None:
    """Say so where picture and face are soft enough to explain that no print was found."""
    if max(sigmas, default=0.0) > SOFT_SIGMA_PX and max(face or (), default=0.0) > SOFT_FACE_SIGMA_PX:
        return Why(Reason.SOFT)
    return None


def face_sigmas(face: FlatFace) -> list[float]:
    """`edge_sigmas` of the face alone; empty where the camera sees none of it."""
    if not face.field.any():
        return []
    left, top, width, height = cv2.boundingRect(face.field.astype(np.uint8))
    size = [max(int(side * FACE_RATE / face.rate), 1) for side in (width, height)]
    small = cv2.resize(face.colour[top : top + height, left : left + width], size, interpolation=cv2.INTER_AREA)
    return edge_sigmas(np.clip(small, 0, 255).astype(np.uint8))


def edge_sigmas(rgb: Array) -> list[float]:
    """Standard deviation of the blur of the clearest edges, in pixels of a picture `SIDE_PX` long.

    Of the upright and of the level ones, where there are any.

    A step blurred by s and smoothed by f has a slope proportional to 1 / sqrt(s² + f²), so the slopes after two
    smoothings tell s (Zhuo and Sim, "Defocus map estimation from a single image", Pattern Recognition 44, 2011, where
    one of the two is no smoothing at all). Noise is smoothed away by both, and a thin line only looks sharper than it
    is.
    """
    grey = shrunk(cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY), SIDE_PX)
    fine = cv2.GaussianBlur(grey.astype(np.float32), (0, 0), FINE_PX)
    coarse = cv2.GaussianBlur(fine, (0, 0), np.sqrt(COARSE_PX**2 - FINE_PX**2))
    fine, coarse = (
        [np.abs(cv2.Sobel(grey, cv2.CV_32F, *way)) / 8 for way in ((1, 0), (0, 1))] for grey in (fine, coarse)
    )
    found, near = [], np.ones((5, 5), np.uint8)
    for steep, slope, other in zip(fine, coarse, coarse[::-1]):
        edge = (
            (slope > max(0.3 * np.percentile(slope[::4, ::4], 99.7), 0.35))
            & (slope > 2 * other)
            & (slope > 0.97 * cv2.dilate(slope, near))
        )
        if edge.sum() > LEAST_EDGES * max(grey.shape):
            ratio = np.percentile(cv2.dilate(steep, near)[edge] / slope[edge], 90) ** 2
            found.append(float(np.sqrt(max(COARSE_PX**2 - ratio * FINE_PX**2, 0) / max(ratio - 1, 1e-3))))
    return found
