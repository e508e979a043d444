"""Plotly figures: strike map, bag chart, dispersion. Every series differs by marker or dash as well as by colour."""

import numpy as np
import plotly.graph_objects as go
import plotly.io as pio
from plotly.subplots import make_subplots

from ..flight.compare import Comparison
from ..flight.dispersion import ellipse
from ..flight.trajectory import from_metres

# Okabe & Ito's colour-blind-safe set, by role. No colour ever stands for a lie angle or for upright or flat.
INK = "#797979"  # as far from white as from black, so that lines and words read on a light and on a dark page
BEFORE = "#0072B2"
AFTER = "#D55E00"
THIRD = "#009E73"
QUIET = "#8A8A8A"
TEMPLATE = go.layout.Template(pio.templates["plotly_white"])
TEMPLATE.layout.update(paper_bgcolor="rgba(0,0,0,0)", plot_bgcolor="rgba(0,0,0,0)", font_color=INK)
for _axis in (TEMPLATE.layout.xaxis, TEMPLATE.layout.yaxis):
    _axis.update(gridcolor="rgba(128,128,128,0.25)", linecolor=QUIET, zerolinecolor=QUIET, automargin=False)


def _uid(*words):
    """A trace's identity from its name; plotly.js selects by it, and an apostrophe there is no valid selector."""
    return "-".join("".join(letter if letter.isalnum() else "-" for letter in word) for word in words)


def bag_chart(fit, plan=None):
    """Draw each club's estimate with its 95 % interval, its shots, the golfer's trend and the gauge.

    Parameters
    ----------
    fit : BagFit
    plan : DataFrame, optional
        From `plan_bends`: adds where each bent club would come to lie.

    Returns
    -------
    plotly.graph_objects.Figure
    """
    table, shots = (
        fit.table.round(3),
        fit.shots[fit.shots["counted"]].round(3),
    )  # the last digits differ between machines
    place = {label: position for position, label in enumerate(table["club"])}
    x = np.arange(len(table))
    fig = go.Figure()

    def add(name, x, y, **style):
        fig.add_scatter(x=x, y=y, name=name, uid=_uid("bag", name), visible=bool(len(y)), **style)

    for bad, name, symbol, size in ((False, "shot", "circle-open", 5), (True, "shot that disagrees", "x-thin-open", 8)):
        rows = shots[shots["bad"] == bad]
        beside = [
            place[label] - 0.3 + 0.04 * (step % 5) for label, step in zip(rows["club"], rows.groupby("club").cumcount())
        ]
        add(
            name,
            beside,
            rows["lie_error_deg"],
            mode="markers",
            marker={"symbol": symbol, "size": size, "color": QUIET, "line": {"width": 1.5, "color": QUIET}},
            customdata=rows[["club", "weight"]],
            hovertemplate="%{customdata[0]}: %{y:.1f}°, weight %{customdata[1]:.2f}",
        )
    add("this golfer's trend", x, table["trend_deg"], mode="lines", line={"color": THIRD, "dash": "dash", "width": 2})
    gauged = table["gauge_deg"].notna()
    add(
        "the club itself, by the gauge",
        x[gauged] + 0.12,
        table.loc[gauged, "gauge_deg"],
        mode="markers",
        marker={"symbol": "diamond-open", "size": 9, "color": INK},
    )
    add(
        "lie error, 95 % interval",
        x,
        table["lie_error_deg"],
        mode="markers",
        marker={"symbol": "circle", "size": 10, "color": BEFORE},
        error_y={
            "type": "data",
            "symmetric": False,
            "array": table["high_deg"] - table["lie_error_deg"],
            "arrayminus": table["lie_error_deg"] - table["low_deg"],
            "color": BEFORE,
            "thickness": 2,
            "width": 6,
        },
    )
    bends = np.zeros(len(table)) if plan is None else plan.set_index("club").loc[table["club"], "bend_deg"].to_numpy()
    add(
        "after the bend",
        x[bends != 0] + 0.24,
        (table["lie_error_deg"] + bends)[bends != 0],
        mode="markers",
        marker={"symbol": "square", "size": 9, "color": AFTER},
    )
    fig.add_hline(y=0, line={"color": INK, "width": 1})
    fig.update_layout(
        template=TEMPLATE,
        title="Lie error of each club",
        height=460,
        legend={"orientation": "h", "y": -0.18},
        margin={"l": 60, "r": 20, "t": 50, "b": 40},
    )
    fig.update_xaxes(
        title="club",
        tickvals=x,
        ticktext=list(table["club"]),
        range=[-0.6, len(x) - 0.4],
        showgrid=False,
        zeroline=False,
    )
    fig.update_yaxes(title="toe down   ←   degrees   →   toe up", zeroline=False)
    return fig


def update_bag_chart(figure, fit, plan=None):
    """Put another bag into a figure made by `bag_chart` (or an empty one), in place."""
    new = bag_chart(fit, plan)
    if not figure.data:
        figure.add_traces(new.data)
        figure.update_layout(new.layout)
        return
    with figure.batch_update():
        for trace, wanted in zip(figure.data, new.data, strict=True):
            trace.update(
                {
                    name: wanted[name]
                    for name in ("x", "y", "visible", "customdata", "error_y")
                    if name in wanted.to_plotly_json()
                }
            )
        figure.layout.xaxis.update(
            tickvals=new.layout.xaxis.tickvals, ticktext=new.layout.xaxis.ticktext, range=new.layout.xaxis.range
        )


def strike_map(shots, club=None, handed="right"):
    """Draw where shots struck the face, as one looks at it, with their mean and spread.

    Parameters
    ----------
    shots : DataFrame
        With `strike_toe_mm` and `strike_up_mm`; `club` and `counted` are used where there.
    club : str or Club, optional
        Show only this club's shots. A `Club` also brings its hand and the field of its score lines.
    handed : {"right", "left"}
        Which way the toe lies; a `Club` overrides it.

    Returns
    -------
    plotly.graph_objects.Figure
    """
    label = getattr(club, "label", club)
    handed = getattr(club, "handed", handed)
    rows = shots[shots["strike_toe_mm"].notna() & shots["strike_up_mm"].notna()]
    if "counted" in rows:
        rows = rows[rows["counted"].astype(bool)]
    if label is not None:
        rows = rows[rows["club"] == label]
    toe, up = rows["strike_toe_mm"].to_numpy(float), rows["strike_up_mm"].to_numpy(float)
    fig = go.Figure()
    half = (getattr(club, "score_line_length_mm", None) or 0.0) / 2
    if half:
        fig.add_scatter(
            x=[-half, half], y=[0, 0], mode="lines", name="lowest full score line", line={"color": INK, "width": 2}
        )
    names = rows.get("club")
    fig.add_scatter(
        x=toe,
        y=up,
        mode="markers",
        name="strike",
        text=names,
        marker={"symbol": "circle-open", "size": 9, "color": BEFORE, "line": {"width": 2}},
        hovertemplate="%{text} %{x:.1f} mm to the toe, %{y:.1f} mm up" if names is not None else None,
    )
    if len(rows) >= 3:
        turn = np.linspace(0, 2 * np.pi, 73)
        axes = np.linalg.cholesky(np.cov(toe, up) + 1e-9 * np.eye(2))
        ring = np.round(np.array([[toe.mean()], [up.mean()]]) + axes @ np.array([np.cos(turn), np.sin(turn)]), 4)
        fig.add_scatter(
            x=ring[0],
            y=ring[1],
            mode="lines",
            name="one standard deviation",
            line={"color": AFTER, "dash": "dot", "width": 2},
        )
    if len(rows):
        fig.add_scatter(
            x=[toe.mean()],
            y=[up.mean()],
            mode="markers",
            name="middle of the strikes",
            marker={"symbol": "cross", "size": 13, "color": AFTER},
        )
    balls = f"{len(rows)} ball{'' if len(rows) == 1 else 's'}"
    reach = max(24.0, half + 4, *(np.abs(toe) + 4)) if len(rows) else max(24.0, half + 4)
    toe_left = handed == "right"
    fig.add_vline(x=0, line={"color": QUIET, "width": 1, "dash": "dash"})
    fig.update_layout(
        template=TEMPLATE,
        title=f"Strikes{'' if label is None else f' of the {label}'}, {balls}",
        height=420,
        legend={"orientation": "h", "y": -0.2},
        margin={"l": 60, "r": 20, "t": 50, "b": 40},
    )
    fig.update_xaxes(
        title="toe   ←   millimetres from the middle   →   heel"
        if toe_left
        else "heel   ←   millimetres from the middle   →   toe",
        range=[reach, -reach] if toe_left else [-reach, reach],
        zeroline=False,
    )
    fig.update_yaxes(
        title="millimetres above the lowest full score line",
        scaleanchor="x",
        zeroline=False,
        range=[min(-4.0, *(up - 3)), max(30.0, *(up + 3))] if len(rows) else [-4.0, 30.0],
    )
    return fig


_DISPERSION = (  # name, panel, kind of trace; update_dispersion fills them in this order
    ("before: shots (lying strokes)", 1, {"mode": "none", "fill": "toself", "fillcolor": BEFORE}),
    ("after: shots (standing strokes)", 1, {"mode": "none", "fill": "toself", "fillcolor": AFTER}),
    ("target", 1, {"mode": "lines", "line": {"color": INK, "width": 2.5, "dash": "dot"}}),
    ("before: half of them (thin: 95 %)", 1, {"mode": "lines", "line": {"color": BEFORE, "width": 3}}),
    ("before: 95 % of the shots", 1, {"mode": "lines", "line": {"color": BEFORE, "width": 1.5}}),
    ("after: half of them (thin: 95 %)", 1, {"mode": "lines", "line": {"color": AFTER, "width": 3, "dash": "dash"}}),
    ("after: 95 % of the shots", 1, {"mode": "lines", "line": {"color": AFTER, "width": 1.5, "dash": "dash"}}),
    (
        "before: middle",
        1,
        {
            "mode": "markers",
            "marker": {"color": BEFORE, "symbol": "circle", "size": 13, "line": {"color": "white", "width": 2}},
        },
    ),
    (
        "after: middle",
        1,
        {
            "mode": "markers",
            "marker": {"color": AFTER, "symbol": "diamond", "size": 13, "line": {"color": "white", "width": 2}},
        },
    ),
    ("before: from the side", 2, {"mode": "lines", "line": {"color": BEFORE, "width": 2.5}}),
    ("after: from the side", 2, {"mode": "lines", "line": {"color": AFTER, "width": 2.5, "dash": "dash"}}),
    ("before: from above", 3, {"mode": "lines", "line": {"color": BEFORE, "width": 2.5}}),
    ("after: from above", 3, {"mode": "lines", "line": {"color": AFTER, "width": 2.5, "dash": "dash"}}),
)
_STROKE_M = 0.45, 0.1  # half the length and half the thickness of a shot's stroke
# shots at most that a cloud shows: more takes a browser longer and shows no more; ellipses and tables are of all
_DRAWN = 500


def dispersion_figure(comparison: Comparison, unit: str = "yd") -> go.Figure:
    """Return the chart of a `Comparison`: landing points with ellipses and target, the mean flight from the side and
    from above.

    Left in the picture is left on the range, for either hand. `unit` is "yd" or "m".
    """
    figure = make_subplots(
        rows=2,
        cols=2,
        specs=[[{"colspan": 2}, None], [{}, {}]],
        row_heights=[0.7, 0.3],
        vertical_spacing=0.19,
        horizontal_spacing=0.2,
        subplot_titles=("Where the balls land", "The mean flight from the side", "and from above (left is up)"),
    )
    for name, panel, style in _DISPERSION:
        shown = panel == 1 and not name.endswith(("95 % of the shots", "middle"))
        trace = go.Scatter(name=name, showlegend=shown, uid=_uid("dispersion", name), hoverinfo="skip", **style)
        figure.add_trace(trace, row=1 if panel == 1 else 2, col=2 if panel == 3 else 1)
    grid = {"zeroline": True, "zerolinecolor": QUIET, "zerolinewidth": 1.5}
    figure.update_layout(
        template=TEMPLATE,
        height=630,
        margin={"l": 55, "r": 10, "t": 95, "b": 105},
        font={"size": 12},
        legend={"orientation": "h", "y": -0.15, "yanchor": "top", "x": 0, "font": {"size": 11}},
        title={"x": 0.01, "y": 0.965, "yanchor": "top", "font": {"size": 15}},
        uirevision="dispersion",
        xaxis=grid,
        yaxis={"scaleanchor": "x", "scaleratio": 1},
        xaxis2={"rangemode": "tozero"},
        yaxis2={"rangemode": "tozero"},
        yaxis3=grid,
    )
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
    points = [
        (-from_metres(offline, unit), from_metres(carry, unit))
        for carry, offline in (*clouds, target, *ovals, *middles)
    ]
    points += [(path[:, 0], path[:, axis]) for axis in (2, 1) for path in flights]
    across, along = (np.concatenate([point[axis] for point in points[:7]]) for axis in (0, 1))
    drawn = np.linspace(0, len(comparison.before) - 1, min(_DRAWN, len(comparison.before))).astype(
        int
    )  # swings come in no order
    points[:2] = (
        _strokes(*(values[drawn] for values in cloud), *size)
        for cloud, size in zip(points, (_STROKE_M, _STROKE_M[::-1]))
    )
    curve = np.concatenate([path[:, 1] for path in flights])
    name = {"yd": "yards", "m": "metres"}[unit]
    ground = f"along the target line ({name})"
    with figure.batch_update():
        for trace, (x, y) in zip(figure.data, points):
            trace.update(x=x, y=y)
        for trace in figure.data[:2]:
            trace.opacity = float(np.clip(250 / len(drawn), 0.4, 0.7))
        figure.update_layout(
            title_text=f"Club {comparison.club.label}, before and after: {comparison.change}<br>"
            f"<span style='font-size:11px'>{comparison.hold_note()}<br>{comparison.carry_note()}</span>",
            xaxis=_sides(across, name, ("left", "right")),
            yaxis={"title": f"carry ({name})", "range": _span(along, 10)},
            xaxis2={"title": {"text": ground}},
            yaxis2={"title": {"text": f"height ({name})"}},
            xaxis3={"title": {"text": ground}},
            yaxis3=_sides(curve, name, ("right", "left"), least=5, most=2),
        )


def _strokes(x, y, across, along):
    """Return points as the outline of small bars with gaps between: a browser draws one shape far faster than as many
    markers."""
    corners = np.array([[-across, across, across, -across, np.nan], [-along, -along, along, along, np.nan]])
    return tuple((values[:, None] + corner).ravel().astype(np.float32) for values, corner in zip((x, y), corners))


def _span(values, step):
    """Return a range around the values in whole steps, so that a small change does not move the picture."""
    return [step * np.floor(values.min() / step - 0.1), step * np.ceil(values.max() / step + 0.1)]


def _sides(values, name, words, least=10, most=5):
    """Return an axis about the target line, equal to both sides, with its sides in words (for negative and positive
    values)."""
    half = max(least, _span(np.abs(values), least)[1])
    step = next(step for step in (1, 2, 5, 10, 20, 50, 100) if half / step <= most)
    ticks = np.arange(-step * (half // step), half + step / 2, step)
    text = [f"{abs(tick):g} {words[0] if tick < 0 else words[1]}" if tick else "line" for tick in ticks]
    return {"title": f"to the side ({name})", "range": [-half, half], "tickvals": ticks, "ticktext": text}


def landing_figure(comparison, unit="yd"):
    """Return only where the balls land, before and after, of `dispersion_figure`: small enough for a page beside a
    table."""
    whole = dispersion_figure(comparison, unit)
    figure = go.Figure([trace for trace in whole.data if trace.xaxis in (None, "x")])
    for trace in figure.data:
        trace.update(xaxis=None, yaxis=None)
    figure.update_layout(
        template=TEMPLATE,
        font={"size": 11, "color": INK},
        legend={"orientation": "h", "y": -0.28, "yanchor": "top", "x": 0},
        xaxis=whole.layout.xaxis,
        yaxis=whole.layout.yaxis,
    )
    ticks, labels = whole.layout.xaxis.tickvals, whole.layout.xaxis.ticktext
    start = len(ticks) // 2 % 2  # every second one, the line among them
    figure.update_layout(
        xaxis={
            "domain": [0, 1],
            "tickvals": ticks[start::2],
            "ticktext": labels[start::2],
            "tickangle": 0,
            "title": {"standoff": 6},
        },
        yaxis={"domain": [0, 1]},
    )
    return figure


def practice_figure(trend, words):
    """Draw a `Trend`: the days' means with their standard uncertainties, and the line if there is one.

    `words` names the axis, such as "strike, mm towards the toe".
    """
    days = trend.days.round(4)
    figure = go.Figure()
    if trend.start == trend.start:
        ends = np.array([0.0, trend.weeks])
        figure.add_scatter(
            x=ends,
            y=np.round(trend.start + trend.per_week * ends, 4),
            mode="lines",
            name="trend: no change yet" if trend.verdict == "no change yet" else "trend",
            line={"color": AFTER, "dash": "dash", "width": 2},
        )
    figure.add_scatter(
        x=days["week"],
        y=days["value"],
        mode="markers",
        name="a day, with its standard uncertainty",
        text=days["day"],
        error_y={"type": "data", "array": days["u"], "color": BEFORE},
        marker={"symbol": "circle", "size": 9, "color": BEFORE},
    )
    figure.add_hline(y=0, line={"color": INK, "width": 1})
    figure.update_layout(
        template=TEMPLATE,
        height=360,
        legend={"orientation": "h", "y": -0.25},
        margin={"l": 60, "r": 20, "t": 20, "b": 40},
    )
    figure.update_xaxes(title="weeks since the first day", zeroline=False)
    figure.update_yaxes(title=words, zeroline=False)
    return figure


def gauge_figure(study):
    """Draw the standard deviations of a `GaugeStudy`'s measuring with their 95 % intervals; the marks' own differences
    are no part of it."""
    parts = study.components.drop(index=["marks", "total"]).round(4)
    figure = go.Figure(
        go.Scatter(
            x=parts["sd"],
            y=parts.index,
            mode="markers",
            name="standard deviation, 95 % interval",
            marker={"symbol": "circle", "size": 10, "color": BEFORE},
            error_x={
                "type": "data",
                "symmetric": False,
                "array": parts["high_sd"] - parts["sd"],
                "arrayminus": parts["sd"] - parts["low_sd"],
                "color": BEFORE,
            },
        )
    )
    figure.update_layout(template=TEMPLATE, height=320, margin={"l": 130, "r": 20, "t": 20, "b": 40})
    figure.update_xaxes(
        title=f"standard deviation{f' ({study.unit.strip()})' if study.unit else ''}", rangemode="tozero"
    )
    figure.update_yaxes(autorange="reversed")
    return figure
