"""``pairs.csv``: which original is the back of which, and which back is none, as people decided.

A row is followed by the next ``process`` and then goes: ``front, back`` with two reference numbers makes the second
original the back of the first; with an empty ``back`` the back of the first becomes an original of its own. Masters
keep their names and bytes, the manifest says which file is which side. A number that went into another is never given
again, and leads to it; it comes back when the two are parted.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from surrogate import wording
from surrogate.collection import paths, register
from surrogate.collection.catalogue import Catalogue, OriginalRow, Retired
from surrogate.collection.cells import divider, plain_cell, safe_cell
from surrogate.collection.files import write_atomic
from surrogate.collection.numbering import Pattern
from surrogate.collection.settings import Settings
from surrogate.errors import WrongUse
from surrogate.handover import text
from surrogate.records import Kind, Master, Side

FILE_NAME = "pairs.csv"
COLUMNS = ("front", "back")

#: Events.
JOINED, PARTED = "became a back", "became an original of its own"

#: Cells that speak of one whole original and do not go over to another.
_OWN = ("approved",)


@dataclass(frozen=True)
class _Sides:
    """The sides of an original."""

    front: Master | None
    back: Master | None


def read(folder: Path) -> dict[str, str]:
    """{front: back} of what is to be done; an empty back parts. Raises WrongUse for a file that is no such table."""
    path = folder / FILE_NAME
    if not path.is_file():
        return {}
    try:
        table = path.read_text(encoding="utf-8-sig")
        lines = list(csv.reader(io.StringIO(table, newline=""), delimiter=divider(table), strict=True))
    except (ValueError, csv.Error) as error:  # a UnicodeDecodeError is a ValueError
        raise WrongUse(f"{FILE_NAME} cannot be read ({error}). Save it as CSV in UTF-8.") from error
    if not lines or [cell.strip().casefold() for cell in lines[0][:2]] != list(COLUMNS):
        raise WrongUse(f"{FILE_NAME} must begin with the line front,back.")
    rows = [[plain_cell(cell).strip() for cell in (*line, "", "")[:2]] for line in lines[1:]]
    return {front: back for front, back in rows if front}


def write(folder: Path, rows: Mapping[str, str]) -> None:
    """Write what is to be done; nothing to be done: no file."""
    path = folder / FILE_NAME
    if not rows:
        path.unlink(missing_ok=True)
        return
    out = io.StringIO(newline="")
    lines = csv.writer(out, lineterminator="\r\n")
    lines.writerow(COLUMNS)
    lines.writerows([safe_cell(front), safe_cell(back)] for front, back in sorted(rows.items()))
    write_atomic(path, out.getvalue().encode("utf-8-sig"))


def trouble(catalogue: Catalogue, front: str, back: str) -> str:
    """Why a row cannot be followed, in words that follow "front" and its number; "" when it can."""
    own = _sides(catalogue, front)
    if catalogue.original(front) is None:
        return "is not in this collection"
    if not back:
        return "" if own.front and own.back else "does not have two sides"
    if own.back is not None:
        return "has a back already"
    if own.front is None:
        return "has no front"
    if front == back or catalogue.original(back) is None:
        return f"cannot have {back} for its back, which is no other original of this collection"
    return "" if len(catalogue.masters(back)) == 1 else f"cannot have {back} for its back, which has two sides itself"


def follow(folder: Path, catalogue: Catalogue, settings: Settings) -> list[str]:
    """Do what ``pairs.csv`` asks for; returns notes on what was done and on what could not be.

    The copies of the sides that moved are forgotten, so that they are made and described anew in the same run.
    """
    asked = read(folder)
    notes, left = [], {}
    for front, back in asked.items():
        why = trouble(catalogue, front, back)
        if why:
            notes.append(f"{FILE_NAME}: {front} {why}; the row was left.")
            left[front] = back
        elif back:
            _join(folder, catalogue, front, back)
            notes.append(f"{back} is the back of {front} from now on; the number {back} leads to it.")
        else:
            notes.append(f"The back of {front} is {_part(folder, catalogue, settings, front)} from now on.")
    if left != asked:
        write(folder, left)
    return notes


def _join(folder: Path, catalogue: Catalogue, front: str, back: str) -> None:
    master = catalogue.masters(back)[0]
    gone = _made_of(catalogue, back, master)
    _remove(folder, gone, master)
    row = catalogue.original(back)
    with catalogue.transaction():
        _move(catalogue, (back, master.side), (front, Side.VERSO), gone)
        catalogue.forget_original(back)
        if row is not None:
            catalogue.retire(Retired(back, front, master.sha256, master.side, row.kind, row.kind_from))
        catalogue.add_event(front, JOINED, f"{back} ({master.file})")
        catalogue.add_event(back, JOINED, f"of {front}")


def _part(folder: Path, catalogue: Catalogue, settings: Settings, front: str) -> str:
    master = next(each for each in catalogue.masters(front) if each.side is Side.VERSO)
    gone = _made_of(catalogue, front, master)
    _remove(folder, gone, master)
    with catalogue.transaction():
        known = next((each for each in catalogue.retired() if each.sha256 == master.sha256), None)
        if known is not None:
            number, side = known.number, known.side
            catalogue.unretire(number)
            catalogue.put_original(OriginalRow(number, known.kind, None, known.kind_from))
        else:
            pattern = Pattern.parse(settings.collection.reference)
            number, side = register.give_next(catalogue, settings, pattern, Kind.UNKNOWN), Side.RECTO
            catalogue.put_original(OriginalRow(number, Kind.UNKNOWN, None, "picture"))
        _move(catalogue, (front, Side.VERSO), (number, side), gone)
        catalogue.add_event(front, PARTED, f"its back is {number}")
        catalogue.add_event(number, PARTED, f"was the back of {front} ({master.file})")
    return number


def _move(catalogue: Catalogue, old: tuple[str, Side], new: tuple[str, Side], gone: list[str]) -> None:
    """Let a side belong elsewhere, words included. Call inside a transaction."""
    row = catalogue.caption_row(old[0]).get(old[1])
    there = catalogue.caption_row(new[0]).get(new[1])
    catalogue.move_side(old, new, gone)
    cells = {} if row is None else {name: cell for name, cell in row.cells.items() if name not in _OWN}
    if there is not None:  # words for a side that was not scanned yet
        cells |= {name: cell for name, cell in there.cells.items() if cell and not cells.get(name)}
    if cells:
        wording.put_row(catalogue, *new, cells)


def _sides(catalogue: Catalogue, reference: str) -> _Sides:
    return _Sides(catalogue.master(reference, Side.RECTO), catalogue.master(reference, Side.VERSO))


def _made_of(catalogue: Catalogue, reference: str, master: Master) -> list[str]:
    """Every file that was made from a master and carries the name of its side."""
    copies = [row.copy for row in catalogue.copies(reference) if row.copy.side is master.side]
    made = {copy.file for copy in copies} | {copy.recipe for copy in copies if copy.recipe is not None}
    return sorted(made | {*paths.beside_master(reference, master), text.text_file(reference, master.side)})


def _remove(folder: Path, made: list[str], master: Master) -> None:
    """Take away what was made of a side, before the catalogue forgets it: killed in between, the row in ``pairs.csv``
    is still there and all is done again. The description beside the master is written anew.
    """
    for file in made:
        if file != paths.sidecar(master.file):
            (folder / file).unlink(missing_ok=True)
