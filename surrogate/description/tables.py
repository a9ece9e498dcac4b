"""Read a table of text from CSV or XLSX, whatever program wrote it."""

from __future__ import annotations

import csv
import datetime as dt
import io
import re
import sys
import warnings
import zipfile
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from openpyxl.cell.cell import Cell, MergedCell
    from openpyxl.worksheet.worksheet import Worksheet

from surrogate.collection.cells import plain_cell
from surrogate.description.encodings import decode
from surrogate.errors import WrongUse
from surrogate.records import Record

# The csv module stops at 131,072 characters a cell by default; captions may be longer.
csv.field_size_limit(min(sys.maxsize, 2**31 - 1))

_DELIMITERS = (",", ";", "\t")
_LINES_LOOKED_AT = 10


class Line(Record):
    """One row of a table with its number in the file (from 1)."""

    number: int
    cells: list[str]


class Table(Record):
    """The rows of a sheet as text, and what there is to say about how they were read."""

    lines: list[Line]
    notes: list[str]


def read_table(path: Path, is_header: Callable[[str], bool]) -> Table:
    """Read a CSV or XLSX file; the content decides, not the suffix.

    ``is_header`` knows the words that stand above columns; they decide which sign divides the cells of a CSV file.
    Raises WrongUse with one sentence when the file is no sheet or cannot be opened.
    """
    try:
        data = path.read_bytes()
    except FileNotFoundError as error:
        raise WrongUse(f"The caption sheet {path} does not exist; check the name.") from error
    except IsADirectoryError as error:
        raise WrongUse(f"{path} is a folder; give the caption sheet itself (CSV or XLSX).") from error
    except PermissionError as error:
        raise WrongUse(
            f"The caption sheet {path.name} cannot be opened; close it in the spreadsheet program and run again."
        ) from error
    if data.startswith(b"PK\x03\x04"):
        return _from_workbook(path.name, data)
    if data.startswith(b"\xd0\xcf\x11\xe0"):
        raise WrongUse(
            f"The caption sheet {path.name} is an old or password-protected spreadsheet; save it as XLSX or CSV "
            "without a password."
        )
    return _from_text(path.name, data, is_header)


def _from_text(name: str, data: bytes, is_header: Callable[[str], bool]) -> Table:
    text, encoding = decode(name, data)
    notes = [] if encoding == "UTF-8" else [f"{name} was read as {encoding}."]
    first, _, rest = text.partition("\n")
    named = re.fullmatch(r'"?sep=(.)"?\r?', first, re.IGNORECASE)
    delimiter = named[1] if named else _delimiter(text, is_header)
    skipped = 1 if named else 0
    body = rest if named else text
    try:
        rows = _csv_rows(body, delimiter, strict=True)
    except csv.Error:
        rows = _csv_rows(body, delimiter, strict=False)
        notes.append(
            f"{name} has a quotation mark that is not closed or stands inside a cell; check the cells around it."
        )
    return Table(
        lines=[Line(number=n + skipped, cells=[plain_cell(c) for c in cells]) for n, cells in rows if any(cells)],
        notes=notes,
    )


def _csv_rows(text: str, delimiter: str, *, strict: bool) -> list[tuple[int, list[str]]]:
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=strict)
    rows = []
    start = 1
    for cells in reader:
        rows.append((start, cells))
        start = reader.line_num + 1
    return rows


def _delimiter(text: str, is_header: Callable[[str], bool]) -> str:
    """The delimiter that gives most header words in one of the first lines."""
    head = "\n".join(text.splitlines()[: 4 * _LINES_LOOKED_AT])

    def headers(delimiter: str) -> int:
        rows = _csv_rows(head, delimiter, strict=False)[:_LINES_LOOKED_AT]
        return max((sum(map(is_header, cells)) for _, cells in rows), default=0)

    return max(_DELIMITERS, key=headers)


def _from_workbook(name: str, data: bytes) -> Table:
    """Read a workbook; the one place where whatever a damaged one raises becomes a sentence."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # openpyxl warns of styles and extensions that hold no text
            return _rows_of_workbook(name, data)
    except Exception as error:
        raise WrongUse(f"{name} is not a spreadsheet that can be read; save it as XLSX or CSV.") from error


def _rows_of_workbook(name: str, data: bytes) -> Table:
    import openpyxl  # only when somebody gives a workbook: it takes a quarter of a second to load

    book = openpyxl.load_workbook(io.BytesIO(data), data_only=True)
    sheets = [sheet for sheet in book.worksheets if sheet.max_row and any(_filled(row) for row in sheet.iter_rows())]
    if not sheets:
        return Table(lines=[], notes=[])
    sheet = sheets[0]
    notes = []
    if len(sheets) > 1:
        others = ", ".join(other.title for other in sheets[1:])
        notes.append(f"{name} has several sheets; {sheet.title} was read, not {others}.")
    notes += [
        f"{name}: the cells {merged} are merged; only the first of them holds text."
        for merged in sorted(str(each) for each in sheet.merged_cells.ranges)
    ]
    lines = []
    for number, row in enumerate(sheet.iter_rows(), start=1):
        if _filled(row):
            lines.append(Line(number=number, cells=[_cell_text(cell, notes) for cell in row]))
    return Table(lines=lines, notes=notes + _lost_formulas(data, sheet.title, sheet))


def _filled(row: Sequence[Cell | MergedCell]) -> bool:
    return any(cell.value not in (None, "") for cell in row)


def _cell_text(cell: Cell | MergedCell, notes: list[str]) -> str:
    value = cell.value
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else ""
    if isinstance(value, dt.datetime | dt.date):
        return _date_text(value, str(cell.number_format))
    if isinstance(value, float) and value.is_integer() and abs(value) < 1e15:
        return str(int(value))
    if getattr(cell, "data_type", "") == "e":
        notes.append(f"The cell {cell.coordinate} holds the error {value}; it was read as empty.")
        return ""
    return str(value)


def _date_text(value: dt.date, number_format: str) -> str:
    """An ISO date, as precise as the cell shows it: a program stores "May 1943" as the first of May."""
    shown = re.sub(r'"[^"]*"|\[[^\]]*\]|\\.', "", number_format.lower())
    if isinstance(value, dt.datetime) and value.time() != dt.time(0):
        return value.date().isoformat()
    if "d" in shown or "y" not in shown:
        return value.strftime("%Y-%m-%d")
    return value.strftime("%Y-%m") if "m" in shown else value.strftime("%Y")


def _lost_formulas(data: bytes, title: str, shown: Worksheet) -> list[str]:
    """Formulas whose value was never saved, which happens when a program that cannot calculate wrote the file."""
    if b"<f" not in data and not _has_formula(data):
        return []
    import openpyxl

    formulas = openpyxl.load_workbook(io.BytesIO(data), data_only=False)[title]
    return [
        f"The cell {cell.coordinate} holds a formula without a saved value; open the sheet, save it and run again."
        for row in formulas.iter_rows()
        for cell in row
        if cell.data_type == "f" and shown[cell.coordinate].value is None
    ]


def _has_formula(data: bytes) -> bool:
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        return any(
            re.search(rb"<f[ >/]", archive.read(part)) for part in archive.namelist() if "worksheets/sheet" in part
        )
