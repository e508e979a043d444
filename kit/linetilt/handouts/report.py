"""The page that a golfer takes home: one HTML file that needs no network."""

import base64
import re
from collections.abc import Iterable
from contextlib import suppress
from os import PathLike
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pandas as pd
from markupsafe import Markup

from ..base.errors import InputError, PhotoError
from ..base.states import SET_ASIDE
from ..base.statistics import COVERAGE_FACTOR
from ..bench.plan import CAUTION
from ..book.book import SessionBook
from ..flight.compare import compare_shots
from ..flight.dispersion import Delivery
from ..reading.drawing import draw_kept
from ..reading.photo import open_photo
from ..session.bends import retest_of
from ..session.handed import handed_plan
from ..session.middle import session_shots, standing
from ..session.practice import WITHIN_MM, practice_days, practice_shots, practice_trend
from ..words.bag import balls_to_go_words, summary
from ..words.plans import HANDS, MISS_FIRST, PART
from ..words.shots import state_words
from ..words.terms import bend_words, counted, listed, sits, span_words
from . import charts
from .pages import HITTING_CAUTION, at_place, page

PHOTO_WIDTH_PX, PHOTO_QUALITY, OVERLAY_PX = 520, 82, 1280


def golfer_report(
    book: SessionBook,
    session: int,
    path: str | PathLike[str] | None = None,
    *,
    plan: pd.DataFrame | None = None,
    comparison: Any = "usual",
    photos: int = 4,
    unit: str = "yd",
) -> str:
    """Make the page that a golfer takes home.

    Parameters
    ----------
    book : SessionBook
    session : int
    path : path, optional
        Where to write it.
    plan : DataFrame, optional
        From `plan_bends`; default what the session asks for now (see `session_plan`).
    comparison : Comparison, optional
        Shots before and after, from `compare_shots`. Default "usual": of the club that asks for the largest change,
        with the delivery of a steady club golfer; None leaves it out.
    photos : int
        So many photos at most, of the marks with the smallest uncertainty, one a club. They are made anew: nothing of
        what the phone wrote into them (place, time, its own name) is in the page.
    unit : {"yd", "m"}

    Returns
    -------
    str
        The page: one file of HTML that loads nothing and prints on A4 and Letter.

    Raises
    ------
    InputError
        When no ball of the session counts.
    """
    now = standing(book, session)
    row, fit = now.session, now.fit
    if fit is None:
        raise InputError(f"no ball of session {session} counts yet; expected at least one for a report")
    plan = now.plan if plan is None else plan
    handed, days = handed_plan(book, session), strike_days(now.shots)
    if isinstance(comparison, str):
        comparison = _usual_comparison(now, plan)
    loaded = [False]  # the charts' script goes in once
    return page(
        "report.html",
        path,
        title=f"Lie and strike: {row['golfer']}, {row['day']}",
        golfer=row["golfer"],
        where=_where(now),
        summary=summary(plan),
        handed=[] if handed is None else handed.sentences,
        clubs=_club_rows(fit, plan),
        bends=_bend_lines(plan),
        done=[f"the {label} {bend_words(bend)}" for label, bend in now.done_deg.items()],
        practise=_practise_lines(book, row, plan, days),
        retest=_retest_rows(book, row),
        strikes=_figure(_strike_figure(now.shots, fit.bag), "strikes", loaded),
        photos=_photos(book, now.shots, photos),
        flight=_flight(comparison, unit, loaded),
        sure=_sure_lines(now),
        cautions=[CAUTION, HITTING_CAUTION],
    )


def golfer_reports(
    book: SessionBook, sessions: Iterable[int], folder: str | PathLike[str], **options: Any
) -> list[Path]:
    """Write the reports of many sessions into a folder.

    Parameters
    ----------
    book : SessionBook
    sessions : iterable of int
    folder : path
        Made where there is none.
    **options
        As for `golfer_report`.

    Returns
    -------
    list of Path
        One a session that has balls, named after its number and golfer.
    """
    folder, names, paths = Path(folder), book.sessions().set_index("session_id")["golfer"], []
    folder.mkdir(parents=True, exist_ok=True)
    for session in sessions:
        if session_shots(book, session)["counted"].any():
            name = re.sub(r"[^a-z0-9]+", "-", names[session].lower()).strip("-")
            paths.append(folder / f"{session:04d}-{name or 'golfer'}.html")
            golfer_report(book, session, paths[-1], **options)
    return paths


def _where(now):
    row, handed = now.session, now.bag.clubs[0].handed
    balls = f"{now.numbers()['counted']} of {len(now.shots)} balls counted"
    return f"{row['day']}{at_place(row)} · {handed}-handed clubs · {balls}"


def _club_rows(fit, plan):
    reasons = plan.set_index("club")["reason"]
    return [
        {
            "club": row.club,
            "balls": row.balls,
            "sits": sits(row.lie_error_deg),
            "range": span_words(row.low_deg, row.high_deg),
            "reason": reasons.get(row.club, ""),
        }
        for row in fit.table.itertuples()
    ]


def _bend_lines(plan):
    lines, bent = [], plan[plan["bend_deg"] != 0]
    for row in bent.itertuples():
        target = (
            ""
            if row.lie_after_deg is None or np.isnan(row.lie_after_deg)
            else f", from {row.lie_now_deg:g}° to {row.lie_after_deg:g}°"
        )
        lines.append(
            f"The {row.club}: {bend_words(row.bend_deg)}{target} (then {_sure(row.within_one_after)} sure to be "
            "within 1° of level)."
        )
    return lines + [
        f"The {listed(rows['club'])}: {caution}" for caution, rows in bent[bent["caution"] != ""].groupby("caution")
    ]


def _sure(probability):
    return "over 99%" if probability > 0.99 else f"{probability:.0%}"


def _retest_rows(book, row):
    found = None if pd.isna(row["retest_of"]) else retest_of(book, int(row["session_id"]))
    if found is None:
        return []
    return [
        {
            "club": one.club,
            "bend": bend_words(one.bend_deg) if abs(one.bend_deg) > 0.05 else "not bent",
            "predicted": sits(one.predicted_deg),
            "found": sits(one.found_deg),
            "off": span_words(one.low_deg, one.high_deg),
            "verdict": one.verdict,
        }
        for one in found.itertuples()
    ]


def _practise_lines(book, row, plan, days):
    lines = [
        f"The {club}: {words}, in place of {'the rest of a' if bend else 'a'} bend."
        for club, outcome, words, bend in zip(plan["club"], plan["outcome"], plan["alternative"], plan["bend_deg"])
        if outcome in (HANDS, PART)
    ]
    lines += [
        f"The {club}: {reason}"
        for club, outcome, reason in zip(plan["club"], plan["outcome"], plan["reason"])
        if outcome == MISS_FIRST
    ]
    if days is not None:
        day = days.iloc[0]
        lines.append(
            f"Strikes: {strike_sentence(days)} ({day['low_share']:.0%} to {day['high_share']:.0%}, as far as "
            f"{day['balls']} balls can tell)."
        )
        shots = practice_shots(book, row["golfer_id"])
        until = shots[shots["day"] <= row["day"]]
        until = until[until["strike_toe_mm"].notna()]
        if until["day"].nunique() >= 3:
            with suppress(InputError):  # clubs and days that cannot be told apart have no trend
                lines.append(f"Strikes over time, across the face: {practice_trend(until).sentence}")
    return lines or ["Nothing stands out: keep doing what you do."]


def strike_days(shots):
    """Return the day's strikes as `practice_days` sees them, or None where none was measured."""
    rows = shots[shots["strike_toe_mm"].notna() & shots["counted"]]
    if rows.empty:
        return None
    return practice_days(rows.assign(day="", delivery_deg=rows["lie_error_deg"]))


def strike_sentence(days):
    if days is None:
        return "not measured"
    toe, share = days["strike_toe_mm"].iloc[0], days["share"].iloc[0]
    side = "in the middle" if abs(toe) < 1 else f"{abs(toe):.0f} mm to the {'toe' if toe > 0 else 'heel'}"
    return f"on average {side}, {share:.0%} within {WITHIN_MM:g} mm of the middle"


def _sure_lines(now):
    fit, numbers = now.fit, now.numbers()
    lines = [
        "The table's range is where a club's true value lies with 95 % probability, from "
        f"{counted(numbers['counted'], 'ball')} "
        "that counted."
    ]
    aside = now.shots[now.shots["state"] == SET_ASIDE]
    if len(aside):
        reasons = sorted({state_words(row) for row in aside.to_dict("records")})
        lines.append(
            f"{counted(len(aside), 'ball')} {'was' if len(aside) == 1 else 'were'} set aside: {', '.join(reasons)}."
        )
    if numbers["refused"]:
        lines.append(f"{counted(numbers['refused'], 'photo')} could not be read.")
    if numbers["to_look_at"]:
        lines.append(f"{counted(numbers['to_look_at'], 'ball')} nobody has looked at yet.")
    unsure = fit.settled.index[~fit.settled].tolist()
    if unsure:
        lines.append(f"Not settled yet: {listed(unsure)}{balls_to_go_words(fit)}. {fit.next_step().sentence}")
    return lines + fit.warnings


# Pictures


def _figure(figure, name, loaded):
    """Return a figure as markup that is safe as it stands; the script comes with the first one only."""
    html = figure.to_html(
        full_html=False,
        include_plotlyjs=not loaded[0],
        div_id=name,
        config={"staticPlot": True, "displayModeBar": False},
    )
    loaded[0] = True
    return Markup(html)


def _strike_figure(shots, bag):
    longest = max((club.score_line_length_mm or 0.0 for club in bag), default=0.0)
    half = longest / 2
    figure = charts.strike_map(shots, handed=bag.clubs[0].handed)
    figure.update_layout(
        width=345,
        height=255,
        title=None,
        margin={"l": 45, "r": 5, "t": 5, "b": 40},
        font={"size": 11},
        showlegend=False,
    )
    figure.update_yaxes(title="mm above lowest full line")
    if half:
        figure.add_scatter(
            x=[-half, half],
            y=[0, 0],
            mode="lines",
            name="lowest full score line",
            line={"color": charts.INK, "width": 2},
            showlegend=False,
        )
    return figure


def _flight(comparison, unit, loaded):
    if comparison is None:
        return None
    figure = charts.landing_figure(comparison, unit)
    figure.update_layout(width=380, height=255, margin={"l": 50, "r": 5, "t": 10, "b": 40}, showlegend=False)
    return {
        "club": comparison.club.label,
        "change": comparison.change,
        "figure": _figure(figure, "flight", loaded),
        "table": Markup(comparison.words(unit).to_html(border=0, escape=True)),
        "delivery": "Simulated, with the delivery of a steady club golfer unless yours was given. "
        f"{comparison.hold_note()} {comparison.carry_note()}",
    }


def _usual_comparison(now, plan):
    """Shots with the club that asks for the largest bend, or else change of hands; None where nothing is asked."""
    fit, bag = now.fit, now.bag_now
    table = fit.table.set_index("club")
    bent = plan[plan["bend_deg"] != 0]
    hands = plan[plan["outcome"] == HANDS]
    hands = hands[[bag[label].length_in is not None and bag[label].lie_deg is not None for label in hands["club"]]]
    if len(bent):
        row = bent.loc[bent["bend_deg"].abs().idxmax()]
        change = {"bend_deg": row["bend_deg"]}
    elif len(hands):
        row = hands.loc[hands["hands_lower_mm"].abs().idxmax()]
        change = {"hands_down_mm": float(np.clip(round(row["hands_lower_mm"]), -80, 80))}
    else:
        return None
    club, estimate = bag[row["club"]], table.loc[row["club"]]
    lie_now = estimate["lie_error_deg"] + now.done_deg.get(row["club"], 0.0)
    lie, u = float(np.clip(lie_now, -10, 10)), float(min(estimate["u_lie_error_deg"], 5))
    return compare_shots(club, Delivery.typical(club, **now.swing), lie, u_lie_error_deg=u, **change)


def _photos(book, shots, most):
    """Return the photos of the best-read marks, one a club, made anew as small pictures within the page."""
    rows = shots[shots["counted"] & shots["photo"].notna() & shots["u_tilt_deg"].notna()].sort_values(
        "u_tilt_deg", kind="stable"
    )
    found = []
    for row in rows.drop_duplicates("club").itertuples():
        if len(found) == most:
            break
        try:
            rgb = _picture(book, row)
        except PhotoError:
            continue
        small = cv2.resize(
            rgb, (PHOTO_WIDTH_PX, round(rgb.shape[0] * PHOTO_WIDTH_PX / rgb.shape[1])), interpolation=cv2.INTER_AREA
        )
        _, jpeg = cv2.imencode(
            ".jpg", cv2.cvtColor(small, cv2.COLOR_RGB2BGR), [cv2.IMWRITE_JPEG_QUALITY, PHOTO_QUALITY]
        )
        lean = (
            "upright"
            if abs(row.tilt_deg) < 0.05
            else f"leans {abs(row.tilt_deg):.1f}° to the {'toe' if row.tilt_deg > 0 else 'heel'}"
        )
        found.append(
            {
                "club": row.club,
                "words": f"{lean} (±\u00a0{COVERAGE_FACTOR * row.u_tilt_deg:.1f}°)",
                "data": "data:image/jpeg;base64," + base64.b64encode(jpeg).decode(),
            }
        )
    return found


def _picture(book, shot):
    """Return the face with the marks that stand in the book drawn on it, or all of the photo where there are none."""
    marks = book.marks(shot.shot_id)
    drawn = draw_kept(picture := open_photo(book.photo(shot.shot_id)), marks, shot._asdict(), OVERLAY_PX)
    if marks is None:
        return drawn
    corners = np.asarray(marks["corners"]) * drawn.shape[1] / (picture.rgb.shape[1] * picture.reduction)
    middle, half = (corners.max(0) + corners.min(0)) / 2, 0.7 * np.ptp(corners, axis=0)
    half = np.maximum(half, half[::-1] * (4 / 3, 3 / 4))  # four to three, as the page shows it
    low, high = np.clip([middle - half, middle + half], 0, drawn.shape[1::-1]).astype(int)
    return drawn[low[1] : high[1], low[0] : high[0]]
