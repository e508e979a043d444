"""The steps of a reading, each with what it found, and the Trace that holds them. Numbers, no pictures.

Places on the face are in mm as in `FaceFrame`, places in the photo in pixels (x, y) of the upright full-size photo.
"""

import base64
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from typing import Any

import cv2
import numpy as np

from ..base.errors import PhotoError
from .blur import MOST_SIGMA_PX, SOFT_SIGMA_PX
from .drawing import FIELD_INK, OTHER_INK, PRINT_INK, Canvas, Colour
from .evidence import Array, Floats, Why
from .ink.band import Band
from .mark import FaceMark
from .photo import Picture, open_photo
from .plane.face import Try
from .plane.frame import FaceFrame


@dataclass(frozen=True)
class PictureStep:
    """The file: its size and focal length, or why it cannot be opened.

    Attributes
    ----------
    width_px, height_px : int
        Of the upright full-size photo; 0 where it was not opened.
    reduction : int
        Its pixels to one of the picture that is measured.
    f35_mm, u_f35_mm : float
        Focal length as its 35 mm equivalent, and its standard uncertainty.
    f35_from : {"exif", "usual", ""}
    refusal : PhotoError or None
        What the reader of files said.
    """

    width_px: int = 0
    height_px: int = 0
    reduction: int = 1
    f35_mm: float = np.nan
    u_f35_mm: float = np.nan
    f35_from: str = ""
    refusal: PhotoError | None = None
    why: Why | None = None

    @property
    def sentence(self) -> str:
        """What this step found, for the fitter."""
        if self.refusal is not None:
            return f"picture: {self.refusal.seen}"
        said = "as the photo says" if self.f35_from == "exif" else "a phone's usual one, as the photo does not say"
        worked = f", measured at 1/{self.reduction} of that" if self.reduction > 1 else ""
        focal = f"focal length {self.f35_mm:.0f} mm (35 mm equivalent), {said}"
        return f"picture: {self.width_px} x {self.height_px} pixels{worked}; {focal}"


@dataclass(frozen=True)
class SharpnessStep:
    """How sharp the whole picture is.

    Attributes
    ----------
    squeezed : float
        As in `Picture`.
    sigmas_px : tuple of float
        Blur of the clearest upright and level edges, where there are any, in pixels of a picture 500 long.
    """

    squeezed: float
    sigmas_px: tuple[float, ...] = ()
    why: Why | None = None

    @property
    def sentence(self) -> str:
        """What this step found, for the fitter."""
        if self.why is not None:
            return f"sharpness: {self.why.sentence}"
        widest = max(self.sigmas_px, default=0.0)
        if widest <= SOFT_SIGMA_PX:
            return "sharpness: sharp"
        word = "soft" if widest <= MOST_SIGMA_PX else "blurred, the face by itself perhaps not"
        times = widest / MOST_SIGMA_PX
        return f"sharpness: {word}; its clearest edges are {times:.1f} times as wide as may be"


@dataclass(frozen=True)
class PlaneStep:
    """Where the score lines are, and with them the plane of the face.

    Attributes
    ----------
    frame : FaceFrame or None
        In pixels of the picture that is measured.
    corners : ndarray, shape (4, 2), or None
        Low heel, low toe, high toe, high heel of the full-length score lines.
    lines : ndarray, shape (N, 2, 2), or None
        Heel and toe end of every score line, from the lowest up.
    taken : ndarray, shape (4, 2), or None
        Where no plane was found: corners of what was taken for the field of score lines.
    tries : tuple of Try
        The stripes that were followed, in order.
    """

    frame: FaceFrame | None = field(default=None, repr=False)
    corners: Floats | None = field(default=None, repr=False, compare=False)
    lines: Floats | None = field(default=None, repr=False, compare=False)
    taken: Floats | None = field(default=None, repr=False, compare=False)
    tries: tuple[Try, ...] = ()
    why: Why | None = None

    @property
    def sentence(self) -> str:
        """What this step found, for the fitter."""
        frame = self.frame
        if frame is None:
            why = "not found" if self.why is None else self.why.sentence
            return f"score lines: {why}; {len(self.tries)} sets of stripes were followed"
        length = f"{frame.length_mm:g} mm" if frame.scaled else "an unknown length"
        by_hand = " from the corners placed by hand" if frame.by_hand else ""
        return (
            f"score lines: {sum(frame.full)} of {len(frame.full)} found are full-length{by_hand}, "
            f"{frame.pitch_mm:.2f} mm apart for {length}; the camera looked {abs(frame.yaw_deg):.0f}° across and "
            f"{abs(frame.pitch_deg):.0f}° up or down the face"
        )


@dataclass(frozen=True)
class FlatStep:
    """The face laid flat.

    Attributes
    ----------
    rate : float
        Samples a mm.
    white : float
        Share of the field of score lines that is burnt out.
    sigmas_px : tuple of float or None
        Blur of the clearest edges of the face alone, as in `SharpnessStep`; None where the picture is sharp, and the
        face by itself was not looked at.
    before : bool
        Whether a photo from before the shot was laid beside it.
    before_refusal : PhotoError or None
        Why that photo cannot be used.
    """

    rate: float
    white: float
    sigmas_px: tuple[float, ...] | None = None
    before: bool = False
    before_refusal: PhotoError | None = None
    why: Why | None = None

    @property
    def sentence(self) -> str:
        """What this step found, for the fitter."""
        if self.before_refusal is not None:
            return f"flat face: {self.before_refusal.seen}"
        if self.why is not None:
            return f"flat face: {self.why.sentence}"
        beside = ", beside the same face before the shot" if self.before else ""
        return f"flat face: {self.rate:.1f} samples to a millimetre{beside}; {100 * self.white:.0f} % is burnt out"


@dataclass(frozen=True)
class Candidate:
    """A place on the face that stands out.

    Attributes
    ----------
    number : int
        From 1; the first is the likeliest print.
    tilt_deg, toe_mm, up_mm : float
        Its axis.
    merit : float
        How much it stands out; NaN where no band could be fitted.
    line : ndarray, shape (2, 2)
        Its lower and upper end; of a place without a band the 14 mm that were looked at.
    length_mm, width_mm : float
        NaN where no band could be fitted.
    why : Why or None
        Why it is no print; None for what could be one.
    """

    number: int
    tilt_deg: float
    toe_mm: float
    up_mm: float
    merit: float
    line: Floats = field(repr=False, compare=False)
    length_mm: float = np.nan
    width_mm: float = np.nan
    why: Why | None = None


@dataclass(frozen=True)
class CandidatesStep:
    """Every place on the face that stands out, the likeliest print first."""

    candidates: tuple[Candidate, ...] = ()
    why: Why | None = None

    @property
    def sentence(self) -> str:
        """What this step found, for the fitter."""
        likely = [candidate for candidate in self.candidates if candidate.why is None]
        said = f"ink: {len(self.candidates)} {'place stands' if len(self.candidates) == 1 else 'places stand'} out"
        if not likely:
            return f"{said}, none of them could be the print" if self.candidates else "ink: nothing stands out"
        first = likely[0]
        return (
            f"{said}, {len(likely)} could be the print; number {first.number} most, "
            f"{first.length_mm:.0f} mm long and {first.width_mm:.1f} mm wide"
        )


@dataclass(frozen=True)
class BandStep:
    """The print, or why none of the candidates is it.

    Attributes
    ----------
    band : Band or None
    by_hand : bool
        True where the line was placed by hand.
    line : ndarray, shape (2, 2), or None
        Its lower and upper end.
    """

    band: Band | None = None
    by_hand: bool = False
    line: Floats | None = field(default=None, repr=False, compare=False)
    why: Why | None = None

    @property
    def sentence(self) -> str:
        """What this step found, for the fitter."""
        if self.why is not None:
            return f"print: {self.why.sentence}"
        if self.band is None:
            return "print: not looked for"
        tilt = np.degrees(np.arctan(self.band.slope))
        by_hand = " as placed by hand" if self.by_hand else ""
        return f"print: leans {tilt:+.1f}°{by_hand}, {self.band.length_mm:.0f} mm long"


@dataclass(frozen=True)
class Verdict:
    """What the reading comes to.

    Attributes
    ----------
    kind : type of PhotoError or None
        The refusal; None where the photo is answered.
    step : str
        The step that decided, a field of `Trace`.
    seen : str
        What was seen there, as one clause; empty where the photo is answered.
    why : Why or None
        The reason with its numbers; None where the photo is answered, or a file could not be opened.
    """

    kind: type[PhotoError] | None
    step: str
    seen: str
    why: Why | None = None

    @property
    def code(self) -> str:
        """Reason code of the refusal, empty where the photo is answered."""
        return "" if self.kind is None else self.kind.code

    @property
    def sentence(self) -> str:
        """What the reading comes to, for the fitter."""
        return "verdict: measured" if self.kind is None else f"verdict: {self.kind(self.seen)}"


Step = PictureStep | SharpnessStep | PlaneStep | FlatStep | CandidatesStep | BandStep
STEPS = ("picture", "sharpness", "plane", "flat", "candidates", "band")


@dataclass(frozen=True)
class Figure:
    """A picture with what was found drawn on it, and a sentence for every step; shows itself in a notebook."""

    rgb: Array = field(repr=False)
    sentences: tuple[str, ...]

    def jpeg(self) -> bytes:
        """The picture as a JPEG file."""
        return bytes(cv2.imencode(".jpg", np.ascontiguousarray(self.rgb[..., ::-1]), [cv2.IMWRITE_JPEG_QUALITY, 88])[1])

    def _repr_png_(self) -> bytes:
        return bytes(cv2.imencode(".png", np.ascontiguousarray(self.rgb[..., ::-1]))[1])

    def _repr_html_(self) -> str:
        said = "".join(f"<li>{_escaped(sentence)}</li>" for sentence in self.sentences)
        data = base64.b64encode(self.jpeg()).decode("ascii")
        return f"<img alt='photo with what was found' src='data:image/jpeg;base64,{data}'><ol>{said}</ol>"


def _escaped(text: str) -> str:
    return text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")


@dataclass(frozen=True)
class Trace:
    """What every step of a reading found, as far as it came; a step that was not reached is None.

    Attributes
    ----------
    picture : PictureStep
    sharpness : SharpnessStep or None
        None as well where the line was placed by hand: then no edge is looked for.
    plane : PlaneStep or None
    flat, candidates : FlatStep, CandidatesStep, or None
        None as well where the line was placed by hand.
    band : BandStep or None
    verdict : Verdict or None
    mark : FaceMark or None
        None where the photo is refused.

    Notes
    -----
    The small picture that `figure` draws on stays behind when a trace is pickled or copied.
    """

    picture: PictureStep
    sharpness: SharpnessStep | None = None
    plane: PlaneStep | None = None
    flat: FlatStep | None = None
    candidates: CandidatesStep | None = None
    band: BandStep | None = None
    verdict: Verdict | None = None
    mark: FaceMark | None = None
    _kept: Array | None = field(default=None, repr=False, compare=False)
    _scale: float = field(
        default=1.0, repr=False, compare=False
    )  # pixels of the kept picture to one of the full-size photo

    def steps(self) -> Iterator[tuple[str, Step]]:
        """Name and finding of every step that was reached, in order."""
        for name in STEPS:
            step: Step | None = getattr(self, name)
            if step is not None:
                yield name, step

    @property
    def sentences(self) -> tuple[str, ...]:
        """A sentence for every step that was reached, the verdict last."""
        said = [step.sentence for _, step in self.steps()]
        return tuple(said if self.verdict is None else [*said, self.verdict.sentence])

    def slim(self) -> "Trace":
        """This trace without its picture."""
        return replace(self, _kept=None)

    def __getstate__(self) -> dict[str, Any]:
        return self.__dict__ | {"_kept": None}

    def figure(self, photo: Any = None, max_side: int = 1280) -> Figure:
        """Draw what was found: score lines, the field, the candidates with their numbers, the print.

        Parameters
        ----------
        photo : path, bytes or ndarray, optional
            The photo that was read; needed for the picture behind the lines where the trace came from another process.
        max_side : int
            Most on the long side of what is drawn, in pixels.

        Returns
        -------
        Figure
        """
        canvas = self._canvas(photo, max_side)
        if self.plane is not None and self.plane.frame is not None:
            _draw_field(canvas, self.plane)
        elif self.plane is not None and self.plane.taken is not None:
            canvas.stroke(self.plane.taken, OTHER_INK, closed=True)
        for candidate in reversed(self.candidates.candidates if self.candidates is not None else ()):
            canvas.stroke(candidate.line, PRINT_INK if candidate.why is None else OTHER_INK)
            _draw_number(canvas, candidate)
        if self.band is not None and self.band.line is not None:
            canvas.stroke(self.band.line, PRINT_INK)
        return Figure(canvas.rgb, self.sentences)

    def _canvas(self, photo: Any, max_side: int) -> Canvas:
        if photo is not None:
            return Canvas(photo if isinstance(photo, Picture) else open_photo(photo), max_side)
        if self._kept is not None:
            return Canvas(self._kept, max_side, self._scale)
        size = max(self.picture.height_px, 300), max(self.picture.width_px, 400)
        scale = min(1.0, max_side / max(size))
        grey = np.full((round(size[0] * scale), round(size[1] * scale), 3), 90, np.uint8)
        return Canvas(grey, max_side, scale)


def _draw_field(canvas: Canvas, plane: PlaneStep) -> None:
    if plane.frame is None or plane.lines is None or plane.corners is None:
        return
    for line, full in zip(plane.lines, plane.frame.full):
        canvas.stroke(line, FIELD_INK if full else (150, 150, 150))
    canvas.stroke(plane.corners, FIELD_INK, closed=True)


def _draw_number(canvas: Canvas, candidate: Candidate) -> None:
    """The number a little above the upper end."""
    low, high = candidate.line
    colour: Colour = PRINT_INK if candidate.why is None else OTHER_INK
    canvas.label(high + 0.15 * (high - low), str(candidate.number), colour)
