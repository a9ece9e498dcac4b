"""The record: one SQLite file, written by one process."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from surrogate.collection import paths
from surrogate.collection.migrate import bring_up_to_date
from surrogate.collection.numbering import Parts, name_of
from surrogate.errors import CatalogueLost, CollectionUnusable, DiskFull
from surrogate.records import Caption, Condition, Copy, GivenProfile, Kind, Lot, Master, SetAside, Side, Use


@dataclass(frozen=True)
class OriginalRow:
    """One original as the catalogue knows it."""

    reference: str
    kind: Kind
    kind_confidence: float | None
    kind_from: str


@dataclass(frozen=True)
class FileRow:
    """The checksum and the length of a file that was made for one side of an original."""

    file: str
    sha256: str
    size: int


@dataclass(frozen=True)
class CopyRow:
    """One copy with the digests of the decisions and of the description that it carries."""

    copy: Copy
    reference: str
    made_as: str
    described_as: str


#: What a cell of a table holds.
Cell = str | int | float | None

Corners = tuple[tuple[float, float], tuple[float, float], tuple[float, float], tuple[float, float]]


@dataclass(frozen=True)
class OutlineRow:
    """Where a picture lies on its scan: four corners in master pixels, clockwise from top left; None: whole frame.

    ``confidence`` is None where a person drew it.
    """

    reference: str
    side: Side
    part: int
    corners: Corners | None
    confidence: float | None
    note: str


@dataclass(frozen=True)
class Retired:
    """A number whose original became the back of another; ``sha256`` and ``side`` are those of its master, ``kind``
    and ``kind_from`` what it was taken for.
    """

    number: str
    leads_to: str
    sha256: str
    side: Side
    kind: Kind
    kind_from: str


@dataclass(frozen=True)
class Glance:
    """What was seen of a print for its lot (``text``; empty: nothing); ``seen_as`` tells under which decisions."""

    seen_as: str
    text: str


@dataclass(frozen=True)
class CaptionRow:
    """A row of the caption sheet: its cells now, and as they last stood in the sheet."""

    reference: str
    side: Side
    cells: dict[str, str]
    in_sheet: dict[str, str]


class Catalogue:
    """The open catalogue of one collection. Use :func:`open_catalogue`."""

    def __init__(self, connection: sqlite3.Connection, path: Path) -> None:
        self._db = connection
        self._path = path
        self._inode = path.stat().st_ino

    @contextmanager
    def transaction(self) -> Iterator[None]:
        """All or nothing.

        Raises :class:`CollectionUnusable` when another file, or none, lies where the catalogue was opened: a network
        folder that is taken off leaves an empty one, and SQLite would go on writing to what nobody sees.
        """
        if not self._is_still_there():
            raise CollectionUnusable(
                f"{self._path.parent} cannot be reached any more. Connect the disk or the network folder again and run "
                "the same command; what is already recorded is safe."
            )
        self._db.execute("BEGIN IMMEDIATE")
        try:
            yield
        except BaseException:
            if self._db.in_transaction:  # SQLite ends it itself when the disk is full
                self._db.execute("ROLLBACK")
            raise
        self._db.execute("COMMIT")

    @contextmanager
    def reading(self) -> Iterator[None]:
        """Many questions at once: SQLite locks the file and looks whether it changed only once, not with each of them.

        Nobody can write meanwhile, so keep it to a fraction of a second. Nothing changes inside a transaction.
        """
        if self._db.in_transaction:
            yield
            return
        self._db.execute("BEGIN")
        try:
            yield
        finally:
            self._db.execute("COMMIT")

    def _is_still_there(self) -> bool:
        try:
            return self._path.stat().st_ino == self._inode
        except OSError:
            return False

    # whole tables, for their plain text

    def rows(self, query: str) -> Iterator[tuple[Cell, ...]]:
        """What a query of :mod:`surrogate.collection.plain` finds."""
        yield from self._db.execute(query)

    def put_rows(self, statement: str, rows: Iterable[tuple[Cell, ...]]) -> None:
        """Put rows back by a statement of :mod:`surrogate.collection.plain`."""
        self._db.executemany(statement, rows)

    # numbers

    def numbers_in_series(self, year: int | None, accession: int | None, letter: str | None) -> list[int]:
        """Highest item ever used in a series, as a list of at most one number."""
        row = self._db.execute(
            "SELECT MAX(item) FROM numbers WHERE year IS ? AND accession IS ? AND letter IS ?",
            (year, accession, letter),
        ).fetchone()
        return [] if row[0] is None else [row[0]]

    def is_used(self, reference: str) -> bool:
        """Whether this number was ever given."""
        return self._db.execute("SELECT 1 FROM numbers WHERE reference = ?", (reference,)).fetchone() is not None

    def keep_number(self, reference: str, parts: Parts | None) -> None:
        """Mark a number as given, for ever; ``parts`` is None for one outside the collection's pattern."""
        columns = (None,) * 4 if parts is None else (parts.year, parts.accession, parts.letter, parts.item)
        self._db.execute(
            "INSERT OR IGNORE INTO numbers VALUES (?, ?, ?, ?, ?, ?)", (reference, name_of(reference), *columns)
        )

    def reference_named(self, name: str) -> str | None:
        """The reference number whose files carry this name, or None."""
        row = self._db.execute("SELECT reference FROM numbers WHERE name = ?", (name,)).fetchone()
        return None if row is None else str(row[0])

    def retire(self, row: Retired) -> None:
        """Let a number lead to another original; it stays given."""
        value = json.dumps([row.leads_to, row.sha256, row.side, row.kind, row.kind_from])
        self._db.execute("INSERT OR REPLACE INTO facts VALUES (?, ?)", (f"number {row.number}", value))

    def unretire(self, number: str) -> None:
        """The number stands for an original of its own again."""
        self._db.execute("DELETE FROM facts WHERE name = ?", (f"number {number}",))

    def retired(self) -> list[Retired]:
        """Numbers that lead to another original, in order."""
        rows = self._db.execute(
            "SELECT name, value FROM facts WHERE name > 'number ' AND name < 'number!' ORDER BY name"
        )
        return [_retired(name.removeprefix("number "), *json.loads(value)) for name, value in rows]

    def standing_for(self, reference: str) -> str:
        """The number of the original that a number stands for: itself, or the one that it went into."""
        return next((each.leads_to for each in self.retired() if each.number == reference), reference)

    # originals and masters

    def put_original(self, row: OriginalRow) -> None:
        """Record or update an original."""
        self._db.execute(
            "INSERT OR REPLACE INTO originals VALUES (?, ?, ?, ?)",
            (row.reference, row.kind.value, row.kind_confidence, row.kind_from),
        )

    def original(self, reference: str) -> OriginalRow | None:
        """One original, or None."""
        row = self._db.execute("SELECT * FROM originals WHERE reference = ?", (reference,)).fetchone()
        return None if row is None else OriginalRow(row[0], Kind(row[1]), row[2], row[3])

    def originals(self) -> list[OriginalRow]:
        """Every original, sorted by reference."""
        rows = self._db.execute("SELECT * FROM originals ORDER BY reference")
        return [OriginalRow(r[0], Kind(r[1]), r[2], r[3]) for r in rows]

    def put_master(self, reference: str, master: Master, *, complete: bool) -> None:
        """Record a master; ``complete`` once its copies are in place too."""
        self._db.execute(
            "INSERT OR REPLACE INTO masters VALUES (?, ?, ?, ?, ?, ?)",
            (reference, master.side.value, master.sha256, master.page, int(complete), master.model_dump_json()),
        )

    def master_with(self, sha256: str, page: int = 0) -> tuple[str, Master, bool] | None:
        """(reference, master, complete) of the master that is this page of a file with these bytes, or None."""
        row = self._db.execute(
            "SELECT reference, record, complete FROM masters WHERE sha256 = ? AND page = ?", (sha256, page)
        ).fetchone()
        return None if row is None else (row[0], Master.model_validate_json(row[1]), bool(row[2]))

    def masters(self, reference: str) -> list[Master]:
        """The masters of an original, recto first."""
        rows = self._db.execute("SELECT record FROM masters WHERE reference = ? ORDER BY side", (reference,))
        return [Master.model_validate_json(r[0]) for r in rows]

    def master(self, reference: str, side: Side) -> Master | None:
        """The master of one side of an original, or None."""
        row = self._db.execute(
            "SELECT record FROM masters WHERE reference = ? AND side = ?", (reference, side.value)
        ).fetchone()
        return None if row is None else Master.model_validate_json(row[0])

    def pages_with(self, sha256: str) -> list[int]:
        """The pages, from 0, of a file with these bytes that are sides of their own."""
        rows = self._db.execute("SELECT page FROM masters WHERE sha256 = ? ORDER BY page", (sha256,))
        return [row[0] for row in rows]

    def given_profiles(self) -> list[GivenProfile]:
        """The scanners' profiles that copies were made through, each once."""
        rows = self._db.execute(
            "SELECT DISTINCT json_extract(record, '$.given_profile') FROM masters "
            "WHERE json_extract(record, '$.given_profile') IS NOT NULL ORDER BY 1"
        )
        return [GivenProfile.model_validate_json(r[0]) for r in rows]

    def master_at(self, file: str) -> bool:
        """Whether some master lies under this name. Goes through all of them: ask when a file is in the way."""
        found = self._db.execute("SELECT 1 FROM masters WHERE json_extract(record, '$.file') = ?", (file,)).fetchone()
        return found is not None

    def move_side(self, old: tuple[str, Side], new: tuple[str, Side], made: Iterable[str]) -> None:
        """Let a side of an original be a side of another. What was made of it (the files ``made``) and measured on it
        is forgotten, since both depend on the side; outlines that people drew stay.
        """
        was, becomes = (old[0], old[1].value), (new[0], new[1].value)
        (record,) = self._db.execute("SELECT record FROM masters WHERE reference = ? AND side = ?", was).fetchone()
        master = Master.model_validate_json(record).model_copy(update={"side": new[1]})
        self._db.execute(
            "UPDATE masters SET reference = ?, side = ?, record = ? WHERE reference = ? AND side = ?",
            (*becomes, master.model_dump_json(), *was),
        )
        self._db.execute("DELETE FROM outlines WHERE reference = ? AND side = ?", becomes)
        for table in ("outlines", "sources"):
            moved = f"UPDATE {table} SET reference = ?, side = ? WHERE reference = ? AND side = ?"  # noqa: S608
            self._db.execute(moved, becomes + was)
        for table in ("copies", "conditions", "captions", "notes"):
            self._db.execute(f"DELETE FROM {table} WHERE reference = ? AND side = ?", was)  # noqa: S608
        self._db.executemany("DELETE FROM files WHERE file = ?", [(file,) for file in made])

    def forget_original(self, reference: str) -> None:
        """An original has no side left; its number stays given."""
        for table in ("originals", "signatures", "files"):
            self._db.execute(f"DELETE FROM {table} WHERE reference = ?", (reference,))  # noqa: S608
        self._db.execute("DELETE FROM same_pictures WHERE one = ? OR other = ?", (reference, reference))

    # condition, copies, notes

    def add_condition(
        self, reference: str, condition: Condition, *, software: str, master_sha256: str, measured_at: str = ""
    ) -> None:
        """Add a measurement to the history of this side; ``measured_at`` empty: now."""
        at = measured_at or now()
        self._db.execute(
            "INSERT INTO conditions VALUES (?, ?, ?, ?, ?, ?)",
            (reference, condition.side.value, at, software, master_sha256, condition.model_dump_json()),
        )

    def conditions(self, reference: str) -> list[Condition]:
        """The newest condition of each side, recto first."""
        rows = self._db.execute(
            "SELECT record, side FROM conditions WHERE rowid IN "
            "(SELECT MAX(rowid) FROM conditions WHERE reference = ? GROUP BY side) ORDER BY side",
            (reference,),
        )
        return [Condition.model_validate_json(r[0]) for r in rows]

    def put_copy(self, row: CopyRow) -> None:
        """Record or update a copy."""
        self._db.execute(
            "INSERT OR REPLACE INTO copies VALUES (?, ?, ?, ?, ?, ?)",
            (
                row.copy.file,
                row.reference,
                row.copy.side.value,
                row.made_as,
                row.described_as,
                row.copy.model_dump_json(),
            ),
        )

    def put_files(self, reference: str, rows: Iterable[FileRow]) -> None:
        """Record or update checksums of files made for an original."""
        self._db.executemany(
            "INSERT OR REPLACE INTO files VALUES (?, ?, ?, ?)",
            [(row.file, reference, row.sha256, row.size) for row in rows],
        )

    def files(self, reference: str) -> dict[str, FileRow]:
        """What is recorded of the files made for an original, by file."""
        rows = self._db.execute("SELECT file, sha256, size FROM files WHERE reference = ? ORDER BY file", (reference,))
        return {row[0]: FileRow(*row) for row in rows}

    def drop_copies(self, reference: str, side: Side, *, keep: Iterable[str]) -> list[str]:
        """Forget the copies of a side and their recipes that are not in ``keep``; returns their files. Prints stay."""
        kept = set(keep)
        copies = [row.copy for row in self.copies(reference) if row.copy.side is side and row.copy.use is not Use.PRINT]
        gone = sorted({file for copy in copies for file in (copy.file, copy.recipe) if file and file not in kept})
        self._db.executemany("DELETE FROM copies WHERE file = ?", [(file,) for file in gone])
        self._db.executemany("DELETE FROM files WHERE file = ?", [(file,) for file in gone])
        return gone

    def copies(self, reference: str) -> list[CopyRow]:
        """The copies of an original, sorted by file."""
        rows = self._db.execute(
            "SELECT record, reference, made_as, described_as FROM copies WHERE reference = ? ORDER BY file",
            (reference,),
        )
        return [CopyRow(Copy.model_validate_json(r[0]), r[1], r[2], r[3]) for r in rows]

    def put_notes(self, reference: str, side: Side, notes: Iterable[str], *, at_arrival: bool = False) -> None:
        """Replace what is said of this side's copies; ``at_arrival``: what was said when its scan came in, which holds
        however copies are made again.
        """
        self._db.execute(
            "DELETE FROM notes WHERE reference = ? AND side = ? AND at_arrival = ?", (reference, side.value, at_arrival)
        )
        rows = [(reference, side.value, note, at_arrival) for note in notes]
        self._db.executemany("INSERT INTO notes VALUES (?, ?, ?, ?)", rows)

    def notes(self, reference: str) -> list[str]:
        """What there is to say about this original: of each side first what was said when it arrived."""
        rows = self._db.execute(
            "SELECT note FROM notes WHERE reference = ? ORDER BY side, at_arrival DESC, rowid", (reference,)
        )
        return [r[0] for r in rows]

    # lots

    def lots_written(self) -> list[tuple[str, str]]:
        """(reference, lot) of every original for which people named a lot, by reference; that of the front counts."""
        rows = self._db.execute(
            "SELECT reference, json_extract(record, '$.lot') AS lot FROM captions WHERE lot != '' "
            "ORDER BY reference, side DESC"
        )
        return sorted({str(reference): str(lot) for reference, lot in rows}.items())

    def glances(self) -> dict[str, Glance]:
        """What was seen of the prints in lots, by the SHA-256 of their masters."""
        rows = self._db.execute("SELECT name, value FROM facts WHERE name > 'glance ' AND name < 'glance!'")
        return {name.removeprefix("glance "): Glance(*json.loads(value)) for name, value in rows}

    def put_glance(self, sha256: str, glance: Glance) -> None:
        """Keep what was seen of the print with this master."""
        value = json.dumps([glance.seen_as, glance.text])
        self._db.execute("INSERT OR REPLACE INTO facts VALUES (?, ?)", (f"glance {sha256}", value))

    def put_lots(self, members: Mapping[str, tuple[int, Sequence[str]]], glances: Iterable[str]) -> None:
        """Replace all lots: per reference its place among the masters (SHA-256) it is judged with. Glances of other
        masters than ``glances`` are forgotten. What is as before is not written again.
        """
        kept = {f"glance {sha256}" for sha256 in glances}
        wanted = {f"lot of {reference}": json.dumps([place, *of]) for reference, (place, of) in members.items()}
        rows = self._db.execute(
            "SELECT name, value FROM facts WHERE (name > 'lot of ' AND name < 'lot of!') "
            "OR (name > 'glance ' AND name < 'glance!')"
        )
        before = {str(name): str(value) for name, value in rows}
        gone = [(name,) for name in before if name not in wanted and name not in kept]
        self._db.executemany("DELETE FROM facts WHERE name = ?", gone)
        news = [(name, value) for name, value in wanted.items() if before.get(name) != value]
        self._db.executemany("INSERT OR REPLACE INTO facts VALUES (?, ?)", news)

    def lot(self, reference: str) -> Lot | None:
        """What was seen of the prints that this one is judged with; None where it is judged alone."""
        row = self._db.execute("SELECT value FROM facts WHERE name = ?", (f"lot of {reference}",)).fetchone()
        if row is None:
            return None
        place, *masters = json.loads(row[0])
        names = [f"glance {sha256}" for sha256 in masters]
        marks = ", ".join("?" * len(names))
        found = dict(self._db.execute(f"SELECT name, value FROM facts WHERE name IN ({marks})", names))  # noqa: S608
        if len(found) < len(set(names)):  # a damaged list in a catalogue that was written again
            return None
        return Lot(glances=tuple(json.loads(found[name])[1] for name in names), place=place)

    # outlines

    def put_outlines(self, reference: str, side: Side, rows: Iterable[OutlineRow]) -> None:
        """Replace the outlines of a side."""
        self._db.execute("DELETE FROM outlines WHERE reference = ? AND side = ?", (reference, side.value))
        self._db.executemany(
            "INSERT INTO outlines VALUES (?, ?, ?, ?, ?, ?)",
            [
                (r.reference, r.side.value, r.part, r.corners and json.dumps(r.corners), r.confidence, r.note)
                for r in rows
            ],
        )

    def outlines(self, reference: str, side: Side) -> list[OutlineRow]:
        """The outlines of a side, by part."""
        rows = self._db.execute(
            "SELECT * FROM outlines WHERE reference = ? AND side = ? ORDER BY part", (reference, side.value)
        )
        return [_outline(row) for row in rows]

    def all_outlines(self) -> list[OutlineRow]:
        """Every outline, by reference, side and part."""
        return [_outline(row) for row in self._db.execute("SELECT * FROM outlines ORDER BY reference, side, part")]

    # same pictures

    def put_signature(self, reference: str, hashes: str) -> None:
        """Record the hashes by which a picture is found again."""
        self._db.execute("INSERT OR REPLACE INTO signatures VALUES (?, ?)", (reference, hashes))

    def signatures(self) -> dict[str, str]:
        """The hashes of every picture, by reference."""
        return dict(self._db.execute("SELECT reference, hashes FROM signatures ORDER BY reference"))

    def put_same_picture(self, one: str, other: str) -> None:
        """Link two originals that show the same picture."""
        self._db.executemany("INSERT OR IGNORE INTO same_pictures VALUES (?, ?)", [(one, other), (other, one)])

    def same_pictures(self, reference: str) -> list[str]:
        """The other originals that show the same picture."""
        rows = self._db.execute("SELECT other FROM same_pictures WHERE one = ? ORDER BY other", (reference,))
        return [row[0] for row in rows]

    def all_same_pictures(self) -> list[tuple[str, str]]:
        """Every pair of originals that show the same picture, once."""
        return list(self._db.execute("SELECT one, other FROM same_pictures WHERE one < other ORDER BY one, other"))

    # captions

    def put_caption(self, reference: str, side: Side, caption: Caption, cells: Mapping[str, str]) -> None:
        """Record what people wrote: the caption, and the cells of its row, own columns included."""
        self._db.execute(
            "INSERT INTO captions VALUES (?, ?, ?, ?, '{}') ON CONFLICT (reference, side) DO UPDATE SET "
            "record = excluded.record, cells = excluded.cells",
            (reference, side.value, caption.model_dump_json(), json.dumps(dict(cells), ensure_ascii=False)),
        )

    def caption(self, reference: str, side: Side) -> Caption:
        """What people wrote about a side; an empty caption when nobody did."""
        row = self._db.execute(
            "SELECT record FROM captions WHERE reference = ? AND side = ?", (reference, side.value)
        ).fetchone()
        return Caption() if row is None else Caption.model_validate_json(row[0])

    def has_caption_row(self, reference: str, side: Side) -> bool:
        """Whether the caption sheet has a row for this side."""
        found = self._db.execute(
            "SELECT 1 FROM captions WHERE reference = ? AND side = ?", (reference, side.value)
        ).fetchone()
        return found is not None

    def caption_rows(self) -> list[CaptionRow]:
        """Every row of the caption sheet, by reference, recto first."""
        rows = self._db.execute("SELECT reference, side, cells, in_sheet FROM captions ORDER BY reference, side")
        return [CaptionRow(r[0], Side(r[1]), json.loads(r[2]), json.loads(r[3])) for r in rows]

    def caption_row(self, reference: str) -> dict[Side, CaptionRow]:
        """The rows of the caption sheet for one original, by side."""
        rows = self._db.execute(
            "SELECT reference, side, cells, in_sheet FROM captions WHERE reference = ? ORDER BY side", (reference,)
        )
        return {Side(r[1]): CaptionRow(r[0], Side(r[1]), json.loads(r[2]), json.loads(r[3])) for r in rows}

    def caption_cells(self) -> Iterator[dict[str, str]]:
        """The cells of every row of the caption sheet, by reference, recto first, one after the other."""
        for (cells,) in self._db.execute("SELECT cells FROM captions ORDER BY reference, side"):
            yield json.loads(cells)

    def take_sheet(self) -> None:
        """Take down every row of the caption sheet as it is now, in a temporary table of this connection.

        The sheet is written from there, so that nobody who saves meanwhile has to wait.
        """
        self._db.execute("DROP TABLE IF EXISTS temp.taken")
        self._db.execute(
            "CREATE TEMP TABLE taken AS SELECT reference, side, cells, in_sheet != cells AS is_news FROM captions "
            "ORDER BY reference, side"
        )

    def taken_cells(self) -> Iterator[dict[str, str]]:
        """The cells of every row that :meth:`take_sheet` took down, by reference, recto first."""
        for (cells,) in self._db.execute("SELECT cells FROM temp.taken ORDER BY rowid"):
            yield json.loads(cells)

    def sheet_is_coming(self, sha256: str) -> None:
        """Remember that a caption sheet with these bytes is about to be put in place: it is not a person's."""
        self._db.execute("INSERT OR REPLACE INTO facts VALUES ('caption sheet coming', ?)", (sha256,))

    def taken_was_written(self, sha256: str) -> None:
        """Remember that the caption sheet, with these bytes, holds what :meth:`take_sheet` took down."""
        self._db.execute(
            "UPDATE captions SET in_sheet = taken.cells FROM temp.taken WHERE taken.is_news "
            "AND taken.reference = captions.reference AND taken.side = captions.side"
        )
        self._put_sheet(sha256)

    def sheet_was_written(self, sha256: str) -> None:
        """Remember that the caption sheet, with these bytes, now holds what the catalogue holds."""
        self._db.execute("UPDATE captions SET in_sheet = cells WHERE in_sheet != cells")
        self._put_sheet(sha256)

    def _put_sheet(self, sha256: str) -> None:
        self._db.execute("INSERT OR REPLACE INTO facts VALUES ('caption sheet', ?)", (sha256,))
        self._db.execute("DELETE FROM facts WHERE name = 'caption sheet coming'")

    def sheets_as_written(self) -> frozenset[str]:
        """SHA-256 of the caption sheet as it was last written, and of one that was about to be when all ended."""
        rows = self._db.execute("SELECT value FROM facts WHERE name IN ('caption sheet', 'caption sheet coming')")
        return frozenset(str(row[0]) for row in rows)

    def is_new_sheet(self, sha256: str) -> bool:
        """Whether a caption sheet with these bytes was never given before; from now on it was."""
        put = self._db.execute("INSERT OR IGNORE INTO facts VALUES (?, 'merged')", (f"given sheet {sha256}",))
        return put.rowcount > 0

    def sheet_is_current(self) -> bool:
        """Whether the sheet as last written holds everything that the catalogue holds."""
        return self._db.execute("SELECT 1 FROM captions WHERE in_sheet != cells").fetchone() is None

    # sources and what was set aside

    def put_source(self, path: str, size: int, mtime_ns: int, reference: str | None, side: Side | None) -> None:
        """Remember that this file was dealt with."""
        self._db.execute(
            "INSERT OR REPLACE INTO sources VALUES (?, ?, ?, ?, ?)",
            (path, size, mtime_ns, reference, None if side is None else side.value),
        )

    def source(self, path: str) -> tuple[int, int, str | None, Side | None] | None:
        """(size, mtime_ns, reference, side) of a file dealt with before, or None."""
        row = self._db.execute("SELECT size, mtime_ns, reference, side FROM sources WHERE path = ?", (path,)).fetchone()
        return None if row is None else (row[0], row[1], row[2], None if row[3] is None else Side(row[3]))

    def source_paths(self) -> set[str]:
        """Every file dealt with before."""
        return {row[0] for row in self._db.execute("SELECT path FROM sources")}

    def put_set_aside(self, record: SetAside) -> None:
        """List a scan that was not taken in."""
        self._db.execute(
            "INSERT OR REPLACE INTO set_aside VALUES (?, ?, ?)", (record.file, record.reason, record.advice)
        )

    def drop_set_aside(self, file: str) -> None:
        """A scan of this name was taken in after all."""
        self._db.execute("DELETE FROM set_aside WHERE file = ?", (file,))

    def set_aside(self) -> list[SetAside]:
        """Every scan that was not taken in, by name."""
        rows = self._db.execute("SELECT file, reason, advice FROM set_aside ORDER BY file")
        return [SetAside(file=r[0], reason=r[1], advice=r[2]) for r in rows]

    # events

    def add_event(self, reference: str | None, what: str, detail: str) -> None:
        """Add a line to the history."""
        self._db.execute("INSERT INTO events VALUES (?, ?, ?, ?)", (now(), reference, what, detail))

    def remember_pair(self, front: str, back: str, why: str) -> None:
        """Keep for later runs which files were taken for two sides of one original, and why."""
        value = json.dumps([front, back, why], ensure_ascii=False)
        self._db.execute("INSERT OR REPLACE INTO facts VALUES (?, ?)", (f"back of {front}", value))

    def remembered_pairs(self) -> list[tuple[str, str, str]]:
        """(front, back, why) of files that earlier runs paired."""
        rows = self._db.execute("SELECT value FROM facts WHERE substr(name, 1, 8) = 'back of ' ORDER BY name")
        return [(str(front), str(back), str(why)) for front, back, why in (json.loads(row[0]) for row in rows)]

    def remember_answers(self, sheet: str, numbers: Sequence[str]) -> None:
        """Keep, until they are linked, the numbers on a contact sheet that came back; none: they are linked."""
        self._db.execute("DELETE FROM facts WHERE name = ?", (f"answers on {sheet}",))
        if numbers:
            value = json.dumps([sheet, *numbers], ensure_ascii=False)
            self._db.execute("INSERT INTO facts VALUES (?, ?)", (f"answers on {sheet}", value))

    def remembered_answers(self) -> list[tuple[str, list[str]]]:
        """(contact sheet, numbers on it) that are not linked yet."""
        rows = self._db.execute("SELECT value FROM facts WHERE substr(name, 1, 11) = 'answers on ' ORDER BY name")
        return [(sheet, numbers) for sheet, *numbers in (json.loads(row[0]) for row in rows)]

    def happened(self, reference: str, what: str) -> bool:
        """Whether an event of this kind is on record for an original."""
        found = self._db.execute("SELECT 1 FROM events WHERE reference = ? AND what = ?", (reference, what)).fetchone()
        return found is not None

    def events(self, reference: str | None = None) -> list[tuple[str, str | None, str, str]]:
        """The history: (when, reference, what, detail), oldest first."""
        if reference is None:
            return list(self._db.execute("SELECT * FROM events ORDER BY rowid"))
        return list(self._db.execute("SELECT * FROM events WHERE reference = ? ORDER BY rowid", (reference,)))


def four_corners(points: Sequence[Sequence[float]]) -> Corners:
    """Four points as corners. Raises ValueError for any other number of points."""
    (ax, ay), (bx, by), (cx, cy), (dx, dy) = points
    return ((ax, ay), (bx, by), (cx, cy), (dx, dy))


def _retired(number: str, leads_to: str, sha256: str, side: str, kind: str, kind_from: str) -> Retired:
    return Retired(number, leads_to, sha256, Side(side), Kind(kind), kind_from)


def _outline(row: tuple[str, str, int, str | None, float | None, str]) -> OutlineRow:
    corners = None if row[3] is None else four_corners(json.loads(row[3]))
    return OutlineRow(row[0], Side(row[1]), row[2], corners, row[4], row[5])


def now() -> str:
    """The time in UTC, to the second (ISO 8601)."""
    return datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def holds_originals(folder: Path) -> bool:
    """Whether a collection was filled, so that its catalogue cannot be a new one."""
    return (folder / paths.MANIFEST).is_file() or any(path.is_file() for path in (folder / "masters").rglob("*"))


@contextmanager
def open_catalogue(folder: Path) -> Iterator[Catalogue]:
    """Open the catalogue of a collection, making it on first use and bringing an older one up to date.

    Raises :class:`CatalogueLost` when the file is damaged, or missing from a collection that was filled, and
    :class:`CollectionUnusable` when it was written by newer software or may not be written.
    """
    path = folder / paths.CATALOGUE
    if (not path.is_file() or path.stat().st_size == 0) and holds_originals(folder):
        raise CatalogueLost(folder, "is missing or empty")
    with open_file(path) as catalogue:
        yield catalogue


@contextmanager
def open_file(path: Path) -> Iterator[Catalogue]:
    """Open a catalogue by its own name; see :func:`open_catalogue`."""
    connection = None
    try:
        connection = sqlite3.connect(path, timeout=30, isolation_level=None)
        connection.execute("PRAGMA journal_mode=DELETE")  # also right on network folders, where WAL is not
        connection.execute("PRAGMA synchronous=EXTRA")  # FULL and the folder entry of the journal, once deleted
        bring_up_to_date(connection, path)
        if path.stat().st_ino not in _looked_over:
            _look_over(connection, path)
            _looked_over.add(path.stat().st_ino)
        yield Catalogue(connection, path)
    except sqlite3.DatabaseError as error:
        raise _for_people(path, error) from error
    finally:
        if connection is not None:
            connection.close()


#: Catalogues (by inode) that this process has found sound: the desk opens its one many times.
_looked_over: set[int] = set()


def _look_over(connection: sqlite3.Connection, path: Path) -> None:
    said = connection.execute("PRAGMA quick_check(1)").fetchone()[0]
    if said != "ok":
        raise CatalogueLost(path.parent, f"cannot be used ({said})")


def _for_people(path: Path, error: sqlite3.DatabaseError) -> CollectionUnusable:
    said = str(error)
    match getattr(error, "sqlite_errorcode", 0) & 0xFF:  # the primary code (sqlite.org/rescode.html)
        case sqlite3.SQLITE_CORRUPT | sqlite3.SQLITE_NOTADB:
            return CatalogueLost(path.parent, f"cannot be used ({said})")
        case sqlite3.SQLITE_FULL:
            return DiskFull(f"The disk is full: could not write {path}. Free some space and run again.")
        case sqlite3.SQLITE_CANTOPEN if not path.parent.is_dir():
            return CollectionUnusable(f"{path.parent} is not there. Connect the disk or the network folder it lies on.")
        case sqlite3.SQLITE_READONLY | sqlite3.SQLITE_CANTOPEN | sqlite3.SQLITE_PERM:
            return CollectionUnusable(f"Not allowed to write {path}. Choose a folder you may write to.")
        case sqlite3.SQLITE_BUSY | sqlite3.SQLITE_LOCKED:
            return CollectionUnusable(f"{path} is being written by another program. Wait a moment, then run again.")
        case _:
            return CollectionUnusable(
                f"{path} cannot be used: {said}. Check the disk or the network folder it lies on, then run the same "
                "command again; what is already recorded is safe."
            )
