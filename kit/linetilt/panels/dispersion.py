"""The dispersion panel: sliders for a bend, a change of delivery, the golfer and the target, beside chart and table."""

import html
from dataclasses import replace

import ipywidgets as widgets
import plotly.graph_objects as go

from ..air import Air
from ..charts import dispersion_figure, update_dispersion
from ..compare import compare_shots
from ..dispersion import Delivery, Target
from ..errors import InputError
from ..flight import to_metres

_WIDE = widgets.Layout(width="97%")
_LABEL = {"description_width": "118px"}
_TABLE_STYLE = (
    "<style>.lt-shots td,.lt-shots th{text-align:right;padding:1px 4px;white-space:nowrap}"
    ".lt-shots th:first-child{text-align:left}.lt-shots{border-collapse:collapse;font-size:12px;line-height:1.5}</style>"
)


class DispersionPanel(widgets.VBox):
    """Before and after a change for one club of a bag, redrawn as the sliders move.

    Parameters
    ----------
    bag : Bag
    lie_errors : mapping of str to (float, float), optional
        Lie error and its standard uncertainty, in degrees, by club label.
    club : str, optional
        Label to start with; the bag's first club if not given.
    bend_deg : float
        Bend to start with.
    unit : {"yd", "m"}
    n, seed : int
        Simulated swings (each is hit twice, before and after), and the seed of their scatter.
    **swing
        What is known of the golfer's delivery, as for `Delivery.typical`: `shaft_lean_deg=0`, `path_deg=-2`.
    """

    def __init__(self, bag, lie_errors=None, *, club=None, bend_deg=0.0, unit="yd", n=1000, seed=1, **swing):
        self._bag, self._lie_errors, self._n, self._seed, self._swing = bag, dict(lie_errors or {}), n, seed, swing
        self._value, self._quiet = None, False
        self._club = widgets.Dropdown(options=bag.labels, value=bag[club].label if club else bag.labels[0], description="Club", style=_LABEL, layout=_WIDE)
        self._unit = widgets.ToggleButtons(options=[("yards", "yd"), ("metres", "m")], value=unit, style={"button_width": "80px"})
        self._lie = _slider("Lie error now, °", 0.0, -5.0, 5.0, 0.1)
        self._bend = _slider("Bend upright, °", bend_deg, -4.0, 4.0, 0.25)
        self._hands = _slider("Hands lower, mm", 0.0, -40.0, 40.0, 2.0)
        self._speed = _slider("7-iron speed, m/s", 36.0, 24.0, 45.0, 0.5)
        self._scatter = _slider("Scatter, factor", 1.0, 0.2, 2.0, 0.1)
        self._width = _slider("Target width", 20.0, 4.0, 50.0, 1.0)
        self._depth = _slider("Target depth", 20.0, 4.0, 50.0, 1.0)
        self._past = _slider("Target long by", 0.0, -30.0, 30.0, 1.0)
        self._hold = widgets.Dropdown(options=[("score lines' aim", "score lines"), ("face's aim, by habit", "face")], description="The golfer keeps", style=_LABEL, layout=_WIDE)
        self._own = widgets.BoundedFloatText(0.0, min=0.0, max=380.0, step=1.0, style=_LABEL, layout=_WIDE)
        self._tail = _slider("Tail wind, m/s", 0.0, -10.0, 10.0, 1.0)
        self._cross = _slider("Wind to left, m/s", 0.0, -10.0, 10.0, 1.0)
        self._warmth = _slider("Temperature, °C", 15.0, -5.0, 40.0, 1.0)
        self._altitude = _slider("Altitude, m", 0.0, 0.0, 3000.0, 100.0)
        self._message, self._table, self._notes = widgets.HTML(), widgets.HTML(), widgets.HTML()
        self._take_club()
        comparison = self._compare()
        self._figure = go.FigureWidget(dispersion_figure(comparison, unit))
        self._figure.layout.width = 510
        self._show(comparison)
        more = widgets.VBox([self._own, self._tail, self._cross, self._warmth, self._altitude])
        side = widgets.VBox(
            [
                self._unit, self._club, self._lie, self._bend, self._hands, self._hold, self._speed, self._scatter, self._width, self._depth,
                self._past, self._message, self._table, widgets.Accordion([more], titles=("Own carry, wind and air",)),
            ],
            layout=widgets.Layout(width="335px"),
        )  # fmt: skip
        super().__init__([widgets.HBox([side, self._figure]), self._notes])
        self._club.observe(self._on_club, "value")
        for control in self._controls():
            control.observe(self._on_change, "value")

    @property
    def value(self):
        """The `Comparison` that is shown."""
        return self._value

    def __repr__(self):
        return f"DispersionPanel(club={self._club.value!r})"

    def _controls(self):
        return (
            self._unit, self._lie, self._bend, self._hands, self._speed, self._scatter, self._width, self._depth, self._past, self._hold,
            self._own, self._tail, self._cross, self._warmth, self._altitude,
        )  # fmt: skip

    def _take_club(self):
        club = self._bag[self._club.value]
        self._lie.value = self._lie_errors.get(club.label, (0.0, 0.0))[0]
        self._hands.disabled = club.length_in is None or club.lie_deg is None
        if self._hands.disabled:
            self._hands.value = 0.0

    def _compare(self):
        club, unit = self._bag[self._club.value], self._unit.value
        comparison = compare_shots(
            club, Delivery.typical(club, self._speed.value, **self._swing).scattered(self._scatter.value), self._lie.value, self._n, self._seed,
            u_lie_error_deg=self._lie_errors.get(club.label, (0.0, 0.0))[1], bend_deg=self._bend.value, hands_down_mm=self._hands.value,
            hold=self._hold.value, own_carry_m=to_metres(self._own.value, unit) or None, wind_m_s=(self._tail.value, self._cross.value, 0.0),
            air=Air(temperature_c=self._warmth.value, altitude_m=self._altitude.value),
        )  # fmt: skip
        past, width, depth = (to_metres(control.value, unit) for control in (self._past, self._width, self._depth))
        return replace(comparison, target=Target(carry_m=comparison.before["carry_m"].mean() + past, width_m=width, depth_m=depth))

    def _show(self, comparison):
        self._value = comparison
        unit = self._unit.value
        for control, text in ((self._width, "Target width"), (self._depth, "Target depth"), (self._past, "Target long by"), (self._own, "Own carry")):
            control.description = f"{text}, {unit}"
        self._table.value = _TABLE_STYLE + comparison.words(unit).to_html(classes="lt-shots", border=0)
        self._notes.value = "".join(f"<p style='margin:4px 0;line-height:1.4'>{html.escape(note)}</p>" for note in comparison.notes(unit))
        self._message.value = ""

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
        try:
            comparison = self._compare()
            update_dispersion(self._figure, comparison, self._unit.value)
            self._show(comparison)
        except InputError as error:
            self._message.value = f"<b>Not shown: {html.escape(str(error))}</b>"
        except Exception as error:  # an error in a callback is invisible, so it is shown here
            self._message.value = f"<b>Something went wrong ({html.escape(repr(error))}); the chart shows the state before it.</b>"


def _slider(description, value, low, high, step):
    return widgets.FloatSlider(
        value, min=low, max=high, step=step, description=description, readout_format=f".{len(f'{step:g}'.partition('.')[2])}f", style=_LABEL, layout=_WIDE
    )
