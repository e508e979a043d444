"""Why a step of the reading could not go on: one table of reasons, each with its refusal and its sentence."""

import dataclasses
from dataclasses import dataclass
from enum import Enum
from typing import Any

import numpy as np
import numpy.typing as npt

from ..base.errors import (
    Blurred,
    FaceCutOff,
    Glare,
    Mirrored,
    NoFace,
    NoLine,
    PhotoError,
    Squeezed,
    TwoLines,
    UpsideDown,
)

Array = npt.NDArray[Any]
Floats = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]


class Reason(Enum):
    """What a step saw that it could not go on with: the refusal it may lead to, and the sentence for the fitter."""

    # sharpness
    SQUEEZED = Squeezed, "the file was squeezed so hard that the edges of the print are guesswork"
    BLURRED = (
        Blurred,
        "the picture is blurred: even its clearest edges are {times:.1f} times as wide as those that a print can be "
        "read between",
    )
    SOFT = Blurred, "the picture is soft, shaken or out of focus, and no print can be told from its surroundings"
    # the plane of the face
    NO_STRIPES = NoFace, "no set of score lines was found: nothing long, parallel and evenly spaced stands out"
    FEW_STRIPES = NoFace, "the clearest stripes in the picture are fewer than four; a face has more score lines"
    FAINT_STRIPES = NoFace, "the clearest stripes in the picture are too faint to be told from score lines"
    ENDS_UNCLEAR = (
        NoFace,
        "the clearest stripes in the picture do not end on an upright edge on each side, as score lines do; a "
        "reflection, dirt or boards behind the face can hide where they end",
    )
    OUT_OF_PICTURE = FaceCutOff, "the score lines run out of the picture"
    WRONG_SPACING = (
        NoFace,
        "the clearest stripes in the picture are {times:.0f} times as long as they are apart, score lines 9 to 22 "
        "times: they are no score lines, or a reflection, dirt or boards behind the face hide where they end",
    )
    OTHER_SPACING = (
        NoFace,
        "the clearest stripes in the picture are {mm:.1f} mm apart if they are {length_mm:g} mm long; this club's "
        "score lines are {club_mm:g} mm apart: another club, or a reflection hides where they end",
    )
    CROWDED = NoFace, "the clearest stripes in the picture are too close together to be score lines"
    FEW_PIECES = NoFace, "too few pieces of score lines were found"
    NO_PLANE = NoFace, "the clearest stripes in the picture do not lie in one plane"
    UNEVEN = NoFace, "the clearest stripes in the picture are too uneven to be score lines"
    SCATTERED_ENDS = (
        NoFace,
        "the ends of the clearest stripes in the picture scatter by {mm:.1f} mm; score lines end on one upright edge "
        "on each side",
    )
    TOO_LARGE = NoFace, "the clearest stripes would be larger than the picture"
    FEW_LINES = (
        NoFace,
        "only {found:.0f} score lines were found, {full:.0f} of them full-length; at least {least:.0f} are needed, 4 "
        "of them full-length",
    )
    RUN_ON = NoFace, "the clearest stripes in the picture run on beyond where score lines would end"
    SLANTED = NoFace, "the face seems to be seen {deg:.0f} degrees from the side; 20 is the most"
    ROUGH = NoFace, "the clearest stripes in the picture are uneven by {mm:.2f} mm; score lines are not"
    SMALL = NoFace, "the face is too small in the picture: {pixels_per_mm:.1f} pixels to a millimetre, 4.5 are needed"
    UPSIDE_DOWN = UpsideDown, "the outline of the face has its upper edge at the bottom: the picture is upside down"
    MIRRORED = (
        Mirrored,
        "the outline of the face has its toe on the heel's side: a mirror image, or a club of the other hand",
    )
    # ink
    NO_INK = NoLine, "no printed line was found on the face"
    NOT_A_LINE = (
        NoLine,
        "what stands out on the face is {length_mm:.0f} mm long and {width_mm:.1f} mm wide, not a printed line",
    )
    FAINT_MARK = NoLine, "the mark is too faint to measure"
    COMMON_COLOUR = NoLine, "rust, dirt or worn finish of the mark's colour lies all about it"
    GLARE_ON_FACE = Glare, "a reflection covers much of the face, and no mark was found beside it"
    GLARE_ON_MARK = Glare, "a reflection covers the mark"
    EVEN_EDGES = (
        NoLine,
        "what looks like a print has even edges; dimples leave a print's edges bitten, those of a scratch, a shadow or "
        "a sign are not",
    )
    THROUGH_LINES = (
        NoLine,
        "what looks like a print runs through the score lines; a print leaves them bare, a scratch, a shadow or a sign "
        "does not",
    )
    EDGE_OF_ELSE = (
        NoLine,
        "what looks like a print is the edge of something else: the face has one colour on its heel side and another "
        "on its toe side",
    )
    RIVALS = NoLine, "more than one mark on the face could be the print"
    WEAK_MARK = NoLine, "the mark is too faint to measure, or another lies beside it"
    SECOND_PRINT = TwoLines, "two printed lines lie on the face"
    TOO_WIDE = TwoLines, "the mark is too wide or too hollow for one pen line; two prints may lie on each other"
    DARK_PART_LEANS = (
        TwoLines,
        "the dark part of the mark leans otherwise than the whole of it; two prints, or one not wiped off, may lie on "
        "each other",
    )
    UNSURE_LEAN = NoLine, "the print is too patchy or faint: its lean is only known to {deg:.0f} degrees either way"

    def __init__(self, kind: type[PhotoError], sentence: str) -> None:
        self.kind = kind
        self.sentence = sentence


@dataclass(frozen=True)
class Why:
    """A reason with the numbers seen.

    Attributes
    ----------
    reason : Reason
    numbers : tuple of (str, float)
        By name, for the reason's sentence.
    field : ndarray, shape (4, 2), or None
        Corners of what was taken for the field of score lines, in pixels of the picture that is measured.

    Examples
    --------
    >>> Why.of(Reason.SLANTED, deg=41.2).sentence
    'the face seems to be seen 41 degrees from the side; 20 is the most'
    """

    reason: Reason
    numbers: tuple[tuple[str, float], ...] = ()
    field: Floats | None = dataclasses.field(default=None, repr=False, compare=False)

    @classmethod
    def of(cls, reason: Reason, **numbers: float) -> "Why":
        """A reason with its numbers by name."""
        return cls(reason, tuple((name, float(value)) for name, value in numbers.items()))

    @property
    def sentence(self) -> str:
        """What was seen, as one clause without a full stop."""
        return self.reason.sentence.format(**dict(self.numbers))
