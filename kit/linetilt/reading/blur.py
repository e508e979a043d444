"""Whether a photo is too blurred to be measured: how hard its file was squeezed, and how wide even its clearest edges are, across and upright apart, since a hand that moves blurs only one of them."""

import cv2
import numpy as np

from ..base.errors import Blurred, Squeezed
from .plane.score_lines import shrunk

SIDE_PX = 500  # long side of the picture that is looked at: 3 to 6 pixels to a millimetre of the face
FACE_RATE = 4.0  # samples a mm, where the face alone is looked at
FINE_PX, COARSE_PX = 1.1, 3.6  # the two smoothings whose slopes are compared
MOST_SIGMA_PX = 1.15  # by trial on drawn and path-traced photos: sharp ones stay below 0.9, and out of focus by 0.6 mm or shaken by 4 mm most lie above
LEAST_EDGES = 0.06  # of the picture's long side, in pixels on the crest of an edge: fewer say nothing
SQUEEZED_MOST = 40  # the tables of ITU-T T.81, K.1, at a quality of 20 as most writers count it; of drawn photos below, one in 20 is misread


def refuse_squeezed(picture):
    """Refuse a Picture whose file was squeezed to blocks; raises Squeezed."""
    if picture.squeezed > SQUEEZED_MOST:
        raise Squeezed("the file was squeezed so hard that the edges of the print are guesswork")


def refuse_blurred(rgb, face=None):
    """Refuse a picture in which no edge across, or no upright edge, is sharp.

    Parameters
    ----------
    rgb : ndarray of uint8, shape (H, W, 3)
    face : linetilt.reading.ink.search.FlatFace, optional
        Of a picture whose surroundings are blurred the face is looked at by itself.

    Raises
    ------
    Blurred
    """
    widest = max(edge_sigmas(rgb), default=0.0)
    if widest > MOST_SIGMA_PX and face is not None and face.field.any():
        left, top, width, height = cv2.boundingRect(face.field.astype(np.uint8))
        size = [max(int(side * FACE_RATE / face.rate), 1) for side in (width, height)]
        small = cv2.resize(face.colour[top : top + height, left : left + width], size, interpolation=cv2.INTER_AREA)
        sigmas = edge_sigmas(np.clip(small, 0, 255).astype(np.uint8))
        widest = max(sigmas) if len(sigmas) == 2 else widest
    if widest > MOST_SIGMA_PX:
        raise Blurred(
            f"the picture is blurred: even its clearest edges are {widest / MOST_SIGMA_PX:.1f} times as wide as those that a print can be read between"
        )


def edge_sigmas(rgb):
    """Standard deviation of the blur of the clearest edges, in pixels of a picture `SIDE_PX` long: of the upright and of the level ones, where there are any.

    A step blurred by s and smoothed by f has a slope proportional to 1 / sqrt(s² + f²), so the slopes after two smoothings tell s
    (Zhuo and Sim, "Defocus map estimation from a single image", Pattern Recognition 44, 2011, where one of the two is no smoothing at all).
    Noise is smoothed away by both, and a thin line only looks sharper than it is.
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
