"""What is decided at the desk besides words: turns, outlines, what an inspection found.

Everything goes where ``process`` and ``care`` read it: the caption sheet's columns, ``outlines.csv``,
``care/inspections.csv``.
"""

from __future__ import annotations

import csv
import io
import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from starlette.background import BackgroundTask
from starlette.requests import Request
from starlette.responses import Response

from surrogate import outlining
from surrogate.collection.catalogue import Catalogue, Corners, OutlineRow, four_corners, open_catalogue
from surrogate.collection.cells import divider, plain_cell, safe_cell
from surrogate.collection.files import write_atomic
from surrogate.collection.holding import held
from surrogate.collection.numbering import name_of
from surrogate.description.text import clean
from surrogate.desk import words
from surrogate.desk.guard import Refused
from surrogate.desk.room import Room, back_to, master_of, one, side_of
from surrogate.desk.shelf import view_of
from surrogate.errors import CollectionUnusable
from surrogate.intake.quads import is_convex, ordered
from surrogate.records import Side

#: Parts of one scan that can be drawn: more prints do not lie on a scanner's bed or an album page.
MOST_PARTS = 12

#: Event: decided at the desk; the detail is JSON with what and said.
DECIDED = "decided at the desk"

INSPECTIONS = "care/inspections.csv"

#: Its columns, as :mod:`surrogate.care.inspection` writes and reads them; that room takes half a second to load.
INSPECTION = ("date", "by", "box", "folder", "reference", "finding", "action")

_LONGEST_FINDING = 500
_AXES = [f"{axis}{corner}" for corner in (1, 2, 3, 4) for axis in "xy"]


@dataclass(frozen=True)
class Inspection:
    """One line of what was found when somebody looked."""

    date: str
    by: str
    finding: str
    action: str


class Decisions:
    """The routes of decisions."""

    def __init__(self, room: Room) -> None:
        self._room = room

    def turn(self, request: Request, fields: Mapping[str, Sequence[str]]) -> Response:
        """Turn a side by a quarter: its column in the sheet, and the outlines on it."""
        reference = self._room.reference(request)
        by = {"left": 270, "right": 90}.get(one(fields, "by"))
        side = _side(fields)
        if by is None:
            raise Refused(400, "refused_form")
        with held(self._room.folder, "desk"), open_catalogue(self._room.folder) as catalogue:
            outlining.read(self._room.folder).adopt(catalogue)
            master = master_of(catalogue, reference, side)
            with catalogue.transaction():
                before = catalogue.caption(reference, side).turn
                words.put_cell(catalogue, reference, side, "turn", str((before + by) % 360 or ""))
                frame = (master.height, master.width) if before in {90, 270} else (master.width, master.height)
                rows = [_turned(row, by, frame) for row in catalogue.outlines(reference, side)]
                catalogue.put_outlines(reference, side, rows)
                note(catalogue, reference, "turn", str(by))
            outlining.export(self._room.folder, catalogue)
        answer = back_to(request, request.url.path.removesuffix("/turn"), "told_turned")
        answer.background = BackgroundTask(self._room.sheets.changed)
        return answer

    def outline_page(self, request: Request) -> Response:
        """The scan with the outlines of the pictures on it, each corner a handle."""
        reference, side = self._room.reference(request), side_of(request)
        with open_catalogue(self._room.folder) as catalogue:
            master = master_of(catalogue, reference, side)
            turn = catalogue.caption(reference, side).turn
            rows = [row for row in catalogue.outlines(reference, side) if row.corners is not None]
        width, height = (master.height, master.width) if turn in {90, 270} else (master.width, master.height)
        return self._room.page(
            request,
            "outline.html",
            reference=reference,
            name=name_of(reference),
            side=side.value,
            width=width,
            height=height,
            parts=[(row.part, row.corners) for row in rows],
            most=MOST_PARTS,
            version=turn,
            within=view_of(request.query_params).address(),
        )

    def save_outline(self, request: Request, fields: Mapping[str, Sequence[str]]) -> Response:
        """Keep the outlines that a person drew; the next run of ``process`` cuts along them."""
        reference, side = self._room.reference(request), side_of(request)
        with held(self._room.folder, "desk"), open_catalogue(self._room.folder) as catalogue:
            outlining.read(self._room.folder).adopt(catalogue)
            master = master_of(catalogue, reference, side)
            turn = catalogue.caption(reference, side).turn
            frame = (master.height, master.width) if turn in {90, 270} else (master.width, master.height)
            drawn = [] if one(fields, "whole") == "1" else _drawn(fields, frame)
            rows = [OutlineRow(reference, side, part, corners, None, "") for part, corners in enumerate(drawn, start=1)]
            with catalogue.transaction():
                catalogue.put_outlines(
                    reference, side, rows or [OutlineRow(reference, side, 0, None, None, "whole frame")]
                )
                note(catalogue, reference, "outline", str(len(drawn)))
            outlining.export(self._room.folder, catalogue)
        return back_to(request, f"/original/{name_of(reference)}", "told_outlined")

    def inspection(self, request: Request, fields: Mapping[str, Sequence[str]]) -> Response:
        """Add a line to the inspections of the collection."""
        reference = self._room.reference(request)
        with open_catalogue(self._room.folder) as catalogue:
            kept = words.shown(catalogue, reference)
        said = {name: _line(one(fields, name)) for name in ("by", "finding", "action")}
        if not said["finding"]:
            raise Refused(400, "finding_missing")
        line = {
            "date": datetime.now(UTC).date().isoformat(),
            "box": kept["box"],
            "folder": kept["folder"],
            "reference": reference,
            **said,
        }
        _append(self._room.folder / INSPECTIONS, line)
        return back_to(request, request.url.path.removesuffix("/inspection"), "told_inspected")


def inspections_of(folder: Path, reference: str) -> list[Inspection]:
    """What was found on an original so far, oldest first; nothing where the file cannot be read."""
    _, rows = _table(folder / INSPECTIONS)
    return [
        Inspection(*(plain_cell(row.get(name, "")) for name in ("date", "by", "finding", "action")))
        for row in rows
        if plain_cell(row.get("reference", "")).strip() == reference and row.get("finding", "").strip()
    ]


def outline_of_copy(catalogue: Catalogue, reference: str, side: Side) -> Corners | None:
    """What the copy of a whole side is cut along: the outline where there is just one and no copy shows it apart."""
    if any(row.copy.side is side and row.copy.part is not None for row in catalogue.copies(reference)):
        return None
    found = [row.corners for row in catalogue.outlines(reference, side) if row.corners is not None]
    return found[0] if len(found) == 1 else None


def history(catalogue: Catalogue, reference: str) -> list[tuple[str, str, str]]:
    """(when, what, said) of what was decided at the desk, newest first."""
    lines = [(at, json.loads(detail)) for at, _, what, detail in catalogue.events(reference) if what == DECIDED]
    return [(at, said["what"], said["said"]) for at, said in reversed(lines)]


def note(catalogue: Catalogue, reference: str, what: str, said: str) -> None:
    """Write a decision into an original's history. Call inside a transaction."""
    catalogue.add_event(reference, DECIDED, json.dumps({"what": what, "said": said}, ensure_ascii=False))


def _turned(row: OutlineRow, by: int, frame: tuple[int, int]) -> OutlineRow:
    """An outline on a scan of ``frame`` (width, height) that is turned clockwise by 90 or 270 degrees."""
    if row.corners is None:
        return row
    width, height = frame
    moved = [(height - y, x) if by == 90 else (y, width - x) for x, y in row.corners]
    return OutlineRow(row.reference, row.side, row.part, four_corners(ordered(moved)), row.confidence, row.note)


def _drawn(fields: Mapping[str, Sequence[str]], frame: tuple[int, int]) -> list[Corners]:
    """The outlines that a form holds, in pixels. Raises Refused for one that is none."""
    drawn = []
    for part in range(1, MOST_PARTS + 1):
        cells = [one(fields, f"p{part}{axis}").strip().replace(",", ".") for axis in _AXES]
        if not any(cells):
            continue
        try:
            values = [float(cell) for cell in cells]
        except ValueError as error:
            raise Refused(400, "outline_wrong") from error
        limits = [limit for _ in range(4) for limit in frame]
        if not all(
            math.isfinite(value) and -1 <= value <= limit + 1 for value, limit in zip(values, limits, strict=True)
        ):
            raise Refused(400, "outline_wrong")
        corners = ordered(list(zip(values[::2], values[1::2], strict=True)))
        if not is_convex(corners):
            raise Refused(400, "outline_wrong")
        drawn.append(four_corners(corners))
    if not drawn:
        raise Refused(400, "outline_wrong")
    return drawn


def _side(fields: Mapping[str, Sequence[str]]) -> Side:
    try:
        return Side(one(fields, "side"))
    except ValueError as error:
        raise Refused(400, "refused_form") from error


def _line(text: str) -> str:
    return " ".join(clean(text).text.split())[:_LONGEST_FINDING]


def _table(file: Path) -> tuple[list[str], list[dict[str, str]]]:
    """(columns, rows) of the inspections; people fill the file in with a spreadsheet program, so ``;`` divides too."""
    try:
        text = file.read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        return list(INSPECTION), []
    except (OSError, UnicodeDecodeError) as error:
        raise CollectionUnusable(f"{file} cannot be read as text. Save it as CSV in UTF-8.") from error
    lines = list(csv.reader(io.StringIO(text, newline=""), delimiter=divider(text)))
    columns = lines[0] if lines else list(INSPECTION)
    return columns, [dict(zip(columns, line, strict=False)) for line in lines[1:]]


def _append(file: Path, line: Mapping[str, str]) -> None:
    """Add a line at the end; every line that people wrote stays as it is, byte for byte."""
    columns, _ = _table(file)
    before = file.read_bytes() if file.is_file() else ",".join(INSPECTION).encode() + b"\r\n"
    if not before.endswith(b"\n"):
        before += b"\r\n"
    out = io.StringIO(newline="")
    csv.writer(out, delimiter=divider(before.decode("utf-8-sig"))).writerow(
        safe_cell(line.get(column.strip().lower(), "")) for column in columns
    )
    write_atomic(file, before + out.getvalue().encode())
