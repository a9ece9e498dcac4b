"""Bring together what was written in the sheet and at the desk since the sheet was last written."""

from __future__ import annotations

import re
from collections.abc import Mapping

from surrogate.description.words import month_number
from surrogate.records import Record

# The column that shows conflicts; it is there only when there is one, and the person empties it.
CONFLICT_COLUMN = "conflict"

Row = Mapping[str, str]


class Conflict(Record):
    """One field that was changed in two places, with every value."""

    reference: str
    side: str
    column: str
    before: str
    sheet: str
    other: str

    def words(self) -> str:
        """One sentence for a person."""
        where = f"{self.reference} {self.side}".strip()
        return f"{where}, {self.column}: the sheet says {self.sheet!r}, the desk says {self.other!r}; choose one."


def merge_row(base: Row, sheet: Row, other: Row) -> tuple[dict[str, str], list[Conflict]]:
    """Merge one row; a conflict keeps the sheet's value and shows the other in the column ``conflict``."""
    merged: dict[str, str] = {}
    conflicts: list[Conflict] = []
    for column in dict.fromkeys((*sheet, *other, *base)):
        before = base.get(column, "")
        written, changed = sheet.get(column, before), other.get(column, before)
        if same(written, before):
            merged[column] = changed
        elif same(changed, before) or same(written, changed):
            merged[column] = written
        else:
            merged[column] = written
            conflicts.append(
                Conflict(
                    reference=sheet.get("reference", "") or other.get("reference", ""),
                    side=sheet.get("side", "") or other.get("side", ""),
                    column=column,
                    before=before,
                    sheet=written,
                    other=changed,
                )
            )
    if conflicts:
        told = [merged.get(CONFLICT_COLUMN, "")]
        told += [f"{each.column}: also written at the desk: {each.other or '(emptied)'}" for each in conflicts]
        merged[CONFLICT_COLUMN] = "\n".join(line for line in told if line)
    return merged, conflicts


def same(cell: str, before: str) -> bool:
    """True when a cell still says what it said, even if a spreadsheet program has dressed it differently."""
    cell, before = _even(cell), _even(before)
    return cell == before or _redressed_date(cell, before) or _redressed_number(cell, before)


def _even(text: str) -> str:
    return text.replace("\r\n", "\n").replace("\r", "\n").strip()


def _redressed_number(cell: str, before: str) -> bool:
    """Leading zeros dropped, or a long number in powers of ten."""
    if not before.isascii() or not before.isdigit():
        return False
    if cell.isascii() and cell.isdigit():
        return int(cell) == int(before)
    if re.fullmatch(r"\d([.,]\d+)?E\+\d{1,3}", cell):
        value = float(cell.replace(",", "."))
        return abs(value - int(before)) <= 1e-5 * value
    return False


def _redressed_date(cell: str, before: str) -> bool:
    """1943-05 shown as May-43, or 1943-05-12 shown as 12/05/1943 or 5/12/43."""
    iso = re.fullmatch(r"(\d{4})-(\d\d)(?:-(\d\d))?", before)
    if iso is None:
        return False
    year, month, day = int(iso[1]), int(iso[2]), int(iso[3] or 0)
    named = re.fullmatch(r"([^\W\d]+)\.?[-./ ](\d{2}|\d{4})", cell)
    if named and not day:
        return month_number(named[1]) == month and int(named[2]) in (year, year % 100)
    parts = [int(part) for part in re.split(r"[-./]", cell)] if re.fullmatch(r"\d+[-./]\d+[-./]\d+", cell) else []
    if len(parts) != 3:
        return False
    whole = sorted((day or 1, month))
    if parts[0] == year:
        return parts[1:] == [month, day or 1]
    return parts[2] in (year, year % 100) and sorted(parts[:2]) == whole
