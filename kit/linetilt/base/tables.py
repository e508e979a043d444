"""A table as somebody typed it -> headings matched to columns, and rows; or a refusal by row, column and value."""

import csv
import difflib
import io
import math
import re
import warnings
from collections.abc import Iterable, Mapping, Sequence
from importlib import import_module
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from .checks import RANGES, UNIT_WORDS, check, check_number, is_text, number_of, unit_factor
from .errors import InputError

__all__ = ["check_number", "is_text", "number_of", "read_rows", "words_of"]


def read_rows(
    source: Any,
    what: str,
    *,
    needed: Iterable[str] = (),
    known: Iterable[str] | None = None,
    numeric: Iterable[str] = (),
    aliases: Mapping[str, str] | None = None,
) -> list[tuple[int, dict[str, Any]]]:
    """Read a table, a dict a row.

    Parameters
    ----------
    source : path, file object, DataFrame or list of dicts
        A file has a header row. It is a CSV file in UTF-8, UTF-16 or the Western alphabet of older programs, columns
        separated by commas, semicolons or tabs; or a workbook (.xlsx, its sheet in front), where openpyxl is installed.
    what : str
        What refusals call it: "the bag".
    needed : iterable of str
        Columns that have to be there.
    known : iterable of str, optional
        The only columns that may be there.
    numeric : iterable of str
        Columns whose cells have to be numbers, within their range where `checks.RANGES` has one; they come as floats.
    aliases : mapping, optional
        Other headings that people write, in small letters, and the column that each stands for.

    Returns
    -------
    list of (int, dict)
        The row's number, from 1 below the header, and its cells by column: text without blanks at its ends, or what a
        DataFrame, dict or workbook holds. Empty cells (also NaN and None) are left out, and empty rows.

    Raises
    ------
    InputError

    Notes
    -----
    A heading is matched without regard to capitals, blanks, dots, hyphens and underscores, and with its unit in
    brackets or behind it: "Loft (°)", "length in". Lengths under a heading with another unit, "Length [cm]", are
    converted.

    Examples
    --------
    >>> import io
    >>> sheet = io.StringIO("Club;Length (in)\\n7;36,75\\n")
    >>> read_rows(sheet, "the bag", numeric=["length_in"], aliases={"club": "label"})
    [(1, {'label': '7', 'length_in': 36.75})]
    """
    headings, lines = _table(source, what)
    needed, numeric, aliases = list(needed), list(numeric), dict(aliases or {})
    columns = _columns(
        headings, what, [*needed, *numeric, *aliases.values()] if known is None else list(known), known, aliases
    )
    for name in needed:
        if name not in [column.name for column in columns]:
            raise InputError(
                f"{what} has no column {name}; expected a header row with at least {' and '.join(needed)}; add it"
            )
    rows = []
    for number, line in enumerate(lines, start=1):
        cells = [cell.strip() if isinstance(cell, str) else cell for cell in line]
        if any(not _is_empty(cell, what, number) for cell in cells[len(columns) :]):
            raise InputError(
                f"{what}, row {number} has {len(cells)} cells ({', '.join(map(str, cells))}); expected {len(columns)}, "
                "one a column; write numbers with a point, or put semicolons between the columns"
            )
        row = {}
        for column, cell in zip(columns, cells, strict=False):
            if _is_empty(cell, what, number):
                continue
            if column.factor != 1.0 and math.isfinite(length := number_of(cell)):
                cell = length * column.factor
            row[column.name] = _number(column.name, cell, f"{what}, row {number}") if column.name in numeric else cell
        if row:
            rows.append((number, row))
    return rows


def words_of(value: Any) -> str:
    """Return a cell as text: 7.0, as a column of numbers with a gap holds it, is "7"."""
    whole = isinstance(value, float | np.floating) and float(value).is_integer()
    return str(int(value) if whole else value)


class _Column(NamedTuple):
    """What a heading stands for, and what its numbers are multiplied by to come in the column's unit."""

    name: str
    factor: float = 1.0


def _number(name: str, cell: Any, where: str) -> float:
    value = number_of(cell)
    if not math.isfinite(value):
        raise InputError(
            f"{where}: {name} is {cell!r}; expected a number; correct it, or leave the cell empty where it is not known"
        )
    try:
        return check(name, cell) if name in RANGES else value
    except InputError as error:
        raise InputError(f"{where}: {error}") from error


# Headings


def _columns(
    headings: Sequence[str], what: str, names: list[str], known: Iterable[str] | None, aliases: Mapping[str, str]
) -> list[_Column]:
    """Return the column that each heading stands for; one that nobody knows stands for itself, or is refused."""
    spelled = {_spelled(name): (name, _split(name)[1]) for name in names}
    spelled |= {_spelled(alias): (name, _split(name)[1]) for alias, name in aliases.items()}
    spelled.pop("", None)
    columns, strange = [], []
    for heading in headings:
        column = _column(heading, what, names, spelled)
        if column is None and known is not None:
            strange.append(heading)
        columns.append(column or _Column(heading))
    if strange:
        shown = ", ".join(f"{heading!r}{_nearest(heading, spelled)}" for heading in strange)
        raise InputError(
            f"{what} has unknown columns {shown}; expected some of {', '.join(names)}; "
            "correct their names, or take them out"
        )
    seen: dict[str, str] = {}
    for heading, column in zip(headings, columns):
        if column.name in seen:
            both = (
                f"{heading!r}"
                if seen[column.name] == heading
                else f"for {column.name}, {seen[column.name]!r} and {heading!r}"
            )
            raise InputError(f"{what} has two columns {both}; expected each column once; take one of them out")
        seen[column.name] = heading
    return columns


def _column(heading: str, what: str, names: list[str], spelled: Mapping[str, tuple[str, str]]) -> _Column | None:
    if heading in names:
        return _Column(heading)
    if _spelled(heading) in spelled:
        return _Column(spelled[_spelled(heading)][0])
    stem, unit = _split(heading)
    for found, (name, own) in spelled.items():
        if unit and own and stem in (found, _split(name)[0]):
            factor = unit_factor(unit, own)
            if math.isnan(factor):
                raise InputError(
                    f"{what}: column {heading!r} is in {unit}; expected {name} in {own}; "
                    f"give it in {own}, or correct the heading"
                )
            return _Column(name, factor)
    return None


def _split(heading: str) -> tuple[str, str]:
    """Return a heading without its unit, spelled as `_spelled` does, and the unit in words ("" where it names none)."""
    parts = _parts(heading)
    unit = UNIT_WORDS.get(parts[-1], "") if len(parts) > 1 else ""
    if unit:
        del parts[-1]
        if len(parts) > 1 and parts[-1] == "in":  # "length in inches"
            del parts[-1]
    return "".join(parts), unit


def _spelled(heading: str) -> str:
    """Return a heading's letters and digits alone: what it is matched by."""
    return "".join(_parts(heading)).rstrip('°″”"')


def _parts(heading: str) -> list[str]:
    return re.findall(r"[^\W_]+|[°″”\"]", heading.casefold().replace("º", "°"))


def _nearest(heading: str, spelled: Mapping[str, tuple[str, str]]) -> str:
    near = difflib.get_close_matches(_split(heading)[0], spelled, n=1) or difflib.get_close_matches(
        _spelled(heading), spelled, n=1
    )
    return f" (did you mean {spelled[near[0]][0]}?)" if near else ""


# Where the cells come from


def _is_empty(cell: Any, what: str, number: int) -> bool:
    if not pd.api.types.is_scalar(cell):
        raise InputError(
            f"{what}, row {number} holds {type(cell).__name__} {str(cell)[:40]!r} in one cell; "
            "expected a number or a word in each; take it apart"
        )
    return cell == "" if isinstance(cell, str) else bool(pd.isna(cell))


def _table(source: Any, what: str) -> tuple[list[str], list[Any]]:
    """Return headings and rows of cells."""
    headings: list[Any]
    lines: list[Any]
    if isinstance(source, pd.DataFrame):
        headings, lines = list(source.columns), list(source.astype(object).itertuples(index=False, name=None))
    elif isinstance(source, list | tuple) and all(isinstance(row, Mapping) for row in source):
        headings = list(dict.fromkeys(name for row in source for name in row))
        lines = [tuple(row.get(name) for name in headings) for row in source]
    else:
        content = _content(source, what)
        sheet = _workbook(content, what) if isinstance(content, bytes) else _sheet(content, what)
        while sheet and all(cell is None or not str(cell).strip() for cell in sheet[0]):
            del sheet[0]
        if not sheet:
            raise InputError(
                f"{what} is empty; expected a header row and a row for each entry; fill it in, or choose another file"
            )
        headings, *lines = _without_blank_columns(sheet)
    return [str(heading).strip() for heading in headings], lines


def _without_blank_columns(sheet: list[list[Any]]) -> list[list[Any]]:
    """Return the rows without columns that have neither a heading nor a cell filled in."""
    headings, *lines = [["" if cell is None or not str(cell).strip() else cell for cell in line] for line in sheet]
    while headings[-1] == "":  # a separator at the end of each line
        headings.pop()
    blank = {
        i for i, name in enumerate(headings) if name == "" and all(line[i : i + 1] in ([], [""]) for line in lines)
    }
    return [[cell for i, cell in enumerate(line) if i not in blank] for line in (headings, *lines)]


def _content(source: Any, what: str) -> str | bytes:
    """Return the text of a file, or the bytes of a workbook."""
    try:
        content = source.read() if hasattr(source, "read") else Path(source).read_bytes()
    except (OSError, TypeError, ValueError) as error:
        reason = getattr(error, "strerror", None) or error
        raise InputError(
            f"{what} cannot be read from {str(source)[:200]!r} ({reason}); expected a CSV file; "
            "check its name and where it is"
        ) from error
    try:
        if not isinstance(content, str):
            content = bytes(content)
            if content.startswith(b"PK\x03\x04"):
                return content
            content = _decoded(content)
        content = content.removeprefix("\ufeff")
        if "\0" in content or not is_text(content):
            raise ValueError("it is no text")
    except (TypeError, ValueError) as error:
        raise InputError(
            f"{what} cannot be read ({error}); expected a CSV file in UTF-8; "
            "save the sheet again as \u201cCSV UTF-8\u201d"
        ) from error
    return content


def _decoded(content: bytes) -> str:
    if content[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return content.decode("utf-16")
    try:
        return content.decode("utf-8")
    except UnicodeDecodeError:
        return content.decode("cp1252")  # what programs of the Western alphabets save as "ANSI"


def _sheet(content: str, what: str) -> list[list[Any]]:
    """Return the rows of a CSV file as lists of text."""
    content = re.sub(r"\A\s*sep=.[^\r\n]*", "", content)  # a line for the program that saved it
    first = next((line for line in content.splitlines() if line.strip(" ,;\t")), "")
    if not first:
        return []
    between = max(",;\t", key=re.sub(r'"[^"]*"', "", first).count)
    try:
        return list(csv.reader(io.StringIO(content, newline=""), delimiter=between, skipinitialspace=True, strict=True))
    except csv.Error as error:
        raise InputError(
            f"{what} cannot be read ({error}); expected a CSV file with a row on each line; "
            "look for a quotation mark too many"
        ) from error


def _workbook(content: bytes, what: str) -> list[list[Any]]:
    """Return the rows of a workbook's sheet in front."""
    try:
        openpyxl = import_module("openpyxl")
    except ImportError:
        raise InputError(
            f"{what} is a workbook, which this installation does not read; expected a CSV file; "
            "save the sheet as \u201cCSV UTF-8\u201d, or add what reads workbooks: pip install 'linetilt[tables]'"
        ) from None
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            book = openpyxl.load_workbook(io.BytesIO(content), read_only=True, data_only=True)
            return [list(row) for row in book.worksheets[book.index(book.active)].iter_rows(values_only=True)]
    except Exception as error:  # whatever a damaged file makes of it
        raise InputError(
            f"{what} cannot be read as a workbook ({str(error)[:200]}); expected a sheet with a row for each entry; "
            "open it and save the sheet as \u201cCSV UTF-8\u201d"
        ) from error
