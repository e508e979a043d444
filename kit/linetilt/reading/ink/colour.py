"""Which colours are ink: those that a lane shows and its flanks, or the face, do not."""

from collections.abc import Callable

import numpy as np

from ..evidence import Array, Reason, Why
from .band import scatter

CROWDED = 0.1  # scatter of the flanks in ink from which on their common colours are taken out one by one
PRIOR = 3  # counts added to every cell: few pixels do not make a colour rare
COMMON = 0.02  # share of the face: what is that common is bare face
BINS, SPAN = (
    12,
    2.5,
)  # cells along each axis of colour; half of its length in asinh of two standard deviations: 12 of them
_COLOURS = 2500  # pixels that a colour is judged by


Look = Callable[[Array], Array]


def ink_look(lane: Array, flanks: Array, two_sided: bool) -> tuple[Look, float] | Why:
    """From residuals of a lane and its flanks: a function that maps residuals to ink, and the flanks' scatter in it.

    The map is about 1 on full ink and 0 on the bare face. The ink's colour is what the lane shows and its flanks do
    not. It is weighed against the flanks' scatter twice, without and with what stands out of them (rust, paint,
    scratches); the quieter map is kept. Where that is not quiet, colours count less by how common they are on the
    flanks.

    Parameters
    ----------
    lane, flanks : ndarray, shapes (N, 3), (M, 3)
    two_sided : bool
        Whether the flanks lie on both sides of the lane: those of one side do not show what the other side is like.

    Returns
    -------
    (callable, float) or Why
        `Reason.NO_INK` where the lane shows nothing that its flanks do not.
    """
    lane, flanks = (part[:: len(part) // _COLOURS + 1] for part in (lane, flanks))
    centre = np.median(flanks, axis=0)
    a, b = lane - centre, flanks - centre
    usual, all_of_it = _cover(_bare(b)), _cover(b)
    best = None
    for cover in (usual, all_of_it):
        inverse = np.linalg.inv(cover)
        distance = np.sqrt(np.einsum("ni,ij,nj->n", a, inverse, a))
        chance = distance * np.maximum(
            1 - _crowd(b, a, _cells(cover))(a), 0.02
        )  # holes show the bare face, rust is on both sides
        ink = np.median(a[chance >= np.percentile(chance, 60)], axis=0)
        weights = inverse @ ink
        weights = weights / float(ink @ weights)
        top = float(np.percentile(a @ weights, 85))
        if top <= 0.05:
            continue
        noise = scatter(b @ weights) / top
        if best is None or noise < 0.8 * best[1]:
            best = weights / top, noise
    if best is None:
        return Why(Reason.NO_INK)
    weights, noise = best[0].astype(np.float32), best[1]

    def plain(res: Array) -> Array:
        return np.clip(res @ weights - centre @ weights, -1.5, 1.5)

    if noise < CROWDED or not two_sided:
        return plain, noise
    crowd = _crowd(b, a, _cells(usual))

    def rarer(res: Array) -> Array:
        return plain(res) * (1 - crowd(res - centre))

    top = max(float(np.percentile(rarer(lane), 85)), 0.05)
    less = scatter(rarer(flanks)) / top
    if less > 0.8 * noise:
        return plain, noise
    return (lambda res: np.clip(rarer(res) / top, -1.5, 1.5)), less


def rarity(face: Array, colours: Array) -> Array:
    """How rare every colour (..., 3) is on the face (M, 3): 0 where it is common, at most 5."""
    centre = np.median(face, axis=0)
    cell = _cells(_cover(_bare(face - centre)))
    rare = np.clip(-np.log(_share(face - centre, cell) / COMMON + 1e-3), 0, 5).astype(np.float32)
    return rare[cell(colours - centre)]


def _bare(colours: Array) -> Array:
    """Those of the colours (M, 3) that lie about 0, in which nothing stands out."""
    limit = 4 * 1.4826 * np.median(np.abs(colours), axis=0) + 1
    bare = colours[(np.abs(colours) < limit).all(axis=1)]
    return bare if len(bare) > 50 else colours


def _cover(colours: Array) -> Array:
    return np.cov(colours.T) + np.eye(3)


def _crowd(background: Array, lane: Array, cell: Look) -> Look:
    """A function of colours (..., 3): how common in the background (M, 3) against the lane (N, 3), from 0 to 1."""
    ratio = np.minimum(_share(background, cell, PRIOR) / _share(lane, cell, PRIOR), 1.0).astype(np.float32)
    return lambda colours: ratio[cell(colours)]


def _share(colours: Array, cell: Look, prior: int = 0) -> Array:
    """Share of the colours (M, 3) that every cell holds."""
    return (np.bincount(cell(colours), minlength=BINS**3) + prior) / len(colours)


def _cells(cover: Array) -> Look:
    """A function that gives colours (..., 3) the number of their cell, finest about 0; `cover` is their covariance."""
    inverse = np.linalg.inv(2.0 * np.linalg.cholesky(cover)).T.astype(np.float32)

    def cell(colours: Array) -> Array:
        place = (np.arcsinh(np.asarray(colours, np.float32) @ inverse) + SPAN) * (BINS / (2 * SPAN))
        place = np.clip(place, 0, BINS - 1).astype(np.int32)
        return (place[..., 0] * BINS + place[..., 1]) * BINS + place[..., 2]

    return cell
