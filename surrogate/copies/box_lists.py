"""Lists of what lies in each box, to lay inside its lid, and tabs for its folders."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby
from pathlib import Path

from surrogate.collection import files
from surrogate.copies.collection_reading import chosen, read_manifest
from surrogate.copies.sizes import Size, parse_size
from surrogate.description.readable import for_people
from surrogate.errors import WrongUse
from surrogate.records import Original
from surrogate.sheets.page import HAIR, PENCIL, Document, Page

BOX_LISTS = "box_lists.pdf"
FOLDER_TABS = "folder_tabs.pdf"

_MARGIN = 18.0
_ROW_MM = 8.4

#: A tab: long enough for a box, a folder and a range of numbers; cut out with scissors, two across.
_TAB_MM = (85.0, 18.0)


def box_lists(collection: Path, references: Sequence[str] = (), *, paper: str = "a4") -> Path:
    """Write ``box_lists.pdf``, a list for every box that the given originals (all, when none is named) lie in.

    Raises :class:`WrongUse` when none of them has a box, :class:`CollectionUnusable` or :class:`DiskFull`.
    """
    originals = _boxed(collection, references)
    content = box_lists_pdf(originals, parse_size(paper, "paper"), read_manifest(collection).collection.name)
    files.replace_if_changed(collection / BOX_LISTS, content)
    return collection / BOX_LISTS


def folder_tabs(collection: Path, references: Sequence[str] = (), *, paper: str = "a4") -> Path:
    """Write ``folder_tabs.pdf``, a tab for every folder of the boxes; raises as :func:`box_lists` does."""
    originals = _boxed(collection, references)
    files.replace_if_changed(collection / FOLDER_TABS, folder_tabs_pdf(originals, parse_size(paper, "paper")))
    return collection / FOLDER_TABS


def _boxed(collection: Path, references: Sequence[str]) -> list[Original]:
    """Originals that have a box, by box, folder and number."""
    originals = [original for original in chosen(read_manifest(collection), references) if original.location.box]
    if not originals:
        raise WrongUse("No original has a box yet: fill in the column 'box' of the caption sheet and process again.")
    return sorted(originals, key=lambda each: (_natural(each.location.box), _natural(each.location.folder)))


def _natural(text: str) -> tuple[tuple[int, str], ...]:
    """Sorts 2 before 10."""
    parts = ("".join(part) for _, part in groupby(text.casefold(), key=str.isdigit))
    return tuple((int(part), "") if part.isdecimal() else (-1, part) for part in parts)


def box_lists_pdf(originals: Sequence[Original], paper: Size, collection: str) -> bytes:
    """One list per box, in the order given; a long list goes on over the page."""
    document = Document("Box lists")
    for box, group in groupby(originals, key=lambda original: original.location.box):
        inside = list(group)
        page, y = _head(document, paper, box, inside, collection)
        for original in inside:
            if y + _ROW_MM > page.height - _MARGIN:
                page, y = _head(document, paper, box, inside, collection)
            _row(page, y, original)
            y += _ROW_MM
    return document.finish()


def _columns(page: Page) -> tuple[float, float, float, float]:
    """Left edges of number, title, date and folder."""
    right = page.width - _MARGIN
    return _MARGIN, _MARGIN + 36, right - 56, right - 28


def _head(document: Document, paper: Size, box: str, inside: Sequence[Original], collection: str) -> tuple[Page, float]:
    """A page with its heading; returns it and the y of the first row."""
    page = document.page(paper.width_mm, paper.height_mm)
    name = box if "box" in box.casefold() else f"Box {box}"
    page.text(_MARGIN, 20, collection, size=9, grey=PENCIL)
    page.box((_MARGIN, 22, page.width - 2 * _MARGIN, 10), name, (20, 17, 14, 11), weight="bold")
    count = f"{len(inside)} original" + ("" if len(inside) == 1 else "s")
    page.text(_MARGIN, 38, f"{count}, {_range(inside)}", size=9)
    for x, words in zip(_columns(page), ("Number", "Title", "Date", "Folder"), strict=True):
        page.text(x, 48, words, size=7.5, grey=PENCIL)
    page.line(_MARGIN, 50, page.width - _MARGIN, 50, grey=HAIR)
    return page, 51.0


def _row(page: Page, y: float, original: Original) -> None:
    number, title, date, folder = _columns(page)
    right = page.width - _MARGIN
    height = _ROW_MM - 1.4
    page.box(
        (number, y + 0.6, title - number - 2, height), original.reference, (9, 8, 7, 6), weight="bold", spacing=1.15
    )
    page.box((title, y + 0.6, date - title - 3, height), original.title, (9, 8, 7.5), spacing=1.15)
    page.box((date, y + 0.6, folder - date - 2, height), for_people(original.date), (8.5, 7.5, 6.5), spacing=1.15)
    place = ", ".join(filter(None, (original.location.folder, original.location.enclosure)))
    page.box((folder, y + 0.6, right - folder, height), place, (8.5, 7.5, 6.5), spacing=1.15)
    page.line(_MARGIN, y + _ROW_MM - 0.4, right, y + _ROW_MM - 0.4, grey=HAIR, points=0.3)


def _range(originals: Sequence[Original]) -> str:
    numbers = sorted(original.reference for original in originals)
    return numbers[0] if len(numbers) == 1 else f"{numbers[0]} to {numbers[-1]}"


def folder_tabs_pdf(originals: Sequence[Original], paper: Size) -> bytes:
    """Tabs to cut out, one for each folder of each box."""
    document = Document("Folder tabs")
    columns = max(1, int((paper.width_mm - 2 * _MARGIN + 4) // (_TAB_MM[0] + 4)))
    rows = int((paper.height_mm - 2 * _MARGIN) // _TAB_MM[1])
    page = document.page(paper.width_mm, paper.height_mm)
    groups = groupby(originals, key=lambda original: (original.location.box, original.location.folder))
    for number, ((box, folder), inside) in enumerate(groups):
        place = number % (columns * rows)
        if number and place == 0:
            page = document.page(paper.width_mm, paper.height_mm)
        row, column = divmod(place, columns)
        left = (paper.width_mm - columns * _TAB_MM[0] - (columns - 1) * 4) / 2
        _tab(page, left + column * (_TAB_MM[0] + 4), _MARGIN + row * _TAB_MM[1], box, folder, _range(list(inside)))
    return document.finish()


def _tab(page: Page, x: float, y: float, box: str, folder: str, numbers: str) -> None:
    width, height = _TAB_MM
    page.rectangle(x, y, width, height, grey=HAIR, points=0.4, dash=(1.2, 1.0))
    name = " · ".join(filter(None, (f"Box {box}", f"Folder {folder}" if folder else "")))
    page.box((x + 4, y + 2.6, width - 8, 8), name, (14, 12, 10, 8, 6), weight="bold", spacing=1.15)
    page.box((x + 4, y + height - 6.2, width - 8, 4.5), numbers, (8.5, 7.5, 6.5, 5.5), grey=PENCIL, spacing=1.15)
