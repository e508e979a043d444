"""What all pages share: the templates, the cautions, and writing a page whole."""

from os import PathLike
from typing import Any

import jinja2

from ..base.files import write_whole

HITTING_CAUTION = (
    "Hitting into a net: keep people behind the golfer, mind balls that come back, and follow the rules of the place. "
    "Marker ink and its solvents: air the room, keep away from flames, eyes and skin."
)
_PAGES = jinja2.Environment(
    loader=jinja2.PackageLoader("linetilt.handouts"),
    autoescape=True,
    trim_blocks=True,
    undefined=jinja2.StrictUndefined,
)


def page(template: str, path: str | PathLike[str] | None, **parts: Any) -> str:
    """Return a page made from a template, and write it to `path` if one is given.

    Raises
    ------
    BookError
        Where it cannot be written there.
    """
    text = _PAGES.get_template(template).render(**parts)
    if path is not None:
        write_whole(path, text.encode("utf-8"), "the page")
    return text


def at_place(session: Any) -> str:
    """Return a session's place, to be put behind its day."""
    return f", {session['place']}" if session["place"] else ""
