"""The sheet for whoever bends the clubs."""

from os import PathLike

import numpy as np
import pandas as pd

from ..bench.plan import CAUTION
from ..book.book import SessionBook
from ..session.bends import bench_table
from ..session.handed import handed_plan
from ..session.middle import standing
from ..words.terms import bend_words
from .pages import at_place, page


def bench_sheet(
    book: SessionBook, session: int, path: str | PathLike[str] | None = None, *, plan: pd.DataFrame | None = None
) -> str:
    """Make the sheet for whoever bends the clubs, with room to write the gauge's readings; `enter_bends` puts them into
    the book.

    Parameters
    ----------
    book : SessionBook
    session : int
    path : path, optional
        Where to write it.
    plan : DataFrame, optional
        From `plan_bends`; default what the session asks for now (see `session_plan`): bends done since are not asked
        for again.

    Returns
    -------
    str
        The page, as HTML.
    """
    now = standing(book, session)
    plan, rows = now.pooled[1] if plan is None else plan, []
    for club in bench_table(book, session, plan).itertuples():
        star = "" if club.gauged else "*"
        rows.append(
            {
                "club": club.club,
                "head": f"{club.head}, ±{club.limit_deg:g}° from the maker's figure",
                "loft": f"{club.loft_deg:g}°",
                "before": "read it first" if np.isnan(club.lie_before_deg) else f"{club.lie_before_deg:g}°{star}",
                "change": bend_words(club.bend_deg),
                "target": "" if np.isnan(club.target_deg) else f"{club.target_deg:g}°{star}",
                "limit": club.limit,
                "caution": club.caution,
            }
        )
    handed = handed_plan(book, session)
    row = now.session
    return page(
        "bench.html",
        path,
        title=f"Bench sheet: {row['golfer']}, {row['day']}",
        golfer=row["golfer"],
        where=f"Tested {row['day']}{at_place(row)}",
        clubs=rows,
        leave=plan.loc[plan["bend_deg"] == 0, "club"].tolist(),
        done=[f"the {label} {bend_words(bend)}" for label, bend in now.done_deg.items()],
        handed=[] if handed is None else handed.sentences,
        caution=CAUTION,
    )
