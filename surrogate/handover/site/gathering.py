"""From the collection's manifest to the items that may be shown, one original at a time.

Everything that an item depends on goes into one digest, its source. Only items whose source changed are made again.
"""

from __future__ import annotations

import hashlib
import json
import os
import re
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from surrogate._version import __version__
from surrogate.collection import paths
from surrogate.collection.catalogue import open_catalogue
from surrogate.collection.listing import Listing
from surrogate.collection.settings import PublishSection
from surrogate.handover.site import images, shown
from surrogate.handover.site.leaks import Kept
from surrogate.handover.site.state import State
from surrogate.records import CollectionInfo, Original

_REFERENCE = re.compile(rb'\s*\{\s*"reference": ?("(?:[^"\\]|\\.)*")')

#: Columns of the caption sheet, of people's own making, that say what a picture is about.
_SUBJECTS = ("subject", "subjects")


@dataclass(frozen=True)
class Gathered:
    """What is known of a collection once its items are in the state.

    ``info`` and ``story`` are free of withheld ``names``; ``made`` are the references of items made anew.
    """

    info: CollectionInfo
    story: str
    names: list[str]
    originals: int
    shown: int
    made: frozenset[str]
    kept: Kept


@dataclass(frozen=True)
class _Candidate:
    source: str
    same_picture_as: tuple[str, ...]


def subjects_of(collection: Path) -> dict[str, tuple[str, ...]]:
    """Subjects by reference, where the caption sheet has a column for them; several are split at semicolons."""
    if not (collection / paths.CATALOGUE).is_file():
        return {}
    found: dict[str, dict[str, None]] = defaultdict(dict)
    with open_catalogue(collection) as catalogue:
        for cells in catalogue.caption_cells():
            for column, cell in cells.items():
                if cell and column.strip().lower() in _SUBJECTS:
                    named = (subject.strip() for subject in cell.split(";"))
                    found[cells["reference"]].update((subject, None) for subject in named if subject)
    return {reference: tuple(subjects) for reference, subjects in found.items()}


def _stamp(file: str) -> str:
    try:
        found = os.stat(file)  # noqa: PTH116 - 20,000 of them in a collection of 10,000
    except OSError:
        return "-"
    return f"{found.st_size}:{found.st_mtime_ns}"


def _digest(*parts: object) -> str:
    return hashlib.blake2b(repr(parts).encode(), digest_size=16).hexdigest()


def _reference_of(block: bytes) -> str:
    match = _REFERENCE.match(block)
    return str(json.loads(match[1])) if match else ""


def gather(collection: Path, listing: Listing, rules: PublishSection, today: date, state: State) -> Gathered:
    """Bring the items in ``state`` up to date with the collection as it may be shown ``today``.

    Raises :class:`surrogate.errors.CollectionUnusable`.
    """
    info, folder = listing.head.collection, f"{collection}/"
    kept = Kept()
    candidates: dict[str, _Candidate] = {}
    marked: set[str] = set(rules.withheld_people)
    originals = 0
    for block in listing.blocks():
        original = listing.original(block)
        originals += 1
        marked.update(shown.living(original.people))
        is_shown = shown.is_open(original, rules, today) and shown.has_picture(original)
        kept.add(original, shown=is_shown)
        if is_shown:
            stamps = [_stamp(folder + file) for file in shown.lies_beside(original, rules)]
            source = hashlib.blake2b(block + repr(stamps).encode(), digest_size=16).hexdigest()
            candidates[original.reference] = _Candidate(source, tuple(original.same_picture_as))
    names = shown.withheld_names(marked)
    subjects = subjects_of(collection)
    common = _digest(__version__, info, rules.before_and_after, names)
    sources = {
        reference: _digest(common, candidate.source, _same(candidate, candidates), subjects.get(reference))
        for reference, candidate in candidates.items()
    }
    known = state.sources()
    changed = frozenset(reference for reference, source in sources.items() if known.get(reference) != source)
    state.drop_items(known.keys() - sources.keys())
    redact = shown.redactor(names)
    public = CollectionInfo(name=redact(info.name), credit=redact(info.credit), rights=redact(info.rights))

    def make(original: Original) -> None:
        reference = original.reference
        same = _same(candidates[reference], candidates)
        item = shown.item_of(
            collection, public, original, rules, redact, same_picture_as=same, subjects=subjects.get(reference, ())
        )
        state.put_item(reference, sources[reference], _digest(images.xmp_packet(item, "")), item.model_dump_json())

    for block in listing.blocks() if changed else ():
        if _reference_of(block) in changed:
            make(listing.original(block))
    state.keep()
    return Gathered(public, redact(rules.story), names, originals, len(sources), changed, kept)


def _same(candidate: _Candidate, candidates: Mapping[str, _Candidate]) -> Sequence[str]:
    return [other for other in candidate.same_picture_as if other in candidates]
