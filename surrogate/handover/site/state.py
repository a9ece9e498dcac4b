"""What a site was made from last time, so that only what changed is made again.

One SQLite file in the site's folder. It holds what may be shown of every item, and digests of what each page and
picture was made from: nothing that is not on the site too. A visitor never needs it.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path

from surrogate.collection.files import disk_errors
from surrogate.collection.leaving import SITE
from surrogate.errors import DiskFull, WrongUse

FILE_NAME = SITE

#: Changes with the layout of the tables; a site of another layout is made anew.
_LAYOUT = "1"

_TABLES = """
CREATE TABLE about (name TEXT PRIMARY KEY, value TEXT NOT NULL) WITHOUT ROWID;
CREATE TABLE items (reference TEXT PRIMARY KEY, source TEXT NOT NULL, described TEXT NOT NULL, record TEXT NOT NULL)
    WITHOUT ROWID;
CREATE TABLE pages (path TEXT PRIMARY KEY, made_from TEXT NOT NULL) WITHOUT ROWID;
CREATE TABLE pictures (key TEXT PRIMARY KEY, tiles TEXT NOT NULL, described TEXT NOT NULL) WITHOUT ROWID;
"""


class State:
    """The open state of one site. Use :func:`opened`."""

    def __init__(self, connection: sqlite3.Connection) -> None:
        self._db = connection

    def keep(self) -> None:
        """Make everything noted so far outlast an interruption."""
        self._db.commit()

    @property
    def checked(self) -> str:
        """Digest of the secrets that the whole site was last checked against; empty when it was not."""
        row = self._db.execute("SELECT value FROM about WHERE name = 'checked'").fetchone()
        return "" if row is None else str(row[0])

    @checked.setter
    def checked(self, digest: str) -> None:
        self._db.execute("INSERT OR REPLACE INTO about VALUES ('checked', ?)", (digest,))

    def sources(self) -> dict[str, str]:
        """What each item was made from, by reference."""
        return dict(self._db.execute("SELECT reference, source FROM items"))

    def put_item(self, reference: str, source: str, described: str, record: str) -> None:
        """Keep what may be shown of an item; ``described`` is the digest of what its pictures say of it."""
        self._db.execute("INSERT OR REPLACE INTO items VALUES (?, ?, ?, ?)", (reference, source, described, record))

    def drop_items(self, references: Iterable[str]) -> None:
        """Forget items."""
        self._db.executemany("DELETE FROM items WHERE reference = ?", ((each,) for each in references))

    def items(self) -> Iterator[tuple[str, str]]:
        """(described, record) of every item, sorted by reference."""
        yield from self._db.execute("SELECT described, record FROM items ORDER BY reference")

    def item(self, reference: str) -> str:
        """The record of one item."""
        row = self._db.execute("SELECT record FROM items WHERE reference = ?", (reference,)).fetchone()
        return str(row[0])

    def pages(self) -> dict[str, str]:
        """What each page was made from, by its path."""
        return dict(self._db.execute("SELECT path, made_from FROM pages"))

    def put_page(self, path: str, made_from: str) -> None:
        """Note that a page was written."""
        self._db.execute("INSERT OR REPLACE INTO pages VALUES (?, ?)", (path, made_from))

    def drop_pages(self, paths: Iterable[str]) -> None:
        """Forget pages."""
        self._db.executemany("DELETE FROM pages WHERE path = ?", ((path,) for path in paths))

    def pictures(self) -> dict[str, tuple[str, str]]:
        """What each picture's tiles were cut from, and what it was described by, by its key."""
        found = self._db.execute("SELECT key, tiles, described FROM pictures")
        return {key: (tiles, described) for key, tiles, described in found}

    def put_picture(self, key: str, tiles: str, described: str) -> None:
        """Note that a picture was made."""
        self._db.execute("INSERT OR REPLACE INTO pictures VALUES (?, ?, ?)", (key, tiles, described))

    def drop_pictures(self, keys: Iterable[str]) -> None:
        """Forget pictures."""
        self._db.executemany("DELETE FROM pictures WHERE key = ?", ((key,) for key in keys))


def _for_people(site: Path, error: sqlite3.Error) -> DiskFull | WrongUse:
    if getattr(error, "sqlite_errorcode", None) == sqlite3.SQLITE_FULL:
        return DiskFull(f"There is no room left on the disk that holds {site}. Make room and run the command again.")
    return WrongUse(f"{site / FILE_NAME} is damaged. Remove the site's folder and publish again.")


def _tables(connection: sqlite3.Connection) -> None:
    connection.execute("PRAGMA secure_delete = ON")  # what was taken down leaves no trace in the file
    connection.execute("PRAGMA synchronous = NORMAL")  # a lost note costs a page made twice
    if connection.execute("SELECT 1 FROM sqlite_master").fetchone() is None:
        connection.executescript(_TABLES)
        connection.execute("INSERT INTO about VALUES ('layout', ?)", (_LAYOUT,))
    layout = connection.execute("SELECT value FROM about WHERE name = 'layout'").fetchone()
    if layout != (_LAYOUT,):
        raise sqlite3.DatabaseError("another layout")


@contextmanager
def opened(site: Path) -> Iterator[State]:
    """Open the state of a site, a new or empty folder included; it is kept however the block ends.

    Raises :class:`WrongUse` when the folder holds something that was not published by us or its state is damaged,
    and :class:`surrogate.errors.DiskFull`.
    """
    file = site / FILE_NAME
    if not file.is_file() and site.exists() and (not site.is_dir() or any(site.iterdir())):
        raise WrongUse(f"{site} is not empty and not a site published before. Choose a new folder.")
    with disk_errors(site):
        site.mkdir(parents=True, exist_ok=True)
    connection = None
    try:
        connection = sqlite3.connect(file, timeout=30)
        _tables(connection)
        try:
            yield State(connection)
        finally:
            connection.commit()
    except sqlite3.Error as error:
        raise _for_people(site, error) from error
    finally:
        if connection is not None:
            connection.close()
