"""The lie table's panel: the whole bag of a session, what to hit next and what to do; limits, bench and retest beside
it."""

import base64
import html
import re
import threading

import ipywidgets as widgets
import pandas as pd
import plotly.graph_objects as go
import traitlets

from ...base.checks import check_number
from ...base.club import HEAD_LIMIT_DEG
from ...base.errors import InputError
from ...bench.plan import CAUTION
from ...handouts.bench_page import bench_sheet
from ...handouts.charts import update_bag_chart
from ...session.bends import begin_retest, bench_table, enter_bends, retest_of
from ...session.handed import hand_out, handed_plan
from ...session.middle import STEPS_DEG, keep_rules, miss, standing
from ...words.bag import bag_words, headline, session_notes
from ...words.terms import SIDES, bend_words, miss_words
from .common import (
    CHART_STYLE,
    LABEL,
    ROW,
    WIDE,
    Elsewhere,
    book_line,
    message_line,
    read_number,
    say,
    show_number,
    shown_errors,
    text,
    typed,
)

COLUMNS = {
    "club": "club",
    "advice": "advice",
    "enough": "enough?",
    "sits": "sits",
    "range": "95 % range",
    "balls": "balls",
    "strikes": "strikes, mm",
}
FIELD = {"width": "440px", "max_width": "97%"}
SCREEN = "lie table"  # who acts, in the book's list of edits
SECTIONS = ("Club by club", "Limits and bench", "Where shots miss", "Bench sheet", "After the bend")
_BAG_STYLE = CHART_STYLE + (
    "<style>.lt-bag{overflow-x:auto;container-type:inline-size}.lt-bag td,.lt-bag th{white-space:nowrap}.lt-bag "
    "table{min-width:560px}"
    ".lt-bag th:first-child{position:sticky;left:0;background:var(--jp-layout-color0)}"
    "@container(max-width:720px){.lt-bag td,.lt-bag th{white-space:normal}}</style>"
)


class LieTablePanel(widgets.VBox):
    """The whole bag of a session of a book. Everything entered here is in the book at once.

    Parameters
    ----------
    book : SessionBook
    session : int, optional
        Default: the one entered or opened last.
    """

    def __init__(self, book, session=None):
        self._book, self._value, self._filling, self._lock = book, None, False, threading.RLock()
        self._message = message_line()
        self._elsewhere = Elsewhere(book, lambda: self._session.value, self._stay, self._open, refused=self._show)
        guard = shown_errors(self._message, self._elsewhere)
        self._session = widgets.Dropdown(
            description="Session", style=LABEL, layout=widgets.Layout(width="520px", max_width="97%")
        )
        self._again = _button("Read the book again", "Shots measured meanwhile in another notebook come in")
        self._undo = _button("Undo the last entry", "Takes back what was entered last in this panel")
        self._headline, self._table, self._notes, self._reasons = text(""), text(""), text(""), text("")
        self._figure = go.FigureWidget(layout={"width": 640})
        self._chart = widgets.Box([self._figure], layout=widgets.Layout(**WIDE))
        self._section = widgets.ToggleButtons(
            options=SECTIONS, value=None, description="Show", style={"button_width": "auto"}
        )
        self._parts = dict(
            zip(
                SECTIONS,
                (
                    self._reasons,
                    self._limits_part(guard),
                    self._miss_part(guard),
                    self._bench_part(guard),
                    self._after_part(guard),
                ),
            )
        )
        said_above = message_line()  # the same words beside the buttons above and beside the fields below, spoken once
        traitlets.dlink((self._message, "value"), (said_above, "value"), lambda said: re.sub(r" role='\w+'", "", said))
        super().__init__(
            [
                book_line(book),
                widgets.HBox([self._session, self._again, self._undo], layout=ROW),
                said_above,
                self._headline,
                self._table,
                self._notes,
                self._chart,
                self._section,
                self._elsewhere,
                self._message,
                *self._parts.values(),
            ]
        )
        self._open(session)
        self._watch(guard, self._session, self._choose_session)
        self._again.on_click(guard(lambda _: self._open(self._session.value)))
        self._undo.on_click(guard(self._take_back))
        self._section.observe(lambda _: self._show_section(), "value")
        self._show_section()

    @property
    def value(self):
        """The `Standing` that is shown; None while the book has no session."""
        return self._value

    def __repr__(self):
        return f"LieTablePanel({'no session' if self._value is None else self._session.label!r})"

    # Whose session

    def _stay(self):
        self._book.open_session(self._session.value)
        self._show()

    def _acting(self):
        """Write as this panel, in its session alone (see `SessionBook.acting`)."""
        return self._book.acting(SCREEN, self._session.value)

    # The bag

    def _open(self, session=None):
        """Read the book and show a session of it."""
        sessions = self._book.sessions()
        current = self._book.current_session()
        chosen = (
            session
            if session in set(sessions["session_id"])
            else None
            if current is None
            else int(current["session_id"])
        )
        self._fill(self._session, [(_session_words(row), row.session_id) for row in sessions.itertuples()], chosen)
        self._section.disabled = chosen is None
        if chosen is None:
            self._headline.value = text(
                "<p>This book has no session yet: enter golfer and bag in the first notebook, then read the book "
                "again.</p>"
            ).value
            return
        self._show()

    def _show(self):
        self._value = table = standing(self._book, self._session.value)
        self._headline.value = text(f"<h3>{html.escape(headline(table))}</h3>").value
        self._table.value = text(_bag_html(table)).value
        self._reasons.value = text(
            "".join(
                f"<p><b>{html.escape(row.club)}</b> {html.escape(_said(row))}</p>"
                for row in bag_words(table).itertuples()
            )
        ).value
        self._notes.value = text("".join(f"<p>{html.escape(note)}</p>" for note in self._said_notes(table))).value
        self._chart.layout.display = "none" if table.fit is None else None
        if table.fit is not None:
            update_bag_chart(self._figure, table.fit, table.plan)
        self._show_limits()
        self._show_miss()
        self._show_bench()
        self._show_after()

    def _said_notes(self, table):
        handed = handed_plan(self._book, table.session_id)
        return [*session_notes(table), *([] if handed is None else handed.sentences)]

    def _choose_session(self, session):
        self._book.open_session(session)
        self._show()

    def _take_back(self, _):
        edit = self._book.last_edit(SCREEN, self._session.value)
        if edit is None:
            raise InputError(
                "there is nothing of this panel to take back in this session; expected a bend, a limit or a head "
                "entered here"
            )
        with self._acting():
            undone = self._book.undo(edit)
        self._open(self._session.value)
        say(self._message, f"Taken back: {undone}.")

    def _show_section(self):
        for name, part in self._parts.items():
            part.layout.display = None if name == self._section.value else "none"

    # Limits of the heads, the golfer's cap, the bench's step

    def _limits_part(self, guard):
        self._step = widgets.ToggleButtons(
            options=[(f"{step:g}°", step) for step in STEPS_DEG],
            description="Bench's step",
            style=LABEL | {"button_width": "80px"},
        )
        self._cap = _number_field("Golfer's own cap, °", "empty: no cap")
        self._club = widgets.Dropdown(description="Club", style=LABEL, layout=FIELD)
        self._head = widgets.Dropdown(
            options=[("not known", None), *((head, head) for head in HEAD_LIMIT_DEG)],
            description="Head",
            style=LABEL,
            layout=FIELD,
        )
        self._limit = _number_field("Limit of the bend, °", "empty: usual for such a head")
        self._limits = text("")
        self._watch(guard, self._step, lambda step: self._keep(step_deg=step))
        self._watch(guard, self._cap, lambda cap: self._keep(cap_deg=_read("the golfer's cap", cap, 0, 10)))
        self._watch(guard, self._club, lambda _: self._show_limits())
        self._watch(guard, self._head, lambda head: self._correct_club(head=head))
        self._watch(
            guard,
            self._limit,
            lambda limit: self._correct_club(bend_limit_deg=_read("limit of the bend", limit, 0, 10)),
        )
        about = text(
            "<p>The bench bends in whole steps. The cap is how far from the maker's figure this golfer wants to go; "
            "the limit is what the head allows, "
            "either way. Both count bends done before.</p>"
        )
        return widgets.VBox([about, self._step, self._cap, self._club, self._head, self._limit, self._limits])

    def _keep(self, **rules):
        with self._acting():
            keep_rules(self._book, self._session.value, **rules)
        self._show()

    def _correct_club(self, **values):
        clubs = self._book.clubs(int(self._value.session["bag_id"])).set_index("label")["club_id"]
        with self._acting():
            self._book.change("club", int(clubs[self._club.value]), **values)
        self._show()

    def _show_limits(self):
        bag, rules = self._value.bag_now, self._value.rules
        self._fill(self._club, bag.labels, self._club.value if self._club.value in bag.labels else bag.labels[0])
        club = bag[self._club.value]
        self._set(self._step, rules["step_deg"])
        self._set(self._cap, show_number(rules["cap_deg"]))
        self._set(self._head, club.head)
        self._set(self._limit, show_number(club.bend_limit_deg))
        listed = "; ".join(f"{one.label}: ±{one.limit_deg:g}°" for one in bag)
        self._limits.value = text(f"<p>Limits now, from the maker's figure: {html.escape(listed)}.</p>").value

    # Where the golfer's shots miss

    def _miss_part(self, guard):
        self._miss_club = widgets.Dropdown(description="Club", style=LABEL, layout=FIELD)
        self._middle = _number_field("Middle off the line", "0")
        self._side = widgets.Dropdown(options=SIDES, description="on the", style=LABEL, layout=FIELD)
        self._scatter = _number_field("Scatter to the sides", "two shots in three are within it")
        self._feared = widgets.Dropdown(
            options=[("neither side", ""), *((side, side) for side in SIDES)],
            description="What costs more",
            style=LABEL,
            layout=FIELD,
        )
        keep, forget = _button("Keep this miss", ""), _button("Forget this miss", "")
        keep.on_click(guard(self._keep_miss))
        forget.on_click(guard(self._forget_miss))
        self._watch(guard, self._miss_club, lambda _: self._show_miss())
        self._misses = text("")
        about = text(
            "<p>Where shots with a club end now, and which side the golfer fears. A bend that feeds the feared side "
            "is advised against.</p>"
        )
        return widgets.VBox(
            [
                about,
                self._miss_club,
                self._middle,
                self._side,
                self._scatter,
                self._feared,
                widgets.HBox([keep, forget], layout=ROW),
                self._misses,
            ]
        )

    def _keep_miss(self, _):
        middle, scatter = (
            _read("middle of the shots", self._middle.value or "0", 0, 100, self._unit),
            _read("scatter", self._scatter.value, 0.5, 100, self._unit),
        )
        if scatter is None:
            raise InputError(f"scatter is empty; expected how far to the sides two shots in three end, in {self._unit}")
        self._keep(
            misses=self._value.rules["misses"]
            | {self._miss_club.value: miss(middle, self._side.value, scatter, self._feared.value, self._unit)}
        )

    def _forget_miss(self, _):
        self._keep(
            misses={
                label: miss for label, miss in self._value.rules["misses"].items() if label != self._miss_club.value
            }
        )

    @property
    def _unit(self):
        return self._value.session["carry_unit"]

    def _show_miss(self):
        bag, misses = self._value.bag, self._value.rules["misses"]
        self._fill(
            self._miss_club, bag.labels, self._miss_club.value if self._miss_club.value in bag.labels else bag.labels[0]
        )
        self._middle.description, self._scatter.description = (
            f"Middle off the line, {self._unit}",
            f"Scatter, {self._unit}",
        )
        known = "; ".join(miss_words(label, miss, self._unit) for label, miss in misses.items())
        self._misses.value = text(f"<p>{html.escape(known) if known else 'No miss is entered.'}</p>").value

    # For the bench

    def _bench_part(self, guard):
        make = _button("Keep the plan and make the sheet", "The sheet is for whoever bends the clubs")
        make.on_click(guard(self._make_sheet))
        self._bends, self._sheet = text(""), text("")
        return widgets.VBox([text(f"<p class='lt-caution'>{html.escape(CAUTION)}</p>"), self._bends, make, self._sheet])

    def _show_bench(self):
        self._sheet.value = ""
        bends = None if self._value.plan is None else bench_table(self._book, self._session.value, self._value.plan)
        if bends is None or bends.empty:
            self._bends.value = text("<p>No club is to be bent.</p>").value
            return
        rows = [
            {
                "club": row.club,
                "head": row.head,
                "lie now": _degrees(row.lie_before_deg),
                "bend": bend_words(row.bend_deg),
                "to": _degrees(row.target_deg),
                "bound by": "" if row.limit.startswith("nothing") else row.limit,
                "care": row.caution,
            }
            for row in bends.itertuples()
        ]
        self._bends.value = text(_rows_html(pd.DataFrame(rows), "What the bench is asked for")).value

    def _make_sheet(self, _):
        if self._value.plan is None:
            raise InputError("there is no plan yet, since no ball counts; expected at least one; hit some first")
        session = self._session.value
        with self._acting():
            hand_out(self._book, session)
        path = self._book.path.with_name(f"{self._book.path.stem}-bench-{session}.html")
        page = bench_sheet(self._book, session, path)
        link = base64.b64encode(page.encode()).decode()
        self._sheet.value = text(
            f"<p>The plan is in the book. The sheet lies beside it as <b>{html.escape(path.name)}</b>: "
            f"<a download='{html.escape(path.name)}' href='data:text/html;base64,{link}'>save a copy</a>, open it "
            "and print it.</p>"
        ).value

    # After the bench

    def _after_part(self, guard):
        self._bent_club = widgets.Dropdown(description="Club", style=LABEL, layout=FIELD)
        self._gauge = _number_field("Gauge reads now, °", "such as 62.5")
        self._bent = _number_field("Bend done, °", "where it was not on the gauge before")
        enter, again = (
            _button("Enter the bend", ""),
            _button("Start the retest", "A new session with the same bag; measure its balls in the second notebook"),
        )
        enter.on_click(guard(self._enter_bend))
        again.on_click(guard(self._start_retest))
        self._done, self._retest = text(""), text("")
        about = text(
            "<p>Read every bent club on the gauge again and enter it here. Then hit a few balls with each bent club: "
            "the retest says whether it did what was "
            "predicted. Upright is plus, flat is minus.</p>"
        )
        return widgets.VBox([about, self._bent_club, self._gauge, self._bent, enter, self._done, again, self._retest])

    def _enter_bend(self, _):
        reading = {"club": self._bent_club.value, "gauge_after_deg": self._gauge.value, "bend_deg": self._bent.value}
        with self._acting():
            done = enter_bends(self._book, self._session.value, pd.DataFrame([reading]))
        if done.empty:
            raise InputError(
                "nothing is entered yet; expected a reading or a bend; give what the gauge reads now, or the bend "
                "that was done"
            )
        self._set(self._gauge, "")
        self._set(self._bent, "")
        self._show()
        row = done.iloc[0]
        say(
            self._message,
            f"Entered: the {row['club']} was bent {bend_words(row['bend_deg'])} "
            f"({bend_words(row['planned_deg']) if row['planned_deg'] else 'no bend'} was planned).",
        )

    def _start_retest(self, _):
        with self._acting():
            again = begin_retest(self._book, self._session.value)
        self._open(again)
        say(
            self._message,
            "The retest is open: measure its balls in the second notebook, then read the book again here.",
        )

    def _show_after(self):
        bag, table = self._value.bag, self._value
        again = retest_of(self._book, table.session_id)
        first = (
            next(iter(table.plan.loc[table.plan["bend_deg"] != 0, "club"]), bag.labels[0])
            if table.plan is not None
            else bag.labels[0]
        )
        self._fill(self._bent_club, bag.labels, self._bent_club.value if self._bent_club.value in bag.labels else first)
        bends = self._book.bends(int(table.session["bag_id"]))
        rows = [
            {
                "club": row.club,
                "day": row.day,
                "bent": bend_words(row.bend_deg),
                "gauge at this test": _degrees(bag[row.club].gauge_lie_deg),
                "gauge now": _degrees(table.bag_now[row.club].gauge_lie_deg),
                "note": row.note,
            }
            for row in bends.itertuples()
        ]
        self._done.value = text(
            _rows_html(pd.DataFrame(rows), "Bends done with this bag")
            if rows
            else "<p>No bend is entered for this bag.</p>"
        ).value
        self._retest.value = text("<p>No retest yet.</p>" if again is None else _retest_html(again)).value

    # Widgets without an echo: what the panel fills in itself is no entry

    def _watch(self, guard, control, act):
        act_on = guard(lambda change: act(change["new"]))

        def heard(change):
            with self._lock:  # another widget's callback may be filling this one in, in a thread of its own
                if not self._filling:
                    act_on(change)

        control.observe(heard, "value")

    def _set(self, control, value):
        with self._lock:
            self._filling, before = True, self._filling
            try:
                control.value = value
            finally:
                self._filling = before

    def _fill(self, control, options, value):
        with self._lock:
            self._filling, before = True, self._filling
            try:
                if tuple(control.options) != tuple(options):
                    control.options = options
                control.value = value
            finally:
                self._filling = before


def _button(words, tip):
    return widgets.Button(description=words, tooltip=tip, layout=widgets.Layout(width="auto", align_self="flex-start"))


def _number_field(words, hint):
    return typed(words, placeholder=hint, style=LABEL, layout=FIELD)


def _read(name, words, low, high, unit="degrees"):
    """Return the number typed, None for an empty field."""
    number = read_number(name, words)
    return None if number is None else check_number(name, number, low, high, unit)


def _degrees(value):
    return "not known" if pd.isna(value) else f"{value:g}°"


def _signed(value):
    return f"{round(value, 1) + 0.0:+.1f}°"  # no minus before a zero


def _session_words(row):
    again = "" if pd.isna(row.retest_of) else ", retest"
    return f"{row.golfer}, {row.bag}, {row.day}{again}: {row.counted} of {row.shots} balls count"


def _bag_html(table):
    rows = _rows_html(bag_words(table)[list(COLUMNS)].rename(columns=COLUMNS), "Every club of the bag")
    return f"{_BAG_STYLE}<div class='lt-bag'>{rows}</div>"


def _said(row):
    other = "" if row.instead in ("", "nothing to change") else f"In place of a bend: {row.instead}."
    return " ".join(filter(None, (row.reason, other, row.scatter))) or "No ball yet."


def _retest_html(retest):
    rows = [
        {
            "club": row.club,
            "balls": row.balls,
            "before": _signed(row.before_deg),
            "bent": bend_words(row.bend_deg) if row.bend_deg else "no",
            "predicted": _signed(row.predicted_deg),
            "found": _signed(row.found_deg),
            "verdict": row.verdict,
            "in words": row.sentence,
        }
        for row in retest.itertuples()
    ]
    return _rows_html(pd.DataFrame(rows), "Retest beside the first test (toe up is plus)")


def _rows_html(table, caption):
    body = "".join(f"<tr>{_cells(row)}</tr>" for row in table.itertuples(index=False))
    return f"<table><caption>{html.escape(caption)}</caption>{_head(table)}{body}</table>"


def _head(table):
    return "<tr>" + "".join(f"<th scope='col'>{html.escape(name)}</th>" for name in table.columns) + "</tr>"


def _cells(row):
    first, *rest = (html.escape(str(value)) for value in row)
    return f"<th scope='row'>{first}</th>" + "".join(f"<td>{value}</td>" for value in rest)
