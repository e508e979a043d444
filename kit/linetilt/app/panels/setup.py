"""The panels of the first notebook: golfer and units, clubs, net, marking strip, check of the line. Views of one
`Desk`."""

import base64
import html
import io
from pathlib import Path

import cv2
import ipywidgets as widgets

from ...base.club import HEAD_LIMIT_DEG
from ...base.errors import InputError, PhotoError
from ...base.statistics import COVERAGE_FACTOR
from ...base.units import WORDS, from_mm, to_mm
from ...marking.setup import marks_by_hand, measure_setup
from ...marking.strip import PAPERS_MM, marking_strip
from ...reading.photo import open_photo
from ...session.desk import SHAPES
from ...words.terms import counted
from .common import (
    FIELD,
    LABEL,
    ROW,
    WIDE,
    Elsewhere,
    message_line,
    read_number,
    say,
    show_number,
    shown_errors,
    text,
    typed,
)
from .handles import PhotoHandles

HANDS = [("right-handed", "right"), ("left-handed", "left")]
LENGTHS = [("millimetres", "mm"), ("inches", "in")]
CARRIES = [("metres", "m"), ("yards", "yd")]
HEADS = [("not known", None), *((kind, kind) for kind in HEAD_LIMIT_DEG)]
VIEWS = {  # what is known of how far the phone looks down, in degrees: common practice, no source
    "stands low, about level with the ball": {"pitch_deg": 3.0, "u_pitch_deg": 3.0},
    "held by hand, looking down a little": {},
}
_HANDLES = {
    "A": "left edge of the ball",
    "B": "right edge of the ball",
    "C": "upper or left point of the cord or the bar's edge",
    "D": "lower or right point of the cord or the bar's edge",
    "L": "lower point of the line on the ball",
    "U": "upper point of the line on the ball",
}
_HINT = (
    "A, B: the ball's outline, left and right. C, D: two points of the cord or the bar's edge, far apart. "
    "L, U: two points of the line on the ball, far apart."
)
_PLACES = {
    "cord": [[0.5, 0.08], [0.5, 0.3]],
    "edge": [[0.2, 0.2], [0.8, 0.2]],
}  # where C and D are laid out, as shares of the picture
PICTURE_PX = 900  # long side of the picture that is shown

_COLUMNS = (  # field of Club, heading, what a screen reader says, width
    ("label", "Club", "name of the club", "50px"),
    ("loft_deg", "Loft °", "loft in degrees", "52px"),
    ("lie_deg", "Maker's lie °", "maker's lie in degrees", "64px"),
    ("gauge_lie_deg", "Gauge's lie °", "lie by the gauge in degrees", "64px"),
    ("length_in", "Length, in", "length in inches", "64px"),
    ("score_line_length_mm", "Score lines", "length of the score lines", "64px"),
)


class _Panel(widgets.VBox):
    """A view of a `Desk` that is drawn again after every entry."""

    def __init__(self, desk, children):
        self._desk, self._quiet = desk, False
        self._message = message_line()
        self._elsewhere = Elsewhere(
            desk.book, lambda: None if desk.session is None else int(desk.session["session_id"]), desk.stay, desk.follow
        )
        super().__init__([self._elsewhere, *children, self._message])
        desk.watch(self._show)
        self._show()

    def _on(self, control, callback, event="value"):
        """Join a control to a callback whose errors are shown, and which does not hear the panel's own drawing."""

        @shown_errors(self._message, self._elsewhere)
        def act(change):
            if event == "value" and control.value != change["new"]:  # drawn over while it waited for an entry before it
                self._quiet = True
                try:
                    control.value = change["new"]
                finally:
                    self._quiet = False
            callback()

        def heard(change):
            with self._desk.lock:
                if not self._quiet:
                    act(change)

        control.on_click(heard) if event == "click" else control.observe(heard, event)

    def _taken(self, upload):
        """Return the bytes of an upload's one file, and empty it for the next."""
        content = bytes(upload.value[0]["content"])
        self._quiet = True
        upload.value = ()
        self._quiet = False
        return content

    def _show(self):
        self._quiet = True
        self._elsewhere.look()
        try:
            self._draw()
        finally:
            self._quiet = False

    def _draw(self):
        raise NotImplementedError

    def __repr__(self):
        return f"{type(self).__name__}()"


class GolferPanel(_Panel):
    """Who is here, with which hand, and in which units; `value` is the golfer's name, or None."""

    def __init__(self, desk):
        self._golfer = widgets.Dropdown(description="Golfer in the book", style=LABEL, layout=FIELD)
        self._name = typed("New golfer's name", style=LABEL, layout=FIELD)
        self._new_hand = widgets.Dropdown(options=HANDS, description="New golfer is", style=LABEL, layout=FIELD)
        self._add = _button("Enter new golfer", "adds the golfer with an empty bag and a session of today")
        self._hand = widgets.Dropdown(options=HANDS, description="Plays", style=LABEL, layout=FIELD)
        self._length = widgets.Dropdown(options=LENGTHS, description="Small lengths in", style=LABEL, layout=FIELD)
        self._carry = widgets.Dropdown(options=CARRIES, description="Distances in", style=LABEL, layout=FIELD)
        self._today = _button("New session today", "begins a session with the same bag; the old one stays in the book")
        self._undo = _button("Take back the last entry", "undoes the last entry made in this notebook")
        self._line = text("")
        new = widgets.HBox([self._name, self._new_hand, self._add], layout=ROW)
        now = widgets.HBox([self._golfer, self._hand], layout=ROW)
        units = widgets.HBox([self._length, self._carry], layout=ROW)
        super().__init__(desk, [new, now, units, self._line, widgets.HBox([self._today, self._undo], layout=ROW)])
        self._on(self._add, self._on_add, "click")
        self._on(self._golfer, lambda: None if self._golfer.value is None else desk.choose_golfer(self._golfer.value))
        self._on(self._hand, lambda: desk.change_golfer(handed=self._hand.value))
        self._on(self._length, lambda: desk.set(length_unit=self._length.value))
        self._on(self._carry, lambda: desk.set(carry_unit=self._carry.value))
        self._on(self._today, lambda: desk.add_session(), "click")
        self._on(self._undo, lambda: say(self._message, f"Taken back: {desk.undo()}."), "click")

    @property
    def value(self):
        """The current golfer's name, or None."""
        golfer = self._desk.golfer
        return None if golfer is None else golfer["name"]

    def _on_add(self):
        self._desk.add_golfer(self._name.value, self._new_hand.value)
        self._name.value = ""
        say(self._message, f"{self.value} is in the book.")

    def _draw(self):
        golfers, golfer, session = self._desk.book.golfers(), self._desk.golfer, self._desk.session
        names = [(f"{row['name']} (no. {row['golfer_id']})", int(row["golfer_id"])) for _, row in golfers.iterrows()]
        self._golfer.options = [("none yet" if golfer is None else "choose", None), *names]
        self._golfer.value = None if golfer is None else int(golfer["golfer_id"])
        for control in (self._golfer, self._hand, self._length, self._carry, self._today):
            control.disabled = golfer is None and not (control is self._golfer and names)
        if golfer is None:
            self._line.value = text("<p>No golfer yet. Type a name and choose <b>Enter new golfer</b>.</p>").value
            return
        self._hand.value = golfer["handed"]
        self._length.value, self._carry.value = (self._desk.setting(name) for name in ("length_unit", "carry_unit"))
        old = (
            ""
            if self._desk.is_today()
            else " It is not of today: choose <b>New session today</b> before the first ball."
        )
        self._line.value = text(
            f"<p>Session of {session['day']} with {html.escape(golfer['name'])}, {session['shots']} shots so "
            f"far.{old}</p>"
        ).value


class _ClubRow(widgets.HBox):
    """One club of the table."""

    def __init__(self, panel, club_id):
        self.fields = {name: typed(layout=widgets.Layout(width=width)) for name, _, _, width in _COLUMNS}
        self.head = widgets.Dropdown(options=HEADS, layout=widgets.Layout(width="112px"))
        self.from_set = widgets.Checkbox(indent=False, layout=widgets.Layout(width="28px"))
        self.remove = _button("Remove", "takes this club out of the bag", width="104px")
        for control in (*self.fields.values(), self.head, self.from_set):
            control.add_class("lt-spoken")  # the heading of the column is seen, the description is heard
        super().__init__(
            [*self.fields.values(), self.head, self.from_set, self.remove],
            layout=widgets.Layout(align_items="center", min_width="max-content"),
        )
        for name, field in self.fields.items():
            panel._on(field, lambda name=name, field=field: panel._on_field(club_id, name, field.value))
        panel._on(self.head, lambda: panel._desk.change_club(club_id, "head", self.head.value))
        panel._on(self.from_set, lambda: panel._desk.change_club(club_id, "from_set", self.from_set.value))
        panel._on(self.remove, lambda: panel._desk.remove_club(club_id), "click")

    def show(self, club, unit):
        """Put the club's values into the fields; what is right already is left alone."""
        for name, _, spoken, _ in _COLUMNS:
            value = club[name]
            shown = value if name == "label" else show_number(from_mm(value, unit) if name.endswith("_mm") else value)
            field = self.fields[name]
            if field.value != shown:
                field.value = shown
            unit_word = f" in {WORDS[unit]}" if name.endswith("_mm") else ""
            field.description = f"{spoken}{unit_word}, club {club['label']}"
        self.head.value = club["head"] if isinstance(club["head"], str) else None
        self.head.description = f"kind of head, club {club['label']}"
        self.from_set.value = bool(club["from_set"])
        self.from_set.description = f"club {club['label']} was bought with the set"
        self.remove.description = f"Remove {club['label']}"


class BagPanel(_Panel):
    """The golfer's clubs, a row each; `value` is the `Bag`, or None."""

    def __init__(self, desk):
        self._rows, self._table = {}, widgets.VBox()
        self._heading = widgets.HBox(layout=widgets.Layout(align_items="flex-end", min_width="max-content"))
        self._label = typed("New club", placeholder="7, PW, 56 …", style=LABEL, layout=widgets.Layout(width="270px"))
        self._loft = typed(
            "its loft in degrees", style={"description_width": "125px"}, layout=widgets.Layout(width="205px")
        )
        self._add = _button("Add club", "adds the club to the bag; the other figures are typed into its row")
        self._lines = typed("Score lines, all clubs", style=LABEL, layout=FIELD)
        self._all = _button("Use for all clubs", "enters this length for every club of the bag")
        self._file = typed("Clubs from CSV file", placeholder="bag.csv", style=LABEL, layout=FIELD)
        self._load = _button("Load file", "shows what is understood of the file before anything is entered")
        self._upload = widgets.FileUpload(
            accept=".csv,.xlsx,text/csv",
            description="Choose a file",
            layout=widgets.Layout(width="200px"),
            tooltip="load clubs from a CSV file of this computer",
        )
        self._read, self._understood = None, text("")
        self._enter = _button("Enter the clubs", "puts these clubs into the bag")
        self._leave = _button("Leave them out", "enters nothing of this file")
        answers = widgets.HBox([self._enter, self._leave], layout=ROW)
        self._asked = widgets.VBox([self._understood, answers], layout=widgets.Layout(display="none"))
        super().__init__(
            desk,
            [
                widgets.VBox([self._heading, self._table], layout=widgets.Layout(**WIDE)),
                widgets.HBox([self._label, self._loft, self._add], layout=ROW),
                widgets.HBox([self._lines, self._all], layout=ROW),
                widgets.HBox([self._file, self._load, self._upload], layout=ROW),
                self._asked,
            ],
        )
        self._on(self._add, self._on_add, "click")
        self._on(self._all, self._on_all, "click")
        self._on(self._enter, self._on_enter_read, "click")
        self._on(self._leave, self._close_read, "click")
        self._on(self._load, lambda: self._on_load(Path(self._file.value.strip()).expanduser()), "click")
        self._on(self._upload, self._on_upload)

    @property
    def value(self):
        """The bag as it is in the book, or None while it has no clubs."""
        return self._desk.book.bag(int(self._desk.session["bag_id"])) if len(self._desk.clubs) else None

    def _unit(self):
        return self._desk.setting("length_unit")

    def _on_field(self, club_id, name, words):
        if name == "label":
            return self._desk.change_club(club_id, name, words.strip())
        heading = {field: head for field, head, _, _ in _COLUMNS}[name]
        value = read_number(heading, words)
        return self._desk.change_club(club_id, name, to_mm(value, self._unit()) if name.endswith("_mm") else value)

    def _on_add(self):
        self._desk.add_club(label=self._label.value.strip(), loft_deg=read_number("loft", self._loft.value))
        say(self._message, f"Club {self._label.value.strip()} is in the bag.")
        self._label.value = self._loft.value = ""

    def _on_all(self):
        length = read_number("score lines, all clubs", self._lines.value)
        self._desk.set_score_lines(to_mm(length, self._unit()))
        self._lines.value = ""

    def _on_load(self, source):
        """Show what was understood of a file; nothing is entered before the fitter says so."""
        self._read, there = self._desk.understand_bag(source)
        said = f"There already, and left as they were: {', '.join(there)}." if there else ""
        if self._read is None:
            self._close_read()
            return say(self._message, f"No new club in that file. {said}".strip())
        table = self._read.understood().to_html(index=False, border=0)
        self._understood.value = text(
            f"<p><b>Understood of the file</b>, not entered yet. {html.escape(said)}</p>{table}"
        ).value
        self._enter.description = f"Enter {counted(len(self._read), 'club')}"
        self._asked.layout.display = None

    def _on_enter_read(self):
        clubs = self._read
        self._desk.enter_bag(clubs)
        self._close_read()
        say(self._message, f"Entered: {', '.join(clubs.labels)}.")

    def _close_read(self):
        self._read, self._asked.layout.display = None, "none"

    def _on_upload(self):
        if self._upload.value:
            self._on_load(io.BytesIO(self._taken(self._upload)))

    def _draw(self):
        clubs, unit = self._desk.clubs, self._unit()
        ids = [int(club) for club in clubs["club_id"]] if len(clubs) else []
        self._rows = {club: self._rows.get(club) or _ClubRow(self, club) for club in ids}
        for club, (_, row) in zip(ids, clubs.iterrows(), strict=True):
            self._rows[club].show(row, unit)
        heads = [(head + (f", {unit}" if name.endswith("_mm") else ""), width) for name, head, _, width in _COLUMNS]
        heads += [("Kind of head", "112px"), ("Set", "28px")]
        self._heading.children = (
            [_heading(words, width) for words, width in heads]
            if ids
            else [text("<p>No clubs yet: add them below, or load a CSV file.</p>")]
        )
        if list(self._table.children) != list(self._rows.values()):
            self._table.children = list(self._rows.values())
        self._lines.placeholder = f"length in {WORDS[unit]}"


class NetPanel(_Panel):
    """How far the net is, if the start of the ball is read on one; `value` is that distance in mm, or None."""

    def __init__(self, desk):
        self._net = typed("Ball to net", style=LABEL, layout=FIELD)
        self._words = text("")
        super().__init__(desk, [self._net, self._words])
        self._on(
            self._net,
            lambda: desk.set(
                net_distance_mm=to_mm(read_number("ball to net", self._net.value), desk.setting("carry_unit"))
            ),
        )

    @property
    def value(self):
        """Ball to net in mm, or None."""
        return self._desk.setting("net_distance_mm")

    def _draw(self):
        unit, small = self._desk.setting("carry_unit"), self._desk.setting("length_unit")
        self._net.description = f"Ball to net, {WORDS[unit]}"
        self._net.placeholder = "empty: no net"
        self._net.disabled = self._desk.session is None
        shown = show_number(from_mm(self.value, unit))
        if self._net.value != shown:
            self._net.value = shown
        beside = to_mm(100 if small == "mm" else 4, small)
        words = (
            "No net distance is entered: the direction of the face stays unknown, and readings of lofted clubs are "
            "much less sure."
            if self.value is None
            else f"A ball that hits the net {show_number(from_mm(beside, small))} {WORDS[small]} beside the aim dot "
            f"started {self._desk.net_help(beside):.1f}° off the line."
        )
        self._words.value = text(f"<p>{words}</p>").value


class SwingPanel(_Panel):
    """What is known of the golfer's path and of the lean of the shaft; `value` is it in words."""

    def __init__(self, desk):
        shapes = [("not known", None), *((shape, shape) for shape in SHAPES), ("by degrees", "degrees")]
        self._shape = widgets.Dropdown(options=shapes, description="The golfer", style=LABEL, layout=FIELD)
        self._path = typed("Path, °", placeholder="in-to-out minus, such as -3", style=LABEL, layout=FIELD)
        self._path_doubt = typed("give or take, °", placeholder="such as 2", style=LABEL, layout=FIELD)
        self._keep_path = _button("Enter path", "keeps the path with this session and the golfer's next ones")
        self._shaft = typed("Shaft forward, °", placeholder="empty: not known", style=LABEL, layout=FIELD)
        self._shaft_doubt = typed("give or take, °", placeholder="such as 3", style=LABEL, layout=FIELD)
        self._keep_shaft = _button("Enter shaft lean", "keeps the lean with this session and the golfer's next ones")
        self._degrees = widgets.HBox([self._path, self._path_doubt, self._keep_path], layout=ROW)
        self._line = text("")
        shaft = widgets.HBox([self._shaft, self._shaft_doubt, self._keep_shaft], layout=ROW)
        super().__init__(desk, [self._line, self._shape, self._degrees, shaft])
        self._on(self._shape, self._on_shape)
        self._on(self._keep_path, lambda: self._enter("path_deg", "path", self._path, self._path_doubt), "click")
        self._on(
            self._keep_shaft, lambda: self._enter("shaft_lean_deg", "shaft", self._shaft, self._shaft_doubt), "click"
        )

    @property
    def value(self):
        """Path and shaft in words."""
        return self._desk.swing_words()

    def _on_shape(self):
        shape = self._shape.value
        self._degrees.layout.display = None if shape == "degrees" else "none"
        if shape != "degrees":
            self._desk.enter_swing("path_deg", *(SHAPES[shape] if shape else (None, None)))

    def _enter(self, name, called, value, doubt):
        degrees = read_number(called, value.value)
        self._desk.enter_swing(name, degrees, read_number("give or take", doubt.value))

    def _draw(self):
        nothing = self._desk.session is None
        path, doubt = self._desk.setting("path_deg"), self._desk.setting("u_path_deg")
        said = (path, doubt and round(COVERAGE_FACTOR * doubt, 1))
        shape = next((name for name, usual in SHAPES.items() if said == usual), None if path is None else "degrees")
        self._shape.value, self._shape.disabled = shape, nothing
        self._degrees.layout.display = None if shape == "degrees" else "none"
        for control in (self._keep_path, self._keep_shaft):
            control.disabled = nothing
        known = (
            ""
            if path is not None
            else (
                " Every ball of a session carries the same path: more balls cannot tell it from the lie, a word on "
                "it can."
            )
        )
        self._line.value = text(f"<p>Path and shaft: <b>{html.escape(self.value)}</b>.{known}</p>").value


class StripPanel(widgets.VBox):
    """The marking strip to download and print; `value` is its SVG drawing."""

    def __init__(self, paper="A4"):
        self._paper = widgets.Dropdown(
            options=list(PAPERS_MM), value=paper, description="Paper", style=LABEL, layout=FIELD
        )
        self._link = widgets.HTML()
        super().__init__([self._paper, self._link])
        self._paper.observe(lambda _: self._draw(), "value")
        self._draw()

    @property
    def value(self):
        """The strip as SVG."""
        return marking_strip(paper=self._paper.value)

    def _draw(self):
        data = base64.b64encode(self.value.encode()).decode()
        name = f"marking_strip_{self._paper.value}.svg"
        self._link.value = text(
            f"<p><a download='{name}' href='data:image/svg+xml;base64,{data}' "
            f"style='text-decoration:underline'>Download {name}</a>, open it in the browser and print it at "
            "<b>100 %</b> (“actual size”). The check bar on it must measure <b>50 mm</b>.</p>"
        ).value

    def __repr__(self):
        return "StripPanel()"


class LinePanel(_Panel):
    """The lean of the ball's line before the hit, by photo or typed; `value` is (degrees, standard uncertainty), or
    None."""

    def __init__(self, desk):
        self._kind = widgets.Dropdown(
            options=[("a plumb cord with its weight", "cord"), ("a level bar, square to the target line", "edge")],
            description="In the picture is",
            style=LABEL,
            layout=widgets.Layout(width="460px", max_width="97%"),
        )
        self._view = widgets.Dropdown(
            options=list(VIEWS),
            description="The phone",
            style=LABEL,
            layout=widgets.Layout(width="460px", max_width="97%"),
        )
        self._file = typed("Photo's file", placeholder="setup.jpg", style=LABEL, layout=FIELD)
        self._measure = _button("Measure photo", "measures the lean of the line in this photo and enters it")
        self._upload = widgets.FileUpload(
            accept="image/*,.heic",
            description="Choose a photo",
            layout=widgets.Layout(width="170px"),
            tooltip="measure a photo of this computer",
        )
        self._side = widgets.Dropdown(
            options=[("to the toe's side", 1.0), ("to the heel's side", -1.0)],
            description="Or type: top leans",
            style=LABEL,
            layout=FIELD,
        )
        self._lean = typed(
            "by degrees", placeholder="0.5", style={"description_width": "80px"}, layout=widgets.Layout(width="150px")
        )
        self._doubt = typed(
            "give or take", placeholder="1", style={"description_width": "80px"}, layout=widgets.Layout(width="150px")
        )
        self._enter = _button(
            "Enter this lean", "enters the typed lean; give or take is the range that holds it 95 times in 100"
        )
        self._again = _button(
            "Measure from these marks", "measures the lean from the handles that were moved, and enters it"
        )
        self._line, self._picture, self._by_hand, self._photo = text(""), widgets.VBox(), widgets.VBox(), None
        super().__init__(
            desk,
            [
                self._kind,
                self._view,
                widgets.HBox([self._file, self._measure, self._upload], layout=ROW),
                widgets.HBox([self._side, self._lean, self._doubt, self._enter], layout=ROW),
                self._line,
                self._picture,
            ],
        )
        self.children = [*self.children, self._by_hand]  # below the refusal
        self._on(self._again, self._on_again, "click")
        self._on(self._measure, lambda: self._on_photo(Path(self._file.value.strip()).expanduser()), "click")
        self._on(self._upload, self._on_upload)
        self._on(self._enter, self._on_enter, "click")

    @property
    def value(self):
        """Lean of the line in degrees, toe's side positive, and its standard uncertainty, or None."""
        tilt, doubt = (self._desk.setting(name) for name in ("setup_tilt_deg", "u_setup_tilt_deg"))
        return None if tilt is None else (tilt, doubt)

    def _on_upload(self):
        if self._upload.value:
            self._on_photo(self._taken(self._upload))

    def _on_photo(self, photo):
        self._picture.children = self._by_hand.children = []
        if self._desk.golfer is None:
            raise InputError("there is no golfer in the book yet; expected one; enter the golfer first")
        self._photo = photo
        try:
            self._enter_photo()
        except PhotoError:
            self._lay_out()
            raise

    def _lay_out(self):
        """Show the photo with handles, where it is a photo at all."""
        picture = open_photo(self._photo)
        height, width = (side * picture.reduction for side in picture.rgb.shape[:2])
        self._laid = {
            name: [[x * width, y * height] for x, y in places]
            for name, places in {
                "ball": [[0.35, 0.55], [0.65, 0.55]],
                "reference": _PLACES[self._kind.value],
                "line": [[0.5, 0.65], [0.5, 0.45]],
            }.items()
        }
        self._handles = PhotoHandles(
            picture=_jpeg(picture.rgb),
            alt="the photo with handles for its marks",
            size=[width, height],
            marks=_HANDLES,
            hint=_HINT,
            joined=False,
            active=True,
            corners=[*self._laid["ball"], *self._laid["reference"]],
            line=self._laid["line"],
        )
        words = text(
            "<p><b>Or put the handles where they belong</b>, both of a pair; a pair that is not moved is looked for "
            "in the photo. Or type the lean above.</p>"
        )
        self._by_hand.children = [words, self._handles, self._again]

    def _on_again(self):
        corners = self._handles.corners
        self._enter_photo(
            **marks_by_hand(self._laid, {"ball": corners[:2], "reference": corners[2:], "line": self._handles.line})
        )

    def _enter_photo(self, **by_hand):
        self._picture.children = []
        reading = measure_setup(
            self._photo,
            handed=self._desk.golfer["handed"],
            reference=self._kind.value,
            **VIEWS[self._view.value],
            **by_hand,
        )
        self._desk.set(setup_tilt_deg=reading.setup_tilt_deg, u_setup_tilt_deg=reading.u_setup_tilt_deg)
        doubts = "".join(f"<li>Mind: {html.escape(flag)}.</li>" for flag in reading.flags)
        words = (
            "Drawn on the photo: the ball's outline dashed, its line solid, the reference with square ends, a plumb "
            "line through the ball dotted."
        )
        self._picture.children = [
            text(f"<p><b>{html.escape(reading.sentence)}</b> It is entered.</p><ul>{doubts}</ul><p>{words}</p>"),
            _image(reading.overlay()),
        ]

    def _on_enter(self):
        lean, doubt = read_number("by degrees", self._lean.value), read_number("give or take", self._doubt.value)
        if lean is None or doubt is None or lean < 0:
            raise InputError(
                "the lean is not filled in; expected degrees, 0 or more, how far they may be off, and the side; 0 "
                "and 1 for a line set by eye with care"
            )
        self._picture.children = self._by_hand.children = []
        self._desk.enter_lean(self._side.value * lean, doubt)

    def _draw(self):
        self._line.value = text(f"<p>Lean of the line in the book: <b>{self._desk.lean_words()}</b>.</p>").value


class SummaryPanel(_Panel):
    """What is set up so far; `value` is it as a DataFrame."""

    def __init__(self, desk):
        self._table = text("")
        super().__init__(desk, [self._table])

    @property
    def value(self):
        """What is set up, as `Desk.summary`."""
        return self._desk.summary()

    def _draw(self):
        self._table.value = text(self.value.to_html(index=False, header=False, border=0)).value


def _button(words, tooltip, width="auto"):
    return widgets.Button(description=words, tooltip=tooltip, layout=widgets.Layout(width=width))


def _heading(words, width):
    return widgets.HTML(
        f"<div style='font-size:12px;line-height:1.2;color:var(--jp-ui-font-color1)'><b>{words}</b></div>",
        layout=widgets.Layout(width=width),
    )


def _jpeg(rgb, side_px=2 * PICTURE_PX):
    scale = min(1.0, side_px / max(rgb.shape))
    small = cv2.resize(rgb, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    return cv2.imencode(".jpg", cv2.cvtColor(small, cv2.COLOR_RGB2BGR), [cv2.IMWRITE_JPEG_QUALITY, 88])[1].tobytes()


def _image(rgb):
    source = f"data:image/jpeg;base64,{base64.b64encode(_jpeg(rgb, PICTURE_PX)).decode()}"
    return widgets.HTML(
        f"<img alt='the photo with what was found drawn on it' src='{source}' style='max-width:100%;max-height:560px'>"
    )
