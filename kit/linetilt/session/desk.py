"""What a fitter sets up before the first ball, kept in the book entry by entry: golfer, hand, clubs, units, net, lean
of the line."""

import threading
from dataclasses import replace
from datetime import date

import pandas as pd

from ..base.bag_file import read_bag
from ..base.club import Bag, Club, club_label
from ..base.errors import InputError
from ..base.statistics import COVERAGE_FACTOR
from ..base.units import WORDS, from_mm
from ..book.schema import SESSION_SETTINGS
from ..lie.start import start_from_net
from .middle import CARRIED, opened_elsewhere, session_row

SCREEN = "setup"  # who acts, in the book's list of edits


# A golfer's usual shape of shot -> path in degrees, in-to-out minus, and what holds it 95 times in 100: common
# practice, no source. Club golfers' irons come within 6° of straight; a shape tells the side and about how much.
SHAPES = {
    "straight": (0.0, 3.0),
    "draws a little": (-2.0, 3.0),
    "draws": (-4.0, 4.0),
    "fades a little": (2.0, 3.0),
    "fades": (4.0, 4.0),
}


class Desk:
    """A golfer, bag and session of the book, and the entries that set them up.

    Every method that enters something has written it to the book when it returns. It stays with its session: where
    another one was opened elsewhere meanwhile, nothing is entered before `stay` or `follow` says whose turn it is. Its
    `lock` is for the panels on it, one of which acts at a time.

    Parameters
    ----------
    book : SessionBook
    session : int, optional
        Default: the one that this bay works in.
    """

    def __init__(self, book, session=None):
        self.book, self.lock = book, threading.RLock()
        self._watchers, self._session = [], session
        self.follow() if session is None else self.stay()

    def watch(self, callback):
        """Have `callback()` called after every entry."""
        self._watchers.append(callback)

    # Which session

    @property
    def session(self):
        """The row of `SessionBook.sessions` of this desk's session, or None."""
        try:
            return None if self._session is None else session_row(self.book, self._session)
        except InputError:  # taken back
            return None

    @property
    def elsewhere(self):
        """The row of the session that was opened elsewhere since, or None."""
        return opened_elsewhere(self.book, self._session)

    def follow(self):
        """Go on with the session that was opened last in this bay."""
        current = self.book.current_session()
        self._session = None if current is None else int(current["session_id"])
        self._tell()

    def stay(self):
        """Go on with this desk's session, which is then the one that this bay works in."""
        self.book.open_session(self._session)
        self._tell()

    def _acting(self):
        return self.book.acting(SCREEN, self._session)

    # What there is

    @property
    def golfer(self):
        """The current golfer's row of `SessionBook.golfers`, or None."""
        session = self.session
        if session is None:
            return None
        golfers = self.book.golfers().set_index("golfer_id", drop=False)
        return golfers.loc[int(session["golfer_id"])]

    @property
    def clubs(self):
        """The current bag's clubs, as `SessionBook.clubs`, or an empty DataFrame."""
        session = self.session
        return pd.DataFrame() if session is None else self.book.clubs(int(session["bag_id"]))

    def setting(self, name):
        """Return a setting of the current session (see `SessionBook.add_session`); None where it is not known, units by
        default."""
        session = self.session
        value = {"length_unit": "mm", "carry_unit": "m"}.get(name) if session is None else session[name]
        return None if value is None or pd.isna(value) else value

    def net_help(self, beside_mm=100.0):
        """Return how many degrees off the line a ball started that hit the net so far beside the aim dot; None without
        a net."""
        distance = self.setting("net_distance_mm")
        return None if distance is None else float(start_from_net(beside_mm, distance).start_deg)

    # Who

    def add_golfer(self, name, handed="right"):
        """Enter a golfer with an empty bag and a session of today."""
        with self._acting():
            golfer = self.book.add_golfer(name.strip(), handed)
        self.choose_golfer(golfer)

    def choose_golfer(self, golfer):
        """Go on with a golfer's latest session; a golfer without bag or session gets them."""
        sessions = self.book.sessions()
        own = sessions[sessions["golfer_id"] == golfer]
        if len(own):
            self._session = int(own["session_id"].iloc[-1])
            self.book.open_session(self._session)
        else:
            bags = self.book.bags()
            bags = bags[bags["golfer_id"] == golfer]
            with self.book.acting(SCREEN):
                bag = int(bags["bag_id"].iloc[-1]) if len(bags) else self.book.add_bag(golfer, [])
                self._session = self.book.add_session(
                    bag, **self._settings("length_unit", "carry_unit", "net_distance_mm")
                )
        self._tell()

    def add_session(self, place=""):
        """Begin a session of today with the same bag; units and net distance are carried over, the lean of the line is
        not."""
        bag, settings = self._bag(), self._settings(*CARRIED)
        with self._acting():
            self._session = self.book.add_session(bag, place=place, **settings)
        self._tell()

    def is_today(self):
        """True where the current session is of today."""
        session = self.session
        return session is not None and session["day"] == date.today().isoformat()

    def change_golfer(self, **values):
        """Correct the current golfer's name or hand; the clubs of the bag follow the hand."""
        self._bag()
        golfer = self.golfer
        changed = {name: value for name, value in values.items() if golfer[name] != value}
        with self._acting():
            if changed:
                self.book.change("golfer", int(golfer["golfer_id"]), **changed)
            clubs = self.clubs
            if "handed" in changed and len(clubs):
                self.book.change("club", [int(club) for club in clubs["club_id"]], handed=changed["handed"])
        self._tell()

    # Clubs

    def add_club(self, **values):
        """Enter a club, with the fields of `Club` that are known; it gets the golfer's hand."""
        bag = self._bag()
        club = Club(**{"label": "", "loft_deg": None} | values | {"handed": self.golfer["handed"]})
        with self._acting():
            self.book.add_club(bag, club)
        self._tell()

    def change_club(self, club_id, name, value):
        """Correct one field of a club; a lie from the gauge is entered as a new reading of today."""
        clubs = self.clubs.set_index("club_id")
        old = clubs.loc[club_id, name]
        if value == old or (value is None and pd.isna(old)):
            return
        if name == "gauge_lie_deg":
            if value is None:
                raise InputError(
                    "a gauge reading cannot be emptied; expected another reading; take it back with \u201cTake back "
                    "the last entry\u201d, or type the right one over it"
                )
            with self._acting():
                self.book.add_gauge_reading(self._bag(), clubs.loc[club_id, "label"], value)
        else:
            with self._acting():
                self.book.change("club", club_id, **{name: value})
        self._tell()

    def remove_club(self, club_id):
        """Take a club without shots out of the bag."""
        with self._acting():
            self.book.remove_club(self._bag(), self.clubs.set_index("club_id").loc[club_id, "label"])
        self._tell()

    def set_score_lines(self, length_mm):
        """Enter one length of the score lines for all clubs of the bag."""
        clubs = self.clubs
        if clubs.empty:
            raise InputError("the bag has no clubs yet; expected some; enter the clubs first")
        with self._acting():
            self.book.change("club", [int(club) for club in clubs["club_id"]], score_line_length_mm=length_mm)
        self._tell()

    def understand_bag(self, source):
        """Read the clubs of a table without entering anything; return (clubs that are new, as a `Bag` or None; labels
        that are there)."""
        self._bag()
        golfer, clubs = self.golfer, list(read_bag(source))
        if golfer["handed"] == "right" and any(club.handed == "left" for club in clubs):
            raise InputError(
                f"the file holds left-handed clubs, and {golfer['name']} is entered as right-handed; expected one "
                "hand; "
                "correct one of both first"
            )
        there = {club_label(label) for label in self.clubs.get("label", [])}
        new = [replace(club, handed=golfer["handed"]) for club in clubs if club_label(club.label) not in there]
        known = [club.label for club in clubs if club_label(club.label) in there]
        return Bag(new) if new else None, known

    def enter_bag(self, clubs):
        """Enter the clubs that `understand_bag` found to be new, as one entry."""
        with self._acting():
            self.book.add_clubs(self._bag(), clubs)
        self._tell()

    def load_bag(self, source):
        """Enter the clubs of a table that are not in the bag yet, as one entry; return (labels entered, labels that
        were there)."""
        new, there = self.understand_bag(source)
        if new is not None:
            self.enter_bag(new)
        return [] if new is None else new.labels, there

    # Place and line

    def set(self, **settings):
        """Enter settings of the current session."""
        self._bag()
        changed = {name: value for name, value in settings.items() if self.setting(name) != value}
        if changed:
            with self._acting():
                self.book.change("session", int(self.session["session_id"]), **changed)
            self._tell()

    def enter_lean(self, toe_side_deg, plus_minus_deg):
        """Enter the lean of the ball's line as judged by eye: degrees to the toe's side, and the range that holds it 95
        times in 100."""
        if plus_minus_deg is None or not plus_minus_deg > 0:
            raise InputError(
                f"give or take is {plus_minus_deg!r} degrees; expected more than 0, since no line stands exactly"
            )
        self.set(setup_tilt_deg=toe_side_deg, u_setup_tilt_deg=plus_minus_deg / COVERAGE_FACTOR)

    def enter_swing(self, name, value, plus_minus_deg):
        """Enter what is known of the golfer's swing, or that nothing is.

        Parameters
        ----------
        name : {"path_deg", "shaft_lean_deg"}
            Path against the target line, in-to-out minus; forward lean of the shaft at impact.
        value : float or None
            In degrees; None: not known.
        plus_minus_deg : float
            The range that holds it 95 times in 100.
        """
        if value is None:
            return self.set(**{name: None, f"u_{name}": None})
        if plus_minus_deg is None or not plus_minus_deg > 0:
            raise InputError(
                f"give or take is {plus_minus_deg!r} degrees; expected more than 0, since nobody swings alike each "
                "time; "
                "type how far off it may be"
            )
        return self.set(**{name: value, f"u_{name}": plus_minus_deg / COVERAGE_FACTOR})

    def swing_words(self):
        """Return what is known of the golfer's path and shaft, in words."""
        said = []
        for name, plus, minus, zero in (
            ("path_deg", "out-to-in", "in-to-out", "straight"),
            ("shaft_lean_deg", "shaft forward", "shaft back", "shaft upright"),
        ):
            value, doubt = self.setting(name), self.setting(f"u_{name}")
            if value is not None:
                way = zero if abs(value) < 0.05 else f"{abs(value):.1f}° {plus if value > 0 else minus}"
                said.append(f"{way}, ±{COVERAGE_FACTOR * (doubt or 0.0):.1f}°")
        return "; ".join(said) or "not known"

    def lean_words(self):
        """Return the lean of the line in words."""
        tilt, doubt = (self.setting(name) for name in ("setup_tilt_deg", "u_setup_tilt_deg"))
        if tilt is None:
            return "not checked"
        side, most = "toe" if tilt >= 0 else "heel", COVERAGE_FACTOR * (doubt or 0.0)
        return f"{abs(tilt):.1f}° to the {side}'s side, ±{most:.1f}°"

    def undo(self):
        """Take back the last entry that was made here, in this session or before it, and return what it was."""
        edit = self.book.last_edit(SCREEN, self._session)
        if edit is None:
            raise InputError(
                "there is nothing to take back here; expected an entry made in this notebook; photos and bends are "
                "taken back where they were entered"
            )
        with self._acting():
            what = self.book.undo(edit)
        if self.session is None:  # the session itself was taken back
            self.follow()
        self._tell()
        return what

    def summary(self):
        """Return what is set up, as a DataFrame with the columns what and value."""
        golfer, clubs = self.golfer, self.clubs
        if golfer is None:
            return pd.DataFrame({"what": ["golfer"], "value": ["none entered yet"]})
        net, unit = self.setting("net_distance_mm"), self.setting("carry_unit")
        rows = {
            "golfer": f"{golfer['name']}, {golfer['handed']}-handed",
            "clubs": ", ".join(clubs["label"]) or "none yet",
            "without a length of score lines": ", ".join(clubs.loc[clubs["score_line_length_mm"].isna(), "label"])
            or "none",
            "without a lie from maker and gauge": ", ".join(
                clubs.loc[clubs["lie_deg"].isna() | clubs["gauge_lie_deg"].isna(), "label"]
            )
            or "none",
            "net": "none: where the ball starts is not read on a net"
            if net is None
            else f"{from_mm(net, unit):.2f} {WORDS[unit]} from the ball",
            "path and shaft": self.swing_words(),
            "lean of the line": self.lean_words(),
        }
        return pd.DataFrame({"what": list(rows), "value": list(rows.values())})

    # Inside

    def _bag(self):
        session = self.session
        if session is None:
            raise InputError("there is no golfer in the book yet; expected one; enter the golfer first")
        return int(session["bag_id"])

    def _settings(self, *names):
        return {
            name: self.setting(name) for name in names if name in SESSION_SETTINGS and self.setting(name) is not None
        }

    def _tell(self):
        for callback in self._watchers:
            callback()
