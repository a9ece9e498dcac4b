"""The print at true size: on one sheet, or on its own page and tiled over sheets of the household paper."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from surrogate.copies.sizes import Size
from surrogate.sheets.page import HAIR, PENCIL, Document, Page, Picture

#: Closest to the edge that a print for one sheet may come: home printers leave 3 to 5 mm blank unless they print
#: borderless (common practice, no source).
SHEET_MARGIN_MM = 3.0

#: Tiles keep this much free on every side for cut marks and words.
TILE_MARGIN_MM = 10.0

#: Neighbouring tiles repeat this much, to be glued on.
TILE_OVERLAP_MM = 10.0

#: Cut marks stand this far off and are this long.
MARK_GAP_MM = 1.0
MARK_MM = 5.0


@dataclass(frozen=True)
class Tile:
    """One sheet of a tiled print: its place in the grid and the part of the print it shows (mm)."""

    column: int
    row: int
    left: float
    top: float
    width: float
    height: float


def sheet_for(print_mm: tuple[float, float], paper: Size) -> tuple[float, float] | None:
    """The paper, turned so that the print fits on it; None when it fits neither way."""
    for sheet in ((paper.width_mm, paper.height_mm), (paper.height_mm, paper.width_mm)):
        if all(have <= room - 2 * SHEET_MARGIN_MM for have, room in zip(print_mm, sheet, strict=True)):
            return sheet
    return None


def tiles(print_mm: tuple[float, float], paper: Size) -> tuple[tuple[float, float], list[Tile]]:
    """The turned paper that needs fewer sheets, and its tiles row by row."""
    layouts = []
    for sheet in ((paper.width_mm, paper.height_mm), (paper.height_mm, paper.width_mm)):
        columns = _spans(print_mm[0], sheet[0])
        rows = _spans(print_mm[1], sheet[1])
        layouts.append((len(columns) * len(rows), sheet, columns, rows))
    _, sheet, columns, rows = min(layouts, key=lambda layout: layout[0])
    made = [
        Tile(column, row, left, top, width, height)
        for row, (top, height) in enumerate(rows)
        for column, (left, width) in enumerate(columns)
    ]
    return sheet, made


def _spans(length: float, sheet: float) -> list[tuple[float, float]]:
    """(start, length) of the pieces of one side, all equal, overlapping by ``TILE_OVERLAP_MM``."""
    room = sheet - 2 * TILE_MARGIN_MM
    count = max(1, math.ceil((length - TILE_OVERLAP_MM) / (room - TILE_OVERLAP_MM) - 1e-9))
    step = (length - TILE_OVERLAP_MM) / count
    return [(number * step, step + TILE_OVERLAP_MM) for number in range(count)]


def print_page(document: Document, print_mm: tuple[float, float], picture: Picture, paper: Size, words: str) -> None:
    """Page 1: the print at true size, on the household paper when it fits, else on a page of its own size."""
    own = (print_mm[0] + 2 * TILE_MARGIN_MM, print_mm[1] + 2 * TILE_MARGIN_MM)
    sheet = sheet_for(print_mm, paper) or own
    page = document.page(*sheet)
    left, top = (sheet[0] - print_mm[0]) / 2, (sheet[1] - print_mm[1]) / 2
    page.picture(left, top, *print_mm, picture, "Print")
    _marks(page, left, top, *print_mm)
    if top >= TILE_MARGIN_MM - 0.01:
        page.text(sheet[0] / 2, top + print_mm[1] + 6, words, size=7, grey=PENCIL, align="centre")


def tile_pages(document: Document, print_mm: tuple[float, float], picture: Picture, paper: Size, words: str) -> int:
    """The pages that put a large print together from household paper. Returns their number."""
    sheet, parts = tiles(print_mm, paper)
    for tile in parts:
        page = document.page(*sheet)
        left, top = (sheet[0] - tile.width) / 2, (sheet[1] - tile.height) / 2
        where = (left - tile.left, top - tile.top)
        page.picture(*where, *print_mm, picture, "Print", clip=(left, top, tile.width, tile.height))
        _marks(page, left, top, tile.width, tile.height)
        _glue_marks(page, tile, left, top)
        last = (max(part.column for part in parts), max(part.row for part in parts))
        page.text(
            sheet[0] / 2, top + tile.height + 6, f"{words} · {_place(tile, *last)}", size=7, grey=PENCIL, align="centre"
        )
    return len(parts)


def _place(tile: Tile, last_column: int, last_row: int) -> str:
    return f"row {tile.row + 1} of {last_row + 1}, column {tile.column + 1} of {last_column + 1}"


def _marks(page: Page, left: float, top: float, width: float, height: float) -> None:
    """Cut marks at the corners, outside the picture."""
    for x, away in ((left, -1), (left + width, 1)):
        for y, off in ((top, -1), (top + height, 1)):
            page.line(x + away * MARK_GAP_MM, y, x + away * (MARK_GAP_MM + MARK_MM), y, grey=0, points=0.25)
            page.line(x, y + off * MARK_GAP_MM, x, y + off * (MARK_GAP_MM + MARK_MM), grey=0, points=0.25)


def _glue_marks(page: Page, tile: Tile, left: float, top: float) -> None:
    """Where the next sheet begins: ticks outside the picture, where it lies over the one before."""
    for x, y, across in _seams(tile, left, top):
        if across:
            page.line(x - MARK_GAP_MM - MARK_MM, y, x - MARK_GAP_MM, y, grey=HAIR, points=0.5)
            page.line(x + tile.width + MARK_GAP_MM, y, x + tile.width + MARK_GAP_MM + MARK_MM, y, grey=HAIR, points=0.5)
        else:
            page.line(x, y - MARK_GAP_MM - MARK_MM, x, y - MARK_GAP_MM, grey=HAIR, points=0.5)
            page.line(
                x, y + tile.height + MARK_GAP_MM, x, y + tile.height + MARK_GAP_MM + MARK_MM, grey=HAIR, points=0.5
            )


def _seams(tile: Tile, left: float, top: float) -> Iterator[tuple[float, float, bool]]:
    if tile.column:
        yield left + TILE_OVERLAP_MM, top, False
    if tile.row:
        yield left, top + TILE_OVERLAP_MM, True
