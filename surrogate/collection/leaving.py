"""Folders that were made from a collection to go elsewhere, a site or a bag, and what is left without them.

They may lie in the collection's own folder, where the demo puts them, but are no part of the collection: they are not
handed over with it.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

from surrogate.collection.files import UNFINISHED

#: A folder that holds one of these was made to leave: a published site, a bag (RFC 8493), a bag that is not finished.
SITE, BAG, BAG_BEGUN = ".surrogate-site.sqlite", "bagit.txt", "bag-not-finished.txt"

#: Folders of a collection that nothing else may use.
_OWN = frozenset(
    {"masters", "copies", "recipes", "condition", "texts", "prints", "profiles", "care", "report", "metadata"}
) | {"damaged", "earlier"}


def made_to_leave(folder: Path) -> bool:
    """Whether a folder is a site or a bag."""
    return any((folder / mark).is_file() for mark in (SITE, BAG, BAG_BEGUN))


def own_files(collection: Path) -> Iterator[str]:
    """Path of every file of the collection, without hidden and unfinished ones and what was made to leave."""
    for place, folders, files in os.walk(collection):
        within = Path(place).relative_to(collection)
        folders[:] = [name for name in folders if not name.startswith(".") and not made_to_leave(Path(place, name))]
        for name in files:
            if not name.startswith(".") and not name.endswith(UNFINISHED):
                yield (within / name).as_posix()


def may_hold(collection: Path, target: Path) -> bool:
    """Whether a site or bag may go to ``target``: elsewhere, or directly into the collection under a new name."""
    mine, theirs = collection.resolve(), target.resolve()
    if theirs.parent == mine:
        return theirs.name not in _OWN and not theirs.name.startswith(".")
    return not (theirs.is_relative_to(mine) or mine.is_relative_to(theirs))
