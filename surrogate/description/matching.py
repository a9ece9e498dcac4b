"""Which row of the caption sheet belongs to which scan."""

from __future__ import annotations

import unicodedata
from collections.abc import Callable, Sequence
from pathlib import PurePosixPath

from surrogate.description.sheet import Sheet, SheetRow
from surrogate.records import Record


class Matching(Record):
    """Rows found for scans, rows that name a file nobody gave, and what is ambiguous."""

    rows: dict[str, SheetRow]
    unused: list[SheetRow]
    notes: list[str]


def match(sheet: Sheet, names: Sequence[str]) -> dict[str, SheetRow]:
    """The row of each scan, by the scan's relative path; scans without a row are absent."""
    return matching(sheet, names).rows


def matching(sheet: Sheet, names: Sequence[str]) -> Matching:
    """Match rows to scans by ``file``: with or without folder and extension, in any case.

    The closest likeness wins: whole path, then path without extension, end of the path, name, name without
    extension. A row that fits several scans equally well is given to none and reported; so are two rows that
    fit one scan.
    """
    notes: list[str] = []
    rows: dict[str, SheetRow] = {}
    unused: list[SheetRow] = []
    indexes = [_index(names, likeness) for likeness in _LIKENESSES]
    for row in (row for row in sheet.rows if row.file):
        found = _closest(row.file, indexes)
        if len(found) > 1:
            notes.append(
                f"line {row.line}: {row.file!r} fits {len(found)} scans ({', '.join(sorted(found)[:3])}); "
                "write the folder or the extension too."
            )
            unused.append(row)
        elif not found:
            unused.append(row)
        elif found[0] not in rows:
            rows[found[0]] = row
        elif rows[found[0]].written != row.written:
            notes.append(
                f"lines {rows[found[0]].line} and {row.line} both describe {found[0]}; line {rows[found[0]].line} "
                "was used, so put both into one row."
            )
            unused.append(row)
    return Matching(rows=rows, unused=unused, notes=notes)


def _plain(name: str) -> str:
    return unicodedata.normalize("NFC", name.replace("\\", "/")).strip().casefold().removeprefix("./").strip("/")


def _stem(name: str) -> str:
    """The path without an extension; a point inside "2026.001.0004" is no extension."""
    path = PurePosixPath(name)
    return str(path.with_suffix("")) if path.suffix[1:] in _EXTENSIONS else name


_EXTENSIONS = frozenset(
    (
        "tif",
        "tiff",
        "jpg",
        "jpeg",
        "jpe",
        "png",
        "jp2",
        "j2k",
        "jpx",
        "bmp",
        "gif",
        "webp",
        "heic",
        "heif",
        "dng",
        "pdf",
    )
)
_LIKENESSES: tuple[Callable[[str], str], ...] = (
    lambda name: name,
    _stem,
    lambda name: PurePosixPath(name).name,
    lambda name: _stem(PurePosixPath(name).name),
)


def _index(names: Sequence[str], likeness: Callable[[str], str]) -> dict[str, list[str]]:
    index: dict[str, list[str]] = {}
    for name in names:
        index.setdefault(likeness(_plain(name)), []).append(name)
    return index


def _closest(file: str, indexes: Sequence[dict[str, list[str]]]) -> list[str]:
    plain = _plain(file)
    with_extension = _stem(plain) != plain
    for likeness, index in zip(_LIKENESSES, indexes, strict=True):
        # A row that gives an extension means that file first; a scan saved again in another format comes last.
        found = index.get(plain if not with_extension else likeness(plain), [])
        if "/" in plain and len(found) > 1:
            found = [name for name in found if _ends_alike(_plain(name), plain)] or found
        if found:
            return found
    return []


def _ends_alike(name: str, wanted: str) -> bool:
    return _stem(name).endswith("/" + _stem(wanted)) or _stem(name) == _stem(wanted)
