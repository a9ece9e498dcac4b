"""Gathering: which files were given, in a fixed order, and which of them cannot be scans."""

from __future__ import annotations

import os
import stat
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from surrogate.errors import WrongUse
from surrogate.records import SetAside

#: Suffixes under which people expect a picture; anything else that is no picture is left alone without a word.
PICTURE_SUFFIXES = frozenset(
    {".tif", ".tiff", ".jpg", ".jpeg", ".jpe", ".png", ".webp", ".jp2", ".j2k", ".jpf", ".jpx", ".heic", ".heif"}
    | {".avif", ".bmp", ".gif", ".dng", ".cr2", ".cr3", ".nef", ".arw", ".orf", ".rw2", ".raf", ".pef", ".psd", ".pdf"}
)


@dataclass(frozen=True)
class Scan:
    """A file that may be a scan. ``name`` is its path below the folder that was given, with forward slashes."""

    path: Path
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
    text = name.encode("utf-8", "surrogateescape").decode("utf-8", "backslashreplace")
    return "".join(c if c.isprintable() else c.encode("unicode_escape").decode() for c in text)


def gather(given: Sequence[Path], collection: Path) -> Gathered:
    """Walk the files and folders given; hidden ones are skipped, loops of links are walked once.

    Raises :class:`WrongUse` when something given is not there, when nothing was found, or when the collection and
    the scans lie inside one another.
    """
    scans: dict[Path, Scan] = {}
    aside: list[SetAside] = []
    alone: list[str] = []
    target = collection.resolve()
    for place in given:
        if not place.exists():
            raise WrongUse(f"There is no {place}. Check the name of the folder or file with your scans.")
        resolved = place.resolve()
        if resolved == target or target in resolved.parents:
            raise WrongUse(f"{place} lies inside the collection {collection}. Give the folder with the scans instead.")
        if resolved in target.parents:
            raise WrongUse(
                f"The collection {collection} would lie inside the folder of scans {place}. "
                "Choose a folder beside it, so that scans and copies never mix."
            )
        if place.is_dir():
            _walk(place, place, scans, aside, alone, set())
        else:
            _consider(place, place.name, scans, aside, alone)
    if not scans and not aside:
        raise WrongUse(f"No scans found in {', '.join(str(p) for p in given)}. Give a folder that holds TIFF or JPEG.")
    ordered = tuple(sorted(scans.values(), key=lambda scan: (scan.name, str(scan.path))))
    return Gathered(ordered, tuple(sorted(aside, key=lambda a: a.file)), tuple(sorted(alone)))


def _walk(
    root: Path,
    folder: Path,
    scans: dict[Path, Scan],
    aside: list[SetAside],
    alone: list[str],
    seen: set[tuple[int, int]],
) -> None:
    try:
        identity = folder.stat()
        entries = sorted(os.scandir(folder), key=lambda entry: entry.name)
    except OSError as error:
        name = printable(folder.relative_to(root).as_posix())
        aside.append(
            SetAside(
                file=name, reason=f"The folder cannot be opened: {error.strerror}.", advice="Check its permissions."
            )
        )
        return
    if (identity.st_dev, identity.st_ino) in seen:
        return
    seen.add((identity.st_dev, identity.st_ino))
    for entry in entries:
        if entry.name.startswith("."):
            continue
        path = Path(entry.path)
        try:
            is_folder = entry.is_dir()
        except OSError:
            is_folder = False
        if is_folder:
            _walk(root, path, scans, aside, alone, seen)
        else:
            _consider(path, printable(path.relative_to(root).as_posix()), scans, aside, alone)


def _consider(path: Path, name: str, scans: dict[Path, Scan], aside: list[SetAside], alone: list[str]) -> None:
    try:
        found = path.stat()
    except OSError as error:
        aside.append(
            SetAside(file=name, reason=f"The file cannot be opened: {error.strerror}.", advice="Check where it went.")
        )
        return
    if not stat.S_ISREG(found.st_mode):
        aside.append(SetAside(file=name, reason="This is not an ordinary file.", advice="Nothing to do."))
    elif path.suffix.lower() in PICTURE_SUFFIXES:
        scans[path.resolve()] = Scan(path, name, found.st_size, found.st_mtime_ns)
    else:
        alone.append(name)
