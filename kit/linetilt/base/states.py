"""What may become of a shot, and why it was set aside: each state and reason once, with its words."""

from dataclasses import dataclass

from .errors import InputError, PhotoError


@dataclass(frozen=True)
class State:
    """One state of a shot.

    Attributes
    ----------
    code, words : str
        As the book keeps it, and as a fitter reads it.
    meaning : str
        A sentence for the data dictionary.
    """

    code: str
    words: str
    meaning: str


TO_LOOK_AT, COUNTED, SET_ASIDE, REFUSED = "to_look_at", "counted", "set_aside", "refused"

STATES = {
    state.code: state
    for state in (
        State(TO_LOOK_AT, "to look at", "It was read, and nobody has decided on it yet."),
        State(COUNTED, "counted", "It counts: its lie in the bag where it has one, its strike in practice."),
        State(SET_ASIDE, "set aside", "Somebody left it out; the reason says why."),
        State(REFUSED, "refused", "Its photo could not be read; the reason is the refusal's code."),
    )
}


@dataclass(frozen=True)
class Reason:
    """One reason for setting a shot aside: its code, its words, and whether a fitter can choose it on a screen."""

    code: str
    words: str
    offered: bool = True


CLEAN_FACE, TAKEN_BACK, OTHER = "clean_face", "taken_back", "other"

REASONS = {
    reason.code: reason
    for reason in (
        Reason("heavy_strike", "heavy strike"),
        Reason("mat_moved", "mat moved"),
        Reason("double_print", "double print"),
        Reason("wrong_ball", "wrong ball"),
        Reason(CLEAN_FACE, "clean face"),  # a photo of the face before the ball: taken out of later ones of that club
        Reason(OTHER, "other"),  # in the fitter's own words, kept as `why`
        Reason(TAKEN_BACK, "taken back", offered=False),  # its entry was undone; its photo stays in the book
    )
}


def reason_of(said: str) -> tuple[str, str]:
    """Return a reason's code and the words beside it, from a code, a reason's words, or a fitter's own.

    Raises
    ------
    InputError
        Where nothing is said.

    Examples
    --------
    >>> reason_of("heavy strike"), reason_of("double_print"), reason_of("hit the mat's edge")
    (('heavy_strike', ''), ('double_print', ''), ('other', "hit the mat's edge"))
    """
    plain = str(said).strip()
    if not plain:
        raise InputError('the reason is empty; expected one, such as "heavy strike"; say why the shot is set aside')
    code = plain.lower().replace(" ", "_")
    return (code, "") if code in REASONS else (OTHER, plain)


def check_state(state: str, reason: str) -> None:
    """Raise InputError unless the state is known and the reason belongs to it."""
    if state not in STATES:
        raise InputError(f"state is {state!r}; expected one of {', '.join(STATES)}")
    known = {SET_ASIDE: tuple(REASONS), REFUSED: ("", *PhotoError.kinds())}.get(state, ("",))
    if reason not in known:
        expected = ", ".join(filter(None, known)) or "none"
        raise InputError(f"reason is {reason!r} for a shot that is {STATES[state].words}; expected {expected}")
