"""The catalogue in plain text: what no other file of the collection says, as tables in ``catalogue/``.

Together with the manifest, the caption sheet and ``outlines.csv`` they hold everything that the catalogue holds, so
that it can be written again (:mod:`surrogate.reviving`) or read in fifty years. ``history.csv`` and
``measurements.csv`` hold times; all others are the same in every run.
"""

from __future__ import annotations

import csv
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from surrogate.collection.catalogue import Catalogue, Cell
from surrogate.collection.files import replacing

FOLDER = "catalogue"

#: First characters that make a spreadsheet run a cell (OWASP, "CSV Injection"), with their full-width forms. A cell
#: that begins with one, or with an apostrophe, gets an apostrophe in front, which is taken off again on reading.
_GUARDED = tuple("'=+-@\t\r\n＝＋－＠")


@dataclass(frozen=True)
class Plain:
    """One table: the columns of its file with their types, what is asked of the catalogue, and how it goes back.

    A type in brackets may be empty. ``back`` takes the columns in order; None: :mod:`surrogate.reviving` knows.
    ``at_first`` is how many of the columns the first version wrote; None: all.
    """

    name: str
    columns: dict[str, str]
    query: str
    back: str | None
    at_first: int | None = None

    @property
    def file(self) -> str:
        """Path of the file in the collection."""
        return f"{FOLDER}/{self.name}.csv"


NUMBERS = Plain(
    "numbers",
    {"reference": "text", "name": "text", "year": "[whole]", "accession": "[whole]", "letter": "[text]",
     "item": "[whole]"},
    "SELECT reference, name, year, accession, letter, item FROM numbers ORDER BY reference",
    "INSERT OR IGNORE INTO numbers VALUES (?, ?, ?, ?, ?, ?)",
)  # fmt: skip
ORIGINALS = Plain(
    "originals",
    {"reference": "text", "kind": "text", "kind_confidence": "[real]", "kind_from": "text"},
    "SELECT reference, kind, kind_confidence, kind_from FROM originals ORDER BY reference",
    "INSERT OR IGNORE INTO originals VALUES (?, ?, ?, ?)",
)
COPIES = Plain(
    "copies",
    {"file": "text", "made_as": "text", "described_as": "text"},
    "SELECT file, made_as, described_as FROM copies ORDER BY file",
    None,
)
#: The newest measurement of each side lies in ``condition/``; here it is only dated.
MEASUREMENTS = Plain(
    "measurements",
    {"reference": "text", "side": "text", "measured_at": "text", "software": "text", "master_sha256": "text",
     "record": "text"},
    "SELECT reference, side, measured_at, software, master_sha256, CASE WHEN rowid IN "
    "(SELECT MAX(rowid) FROM conditions GROUP BY reference, side) THEN '' ELSE record END FROM conditions "
    "ORDER BY rowid",
    None,
)  # fmt: skip
FILES = Plain(
    "files",
    {"file": "text", "reference": "text", "sha256": "text", "size": "whole"},
    "SELECT file, reference, sha256, size FROM files ORDER BY file",
    "INSERT OR IGNORE INTO files VALUES (?, ?, ?, ?)",
)
SCANS = Plain(
    "scans",
    {"path": "text", "size": "whole", "mtime_ns": "whole", "reference": "[text]", "side": "[text]"},
    "SELECT path, size, mtime_ns, reference, side FROM sources ORDER BY path",
    "INSERT OR IGNORE INTO sources VALUES (?, ?, ?, ?, ?)",
)
NOTES = Plain(
    "notes",
    {"reference": "text", "side": "text", "note": "text", "at_arrival": "[whole]"},
    "SELECT reference, side, note, at_arrival FROM notes ORDER BY reference, side, rowid",
    "INSERT INTO notes VALUES (?, ?, ?, COALESCE(?, 0))",
    at_first=3,
)
SIGNATURES = Plain(
    "signatures",
    {"reference": "text", "hashes": "text"},
    "SELECT reference, hashes FROM signatures ORDER BY reference",
    "INSERT OR IGNORE INTO signatures VALUES (?, ?)",
)
SAME_PICTURES = Plain(
    "same_pictures",
    {"one": "text", "other": "text"},
    "SELECT one, other FROM same_pictures ORDER BY one, other",
    "INSERT OR IGNORE INTO same_pictures VALUES (?, ?)",
)
HISTORY = Plain(
    "history",
    {"at": "text", "reference": "[text]", "what": "text", "detail": "text"},
    "SELECT at, reference, what, detail FROM events ORDER BY rowid",
    "INSERT INTO events VALUES (?, ?, ?, ?)",
)

SET_ASIDE = Plain(
    "set_aside",
    {"file": "text", "reason": "text", "advice": "text"},
    "SELECT file, reason, advice FROM set_aside ORDER BY file",
    "INSERT OR IGNORE INTO set_aside VALUES (?, ?, ?)",
)
#: What the caption sheet was written as is seen from the sheet itself.
FACTS = Plain(
    "facts",
    {"name": "text", "value": "text"},
    "SELECT name, value FROM facts WHERE name NOT IN ('caption sheet', 'caption sheet coming') ORDER BY name",
    "INSERT OR IGNORE INTO facts VALUES (?, ?)",
)
TABLES = (
    NUMBERS, ORIGINALS, COPIES, MEASUREMENTS, FILES, SCANS, SET_ASIDE, NOTES, SIGNATURES, SAME_PICTURES, FACTS, HISTORY
)  # fmt: skip


class Unreadable(Exception):
    """A table is there but is not what was written; its text says why."""


def write(folder: Path, catalogue: Catalogue) -> None:
    """Write every table anew; files whose bytes would not change are left untouched."""
    for table in TABLES:
        with replacing(folder / table.file) as stream:
            lines = csv.writer(stream, lineterminator="\n")
            lines.writerow(table.columns)
            lines.writerows([_written(cell) for cell in row] for row in catalogue.rows(table.query))


def read(folder: Path, table: Plain) -> Iterator[tuple[Cell, ...]]:
    """The rows of a table; a missing file has none, and columns that came in with a later version are empty.

    Raises :class:`Unreadable` at the first row that is damaged.
    """
    path = folder / table.file
    if not path.is_file():
        return
    kinds = tuple(table.columns.values())
    try:
        with path.open(encoding="utf-8", newline="") as stream:
            lines = csv.reader(stream, strict=True)
            columns = next(lines, [])
            if columns not in ([*table.columns], [*table.columns][: table.at_first]):
                raise Unreadable("its first line is not the one it was written with")
            later = [""] * (len(kinds) - len(columns))
            for line in lines:
                if len(line) != len(columns):
                    raise Unreadable(f"line {lines.line_num} has {len(line)} cells instead of {len(columns)}")
                yield tuple(_read(cell, kind) for cell, kind in zip([*line, *later], kinds, strict=True))
    except (OSError, ValueError, csv.Error) as error:  # a UnicodeDecodeError is a ValueError
        raise Unreadable(str(error)) from error


def _written(cell: Cell) -> str:
    text = "" if cell is None else str(cell)
    return f"'{text}" if text.startswith(_GUARDED) else text


def _read(cell: str, kind: str) -> Cell:
    text = cell.removeprefix("'")
    match kind:
        case "text":
            return text
        case "whole":
            return int(text)
        case _ if not text:
            return None
        case "[whole]":
            return int(text)
        case "[real]":
            return float(text)
        case _:
            return text
