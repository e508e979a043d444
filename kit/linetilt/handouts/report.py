"""Pages for people: the golfer's report, the bench sheet and the coach's summary, each one HTML file that needs no network."""

import base64
import re
from contextlib import suppress
from pathlib import Path

import cv2
import jinja2
import numpy as np
import pandas as pd
from markupsafe import Markup

from ..base.errors import InputError, PhotoError
from ..bench.plan import CAUTION, sits
from ..book.schema import REFUSED
from ..flight.compare import compare_shots
from ..flight.dispersion import Delivery
from ..reading.mark import measure_photo
from ..reading.photo import open_photo
from ..session.bends import bench_table, retest, session_fit, session_plan, session_row
from ..session.practice import WITHIN_MM, practice_days, practice_shots, practice_trend
from . import charts

HITTING_CAUTION = (
    "Hitting into a net: keep people behind the golfer, mind balls that come back, and follow the rules of the place. "
    "Marker ink and its solvents: air the room, keep away from flames, eyes and skin."
)
PHOTO_WIDTH_PX, PHOTO_QUALITY, OVERLAY_PX = 520, 82, 1280
SAME_TILT_DEG = 0.05  # a photo measured again shows the mark that was kept if its tilt differs by no more
_PAGES = jinja2.Environment(
    loader=jinja2.PackageLoader("linetilt.handouts"),
    autoescape=True,
    trim_blocks=True,
    undefined=jinja2.StrictUndefined,
)


def golfer_report(book, session, path=None, *, plan=None, comparison="usual", photos=4, unit="yd"):
    """Make the page that a golfer takes home.

    Parameters
    ----------
    book : SessionBook
    session : int
    path : path, optional
        Where to write it.
    plan : DataFrame, optional
        From `plan_bends`; default the one last kept with the session, or a new one.
    comparison : Comparison, optional
        Shots before and after, from `compare_shots`. Default "usual": of the club that asks for the largest change, with the delivery of a steady
        club golfer; None leaves it out.
    photos : int
        So many photos at most, of the marks with the smallest uncertainty, one a club. They are made anew: nothing of what the phone wrote
        into them (place, time, its own name) is in the page.
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
    row, fit = session_row(book, session), session_fit(book, session)
    if fit is None:
        raise InputError(f"no ball of session {session} counts yet; expected at least one for a report")
    plan = session_plan(book, session, fit) if plan is None else plan
    shots = book.shots(session)
    days = _strike_days(shots)
    if isinstance(comparison, str):
        comparison = _usual_comparison(fit, plan)
    loaded = [False]  # the charts' script goes in once
    page = _PAGES.get_template("report.html").render(
        title=f"Lie and strike: {row['golfer']}, {row['day']}",
        golfer=row["golfer"],
        where=_where(row, fit),
        summary=_summary(plan),
        clubs=_club_rows(fit, plan),
        bends=_bend_lines(plan),
        practise=_practise_lines(book, row, plan, days),
        retest=_retest_rows(book, row),
        strikes=_figure(_strike_figure(shots, fit.bag), "strikes", loaded),
        photos=_photos(book, shots, fit.bag, photos),
        flight=_flight(comparison, unit, loaded),
        sure=_sure_lines(fit, shots),
        cautions=[CAUTION, HITTING_CAUTION],
    )
    return _written(page, path)


def golfer_reports(book, sessions, folder, **options):
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
        if book.shots(session)["counted"].any():
            name = re.sub(r"[^a-z0-9]+", "-", names[session].lower()).strip("-")
            paths.append(folder / f"{session:04d}-{name or 'golfer'}.html")
            golfer_report(book, session, paths[-1], **options)
    return paths


def bench_sheet(book, session, path=None, *, plan=None):
    """Make the sheet for whoever bends the clubs, with room to write the gauge's readings; `enter_bends` puts them into the book.

    Parameters
    ----------
    book : SessionBook
    session : int
    path : path, optional
        Where to write it.
    plan : DataFrame, optional
        As for `golfer_report`.

    Returns
    -------
    str
        The page, as HTML.
    """
    plan = session_plan(book, session) if plan is None else plan
    row, rows = session_row(book, session), []
    for club in bench_table(book, session, plan).itertuples():
        star = "" if club.gauged else "*"
        rows.append(
            {
                "club": club.club,
                "head": f"{club.head}, ±{club.limit_deg:g}° from the maker's figure",
                "loft": f"{club.loft_deg:g}°",
                "before": "read it first" if np.isnan(club.lie_before_deg) else f"{club.lie_before_deg:g}°{star}",
                "change": _bend_words(club.bend_deg),
                "target": "" if np.isnan(club.target_deg) else f"{club.target_deg:g}°{star}",
                "limit": club.limit,
                "caution": club.caution,
            }
        )
    page = _PAGES.get_template("bench.html").render(
        title=f"Bench sheet: {row['golfer']}, {row['day']}",
        golfer=row["golfer"],
        where=f"Tested {row['day']}{_at(row)}",
        clubs=rows,
        leave=plan.loc[plan["bend_deg"] == 0, "club"].tolist(),
        caution=CAUTION,
    )
    return _written(page, path)


def clinic_table(book, day):
    """Return an afternoon in words, a row a golfer.

    Parameters
    ----------
    book : SessionBook
    day : date or str

    Returns
    -------
    DataFrame
        golfer, balls (that counted), settled (clubs that need no more, of all), worst (the club furthest from level, with half its 95 % interval),
        bends (asked for), strikes, notes (what speaks against the numbers).

    Raises
    ------
    InputError
        When nothing was hit on that day.
    """
    sessions = book.sessions()
    sessions, rows = sessions[sessions["day"] == str(day)[:10]], []
    if sessions.empty:
        raise InputError(f"there is no session on {day} in this book; expected a day on which balls were hit")
    for row in sessions.to_dict("records"):
        fit = session_fit(book, row["session_id"])
        entry = {
            "golfer": row["golfer"],
            "balls": row["counted"],
            "settled": "",
            "worst": "",
            "bends": "",
            "strikes": "",
            "notes": "",
        }
        if fit is not None:
            plan, table = session_plan(book, row["session_id"], fit), fit.table
            worst = table.loc[table["lie_error_deg"].abs().idxmax()]
            asked = plan[plan["bend_deg"] != 0]
            entry |= {
                "settled": f"{int(fit.settled.sum())} of {len(fit.bag)}",
                "worst": f"{worst['club']}: {sits(worst['lie_error_deg'])} (± {(worst['high_deg'] - worst['low_deg']) / 2:.1f}°)",
                "bends": "; ".join(
                    f"{club}: {_bend_words(bend)}" for club, bend in zip(asked["club"], asked["bend_deg"])
                )
                or "none",
                "strikes": _strike_words(_strike_days(book.shots(row["session_id"]))),
                "notes": " ".join(fit.warnings),
            }
        rows.append(entry)
    return pd.DataFrame(rows)


def clinic_summary(book, day, path=None):
    """Make the coach's page about an afternoon: `clinic_table` as a page.

    Parameters
    ----------
    book : SessionBook
    day : date or str
    path : path, optional

    Returns
    -------
    str
        The page, as HTML.
    """
    rows, sessions = clinic_table(book, day).to_dict("records"), book.sessions()
    places = " and ".join(sorted(set(sessions.loc[sessions["day"] == str(day)[:10], "place"]) - {""}))
    page = _PAGES.get_template("clinic.html").render(
        title=f"Clinic, {str(day)[:10]}",
        golfers=rows,
        caution=f"{CAUTION} {HITTING_CAUTION}",
        where=f"{len(rows)} golfers, {sum(row['balls'] for row in rows)} balls that counted{f', {places}' if places else ''}",
    )
    return _written(page, path)


# What the pages say


def _written(page, path):
    if path is not None:
        Path(path).write_text(page, encoding="utf-8")
    return page


def _at(row):
    return f", {row['place']}" if row["place"] else ""


def _where(row, fit):
    return f"{row['day']}{_at(row)} · {fit.bag.clubs[0].handed}-handed clubs · {row['counted']} of {row['shots']} balls counted"


def _bend_words(bend_deg):
    return f"{abs(bend_deg):g}° {'upright' if bend_deg > 0 else 'flat'}"


def _listed(words):
    words = list(words)
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


def _summary(plan):
    groups = {
        "ask for a bend|asks for a bend": plan["bend_deg"] != 0,
        "need more balls|needs more balls": plan["outcome"] == "hit more balls",
        "are for the hands, not the bench|is for the hands, not the bench": plan["outcome"].isin(
            ["change delivery", "look at the miss first"]
        ),
        "can stay as they are|can stay as it is": plan["outcome"] == "leave alone",
    }
    said = []
    for words, chosen in groups.items():
        if chosen.any():
            said.append(f"the {_listed(plan.loc[chosen, 'club'])} {words.split('|')[int(chosen.sum() == 1)]}")
    text = "; ".join(said)
    return f"{text[:1].upper()}{text[1:]}."


def _club_rows(fit, plan):
    reasons = plan.set_index("club")["reason"]
    return [
        {
            "club": row.club,
            "balls": row.balls,
            "sits": sits(row.lie_error_deg),
            "range": _range(row.low_deg, row.high_deg, "up", "down"),
            "reason": reasons.get(row.club, ""),
        }
        for row in fit.table.itertuples()
    ]


def _range(low, high, up, down):
    words = [f"{abs(end):.1f}° {up if end > 0 else down}" for end in (low, high)]
    if low * high > 0:  # both ends on one side
        near, far = sorted((abs(low), abs(high)))
        return f"{near:.1f}° to {far:.1f}° {up if low > 0 else down}"
    return " to ".join(words)


def _bend_lines(plan):
    lines, bent = [], plan[plan["bend_deg"] != 0]
    for row in bent.itertuples():
        target = (
            ""
            if row.lie_after_deg is None or np.isnan(row.lie_after_deg)
            else f", from {row.lie_now_deg:g}° to {row.lie_after_deg:g}°"
        )
        lines.append(
            f"The {row.club}: {_bend_words(row.bend_deg)}{target} (then {_sure(row.within_one_after)} sure to be within 1° of level)."
        )
    return lines + [
        f"The {_listed(rows['club'])}: {caution}" for caution, rows in bent[bent["caution"] != ""].groupby("caution")
    ]


def _sure(probability):
    return "over 99%" if probability > 0.99 else f"{probability:.0%}"


def _retest_rows(book, row):
    if pd.isna(row["retest_of"]):
        return []
    return [
        {
            "club": one.club,
            "bend": _bend_words(one.bend_deg) if abs(one.bend_deg) > 0.05 else "not bent",
            "predicted": sits(one.predicted_deg),
            "found": sits(one.found_deg),
            "off": _range(one.low_deg, one.high_deg, "more upright", "flatter"),
            "verdict": one.verdict,
        }
        for one in retest(book, row["session_id"]).itertuples()
    ]


def _practise_lines(book, row, plan, days):
    lines = [
        f"The {club}: {words}, in place of {'the rest of a' if bend else 'a'} bend."
        for club, outcome, words, bend in zip(plan["club"], plan["outcome"], plan["alternative"], plan["bend_deg"])
        if outcome in ("change delivery", "part of the bend")
    ]
    lines += [
        f"The {club}: {reason}"
        for club, outcome, reason in zip(plan["club"], plan["outcome"], plan["reason"])
        if outcome == "look at the miss first"
    ]
    if days is not None:
        day = days.iloc[0]
        lines.append(
            f"Strikes: {_strike_words(days)} ({day['low_share']:.0%} to {day['high_share']:.0%}, as far as {day['balls']} balls can tell)."
        )
        shots = practice_shots(book, row["golfer_id"])
        until = shots[shots["day"] <= row["day"]]
        until = until[until["strike_toe_mm"].notna()]
        if until["day"].nunique() >= 3:
            with suppress(InputError):  # clubs and days that cannot be told apart have no trend
                lines.append(f"Strikes over time, across the face: {practice_trend(until).sentence}")
    return lines or ["Nothing stands out: keep doing what you do."]


def _strike_days(shots):
    """Return the day's strikes as `practice_days` sees them, or None where none was measured."""
    rows = shots[shots["strike_toe_mm"].notna() & shots["counted"]]
    if rows.empty:
        return None
    return practice_days(rows.assign(day="", delivery_deg=rows["lie_error_deg"]))


def _strike_words(days):
    if days is None:
        return "not measured"
    toe, share = days["strike_toe_mm"].iloc[0], days["share"].iloc[0]
    side = "in the middle" if abs(toe) < 1 else f"{abs(toe):.0f} mm to the {'toe' if toe > 0 else 'heel'}"
    return f"on average {side}, {share:.0%} within {WITHIN_MM:g} mm of the middle"


def _sure_lines(fit, shots):
    counted, aside = int(shots["counted"].sum()), shots[~shots["counted"]]
    lines = [
        f"The table's range is where a club's true value lies with 95 % probability, from {counted} balls that counted."
    ]
    if len(aside):
        reasons = sorted(
            {"photo not read" if why.startswith(REFUSED) else why for why in aside["why"]} - {""}
        )  # what to do then is past
        lines.append(
            f"{len(aside)} {'ball was' if len(aside) == 1 else 'balls were'} set aside{': ' + ', '.join(reasons) if reasons else ''}."
        )
    unsure = fit.settled.index[~fit.settled].tolist()
    if unsure:
        low, high = fit.balls_to_go()
        lines.append(
            f"Not settled yet: {_listed(unsure)}. It would take {low if low == high else f'about {low} to {high}'} more {'ball' if high == 1 else 'balls'} to settle the whole bag."
        )
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


def _usual_comparison(fit, plan):
    """Shots with the club that asks for the largest bend, or else change of hands; None where nothing is asked."""
    table = fit.table.set_index("club")
    bent = plan[plan["bend_deg"] != 0]
    hands = plan[plan["outcome"] == "change delivery"]
    hands = hands[
        [fit.bag[label].length_in is not None and fit.bag[label].lie_deg is not None for label in hands["club"]]
    ]
    if len(bent):
        row = bent.loc[bent["bend_deg"].abs().idxmax()]
        change = {"bend_deg": row["bend_deg"]}
    elif len(hands):
        row = hands.loc[hands["hands_lower_mm"].abs().idxmax()]
        change = {"hands_down_mm": float(np.clip(round(row["hands_lower_mm"]), -80, 80))}
    else:
        return None
    club, estimate = fit.bag[row["club"]], table.loc[row["club"]]
    lie, u = float(np.clip(estimate["lie_error_deg"], -10, 10)), float(min(estimate["u_lie_error_deg"], 5))
    return compare_shots(club, Delivery.typical(club), lie, u_lie_error_deg=u, **change)


def _photos(book, shots, bag, most):
    """Return the photos of the best-read marks, one a club, made anew as small pictures within the page."""
    rows = shots[shots["counted"] & shots["photo"].notna() & shots["u_tilt_deg"].notna()].sort_values(
        "u_tilt_deg", kind="stable"
    )
    found = []
    for row in rows.drop_duplicates("club").itertuples():
        if len(found) == most:
            break
        try:
            rgb = _picture(book.photo(row.shot_id), bag[row.club], row.tilt_deg)
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
                "words": f"{lean} (±\u00a0{1.96 * row.u_tilt_deg:.1f}°)",
                "data": "data:image/jpeg;base64," + base64.b64encode(jpeg).decode(),
            }
        )
    return found


def _picture(photo, club, tilt_deg):
    """Return the face with what was found drawn on it, or as it is where measuring it now does not give the tilt that was kept."""
    picture = open_photo(photo)
    try:
        mark = measure_photo(photo, club)
    except PhotoError:
        mark = None
    if mark is None or abs(mark.tilt_deg - tilt_deg) > SAME_TILT_DEG:
        return picture.rgb
    drawn = mark.overlay(OVERLAY_PX)
    corners = mark.corners * drawn.shape[1] / (picture.rgb.shape[1] * picture.reduction)
    middle, half = (corners.max(0) + corners.min(0)) / 2, 0.7 * np.ptp(corners, axis=0)
    half = np.maximum(half, half[::-1] * (4 / 3, 3 / 4))  # four to three, as the page shows it
    low, high = np.clip([middle - half, middle + half], 0, drawn.shape[1::-1]).astype(int)
    return drawn[low[1] : high[1], low[0] : high[0]]
