"""The dispersion panel: sliders for a bend, a change of delivery, the golfer and the target, beside chart and table."""

import html
from collections.abc import Mapping
from dataclasses import replace

import anywidget
import ipywidgets as widgets
import plotly.graph_objects as go

from ...base.statistics import COVERAGE_FACTOR
from ...flight.air import Air
from ...flight.compare import compare_shots
from ...flight.dispersion import Delivery, Target
from ...flight.trajectory import to_metres
from ...handouts.charts import dispersion_figure, update_dispersion
from ...session.middle import standing
from ...words.terms import sits
from .common import CHART_STYLE, STYLE, WIDE, book_line, message_line, shown_errors

_WIDE = {"width": "97%"}
_LABEL = {"description_width": "118px"}
_TABLE_STYLE = (
    CHART_STYLE + "<style>.lt-shots td,.lt-shots th{text-align:right;padding:1px 4px;white-space:nowrap}"
    ".lt-shots th:first-child{text-align:left}"
    ".lt-shots{border-collapse:collapse;font-size:12px;line-height:1.5}</style>"
)

# A slider's handle has no name of its own: the label beside it is made its name, for a screen reader.
_NAMES = """
export default { render({ el }) {
  let watcher, frame;
  const start = () => {
    if (!el.isConnected) { frame = requestAnimationFrame(start); return; }
    const panel = el.closest(".jp-OutputArea-output") || document.body;
    const name = () => panel.querySelectorAll(".widget-slider").forEach((slider) => {
      const label = slider.querySelector("label"), handle = slider.querySelector("[role=slider]");
      if (!label || !handle || handle.hasAttribute("aria-labelledby")) return;
      label.id = label.id || `lt-slider-${Math.random().toString(36).slice(2)}`;
      handle.setAttribute("aria-labelledby", label.id);
    });
    watcher = new MutationObserver(name);
    watcher.observe(panel, { childList: true, subtree: true });
    name();
  };
  start();
  return () => { cancelAnimationFrame(frame); watcher?.disconnect(); };
} };
"""


class _SliderNames(anywidget.AnyWidget):
    _esm = _NAMES

    def __repr__(self):
        return "SliderNames()"


class DispersionPanel(widgets.VBox):
    """Before and after a change for one club of a bag, redrawn as the sliders move.

    Parameters
    ----------
    bag : Bag
    lie_errors : mapping of str to (float, float), optional
        Lie error and its standard uncertainty, in degrees, by club label.
    club : str, optional
        Label to start with; the bag's first club if not given.
    bend_deg : float or mapping of str to float
        Bend to start with; a mapping has one for each club, by label.
    unit : {"yd", "m"}
    kept : dict, optional
        What `keep` was given last: the state to start from.
    keep : callable, optional
        Called with the state of all controls (a dict that JSON holds) after each change.
    n, seed : int
        Simulated swings (each is hit twice, before and after), and the seed of their scatter.
    **swing
        What is known of the golfer's delivery, as for `Delivery.typical`: `shaft_lean_deg=0`, `path_deg=-2`.
    """

    def __init__(
        self, bag, lie_errors=None, *, club=None, bend_deg=0.0, unit="yd", kept=None, keep=None, n=1000, seed=1, **swing
    ):
        self._bag, self._lie_errors, self._n, self._seed, self._swing = bag, dict(lie_errors or {}), n, seed, swing
        self._value, self._quiet, self._keep = None, False, keep
        self._bends, bend = (bend_deg, 0.0) if isinstance(bend_deg, Mapping) else ({}, bend_deg)
        self._club = widgets.Dropdown(
            options=bag.labels,
            value=bag[club].label if club else bag.labels[0],
            description="Club",
            style=_LABEL,
            layout=_WIDE,
        )
        self._unit = widgets.ToggleButtons(
            options=[("yards", "yd"), ("metres", "m")], value=unit, style={"button_width": "80px"}
        )
        self._lie = _slider("Lie error now, °", 0.0, -5.0, 5.0, 0.1)
        self._bend = _slider("Bend upright, °", bend, -4.0, 4.0, 0.25)
        self._hands = _slider("Hands lower, mm", 0.0, -40.0, 40.0, 2.0)
        self._speed = _slider("7-iron speed, m/s", 36.0, 24.0, 45.0, 0.5)
        self._scatter = _slider("Scatter, factor", 1.0, 0.2, 2.0, 0.1)
        self._width = _slider("Target width", 20.0, 4.0, 50.0, 1.0)
        self._depth = _slider("Target depth", 20.0, 4.0, 50.0, 1.0)
        self._past = _slider("Target long by", 0.0, -30.0, 30.0, 1.0)
        self._hold = widgets.Dropdown(
            options=[("score lines' aim", "score lines"), ("face's aim, by habit", "face")],
            description="The golfer keeps",
            style=_LABEL,
            layout=_WIDE,
        )
        self._own = widgets.BoundedFloatText(0.0, min=0.0, max=380.0, step=1.0, style=_LABEL, layout=_WIDE)
        self._tail = _slider("Tail wind, m/s", 0.0, -10.0, 10.0, 1.0)
        self._cross = _slider("Wind to left, m/s", 0.0, -10.0, 10.0, 1.0)
        self._warmth = _slider("Temperature, °C", 15.0, -5.0, 40.0, 1.0)
        self._altitude = _slider("Altitude, m", 0.0, 0.0, 3000.0, 100.0)
        self._message, self._measured, self._table, self._notes = (
            message_line(),
            widgets.HTML(),
            widgets.HTML(),
            widgets.HTML(),
        )
        self._restore(kept or {})
        comparison = self._compare()
        self._figure = go.FigureWidget(dispersion_figure(comparison, self._unit.value))
        self._figure.layout.width = 510
        self._show(comparison)
        more = widgets.VBox(
            [self._own, self._tail, self._cross, self._warmth, self._altitude], layout=widgets.Layout(display="none")
        )
        self._more = widgets.ToggleButton(
            description="Own carry, wind and air", tooltip="Shows or hides these controls", layout=_WIDE
        )
        side = widgets.VBox(
            [
                self._unit,
                self._club,
                self._measured,
                self._lie,
                self._bend,
                self._hands,
                self._hold,
                self._speed,
                self._scatter,
                self._width,
                self._depth,
                self._past,
                self._more,
                more,
                self._message,
                self._table,
            ],
            layout=widgets.Layout(width="335px"),
        )
        beside = widgets.Layout(
            flex_flow="row wrap-reverse", align_items="flex-end"
        )  # where it is narrow the chart is above, so that a moved slider shows in it
        super().__init__(
            [
                widgets.HBox([side, widgets.Box([self._figure], layout=widgets.Layout(**WIDE))], layout=beside),
                self._notes,
                _SliderNames(),
            ]
        )
        guard = shown_errors(self._message)
        self._more.observe(lambda change: setattr(more.layout, "display", None if change["new"] else "none"), "value")
        self._club.observe(guard(self._on_club), "value")
        for control in self._controls().values():
            control.observe(guard(self._on_change), "value")

    @classmethod
    def of_session(cls, book, session=None, **options):
        """Return the panel of a session of a book: its clubs with their measured lie errors and planned bends, as it
        was left.

        Parameters
        ----------
        book : SessionBook
        session : int, optional
            Default: the one entered or opened last.
        **options
            As for the class; without a club, the one that is to be bent most.
        """
        table = standing(book, session)
        session = int(table.session["session_id"])
        bends = {} if table.plan is None else dict(zip(table.plan["club"], table.plan["bend_deg"]))
        most = max(bends, key=lambda label: abs(bends[label]), default=None)
        usual = {
            "unit": table.session["carry_unit"],
            "bend_deg": bends,
            "kept": book.setting(session, "flight"),
            **table.swing,
        }
        options["club"] = options.get("club") or most
        panel = cls(
            table.bag_now,
            table.lie_errors,
            keep=lambda state: book.keep_setting(session, "flight", state),
            **(usual | options),
        )
        panel.children = [book_line(book), *panel.children]
        return panel

    @property
    def value(self):
        """The `Comparison` that is shown."""
        return self._value

    @property
    def club(self):
        """The label of the club that is shown."""
        return self._club.value

    @property
    def bend_deg(self):
        """The bend that is shown, upright positive, in degrees."""
        return self._bend.value

    def __repr__(self):
        return f"DispersionPanel(club={self._club.value!r})"

    def _controls(self):
        """All controls but the club's, by the name under which their state is kept."""
        return {
            "unit": self._unit,
            "lie": self._lie,
            "bend": self._bend,
            "hands": self._hands,
            "speed": self._speed,
            "scatter": self._scatter,
            "width": self._width,
            "depth": self._depth,
            "past": self._past,
            "hold": self._hold,
            "own": self._own,
            "tail": self._tail,
            "cross": self._cross,
            "warmth": self._warmth,
            "altitude": self._altitude,
        }

    def _restore(self, kept):
        if kept.get("club") in self._bag:
            self._club.value = kept["club"]
        self._take_club()
        for name, control in self._controls().items():
            if name in kept and name != "lie":  # the lie error is measured: more balls may have come in since
                control.value = kept[name]

    def _take_club(self):
        club = self._bag[self._club.value]
        lie, doubt = self._lie_errors.get(club.label, (0.0, 0.0))
        self._lie.value, self._bend.value = round(lie, 1), self._bends.get(club.label, self._bend.value)
        known = (
            f"Measured: sits {sits(lie)}, ±{COVERAGE_FACTOR * doubt:.1f}° (19 times in 20)."
            if club.label in self._lie_errors
            else "This club's lie error is not measured."
        )
        self._measured.value = f"{STYLE}<div class='lt-text'>{known}</div>"
        self._hands.disabled = club.length_in is None or club.lie_deg is None
        if self._hands.disabled:
            self._hands.value = 0.0

    def _compare(self):
        club, unit = self._bag[self._club.value], self._unit.value
        comparison = compare_shots(
            club,
            Delivery.typical(club, self._speed.value, **self._swing).scattered(self._scatter.value),
            self._lie.value,
            self._n,
            self._seed,
            u_lie_error_deg=self._lie_errors.get(club.label, (0.0, 0.0))[1],
            bend_deg=self._bend.value,
            hands_down_mm=self._hands.value,
            hold=self._hold.value,
            own_carry_m=to_metres(self._own.value, unit) or None,
            wind_m_s=(self._tail.value, self._cross.value, 0.0),
            air=Air(temperature_c=self._warmth.value, altitude_m=self._altitude.value),
        )
        past, width, depth = (to_metres(control.value, unit) for control in (self._past, self._width, self._depth))
        return replace(
            comparison, target=Target(carry_m=comparison.before["carry_m"].mean() + past, width_m=width, depth_m=depth)
        )

    def _show(self, comparison):
        self._value = comparison
        unit = self._unit.value
        for control, text in (
            (self._width, "Target width"),
            (self._depth, "Target depth"),
            (self._past, "Target long by"),
            (self._own, "Own carry"),
        ):
            control.description = f"{text}, {unit}"
        self._table.value = _TABLE_STYLE + comparison.words(unit).to_html(classes="lt-shots", border=0)
        self._notes.value = "".join(
            f"<p style='margin:4px 0;line-height:1.4'>{html.escape(note)}</p>" for note in comparison.notes(unit)
        )

    def _on_club(self, _):
        self._quiet = True
        try:
            self._take_club()
        finally:
            self._quiet = False
        self._on_change(None)

    def _on_change(self, _):
        if self._quiet:
            return
        comparison = self._compare()
        update_dispersion(self._figure, comparison, self._unit.value)
        self._show(comparison)
        if self._keep is not None:
            self._keep({"club": self._club.value} | {name: control.value for name, control in self._controls().items()})


def _slider(description, value, low, high, step):
    return widgets.FloatSlider(
        value,
        min=low,
        max=high,
        step=step,
        description=description,
        readout_format=f".{len(f'{step:g}'.partition('.')[2])}f",
        style=_LABEL,
        layout=_WIDE,
    )
