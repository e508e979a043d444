"""What can go wrong: one short class each, with a reason code and a sentence for the fitter.

Every message says what was given, what was expected and what to do next.
"""

from typing import Any


class LinetiltError(Exception):
    """Base of every error that the kit raises on purpose."""


class InputError(LinetiltError, ValueError):
    """A number, table or choice handed to the kit cannot be used; the message names it, its unit and what is expected.

    Parameters
    ----------
    sentence : str
        "... is ...; expected ...; what to do". Where it does not say what to do, `advice` is added.
    """

    advice = "correct it and try again"

    def __init__(self, sentence: str) -> None:
        _, expected, rest = sentence.rpartition("expected")
        super().__init__(
            f"{sentence}; {self.advice}" if expected and ";" not in rest and ". " not in rest else sentence
        )


class PhotoError(LinetiltError):
    """A photo that was refused.

    Parameters
    ----------
    seen : str
        What the kit saw in this photo, as one clause without a full stop.
    trace : linetilt.reading.steps.Trace, optional
        What every step of the reading found. Its picture stays behind when the error is pickled or copied.

    Attributes
    ----------
    code : str
        Stable reason code, one of the keys of ``PhotoError.kinds()``.
    advice : str
        What to do next.
    """

    code = "photo"
    advice = "take the photo again, or place the marks by hand"

    def __init__(self, seen: str, trace: Any = None) -> None:
        self.seen = seen
        self.trace = trace
        super().__init__(seen)

    def __str__(self) -> str:
        return f"{self.seen[:1].upper()}{self.seen[1:]}. What to do: {self.advice}."

    def __reduce__(self) -> tuple[Any, ...]:  # str(error) is not the constructor's argument, so pickling is spelled out
        return type(self), (self.seen, None if self.trace is None else self.trace.slim())

    @classmethod
    def kinds(cls) -> dict[str, type["PhotoError"]]:
        """Return the refusals by reason code, as a dict of classes."""
        return {kind.code: kind for kind in cls.__subclasses__()}


class UnreadablePhoto(PhotoError):
    code = "unreadable"
    advice = "save it as JPEG, PNG or WebP and try again (HEIC needs the optional extra: pip install 'linetilt[heic]')"


class PhotoTooLarge(PhotoError):
    code = "too_large"
    advice = "use the phone's ordinary photo mode, or export a copy of at most 50 megapixels"


class NoFace(PhotoError):
    code = "no_face"
    advice = (
        "fill the picture with the face, sole at the bottom, score lines in focus, or place the four corners by hand"
    )


class FaceCutOff(PhotoError):
    code = "face_cut_off"
    advice = "move back until all score lines show from end to end, then take it again"


class NoLine(PhotoError):
    code = "no_line"
    advice = "draw a fresh, thick line on the ball, wipe the face and hit again, or place the line's two ends by hand"


class TwoLines(PhotoError):
    code = "two_lines"
    advice = "wipe the face after every ball; set this shot aside, or place the ends of the right line by hand"


class Blurred(PhotoError):
    code = "blurred"
    advice = "hold the phone still, tap on the face to focus, add light, and take it again"


class Squeezed(Blurred):
    advice = (
        "use the phone's own photo instead of a copy that a message or a website made small, or save it at a higher "
        "quality"
    )


class Mirrored(PhotoError):
    code = "mirrored"
    advice = "turn off mirroring in the camera, or set the club's hand (right or left) to match the face"


class UpsideDown(Mirrored):
    advice = "turn the picture so that the sole is at the bottom, or place the four corners by hand"


class Glare(PhotoError):
    code = "glare"
    advice = "turn the face or move the lamp until the white reflection is off the mark, then take it again"


class CrashedReader(PhotoError):
    code = "crashed"
    advice = "save the picture again from another program and try that copy, or set this photo aside"


class NotMeasured(PhotoError):
    code = "stopped"
    advice = "run the batch again; with resume= what was measured is not measured again"


class NoPlumb(PhotoError):
    code = "no_plumb"
    advice = (
        "hang a cord with its weight in the picture just behind the ball, against a plain background, or place the "
        "ends of the cord or edge by hand"
    )


class NoBall(NoFace):
    advice = (
        "go nearer, with the whole ball in the picture and its outline clear of the background, or place the ball by "
        "hand"
    )


class NoPenLine(NoLine):
    advice = "draw the line again, thick and dark, set it upright towards the camera, or place its two ends by hand"


class TwoPenLines(TwoLines):
    advice = (
        "wipe off the old line or turn the print of the ball away from the camera, or place the ends of the right line "
        "by hand"
    )


class BookError(LinetiltError):
    """A book of sessions that cannot be opened, read or written; the message says why and what to do."""


class SessionChanged(InputError):
    """A screen that was left open while another golfer or session was chosen elsewhere; nothing was written.

    Attributes
    ----------
    session, now : int
        The session that the screen works in, and the one that was opened last.
    """

    def __init__(self, session, now, golfer, golfer_now):
        self.session, self.now = session, now
        other = f"{golfer_now} was" if golfer_now != golfer else "another session was"
        super().__init__(
            f"this screen works for {golfer}, and {other} chosen elsewhere since; expected one golfer at a time; "
            "nothing was entered: choose here who is hitting"
        )
