"""What somebody typed, or a table holds -> numbers and rows; or a refusal that names row, column and value."""

import csv
import io
import math
import numbers
from pathlib import Path

import numpy as np
import pandas as pd

from .errors import InputError

# What a number may have been given in by mistake, and how many of the unit asked for that is.
_OTHER_UNITS = {
    "degrees": (("radians", 180.0 / math.pi),),
    "inches": (("centimetres", 1 / 2.54), ("millimetres", 1 / 25.4), ("metres", 1 / 0.0254), ("feet", 12.0)),
    "millimetres": (("inches", 25.4), ("centimetres", 10.0), ("metres", 1000.0)),
}


def check_number(name, value, low, high, unit):
    """Return `value` as a float, or raise InputError naming the argument, its unit and the range expected.

    Text is read as a fitter types it: with point or comma, and with or without a degree sign.
    """
    number = number_of(value)
    if not low <= number <= high:
        shown = value.item() if isinstance(value, np.generic) else value
        likely = (
            f"; if that is in {other}, give {number * factor:.4g}"
            for other, factor in _OTHER_UNITS.get(unit, ())
            if low < number * factor <= high
        )
        raise InputError(
            f"{name} is {shown!r}; expected a number from {low:g} to {high:g} {unit}".rstrip() + next(likely, "")
        )
    return number


def number_of(value):
    """Return a number as a float; NaN where it is none."""
    if isinstance(value, str):
        value = value.strip().removesuffix("°").rstrip().replace("−", "-")
        if value.count(",") == 1 and "." not in value:
            value = value.replace(",", ".")
        if "_" in value:  # Python's own way to write 1_000
            return math.nan
    elif isinstance(value, bool | np.bool_):
        return math.nan
    try:
        return float(value)
    except (TypeError, ValueError, OverflowError):
        return math.nan


def read_rows(source, what, *, needed=(), known=None, numeric=()):
    """Read a table, a dict a row.

    Parameters
    ----------
    source : path, file object or DataFrame
        A CSV file in UTF-8 (or UTF-16, as some programs save it) with a header row; columns separated by commas, semicolons or tabs.
    what : str
        What refusals call it: "the bag".
    needed : iterable of str
        Columns that have to be there.
    known : iterable of str, optional
        The only columns that may be there.
    numeric : iterable of str
        Columns whose cells have to be numbers; they come as floats.

    Returns
    -------
    list of (int, dict)
        The row's number, from 1 below the header, and its cells by column: text without blanks at its ends, or what a DataFrame holds.
        Empty cells (in a DataFrame also NaN) are left out, and empty rows.

    Raises
    ------
    InputError
    """
    if isinstance(source, pd.DataFrame):
        columns, lines = source.columns, source.astype(object).itertuples(index=False, name=None)
    else:
        columns, *lines = _lines(source, what)
    columns = [str(name).strip() for name in columns]
    for name in columns:
        if columns.count(name) > 1:
            raise InputError(f"{what} has two columns {name!r}; expected each column once; take one of them out")
    if known is not None and (extra := [name for name in columns if name not in known]):
        raise InputError(
            f"{what} has unknown columns {', '.join(extra)}; expected some of {', '.join(known)}; take them out or correct their names"
        )
    for name in needed:
        if name not in columns:
            raise InputError(
                f"{what} has no column {name}; expected a header row with at least {' and '.join(needed)}; add it"
            )
    rows = []
    for number, cells in enumerate(lines, start=1):
        cells = [cell.strip() if isinstance(cell, str) else cell for cell in cells]
        if any(not _is_empty(cell, what, number) for cell in cells[len(columns) :]):
            raise InputError(
                f"{what}, row {number} has {len(cells)} cells ({', '.join(cells)}); expected {len(columns)}, one a column; "
                "write numbers with a point, or put semicolons between the columns"
            )
        row = {name: cell for name, cell in zip(columns, cells, strict=False) if not _is_empty(cell, what, number)}
        for name in set(numeric) & set(row):
            value = number_of(row[name])
            if not math.isfinite(value):
                raise InputError(
                    f"{what}, row {number}: {name} is {row[name]!r}; expected a number; correct it, or leave the cell empty where it is not known"
                )
            row[name] = value
        if row:
            rows.append((number, row))
    return rows


def is_text(value):
    """True for text that can be kept: half a character, as a damaged name can hold it, cannot."""
    try:
        return isinstance(value, str) and bool(value.encode() or True)
    except UnicodeEncodeError:
        return False


def words_of(value):
    """Return a cell as text: 7.0, as a column of numbers with a gap holds it, is "7"."""
    return (
        str(int(value))
        if isinstance(value, numbers.Real) and not isinstance(value, bool) and float(value).is_integer()
        else str(value)
    )


def _is_empty(cell, what, number):
    if not pd.api.types.is_scalar(cell):
        raise InputError(
            f"{what}, row {number} holds {type(cell).__name__} {str(cell)[:40]!r} in one cell; expected a number or a word in each; take it apart"
        )
    return cell == "" if isinstance(cell, str) else pd.isna(cell)


def _lines(source, what):
    """Return header and rows of a CSV file as lists of text."""
    try:
        content = source.read() if hasattr(source, "read") else Path(source).read_bytes()
    except (OSError, TypeError, ValueError) as error:
        reason = getattr(error, "strerror", None) or error
        raise InputError(
            f"{what} cannot be read from {str(source)[:200]!r} ({reason}); expected a CSV file; check its name and where it is"
        ) from error
    try:
        if not isinstance(content, str):
            content = bytes(content)
            content = content.decode("utf-16" if content[:2] in (b"\xff\xfe", b"\xfe\xff") else "utf-8")
        content = content.removeprefix("\ufeff")
        if "\0" in content or not is_text(content):
            raise ValueError("it is no text")
    except ValueError as error:
        raise InputError(
            f"{what} cannot be read ({error}); expected a CSV file in UTF-8; save the sheet again as \u201cCSV UTF-8\u201d"
        ) from error
    first = next((line for line in content.splitlines() if line.strip()), "")
    if not first:
        raise InputError(
            f"{what} is empty; expected a header row and a row for each entry; fill it in, or choose another file"
        )
    between = max(",;\t", key=first.count)
    try:
        lines = list(
            csv.reader(io.StringIO(content, newline=""), delimiter=between, skipinitialspace=True, strict=True)
        )
    except csv.Error as error:
        raise InputError(
            f"{what} cannot be read ({error}); expected a CSV file with a row on each line; look for a quotation mark too many"
        ) from error
    while not any(cell.strip() for cell in lines[0]):
        del lines[0]
    while lines[0] and not lines[0][-1].strip():  # a separator at the end of each line
        lines[0].pop()
    return lines
