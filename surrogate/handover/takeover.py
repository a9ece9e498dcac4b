"""Take a collection over from the bags of a hand-over: proof that nobody is tied to anything."""

from __future__ import annotations

import shutil
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from surrogate.collection import settings
from surrogate.collection.files import UNFINISHED, copy_hashed, disk_errors, make_read_only, publish
from surrogate.collection.listing import Listing
from surrogate.errors import WrongUse
from surrogate.handover import bag as bags
from surrogate.handover import groups
from surrogate.handover.shares import ADDED, HandoverRefused


@dataclass(frozen=True)
class TakeOverReport:
    """What was taken over from a bag."""

    collection: Path
    originals: int
    files: int


def _payload(bag: Path) -> dict[str, tuple[Path, str]]:
    """{path in the collection: (file, SHA-256)} of what becomes a collection again."""
    payload = {}
    for digest, path in bags.read_manifest(bag / "manifest-sha256.txt"):
        inner = path.removeprefix("data/")
        if inner not in ADDED:
            payload[inner] = (bag / path, digest)
    return payload


def take_over(sources: Sequence[Path], collection: Path) -> TakeOverReport:
    """Make a collection again, byte for byte, from all bags of a hand-over; ``collection`` is new or empty.

    A source is the folder of a bag, or ``BAG`` where a split collection lies in ``BAG-1-of-3`` and so on.
    Raises :class:`HandoverRefused` when a bag is damaged or one is missing, and
    :class:`surrogate.errors.WrongUse` when ``collection`` holds something already.
    """
    if collection.exists() and (not collection.is_dir() or any(collection.iterdir())):
        raise WrongUse(f"{collection} is not empty. Give a new folder for the collection.")
    payload: dict[str, tuple[Path, str]] = {}
    found = [bag for source in sources for bag in groups.members(source)]
    if lacking := groups.incomplete(found):
        raise HandoverRefused(
            f"{lacking[0].path}: {lacking[0].what}. Give all bags of one hand-over; nothing was taken over."
        )
    for source in found:
        if findings := bags.check(source):
            raise HandoverRefused(
                f"{source}: {len(findings)} finding(s), first {findings[0].path}: {findings[0].what}. "
                "Ask for the bag again; nothing was taken over."
            )
        payload |= _payload(source)
    for path, (file, digest) in sorted(payload.items(), key=_settings_last):
        target = collection / path
        temporary = target.with_name(f".{target.name}{UNFINISHED}")
        with disk_errors(target):
            target.parent.mkdir(parents=True, exist_ok=True)
            if copy_hashed(file, temporary)[0] != digest:
                raise HandoverRefused(f"{file} changed while it was read. Take it over again.")
            shutil.copystat(file, temporary)
            temporary.chmod(0o644)
            publish(temporary, target)
        if path.startswith("masters/") and target.suffix != ".xmp":
            make_read_only(target)
    originals = 0
    for original in Listing(collection):
        originals += 1
        for master in original.masters:
            if master.file not in payload:
                raise HandoverRefused(
                    f"The bags given lack {master.file} of {original.reference}. "
                    f"Give all bags of the hand-over; remove {collection} first."
                )
    return TakeOverReport(collection, originals, len(payload))


def _settings_last(item: tuple[str, tuple[Path, str]]) -> tuple[bool, str]:
    """Sort key: ``collection.toml`` last, so that a folder taken over by half is not mistaken for a collection."""
    return item[0] == settings.FILE_NAME, item[0]
