"""What a TIFF says of its pages, read from its directories alone, before any decoder is asked.

TIFF 6.0 (Aldus, 1992), section 2 for the structure and section 8 for the tags; BigTIFF as libtiff writes it. Decoders
differ in what they do with the second page, a spare channel or a camera's preview, so the house looks for itself.
"""

from __future__ import annotations

import struct
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

NEW_SUBFILE_TYPE = 254
WIDTH = 256
HEIGHT = 257
BITS = 258
COMPRESSION = 259
PHOTOMETRIC = 262
SAMPLES = 277
ROWS_PER_STRIP = 278
TILE_WIDTH = 322
SUB_DIRECTORIES = 330
EXTRA_SAMPLES = 338
#: DNG 1.0 specification, p. 19.
DNG_VERSION = 50706

#: NewSubfileType bits (TIFF 6.0 p. 36): 1 a reduced version of another page, 4 a transparency mask.
_REDUCED, _MASK = 1, 4
#: Bytes of each field type (TIFF 6.0 p. 15-16; 13, 16-18: IFD and BigTIFF's 64-bit types).
_WIDTHS = {1: 1, 2: 1, 3: 2, 4: 4, 5: 8, 6: 1, 7: 1, 8: 2, 9: 4, 10: 8, 11: 4, 12: 8, 13: 4, 16: 8, 17: 8, 18: 8}
_LETTERS = {1: "B", 3: "H", 4: "I", 6: "b", 8: "h", 9: "i", 13: "I", 16: "Q", 17: "q", 18: "Q"}
_KNOWN = frozenset(
    {NEW_SUBFILE_TYPE, WIDTH, HEIGHT, BITS, COMPRESSION, PHOTOMETRIC, SAMPLES, ROWS_PER_STRIP, TILE_WIDTH}
    | {SUB_DIRECTORIES, EXTRA_SAMPLES, DNG_VERSION}
)
#: More directories than this are a loop or a film, no scan.
MOST_DIRECTORIES = 2000
_MOST_ENTRIES = 4096
_MOST_VALUES = 64


@dataclass(frozen=True)
class Directory:
    """One image file directory: its place in the chain and the whole-number tags that matter here."""

    index: int
    tags: Mapping[int, tuple[int, ...]]

    def first(self, tag: int, otherwise: int) -> int:
        """The first value of a tag."""
        values = self.tags.get(tag, ())
        return values[0] if values else otherwise

    @property
    def is_reduced(self) -> bool:
        """A small version of another page."""
        return bool(self.first(NEW_SUBFILE_TYPE, 0) & _REDUCED)

    @property
    def is_page(self) -> bool:
        """Neither a small version of another page nor a mask."""
        return not self.first(NEW_SUBFILE_TYPE, 0) & (_REDUCED | _MASK)


@dataclass(frozen=True)
class _Form:
    """Byte order and the widths that BigTIFF changed."""

    order: str
    big: bool

    def number(self, letter: str, data: bytes) -> int:
        return int(struct.unpack(self.order + letter, data)[0])


def _form(start: bytes) -> _Form:
    return _Form("<" if start[:2] == b"II" else ">", start[2:4] in {b"+\0", b"\0+"})


def directories(path: Path) -> list[Directory]:
    """The directories of a TIFF in order; an empty list when the very first cannot be read.

    Raises OSError when the file cannot be read. Damage ends the list; a loop ends it too.
    """
    with path.open("rb") as handle:
        start = handle.read(16)
        form = _form(start)
        found: list[Directory] = []
        seen: set[int] = set()
        try:
            offset = form.number("Q" if form.big else "I", start[8:16] if form.big else start[4:8])
            while offset and offset not in seen and len(found) < MOST_DIRECTORIES:
                seen.add(offset)
                tags, offset = _directory(handle, form, offset)
                found.append(Directory(len(found), tags))
        except (struct.error, ValueError, OverflowError):
            pass
        return found


def sub_directories(path: Path, page: Directory) -> list[Directory]:
    """The directories that hang below a page (SubIFDs): reduced versions, or a camera's sensor data."""
    found: list[Directory] = []
    with path.open("rb") as handle:
        form = _form(handle.read(16))
        for offset in page.tags.get(SUB_DIRECTORIES, ()):
            try:
                found.append(Directory(len(found), _directory(handle, form, offset)[0]))
            except (struct.error, ValueError, OverflowError):
                continue
    return found


def _directory(handle: BinaryIO, form: _Form, offset: int) -> tuple[dict[int, tuple[int, ...]], int]:
    handle.seek(offset)
    count = form.number("Q", handle.read(8)) if form.big else form.number("H", handle.read(2))
    if count > _MOST_ENTRIES:
        raise ValueError("more entries than any writer makes")
    size, word = (20, "Q") if form.big else (12, "I")
    entries = handle.read(count * size)
    following = form.number(word, handle.read(struct.calcsize(word)))
    tags: dict[int, tuple[int, ...]] = {}
    for place in range(0, len(entries) - size + 1, size):
        entry = entries[place : place + size]
        tag = form.number("H", entry[:2])
        if tag in _KNOWN:
            tags[tag] = _values(handle, form, entry)
    return tags, following


def _values(handle: BinaryIO, form: _Form, entry: bytes) -> tuple[int, ...]:
    kind = form.number("H", entry[2:4])
    count = min(form.number("Q", entry[4:12]) if form.big else form.number("I", entry[4:8]), _MOST_VALUES)
    field = entry[12:] if form.big else entry[8:]
    if kind not in _LETTERS:
        return ()
    length = count * _WIDTHS[kind]
    if length > len(field):
        handle.seek(form.number("Q" if form.big else "I", field))
        field = handle.read(length)
    return struct.unpack(f"{form.order}{count}{_LETTERS[kind]}", field[:length])


def bytes_at_once(page: Directory) -> int:
    """How many bytes a decoder must hold to decode one strip or tile of this page."""
    width, height = page.first(WIDTH, 0), page.first(HEIGHT, 0)
    samples = page.first(SAMPLES, 1)
    bits = sum(page.tags.get(BITS, (1,))) if len(page.tags.get(BITS, ())) == samples else samples * page.first(BITS, 1)
    rows = 1 if page.first(TILE_WIDTH, 0) else min(page.first(ROWS_PER_STRIP, height), height)
    return width * rows * max(bits, 8) // 8
