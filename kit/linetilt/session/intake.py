"""The photos of a session: from a folder or an upload into the book, measured, then counted or set aside. No widgets
here."""

import threading
from collections import Counter
from collections.abc import Callable
from contextlib import AbstractContextManager
from dataclasses import dataclass
from os import PathLike
from pathlib import Path
from typing import Any

import cv2
import pandas as pd

from ..base.bag_file import read_bag
from ..base.club import Bag
from ..base.errors import InputError, LinetiltError, PhotoError
from ..base.states import CLEAN_FACE, COUNTED, REFUSED, TO_LOOK_AT, reason_of
from ..book.book import SessionBook
from ..lie.balls import lie_readings
from ..lie.start import StartDirection, start_from_net
from ..reading.drawing import draw_kept
from ..reading.mark import FaceMark
from ..reading.photo import open_photo
from ..reading.pipeline import measure_photo, trace_photo
from ..reading.steps import Trace
from ..words.shots import refusal_words, state_words
from .middle import session_shots, shared_facts
from .photo_files import PhotoFiles, photo_folder
from .photo_names import club_from_name, counting, read_shot_list

NEW = "new"  # the state of a photo that is in no book yet; the others are those of shots
SCREEN = "photos"  # who acts, in the book's list of edits
FOLDER = "photo folder"  # the name of a session's setting
NO_PHOTO = ("unreadable", "too_large")  # nothing that is worth keeping in the book
PICTURE_PX = 1600


@dataclass(frozen=True)
class Entry:
    """A photo of the session.

    Attributes
    ----------
    name : str
        The file's path within its folder.
    path : Path
    club : str or None
        Label; None where neither list, folder, name nor fitter says it.
    state : {"new", "refused", "to_look_at", "counted", "set_aside"}
    words : str
        The same as a fitter reads it; of a shot that was set aside, the reason.
    why : str
        Why it was refused, and what to do.
    shot : int or None
        Its id in the book, once it is there.
    """

    name: str
    path: Path
    club: str | None
    state: str
    words: str = NEW
    why: str = ""
    shot: int | None = None


class PhotoIntake:
    """What happens to the photos of one session. Every decision is in the book when its method returns.

    Parameters
    ----------
    book : SessionBook
    session : int
    folder : path, optional
        Where photos arrive; its own folders are looked into as well. Default: what was said last for this session, see
        `watch`.
    shot_list : path or DataFrame, optional
        A row a photo: `photo` (its path, or the end of it), and any of `club`, `net_left_mm` and `net_distance_mm` (see
        `start_from_net`; the distance is else the session's).
    measure : callable
        As `measure_photo`.

    Raises
    ------
    InputError
    """

    def __init__(
        self,
        book: SessionBook,
        session: int,
        folder: str | PathLike[str] | None = None,
        *,
        shot_list: Any = None,
        measure: Callable[..., FaceMark] = measure_photo,
    ) -> None:
        self.book, self.session = book, session
        self.golfer, self.day, self.bag_id = book.sessions(session)[["golfer", "day", "bag_id"]].iloc[0]
        kept = book.setting(session, FOLDER)
        folder = photo_folder(folder) if folder is not None else Path(kept) if kept else None
        self.files = PhotoFiles(folder, book.path.with_suffix(".linetilt-inbox"))
        self._listed = read_shot_list(shot_list)
        self._measure, self._busy = measure, threading.RLock()
        self._known, self._listing = {}, None  # what a name says; the entries as they were last told, see `_all`
        self._clubs, self._starts, self._errors = (
            {},
            {},
            {},
        )  # by name: said by the fitter before, or found, but not in the book
        self._sizes, self._kept_sizes = {}, {}  # full sizes by path; bytes by the book's name
        self.look(settled=True)

    def of_session(self, session: int) -> "PhotoIntake":
        """Return the intake of another session of the same book."""
        return PhotoIntake(self.book, session, measure=self._measure)

    @property
    def bag(self) -> Bag:
        """The clubs as they are now."""
        return self.book.bag(self.bag_id)

    @property
    def settings(self) -> pd.Series:
        """The session's settings as they are now: a row of the book's `sessions`, as a Series."""
        return self.book.sessions(self.session).iloc[0]

    # What is there

    def watch(self, folder: str | PathLike[str]) -> None:
        """Say where photos arrive; the session keeps it."""
        folder = photo_folder(folder).resolve()
        self.book.keep_setting(self.session, FOLDER, str(folder))
        self.files = PhotoFiles(folder, self.files.inbox)
        self.look(settled=True)

    def look(self, settled: bool = False) -> list[str]:
        """Look into the folders; return the names of the photos that came since the last look, once their files have
        stopped growing.

        With `settled` every file counts as whole.
        """
        came = self.files.look(settled)
        for name in came:
            self._errors.pop(name, None)
            self._sizes.pop(self.files.path(name), None)
            self._listing = None
        return [name for name in came if settled or not self.files.is_copy(name)]

    def receive(self, name: str, content: bytes) -> str:
        """Put an uploaded photo into the book's inbox, a folder that is looked into as well, and return its name."""
        self._listing = None
        return self.files.receive(name, content)

    def entries(self) -> list[Entry]:
        """Return the `Entry` of every photo, by name in the order in which a person would count."""
        return list(self._all().values())

    def entry(self, name: str) -> Entry:
        """Return the `Entry` of one photo."""
        entries = self._all()
        if name not in entries:
            raise InputError(f"there is no photo {name!r} here; expected one of the list; choose another one")
        return entries[name]

    def _all(self):
        """The entries by name; a folder of thousands is gone through again only where a photo or the book has changed
        since."""
        state = self.book.state()
        if self._listing is None or self._listing[0] != state:
            self._listing = state, {entry.name: entry for entry in self._list()}
        return self._listing[1]

    def _list(self):
        shots = self.book.shots(self.session)
        shots = shots[shots["photo"].notna()]
        by_digest = {Path(photo).stem: row for photo, row in zip(shots["photo"], shots.to_dict("records"))}
        labels, found, seen = tuple(self.bag.labels), [], set()
        sizes = Counter(size for _, _, size in self.files.items())
        sizes.update(self._kept_size(photo) for photo in shots["photo"])
        for name, path, size in self.files.items():
            digest = (
                self.files.digest(name) if sizes[size] > 1 or None in sizes else name
            )  # a file of a size of its own is no other photo: reading it can wait
            if digest in seen:  # the same photo under two names is one shot
                continue
            seen.add(digest)
            row = by_digest.pop(digest, None)
            if row is not None:
                kept = self.book.photo_path(row["photo"])
                found.append(_entered(name, kept if kept.is_file() else path, row))
            else:
                error = self._errors.get(name)
                found.append(
                    Entry(
                        name,
                        path,
                        self._club_of(name, labels),
                        REFUSED if error else NEW,
                        "refused" if error else NEW,
                        error or "",
                    )
                )
        for row in by_digest.values():  # in the book, and gone from the folder
            found.append(_entered(row["note"] or row["photo"][:12], self.book.photo_path(row["photo"]), row))
        return sorted(found, key=lambda entry: counting(entry.name))

    def shot(self, name: str) -> dict[str, Any] | None:
        """Return a photo's row of `session_shots` as a dict, or None where it is not in the book."""
        number = self.entry(name).shot
        if number is None:
            return None
        shots = session_shots(self.book, self.session)
        return shots[shots["shot_id"] == number].to_dict("records")[0]

    def start(self, name: str) -> StartDirection | None:
        """Return a photo's `StartDirection`, or None where nobody saw it."""
        shot = self.shot(name)
        if shot is None:
            club, facts = self.entry(name).club, self._start_facts(name)
            if club is None or not facts:
                return None
            start = facts.pop("start", None) or (None, None)
            ball = pd.DataFrame([{"club": club, "start_deg": start[0], "u_start_deg": start[1], **facts}])
            shot = lie_readings(ball, self.bag, **shared_facts(self.book, self.session)).iloc[0]
        return None if pd.isna(shot["start_deg"]) else StartDirection(shot["start_deg"], shot["u_start_deg"])

    def spot(self, name: str) -> tuple[float, float | None] | None:
        """Return where a photo's ball hit the net, as (left of the aim dot, distance or None for the session's) in mm;
        None where nobody said."""
        shot = self.shot(name) or self._start_facts(name)
        left, distance = shot.get("net_left_mm"), shot.get("net_distance_mm")
        return None if pd.isna(left) else (left, None if pd.isna(distance) else distance)

    def _start_facts(self, name):
        """What is known of the start of a photo that is not in the book yet, as `SessionBook.add_shots` takes it."""
        if name in self._starts:
            return dict(self._starts[name])
        row = self._row(name)
        known = {key: row[key] for key in ("net_left_mm", "net_distance_mm") if not pd.isna(row.get(key))}
        return known if "net_left_mm" in known else {}

    # Measuring

    def take(self, name: str, club: str | None = None) -> FaceMark | None:
        """Measure a photo, enter it as a shot that is still to be looked at, and return its `FaceMark`.

        Does nothing to a photo that is in the book with a mark, and returns None.

        Raises
        ------
        PhotoError
            Where it was refused; that is in the book as well, unless the file is no photo at all.
        InputError
            Where the club is not known.
        """
        with self._busy:
            entry = self.entry(name)
            if entry.shot is not None and entry.state != REFUSED:
                return None
            return self._enter(entry, club or self._need_club(entry).label)

    def place(self, name: str, corners: Any = None, line: Any = None) -> FaceMark:
        """Measure again from marks placed by hand, and return the `FaceMark`; what is not given is looked for in the
        photo.

        Raises
        ------
        PhotoError
            Where nothing can be measured from these marks; what was there before stays.
        """
        with self._busy:
            entry = self.entry(name)
            if entry.shot is None:
                raise InputError(
                    f"{name} is not in the book yet; expected a photo that was measured; choose its club first"
                )
            return self._enter(entry, entry.club, corners=corners, line=line)

    def set_club(self, name: str, label: str) -> None:
        """Say which club a photo shows; a shot that is in the book is measured again for it."""
        self.bag[label]
        with self._busy:
            entry = self.entry(name)
            if entry.shot is None:
                self._clubs[name], self._listing = label, None
            elif label != entry.club:
                self._enter(entry, label, **self.by_hand(name))

    def set_start(self, name: str, start: StartDirection | float | None) -> None:
        """Say where the ball started (a `StartDirection`, degrees, or None: nobody saw it)."""
        start = start if start is None or isinstance(start, tuple) else StartDirection(float(start), None)
        self._keep_start(name, {"start": start or (None, None)})

    def set_spot(self, name: str, left_mm: float, distance_mm: float | None = None) -> None:
        """Say where the ball hit the net: left of the aim dot seen from behind, and how far away the net was if not as
        far as the session says."""
        start_from_net(
            left_mm, self.settings["net_distance_mm"] if distance_mm is None else distance_mm
        )  # refuses what cannot be
        self._keep_start(name, {"net_left_mm": left_mm, "net_distance_mm": distance_mm})

    def _keep_start(self, name, facts):
        with self._busy, self.acting():
            shot = self.entry(name).shot
            if shot is None:
                self._starts[name] = facts
            elif "start" in facts:
                self.book.measure_again(shot, start=facts["start"])
            else:
                self.book.measure_again(shot, net=(facts["net_left_mm"], facts["net_distance_mm"]))

    def acting(self) -> AbstractContextManager[None]:
        """Write as this screen, in this session alone (see `SessionBook.acting`)."""
        return self.book.acting(SCREEN, self.session)

    def by_hand(self, name: str) -> dict[str, Any]:
        """Return which marks the fitter placed, as the arguments that `place` takes."""
        marks = self._stored_marks(name) or {}
        return {kind: marks[kind] for kind in marks.get("by_hand", ())}

    def marks(self, name: str) -> tuple[Any, Any]:
        """Return where a photo's handles belong: corners and line in pixels of the upright full-size photo, two lists
        of points.

        As measured, where it was; what the kit could find, where the photo was refused; the rest is laid out in the
        middle.
        """
        marks = self._stored_marks(name)
        if marks:
            return marks["corners"], marks["line"]
        entry = self.entry(name)
        (width, height), club = self.size(name), self.bag[entry.club] if entry.club else None
        toe, heel = (0.3, 0.7) if club is None or club.handed == "right" else (0.7, 0.3)
        across, down = width - 1, height - 1
        corners = [
            [heel * across, 0.65 * down],
            [toe * across, 0.65 * down],
            [toe * across, 0.35 * down],
            [heel * across, 0.35 * down],
        ]
        line = [[0.5 * across, 0.6 * down], [0.5 * across, 0.4 * down]]
        if club is not None:
            try:
                corners = self._measure(entry.path, club, line=line).corners
            except LinetiltError:  # no face either
                pass
        return [[float(x), float(y)] for x, y in corners], line

    # Deciding

    def count(self, name: str) -> None:
        """Let a shot count."""
        with self.acting():
            self.book.decide(self._in_book(name), COUNTED)

    def set_aside(self, name: str, why: str) -> None:
        """Leave a shot out; `why` is a reason (see `linetilt.base.states`) or words of one's own.

        With the reason "clean face" its photo is what `measure_photo` takes as `before`, from now on for that club.

        Raises
        ------
        InputError
            Where it is said to be a clean face and no score lines are found in it.
        """
        shot = self._in_book(name)
        if reason_of(why)[0] == CLEAN_FACE:
            entry = self.entry(name)
            try:
                self._measure(entry.path, self.bag[entry.club], line=self.marks(name)[1])
            except PhotoError as error:
                raise InputError(
                    f"{name} cannot be the clean face of the {entry.club}, since its face is not found: {error}"
                ) from error
        with self.acting():
            self.book.set_aside(shot, why)

    def undo(self) -> Entry | None:
        """Take back the last decision or correction made on this screen in this session, and return the `Entry` as it
        is then.

        That a photo was measured is no decision: it stays in the book.
        """
        with self._busy, self.acting():
            edit = self.book.last_edit(SCREEN, self.session, ("corrected", "decided"))
            if edit is None:
                raise InputError(
                    "there is no decision of this screen to take back in this session; expected a shot that was "
                    "counted, "
                    "set aside or corrected here"
                )
            shots = self.book.touched(edit, "shot")
            self.book.undo(edit)
            return next((entry for entry in self.entries() if entry.shot in shots), None)

    # Pictures

    def size(self, name: str) -> tuple[int, int]:
        """Return width and height of the upright full-size photo."""
        entry = self.entry(name)
        if entry.path not in self._sizes:
            self._open(entry)
        return self._sizes[entry.path]

    def picture(self, name: str, with_marks: bool = True) -> tuple[bytes, tuple[int, int]]:
        """Return a JPEG of a photo for the screen, with the marks that stand in the book or as it is, and the size of
        the full photo.

        Raises
        ------
        PhotoError
            Where the file is no photo.
        """
        picture = self._open(self.entry(name))
        marks = self._stored_marks(name) if with_marks else None
        rgb = draw_kept(picture, marks, self.shot(name), PICTURE_PX)
        return cv2.imencode(".jpg", cv2.cvtColor(rgb, cv2.COLOR_RGB2BGR), [cv2.IMWRITE_JPEG_QUALITY, 88])[
            1
        ].tobytes(), self.size(name)

    def trace(self, name: str) -> Trace:
        """Return the `Trace` of a photo: what every step of its reading finds now, whether it is answered or refused.

        What stands in the book is not touched.
        """
        entry = self.entry(name)
        club = self._need_club(entry)
        return trace_photo(entry.path, club, **self._clean_face(entry, club), **self.by_hand(name))

    # Inside

    def _kept_size(self, photo):
        """The size of one of the book's own copies, or None."""
        if photo not in self._kept_sizes:
            path = self.book.photo_path(photo)
            self._kept_sizes[photo] = path.stat().st_size if path.is_file() else None
        return self._kept_sizes[photo]

    def _row(self, name):
        """The row of the shot list whose photo is the end of this file's path, else an empty one."""
        path = (self.files.path(name) or Path(name)).as_posix()
        return next((row for photo, row in self._listed.items() if f"/{path}".endswith(f"/{photo}")), {})

    def _club_of(self, name, labels):
        if self._clubs.get(name) in labels:
            return self._clubs[name]
        if (name, labels) not in self._known:
            club = str(self._row(name).get("club"))
            self._known[name, labels] = club if club in labels else club_from_name(name, labels)
        return self._known[name, labels]

    def _enter(self, entry, label, **by_hand):
        with self.acting():
            return self._enter_as_this_screen(entry, label, **by_hand)

    def _enter_as_this_screen(self, entry, label, **by_hand):
        club = self.bag[label]
        by_hand = {kind: points for kind, points in by_hand.items() if points is not None}
        again = {} if entry.shot is None or entry.club == label else {"club": label}
        new = {"photo": entry.path, "note": entry.name, **self._start_facts(entry.name)}
        try:
            mark = self._measured(entry, club, **by_hand)
        except PhotoError as error:
            refusal = (REFUSED, error.code, error.seen)
            if error.code in NO_PHOTO:
                self._errors[entry.name], self._listing = str(error), None
            elif entry.shot is None:
                self.book.add_shot(self.session, label, **new, **dict(zip(("state", "reason", "why"), refusal)))
                self.files.done(entry.path)
            elif again and entry.state == REFUSED:
                self.book.measure_again(entry.shot, decide=refusal, **again)
            raise
        kept = _WithHand(mark, tuple(by_hand))
        if entry.shot is None:
            self.book.add_shot(self.session, label, **new, mark=kept, state=TO_LOOK_AT)
            self.files.done(entry.path)
        else:
            decide = (TO_LOOK_AT, "", "") if entry.state == REFUSED else None
            self.book.measure_again(entry.shot, mark=kept, decide=decide, **again)
        return mark

    def _need_club(self, entry):
        if entry.club is None:
            raise InputError(f"nobody has said which club {entry.name} shows; expected one of the bag; choose it first")
        return self.bag[entry.club]

    def _measured(self, entry, club, **by_hand):
        return self._measure(entry.path, club, **self._clean_face(entry, club), **by_hand)

    def _clean_face(self, entry, club):
        """The last photo of this club's wiped face, as `measure_photo` takes it."""
        shots = self.book.shots(self.session)
        clean = shots.loc[
            (shots["reason"] == CLEAN_FACE) & (shots["club"] == club.label) & (shots["shot_id"] != entry.shot),
            "shot_id",
        ]
        return {"before": self.book.photo(int(clean.iloc[-1]))} if len(clean) else {}

    def _stored_marks(self, name):
        shot = self.entry(name).shot
        return None if shot is None else self.book.marks(shot)

    def _in_book(self, name):
        shot = self.entry(name).shot
        if shot is None:
            raise InputError(
                f"{name} is not in the book yet; expected a photo that was measured; choose its club first"
            )
        return shot

    def _open(self, entry):
        picture = open_photo(entry.path)
        height, width = picture.rgb.shape[:2]
        self._sizes[entry.path] = width * picture.reduction, height * picture.reduction
        return picture


class _WithHand:
    """A `FaceMark` that also says which marks were placed by hand, as the book keeps it."""

    def __init__(self, mark, by_hand):
        self._mark, self.by_hand = mark, by_hand

    def __getattr__(self, name):
        return getattr(self._mark, name)


def open_session(book: SessionBook, bag: Any = None, *, golfer: str = "Golfer") -> int:
    """Return the id of the book's current session, or of a new one.

    Parameters
    ----------
    book : SessionBook
    bag : Bag, DataFrame or path, optional
        The clubs to enter where the book has no bag yet.
    golfer : str
        Whose bag that is.

    Raises
    ------
    InputError
        When there is neither a bag in the book nor one given.
    """
    current, bags = book.current_session(), book.bags()
    if current is not None:
        return int(current["session_id"])
    if len(bags):
        return book.add_session(int(bags["bag_id"].iloc[-1]))
    if bag is None:
        raise InputError(
            "the book has no bag yet; expected one; fill it in with the first notebook, or name a CSV file of the clubs"
        )
    bag = bag if hasattr(bag, "clubs") else read_bag(bag)
    return book.add_session(book.add_bag(book.add_golfer(golfer, next(iter(bag)).handed), bag))


def open_photos(
    book: SessionBook,
    folder: Any = None,
    bag: Any = None,
    shot_list: Any = None,
    *,
    demo: str | PathLike[str] | None = None,
) -> PhotoIntake:
    """Return the `PhotoIntake` of the book's current session, or of a new one (see `open_session`).

    `demo` is a folder such as the kit's `demo_photos`: its golfer's bag, photos and list of shots stand in for what is
    not given.
    """
    demo = None if demo is None else Path(demo)
    session = open_session(book, demo / "bag.csv" if demo and bag is None else bag)
    if demo and folder is None and book.setting(session, FOLDER) is None:
        folder, shot_list = demo / "photos" / "perrin", demo / "shots.csv"
    return PhotoIntake(book, session, folder, shot_list=shot_list)


def _entered(name, path, row):
    return Entry(name, path, row["club"], row["state"], state_words(row), refusal_words(row), row["shot_id"])
