"""A catalogue that burnt is written again from the plain files of its collection.

What is asked: the tables in ``catalogue/``, then ``manifest.json``, ``captions.csv`` and ``outlines.csv``. A master
that none of them names (they are written when a command ends, and one may have been killed) is known by the
description beside it. What no file says is found again from the masters by the next ``process``.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from surrogate import outlining, stray, wording
from surrogate.collection import inventory, paths, plain, search_index, settings
from surrogate.collection.catalogue import Catalogue, Cell, CopyRow, OriginalRow, OutlineRow, open_file
from surrogate.collection.files import disk_errors, flush_folder, publish, sha256_of, unfinished_name
from surrogate.collection.holding import held
from surrogate.collection.listing import Listing
from surrogate.collection.numbering import Pattern
from surrogate.collection.plain import Unreadable
from surrogate.collection.settings import Settings
from surrogate.errors import CollectionUnusable, ScanSetAside, WrongUse
from surrogate.intake.corrections import read_corrections
from surrogate.records import Condition, Original, Record, Side

#: Event: the catalogue was written again.
REVIVED = "catalogue written again from the collection's files"


class Revived(Record):
    """What came back, and what to say about it."""

    collection: str
    originals: int
    notes: list[str]

    def lines(self) -> Iterator[str]:
        """The report as people read it."""
        yield f"{self.collection}: the catalogue was written again from its files; {self.originals} originals."
        yield from (f"Note: {note}" for note in self.notes)


@dataclass
class _Revival:
    """One catalogue on its way back."""

    folder: Path
    settings: Settings
    catalogue: Catalogue
    notes: list[str] = field(default_factory=list)

    def rows(self, table: plain.Plain) -> list[tuple[Cell, ...]]:
        """The rows of a plain table as far as it can be read."""
        found = []
        try:
            for row in plain.read(self.folder, table):
                found.append(row)  # noqa: PERF402  (what was read before a damaged row counts)
        except Unreadable as problem:
            self.notes.append(f"{table.file} is damaged after {len(found)} rows: {problem}.")
        return found


def revive(folder: Path) -> Revived:
    """Write the catalogue of a collection again; a damaged one is kept in ``damaged/``.

    Raises :class:`CollectionUnusable` when the folder is not a collection or is held by another command.
    """
    found = settings.read(folder)
    final = folder / paths.CATALOGUE
    temporary = unfinished_name(final)
    with held(folder, "rebuild --catalogue"):
        temporary.unlink(missing_ok=True)
        try:
            with open_file(temporary) as catalogue:
                revival = _Revival(folder, found, catalogue)
                with catalogue.transaction():
                    _fill(revival)
                    catalogue.add_event(None, REVIVED, "; ".join(revival.notes))
                inventory.record_unknown(folder, catalogue)
                originals = len(catalogue.originals())
            _set_apart(folder)
            with disk_errors(final):
                publish(temporary, final)
                (folder / search_index.FILE_NAME).unlink(missing_ok=True)  # it was made from the catalogue that is gone
        finally:
            temporary.unlink(missing_ok=True)
    return Revived(collection=str(folder), originals=originals, notes=revival.notes)


def _set_apart(folder: Path) -> None:
    """Move what is left of the old catalogue away: its journal first, which SQLite would play into the new one."""
    for suffix in ("-journal", "-wal", "-shm", ""):
        path = folder / f"{paths.CATALOGUE}{suffix}"
        if path.exists():
            inventory.set_apart(folder, path.name)
    flush_folder(folder)


def _fill(revival: _Revival) -> None:
    catalogue = revival.catalogue
    for table in plain.TABLES:
        if table.back is not None:
            catalogue.put_rows(table.back, revival.rows(table))
    listed = _from_manifest(revival)
    _words(revival, listed)
    _outlines(revival)
    for found in stray.masters(revival.folder, catalogue):
        if found.reference is None:
            revival.notes.append(f"{found.file} is in no list and nothing beside it says its number; it stays there.")
            continue
        try:
            stray.enter(revival.folder, catalogue, found.reference, found)
            revival.notes.append(f"{found.reference}: found by its master {found.file}.")
        except ScanSetAside as problem:
            revival.notes.append(f"{found.reference}: {found.file}: {problem.reason}")
    pattern = Pattern.parse(revival.settings.collection.reference)
    references = [row.reference for row in catalogue.originals()] + [row.reference for row in catalogue.caption_rows()]
    for reference in references:
        catalogue.keep_number(reference, pattern.parse_reference(reference))


def _from_manifest(revival: _Revival) -> list[Original]:
    """Enter every original that the manifest holds; returns those whose words may be needed."""
    digests = {str(row[0]): (str(row[1]), str(row[2])) for row in revival.rows(plain.COPIES)}
    dated = _Measurements(revival)
    listed: list[Original] = []
    sheet = (revival.folder / paths.CAPTIONS).is_file()
    try:
        listing = Listing(revival.folder)
        for aside in listing.head.set_aside:
            revival.catalogue.put_set_aside(aside)
        for original in listing:
            _enter(revival.catalogue, original, digests, dated)
            if not sheet:
                listed.append(original)
    except CollectionUnusable as problem:
        revival.notes.append(f"{problem}")
    return listed


def _enter(catalogue: Catalogue, original: Original, digests: dict[str, tuple[str, str]], dated: _Measurements) -> None:
    reference = original.reference
    if catalogue.original(reference) is None:
        stated = original.kind_confidence is None  # a person's word, by sheet or command, needs no confidence
        kind_from = "command" if stated else "picture"
        catalogue.put_original(OriginalRow(reference, original.kind, original.kind_confidence, kind_from))
    for master in original.masters:
        made_of = (master.side, master.sha256)
        copied = any((copy.side, copy.master_sha256) == made_of for copy in original.copies)
        catalogue.put_master(reference, master, complete=copied)
    for condition in original.condition:
        dated.enter(catalogue, reference, condition)
    for copy in original.copies:
        made_as, described_as = digests.get(copy.file, ("", ""))
        catalogue.put_copy(CopyRow(copy, reference, made_as, described_as))
    for other in original.same_picture_as:
        catalogue.put_same_picture(reference, other)


class _Measurements:
    """The history of measurements: older ones whole, the newest of each side dated."""

    def __init__(self, revival: _Revival) -> None:
        self._newest: dict[tuple[str, str], tuple[str, str, str]] = {}
        for reference, side, at, software, sha256, record in revival.rows(plain.MEASUREMENTS):
            if record:
                measured = Condition.model_validate_json(str(record))
                revival.catalogue.add_condition(
                    str(reference), measured, software=str(software), master_sha256=str(sha256), measured_at=str(at)
                )
            else:
                self._newest[str(reference), str(side)] = (str(at), str(software), str(sha256))

    def enter(self, catalogue: Catalogue, reference: str, condition: Condition) -> None:
        """Enter the newest condition of a side."""
        at, software, sha256 = self._newest.get((reference, condition.side.value), ("", "", ""))
        catalogue.add_condition(reference, condition, software=software, master_sha256=sha256, measured_at=at)


def _words(revival: _Revival, listed: list[Original]) -> None:
    """What people wrote: from the caption sheet; without one, from the manifest, where both sides are one."""
    try:
        sheet = wording.read(revival.folder, None, [], revival.settings, ())
        sheet.restore(revival.catalogue)
    except WrongUse as problem:
        revival.notes.append(f"{problem}")
        return
    if listed:
        revival.notes.append(f"There was no {paths.CAPTIONS}: words came back from the manifest, own columns did not.")
        wording.restore_from_manifest(revival.catalogue, listed)
    elif (revival.folder / paths.CAPTIONS).is_file():
        revival.catalogue.sheet_was_written(sha256_of(revival.folder / paths.CAPTIONS))


def _outlines(revival: _Revival) -> None:
    by_side: dict[tuple[str, Side], list[OutlineRow]] = {}
    try:
        for row in read_corrections(revival.folder / outlining.FILE_NAME):
            if row.reference:
                corners = None if row.corners is None else row.corners
                outline = OutlineRow(row.reference, row.side, row.part, corners, row.confidence, row.note)
                by_side.setdefault((row.reference, row.side), []).append(outline)
    except WrongUse as problem:
        revival.notes.append(f"{problem}")
    for (reference, side), rows in by_side.items():
        revival.catalogue.put_outlines(reference, side, rows)
