"""What each exported column is: its type and its description, taken from the docstrings of the code where it is
described there."""

import re
from inspect import getdoc

from ..base.club import Club
from ..base.states import REASONS, STATES
from ..lie.ball import LieReading
from ..reading.mark import FaceMark
from ..words.plans import OUTCOMES

_ENTRY = re.compile(r"^(\w+(?:, \w+)*) : (.+)\n((?:    .+\n?|\n(?=    ))+)", re.MULTILINE)
_LIE = "95 % interval of the lie error, degrees"


def described(thing):
    """Return the parameters and attributes that an object's docstring (numpydoc) describes, as a dict of name and
    sentence."""
    found = {}
    for names, _, text in _ENTRY.findall(getdoc(thing) + "\n"):
        for name in names.split(", "):
            found.setdefault(name, " ".join(text.split()))
    return found


_CLUB, _READING, _MARK = described(Club), described(LieReading), described(FaceMark)

_PLAN = {
    "outcome": ("string", "What to do: " + "; ".join(f"{one.code}: {one.words}" for one in OUTCOMES.values()) + "."),
    "bend_deg": ("number", "Bend asked for, upright positive, in degrees."),
    "limit": ("string", "What bound it: head, cap or rules."),
    "helps": ("number", "Probability that the bend helps."),
    "within_one_after": ("number", "Probability that the club lies within 1 degree of level after it."),
    "hands_lower_mm": ("number", "The other answer: how far to lower the hands, in mm."),
    "longer_in": ("number", "Or how much longer the club, in inches."),
    "lie_now_deg": ("number", "The club's lie angle before the bend, in degrees."),
    "lie_after_deg": ("number", "And after it, in degrees."),
    "reason": ("string", "Why, in words."),
}

# A table's columns in order: type as in a Table Schema, and description. "id" columns are whole numbers that are never
# used twice.
TABLES = {
    "golfers": {
        "golfer_id": ("integer", "The golfer."),
        "name": ("string", "The golfer's name, or a pseudonym."),
        "handed": ("string", "The hand the golfer plays: right or left."),
        "note": ("string", "Free text."),
    },
    "bags": {
        "bag_id": ("integer", "The bag."),
        "golfer_id": ("integer", "Whose bag it is."),
        "name": ("string", "The bag's name."),
        "note": ("string", "Free text."),
    },
    "clubs": {
        "club_id": ("integer", "The club, as it is now: bends done count."),
        "bag_id": ("integer", "The bag that it is in."),
        **{
            name: (
                "boolean" if name == "from_set" else "string" if name in ("label", "handed", "head") else "number",
                text,
            )
            for name, text in (_CLUB | {"handed": "The hand it is made for: right or left."}).items()
        },
    },
    "gauge_readings": {
        "gauge_id": ("integer", "The gauge reading."),
        "club_id": ("integer", "The club."),
        "day": ("date", "When it was read."),
        "gauge_lie_deg": ("number", _CLUB["gauge_lie_deg"]),
    },
    "sessions": {
        "session_id": ("integer", "The session."),
        "bag_id": ("integer", "The bag that was hit."),
        "golfer_id": ("integer", "Who hit it."),
        "day": ("date", "When."),
        "place": ("string", "Where."),
        "retest_of": ("integer", "The session that this one tests again, if any."),
        "net_distance_mm": ("number", "From the ball to the net, in mm."),
        "setup_tilt_deg": ("number", "Lean of the ball's line before the hit, to the toe's side positive, in degrees."),
        "u_setup_tilt_deg": ("number", "Its standard uncertainty, in degrees."),
        "note": ("string", "Free text."),
    },
    "shots": {
        "shot_id": ("integer", "The shot."),
        "session_id": ("integer", "The session."),
        "club_id": ("integer", "The club."),
        "number": ("integer", "Its place in the order of hitting within the session, from 1."),
        "at": ("datetime", "When it was entered, UTC."),
        "photo": ("string", "Name of its photo in the book's photo folder: the SHA-256 of the file."),
        "tilt_deg": ("number", f"{_MARK['tilt_deg']} Degrees, top towards the toe positive."),
        "u_tilt_deg": ("number", "Its standard uncertainty, in degrees."),
        "strike_toe_mm": ("number", "Where the ink is, towards the toe from the middle of the score lines, in mm."),
        "u_strike_toe_mm": ("number", "Its standard uncertainty, in mm."),
        "strike_up_mm": ("number", "Where the ink is, up the face from the lowest full score line, in mm."),
        "u_strike_up_mm": ("number", "Its standard uncertainty, in mm."),
        "line_width_mm": ("number", "Width of the printed line, in mm."),
        "u_line_width_mm": ("number", "Its standard uncertainty, in mm."),
        "remarks": (
            "string",
            "What makes the mark doubtful, separated by blanks: keys of linetilt.reading.mark.FLAGS, which holds a "
            "sentence for each.",
        ),
        "score_line_length_mm": ("number", "Length of a full score line with which its photo was measured, in mm."),
        "kit": ("string", "Version of the kit that measured it."),
        "net_left_mm": ("number", "Where it hit the net, left of the aim dot seen from behind, in mm."),
        "net_distance_mm": ("number", "From the ball to the net where that was not the session's, in mm."),
        "state": (
            "string",
            "What became of it: " + "; ".join(f"{state.code}: {state.meaning}" for state in STATES.values()),
        ),
        "reason": (
            "string",
            "Why it was set aside (" + ", ".join(REASONS) + "), or the code of a refused photo.",
        ),
        "counted": ("boolean", "False for a shot that was set aside, or that has no lie reading."),
        "why": ("string", "The fitter's own words on that, or what a refused photo showed."),
        "note": ("string", "Free text."),
    },
    "readings": {
        "shot_id": ("integer", "The shot that was read."),
        "lie_error_deg": ("number", _READING["lie_error_deg"]),
        "u_lie_error_deg": ("number", "Standard uncertainty of the lie error, in degrees."),
        "heading_known": ("boolean", _READING["heading_known"]),
        "start_deg": ("number", "Where the ball started against the target line, closed side positive, in degrees."),
        "u_start_deg": ("number", "Its standard uncertainty, in degrees."),
    },
    "budget": {
        "shot_id": ("integer", "The shot whose reading this is a part of."),
        "of": ("string", "What the budget is of: its lie or its mark."),
        "quantity": ("string", "Which quantity of a mark: tilt, strike_toe or strike_up; empty for a lie."),
        "component": ("string", "What is uncertain."),
        "value": ("number", "Its value, in its unit."),
        "unit": ("string", "Unit of value and u."),
        "u": ("number", "Its standard uncertainty, in its unit."),
        "sensitivity": ("number", "Change of the result for each unit of it."),
        "contribution_deg": ("number", "Sensitivity times u, as a size, in degrees."),
        "share": ("number", "Its share of the result's variance; the shares of a budget's quantity add up to 1."),
    },
    "estimates": {
        "session_id": ("integer", "The session that the estimate is made from."),
        "club_id": ("integer", "The club, as it was then."),
        "balls": ("integer", "Balls of this club that counted."),
        "lie_error_deg": (
            "number",
            "Estimated lie error from all balls of the session, too upright positive, in degrees.",
        ),
        "u_lie_error_deg": ("number", "Its standard uncertainty, in degrees."),
        "low_deg": ("number", f"Lower end of the {_LIE}."),
        "high_deg": ("number", f"Upper end of the {_LIE}."),
        "settled": ("boolean", "Whether the club needs no more balls."),
        "within_half": ("number", "Probability that the club, as it was, lies within 0.5 degrees of level."),
        "within_one": ("number", "Probability that the club, as it was, lies within 1 degree of level."),
        "trend_deg": ("number", "The golfer's trend over the set at this club, in degrees."),
        "own_deg": ("number", "What is left for the golfer with this club beside trend and gauge, in degrees."),
        "u_own_deg": ("number", "Its standard uncertainty, in degrees."),
        "gauge_deg": ("number", "How far the club itself was from the maker's figure, upright positive, in degrees."),
        "strike_toe_mm": ("number", "Mean of its strikes towards the toe, in mm."),
        "strike_toe_sd_mm": ("number", "Standard deviation of its strikes across the face, in mm."),
        "strike_up_mm": ("number", "Mean of its strikes up the face, in mm."),
        "strike_up_sd_mm": ("number", "Standard deviation of its strikes up the face, in mm."),
    },
    "plans": {
        "session_id": ("integer", "The session that it follows from."),
        "club_id": ("integer", "The club."),
        **_PLAN,
        "wanted_deg": ("number", "Bend that it would ask for without limits, in degrees."),
        "done_deg": ("number", "Bends done since its balls were hit, in degrees."),
        "lie_error_deg": ("number", "Lie error now, with the bends done since, too upright positive, in degrees."),
        "low_deg": ("number", f"Lower end of the {_LIE} now."),
        "high_deg": ("number", f"Upper end of the {_LIE} now."),
    },
    "plans_handed_out": {
        "plan_id": ("integer", "The plan that was handed out."),
        "session_id": ("integer", "The session that it was made from."),
        "club_id": ("integer", "The club."),
        "at": ("datetime", "When it was handed out, UTC."),
        "kit": ("string", "Version of the kit that made it."),
        **_PLAN,
        "note": ("string", "Free text."),
    },
    "bends": {
        "bend_id": ("integer", "The bend."),
        "club_id": ("integer", "The club."),
        "day": ("date", "When it was done."),
        "bend_deg": ("number", "Bend that was done, upright positive, in degrees."),
        "note": ("string", "Free text."),
    },
}
KEYS = {
    "golfers": "golfer_id",
    "bags": "bag_id",
    "clubs": "club_id",
    "gauge_readings": "gauge_id",
    "sessions": "session_id",
    "shots": "shot_id",
    "readings": "shot_id",
    "bends": "bend_id",
}
OWNERS = {"golfer_id": "golfers", "bag_id": "bags", "club_id": "clubs", "session_id": "sessions", "shot_id": "shots"}
PERSONAL = (
    "name",
    "note",
    "place",
    "why",
    "photo",
)  # left empty (a golfer's name: replaced) where pseudonyms are asked for
