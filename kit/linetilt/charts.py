"""Plotly figures: strike map, bag chart, dispersion. Every series differs by marker or dash as well as by colour."""

import numpy as np
import plotly.graph_objects as go

# Okabe & Ito's colour-blind-safe set, by role. No colour ever stands for a lie angle or for upright or flat.
INK = "#222222"
BEFORE = "#0072B2"
AFTER = "#D55E00"
THIRD = "#009E73"
QUIET = "#8A8A8A"
TEMPLATE = "plotly_white"


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
    table, shots = fit.table.round(3), fit.shots[fit.shots["counted"]].round(3)  # the last digits differ between machines
    place = {label: position for position, label in enumerate(table["club"])}
    x = [place[label] for label in table["club"]]
    fig = go.Figure()
    good, bad = shots[~shots["bad"]], shots[shots["bad"]]
    for rows, name, symbol, size in ((good, "shot", "circle-open", 5), (bad, "shot that disagrees", "x-thin-open", 8)):
        if len(rows):
            spread = rows.groupby("club").cumcount() % 5  # side by side, so that they can be told apart
            fig.add_scatter(
                x=[place[label] - 0.3 + 0.04 * step for label, step in zip(rows["club"], spread)], y=rows["lie_error_deg"], mode="markers",
                name=name, marker={"symbol": symbol, "size": size, "color": QUIET, "line": {"width": 1.5, "color": QUIET}},
                customdata=rows[["club", "weight"]], hovertemplate="%{customdata[0]}: %{y:.1f}°, weight %{customdata[1]:.2f}",
            )
    fig.add_scatter(x=x, y=table["trend_deg"], mode="lines", name="this golfer's trend, with every club as its maker meant it", line={"color": THIRD, "dash": "dash", "width": 2})
    if table["gauge_deg"].notna().any():
        fig.add_scatter(x=[at + 0.12 for at in x], y=table["gauge_deg"], mode="markers", name="the club itself, by the gauge",
                        marker={"symbol": "diamond-open", "size": 9, "color": INK})
    fig.add_scatter(
        x=x, y=table["lie_error_deg"], mode="markers", name="lie error, 95 % interval", marker={"symbol": "circle", "size": 10, "color": BEFORE},
        error_y={"type": "data", "symmetric": False, "array": table["high_deg"] - table["lie_error_deg"],
                 "arrayminus": table["lie_error_deg"] - table["low_deg"], "color": BEFORE, "thickness": 2, "width": 6},
    )
    if plan is not None:
        bent = plan[plan["bend_deg"] != 0]
        after = table.set_index("club").loc[bent["club"], "lie_error_deg"].to_numpy() + bent["bend_deg"].to_numpy()
        fig.add_scatter(x=[place[label] + 0.24 for label in bent["club"]], y=after, mode="markers", name="after the bend",
                        marker={"symbol": "square", "size": 9, "color": AFTER})
    fig.add_hline(y=0, line={"color": INK, "width": 1})
    fig.update_layout(template=TEMPLATE, title="Lie error of each club", height=460, legend={"orientation": "h", "y": -0.18},
                      margin={"l": 60, "r": 20, "t": 50, "b": 40})
    fig.update_xaxes(title="club", tickvals=x, ticktext=list(table["club"]), range=[-0.6, len(x) - 0.4], showgrid=False, zeroline=False)
    fig.update_yaxes(title="toe down   ←   degrees   →   toe up", zeroline=False)
    return fig


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
        fig.add_scatter(x=[-half, half], y=[0, 0], mode="lines", name="lowest full score line", line={"color": INK, "width": 2})
    names = rows["club"] if "club" in rows else None
    fig.add_scatter(x=toe, y=up, mode="markers", name="strike", text=names, marker={"symbol": "circle-open", "size": 9, "color": BEFORE, "line": {"width": 2}},
                    hovertemplate="%{text} %{x:.1f} mm to the toe, %{y:.1f} mm up" if names is not None else None)
    if len(rows) >= 3:
        turn = np.linspace(0, 2 * np.pi, 73)
        axes = np.linalg.cholesky(np.cov(toe, up) + 1e-9 * np.eye(2))
        ring = np.round(np.array([[toe.mean()], [up.mean()]]) + axes @ np.array([np.cos(turn), np.sin(turn)]), 4)
        fig.add_scatter(x=ring[0], y=ring[1], mode="lines", name="one standard deviation", line={"color": AFTER, "dash": "dot", "width": 2})
    if len(rows):
        fig.add_scatter(x=[toe.mean()], y=[up.mean()], mode="markers", name="middle of the strikes", marker={"symbol": "cross", "size": 13, "color": AFTER})
    balls = f"{len(rows)} ball{'' if len(rows) == 1 else 's'}"
    reach = max(24.0, half + 4, *(np.abs(toe) + 4)) if len(rows) else max(24.0, half + 4)
    toe_left = handed == "right"
    fig.add_vline(x=0, line={"color": QUIET, "width": 1, "dash": "dash"})
    fig.update_layout(template=TEMPLATE, title=f"Strikes{'' if label is None else f' of the {label}'}, {balls}", height=420,
                      legend={"orientation": "h", "y": -0.2}, margin={"l": 60, "r": 20, "t": 50, "b": 40})
    fig.update_xaxes(title="toe   ←   millimetres from the middle   →   heel" if toe_left else "heel   ←   millimetres from the middle   →   toe",
                     range=[reach, -reach] if toe_left else [-reach, reach], zeroline=False)
    fig.update_yaxes(title="millimetres above the lowest full score line", scaleanchor="x", zeroline=False,
                     range=[min(-4.0, *(up - 3)), max(30.0, *(up + 3))] if len(rows) else [-4.0, 30.0])
    return fig
