"""A contact sheet to take along to relatives: pictures with their numbers and lines to write on.

Each page carries a QR code that lists the originals on it, so that a scan of the written page finds its way back.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import pyvips

from surrogate.collection import files
from surrogate.copies.collection_reading import Shown, copy_of, read_manifest, shown
from surrogate.copies.sizes import Size, parse_size
from surrogate.errors import CollectionUnusable, WrongUse
from surrogate.imaging.encode import srgb_profile
from surrogate.records import Use
from surrogate.sheets import qr
from surrogate.sheets.page import HAIR, PENCIL, Document, Page, Picture

CONTACT_SHEET = "contact_sheet.pdf"

COLUMNS = 2
ROWS = 3

_MARGIN = 14.0
_HEAD_MM = 34.0
_CODE_MM = 27.0
_LINES = 4
_LINE_MM = 6.6

#: A picture of 85 mm at 200 ppi; more would only make the file heavy.
_PICTURE_PX = 680


def contact_sheet(collection: Path, references: Sequence[str] = (), *, paper: str = "a4") -> Path:
    """Write ``contact_sheet.pdf`` of the given originals (all, when none is named).

    Raises :class:`WrongUse`, :class:`CollectionUnusable` or :class:`DiskFull` with a sentence for people.
    """
    manifest = read_manifest(collection)
    chosen = shown(manifest, references)
    if not chosen:
        raise WrongUse(f"{collection} holds no originals yet.")
    content = contact_sheet_pdf(collection, chosen, parse_size(paper, "paper"), manifest.collection.name)
    files.replace_if_changed(collection / CONTACT_SHEET, content)
    return collection / CONTACT_SHEET


def contact_sheet_pdf(collection: Path, chosen: Sequence[Shown], paper: Size, name: str) -> bytes:
    """The pages, six pictures on each."""
    document = Document("Contact sheet")
    per_page = COLUMNS * ROWS
    pages = -(-len(chosen) // per_page)
    for number in range(pages):
        here = chosen[number * per_page : (number + 1) * per_page]
        page = document.page(paper.width_mm, paper.height_mm)
        _head(page, here, name, f"page {number + 1} of {pages}")
        width = (page.width - 2 * _MARGIN - (COLUMNS - 1) * 10) / COLUMNS
        height = (page.height - _HEAD_MM - 2 * _MARGIN) / ROWS
        for place, one in enumerate(here):
            row, column = divmod(place, COLUMNS)
            area = (_MARGIN + column * (width + 10), _HEAD_MM + _MARGIN + row * height, width, height - 7)
            _cell(page, area, collection, one)
    return document.finish()


def _head(page: Page, here: Sequence[Shown], name: str, number: str) -> None:
    width = page.width - 2 * _MARGIN - _CODE_MM - 6
    page.box((_MARGIN, 13, width, 8), name or "Who is this?", (16, 14, 12, 10), weight="bold")
    words = (
        "Who is it, where, when, what was going on? Write on the lines, best with a dark pencil or pen. Not sure is "
        "fine: write a question mark. The square on the right brings your words back to the right pictures, so please "
        "leave it free."
    )
    page.paragraph(_MARGIN, 22, width, words, size=8.5, grey=PENCIL)
    x = _MARGIN
    for words, length in (("Written by", 62.0), ("on", 30.0)):
        x += page.text(x, 41.5, words, size=8.5) + 2
        page.line(x, 42.2, x + length, 42.2, grey=HAIR, points=0.4)
        x += length + 4
    page.text(page.width - _MARGIN - 3, 41.5, number, size=8.5, grey=PENCIL, align="right")
    page.code(page.width - _MARGIN - _CODE_MM, 10, _CODE_MM, qr.contact_text(each.number for each in here))


def _cell(page: Page, area: tuple[float, float, float, float], collection: Path, one: Shown) -> None:
    """Picture, number, title and lines."""
    x, y, width, height = area
    lines = _LINES * _LINE_MM
    picture = _picture(collection, one)
    room = height - lines - 6
    if picture is not None:
        scale = min(width / picture.width_px, room / picture.height_px)
        size = (picture.width_px * scale, picture.height_px * scale)
        page.picture(x, y + room - size[1], *size, picture, one.number)
    else:
        page.rectangle(x, y, width, room, grey=HAIR)
        page.text(x + width / 2, y + room / 2, "no picture yet", size=8, grey=PENCIL, align="centre")
    used = page.text(x, y + room + 4.6, one.number, size=9, weight="bold")
    page.box((x + used + 3, y + room + 1.2, width - used - 3, 4.6), one.original.title, (8, 7, 6), grey=PENCIL)
    for number in range(1, _LINES + 1):
        foot = y + room + 5 + number * _LINE_MM
        page.line(x, foot, x + width, foot, grey=HAIR, points=0.4)


def _picture(collection: Path, one: Shown) -> Picture | None:
    """The viewing copy, small; None when there is none."""
    copy = copy_of(one, Use.VIEWING) if one.original.masters else None
    if copy is None:
        return None
    try:
        image = pyvips.Image.thumbnail(str(collection / copy.file), _PICTURE_PX, height=_PICTURE_PX, size="down")
        jpeg = image.jpegsave_buffer(Q=88, keep="none", optimize_coding=True)
    except pyvips.Error as error:
        raise CollectionUnusable(f"{copy.file} cannot be read: run 'surrogate rebuild' to make it again.") from error
    return Picture(jpeg, image.width, image.height, srgb_profile())
