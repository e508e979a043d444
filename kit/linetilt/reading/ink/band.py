"""A map of ink -> the band that the ball's line left.

The band is fitted by its two outer edges together, one slope and two offsets, as a mixture: a row shows the edge
itself, or a hole that bites inwards. Holes therefore weigh little and outer edges much.
"""

from dataclasses import dataclass

import cv2
import numpy as np

from ..evidence import Array, Flags, Floats, Reason, Why

ROUGH, FINE = np.arange(-10, 10.1, 0.5), np.arange(-8, 8.01, 0.2)  # leans that are tried, degrees
PIECE_MM = 0.9  # length of edge that tells one story: raggedness is that long
EDGE_MM = 0.13  # most that an edge scatters (standard deviation); what scatters more is the rim of a hole
# By trial on drawn prints: 95 % intervals hold 95 to 98 % of sharp and of patchy ones.
WOBBLE, NOISE_PULL = 0.0022, 0.07  # of the pen itself, as slope; noise of the map that pulls at both edges
# Spread of the likelihood over slopes, and how many times wider the errors are: patchy ink leans by itself now and
# then.
MISFIT = (0.004, 0.006, 0.016), (0.9, 1.15, 1.4)
SETTLED = 0.01  # change of the log-likelihood in a turn
SPECK_MM2 = 0.3  # smaller pieces are rust or scratches, not ink
ROW_MM = 0.2  # rows are read this far apart
SHORTEST_MM = 3.5  # of rows with ink: less is no line
GAP_MM = 4.5  # of a hole or a score line, bridged


@dataclass(frozen=True)
class Band:
    """The printed line: the axis passes (toe_mm, up_mm) and leans by `slope` = tan(tilt)."""

    slope: float
    u_slope: float
    toe_mm: float
    u_toe_mm: float
    up_mm: float
    u_up_mm: float
    width_mm: float
    u_width_mm: float
    low_mm: float  # v of the lower and upper end of the ink
    high_mm: float
    fill: float  # share of the band that took ink
    noise: float  # standard deviation of the bare face where full ink is 1
    glare: float  # share of the band lost to white-out

    @property
    def length_mm(self) -> float:
        """Length of the ink along its axis, mm."""
        return (self.high_mm - self.low_mm) * float(np.hypot(1, self.slope))


def fit_band(
    ink: Array,
    u: Floats,
    v: Floats,
    clear: Flags,
    slope: float,
    toe: float,
    up: float,
    reach: float,
    noise: float = 0.0,
    angles: Floats = FINE,
) -> Band | Why:
    """Fit one slope and two offsets to the outer edges of a band in an ink map.

    Parameters
    ----------
    ink : ndarray, shape (H, W)
        About 1 on ink, 0 on the bare face.
    u, v : ndarray, shapes (W,), (H,)
        Coordinates in mm, evenly spaced.
    clear : ndarray of bool, shape (H,)
        Rows that can be used (no score line).
    slope, toe, up : float
        Where to start: the axis u = toe + slope (v - up).
    reach : float
        Farthest that an edge may lie from the axis, in mm.
    noise : float
        Standard deviation of `ink` on the bare face.
    angles : ndarray
        Leans that are tried, against the start, in degrees, evenly spaced.

    Returns
    -------
    Band or Why
        `Reason.NO_INK` where less than `SHORTEST_MM` of rows show ink.
    """
    lane, t, noise = straightened(ink, u, v, clear, slope, toe, up, reach, noise)
    du, dv = t[1] - t[0], abs(v[1] - v[0])
    threshold = float(np.clip(3 * noise, 0.15, 0.6))
    on = lane > threshold
    on[:, [0, -1]] = False
    on = _unspecked(on & clear[:, None], SPECK_MM2 / (du * dv))
    share = on.sum(axis=1) * du  # mm of ink in every row
    extent = _extent(share, clear, v, up, dv)
    if extent is None:
        return Why(Reason.NO_INK)
    top, bottom = extent
    row = np.arange(len(v))
    used = np.nonzero(clear & on.any(axis=1) & (row >= top) & (row <= bottom))[0]
    if len(used) * dv < SHORTEST_MM:
        return Why(Reason.NO_INK)
    every = max(int(ROW_MM / dv), 1)
    used = used[every // 2 :: every]
    on, lane = on[used], lane[used]
    first, last = on.argmax(axis=1), on.shape[1] - 1 - on[:, ::-1].argmax(axis=1)
    heel = t[first] - du * _crossing(lane, threshold, first, first - 1)
    toe_side = t[last] + du * _crossing(lane, threshold, last, last + 1)
    low, high = v[bottom], v[top]
    middle = (low + high) / 2
    turn, u_slope, a, b, u_edges = _fit_edges(v[used] - middle, heel, toe_side, dv * every, noise, angles)
    fill = share[clear & (row >= top) & (row <= bottom)].mean() / max(b - a, 0.3)
    # the axis at the middle of the ink; the ink's end stands for the contact's end to about half a dimple
    return Band(
        slope=slope + turn,
        u_slope=u_slope,
        toe_mm=toe + slope * (middle - up) + (a + b) / 2,
        u_toe_mm=float(np.hypot(u_edges / 2, 0.1)),
        up_mm=float(middle),
        u_up_mm=0.9,
        width_mm=b - a,
        u_width_mm=float(np.hypot(u_edges, 0.12)),
        low_mm=float(low),
        high_mm=float(high),
        fill=float(min(fill, 1.0)),
        noise=float(noise),
        glare=0.0,
    )


def _crossing(lane: Array, threshold: float, inner: Array, outer: Array) -> Array:
    """Where every row falls to the threshold between two samples: 0 at the inner one, 1 at the outer one."""
    at, beside = (np.take_along_axis(lane, k[:, None], axis=1)[:, 0] for k in (inner, outer))
    return np.clip((at - threshold) / np.maximum(at - beside, 1e-4), 0, 1)


def _unspecked(on: Flags, least: float) -> Flags:
    """A mask without its pieces that are smaller than `least` pixels."""
    _, piece, stats, _ = cv2.connectedComponentsWithStats(on.astype(np.uint8))
    large = stats[:, cv2.CC_STAT_AREA] >= least
    large[0] = False
    return large[piece]


def straightened(
    ink: Array,
    u: Floats,
    v: Floats,
    clear: Flags,
    slope: float,
    toe: float,
    up: float,
    reach: float,
    noise: float,
) -> tuple[Array, Floats, float]:
    """The lane about the axis, sheared upright, above the bare face on both sides; its columns; the scatter left.

    A noisy lane is smoothed, more along the line than across. What the face itself shows is taken row by row from
    flanks 4 mm wide, and between them on a straight line.
    """
    du, dv = u[1] - u[0], abs(v[1] - v[0])
    wide, flank = int((reach + 4.0) / du), int(4.0 / du)
    t = np.arange(-wide, wide + 1) * du
    x = (((toe + slope * (v - up))[:, None] + t[None, :] - u[0]) / du).astype(np.float32)
    y = np.repeat(np.arange(len(v), dtype=np.float32)[:, None], len(t), axis=1)
    lane = cv2.remap(ink.astype(np.float32), x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT)
    weight = clear.astype(np.float32)[:, None]

    def smooth(part: Array, across: float, along: float) -> Array:
        sigmas = {"sigmaX": max(across / du, 0.3), "sigmaY": max(along / dv, 0.3)}
        return cv2.GaussianBlur(part, (0, 0), **sigmas).reshape(part.shape)

    along = 0.05 + 0.6 * min(max(noise - 0.1, 0), 1)
    lane = smooth(lane * weight, 0.03, along) / np.maximum(smooth(weight, 0.03, along), 1e-3)
    sides = np.stack([np.median(lane[:, :flank], axis=1), np.median(lane[:, -flank:], axis=1)], axis=1)
    sides = smooth(sides * weight, 0.0, 0.7) / np.maximum(smooth(weight, 0.0, 0.7), 1e-3)
    level = (t + reach + 2.0) / (2 * reach + 4.0)
    lane = lane - (sides[:, :1] * (1 - level) + sides[:, 1:] * level)
    near = clear & (np.abs(v - up) < 10)
    rest = np.concatenate([lane[near, :flank].ravel(), lane[near, -flank:].ravel()])
    noise = scatter(rest) if len(rest) else noise
    inner = np.abs(t) <= reach
    return lane[:, inner], t[inner], noise


def scatter(rest: Array) -> float:
    """Standard deviation of a bare face in ink (N,), robustly, but not less than what stands out of it asks for."""
    return max(1.4826 * float(np.median(np.abs(rest))), float(np.percentile(rest, 95)) / 2.2)


def _extent(share: Array, clear: Flags, v: Floats, up: float, dv: float) -> tuple[int, int] | None:
    """First and last row of the ink at `up`, gaps of a hole or a score line bridged; None without ink."""
    filled = np.interp(np.arange(len(v)), np.nonzero(clear)[0], share[clear])
    smooth = cv2.blur(filled.astype(np.float32)[:, None], (1, max(int(0.8 / dv), 1)))[:, 0]
    strong = np.percentile(smooth[smooth > 0.1], 70) if (smooth > 0.1).any() else 1.0
    inked = np.nonzero(smooth > max(0.25 * strong, 0.12))[0]
    if not len(inked):
        return None
    at = int(np.argmin(np.abs(v - up)))
    groups = np.split(inked, np.nonzero(np.diff(inked) > GAP_MM / dv)[0] + 1)
    group = max(groups, key=lambda rows: len(rows) - 0.3 * max(0, rows[0] - at, at - rows[-1]))
    return int(group[0]), int(group[-1])


def _fit_edges(
    y: Floats, heel: Array, toe: Array, dv: float, noise: float, angles: Floats
) -> tuple[float, float, float, float, float]:
    """Try every lean of `angles` (degrees): its likeliest two edges, by expectation-maximisation, say how likely it is.

    Rows within `PIECE_MM` tell the same story, so that the likelihood counts pieces, not samples. Returns the
    posterior's mean and standard deviation of the slope, the two offsets at the middle and the standard uncertainty of
    their distance.
    """
    slopes = np.tan(np.radians(angles)).astype(np.float32)[:, None]
    y = y.astype(np.float32)
    edges = np.stack([heel, -toe]).astype(np.float32)[:, None]  # (edge, lean, row), each edge's inward side positive
    rows = edges - slopes * np.stack([y, -y])[:, None]
    at = np.percentile(rows, 25, axis=2)[..., None]
    sigma, holes = np.full_like(at[0], 0.12), np.full_like(at[0], 0.4)
    most = EDGE_MM + 0.5 * max(noise - 0.05, 0)
    before = -np.inf
    for turn in range(20):
        weight, like = _edge_weight(rows - at, sigma, holes, np.maximum(-at.sum(axis=0), 0.5))
        count = weight.sum(axis=2, keepdims=True) + 1e-6
        at = (weight * rows).sum(axis=2, keepdims=True) / count
        spread = (weight * (rows - at) ** 2).sum(axis=(0, 2))[:, None] / count.sum(axis=0)
        sigma = np.clip(np.sqrt(spread), 0.06, most)
        holes = np.clip(1 - count.sum(axis=0) / (2 * len(y)), 0.05, 0.9)
        log_like = like.sum(axis=(0, 2)) * dv / PIECE_MM
        if turn in (2, 5, 9):  # leans that can no longer matter
            kept = log_like > log_like.max() - (25 if turn < 5 else 12)
            slopes, sigma, holes, rows, at, log_like = (
                slopes[kept],
                sigma[kept],
                holes[kept],
                rows[:, kept],
                at[:, kept],
                log_like[kept],
            )
        elif turn > 9 and np.abs(log_like - before).max() < SETTLED:
            break
        before = log_like
    chance = np.exp(log_like - log_like.max())
    chance /= chance.sum()

    def mean(values: Array) -> float:
        return float((chance * values).sum())

    slope = mean(slopes[:, 0])
    # beside the posterior: the pen's own wobble, and how a noisy map pulls at both edges
    wide = np.sqrt(mean((slopes[:, 0] - slope) ** 2))
    u_slope = np.hypot(np.interp(wide, *MISFIT) * wide, WOBBLE) * np.hypot(1, noise / NOISE_PULL)
    best = int(np.argmax(chance))
    u_width = sigma[best, 0] * np.sqrt(PIECE_MM / dv * (1 / count[:, best]).sum())
    return slope, float(u_slope), mean(at[0, :, 0]), -mean(at[1, :, 0]), float(u_width)


def _edge_weight(inward: Array, sigma: Array, holes: Array, width: Array) -> tuple[Array, Array]:
    """How likely a row's outermost ink is the edge itself: not the rim of a hole (inwards) or a speck (outwards).

    Returns that, and the logarithm of the likelihood of what is seen.
    """
    bell = np.exp(-0.5 * (inward / sigma) ** 2)
    edge = (1 - holes) / (sigma * 2.5066) * bell
    bite = holes * 2 / width * np.where(inward > 0, np.exp(np.maximum(inward, 0) * (-2 / width)), bell)
    total = edge + bite + np.float32(0.01 / 1.2) * np.exp(np.abs(inward) * np.float32(-1 / 0.6))
    return edge / total, np.log(total)
