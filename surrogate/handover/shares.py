"""What goes into which bag.

The rule for splitting: originals are taken in the order of their reference numbers; all files of one original stay in
one bag; a bag is closed when the next original would take it over the limit, which is a number of originals or the size
of the collection's files in it. The lists that speak of the whole collection lie in every bag, other files that belong
to no original in the first.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from surrogate.collection import paths, settings
from surrogate.collection.leaving import own_files
from surrogate.collection.numbering import name_of
from surrogate.errors import SurrogateError
from surrogate.handover.bag import Entry
from surrogate.handover.groups import Limit
from surrogate.records import Original

#: Files that the hand-over adds to the collection's own, by path in the collection.
PREMIS, EAD, TABLE = "metadata/premis.xml", "metadata/finding_aid.xml", "metadata/finding_aid.csv"
ADDED = (PREMIS, EAD, TABLE)

#: Lists of the whole collection that every bag holds, beside the profiles of its scanners.
_IN_EVERY_BAG = frozenset(
    {
        settings.FILE_NAME,
        paths.CATALOGUE,
        paths.CAPTIONS,
        paths.MANIFEST,
        "manifest.csv",
        "manifest.schema.json",
        "set_aside.csv",
    }
)


class HandoverRefused(SurrogateError):
    """The collection or the bag is not in a state in which it could be handed over or taken over."""


@dataclass(frozen=True)
class Share:
    """What goes into one bag: originals by reference, and every file."""

    references: tuple[str, ...]
    entries: tuple[Entry, ...]


def _belongs_to(path: str, names: Mapping[str, str]) -> str | None:
    """The reference that a file belongs to by its name, or None."""
    return names.get(path.rpartition("/")[2].partition("_")[0]) if "/" in path else None


def shares(collection: Path, originals: Iterable[Original], limit: Limit) -> list[Share]:
    """Share the collection out over bags.

    Raises :class:`HandoverRefused` when a file that the manifest names is missing.
    """
    checksums: dict[str, str] = {}
    own: dict[str, list[Entry]] = {}
    owners: dict[str, str] = {}
    for original in originals:
        own[original.reference] = []
        for master in original.masters:  # a master may carry the name of the original that it was taken in as
            if not master.page:
                owners |= dict.fromkeys((master.file, paths.sidecar(master.file)), original.reference)
        checksums |= {master.file: master.sha256 for master in original.masters}
        checksums |= {copy.file: copy.sha256 for copy in original.copies}
    found = sorted(set(own_files(collection)) - set(ADDED))
    missing = sorted(set(checksums) - set(found))
    if missing:
        raise HandoverRefused(
            f"{len(missing)} file(s) that the manifest names are not there, first {missing[0]}. "
            "Run 'surrogate audit' on the collection, then hand it over."
        )
    names = {name_of(reference): reference for reference in own}
    common: list[Entry] = []
    every: list[Entry] = []
    for path in found:
        entry = Entry(path, collection / path, checksums.get(path))
        reference = owners.get(path) or _belongs_to(path, names)
        if reference is not None:
            own[reference].append(entry)
        else:
            in_every = path in _IN_EVERY_BAG or path.startswith(f"{paths.PROFILES}/")
            (every if in_every else common).append(entry)
    made: list[Share] = []
    for group in _split(own, every, common, limit):
        entries = [*every, *([] if made else common), *(entry for reference in group for entry in own[reference])]
        made.append(Share(tuple(group), tuple(entries)))
    return made


def _split(
    own: Mapping[str, Sequence[Entry]], every: Sequence[Entry], common: Sequence[Entry], limit: Limit
) -> Iterator[list[str]]:
    def size(entries: Iterable[Entry]) -> int:
        return sum(entry.source.stat().st_size for entry in entries) if limit.size is not None else 0

    base = size(every)
    filled = base + size(common)
    group: list[str] = []
    for reference, entries in own.items():
        weight = size(entries)
        too_many = limit.originals is not None and len(group) >= limit.originals
        too_large = limit.size is not None and filled + weight > limit.size
        if group and (too_many or too_large):
            yield group
            group, filled = [], base
        group.append(reference)
        filled += weight
    yield group
