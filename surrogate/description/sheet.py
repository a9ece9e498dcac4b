"""The caption sheet: read in any shape, written in one."""

from __future__ import annotations

import csv
import os
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from enum import StrEnum
from pathlib import Path
from typing import Literal, TypeVar

from surrogate.collection.cells import safe_cell
from surrogate.collection.files import flush_folder
from surrogate.description.columns import COLUMNS, column_for
from surrogate.description.dates import understand
from surrogate.description.tables import Line, Table, read_table
from surrogate.description.text import clean
from surrogate.errors import WrongUse
from surrogate.records import Caption, Kind, Record, Side, Strength, Tone

_WORDS_FOR_SIDE: Mapping[str, Side] = {
    **dict.fromkeys(("recto", "r", "front", "face", "a"), Side.RECTO),
    **dict.fromkeys(("verso", "v", "back", "reverse", "b"), Side.VERSO),
}
_YES = frozenset({"yes", "y", "true", "1", "x", "✓", "✔", "ok", "approved", "done"})
_NO = frozenset({"", "no", "n", "false", "0", "-", "not yet"})
#: Other words that people write for a choice.
_MEANT = {"leave alone": Strength.NONE.value, "leave it alone": Strength.NONE.value}
_HEADER_WITHIN = 10


class SheetRow(Record):
    """One row of the sheet: one original and side."""

    file: str
    reference: str
    side: Side | None
    caption: Caption
    written: dict[str, str]
    """Every cell of a published column as the person wrote it."""
    extra: dict[str, str]
    """The cells of the person's own columns."""
    line: int


class Sheet(Record):
    """A caption sheet with what there is to say about it."""

    rows: list[SheetRow]
    columns: list[str]
    """The header as found; published columns under their published names."""
    notes: list[str]


def read_sheet(path: Path, headers: Mapping[str, str] | None = None) -> Sheet:
    """Read a caption sheet from CSV or XLSX.

    ``headers`` maps people's own header words, in any language, to published columns. Raises WrongUse with one
    sentence when the file is no caption sheet. Whatever is odd in single cells is a note, never an error.
    """
    own_words = headers or {}
    table = read_table(path, lambda word: column_for(word, own_words) is not None)
    notes = list(table.notes)
    lock = lock_beside(path)
    if lock is not None:
        notes.append(f"{path.name} is open in a spreadsheet program; what was not saved there is not seen.")
    position, header = _header(path.name, table, own_words, notes)
    rows = [_row(line, header, notes) for line in table.lines[position + 1 :]]
    return Sheet(rows=[row for row in rows if row is not None], columns=header, notes=notes)


def write_sheet(path: Path, rows: Iterable[Mapping[str, str]], own_columns: Sequence[str] = ()) -> None:
    """Write a caption sheet; see :func:`written_sheet`."""
    with written_sheet(path, rows, own_columns):
        pass


@contextmanager
def written_sheet(path: Path, rows: Iterable[Mapping[str, str]], own_columns: Sequence[str] = ()) -> Iterator[Path]:
    """Write a caption sheet: UTF-8 with a byte order mark, published columns first, then the person's own.

    ``rows`` is gone through twice and never held as a whole. Yields the finished file under a name of work in
    progress; when the block ends it takes the place of ``path``, whole or not at all. Raises WrongUse when a
    spreadsheet program holds it.
    """
    lock = lock_beside(path)
    if lock is not None:
        raise WrongUse(
            f"{path.name} is open in a spreadsheet program; save and close it there, then run the same command "
            f"again (if no program has it open, delete the file {lock.name})."
        )
    named = dict.fromkeys(own_columns)
    for row in rows:
        named.update(dict.fromkeys(row))
    columns = [*COLUMNS, *(column for column in named if column not in COLUMNS)]
    temporary = path.with_name(f".{path.name}.part")
    try:
        with temporary.open("w", encoding="utf-8-sig", errors="replace", newline="") as handle:
            writer = csv.writer(handle, lineterminator="\r\n")
            writer.writerow([safe_cell(column) for column in columns])
            writer.writerows([safe_cell(row.get(column, "")) for column in columns] for row in rows)
            handle.flush()
            os.fsync(handle.fileno())
        yield temporary
        temporary.replace(path)
        flush_folder(path.parent)
    except PermissionError as error:
        temporary.unlink(missing_ok=True)
        raise WrongUse(f"{path.name} cannot be replaced; close it in the spreadsheet program and run again.") from error


def lock_beside(path: Path) -> Path | None:
    """The file by which a spreadsheet program says that it has this sheet open, or None."""
    for name in (f".~lock.{path.name}#", f"~${path.name}"):
        candidate = path.with_name(name)
        if candidate.exists():
            return candidate
    return None


def people_in(text: str) -> list[str]:
    """Names as written, in order; "?" stands for someone unknown."""
    return [name.strip() for name in text.split(";") if name.strip()]


def _header(name: str, table: Table, own_words: Mapping[str, str], notes: list[str]) -> tuple[int, list[str]]:
    unknown = sorted(set(own_words.values()) - set(COLUMNS))
    if unknown:
        raise WrongUse(f"collection.toml maps header words to {unknown[0]!r}, which is no column of the caption sheet.")
    if not table.lines:
        raise WrongUse(f"The caption sheet {name} is empty; its first row must name the columns (file, caption, date).")
    counts = [
        len({column_for(cell, own_words) for cell in line.cells} - {None}) for line in table.lines[:_HEADER_WITHIN]
    ]
    position = counts.index(max(counts))
    line = table.lines[position]
    header: list[str] = []
    for number, cell in enumerate(line.cells, start=1):
        own = " ".join(clean(cell).text.split()) or f"column {number}"
        column = column_for(cell, own_words) or own
        if column in header:
            notes.append(f"{name} has the column {own} twice; the second is kept as it is.")
            column = _unused(own, header)
        header.append(column)
    if not {"file", "reference"} & set(header):
        raise WrongUse(
            f"The caption sheet {name} has no column for the file name or the reference number; "
            'name one column "file" or "reference".'
        )
    if position:
        notes.append(f"{name}: the rows above line {line.number} were taken for a heading and left alone.")
    return position, header


def _unused(name: str, taken: Sequence[str]) -> str:
    number = 2
    while f"{name} ({number})" in taken:
        number += 1
    return f"{name} ({number})"


def _row(line: Line, header: list[str], notes: list[str]) -> SheetRow | None:
    names = [*header, *(f"column {n}" for n in range(len(header) + 1, len(line.cells) + 1))]
    cells = dict(zip(names, line.cells, strict=False))
    if not any(cell.strip() for cell in cells.values()):
        return None
    where = f"line {line.number}"
    written = {column: cell for column, cell in cells.items() if column in COLUMNS}
    extra = {column: cell for column, cell in cells.items() if column not in COLUMNS and (cell or column in header)}
    texts: dict[str, str] = {}
    for column, cell in written.items():
        cleaned = clean(cell)
        texts[column] = cleaned.text
        if cleaned.stripped:
            notes.append(f"{where}, {column}: {cleaned.stripped}.")
    return SheetRow(
        file=texts.get("file", "").strip(),
        reference=texts.get("reference", "").strip(),
        side=_side(texts.get("side", ""), where, notes),
        caption=caption_from({**extra, **texts}, where, notes),
        written=written,
        extra=extra,
        line=line.number,
    )


def caption_from(texts: Mapping[str, str], where: str, notes: list[str]) -> Caption:
    """The caption that the cells of one row make; what is not understood is added to ``notes``."""
    date = understand(texts.get("date", ""))
    if date.question:
        notes.append(f"{where}, date: {date.question}")
    elif date.edtf is None and not date.undated:
        notes.append(f"{where}, date: {date.text!r} was not understood as a date; it is kept as written.")
    plain = {
        column: texts.get(column, "").strip()
        for column in ("title", "caption", "place", "inscription", "creator", "rights", "box", "folder")
    }
    return Caption(
        **plain,
        date=date.edtf or date.text,
        people=people_in(texts.get("people", "")),
        enclosure=texts.get("enclosure", "").strip(),
        lot=texts.get("lot", "").strip(),
        access=texts.get("access", "").strip(),
        notes=texts.get("notes", "").strip(),
        strength=_choice(Strength, "strength", texts, where, notes),
        tone=_choice(Tone, "tone", texts, where, notes),
        kind=_choice(Kind, "kind", texts, where, notes),
        approved=_approved(texts.get("approved", ""), where, notes),
        faces=texts.get("faces", "").strip(),
        turn=_turn(texts.get("turn", ""), where, notes),
    )


_Choice = TypeVar("_Choice", bound=StrEnum)


def _choice(
    choices: type[_Choice], column: str, texts: Mapping[str, str], where: str, notes: list[str]
) -> _Choice | None:
    written = texts.get(column, "").strip()
    if not written:
        return None
    wanted = " ".join(written.casefold().replace("_", " ").replace("-", " ").split())
    for choice in choices:
        if choice.value.replace("-", " ") == wanted or choice.value == _MEANT.get(wanted):
            return choice
    known = ", ".join(choice.value for choice in choices)
    notes.append(f"{where}, {column}: {written!r} is not known and changes nothing; write one of {known}.")
    return None


def _side(written: str, where: str, notes: list[str]) -> Side | None:
    word = written.strip().casefold()
    side = _WORDS_FOR_SIDE.get(word)
    if word and side is None:
        notes.append(f"{where}, side: {written!r} is not known; write recto (front) or verso (back).")
    return side


def _turn(written: str, where: str, notes: list[str]) -> Literal[0, 90, 180, 270]:
    match written.strip().removesuffix("°"):
        case "" | "0":
            return 0
        case "90":
            return 90
        case "180":
            return 180
        case "270":
            return 270
    notes.append(f"{where}, turn: {written!r} is not known and was left alone; write 90, 180 or 270 (clockwise).")
    return 0


def _approved(written: str, where: str, notes: list[str]) -> bool:
    word = written.strip().casefold()
    if word not in _YES and word not in _NO:
        notes.append(f"{where}, approved: {written!r} was taken as not approved; write yes, or leave the cell empty.")
    return word in _YES
