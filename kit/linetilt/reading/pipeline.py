"""A photo read in named steps: picture, sharpness, plane, flat face, candidates, band, verdict, mark.

Every step returns what it found, also where it cannot go on; `verdict.decide` looks at all of it once, at the end, and
`measure_photo` is where a refusal is raised.
"""

from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import numpy as np

from ..base.club import Club
from ..base.errors import InputError, PhotoError
from .blur import SOFT_SIGMA_PX, blurred, edge_sigmas, face_sigmas, squeezed
from .by_hand import band_from_ends, frame_from_corners
from .evidence import Array, Floats, Reason, Why
from .ink.band import Band
from .ink.choice import choose
from .ink.flat import FlatFace, flatten
from .ink.prints import check_print
from .ink.search import Candidates, Followed, find_candidates
from .mark import FaceMark, in_full, kept_picture, mark_of
from .photo import Picture, open_photo
from .plane.face import find_face
from .plane.frame import FaceFrame
from .steps import (
    BandStep,
    Candidate,
    CandidatesStep,
    FlatStep,
    PictureStep,
    PlaneStep,
    SharpnessStep,
    Trace,
)
from .verdict import decide, telling_try

LOOKED_AT_MM = 14.0  # length of a rough place
SAME_PLACE_MM = 1.5  # places nearer to each other than this are told once


def measure_photo(photo: Any, club: Club, *, before: Any = None, corners: Any = None, line: Any = None) -> FaceMark:
    """Measure the printed line on a photographed face.

    Parameters
    ----------
    photo : path, bytes or ndarray
        JPEG, PNG, WebP, HEIC with the optional extra, or an upright RGB array; the face with its sole at the bottom.
    club : linetilt.Club
        Its hand says where the toe is; `score_line_length_mm` gives the millimetre.
    before : path, bytes or ndarray, optional
        The same face before the shot: what it shows is taken out. Helps black ink on a dark face.
    corners : array, shape (4, 2), optional
        Ends of the lowest and highest full-length score line, placed by hand: low heel, low toe, high toe, high heel,
        in pixels (x, y) of the upright full-size photo. Skips the search for score lines only.
    line : array, shape (2, 2), optional
        Lower and upper end of the print's axis, placed by hand. Skips the search for the print only.

    Returns
    -------
    FaceMark

    Raises
    ------
    PhotoError
        With a reason code, advice, and in `trace` what was found so far; see `linetilt.base.errors`.
    InputError
        When `club` or the marks by hand cannot be used.

    Examples
    --------
    >>> measure_photo(np.full((600, 800, 3), 128, np.uint8), Club(label="7", loft_deg=34))
    Traceback (most recent call last):
    ...
    linetilt.base.errors.NoFace: No set of score lines was found: ...
    """
    trace = trace_photo(photo, club, before=before, corners=corners, line=line)
    if trace.mark is None:
        raise _refusal(trace)
    return trace.mark


def trace_photo(photo: Any, club: Club, *, before: Any = None, corners: Any = None, line: Any = None) -> Trace:
    """Read a photo as `measure_photo` does and return what every step found, whether it is answered or refused.

    Parameters
    ----------
    photo, club, before, corners, line
        As for `measure_photo`.

    Returns
    -------
    Trace

    Raises
    ------
    InputError
        When `club` or the marks by hand cannot be used.

    Examples
    --------
    >>> trace = trace_photo(np.full((600, 800, 3), 128, np.uint8), Club(label="7", loft_deg=34))
    >>> trace.verdict.code, trace.plane.frame is None, trace.band is None
    ('no_face', True, True)
    """
    if not isinstance(club, Club):
        raise InputError(f"club is {club!r}; expected a linetilt.Club")
    *_, trace = _read(photo, club, before, corners, line)
    trace = replace(trace, verdict=decide(trace))
    return trace if trace.verdict is not None and trace.verdict.kind is None else replace(trace, mark=None)


def _refusal(trace: Trace) -> PhotoError:
    verdict = trace.verdict
    assert verdict is not None and verdict.kind is not None
    return verdict.kind(verdict.seen, trace)


def _read(photo: Any, club: Club, before: Any, corners: Any, line: Any) -> Iterator[Trace]:
    """The trace after every step, until one cannot go on."""
    try:
        picture = open_photo(photo)
    except PhotoError as refusal:
        yield Trace(PictureStep(refusal=type(refusal)(refusal.seen)))
        return
    kept, scale = kept_picture(picture)
    trace = Trace(_picture_step(picture), _kept=kept, _scale=scale)
    yield trace
    if line is None:
        trace = replace(trace, sharpness=_sharpness(picture))
        yield trace
        if trace.sharpness is not None and trace.sharpness.why is not None:
            return
    plane = _plane(picture, club, corners)
    trace = replace(trace, plane=plane)
    yield trace
    frame = plane.frame
    if frame is None:
        return
    if line is not None:
        band = BandStep(band_from_ends(picture, frame, line), by_hand=True)
    else:
        after = flatten(picture.rgb, frame)
        flat, face_before = _flat(picture, trace.sharpness, after, club, frame, before)
        trace = replace(trace, flat=flat)
        yield trace
        if flat.why is not None or flat.before_refusal is not None:
            return
        found = find_candidates(after, face_before)
        trace = replace(trace, candidates=_candidates(picture, frame, found))
        yield trace
        band = _band(after, face_before, frame, found)
    if band.band is not None:
        band = replace(band, line=_ends(picture, frame, band.band))
    trace = replace(trace, band=band)
    yield trace
    if band.band is None or band.why is not None:
        return
    yield replace(trace, mark=mark_of(picture, frame, band.band, band.by_hand))


# ---- the steps -------------------------------------------------------------------------------------------------------


def _picture_step(picture: Picture) -> PictureStep:
    height, width = picture.rgb.shape[:2]
    return PictureStep(
        width * picture.reduction,
        height * picture.reduction,
        picture.reduction,
        picture.f35_mm,
        picture.u_f35_mm,
        picture.f35_from,
    )


def _sharpness(picture: Picture) -> SharpnessStep:
    why = squeezed(picture)
    if why is not None:
        return SharpnessStep(picture.squeezed, why=why)
    return SharpnessStep(picture.squeezed, tuple(edge_sigmas(picture.rgb)))


def _plane(picture: Picture, club: Club, corners: Any) -> PlaneStep:
    if corners is not None:
        return _plane_step(picture, frame_from_corners(picture, club, corners), PlaneStep())
    found = find_face(picture, club)
    seen = PlaneStep(tries=found.tries)
    if found.frame is None:
        why = telling_try(found.tries, picture.rgb.shape[1])
        return replace(seen, why=why, taken=None if why.field is None else in_full(picture, why.field))
    return _plane_step(picture, found.frame, seen)


def _plane_step(picture: Picture, frame: FaceFrame, seen: PlaneStep) -> PlaneStep:
    ends = np.array([[[heel, up], [toe, up]] for up, heel, toe in frame.lines])
    lines = in_full(picture, frame.pixels(ends.reshape(-1, 2))).reshape(-1, 2, 2)
    return replace(seen, frame=frame, corners=in_full(picture, frame.corners), lines=lines)


def _flat(
    picture: Picture,
    sharpness: SharpnessStep | None,
    after: FlatFace,
    club: Club,
    frame: FaceFrame,
    before: Any,
) -> tuple[FlatStep, FlatFace | None]:
    """What the flat face is like, and the face before the shot on its grid."""
    sigmas = () if sharpness is None else sharpness.sigmas_px
    # where the picture is sharp, its face is
    face = tuple(face_sigmas(after)) if max(sigmas, default=0.0) > SOFT_SIGMA_PX else None
    white = float(after.white[after.field].mean()) if after.field.any() else 0.0
    step = FlatStep(after.rate, white, face, before is not None, why=blurred(sigmas, face))
    if step.why is not None or before is None:
        return step, None
    try:
        return step, _aligned_before(before, club, after, frame)
    except PhotoError as refusal:
        return replace(step, before_refusal=type(refusal)(refusal.seen)), None


def _aligned_before(before: Any, club: Club, after: FlatFace, frame: FaceFrame) -> FlatFace:
    """The face before the shot, flat on the grid of the photo after it.

    Score lines are equal, so the best of three shifts is taken.
    """
    picture = open_photo(before)
    search = find_face(picture, club)
    found = search.frame
    if found is None:
        why = telling_try(search.tries, picture.rgb.shape[1])
        raise why.reason.kind(f"the photo from before the shot cannot be used: {why.sentence}")
    looks: list[tuple[float, FlatFace]] = []
    for shift in (-1, 0, 1):
        moved = np.array([[1, 0, 0], [0, 1, shift * found.pitch_mm], [0, 0, 1.0]]) @ found.to_face
        flat = flatten(picture.rgb, frame.with_plane(moved, found.pixels_per_mm), rate=after.rate)
        a, b = after.colour[flat.field].mean(axis=1), flat.colour[flat.field].mean(axis=1)
        looks.append((float(np.corrcoef(a, b)[0, 1]) if len(a) > 100 else -1.0, flat))
    return max(looks, key=lambda look: look[0])[1]


def _candidates(picture: Picture, frame: FaceFrame, found: Candidates) -> CandidatesStep:
    """Marks, then those with even edges, then places that came to nothing, the more telling first."""
    seen: list[Candidate] = []

    def place(slope: float, toe: float, up: float, low: float, high: float) -> Floats:
        ends = np.array([[toe + slope * (v - up), v] for v in (low, high)])
        return in_full(picture, frame.pixels(ends))

    def mark(one: Followed, why: Why | None) -> Candidate:
        band = one.band
        return Candidate(
            len(seen) + 1,
            float(np.degrees(np.arctan(band.slope))),
            float(band.toe_mm),
            float(band.up_mm),
            one.merit,
            place(band.slope, band.toe_mm, band.up_mm, band.low_mm, band.high_mm),
            float(band.length_mm),
            float(band.width_mm),
            why,
        )

    for one in found.marks:
        seen.append(mark(one, None))
    for one in found.even:
        seen.append(mark(one, Why(Reason.EVEN_EDGES)))
    for rough, why in sorted(found.misses, key=lambda miss: miss[1].reason is Reason.NO_INK):
        if any(abs(rough.toe_mm - other.toe_mm) < SAME_PLACE_MM for other in seen):
            continue
        low, high = rough.up_mm - LOOKED_AT_MM / 2, rough.up_mm + LOOKED_AT_MM / 2
        line = place(rough.slope, rough.toe_mm, rough.up_mm, low, high)
        tilt = float(np.degrees(np.arctan(rough.slope)))
        seen.append(Candidate(len(seen) + 1, tilt, rough.toe_mm, rough.up_mm, np.nan, line, why=why))
    return CandidatesStep(tuple(seen))


def _band(after: FlatFace, before: FlatFace | None, frame: FaceFrame, found: Candidates) -> BandStep:
    band = choose(after, before, found)
    if isinstance(band, Why):
        return BandStep(why=band)
    # a scratch or a sign was there before the shot
    return BandStep(band, why=check_print(after, frame, band) if before is None else None)


def _ends(picture: Picture, frame: FaceFrame, band: Band) -> Array:
    ends = np.array([[band.toe_mm + band.slope * (v - band.up_mm), v] for v in (band.low_mm, band.high_mm)])
    return in_full(picture, frame.pixels(ends))
