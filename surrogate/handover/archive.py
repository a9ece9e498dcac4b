"""Hand a collection over to a larger archive as one or more bags.

The rule for splitting: originals are taken in the order of their reference numbers; all files of one original stay in
one bag; a bag is closed when the next original would take it over the limit. The lists that speak of the whole
collection lie in every bag, other files that belong to no original in the first.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from surrogate._version import __version__
from surrogate.collection import paths, settings
from surrogate.collection.catalogue import open_catalogue
from surrogate.collection.files import UNFINISHED, write_atomic
from surrogate.collection.holding import held
from surrogate.collection.numbering import name_of
from surrogate.errors import SurrogateError, WrongUse
from surrogate.handover import bag as bags
from surrogate.handover import finding_aid, manifest, premis
from surrogate.handover.bag import Digests, Entry, Finding
from surrogate.handover.letter import letter
from surrogate.handover.premis import Happening
from surrogate.handover.streams import replacing
from surrogate.records import Manifest, Original

#: Lies in the folder of a bag that is not finished.
_MARK = "bag-not-finished.txt"

#: Lists of the whole collection that every bag holds.
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
#: Folder of the bag that speaks about the collection and is no part of it.
METADATA = "metadata"


class HandoverRefused(SurrogateError):
    """The collection or the bag is not in a state in which it could be handed over or taken over."""


@dataclass(frozen=True)
class HandoverReport:
    """What a hand-over wrote. ``already`` when a finished bag with the same content was there."""

    bags: tuple[Path, ...]
    originals: int
    files: int
    bytes: int
    already: bool


def _source_files(collection: Path) -> list[str]:
    """Every file of the collection, by path, without hidden and unfinished ones."""
    found = []
    for file in collection.rglob("*"):
        path = file.relative_to(collection)
        if file.is_file() and not any(part.startswith(".") for part in path.parts) and file.suffix != UNFINISHED:
            found.append(path.as_posix())
    return sorted(found)


def _belongs_to(path: str, names: Mapping[str, str]) -> str | None:
    """The reference that a file belongs to by its name, or None."""
    return names.get(path.rpartition("/")[2].partition("_")[0]) if "/" in path else None


@dataclass(frozen=True)
class _Share:
    """What goes into one bag."""

    originals: tuple[Original, ...]
    entries: tuple[Entry, ...]


def _shares(collection: Path, whole: Manifest, most_bytes: int | None) -> list[_Share]:
    checksums = {record.file: record.sha256 for original in whole.originals for record in original.masters}
    checksums |= {record.file: record.sha256 for original in whole.originals for record in original.copies}
    found = _source_files(collection)
    missing = sorted(set(checksums) - set(found))
    if missing:
        raise HandoverRefused(
            f"{len(missing)} file(s) that the manifest names are not there, first {missing[0]}. "
            "Run 'surrogate audit' on the collection, then hand it over."
        )
    names = {name_of(original.reference): original.reference for original in whole.originals}
    own: dict[str, list[Entry]] = {original.reference: [] for original in whole.originals}
    common: list[Entry] = []
    every: list[Entry] = []
    for path in found:
        entry = Entry(path, collection / path, checksums.get(path))
        reference = _belongs_to(path, names)
        if reference is not None:
            own[reference].append(entry)
        else:
            (every if path in _IN_EVERY_BAG else common).append(entry)
    shares: list[_Share] = []
    for group in _split(whole.originals, own, every, common, most_bytes):
        entries = [
            *every,
            *([] if shares else common),
            *(entry for original in group for entry in own[original.reference]),
        ]
        shares.append(_Share(tuple(group), tuple(entries)))
    return shares


def _split(
    originals: Sequence[Original],
    own: Mapping[str, Sequence[Entry]],
    every: Sequence[Entry],
    common: Sequence[Entry],
    most_bytes: int | None,
) -> Iterator[list[Original]]:
    def size(entries: Iterable[Entry]) -> int:
        return sum(entry.source.stat().st_size for entry in entries)

    base = size(every)
    filled = base + size(common)
    group: list[Original] = []
    for original in originals:
        weight = size(own[original.reference]) if most_bytes else 0
        if most_bytes and group and filled + weight > most_bytes:
            yield group
            group, filled = [], base
        group.append(original)
        filled += weight
    yield group


def _history(collection: Path, share: _Share) -> list[Happening]:
    if not (collection / paths.CATALOGUE).is_file():
        return []
    wanted = {original.reference for original in share.originals}
    with open_catalogue(collection) as catalogue:
        lines = catalogue.events()
    return [Happening(*line) for line in lines if line[1] is None or line[1] in wanted]


def _write_metadata(
    bag: Path, whole: Manifest, share: _Share, history: Sequence[Happening], digests: Mapping[str, Digests]
) -> None:
    sizes = {entry.path: entry.source.stat().st_size for entry in share.entries}

    def digest_of(path: str) -> str | None:
        known = digests.get(f"data/{path}")
        return None if known is None else known["sha256"]

    folder = bag / "data" / METADATA
    with replacing(folder / "premis.xml") as stream:
        premis.write(
            stream,
            whole.collection,
            whole.software,
            share.originals,
            history,
            size_of=sizes.get,
            digest_of=digest_of,
        )
    with replacing(folder / "finding_aid.xml") as stream:
        finding_aid.write_ead(stream, whole.collection, whole.software, share.originals)
    with replacing(folder / "finding_aid.csv") as stream:
        finding_aid.write_table(stream, whole.collection, whole.software, share.originals)


def _fill(bag: Path, share: _Share, algorithms: Sequence[str], *, link: bool) -> dict[str, Digests]:
    """Bring the payload into the bag; returns checksums by path from the bag's root."""
    digests: dict[str, Digests] = {}
    differing = []
    for entry in share.entries:
        digests[f"data/{entry.path}"] = bags.place(entry, bag / "data" / entry.path, algorithms, link=link)
        if entry.sha256 not in {None, digests[f"data/{entry.path}"]["sha256"]}:
            differing.append(entry.path)
    if differing:
        raise HandoverRefused(
            f"{len(differing)} file(s) no longer match the checksum in the manifest, first {differing[0]}. "
            "Run 'surrogate audit' on the collection; the bag was not finished."
        )
    wanted = {f"data/{entry.path}" for entry in share.entries}
    for file in (bag / "data").rglob("*"):
        if file.is_file() and file.relative_to(bag).as_posix() not in wanted and file.parent.name != METADATA:
            file.unlink()
    return digests


def _write_bag(
    collection: Path, bag: Path, whole: Manifest, share: _Share, order: tuple[int, int], *, sha512: bool, link: bool
) -> int:
    """Write one bag; returns the bytes of its payload."""
    algorithms = ["sha256", "sha512"] if sha512 else ["sha256"]
    write_atomic(bag / _MARK, b"This bag is not finished. Run the same 'surrogate handover' command again.\n")
    digests = _fill(bag, share, algorithms, link=link)
    _write_metadata(bag, whole, share, _history(collection, share), digests)
    for file in sorted((bag / "data" / METADATA).iterdir()):
        digests[f"data/{METADATA}/{file.name}"] = bags.digests_of(file, algorithms)
    write_atomic(bag / "README.txt", letter(whole, share.originals, [entry.path for entry in share.entries], order))
    sizes = [(bag / path).stat().st_size for path in digests]
    number, count = order
    bags.finish(
        bag,
        digests,
        [
            ("Source-Organization", whole.collection.credit or whole.collection.name),
            ("External-Description", f"{whole.collection.name}: scans of originals, and copies made from them"),
            ("External-Identifier", whole.collection.name),
            ("Bagging-Date", datetime.now(UTC).date().isoformat()),
            ("Payload-Oxum", bags.oxum(sizes)),
            ("Bag-Group-Identifier", whole.collection.name if count > 1 else ""),
            ("Bag-Count", f"{number} of {count}"),
            ("Bag-Software-Agent", f"surrogate {__version__}"),
        ],
        ["README.txt"],
    )
    (bag / _MARK).unlink()
    return sum(sizes)


def _targets(to: Path, count: int) -> list[Path]:
    if count == 1:
        return [to]
    width = len(str(count))
    return [to.with_name(f"{to.name}-{number:0{width}}-of-{count}") for number in range(1, count + 1)]


def _usable(collection: Path, target: Path) -> None:
    inside = target.resolve().is_relative_to(collection.resolve())
    if inside or collection.resolve().is_relative_to(target.resolve()):
        raise WrongUse(f"{target} and the collection lie inside one another. Choose a folder elsewhere for the bag.")
    if target.exists() and not target.is_dir():
        raise WrongUse(f"{target} is a file. Choose a folder for the bag.")
    started = (target / _MARK).is_file() or bags.is_finished(target)
    if target.is_dir() and any(target.iterdir()) and not started:
        raise WrongUse(f"{target} is not empty. Choose a new folder for the bag.")


def _is_same(share: _Share, target: Path) -> bool:
    """Whether a finished bag holds this share already, by names, sizes and known checksums."""
    listed = {path: digest for digest, path in bags.read_manifest(target / "manifest-sha256.txt")}
    payload = {path for path in listed if not path.startswith(f"data/{METADATA}/")}
    if payload != {f"data/{entry.path}" for entry in share.entries}:
        return False
    for entry in share.entries:
        known = entry.sha256 or bags.digests_of(entry.source, ["sha256"])["sha256"]
        if listed[f"data/{entry.path}"] != known:
            return False
    return True


def handover(
    collection: Path, to: Path, *, sha512: bool = False, link: bool = False, most_bytes: int | None = None
) -> HandoverReport:
    """Write the collection into a bag at ``to`` (or into ``to-1-of-3`` and so on, when it exceeds ``most_bytes``).

    Run again after an interruption it goes on where it stopped. Every finished bag is read once more and checked.
    Raises :class:`HandoverRefused` when files are missing or changed, :class:`surrogate.errors.WrongUse` for an
    unsuitable target, :class:`surrogate.errors.DiskFull` and :class:`surrogate.errors.CollectionUnusable`.
    """
    with held(collection, "handover"):
        return _handover(collection, to, sha512=sha512, link=link, most_bytes=most_bytes)


def _handover(collection: Path, to: Path, *, sha512: bool, link: bool, most_bytes: int | None) -> HandoverReport:
    whole = manifest.read(collection)
    shares = _shares(collection, whole, most_bytes)
    targets = _targets(to, len(shares))
    for target in targets:
        _usable(collection, target)
    total = files = 0
    already = True
    for number, (share, target) in enumerate(zip(shares, targets, strict=True), start=1):
        if bags.is_finished(target):
            if not _is_same(share, target):
                raise WrongUse(f"{target} is a finished bag with other content. Choose a new folder for the bag.")
        else:
            already = False
            _write_bag(collection, target, whole, share, (number, len(shares)), sha512=sha512, link=link)
            if findings := bags.check(target):
                raise HandoverRefused(f"{target}: {findings[0].path} is {findings[0].what} after writing. Try again.")
        total += sum(entry.source.stat().st_size for entry in share.entries)
        files += len(share.entries)
    return HandoverReport(tuple(targets), len(whole.originals), files, total, already)


def check(bag: Path) -> list[Finding]:
    """Everything wrong with a bag. Raises :class:`surrogate.errors.WrongUse` when there is no such folder."""
    if not bag.is_dir():
        raise WrongUse(f"There is no folder {bag}. Give the folder of a bag.")
    return bags.check(bag)
