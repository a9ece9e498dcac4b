"""Before a run: the collection folder and what the command line names."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

from surrogate.collection import register, settings
from surrogate.collection.files import disk_errors
from surrogate.collection.settings import Settings
from surrogate.errors import CollectionUnusable, WrongUse
from surrogate.records import Kind


def known_kind(kind: str | None) -> Kind | None:
    """The kind that a person named on the command line; None and ``auto`` mean: find out."""
    if kind is None or kind == "auto":
        return None
    try:
        return Kind(kind)
    except ValueError as error:
        known = ", ".join(k.value for k in Kind)
        raise WrongUse(f"There is no kind of original called “{kind}”. Known kinds: {known}.") from error


def prepare(collection: Path) -> Settings:
    """Make the collection folder on first use and read its settings.

    Raises :class:`CollectionUnusable` for a folder with other things in it.
    """
    if collection.exists() and not collection.is_dir():
        raise CollectionUnusable(f"{collection} is a file. Give a folder for the collection.")
    with disk_errors(collection):
        collection.mkdir(parents=True, exist_ok=True)
        entries = [entry.name for entry in collection.iterdir() if not entry.name.startswith(".")]
    if settings.FILE_NAME not in entries:
        if entries:
            raise CollectionUnusable(
                f"{collection} is not a collection: it holds {entries[0]} but no {settings.FILE_NAME}. "
                "Give a new or empty folder."
            )
        settings.write_first(collection, datetime.now(UTC).year)
    found = settings.read(collection)
    register.check(found, collection / settings.FILE_NAME)
    return found
