"""The decision: from what the steps found to an answer, or a refusal that names the most telling thing seen."""

from dataclasses import replace

from ..base.errors import PhotoError
from .blur import blurred, soft
from .evidence import Reason, Why
from .plane.face import Try
from .steps import STEPS, CandidatesStep, Trace, Verdict

U_TILT_MOST_DEG = 2.0  # a lean less certain than this is refused
# Of weaker stripes than the strongest these say nothing: anything runs out of a picture.
ONLY_OF_STRONGEST = (Reason.OUT_OF_PICTURE, Reason.UPSIDE_DOWN, Reason.MIRRORED)
# What stripes are like whose one end lies beyond the picture, if they reach its edge to this share of its width.
CUT_SHORT = (Reason.WRONG_SPACING, Reason.FEW_PIECES)
SHORT_TIMES, AT_EDGE = 9.0, 0.015
# No print was found, for a reason that a soft picture explains as well.
LOST_IN_BLUR = (
    Reason.NO_INK,
    Reason.NOT_A_LINE,
    Reason.FAINT_MARK,
    Reason.WEAK_MARK,
    Reason.EVEN_EDGES,
    Reason.EDGE_OF_ELSE,
    Reason.THROUGH_LINES,
    Reason.TOO_WIDE,
    Reason.UNSURE_LEAN,
)


def decide(trace: Trace) -> Verdict:
    """Answer or refuse.

    Parameters
    ----------
    trace : Trace
        As far as the steps came, with the mark that they make; its verdict is not looked at.

    Returns
    -------
    Verdict
    """
    if trace.picture.refusal is not None:
        return _as_said(trace.picture.refusal, "picture")
    if trace.flat is not None and trace.flat.before_refusal is not None:
        return _unless_blurred(trace, trace.flat.before_refusal, "flat")
    step, why = _stopped_at(trace)
    if why is None:
        return Verdict(None, "mark", "")
    blur = _blur(trace, why)
    if blur is not None:
        step, why = "sharpness", blur
    return Verdict(why.reason.kind, step, why.sentence, why)


def telling_try(tries: tuple[Try, ...], width_px: int) -> Why:
    """What to say of a picture without a plane: of the stripes that were followed, what the clearest ones are like.

    Parameters
    ----------
    tries : tuple of Try
    width_px : int
        Of the picture that was searched: lines too short for their spacing that end at its edge are cut off there.
    """
    strongest = [t.why for t in tries if t.rank == 0 and t.why is not None and t.why.reason in ONLY_OF_STRONGEST]
    others = [t.why for t in tries if t.why is not None and t.why.reason not in (*ONLY_OF_STRONGEST, Reason.NO_STRIPES)]
    why = next(iter([*strongest, *others]), Why(Reason.NO_STRIPES))
    return replace(why, reason=Reason.OUT_OF_PICTURE, numbers=()) if _cut_off(why, width_px) else why


def _cut_off(why: Why, width_px: int) -> bool:
    """True where what was taken for the field of score lines is too short, or lacks its ends, and lies at the edge."""
    if why.field is None or why.reason not in CUT_SHORT:
        return False
    if why.reason is Reason.WRONG_SPACING and dict(why.numbers)["times"] > SHORT_TIMES:
        return False
    left, right = why.field[:, 0].min(), width_px - 1 - why.field[:, 0].max()
    return bool(min(left, right) < AT_EDGE * width_px)


def telling_place(step: CandidatesStep) -> Why:
    """What to say of a face without a print: what the first place is like that is like something."""
    whys = (candidate.why for candidate in step.candidates)
    return next((why for why in whys if why is not None and why.reason is not Reason.NO_INK), Why(Reason.NO_INK))


def _stopped_at(trace: Trace) -> tuple[str, Why | None]:
    """The step that could not go on, and why; "mark" and None where all could, and the lean is certain enough."""
    for name in STEPS:
        step = getattr(trace, name)
        why: Why | None = None if step is None else step.why
        if why is not None and why.reason is Reason.NO_INK and trace.candidates is not None:
            why = telling_place(trace.candidates)
        if why is not None:
            return name, why
    by_hand = trace.band is not None and trace.band.by_hand
    if trace.mark is not None and trace.mark.u_tilt_deg > U_TILT_MOST_DEG and not by_hand:
        return "mark", Why.of(Reason.UNSURE_LEAN, deg=2 * trace.mark.u_tilt_deg)
    return "mark", None


def _blur(trace: Trace, why: Why) -> Why | None:
    """Blur where it is the reason behind another one; None where it is not, or where it was said already."""
    if trace.sharpness is None or why.reason in (Reason.SQUEEZED, Reason.BLURRED):
        return None
    sigmas = trace.sharpness.sigmas_px
    found = blurred(sigmas)
    if found is None and why.reason in LOST_IN_BLUR and trace.flat is not None:
        found = soft(sigmas, trace.flat.sigmas_px)
    return found


def _as_said(refusal: PhotoError, step: str) -> Verdict:
    return Verdict(type(refusal), step, refusal.seen)


def _unless_blurred(trace: Trace, refusal: PhotoError, step: str) -> Verdict:
    found = None if trace.sharpness is None else blurred(trace.sharpness.sigmas_px)
    if found is None:
        return _as_said(refusal, step)
    return Verdict(found.reason.kind, "sharpness", found.sentence, found)
