"""The marking strip: a paper band, true to scale, whose straight edge guides the pen round the ball's great circle."""

import os
from html import escape
from pathlib import Path

from ..base.errors import InputError

BALL_CIRCLE_MM = 134.05  # pi x 42.67 mm; The Equipment Rules (The R&A and USGA), Part 4: diameter at least 42.67 mm
PAPERS_MM = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}  # ISO 216; ANSI Y14.1 size A
CHECK_BAR_MM = 50.0
BAND_MM = 8.0  # narrow, so that the edge can be pressed down on the ball all the way round
TAB_MM = 18.0
SPARES = 3

HOW_TO = (
    "Print at 100 % (\u201cactual size\u201d), with no fitting to the page. Then measure the check bar with a ruler: "
    "it must be 50 mm long.",
    "Cut along the solid lines. Cut the edge marked PEN EDGE with a knife along a ruler: it has to be straight.",
    "Lay the band round the ball and press the pen edge down on it all the way. Slide the tab under the start.",
    "The end mark must meet the start mark, and the two ends must make one edge without a step. Then it lies on the "
    "great circle. Tape the tab.",
    "Hold the ball on a ring or a cup and draw along the pen edge with a fresh marker, all the way round. Let it dry "
    "before you take the band off.",
    "A line of 1.5 to 2 mm prints best. Draw it again when it grows pale, on the same line: two lines print twice.",
)
CAUTIONS = (
    "Knife: cut away from your hand, on a board.",
    "Marker ink and solvents: air the room, keep away from flames, eyes and skin, follow the label.",
    "Hit marked balls where balls may be hit: nobody in front of or beside the golfer, a sound net, the rules of the "
    "place.",
)


def marking_strip(path: str | os.PathLike[str] | None = None, paper: str = "A4") -> str:
    """Return the marking strip as an SVG drawing whose unit is the millimetre, and write it to a file if one is named.

    Parameters
    ----------
    path : path, optional
        Where to write it, such as ``strip.svg``.
    paper : {"A4", "Letter"}

    Returns
    -------
    str

    Raises
    ------
    InputError
        When there is no such paper, or the file cannot be written.

    Examples
    --------
    >>> drawing = marking_strip(paper="Letter")
    >>> drawing[:52], "134.05 mm, once round the ball" in drawing
    ('<svg xmlns="http://www.w3.org/2000/svg" width="215.9', True)
    """
    if paper not in PAPERS_MM:
        raise InputError(f"paper is {paper!r}; expected one of {', '.join(PAPERS_MM)}")
    width, height = PAPERS_MM[paper]
    left = (width - BALL_CIRCLE_MM - TAB_MM) / 2
    parts = [
        _text(left, 22, 7, "Marking strip for a golf ball", bold=True),
        _text(left, 29, 3.6, f"{paper}, true to scale. Everything below is in millimetres."),
    ]
    parts += [_check_bar(left, 42)]
    y = 60.0
    for number in range(SPARES):
        parts.append(_band(left, y, number + 1))
        y += BAND_MM + 13
    y += 4
    for title, lines, numbered in (("How to", HOW_TO, True), ("Cautions", CAUTIONS, False)):
        parts.append(_text(left, y, 5, title, bold=True))
        y += 7
        for number, line in enumerate(lines, start=1):
            for row, piece in enumerate(_wrapped(line, 88)):
                head = (f"{number}." if numbered else "\u2013") if row == 0 else ""
                parts += [_text(left, y, 3.6, head), _text(left + 6, y, 3.6, piece)]
                y += 5.2
            y += 1.2
        y += 4
    svg = (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width:g}mm" height="{height:g}mm" '
        f'viewBox="0 0 {width:g} {height:g}" '
        f'font-family="sans-serif" fill="#000">\n<title>Marking strip, {paper}</title>\n'
        f"<style>@page {{ size: {width:g}mm {height:g}mm; margin: 0 }}</style>\n"
        f'<rect width="{width:g}" height="{height:g}" fill="#fff"/>\n' + "\n".join(parts) + "\n</svg>\n"
    )
    if path is not None:
        try:
            Path(path).write_text(svg, encoding="utf-8")
        except OSError as error:
            raise InputError(
                f"{path} cannot be written ({error.strerror or error}); expected a folder of your own with space on "
                "the disk; choose another one"
            ) from error
    return svg


def _text(x: float, y: float, size: float, words: str, *, bold: bool = False, middle: bool = False) -> str:
    style = (' font-weight="bold"' if bold else "") + (' text-anchor="middle"' if middle else "")
    return f'<text x="{x:.2f}" y="{y:.2f}" font-size="{size:g}"{style}>{escape(words)}</text>'


def _line(x1: float, y1: float, x2: float, y2: float, width: float = 0.25, name: str | None = None) -> str:
    title = f' id="{name}"' if name else ""
    return (
        f'<line{title} x1="{x1:.3f}" y1="{y1:.3f}" x2="{x2:.3f}" y2="{y2:.3f}" stroke="#000" stroke-width="{width:g}"/>'
    )


def _check_bar(left: float, y: float) -> str:
    marks = [_line(left, y, left + CHECK_BAR_MM, y, 0.3, "check-bar")]
    marks += [
        _line(left + at, y - (3 if at % 10 == 0 else 1.6), left + at, y, 0.2)
        for at in range(0, int(CHECK_BAR_MM) + 1, 5)
    ]
    words = (
        f"Check bar: from the first to the last mark {CHECK_BAR_MM:g} mm.",
        "If your ruler says otherwise, print again at 100 %.",
    )
    return "\n".join(
        marks + [_text(left + CHECK_BAR_MM + 5, y - 2.6 + 4.6 * row, 3.6, line) for row, line in enumerate(words)]
    )


def _band(left: float, y: float, number: int) -> str:
    """One band: its upper edge guides the pen; start and end mark are a great circle apart, a tab goes under it."""
    end, low, tip = left + BALL_CIRCLE_MM, y + BAND_MM, left + BALL_CIRCLE_MM + TAB_MM
    parts = [
        _line(left, y, tip, y, 0.2, f"pen-edge-{number}"),
        f'<path d="M {left:.3f} {y:.3f} V {low:.3f} H {tip:.3f} V {y:.3f}" fill="none" stroke="#000" '
        'stroke-width="0.2"/>',
        _line(end, y, end, low, 0.35, f"end-{number}"),
        f'<path d="M {left + 0.6:.3f} {y + 0.6:.3f} h 3 l -3 3 z"/>',
        f'<path d="M {end - 0.6:.3f} {y + 0.6:.3f} h -3 l 3 3 z"/>',
        _text(left + 5, y + 5.8, 3, "START"),
        _text(end - 11.5, y + 5.8, 3, "END"),
        _text(end + TAB_MM / 2, y + 5.4, 3, "tab, under", middle=True),
        _text(left + BALL_CIRCLE_MM / 2, y + 5.8, 3, f"{BALL_CIRCLE_MM:.2f} mm, once round the ball", middle=True),
        _text(
            left + BALL_CIRCLE_MM / 2,
            y - 1.6,
            3,
            "PEN EDGE: press this edge down on the ball, draw along it",
            middle=True,
        ),
    ]
    parts += [
        _line(left + BALL_CIRCLE_MM * quarter / 4, y, left + BALL_CIRCLE_MM * quarter / 4, y + 2, 0.2)
        for quarter in (1, 2, 3)
    ]
    return "\n".join(parts)


def _wrapped(line: str, size: int) -> list[str]:
    rows: list[str] = []
    row = ""
    for word in line.split():
        if len(row) + len(word) + 1 > size:
            rows.append(row)
            row = word
        else:
            row = f"{row} {word}".strip()
    return [*rows, row]
