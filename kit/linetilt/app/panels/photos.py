"""The photo panel: photos arrive, are measured and shown, and the fitter counts them, sets them aside or moves their
marks."""

import html
import threading

import ipywidgets as widgets

from ...base.errors import LinetiltError, PhotoError
from ...base.states import CLEAN_FACE, COUNTED, OTHER, REASONS, REFUSED, SET_ASIDE, TO_LOOK_AT
from ...base.units import MM_PER_INCH
from ...lie.start import StartDirection
from ...reading.mark import FLAGS
from ...session.intake import NEW
from ...session.middle import session_shots
from ...words.shots import PLUS_MINUS, shot_words
from .common import ROW, STYLE, Elsewhere, book_line, in_words, message_line, say, shown_errors, text, typed
from .handles import PhotoHandles
from .work import Work

GLYPHS = {NEW: "○", REFUSED: "?", TO_LOOK_AT: "●", COUNTED: "✓", SET_ASIDE: "✕"}
LENGTHS = {"mm": ("mm", 1.0, "m", 1000.0), "in": ("in", MM_PER_INCH, "ft", 12 * MM_PER_INCH)}  # of the net, in mm
NET_MM = 3000.0  # from the ball to the net, where the session does not say
_LEFT = {
    "width": "236px"
}  # a dict: each widget makes its own layout of it; list and picture fit beside each other on a tablet
_LABEL = {"description_width": "84px"}
_UPLOAD = (
    "Uploads above 10 MB arrive only where JupyterLab was opened with <code>python -m linetilt</code> (200 MB at a "
    "time); elsewhere they vanish without a "
    "word. Copied into the folder, photos always arrive."
)


class PhotosPanel(widgets.VBox):
    """The photos of a session.

    Parameters
    ----------
    intake : PhotoIntake
        Its session says in which unit of length strikes and spots on the net are, and how far away the net is.
    watch_s : float
        How long to wait between two looks into the folder, in seconds.
    """

    def __init__(self, intake, *, watch_s=2.0):
        self._intake, self._unit, self._quiet, self._lock = (
            intake,
            intake.settings["length_unit"],
            False,
            threading.RLock(),
        )
        self._club_in_hand = None
        _, _, far, far_mm = LENGTHS[self._unit]
        net_mm = intake.settings["net_distance_mm"]
        folder = intake.files.folder
        self._folder = typed(
            "Folder",
            value=str(folder or ""),
            placeholder="where your phone's photos arrive",
            style={"description_width": "50px"},
            layout=widgets.Layout(width="460px", max_width="97%"),
        )
        self._use = _button("Use this folder")
        self._look = _button("Look for new photos")
        self._watch = widgets.Checkbox(
            True, description="Measure photos as they arrive", indent=False, layout=widgets.Layout(width="230px")
        )
        self._upload = widgets.FileUpload(
            accept="image/*,.heic,.heif", multiple=True, description="Upload photos", icon=""
        )
        self._arrived = widgets.HTML()
        self._all = _button("Measure all new photos")
        self._bar = widgets.IntProgress(0, 0, 1, layout=widgets.Layout(width="160px", display="none"))
        self._progress = widgets.HTML()
        self._cancel = _button("Stop measuring", disabled=True)
        self._message = message_line()
        self._elsewhere = Elsewhere(intake.book, lambda: self._intake.session, self._stay, self._follow)
        self._who = text("")
        self._list = widgets.Select(description="Photos", rows=13, layout=_LEFT)
        self._list.add_class("lt-spoken")
        self._club = widgets.Dropdown(description="Club", style=_LABEL, layout=_LEFT)
        self._start = widgets.Dropdown(
            options=[("nobody saw", ""), ("spot on the net", "net"), ("degrees", "degrees")],
            description="Ball's start",
            style=_LABEL,
            layout=_LEFT,
        )
        self._off = widgets.BoundedFloatText(0.0, min=0.0, max=5000.0, style=_LABEL, layout=_LEFT)
        self._side = widgets.Dropdown(options=["left", "right"], description="Side", style=_LABEL, layout=_LEFT)
        self._net = widgets.BoundedFloatText(
            (net_mm if net_mm > 0 else NET_MM) / far_mm,
            min=0.3,
            max=150.0,
            step=0.1,
            description=f"Net away, {far}",
            style=_LABEL,
            layout=_LEFT,
        )
        self._set_start = _button("Set the start")
        self._picture = PhotoHandles()
        self._words = widgets.HTML(
            layout=widgets.Layout(width="97%", min_height="92px")
        )  # so that the picture stays where it is
        self._more = widgets.HTML(layout=widgets.Layout(width="97%"))
        self._count = _button("Count it", button_style="primary")
        self._why = widgets.Dropdown(
            options=[(reason.words, code) for code, reason in REASONS.items() if reason.offered],
            description="Reason",
            style={"description_width": "52px"},
            layout=widgets.Layout(width="190px"),
        )
        self._other = typed(
            "Other",
            placeholder="what happened",
            style={"description_width": "42px"},
            layout=widgets.Layout(width="200px", display="none"),
        )
        self._clean = text(
            "<p role='status'>A clean face is a photo of the wiped face before the ball: what it shows is left out "
            "of later photos of the same club.</p>"
        )
        self._clean.layout.display = "none"
        self._aside = _button("Set it aside")
        self._undo = _button("Undo")
        self._measure = _button("Measure it")
        self._hand = widgets.ToggleButton(
            False, description="Move the marks by hand", layout=widgets.Layout(width="auto", min_width="200px")
        )
        self._found = _button("Back to what was found")
        self._steps = widgets.ToggleButton(
            False, description="Why? Show every step", layout=widgets.Layout(width="auto", min_width="170px")
        )
        left = widgets.VBox(
            [self._list, self._club, self._start, self._off, self._side, self._net, self._set_start],
            layout=widgets.Layout(width="242px"),
        )
        right = widgets.VBox(
            [
                self._words,
                widgets.HBox([self._count, self._measure, self._why, self._other, self._aside, self._undo], layout=ROW),
                self._clean,
                widgets.HBox([self._hand, self._found, self._steps], layout=ROW),
                self._picture,
                self._more,
            ],
            layout=widgets.Layout(flex="1 1 380px", min_width="300px"),
        )
        super().__init__(
            [
                book_line(intake.book),
                self._who,
                self._elsewhere,
                widgets.HBox([self._folder, self._use], layout=ROW),
                widgets.HBox([self._look, self._watch, self._upload], layout=ROW),
                self._arrived,
                text(f"<p>{_UPLOAD}</p>"),
                widgets.HBox([self._all, self._bar, self._progress, self._cancel], layout=ROW),
                self._message,
                widgets.HBox([left, right], layout=widgets.Layout(flex_flow="row wrap", align_items="flex-start")),
            ]
        )
        self._wire()
        self._on_start_kind(None)
        self._refresh()
        self._show(measure=False)
        self._work = Work(
            intake.book.path,
            watch_s,
            take=lambda name: self._intake.take(name),
            arrive=self._arrive,
            progressed=self._progressed,
            failed=self._failed,
        )

    @property
    def value(self):
        """The session's shots with their lie readings (see `session_shots`), a DataFrame."""
        return session_shots(self._intake.book, self._intake.session)

    def close(self):
        """End the panel and its watching."""
        self._work.end()
        super().close()

    def __repr__(self):
        return f"PhotosPanel({len(self._list.options)} photos)"

    def _wire(self):
        def wrap(callback):
            @shown_errors(self._message, self._elsewhere)
            def one_at_a_time(
                change,
            ):  # JupyterLab may run the callbacks of different widgets at once, in threads of their own
                with self._lock:
                    callback(change)

            return one_at_a_time

        clicks = {
            self._use: self._on_use,
            self._look: self._on_look,
            self._all: self._on_all,
            self._cancel: self._on_cancel,
            self._set_start: self._on_set_start,
            self._count: self._on_count,
            self._aside: self._on_aside,
            self._undo: self._on_undo,
            self._measure: self._on_measure,
            self._found: self._on_found,
        }
        for button, callback in clicks.items():
            button.on_click(wrap(callback))
        changes = {
            self._upload: self._on_upload,
            self._list: self._on_select,
            self._club: self._on_club,
            self._start: self._on_start_kind,
            self._why: self._on_why,
            self._hand: self._on_hand,
            self._steps: self._on_steps,
        }
        for control, callback in changes.items():
            control.observe(wrap(callback), "value")
        self._picture.observe(wrap(self._on_marks), ["corners", "line"])

    # Whose session

    def _stay(self):
        self._intake.book.open_session(self._intake.session)
        self._refresh()
        self._show(measure=False)

    def _follow(self):
        """Go on with the session that was opened elsewhere."""
        self._work.cancel()
        self._intake, self._club_in_hand = (
            self._intake.of_session(int(self._intake.book.current_session()["session_id"])),
            None,
        )
        self._unit = self._intake.settings["length_unit"]
        self._folder.value = str(self._intake.files.folder or "")
        self._net.description, self._net.value = (
            f"Net away, {LENGTHS[self._unit][2]}",
            self._net_mm() / LENGTHS[self._unit][3],
        )
        self._refresh()
        self._show(measure=False)

    # What is shown

    def _refresh(self, select=None):
        """Bring list and buttons up to date; `select` a photo."""
        with self._lock:
            self._elsewhere.look()
            club = self._club_in_hand
            of = "" if club is None else f"; photos that do not say their club are of the <b>{html.escape(club)}</b>"
            who = f"<b>{html.escape(self._intake.golfer)}</b>, session of {self._intake.day}"
            self._who.value = text(f"<p>{who}{of}.</p>").value
            entries = self._intake.entries()
            names = [entry.name for entry in entries]
            name = select if select in names else self._list.value
            name = name if name in names else next(iter(names), None)
            options = [(f"{GLYPHS[entry.state]} {entry.name} · {_state(entry)}", entry.name) for entry in entries]
            self._quiet, before = True, self._quiet
            try:
                with self._list.hold_sync():  # list and choice arrive together: an arrow key in between would go astray
                    if list(self._list.options) != options:
                        self._list.options = options
                    self._list.value = name
            finally:
                self._quiet = before
            new = sum(entry.state == NEW for entry in entries)
            self._all.description = f"Measure all new photos ({new})"
            self._all.disabled = not new

    def _show(self, measure=True):
        """Show the chosen photo, measured if it was not yet."""
        with self._lock:
            name = self._list.value
            entry = None if name is None else self._intake.entry(name)
            if measure and entry and entry.state == NEW and entry.club and not self._elsewhere.asked:
                try:
                    self._intake.take(name)
                except PhotoError:
                    pass  # the list and the words say so
                self._refresh()
                entry = self._intake.entry(name)
            self._quiet, before = True, self._quiet
            try:
                self._fill(entry)
                self._draw(entry)
            finally:
                self._quiet = before

    def _fill(self, entry):
        shot = self._intake.shot(entry.name) if entry else None
        known = shot is not None and shot["lie_error_deg"] == shot["lie_error_deg"]
        for button, wanted in (
            (self._count, known and entry.state != COUNTED),
            (self._aside, shot is not None and entry.state != SET_ASIDE),
            (self._set_start, entry),
            (self._hand, shot is not None),
            (self._steps, entry and entry.club),
            (self._club, entry),
            (self._measure, entry and entry.state in (NEW, REFUSED)),
        ):
            button.disabled = not wanted
        self._measure.layout.display = None if entry and entry.state in (NEW, REFUSED) else "none"
        if entry is None:
            self._words.value, self._more.value = f"{STYLE}<div class='lt-text'>No photo yet.</div>", ""
            return
        labels = self._intake.bag.labels
        self._club.options = [("choose the club", None), *((label, label) for label in labels)]
        self._club.value = entry.club
        self._fill_start(entry)
        self._on_start_kind(None)
        head, more = self._in_words(entry, shot)
        self._words.value = f"{STYLE}<div class='lt-text' role='status'>{head}</div>"
        self._more.value = f"{STYLE}<div class='lt-text'>{more}</div>"

    def _fill_start(self, entry):
        """Show where the ball started, as it was said: the spot on the net, or degrees."""
        spot, start = self._intake.spot(entry.name), self._intake.start(entry.name)
        _, spot_mm, _, far_mm = LENGTHS[self._unit]
        if spot is not None:
            self._start.value, (left, distance) = "net", spot
            self._off.value, self._side.value = round(abs(left) / spot_mm, 2), "left" if left >= 0 else "right"
            self._net.value = (distance or self._net_mm()) / far_mm
        elif start is not None:
            closed_left = entry.club is None or self._intake.bag[entry.club].handed == "right"
            self._start.value, self._off.value = "degrees", round(abs(start.start_deg), 1)
            self._side.value = "left" if (start.start_deg >= 0) == closed_left else "right"
        else:
            self._start.value = ""

    def _net_mm(self):
        """How far away the net is, as the session says, or as is usual."""
        distance = self._intake.settings["net_distance_mm"]
        return distance if distance > 0 else NET_MM

    def _in_words(self, entry, shot):
        """What is said above the picture, and below it."""
        head, more = [f"<h3>{html.escape(entry.name)}: {html.escape(_state(entry))}</h3>"], []
        if entry.state == NEW:
            head.append("<p>Not measured yet.</p>" if entry.club else "<p>Choose its club, and it is measured.</p>")
        elif entry.state == REFUSED:
            head.append(f"<p class='lt-error'>Refused: {html.escape(entry.why)}</p>")
            head.append(
                "<p>Or press <b>Move the marks by hand</b> and put the handles where they belong.</p>" if shot else ""
            )
        if shot is not None:
            said = [
                html.escape(sentence) for sentence in shot_words(shot, self._intake.bag[entry.club].handed, self._unit)
            ]
            if shot["lie_error_deg"] == shot["lie_error_deg"]:
                head += [f"<p><b style='font-size:17px'>{said[0]}</b></p>", f"<p>{' '.join(said[1:2])}</p>"]
                said = said[2:]
            remarks = (html.escape(FLAGS.get(code, code)) for code in shot["remarks"].split())
            more = [f"<p>{sentence}</p>" for sentence in (*said, *(f"Remark: {remark}." for remark in remarks))]
            more += [f"<p><i>{PLUS_MINUS}.</i></p>"] if shot["lie_error_deg"] == shot["lie_error_deg"] else []
        return "".join(head), "".join(more)

    def _draw(self, entry):
        picture, by_hand = self._picture, self._hand.value
        if self._steps.value and entry is not None and entry.club:
            self._draw_steps(entry)
            return
        self._found.layout.display = None if by_hand else "none"
        if entry is None:
            picture.picture = b""
            return
        try:
            jpeg, size = self._intake.picture(entry.name, with_marks=not by_hand)
            corners, line = self._intake.marks(entry.name) if by_hand else ([], [])
        except PhotoError:  # no photo at all: the words say why
            picture.picture, picture.active = b"", False
            return
        what = "with handles on its marks" if by_hand else "with what was found drawn on it"
        with picture.hold_sync():
            picture.picture, picture.size, picture.corners, picture.line = jpeg, list(size), corners, line
            picture.active, picture.alt = (
                by_hand,
                f"Photo {entry.name} of a clubface, {what}; the numbers are in the text below.",
            )

    def _draw_steps(self, entry):
        """The photo with what every step of the reading found, and a sentence for each."""
        trace = self._intake.trace(entry.name)
        with self._picture.hold_sync():
            self._picture.picture, self._picture.corners, self._picture.line = trace.figure(entry.path).jpeg(), [], []
            self._picture.active = False
            self._picture.alt = f"Photo {entry.name} with what every step found; the steps are told below."
        said = "".join(f"<li>{html.escape(sentence)}</li>" for sentence in trace.sentences)
        self._more.value = f"{STYLE}<div class='lt-text'><ol>{said}</ol></div>"

    def _next(self):
        """Choose the next photo that waits for a decision, if there is one."""
        names = [name for _, name in self._list.options]
        waiting = {entry.name for entry in self._intake.entries() if entry.state in (NEW, TO_LOOK_AT)}
        after = names.index(self._list.value)
        self._hand.value = self._steps.value = False
        self._refresh(next((name for name in names[after + 1 :] + names[:after] if name in waiting), None))
        self._show()

    # What the fitter does

    def _on_select(self, _):
        if self._quiet:
            return
        self._quiet = True
        self._hand.value = self._steps.value = False
        self._quiet = False
        self._show()

    def _on_use(self, _):
        self._intake.watch(self._folder.value)
        self._folder.value = str(self._intake.files.folder)
        self._refresh()
        self._show(measure=False)
        say(
            self._arrived, f"{_counted(len(self._intake.files.items()), 'photo')} in this folder and among the uploads."
        )

    def _on_look(self, _):
        came = self._intake.look(settled=True)
        say(
            self._arrived,
            f"{_counted(len(came), 'new photo')} in the "
            f"folder{': ' + ', '.join(came[:5]) if came else ''}{' and more' if len(came) > 5 else ''}.",
        )
        self._refresh()

    def _on_upload(self, _):
        files = self._upload.value
        if not files:
            return
        names, not_taken = [], []
        for file in files:
            try:
                names.append(self._intake.receive(file["name"], file["content"]))
            except Exception as error:  # said below; the others still arrive
                not_taken.append(str(error))
        self._upload.value = ()
        arrived = ", ".join(f"{file['name']} ({len(file['content']) / 1e6:.1f} MB)" for file in files)
        say(self._arrived, f"Arrived: {arrived}." + "".join(f" Not kept: {error}." for error in not_taken))
        self._came(names)

    def _came(self, names):
        """Take photos that have just arrived; they are of the club in hand where nothing says otherwise."""
        for name in names if not self._elsewhere.look() else ():
            if self._club_in_hand and not self._intake.entry(name).club:
                self._intake.set_club(name, self._club_in_hand)
        if self._elsewhere.look():  # nothing is measured for the golfer before
            return self._refresh()
        self._refresh(None if self._hand.value or len(names) != 1 else names[0])
        if len(names) == 1 and not self._hand.value:
            self._show()
        else:
            self._work.add(name for name in names if self._intake.entry(name).club)

    def _on_all(self, _):
        entries = self._intake.entries()
        ready = [entry.name for entry in entries if entry.state == NEW and entry.club]
        unknown = sum(entry.state == NEW and not entry.club for entry in entries)
        if unknown:
            say(self._message, f"{_counted(unknown, 'photo')} left out: choose the club first.")
        self._work.add(ready)

    def _on_cancel(self, _):
        self._work.cancel()

    def _on_measure(self, _):
        try:
            self._intake.take(self._list.value)
        finally:
            self._refresh()
            self._show(measure=False)

    def _on_club(self, change):
        if self._quiet or change["new"] is None:
            return
        self._club_in_hand = change["new"]
        try:
            self._intake.set_club(self._list.value, change["new"])
        finally:
            self._refresh()
            self._show()

    def _on_start_kind(self, _):
        kind = self._start.value
        self._off.description = f"Off, {LENGTHS[self._unit][0]}" if kind == "net" else "Off, °"
        for control, wanted in ((self._off, kind), (self._side, kind), (self._net, kind == "net")):
            control.layout.display = None if wanted else "none"

    def _on_set_start(self, _):
        name = self._list.value
        left = self._off.value if self._side.value == "left" else -self._off.value
        _, spot_mm, _, far_mm = LENGTHS[self._unit]
        if self._start.value == "net":
            distance = self._net.value * far_mm
            as_said = (
                abs(distance - self._intake.settings["net_distance_mm"]) < 0.5
            )  # False where the session does not say
            self._intake.set_spot(name, left * spot_mm, None if as_said else distance)
        elif self._start.value == "degrees":
            club = self._intake.entry(name).club
            handed = self._intake.bag[club].handed if club else "right"
            self._intake.set_start(name, StartDirection(left if handed == "right" else -left, None))
        else:
            self._intake.set_start(name, None)
        self._show()

    def _on_count(self, _):
        self._intake.count(self._list.value)
        self._next()

    def _on_why(self, _):
        self._other.layout.display = None if self._why.value == OTHER else "none"
        self._clean.layout.display = None if self._why.value == CLEAN_FACE else "none"

    def _on_aside(self, _):
        why = self._why.value
        self._intake.set_aside(self._list.value, self._other.value.strip() or why if why == OTHER else why)
        self._other.value = ""
        self._next()

    def _on_undo(self, _):
        entry = self._intake.undo()
        self._refresh(entry and entry.name)
        self._show()
        say(self._message, f"Taken back. {entry.name} is now: {_state(entry)}." if entry else "Taken back.")

    def _on_hand(self, _):
        self._one_of(self._hand, self._steps)

    def _on_steps(self, _):
        self._one_of(self._steps, self._hand)

    def _one_of(self, pressed, other):
        """Handles or steps, never both."""
        if self._quiet:
            return
        self._quiet = True
        other.value = other.value and not pressed.value
        self._quiet = False
        self._show()

    def _on_marks(self, change):
        if self._quiet or not self._picture.active:
            return
        placed = {**self._intake.by_hand(self._list.value), change["name"]: change["new"]}
        self._place(**placed)

    def _on_found(self, _):
        self._place()

    def _place(self, **placed):
        name = self._list.value
        self._intake.place(name, **placed)
        self._refresh()
        with self._lock:
            self._quiet = True
            try:
                entry = self._intake.entry(name)
                self._fill(entry)
                corners, line = self._intake.marks(name)
                with self._picture.hold_sync():
                    self._picture.corners, self._picture.line = corners, line
            finally:
                self._quiet = False

    # What the worker says

    def _arrive(self):
        if self._watch.value and (came := self._intake.look()):
            say(self._arrived, f"Arrived in the folder: {', '.join(came[:5])}{' and more' if len(came) > 5 else ''}.")
            self._came(came)

    def _progressed(self, name, done, refused, total):
        self._bar.max, self._bar.value = max(total, 1), done
        self._bar.layout.display = None if done < total else "none"
        self._cancel.disabled = done >= total
        words = f"{done} of {total} measured{f', {refused} refused' if refused else ''}"
        self._progress.value = f"{STYLE}<span class='lt-text' role='status'>{words}</span>"
        if name is not None:
            self._refresh()
            if name == self._list.value:
                self._show(measure=False)

    def _failed(self, error):
        say(
            self._message,
            in_words(error) if isinstance(error, LinetiltError) else f"Something went wrong in the kit ({error!r}).",
            "error",
        )


def _button(description, **more):  # no icons: a screen reader would spell them out
    return widgets.Button(description=description, layout=widgets.Layout(width="auto"), **more)


def _state(entry):
    club = f"club {entry.club}" if entry.club else "which club?"
    return f"{club}, {entry.words}"


def _counted(number, noun):
    return f"{number or 'no'} {noun}{'' if number == 1 else 's'}"
