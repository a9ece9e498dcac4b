"""A contact sheet that came back is linked to the originals that the answers on it are about.

The link is kept in words, in the column ``notes`` of the caption sheet and so in the manifest: the row of the contact
sheet names the originals, the row of each original names the contact sheet. People can read, correct and take out both.
"""

from __future__ import annotations

from collections.abc import Iterable

from surrogate import wording
from surrogate.collection.catalogue import Catalogue
from surrogate.copies.collection_reading import without_part
from surrogate.records import Side


def describe(catalogue: Catalogue, sheet: str, side: Side, numbers: Iterable[str]) -> list[str]:
    """Write into the row of a contact sheet, once it has its number, which originals it is about; returns notes."""
    listed = list(numbers)
    known = [number for number in listed if _reference(catalogue, number)]
    unknown = [number for number in listed if number not in known]
    notes = []
    if known:
        _note(catalogue, sheet, side, f"Answers about {', '.join(known)}.", title="Answers on a contact sheet")
        catalogue.remember_answers(sheet, known)
        notes.append(f"this contact sheet came back with answers about {', '.join(known)}; their notes now name it")
    if unknown:
        notes.append(f"the contact sheet names {', '.join(unknown)}, which this collection does not hold")
    return notes


def link(catalogue: Catalogue) -> None:
    """Name each contact sheet that came back in the notes of its originals, beside what people wrote there."""
    for sheet, numbers in catalogue.remembered_answers():
        with catalogue.transaction():
            for reference in dict.fromkeys(_reference(catalogue, number) for number in numbers):
                if reference is not None:
                    _note(catalogue, reference, Side.RECTO, f"Written answers: {sheet}.")
            catalogue.remember_answers(sheet, [])


def _reference(catalogue: Catalogue, number: str) -> str | None:
    """The original that a number on a sheet stands for; a part of a page stands for its page."""
    return next((each for each in (number, without_part(number)[0]) if catalogue.original(each)), None)


def _note(catalogue: Catalogue, reference: str, side: Side, sentence: str, *, title: str = "") -> None:
    """Add a sentence to the notes of a row that does not hold it yet, and a title where there is none."""
    row = catalogue.caption_row(reference).get(side)
    cells = {} if row is None else dict(row.cells)
    if sentence in cells.get("notes", ""):
        return
    cells["notes"] = " ".join(filter(None, (cells.get("notes", ""), sentence)))
    cells["title"] = cells.get("title", "") or title
    wording.put_row(catalogue, reference, side, cells)
