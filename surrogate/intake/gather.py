"""Gathering: which files were given, in a fixed order, and which of them cannot be scans."""

from __future__ import annotations

import os
import stat
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path, PurePath

from surrogate.errors import WrongUse
from surrogate.imaging.formats import looks_like_picture
from surrogate.records import SetAside

#: Suffixes under which people expect a picture: a file with one of them is taken in, or set aside with a reason.
PICTURE_SUFFIXES = frozenset(
    {".tif", ".tiff", ".jpg", ".jpeg", ".jpe", ".png", ".webp", ".jp2", ".j2k", ".jpf", ".jpx", ".heic", ".heif"}
    | {".avif", ".bmp", ".gif", ".dng", ".cr2", ".cr3", ".nef", ".arw", ".orf", ".rw2", ".raf", ".pef", ".psd", ".pdf"}
)

#: What programs leave beside a picture: copies before a change, downloads and writes that are not finished, previews.
_LEFTOVERS = frozenset({".bak", ".tmp", ".part", ".crdownload", ".download", ".thm", ".ico", ".xcf", ".xmp"})
_LEFTOVER_ENDS = ("~", "_original")


@dataclass(frozen=True)
class Scan:
    """A file that may be a scan. ``name`` is its path below the folder that was given, with forward slashes.

    ``key`` is its full path without links, by which later runs know it again; bytes that are no UTF-8 as escapes.
    """

    path: Path
    key: str
    name: str
    size: int
    mtime_ns: int


@dataclass(frozen=True)
class Gathered:
    """What was given: possible scans sorted by name, what cannot be one, and files left alone (their names)."""

    scans: tuple[Scan, ...]
    set_aside: tuple[SetAside, ...]
    left_alone: tuple[str, ...]


def printable(name: str) -> str:
    """A file name that can be written anywhere: bytes that are no UTF-8 and control characters as escapes."""
    return "".join(c if c.isprintable() else c.encode("unicode_escape").decode() for c in _as_text(name))


def _as_text(name: str) -> str:
    return name.encode("utf-8", "surrogateescape").decode("utf-8", "backslashreplace")


def gather(given: Sequence[Path], collection: Path) -> Gathered:
    """Walk the files and folders given; hidden ones are skipped, loops of links are walked once.

    Raises :class:`WrongUse` when something given is not there, when nothing was found, or when the collection and
    the scans lie inside one another.
    """
    found = _Found()
    target = collection.resolve()
    for place in given:
        if not _is_there(place):
            raise WrongUse(
                f"There is no {printable(str(place))}. Check the name of the folder or file with your scans."
            )
        resolved = place.resolve()
        if resolved == target or target in resolved.parents:
            raise WrongUse(f"{place} lies inside the collection {collection}. Give the folder with the scans instead.")
        if resolved in target.parents:
            raise WrongUse(
                f"The collection {collection} would lie inside the folder of scans {place}. "
                "Choose a folder beside it, so that scans and copies never mix."
            )
        if place.is_dir():
            _walk(str(place), found)
        else:
            _consider(str(place), printable(place.name), found)
    if not found.scans and not found.aside:
        raise WrongUse(f"No scans found in {', '.join(str(p) for p in given)}. Give a folder that holds TIFF or JPEG.")
    ordered = tuple(sorted(found.scans.values(), key=lambda scan: (scan.name, str(scan.path))))
    return Gathered(ordered, tuple(sorted(found.aside, key=lambda a: a.file)), tuple(sorted(found.alone)))


@dataclass
class _Found:
    """What was found so far: scans by their keys."""

    scans: dict[str, Scan] = field(default_factory=dict)
    aside: list[SetAside] = field(default_factory=list)
    alone: list[str] = field(default_factory=list)

    def put_aside(self, name: str, reason: str, advice: str) -> None:
        self.aside.append(SetAside(file=name, reason=reason, advice=advice))


def _is_there(place: Path) -> bool:
    try:
        place.stat()
    except (OSError, ValueError):  # ValueError: a zero byte in the name
        return False
    return True


def _walk(root: str, found: _Found) -> None:
    """Go through a folder with all that lies in it, however deep; each folder once."""
    seen: set[tuple[int, int]] = set()
    waiting = [root]
    while waiting:
        folder = waiting.pop()
        try:
            identity = os.stat(folder)  # noqa: PTH116  (paths a thousand folders deep)
            entries = sorted(os.scandir(folder), key=lambda entry: entry.name)
        except OSError as error:
            name = _name(root, folder) or printable(PurePath(root).name)
            found.put_aside(name, f"The folder cannot be opened: {error.strerror}.", "Check its permissions.")
            continue
        if (identity.st_dev, identity.st_ino) in seen:
            continue
        seen.add((identity.st_dev, identity.st_ino))
        inner = []
        for entry in entries:
            if entry.name.startswith("."):
                continue
            if _is_folder(entry):
                inner.append(entry.path)
            else:
                _consider(entry.path, _name(root, entry.path), found)
        waiting += reversed(inner)


def _is_folder(entry: os.DirEntry[str]) -> bool:
    try:
        return entry.is_dir()
    except OSError:
        return False


def _name(root: str, path: str) -> str:
    return printable(path[len(root) :].replace(os.sep, "/").strip("/"))


def _consider(path: str, name: str, found: _Found) -> None:
    try:
        kept = os.stat(path)  # noqa: PTH116  (as above)
    except OSError as error:
        found.put_aside(name, f"The file cannot be opened: {error.strerror}.", "Check where it went.")
        return
    if not stat.S_ISREG(kept.st_mode):
        found.put_aside(name, "This is not an ordinary file.", "Nothing to do.")
    elif _may_be_scan(path):
        key = _as_text(os.path.realpath(path))
        found.scans[key] = Scan(Path(path), key, name, kept.st_size, kept.st_mtime_ns)
    else:
        found.alone.append(name)


def _may_be_scan(path: str) -> bool:
    """A picture's suffix, or a picture's beginning under another one; not what programs leave beside a picture."""
    suffix = os.path.splitext(path)[1].lower()  # noqa: PTH122  (as above)
    if suffix in PICTURE_SUFFIXES:
        return True
    if suffix in _LEFTOVERS or path.endswith(_LEFTOVER_ENDS):
        return False
    try:
        with open(path, "rb") as handle:  # noqa: PTH123  (as above)
            return looks_like_picture(handle.read(64))
    except OSError:
        return False
