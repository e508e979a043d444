"""What makes a mark doubtful: a table of remarks, each with its sentence, when it holds, what it does to u."""

from collections.abc import Callable
from dataclasses import dataclass, field

from .by_hand import U_POINT_PX
from .ink.band import NOISE_PULL, Band
from .photo import PHONE_F35_MM, PHONE_U_F35_MM, Picture
from .plane.frame import FaceFrame

WIDE_ANGLE_DEG = 15.0
FAINT_NOISE = 0.12  # of full ink
PATCHY_FILL = 0.5
GLARE_SHARE = 0.1
SHORT_MM = 12.0
U_COUNT = 0.7  # spacings, for every line at the bottom that may or may not be full-length


@dataclass(frozen=True)
class Seen:
    """What remarks are made from."""

    picture: Picture
    frame: FaceFrame
    band: Band
    line_by_hand: bool


@dataclass(frozen=True)
class Remark:
    """One remark.

    Attributes
    ----------
    code : str
        As in `FaceMark.flags`.
    sentence : str
        For the fitter, without a full stop.
    effect : str
        What it does to the uncertainty: "widens u …", or "nothing, look at it".
    holds : callable
        From `Seen` to bool.
    """

    code: str
    sentence: str
    effect: str
    holds: Callable[[Seen], bool] = field(repr=False)


REMARKS = (
    Remark(
        "wide_angle",
        f"the camera looked more than {WIDE_ANGLE_DEG:.0f} degrees across the face; stand squarer for a surer reading",
        "widens u by what the fit of the plane knows less from there; nothing is added",
        lambda seen: max(abs(seen.frame.pitch_deg), abs(seen.frame.yaw_deg)) > WIDE_ANGLE_DEG,
    ),
    Remark(
        "no_focal_length",
        "the photo does not say its focal length; a phone's usual one was taken, and that doubt counted",
        f"widens u by a focal length of {PHONE_F35_MM:g} ± {PHONE_U_F35_MM:g} mm (35 mm equivalent) in the plane's fit",
        lambda seen: seen.picture.f35_from != "exif",
    ),
    Remark(
        "no_length",
        "the score-line length of this club is not known, so the strike is given in score-line lengths",
        "nothing: strike and its u are in score-line lengths",
        lambda seen: not seen.frame.scaled,
    ),
    Remark(
        "faint",
        "the ink is faint against the face",
        f"widens u of the tilt: twice or more, as the root of 1 + (noise / {NOISE_PULL:g})²",
        lambda seen: seen.band.noise > FAINT_NOISE,
    ),
    Remark(
        "patchy",
        "less than half of the line took ink",
        "widens u of the tilt by what fewer edges say less; nothing is added",
        lambda seen: seen.band.fill < PATCHY_FILL,
    ),
    Remark(
        "glare",
        "a reflection covers a part of the mark",
        "nothing, look at it",
        lambda seen: seen.band.glare > GLARE_SHARE,
    ),
    Remark(
        "short",
        f"the print is shorter than {SHORT_MM:.0f} mm; a fresh, thick line prints longer",
        "widens u of the tilt by what a short line says less; nothing is added",
        lambda seen: seen.band.length_mm < SHORT_MM,
    ),
    Remark(
        "lowest_line",
        "it is not sure which score line is the lowest full-length one; strike up the face may be off by a spacing",
        f"widens u of the strike up the face by {U_COUNT:g} spacings for every such line",
        lambda seen: seen.frame.doubtful > 0,
    ),
    Remark(
        "hand_unsure",
        "could not see on which side the shaft and the toe are: make sure that the picture is not upside down or "
        "mirrored and the club's hand is right, or the lean has the wrong sign",
        "nothing, look at it: the sign of lean and strike depends on it",
        lambda seen: seen.frame.hand_unsure,
    ),
    Remark(
        "by_hand",
        "marks placed by hand were used",
        f"sets u by how well a finger places a mark: {U_POINT_PX:g} pixels of the photo at least, for each point",
        lambda seen: seen.line_by_hand or seen.frame.by_hand,
    ),
)

FLAGS = {remark.code: remark.sentence for remark in REMARKS}


def remarks_on(picture: Picture, frame: FaceFrame, band: Band, line_by_hand: bool) -> tuple[str, ...]:
    """The codes of the remarks that hold for a mark, in the order of `REMARKS`."""
    seen = Seen(picture, frame, band, line_by_hand)
    return tuple(remark.code for remark in REMARKS if remark.holds(seen))
