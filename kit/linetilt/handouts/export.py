"""A book as tidy tables with their data dictionary, for whoever analyses it."""

import json
import os
from importlib.util import find_spec
from os import PathLike
from pathlib import Path

import pandas as pd

from ..base.errors import InputError
from ..book.book import SessionBook
from ..reading.remarks import FLAGS
from ..session.middle import session_budgets, standing
from ..words.plans import OUTCOMES
from .fields import KEYS, OWNERS, PERSONAL, TABLES

# A spreadsheet takes a cell that begins with one of these for a formula (OWASP, CSV Injection); full-width ones too. An
# apostrophe goes before
# them, and before an apostrophe, so that taking away one leading apostrophe always gives back the text.
_GUARDED = r"""^([=+\-@\t\r\n'\uff1d\uff0b\uff0d\uff20])"""
GUARD_NOTE = (
    "Text that begins with = + - @, a tab, a line's end or an apostrophe has one apostrophe put before it, so that "
    "no spreadsheet takes it for "
    "a formula; taking away one leading apostrophe gives back the text. The Parquet files hold the text as it is."
)
_DTYPES = {
    "integer": "Int64",
    "number": "float64",
    "boolean": "boolean",
    "string": "str",
    "date": "str",
    "datetime": "str",
}


def export_tables(book: SessionBook, *, pseudonyms: bool = False) -> dict[str, pd.DataFrame]:
    """Return a book as tidy tables.

    Parameters
    ----------
    book : SessionBook
    pseudonyms : bool
        True: golfers are called "golfer 1" and so on, by their id, and free text, places and photos' names are left
        out. Clubs' labels and what was hit when remain, so that somebody who was there may still know who it was.

    Returns
    -------
    dict of DataFrame
        By name; columns as in `linetilt.handouts.fields.TABLES`; readings, estimates and plans are made anew from the
        book's facts. Ids are the book's own: whole numbers, never used twice, the same in every export.
    """
    # What belongs to others is read before them: somebody may be entering shots meanwhile.
    marks, handed, bends, sessions, bags = book.budgets(), book.plans(), book.bends(), book.sessions(), book.bags()
    numbers = [int(session) for session in sessions["session_id"]]
    now = [standing(book, session) for session in numbers]
    lies = [session_budgets(book, session) for session in numbers]
    clubs = _all(book.clubs(bag).assign(bag_id=bag) for bag in bags["bag_id"])
    gauge = _all(book.gauge_readings(bag).assign(bag_id=bag) for bag in bags["bag_id"])
    bag_of = sessions.set_index("session_id")["bag_id"]
    club_id = clubs.set_index(["bag_id", "label"])["club_id"] if len(clubs) else pd.Series(dtype="int64")

    def with_club(table):
        if table.empty:
            return table
        bag = table["bag_id"] if "bag_id" in table else table["session_id"].map(bag_of)
        found = [club_id.get(key) for key in zip(bag, table["club"])]  # None: a plan's club that has another label now
        return table.assign(club_id=found)

    shots = with_club(_all(one.shots for one in now))
    read = shots[shots["lie_error_deg"].notna() | shots["start_deg"].notna()] if len(shots) else shots
    pooled = [one for one in now if one.fit is not None]
    raw = {
        "golfers": book.golfers(),
        "bags": bags,
        "clubs": clubs,
        "gauge_readings": with_club(gauge),
        "sessions": sessions,
        "shots": shots,
        "readings": read,
        "budget": _all([marks.assign(of="mark"), *(one.assign(of="lie") for one in lies)]),
        "estimates": with_club(_all(one.fit.table.assign(session_id=one.session_id) for one in pooled)),
        "plans": with_club(_all(one.plan.assign(session_id=one.session_id) for one in pooled)),
        "plans_handed_out": with_club(_with_outcome(handed)),
        "bends": with_club(bends),
    }
    tables = {name: _tidy(table, TABLES[name]) for name, table in raw.items()}
    if pseudonyms:
        for table in tables.values():
            table[[name for name in PERSONAL if name in table]] = None
        remarks = tables["shots"]["remarks"]  # the kit's own codes alone: what somebody typed there may name a person
        tables["shots"]["remarks"] = [
            " ".join(code for code in str(said).split() if code in FLAGS) or None for said in remarks
        ]
        golfers = tables["golfers"]
        golfers["name"] = "golfer " + golfers["golfer_id"].astype(str)
    return tables


def export_book(
    book: SessionBook, folder: str | PathLike[str], pseudonyms: bool = False, *, parquet: bool | None = None
) -> Path:
    """Write a book as tidy tables: CSV, Parquet, and a data package that describes every column.

    Parameters
    ----------
    book : SessionBook
    folder : path
        Made where there is none; files of an earlier export are replaced, other files stay.
    pseudonyms : bool
        As in `export_tables`.
    parquet : bool, optional
        Whether to write Parquet beside the CSV files; default: where pyarrow is installed (``pip install
        'linetilt[export]'``).

    Returns
    -------
    path
        Of datapackage.json, by the Frictionless standard (Data Package, Tabular Data Resource, Table Schema, version
        1).

    Raises
    ------
    InputError
        When Parquet is asked for and pyarrow is not installed, or the folder cannot be written.
    """
    if parquet is None:
        parquet = find_spec("pyarrow") is not None
    elif parquet and find_spec("pyarrow") is None:
        raise InputError(
            "parquet is True, but pyarrow is not installed; expected it for Parquet; run pip install "
            "'linetilt[export]', or leave parquet out"
        )
    folder = Path(folder)
    tables = export_tables(book, pseudonyms=pseudonyms)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name, table in tables.items():
            _replace(
                folder / f"{name}.csv",
                lambda path, table=table: guarded(table).to_csv(path, index=False, lineterminator="\r\n"),
            )
            if parquet:
                _replace(
                    folder / f"{name}.parquet",
                    lambda path, table=table: table.to_parquet(path, engine="pyarrow", index=False),
                )
            else:
                (folder / f"{name}.parquet").unlink(missing_ok=True)  # of an earlier export, perhaps with names
        package = json.dumps(_package(tables, parquet), indent=1, ensure_ascii=False)
        _replace(folder / "datapackage.json", lambda path: path.write_text(package + "\n", encoding="utf-8"))
    except OSError as error:
        raise InputError(
            f"{folder} cannot be written: {error.strerror or error}; expected a folder of your own with space on the "
            "disk"
        ) from error
    return folder / "datapackage.json"


def guarded(table):
    """Return a table whose text no spreadsheet takes for a formula (see `GUARD_NOTE`)."""
    text = [name for name in table if pd.api.types.is_string_dtype(table[name])]
    return table.assign(**{name: table[name].str.replace(_GUARDED, r"'\1", regex=True) for name in text})


def _all(tables):
    """Return tables one below the other."""
    filled = [table for table in tables if len(table)]
    return pd.concat(filled, ignore_index=True) if filled else pd.DataFrame()


def _with_outcome(plans):
    """Return plans with the outcome's code, which older kits wrote as words."""
    if "outcome" not in plans:
        return plans
    codes = {outcome.words: code for code, outcome in OUTCOMES.items()}
    return plans.assign(outcome=plans["outcome"].replace(codes))


def _tidy(table, columns):
    """Return exactly these columns, with their types; empty text counts as missing."""
    tidy = pd.DataFrame(index=range(len(table)))
    for name, (kind, _) in columns.items():
        values = pd.Series(table[name].to_numpy() if name in table else [None] * len(table), dtype=object)
        if kind in ("string", "date", "datetime"):
            values = values.where(values.notna() & (values != ""), None)
        tidy[name] = values.astype(_DTYPES[kind])
    return tidy


def _package(tables, parquet):
    resources = []
    for name, table in tables.items():
        fields = [
            {"name": column, "type": kind, "description": text, **({"format": "any"} if kind == "datetime" else {})}
            for column, (kind, text) in TABLES[name].items()
        ]
        owners = [(column, OWNERS[column]) for column in table if column in OWNERS and OWNERS[column] != name]
        schema = {"fields": fields, "missingValues": [""]}
        if name in KEYS:
            schema["primaryKey"] = [KEYS[name]]
        schema["foreignKeys"] = [
            {"fields": [column], "reference": {"resource": owner, "fields": [column]}} for column, owner in owners
        ]
        resources.append(
            {
                "name": name.replace("_", "-"),
                "path": f"{name}.csv",
                "profile": "tabular-data-resource",
                "format": "csv",
                "mediatype": "text/csv",
                "encoding": "utf-8",
                "dialect": {"lineTerminator": "\r\n", "quoteChar": '"', "doubleQuote": True},
                "schema": schema,
            }
        )
    also = " Each table is there as a Parquet file of the same name too." if parquet else ""
    words = f"Signs: toe, upright, closed and up are positive. Units are in the columns' names. {GUARD_NOTE}{also}"
    return {
        "profile": "tabular-data-package",
        "name": "linetilt-book",
        "title": "Lie readings of golf clubs from printed lines",
        "description": words,
        "resources": resources,
    }


def _replace(final, write):
    """Write a file beside its place, then put it there."""
    beside = final.with_name(f".{final.name}.part")
    try:
        write(beside)
        os.replace(beside, final)
    finally:
        beside.unlink(missing_ok=True)
