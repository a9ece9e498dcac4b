"""``outlines.csv``: the outlines of originals on their scans, written by the tool and corrected by people.

What stands in the file is what the copies follow; a row that a person deletes is found anew. Corners are in pixels of
the master, from its top left edge, in any order. A row with part 0 and no corners keeps the whole frame.
"""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from surrogate.collection.cells import divider
from surrogate.errors import WrongUse
from surrogate.intake.quads import Corners, is_convex, ordered
from surrogate.records import Side

_CORNERS = [f"{axis}{corner}" for corner in (1, 2, 3, 4) for axis in "xy"]
COLUMNS = ["reference", "side", "file", "part", *_CORNERS, "confidence", "note"]
#: First characters with which a spreadsheet takes a cell for a formula (common practice, no source).
_FORMULA = ("=", "+", "-", "@", "\t", "\r")


@dataclass(frozen=True)
class Correction:
    """One row: the outline of one part of a master; ``corners`` None keeps the whole frame.

    ``file`` is the name of the scan as taken in; either it or ``reference`` says which master is meant.
    ``confidence`` is None where a person wrote the row.
    """

    reference: str
    side: Side
    file: str
    part: int
    corners: Corners | None
    confidence: float | None = None
    note: str = ""


def read_corrections(path: Path) -> list[Correction]:
    """Read ``outlines.csv``; comma or semicolon, UTF-8 with or without byte order mark; missing file: no rows.

    Raises:
        WrongUse: the file cannot be read, or a row is wrong; the line is named.

    """
    try:
        text = path.read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        return []
    except UnicodeDecodeError as error:
        raise WrongUse(f"{path.name} is not UTF-8 text: save it again as CSV UTF-8.") from error
    except OSError as error:
        raise WrongUse(f"{path.name} cannot be read: {error.strerror}.") from error
    try:
        rows = list(csv.reader(io.StringIO(text, newline=""), delimiter=divider(text), strict=True))
    except csv.Error as error:
        raise WrongUse(f"{path.name} is no CSV table ({error}): check its quotation marks.") from error
    if not rows:
        return []
    names = [name.strip().casefold() for name in rows[0]]
    missing = [name for name in ("part", *_CORNERS) if name not in names]
    if missing or not {"reference", "file"} & set(names):
        raise WrongUse(f"{path.name} lacks the column {(missing or ['reference'])[0]}: its first line must name them.")
    found: dict[tuple[str, Side, str, int], int] = {}
    corrections = []
    for line, cells in enumerate(rows[1:], 2):
        if not any(cell.strip() for cell in cells):
            continue
        row = _row(dict(zip(names, cells, strict=False)), f"{path.name}, line {line}")
        key = (row.reference, row.side, row.file, row.part)
        if key in found:
            raise WrongUse(f"{path.name}, line {line}: part {row.part} stands in line {found[key]} already.")
        found[key] = line
        corrections.append(row)
    return corrections


def _row(cells: dict[str, str], where: str) -> Correction:
    cells = {name: cell.strip() for name, cell in cells.items()}
    reference, file = (_plain(cells.get(name, "")) for name in ("reference", "file"))
    if not reference and not file:
        raise WrongUse(f"{where}: give the reference number or the file that the outline belongs to.")
    side = cells.get("side", "").casefold() or Side.RECTO.value
    sides = {name: one for one in Side for name in (one.value, one.letter)}
    if side not in sides:
        raise WrongUse(f"{where}: the side must be recto or verso, not “{side}”.")
    part = cells["part"] or "1"
    if not part.isdecimal() or int(part) > 999:
        raise WrongUse(f"{where}: the part must be a whole number from 0 to 999, not “{part}”.")
    return Correction(
        reference=reference,
        side=sides[side],
        file=file,
        part=int(part),
        corners=_corners([cells.get(name, "") for name in _CORNERS], int(part), where),
        confidence=_number(cells["confidence"], where) if cells.get("confidence") else None,
        note=_plain(cells.get("note", "")),
    )


def _corners(cells: list[str], part: int, where: str) -> Corners | None:
    if not any(cells):
        if part == 0:
            return None
        raise WrongUse(f"{where}: give four corners, or part 0 to keep the whole frame.")
    values = [_number(cell, where) for cell in cells]
    corners = ordered(list(zip(values[::2], values[1::2], strict=True)))
    if not is_convex(corners):
        raise WrongUse(f"{where}: the four corners do not enclose a four-sided shape.")
    return corners


def _number(cell: str, where: str) -> float:
    try:
        value = float(cell.replace(",", "."))
    except ValueError:
        value = math.nan
    if not math.isfinite(value) or abs(value) > 1e6:
        raise WrongUse(f"{where}: “{cell}” is not a number of pixels.")
    return value


def _plain(cell: str) -> str:
    return cell[1:] if cell[:1] == "'" and cell[1:].startswith(_FORMULA) else cell


def _guarded(cell: str) -> str:
    return f"'{cell}" if cell.startswith(_FORMULA) else cell


def written(corrections: Iterable[Correction]) -> str:
    """Return the text of ``outlines.csv`` for these rows, sorted by reference, side and part."""
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(COLUMNS)
    for row in sorted(corrections, key=lambda row: (row.reference, row.side, row.file, row.part)):
        corners = [f"{value:.1f}" for corner in row.corners for value in corner] if row.corners else [""] * 8
        confidence = "" if row.confidence is None else f"{row.confidence:.2f}"
        writer.writerow(
            [
                _guarded(row.reference),
                row.side.value,
                _guarded(row.file),
                row.part,
                *corners,
                confidence,
                _guarded(row.note),
            ]
        )
    return out.getvalue()
