"""What all panels share: the book they write in, errors shown where they happen, and one look in light and dark
themes."""

import functools
import html
import re

import ipywidgets as widgets

from ...base.errors import InputError, LinetiltError, SessionChanged
from ...session.middle import opened_elsewhere, session_row

# Dicts: each widget makes its own layout of it, and one that hides itself hides no other.
LABEL = {"description_width": "150px"}
FIELD = {"width": "340px"}
ROW = {"flex_flow": "row wrap", "align_items": "center"}
WIDE = {
    "max_width": "99%",
    "overflow": "auto hidden",
}  # what is wider than a tablet's page is scrolled to the side, not cut off

# Colours come from JupyterLab's own theme, so that light and dark are both right; nothing is told by colour alone.
STYLE = """<style>
.lt-text{color:var(--jp-ui-font-color1);font-size:13px;line-height:1.45;max-width:860px;white-space:normal}
.lt-text h3{font-size:15px;margin:12px 0 2px;color:var(--jp-ui-font-color1)}
.lt-text p{margin:3px 0}
.lt-text ul,.lt-text ol{margin:2px 0;padding-left:22px}
.lt-said,.lt-error{padding:4px 10px;border-left:4px solid var(--jp-border-color1);background:var(--jp-layout-color2)}
.lt-error{border-left-style:double;border-left-width:8px;font-weight:600}
.lt-caution{padding:4px 10px;border:1px solid var(--jp-border-color1)}
.lt-spoken>label.widget-label,.lt-spoken.widget-checkbox label span{position:absolute;width:1px;height:1px;overflow:hidden;clip-path:inset(50%);white-space:nowrap}
.lt-text table{border-collapse:collapse}
.lt-text caption{text-align:left;padding:2px 8px}
.widget-slider .noUi-handle{border:2px solid var(--jp-ui-font-color1)!important}
.jupyter-button.mod-active{font-weight:700;text-decoration:underline;text-underline-offset:3px}
.widget-select select option:checked{font-weight:700;background:var(--jp-layout-color3) linear-gradient(var(--jp-layout-color3),var(--jp-layout-color3))}
.lt-text td,.lt-text th{padding:2px 8px;text-align:left;border-bottom:1px solid var(--jp-border-color2)}
[data-jp-theme-light=false]{--jp-widgets-dropdown-arrow:url("data:image/svg+xml,%3Csvg xmlns='http://www.w3.org/2000/svg' viewBox='0 0 18 18'%3E%3Cpath d='M5 7l4 4 4-4' fill='none' stroke='%23ddd' stroke-width='2'/%3E%3C/svg%3E")}
</style>"""

# words of charts as dark or light as the page's own
CHART_STYLE = "<style>.js-plotly-plot text{fill:var(--jp-ui-font-color1)!important}</style>"

# What a fitter calls the arguments and columns that the kit's own messages name.
_WORDS = {
    "label": "the club's name",
    "loft_deg": "loft",
    "lie_deg": "maker's lie",
    "gauge_lie_deg": "lie by the gauge",
    "length_in": "length",
    "score_line_length_mm": "score-line length",
    "score_line_pitch_mm": "distance of the score lines",
    "score_line_width_mm": "score-line width",
    "bend_limit_deg": "limit of the bend",
    "bent_deg": "bends done",
    "bend_deg": "bend",
    "from_set": "bought with the set",
    "head": "kind of head",
    "handed": "hand",
    "setup_tilt_deg": "lean of the line",
    "u_setup_tilt_deg": "uncertainty of the lean",
    "net_distance_mm": "distance of the net",
    "start_deg": "start direction",
    "why": "the reason",
    "name": "the name",
    "day": "the day",
    "own_carry_m": "own carry",
    "hands_down_mm": "hands lower",
    "cap_deg": "the golfer's cap",
    "step_deg": "the bench's step",
}


def in_words(error):
    """Return an error's sentence with the fitter's words in place of the kit's names."""
    sentence = re.sub(r"\b[a-z]+_\w+|^\w+(?= is )", lambda word: _WORDS.get(word[0], word[0]), str(error))
    return sentence[:1].upper() + sentence[1:]


def say(message, text, kind="said"):
    """Show a sentence in a message line; `kind` is "said" or "error"."""
    word = "<b>Not done.</b> " if kind == "error" else ""
    role = "alert" if kind == "error" else "status"
    message.value = (
        f"{STYLE}<div class='lt-text lt-{kind}' role='{role}'>{word}{html.escape(text)}</div>" if text else ""
    )


def read_number(name, typed):
    """Return what was typed as a number, with point or comma; None where nothing was typed. `name` is what the fitter
    calls it."""
    plain = typed.strip().rstrip("°").strip().replace(",", ".").replace("−", "-")
    if not plain:
        return None
    try:
        return float(plain)
    except ValueError:
        raise InputError(
            f"{name} is {typed!r}; expected a number, such as 34 or 61.5, or nothing where it is not known"
        ) from None


def show_number(value):
    """Return a number as text for a field; nothing where it is not known."""
    return "" if value is None or value != value else f"{round(value, 3):g}"


def shown_errors(message, elsewhere=None):
    """Return a decorator for callbacks: what goes wrong in them is shown in `message` (an HTML widget), in the fitter's
    words.

    Where another session was chosen elsewhere, `elsewhere` (an `Elsewhere`) asks. The message line is emptied when the
    callback starts; the callback may write in it itself, with `say`.

    Examples
    --------
    >>> line, button = widgets.HTML(), widgets.Button()
    >>> button.on_click(shown_errors(line)(lambda _: 1 / 0))
    >>> button.click()
    >>> "Something went wrong" in line.value
    True
    """

    def decorate(callback):
        @functools.wraps(callback)
        def shown(*arguments, **named):
            say(message, "")
            try:
                return callback(*arguments, **named)
            except LinetiltError as error:
                say(message, in_words(error), "error")
                if elsewhere is not None and isinstance(error, SessionChanged):
                    elsewhere.not_taken()
            except Exception as error:  # an exception in a callback is invisible, so it is shown here
                say(
                    message,
                    f"Something went wrong in the kit ({error!r}). What was entered before is safe in the book.",
                    "error",
                )

        return shown

    return decorate


def typed(description="", **more):
    """Return a field for words or numbers, sent as a whole when it is left.

    Sent letter by letter, the last ones may reach the kernel after the click on the button beside the field: "3" in
    place of "30".
    """
    return widgets.Text(description=description, continuous_update=False, **more)


def message_line():
    """Return an empty line in which `say` and `shown_errors` write."""
    return widgets.HTML(layout=widgets.Layout(width="97%"))


def text(body):
    """Return a block of the kit's own text (HTML), in the look of the panels."""
    return widgets.HTML(f"{STYLE}<div class='lt-text'>{body}</div>", layout=widgets.Layout(width="97%"))


def book_line(book):
    """Return a line that says which book is being written in."""
    name, folder = (html.escape(str(part)) for part in (book.path.name, book.path.resolve().parent))
    if getattr(book, "trial", False):
        return text(
            "<p class='lt-caution'><b>Trial book.</b> What is entered is forgotten when the kernel ends. To keep it, "
            "open the notebooks with "
            "<code>python -m linetilt</code>, or put a file's name into <code>BOOK_FILE</code> in the first cell and "
            "run all cells again.</p>"
        )
    if getattr(book, "demo", None):
        return text(
            "<p class='lt-caution'><b>Demo book.</b> Your own book has no golfer yet, so this is the invented "
            f"afternoon, in <b>{name}</b> in {folder}. Enter a "
            "golfer in the first notebook, and the next <i>Run All Cells</i> is on your own book. To begin the demo "
            "anew, delete that file.</p>"
        )
    return text(f"<p>Book: <b>{name}</b> in {folder}. Every entry is in it as soon as it is made.</p>")


class Elsewhere(widgets.HBox):
    """The question that a panel asks where another golfer or session was chosen elsewhere: stay with this one, or go to
    the other.

    Parameters
    ----------
    book : SessionBook
    session : callable
        Returns the panel's session, or None.
    stay, follow : callable
        What to do: go on with the panel's own session, or with the one opened last.
    refused : callable, optional
        Shows again what stands in the book, after an entry that was not taken.
    """

    def __init__(self, book, session, stay, follow, refused=None):
        self._book, self._session, self._refused = book, session, refused
        self._words, self._stay, self._follow = text(""), widgets.Button(), widgets.Button()
        for button in (self._stay, self._follow):
            button.layout.width = "auto"
        super().__init__([self._words, self._stay, self._follow], layout=widgets.Layout(display="none", **_QUESTION))
        self._stay.on_click(lambda _: self._answer(stay))
        self._follow.on_click(lambda _: self._answer(follow))

    def __repr__(self):
        return f"Elsewhere(asked={self.asked})"

    @property
    def asked(self):
        """True while the question stands."""
        return self.layout.display is None

    def look(self):
        """Ask where another session was opened elsewhere; return True where the question stands."""
        session = self._session()
        other = opened_elsewhere(self._book, session)
        self.layout.display = "none" if other is None else None
        if other is not None:
            golfer, name = session_row(self._book, session)["golfer"], other["golfer"]
            here = golfer if golfer != name else f"{golfer}, session {session}"
            there = name if golfer != name else f"{name}, session {other['session_id']}"
            self._words.value = text(
                f"<p class='lt-caution' role='alert'><b>Who is hitting?</b> This panel works for {html.escape(here)}; "
                f"elsewhere {html.escape(there)} was chosen since. Nothing is entered here until you say.</p>"
            ).value
            self._stay.description, self._follow.description = f"Stay with {here}", f"Go to {there}"
        return other is not None

    def not_taken(self):
        """Show what stands in the book again, and ask."""
        if self._refused is not None:
            self._refused()
        self.look()

    def _answer(self, act):
        act()
        self.look()


_QUESTION = {"flex_flow": "row wrap", "align_items": "center"}
