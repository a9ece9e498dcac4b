"""A proof before paper is wasted: each picture as found and as it would be printed, for the family's say."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Literal

import numpy as np
import numpy.typing as npt
import pyvips

from surrogate.calm import CarryOut, here
from surrogate.collection import files, profiles
from surrogate.copies import make
from surrogate.copies.collection_reading import Shown, copy_of, master_of, read_manifest, recipe_of, shown, unreadable
from surrogate.copies.sizes import Size, parse_size
from surrogate.errors import ScanSetAside, WrongUse
from surrogate.imaging.encode import srgb_profile
from surrogate.records import Kind, Use
from surrogate.sheets.page import HAIR, PENCIL, Document, Page, Picture

PROOFS = "prints/proofs.pdf"

_MARGIN = 16.0
_ROWS = 3

_Case = Literal["faded", "sound", "negative"]

#: What stands below the two pictures; what begins with "print" has a box to tick.
_WORDS: dict[_Case, tuple[str, str]] = {
    "faded": ("print it as found", "print it recovered"),
    "sound": ("print it", "the same: nothing had to be recovered"),
    "negative": ("the negative", "print it"),
}

#: 85 mm at 240 ppi.
_PICTURE_PX = 800


def proof_sheet(collection: Path, references: Sequence[str], *, paper: str = "a4", carry_out: CarryOut = here) -> Path:
    """Write ``prints/proofs.pdf``, before and after of the given originals (all, when none is named).

    ``carry_out`` makes the calls that read masters.

    Raises :class:`WrongUse`, :class:`CollectionUnusable` or :class:`DiskFull` with a sentence for people.
    """
    manifest = read_manifest(collection)
    chosen = [each for each in shown(manifest, references) if each.original.masters]
    if not chosen:
        raise WrongUse(f"{collection} holds no originals yet: there is nothing to show.")
    content = proofs_pdf(collection, chosen, parse_size(paper, "paper"), carry_out)
    files.replace_if_changed(collection / PROOFS, content)
    return collection / PROOFS


def proofs_pdf(collection: Path, chosen: Sequence[Shown], paper: Size, carry_out: CarryOut) -> bytes:
    """The pages, three pairs on each."""
    document = Document("Proofs")
    page = None
    for number, one in enumerate(chosen):
        row = number % _ROWS
        if page is None or row == 0:
            page = document.page(paper.width_mm, paper.height_mm)
            page.text(_MARGIN, 20, "As found, and as it would be printed", size=15, weight="bold")
            words = "Tick what you would like on the wall. The original and its scan stay as they are either way."
            page.text(_MARGIN, 26, words, size=9, grey=PENCIL)
        height = (page.height - 34 - _MARGIN) / _ROWS
        try:
            pair = carry_out(_before_and_after, collection, one)
        except ScanSetAside as error:
            raise unreadable(master_of(one.original), error) from error
        _pair(page, (_MARGIN, 34 + row * height, page.width - 2 * _MARGIN, height - 6), one, pair)
    return document.finish()


def _pair(
    page: Page, area: tuple[float, float, float, float], one: Shown, pair: tuple[Picture, Picture, _Case]
) -> None:
    """Two pictures side by side, each with a box to tick."""
    x, y, width, height = area
    column = (width - 8) / 2
    room = height - 13
    used = page.text(x, y + 3.5, one.number, size=9, weight="bold")
    page.box((x + used + 3, y + 0.2, width - used - 3, 4.6), one.original.title, (8.5, 7.5, 6.5), grey=PENCIL)
    before, after, kind = pair
    first, second = _WORDS[kind]
    pairs = ((x, before, first), (x + column + 8, after, second))
    for left, picture, words in pairs:
        scale = min(column / picture.width_px, room / picture.height_px)
        size = (picture.width_px * scale, picture.height_px * scale)
        page.picture(left, y + 6, *size, picture, f"{one.number} {words}")
        tick = words.startswith("print")
        if tick:
            page.rectangle(left, y + 6 + size[1] + 2, 3.6, 3.6, grey=HAIR, points=0.8)
        page.text(left + (5.6 if tick else 0), y + 6 + size[1] + 4.9, words, size=8.5)


def _before_and_after(collection: Path, one: Shown) -> tuple[Picture, Picture, _Case]:
    """The picture as it is and as its recipe makes it."""
    master = master_of(one.original)
    copy = copy_of(one, Use.VIEWING)
    recipe = recipe_of(collection, copy) if copy else None
    raster = make.picture(
        collection / master.file,
        turn=recipe.turn if recipe else 0,
        outline=recipe.outline if recipe else None,
        long_edge_px=_PICTURE_PX,
        page=recipe.page if recipe else master.page,
        given=profiles.kept(collection, recipe.given_profile if recipe else None),
    )
    steps = make.playable(recipe.steps, collection) if recipe else []
    before, after = (make.rendered(raster, each) for each in ([], steps))
    negative = (recipe.kind if recipe else one.original.kind) == Kind.NEGATIVE.value
    return as_picture(before), as_picture(after), "negative" if negative else "faded" if steps else "sound"


def as_picture(pixels: npt.NDArray[np.uint8]) -> Picture:
    """Pixels, (H, W, 3) uint8 sRGB, ready to be placed."""
    image = pyvips.Image.new_from_array(np.ascontiguousarray(pixels), interpretation="srgb")
    return Picture(image.jpegsave_buffer(Q=92, keep="none"), image.width, image.height, srgb_profile())
