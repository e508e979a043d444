"""Plotly figures: strike map, bag chart, dispersion. Every series differs by marker or dash as well as by colour."""

import numpy as np
import plotly.graph_objects as go
from plotly.subplots import make_subplots

from .dispersion import ellipse
from .flight import from_metres

# Okabe & Ito's colour-blind-safe set, by role. No colour ever stands for a lie angle or for upright or flat.
INK = "#222222"
BEFORE = "#0072B2"
AFTER = "#D55E00"
THIRD = "#009E73"
QUIET = "#8A8A8A"
TEMPLATE = "plotly_white"


_DISPERSION = (  # name, panel, kind of trace; update_dispersion fills them in this order
    ("before: shots (lying strokes)", 1, {"mode": "none", "fill": "toself", "fillcolor": BEFORE}),
    ("after: shots (standing strokes)", 1, {"mode": "none", "fill": "toself", "fillcolor": AFTER}),
    ("target", 1, {"mode": "lines", "line": {"color": INK, "width": 2.5, "dash": "dot"}}),
    ("before: half of them (thin: 95 %)", 1, {"mode": "lines", "line": {"color": BEFORE, "width": 3}}),
    ("before: 95 % of the shots", 1, {"mode": "lines", "line": {"color": BEFORE, "width": 1.5}}),
    ("after: half of them (thin: 95 %)", 1, {"mode": "lines", "line": {"color": AFTER, "width": 3, "dash": "dash"}}),
    ("after: 95 % of the shots", 1, {"mode": "lines", "line": {"color": AFTER, "width": 1.5, "dash": "dash"}}),
    ("before: middle", 1, {"mode": "markers", "marker": {"color": BEFORE, "symbol": "circle", "size": 13, "line": {"color": "white", "width": 2}}}),
    ("after: middle", 1, {"mode": "markers", "marker": {"color": AFTER, "symbol": "diamond", "size": 13, "line": {"color": "white", "width": 2}}}),
    ("before: from the side", 2, {"mode": "lines", "line": {"color": BEFORE, "width": 2.5}}),
    ("after: from the side", 2, {"mode": "lines", "line": {"color": AFTER, "width": 2.5, "dash": "dash"}}),
    ("before: from above", 3, {"mode": "lines", "line": {"color": BEFORE, "width": 2.5}}),
    ("after: from above", 3, {"mode": "lines", "line": {"color": AFTER, "width": 2.5, "dash": "dash"}}),
)
_STROKE_M = 0.45, 0.1  # half the length and half the thickness of a shot's stroke


def dispersion_figure(comparison, unit="yd"):
    """Return the chart of a `Comparison`: landing points with ellipses and target, the mean flight from the side and from above.

    Left in the picture is left on the range, for either hand. `unit` is "yd" or "m".
    """
    figure = make_subplots(
        rows=2, cols=2, specs=[[{"colspan": 2}, None], [{}, {}]], row_heights=[0.7, 0.3], vertical_spacing=0.19, horizontal_spacing=0.2,
        subplot_titles=("Where the balls land", "The mean flight from the side", "and from above (left is up)"),
    )  # fmt: skip
    for name, panel, style in _DISPERSION:
        shown = panel == 1 and not name.endswith(("95 % of the shots", "middle"))
        trace = go.Scatter(name=name, showlegend=shown, uid=f"dispersion {name}", hoverinfo="skip", **style)
        figure.add_trace(trace, row=1 if panel == 1 else 2, col=2 if panel == 3 else 1)
    grid = {"zeroline": True, "zerolinecolor": QUIET, "zerolinewidth": 1.5}
    figure.update_layout(
        template=TEMPLATE, height=620, margin={"l": 55, "r": 10, "t": 85, "b": 105}, font={"size": 12, "color": INK},
        legend={"orientation": "h", "y": -0.15, "yanchor": "top", "x": 0, "font": {"size": 11}},
        title={"x": 0.01, "y": 0.985, "yanchor": "top", "font": {"size": 15}}, uirevision="dispersion",
        xaxis=grid, yaxis={"scaleanchor": "x", "scaleratio": 1}, xaxis2={"rangemode": "tozero"}, yaxis2={"rangemode": "tozero"}, yaxis3=grid,
    )  # fmt: skip
    figure.update_annotations(font_size=13)
    update_dispersion(figure, comparison, unit)
    return figure


def update_dispersion(figure, comparison, unit="yd"):
    """Put another `Comparison` into a figure made by `dispersion_figure`, in place."""
    sides = comparison.before, comparison.after
    clouds = [(shots["carry_m"].to_numpy(), shots["offline_m"].to_numpy()) for shots in sides]
    ovals = [ellipse(shots, share).outline() for shots in sides for share in (0.5, 0.95)]
    middles = [(carry.mean(keepdims=True), offline.mean(keepdims=True)) for carry, offline in clouds]
    target = comparison.target.outline() if comparison.target else (np.array([]), np.array([]))
    flights = [from_metres(comparison.paths_m[:, :, side], unit) for side in (0, 1)]
    points = [(-from_metres(offline, unit), from_metres(carry, unit)) for carry, offline in (*clouds, target, *ovals, *middles)]
    points += [(path[:, 0], path[:, axis]) for axis in (2, 1) for path in flights]
    across, along = (np.concatenate([point[axis] for point in points[:7]]) for axis in (0, 1))
    points[:2] = _strokes(*points[0], *_STROKE_M), _strokes(*points[1], *_STROKE_M[::-1])
    curve = np.concatenate([path[:, 1] for path in flights])
    name = {"yd": "yards", "m": "metres"}[unit]
    ground = f"along the target line ({name})"
    with figure.batch_update():
        for trace, (x, y) in zip(figure.data, points):
            trace.update(x=x, y=y)
        for trace in figure.data[:2]:
            trace.opacity = float(np.clip(900 / len(comparison.before), 0.25, 0.7))
        figure.update_layout(
            title_text=f"Club {comparison.club.label}, before and after: {comparison.change}<br>"
            f"<span style='font-size:11px'>{comparison.hold_note()}<br>{comparison.carry_note()}</span>",
            xaxis=_sides(across, name, ("left", "right")), yaxis={"title": f"carry ({name})", "range": _span(along, 10)},
            xaxis2={"title": {"text": ground}}, yaxis2={"title": {"text": f"height ({name})"}},
            xaxis3={"title": {"text": ground}}, yaxis3=_sides(curve, name, ("right", "left"), least=5, most=2),
        )  # fmt: skip


def _strokes(x, y, across, along):
    """Return points as the outline of small bars with gaps between: a browser draws one shape far faster than as many markers."""
    corners = np.array([[-across, across, across, -across, np.nan], [-along, -along, along, along, np.nan]])
    return tuple((values[:, None] + corner).ravel().astype(np.float32) for values, corner in zip((x, y), corners))


def _span(values, step):
    """Return a range around the values in whole steps, so that a small change does not move the picture."""
    return [step * np.floor(values.min() / step - 0.1), step * np.ceil(values.max() / step + 0.1)]


def _sides(values, name, words, least=10, most=5):
    """Return an axis about the target line, equal to both sides, with its sides in words (for negative and positive values)."""
    half = max(least, _span(np.abs(values), least)[1])
    step = next(step for step in (1, 2, 5, 10, 20, 50, 100) if half / step <= most)
    ticks = np.arange(-step * (half // step), half + step / 2, step)
    text = [f"{abs(tick):g} {words[0] if tick < 0 else words[1]}" if tick else "line" for tick in ticks]
    return {"title": f"to the side ({name})", "range": [-half, half], "tickvals": ticks, "ticktext": text}
