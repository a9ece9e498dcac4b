"""Bags that belong together: a collection that was split names its bags ``BAG-1-of-3`` and says so inside each.

RFC 8493, 2.2.2: ``Bag-Group-Identifier`` and ``Bag-Count``.
"""

from __future__ import annotations

import re
import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from surrogate.errors import WrongUse
from surrogate.handover.bag import INFO, Finding, read_info

_COUNT = re.compile(r"(\d+) of (\d+)")

#: Bytes by unit: decimal prefixes of the SI, binary ones of IEC 80000-13.
_UNITS = {
    "kb": 10**3, "mb": 10**6, "gb": 10**9, "tb": 10**12,
    "kib": 2**10, "mib": 2**20, "gib": 2**30, "tib": 2**40,
}  # fmt: skip


@dataclass(frozen=True)
class Limit:
    """How much goes into one bag: at most so many originals, or so many bytes. None: no limit."""

    originals: int | None = None
    size: int | None = None


def limit_of(text: str) -> Limit:
    """A limit as people type it: ``500`` originals, or a size like ``4.5 GB``. Raises :class:`WrongUse`.

    >>> limit_of("500"), limit_of("4.5 GB")
    (Limit(originals=500, size=None), Limit(originals=None, size=4500000000))
    """
    match = re.fullmatch(r"\s*(\d+(?:\.\d+)?)\s*([a-z]*)\s*", text.lower())
    if match and not match[2] and match[1].isdigit() and int(match[1]):
        return Limit(originals=int(match[1]))
    if match and match[2] in _UNITS and float(match[1]):
        return Limit(size=int(float(match[1]) * _UNITS[match[2]]))
    raise WrongUse(f"{text!r} is no limit for a bag. Give a number of originals, like 500, or a size, like 500GB.")


def names(to: Path, count: int) -> list[Path]:
    """The folders of ``count`` bags that were asked for as ``to``."""
    if count == 1:
        return [to]
    width = len(str(count))
    return [to.with_name(f"{to.name}-{number:0{width}}-of-{count}") for number in range(1, count + 1)]


def identifier(manifest_sha256: str, count: int) -> str:
    """Identifier of the group, the same for the same collection split into as many bags (RFC 9562, 5.5)."""
    return uuid.uuid5(uuid.NAMESPACE_OID, f"{manifest_sha256} {count}").urn


def members(given: Path) -> list[Path]:
    """The bags meant by ``given``: that folder, or ``given-1-of-3`` and so on. Raises :class:`WrongUse`."""
    if given.is_dir():
        return [given]
    pattern = re.compile(re.escape(given.name) + r"-\d+-of-\d+")
    parent = given.parent
    found = [folder for folder in parent.iterdir() if pattern.fullmatch(folder.name)] if parent.is_dir() else []
    if not found:
        raise WrongUse(f"There is no folder {given}. Give the folder of a bag.")
    return sorted(found)


def place_of(bag: Path) -> tuple[str, int, int]:
    """(group, number, count) of a bag; ("", 1, 1) for one that is whole by itself."""
    info = read_info(bag)
    match = _COUNT.fullmatch(info.get("Bag-Count", ""))
    group = info.get("Bag-Group-Identifier", "")
    return (group, int(match[1]), int(match[2])) if match and group else ("", 1, 1)


def incomplete(bags: Sequence[Path]) -> list[Finding]:
    """What keeps these bags from being one whole hand-over: bags that are missing, or of another one."""
    groups = {place_of(bag)[0] for bag in bags}
    if len(groups) > 1:
        return [Finding(f"{bag.name}/{INFO}", "belongs to another hand-over than the first") for bag in bags[1:]]
    there = {place_of(bag)[1] for bag in bags}
    count = max(place_of(bag)[2] for bag in bags)
    return [Finding(f"bag {number} of {count}", "missing") for number in range(1, count + 1) if number not in there]
