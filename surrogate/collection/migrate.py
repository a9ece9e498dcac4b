"""A catalogue of an older version becomes one of today; the old file is kept beside it."""

from __future__ import annotations

import shutil
import sqlite3
from pathlib import Path

from surrogate.collection.files import disk_errors, publish, unfinished_name
from surrogate.collection.tables import STEPS, TABLES, TABLES_VERSION
from surrogate.errors import CollectionUnusable


def bring_up_to_date(connection: sqlite3.Connection, path: Path) -> None:
    """Make the tables of an empty catalogue, or bring those of an older version up to date after a backup.

    All in one transaction: a catalogue is of one version or of the next, whenever the power fails. Raises
    :class:`CollectionUnusable` for a catalogue of newer software.
    """
    found = _version(connection)
    if found == TABLES_VERSION:
        return
    if found > TABLES_VERSION:
        raise CollectionUnusable(
            f"{path} was written by newer software (tables {found}, known here {TABLES_VERSION}). "
            "Update surrogate and try again."
        )
    connection.execute("BEGIN IMMEDIATE")
    try:
        version = _version(connection)  # another command may have been first
        if version == 0:
            _run(connection, TABLES)
        else:
            _back_up(path, version)
            for step in range(version, TABLES_VERSION):
                _run(connection, STEPS[step])
        connection.execute(f"PRAGMA user_version={TABLES_VERSION}")
        connection.execute("COMMIT")
    except BaseException:
        if connection.in_transaction:  # SQLite ends it itself when the disk is full
            connection.execute("ROLLBACK")
        raise


def backup_of(path: Path, version: int) -> Path:
    """Where the catalogue lies as it was before it was brought up to date."""
    return path.with_name(f"{path.stem}-of-version-{version}{path.suffix}")


def _version(connection: sqlite3.Connection) -> int:
    return int(connection.execute("PRAGMA user_version").fetchone()[0])


def _run(connection: sqlite3.Connection, statements: str) -> None:
    """Run statements inside the open transaction, which ``executescript`` would end."""
    for statement in statements.split(";"):
        if statement.strip():
            connection.execute(statement)


def _back_up(path: Path, version: int) -> None:
    """Copy the file, which nobody can write while the transaction is open and in which nothing was changed yet."""
    target = backup_of(path, version)
    temporary = unfinished_name(target)
    with disk_errors(target):
        try:
            shutil.copyfile(path, temporary)
            publish(temporary, target)
        finally:
            temporary.unlink(missing_ok=True)
