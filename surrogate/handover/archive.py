"""Hand a collection over to a larger archive as one or more bags (the rule for splitting: :mod:`.shares`)."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from surrogate._version import __version__
from surrogate.collection import paths
from surrogate.collection.catalogue import open_catalogue
from surrogate.collection.files import replacing, sha256_of, write_atomic
from surrogate.collection.holding import held
from surrogate.collection.leaving import BAG_BEGUN, may_hold
from surrogate.collection.listing import Listing
from surrogate.errors import WrongUse
from surrogate.handover import bag as bags
from surrogate.handover import finding_aid, groups, premis
from surrogate.handover.bag import Digests, Finding
from surrogate.handover.groups import Limit
from surrogate.handover.letter import letter
from surrogate.handover.premis import Happening
from surrogate.handover.shares import ADDED, EAD, PREMIS, TABLE, HandoverRefused, Share, shares
from surrogate.records import Original


@dataclass(frozen=True)
class HandoverReport:
    """What a hand-over wrote. ``already`` when a finished bag with the same content was there."""

    bags: tuple[Path, ...]
    originals: int
    files: int
    bytes: int
    already: bool


class _Shared:
    """The originals of one share, read one at a time; can be gone through again and again."""

    def __init__(self, listing: Listing, share: Share) -> None:
        self._listing = listing
        self._wanted = frozenset(share.references)

    def __iter__(self) -> Iterator[Original]:
        return (original for original in self._listing if original.reference in self._wanted)


def _history(collection: Path, share: Share) -> list[Happening]:
    if not (collection / paths.CATALOGUE).is_file():
        return []
    wanted = set(share.references)
    with open_catalogue(collection) as catalogue:
        lines = catalogue.events()
    return [Happening(*line) for line in lines if line[1] is None or line[1] in wanted]


def _write_metadata(
    bag: Path, listing: Listing, share: Share, history: Sequence[Happening], digests: Mapping[str, Digests]
) -> None:
    sizes = {entry.path: entry.source.stat().st_size for entry in share.entries}

    def digest_of(path: str) -> str | None:
        known = digests.get(f"data/{path}")
        return None if known is None else known["sha256"]

    originals = _Shared(listing, share)
    collection, software = listing.head.collection, listing.head.software
    with replacing(bag / "data" / PREMIS) as stream:
        premis.write(stream, collection, software, originals, history, size_of=sizes.get, digest_of=digest_of)
    with replacing(bag / "data" / EAD) as stream:
        finding_aid.write_ead(stream, collection, software, originals)
    with replacing(bag / "data" / TABLE) as stream:
        finding_aid.write_table(stream, collection, software, originals)


def _fill(bag: Path, share: Share, algorithms: Sequence[str], *, link: bool) -> dict[str, Digests]:
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
    wanted = {f"data/{path}" for path in (*ADDED, *(entry.path for entry in share.entries))}
    for file in (bag / "data").rglob("*"):
        if file.is_file() and file.relative_to(bag).as_posix() not in wanted:
            file.unlink()
    return digests


def _write_bag(
    collection: Path, bag: Path, listing: Listing, share: Share, order: tuple[int, int], *, sha512: bool, link: bool
) -> int:
    """Write one bag; returns the bytes of its payload."""
    algorithms = ["sha256", "sha512"] if sha512 else ["sha256"]
    write_atomic(bag / BAG_BEGUN, b"This bag is not finished. Run the same 'surrogate handover' command again.\n")
    digests = _fill(bag, share, algorithms, link=link)
    _write_metadata(bag, listing, share, _history(collection, share), digests)
    for added in ADDED:
        digests[f"data/{added}"] = bags.digests_of(bag / "data" / added, algorithms)
    whole = listing.head
    write_atomic(bag / "README.txt", letter(whole, share.references, [entry.path for entry in share.entries], order))
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
            ("Bag-Group-Identifier", groups.identifier(sha256_of(collection / paths.MANIFEST), count)),
            ("Bag-Count", f"{number} of {count}"),
            ("Bag-Software-Agent", f"surrogate {__version__}"),
        ],
        ["README.txt"],
    )
    (bag / BAG_BEGUN).unlink()
    return sum(sizes)


def _usable(collection: Path, target: Path) -> None:
    if not may_hold(collection, target):
        raise WrongUse(f"{target} and the collection lie inside one another. Choose a folder elsewhere for the bag.")
    if target.exists() and not target.is_dir():
        raise WrongUse(f"{target} is a file. Choose a folder for the bag.")
    started = (target / BAG_BEGUN).is_file() or bags.is_finished(target)
    if target.is_dir() and any(target.iterdir()) and not started:
        raise WrongUse(f"{target} is not empty. Choose a new folder for the bag.")


def _is_same(share: Share, target: Path) -> bool:
    """Whether a finished bag holds this share already, by names, sizes and known checksums."""
    listed = {path: digest for digest, path in bags.read_manifest(target / "manifest-sha256.txt")}
    payload = set(listed) - {f"data/{added}" for added in ADDED}
    if payload != {f"data/{entry.path}" for entry in share.entries}:
        return False
    for entry in share.entries:
        known = entry.sha256 or bags.digests_of(entry.source, ["sha256"])["sha256"]
        if listed[f"data/{entry.path}"] != known:
            return False
    return True


def handover(
    collection: Path, to: Path, *, sha512: bool = False, link: bool = False, limit: Limit | None = None
) -> HandoverReport:
    """Write the collection into a bag at ``to`` (or into ``to-1-of-3`` and so on, when it exceeds the limit of one).

    Run again after an interruption it goes on where it stopped. Every finished bag is read once more and checked.
    Raises :class:`HandoverRefused` when files are missing or changed, :class:`surrogate.errors.WrongUse` for an
    unsuitable target, :class:`surrogate.errors.DiskFull` and :class:`surrogate.errors.CollectionUnusable`.
    """
    with held(collection, "handover"):
        return _handover(collection, to, sha512=sha512, link=link, limit=limit or Limit())


def _handover(collection: Path, to: Path, *, sha512: bool, link: bool, limit: Limit) -> HandoverReport:
    listing = Listing(collection)
    made = shares(collection, listing, limit)
    targets = groups.names(to, len(made))
    for target in targets:
        _usable(collection, target)
    total = files = 0
    already = True
    for number, (share, target) in enumerate(zip(made, targets, strict=True), start=1):
        if bags.is_finished(target):
            if not _is_same(share, target):
                raise WrongUse(f"{target} is a finished bag with other content. Choose a new folder for the bag.")
        else:
            already = False
            _write_bag(collection, target, listing, share, (number, len(made)), sha512=sha512, link=link)
            if findings := bags.check(target):
                raise HandoverRefused(f"{target}: {findings[0].path} is {findings[0].what} after writing. Try again.")
        total += sum(entry.source.stat().st_size for entry in share.entries)
        files += len(share.entries)
    return HandoverReport(tuple(targets), sum(len(share.references) for share in made), files, total, already)


def check(given: Path) -> list[Finding]:
    """Everything wrong with a bag, or with all bags of a collection that was split (``given-1-of-3`` and so on).

    Raises :class:`surrogate.errors.WrongUse` when there is no such folder.
    """
    found = groups.members(given)
    findings = []
    for bag in found:
        within = "" if bag == given else f"{bag.name}/"
        findings += [Finding(f"{within}{finding.path}", finding.what) for finding in bags.check(bag)]
    return findings if found == [given] else findings + groups.incomplete(found)
