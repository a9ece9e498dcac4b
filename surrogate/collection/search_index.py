"""What originals are found by: a second SQLite file beside the catalogue, made from it and thrown away at will.

It holds one card for each original, its words in a full-text index (SQLite FTS5, without case and accents), and how
often each name and place is used. It is brought up to date by comparing it with the catalogue, so that whoever changed
that (the desk, ``process``, a sheet) need not know of it.
"""

from __future__ import annotations

import json
import sqlite3
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import closing, contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from surrogate.collection import paths
from surrogate.collection.search_records import Card, Entry, Query, Raw, State
from surrogate.errors import CollectionUnusable

#: Hidden, so that it never travels in a bag or a backup of the plain files.
FILE_NAME = ".search.sqlite"

#: Version of the tables here; any other is thrown away and made anew.
VERSION = 1

#: Originals entered in one transaction: some 50 ms of work, during which others can read.
AT_ONCE = 500

#: Longest wait for the first originals of a collection that has no index yet.
LONGEST_WAIT_S = 5.0

#: The columns of the full-text index.
COLUMNS = ("reference", "title", "caption", "people", "place", "inscription", "other")

_TABLES = f"""
CREATE TABLE cards (
    id INTEGER PRIMARY KEY, reference TEXT NOT NULL UNIQUE, name TEXT NOT NULL, side TEXT NOT NULL, kind TEXT NOT NULL,
    title TEXT NOT NULL, captioned INTEGER NOT NULL, approved INTEGER NOT NULL, unknown INTEGER NOT NULL,
    first_year INTEGER, last_year INTEGER, worst INTEGER NOT NULL, urgency REAL NOT NULL, used TEXT NOT NULL);
CREATE INDEX cards_by_urgency ON cards (urgency DESC, reference);
CREATE TABLE seen (
    reference TEXT NOT NULL, side TEXT NOT NULL, cells TEXT NOT NULL, PRIMARY KEY (reference, side)) WITHOUT ROWID;
CREATE TABLE used (what TEXT NOT NULL, word TEXT NOT NULL, times INTEGER NOT NULL, PRIMARY KEY (what, word))
    WITHOUT ROWID;
CREATE TABLE facts (name TEXT PRIMARY KEY, value INTEGER NOT NULL);
CREATE VIRTUAL TABLE words USING fts5(
    {", ".join(COLUMNS)}, detail=column, prefix='1 2 3', tokenize='unicode61 remove_diacritics 2');
PRAGMA user_version={VERSION};
"""

_CHANGED = """
INSERT OR IGNORE INTO todo
SELECT o.reference FROM record.originals o LEFT JOIN cards c USING (reference)
    WHERE c.reference IS NULL OR c.kind != o.kind
UNION SELECT k.reference FROM record.captions k JOIN record.originals USING (reference)
    LEFT JOIN seen s ON s.reference = k.reference AND s.side = k.side WHERE s.cells IS NOT k.cells
UNION SELECT s.reference FROM seen s LEFT JOIN record.captions k ON s.reference = k.reference AND s.side = k.side
    WHERE k.cells IS NULL
UNION SELECT c.reference FROM cards c LEFT JOIN record.originals o USING (reference) WHERE o.reference IS NULL
UNION SELECT n.reference FROM record.conditions n WHERE n.rowid > :condition
ORDER BY 1
"""


@dataclass
class SearchIndex:
    """The index of one collection; may be asked from several threads and processes.

    ``describe`` makes the entry of an original from what the catalogue holds about it.
    """

    folder: Path
    describe: Callable[[Raw], Entry]
    _busy: threading.Lock = field(default_factory=threading.Lock)
    _kept: threading.local = field(default_factory=threading.local)
    _stamp: tuple[int, int] | None = None

    # bringing up to date

    def wait(self, seconds: float, enough: int = 0) -> None:
        """Start to catch up where the catalogue has changed, and wait for the end at most so long; longer, up to
        :data:`LONGEST_WAIT_S`, while fewer than ``enough`` originals are entered (when a collection is opened first).
        """
        if self._stamp == self._catalogue_stamp():
            return
        at_work = threading.Thread(target=self.catch_up, daemon=True)
        at_work.start()
        at_work.join(seconds)
        end = time.monotonic() + LONGEST_WAIT_S
        while at_work.is_alive() and time.monotonic() < end and self.state().entered < enough:
            at_work.join(seconds / 4)

    def catch_up(self) -> None:
        """Enter everything that changed in the catalogue since the index was last brought up to date."""
        with self._busy:
            stamp = self._catalogue_stamp()
            if stamp == self._stamp:
                return
            with self._open() as db:
                kept = db.execute("SELECT value FROM facts WHERE name = 'catalogue'").fetchone()
                if kept is not None and kept[0] == str(stamp):  # an earlier desk saw it so: nothing to compare
                    self._stamp = stamp
                    return
                db.execute("CREATE TEMP TABLE todo (reference TEXT PRIMARY KEY) WITHOUT ROWID")
                known = db.execute("SELECT value FROM facts WHERE name = 'condition'").fetchone()
                newest = db.execute("SELECT COALESCE(MAX(rowid), 0) FROM record.conditions").fetchone()[0]
                db.execute(_CHANGED, {"condition": known[0] if known else 0})
                while self._enter_some(db):
                    pass
                db.execute("INSERT OR REPLACE INTO facts VALUES ('condition', ?)", (newest,))
                db.execute("INSERT OR REPLACE INTO facts VALUES ('catalogue', ?)", (str(stamp),))
            self._stamp = stamp

    def state(self) -> State:
        """How far the index is."""
        with self._open() as db:
            entered = db.execute("SELECT COUNT(*) FROM cards").fetchone()[0]
            return State(entered, db.execute("SELECT COUNT(*) FROM record.originals").fetchone()[0])

    def _catalogue_stamp(self) -> tuple[int, int]:
        found = (self.folder / paths.CATALOGUE).stat()
        return (found.st_mtime_ns, found.st_size)

    def _enter_some(self, db: sqlite3.Connection) -> bool:
        """Enter the next originals of the list of what is to be done; False when there are none."""
        some = [row[0] for row in db.execute("SELECT reference FROM todo ORDER BY reference LIMIT ?", (AT_ONCE,))]
        if not some:
            return False
        db.execute("BEGIN IMMEDIATE")
        rows = _raw(db, some)
        for reference in some:
            _take_out(db, reference)
            raw = rows.get(reference)
            if raw is not None:
                _put_in(db, raw, self.describe(raw))
        db.execute("COMMIT")
        db.executemany("DELETE FROM todo WHERE reference = ?", [(reference,) for reference in some])
        return True

    # asking

    def find(self, query: Query, start: int, count: int) -> tuple[list[Card], int]:
        """(cards from ``start`` on, how many there are in all)."""
        tables, conditions, values = _where(query)
        order = "urgency DESC, cards.reference" if query.first == "urgent" else "cards.reference"
        with self._asked() as db:
            total = db.execute(f"SELECT COUNT(*) FROM {tables} WHERE {conditions}", values).fetchone()[0]  # noqa: S608
            rows = db.execute(
                f"SELECT {_CARD} FROM {tables} WHERE {conditions} ORDER BY {order} LIMIT ? OFFSET ?",  # noqa: S608
                [*values, count, start],
            )
            return [_card(row) for row in rows], total

    def beside(self, query: Query, reference: str) -> tuple[Card | None, Card | None]:
        """The cards before and after an original in a list, also where the list no longer shows it."""
        tables, conditions, values = _where(query)
        with self._asked() as db:
            found = db.execute("SELECT urgency FROM cards WHERE reference = ?", (reference,)).fetchone()
            if query.first == "urgent" and found is not None:
                place = [found[0], found[0], reference]
                before = "(urgency > ? OR urgency = ? AND cards.reference < ?)", "urgency ASC, cards.reference DESC"
                after = "(urgency < ? OR urgency = ? AND cards.reference > ?)", "urgency DESC, cards.reference ASC"
            else:
                place = [reference]
                before, after = (
                    ("cards.reference < ?", "cards.reference DESC"),
                    ("cards.reference > ?", "cards.reference"),
                )
            cards = [
                db.execute(
                    f"SELECT {_CARD} FROM {tables} WHERE {conditions} AND {beyond} ORDER BY {order} LIMIT 1",  # noqa: S608
                    [*values, *place],
                ).fetchone()
                for beyond, order in (before, after)
            ]
        return tuple(None if row is None else _card(row) for row in cards)  # type: ignore[return-value]

    def used(self, what: str, beginning: str, most: int) -> list[str]:
        """Names ("people") or places already used, the most frequent first, that have a word beginning so."""
        with self._asked() as db:
            rows = db.execute(
                "SELECT word FROM used WHERE what = ? AND times > 0 AND (? = '' OR word LIKE ? ESCAPE '\\' "
                "OR word LIKE ? ESCAPE '\\') ORDER BY times DESC, word COLLATE NOCASE LIMIT ?",
                (what, beginning, f"{_literal(beginning)}%", f"% {_literal(beginning)}%", most),
            )
            return [row[0] for row in rows]

    @contextmanager
    def _asked(self) -> Iterator[sqlite3.Connection]:
        """The index alone; each thread keeps it open, until the file is another."""
        path = self.folder / FILE_NAME
        with _explained(path):
            file = path.stat().st_ino if path.is_file() else None
            if file is None or getattr(self._kept, "file", None) != file:
                self._kept.db = _connect(path)
                self._kept.file = path.stat().st_ino
            yield self._kept.db

    @contextmanager
    def _open(self) -> Iterator[sqlite3.Connection]:
        """The index with the catalogue beside it as ``record``, which is only read."""
        path = self.folder / FILE_NAME
        with _explained(path), closing(_connect(path)) as db:
            db.execute("ATTACH ? AS record", (f"{(self.folder / paths.CATALOGUE).resolve().as_uri()}?mode=rw",))
            yield db


@contextmanager
def _explained(path: Path) -> Iterator[None]:
    """SQLite's errors as sentences; a damaged index is thrown away."""
    try:
        yield
    except sqlite3.OperationalError as error:
        raise CollectionUnusable(f"{path} cannot be used just now: {error}. Try again.") from error
    except sqlite3.DatabaseError as error:
        path.unlink(missing_ok=True)
        raise CollectionUnusable(f"{path} was damaged and is made again. Load the page once more.") from error


_CARD = "cards.reference, name, side, kind, cards.title, captioned, approved, unknown"


def _card(row: Sequence[Any]) -> Card:
    return Card(row[0], row[1], row[2], row[3], row[4], bool(row[5]), bool(row[6]), bool(row[7]))


def _connect(path: Path) -> sqlite3.Connection:
    db = sqlite3.connect(path, timeout=30, isolation_level=None, uri=True, check_same_thread=False)
    try:
        db.execute("PRAGMA synchronous=OFF")  # what a power cut takes is made again
        if db.execute("PRAGMA user_version").fetchone()[0] != VERSION:
            _make_anew(db)
    except BaseException:
        db.close()
        raise
    return db


def _make_anew(db: sqlite3.Connection) -> None:
    db.execute("BEGIN IMMEDIATE")
    if db.execute("PRAGMA user_version").fetchone()[0] == VERSION:  # another thread was quicker
        db.execute("ROLLBACK")
        return
    for (table,) in db.execute("SELECT name FROM sqlite_master WHERE type = 'table' AND sql NOT NULL").fetchall():
        if not table.startswith(("words_", "sqlite_")):
            db.execute(f'DROP TABLE IF EXISTS "{table}"')
    for statement in _TABLES.split(";"):
        if statement.strip():
            db.execute(statement)
    db.execute("COMMIT")


def _raw(db: sqlite3.Connection, references: Sequence[str]) -> dict[str, Raw]:
    """What the catalogue holds about these originals, in five questions; without those that it no longer has."""
    db.execute("CREATE TEMP TABLE IF NOT EXISTS some (reference TEXT PRIMARY KEY) WITHOUT ROWID")
    db.execute("DELETE FROM some")
    db.executemany("INSERT INTO some VALUES (?)", [(reference,) for reference in references])

    def by_reference(columns: str, table: str, order: str) -> dict[str, list[Sequence[Any]]]:
        found: dict[str, list[Sequence[Any]]] = {}
        for row in db.execute(
            f"SELECT t.reference, {columns} FROM some CROSS JOIN record.{table} t USING (reference) {order}"  # noqa: S608
        ):
            found.setdefault(row[0], []).append(row[1:])
        return found

    kinds = by_reference("t.kind", "originals", "")
    sides = by_reference("t.side", "masters", "ORDER BY t.side")
    captions = by_reference("t.side, t.cells", "captions", "ORDER BY t.side")
    conditions = by_reference("t.side, t.record", "conditions", "ORDER BY t.side, t.rowid")
    same: dict[str, int] = dict(
        db.execute("SELECT one, COUNT(*) FROM some CROSS JOIN record.same_pictures ON one = reference GROUP BY one")
    )
    return {
        reference: Raw(
            reference=reference,
            kind=kinds[reference][0][0],
            sides=tuple(row[0] for row in sides.get(reference, ())),
            captions=tuple((side, json.loads(cells)) for side, cells in captions.get(reference, ())),
            conditions=tuple(json.loads(text) for text in _newest(conditions.get(reference, ())).values()),
            same_pictures=same.get(reference, 0),
        )
        for reference in references
        if reference in kinds
    }


def _newest(rows: Sequence[Sequence[Any]]) -> dict[str, str]:
    """The last record of each side; ``rows`` hold side and record, the oldest first."""
    return {row[0]: row[1] for row in rows}


def _take_out(db: sqlite3.Connection, reference: str) -> None:
    row = db.execute("SELECT id, used FROM cards WHERE reference = ?", (reference,)).fetchone()
    db.execute("DELETE FROM seen WHERE reference = ?", (reference,))
    if row is None:
        return
    db.execute("DELETE FROM words WHERE rowid = ?", (row[0],))
    db.execute("DELETE FROM cards WHERE id = ?", (row[0],))
    db.executemany("UPDATE used SET times = times - 1 WHERE what = ? AND word = ?", json.loads(row[1]))


def _put_in(db: sqlite3.Connection, raw: Raw, entry: Entry) -> None:
    used = [*(("people", word) for word in entry.people), *(("place", word) for word in entry.places)]
    first, last = entry.years or (None, None)
    card = db.execute(
        "INSERT INTO cards VALUES (NULL, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        (
            *(raw.reference, entry.name, entry.side, raw.kind, entry.title),
            *(int(entry.captioned), int(entry.approved), int(entry.unknown)),
            *(first, last, entry.worst, entry.urgency, json.dumps(used)),
        ),
    ).lastrowid
    db.execute(
        f"INSERT INTO words (rowid, {', '.join(COLUMNS)}) VALUES (?{', ?' * len(COLUMNS)})",  # noqa: S608
        (card, *entry.texts),
    )
    db.executemany("INSERT INTO used VALUES (?, ?, 1) ON CONFLICT (what, word) DO UPDATE SET times = times + 1", used)
    db.executemany(
        "INSERT INTO seen SELECT reference, side, cells FROM record.captions WHERE reference = ? AND side = ?",
        [(raw.reference, side) for side, _ in raw.captions],
    )


def _where(query: Query) -> tuple[str, str, list[Any]]:
    """(tables, conditions, values) of a question to the index."""
    terms = [
        *(f'"{word}"*' for word in query.words),
        *(f'people : "{word}"*' for word in query.people),
        *(f'place : "{word}"*' for word in query.places),
    ]
    tables, conditions, values = "cards", ["1"], list[Any]()
    if terms:
        # the full-text table leads: its rows are few
        tables = "words CROSS JOIN cards ON cards.id = words.rowid"
        conditions.append("words MATCH ?")
        values.append(" AND ".join(terms))
    first, last = query.years
    if first is not None:
        conditions.append("last_year >= ?")
        values.append(first)
    if last is not None:
        conditions.append("first_year <= ?")
        values.append(last)
    if query.kind:
        conditions.append("kind = ?")
        values.append(query.kind)
    if query.worst:
        conditions.append("worst >= ?")
        values.append(query.worst)
    conditions += ["NOT captioned"] * query.lacking + ["NOT approved"] * query.unapproved + ["unknown"] * query.unknown
    if query.among is not None:
        conditions.append("cards.reference IN (SELECT value FROM json_each(?))")
        values.append(json.dumps(query.among))
    return tables, " AND ".join(conditions), values


def _literal(text: str) -> str:
    return text.replace("\\", "\\\\").replace("%", "\\%").replace("_", "\\_")
