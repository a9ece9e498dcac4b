"""Which row of the caption sheet belongs to which scan."""

from __future__ import annotations

import itertools
import unicodedata
from collections.abc import Mapping, Sequence
from pathlib import PurePosixPath

from surrogate.description.sheet import Sheet, SheetRow
from surrogate.records import Record, Side


class Matching(Record):
    """Rows found for scans, rows that name a file nobody gave, and what is ambiguous."""

    rows: dict[str, SheetRow]
    unused: list[SheetRow]
    notes: list[str]


def matching(sheet: Sheet, names: Sequence[str], backs: Mapping[str, str] | None = None) -> Matching:
    """Match rows to scans by ``file``: with or without folder and extension, in any case.

    Where several scans have the name, the row's folders and extension decide. A row that fits several scans
    equally well is given to none and reported; so are two rows that fit one scan. ``backs`` are names of backs that
    lie behind their fronts in the same files, by the names of those: of two rows, that of the verso is the back's.
    """
    notes: list[str] = []
    rows: dict[str, SheetRow] = {}
    unused: list[SheetRow] = []
    by_stem = _by_stem(names)
    for row in (row for row in sheet.rows if row.file):
        found = _closest(row.file, by_stem)
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
        elif backs and (pair := _front_and_back(rows[found[0]], row)) and backs[found[0]] not in rows:
            rows[found[0]], rows[backs[found[0]]] = pair
        elif rows[found[0]].written != row.written:
            notes.append(
                f"lines {rows[found[0]].line} and {row.line} both describe {found[0]}; line {rows[found[0]].line} "
                "was used, so put both into one row."
            )
            unused.append(row)
    return Matching(rows=rows, unused=unused, notes=notes)


def _front_and_back(one: SheetRow, other: SheetRow) -> tuple[SheetRow, SheetRow] | None:
    """Two rows, the front's first; None where not just one of them is that of a back."""
    if (one.side is Side.VERSO) == (other.side is Side.VERSO):
        return None
    return (other, one) if one.side is Side.VERSO else (one, other)


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


def _by_stem(names: Sequence[str]) -> dict[str, list[str]]:
    index: dict[str, list[str]] = {}
    for name in names:
        index.setdefault(_stem(PurePosixPath(_plain(name)).name), []).append(name)
    return index


def _closest(file: str, by_stem: Mapping[str, list[str]]) -> list[str]:
    """The scans that a row may mean: those that share most of its folders, and its extension if it gives one."""
    wanted = PurePosixPath(_plain(file))
    candidates = by_stem.get(_stem(wanted.name), [])
    shared = {name: _folders_shared(PurePosixPath(_plain(name)), wanted) for name in candidates}
    near = [name for name in candidates if shared[name] == max(shared.values())]
    exact = [name for name in candidates if PurePosixPath(_plain(name)).name == wanted.name]
    both = [name for name in near if name in exact]
    return both or list(dict.fromkeys([*near, *exact]))


def _folders_shared(path: PurePosixPath, other: PurePosixPath) -> int:
    pairs = zip(reversed(path.parent.parts), reversed(other.parent.parts), strict=False)
    return sum(1 for _ in itertools.takewhile(lambda pair: pair[0] == pair[1], pairs))
