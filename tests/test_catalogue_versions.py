"""Older catalogues open, after a backup; newer ones are refused; a power cut in between harms neither."""

from __future__ import annotations

import sqlite3
from pathlib import Path

import pytest

from surrogate import exporting
from surrogate.auditing import audit
from surrogate.cli import main
from surrogate.collection import migrate, plain, settings
from surrogate.collection.catalogue import open_catalogue
from surrogate.collection.files import sha256_of
from surrogate.collection.inventory import read_checksums
from surrogate.collection.migrate import backup_of
from surrogate.collection.tables import TABLES_VERSION

SAMPLES = Path(__file__).parent.parent / "sample_scans"

#: The tables as version 1 made them, letter for letter.
VERSION_1 = """
CREATE TABLE numbers (
    reference TEXT PRIMARY KEY, name TEXT NOT NULL, year INTEGER, accession INTEGER, letter TEXT, item INTEGER);
CREATE INDEX numbers_by_name ON numbers (name);
CREATE INDEX numbers_by_series ON numbers (year, accession, letter, item);
CREATE TABLE originals (reference TEXT PRIMARY KEY, kind TEXT NOT NULL, kind_confidence REAL, kind_from TEXT NOT NULL);
CREATE TABLE masters (
    reference TEXT NOT NULL, side TEXT NOT NULL, sha256 TEXT NOT NULL UNIQUE, complete INTEGER NOT NULL,
    record TEXT NOT NULL, PRIMARY KEY (reference, side));
CREATE TABLE conditions (
    reference TEXT NOT NULL, side TEXT NOT NULL, measured_at TEXT NOT NULL, software TEXT NOT NULL,
    master_sha256 TEXT NOT NULL, record TEXT NOT NULL);
CREATE INDEX conditions_by_original ON conditions (reference, side);
CREATE TABLE copies (
    file TEXT PRIMARY KEY, reference TEXT NOT NULL, side TEXT NOT NULL, made_as TEXT NOT NULL,
    described_as TEXT NOT NULL, record TEXT NOT NULL);
CREATE INDEX copies_by_original ON copies (reference, side);
CREATE TABLE captions (
    reference TEXT NOT NULL, side TEXT NOT NULL, record TEXT NOT NULL, cells TEXT NOT NULL, in_sheet TEXT NOT NULL,
    PRIMARY KEY (reference, side));
CREATE TABLE sources (
    path TEXT PRIMARY KEY, size INTEGER NOT NULL, mtime_ns INTEGER NOT NULL, reference TEXT, side TEXT);
CREATE TABLE set_aside (file TEXT PRIMARY KEY, reason TEXT NOT NULL, advice TEXT NOT NULL);
CREATE TABLE notes (reference TEXT NOT NULL, side TEXT NOT NULL, note TEXT NOT NULL);
CREATE INDEX notes_by_original ON notes (reference, side);
CREATE TABLE outlines (
    reference TEXT NOT NULL, side TEXT NOT NULL, part INTEGER NOT NULL, corners TEXT, confidence REAL,
    note TEXT NOT NULL, PRIMARY KEY (reference, side, part));
CREATE TABLE signatures (reference TEXT PRIMARY KEY, hashes TEXT NOT NULL);
CREATE TABLE same_pictures (one TEXT NOT NULL, other TEXT NOT NULL, PRIMARY KEY (one, other));
CREATE TABLE facts (name TEXT PRIMARY KEY, value TEXT NOT NULL);
CREATE TABLE events (at TEXT NOT NULL, reference TEXT, what TEXT NOT NULL, detail TEXT NOT NULL);
CREATE INDEX events_by_original ON events (reference, what);
"""


@pytest.fixture
def old(own_demo: Path) -> Path:
    """A collection as version 1 left it: its tables, no list of checksums, no plain tables."""
    newer = own_demo / "newer.sqlite"
    (own_demo / "catalogue.sqlite").rename(newer)
    connection = sqlite3.connect(own_demo / "catalogue.sqlite")
    connection.executescript(VERSION_1)
    connection.execute("ATTACH ? AS newer", (str(newer),))
    for (name,) in connection.execute("SELECT name FROM sqlite_schema WHERE type = 'table'").fetchall():
        columns = ", ".join(row[1] for row in connection.execute(f"PRAGMA main.table_info({name})"))
        connection.execute(f"INSERT INTO {name} SELECT {columns} FROM newer.{name}")  # noqa: S608
    connection.execute("PRAGMA user_version = 1")
    connection.commit()
    connection.close()
    newer.unlink()
    (own_demo / "checksums.sha256").unlink()
    for table in (own_demo / "catalogue").iterdir():
        table.unlink()
    return own_demo


def version(path: Path) -> int:
    connection = sqlite3.connect(path)
    found = connection.execute("PRAGMA user_version").fetchone()[0]
    connection.close()
    return int(found)


def test_an_older_collection_opens_and_the_old_catalogue_is_kept(old: Path) -> None:
    catalogue = old / "catalogue.sqlite"
    before, manifest = catalogue.read_bytes(), (old / "manifest.json").read_bytes()
    assert audit(old).findings == []  # recipes and descriptions are only known by name yet
    assert version(catalogue) == TABLES_VERSION
    assert backup_of(catalogue, 1).read_bytes() == before
    with open_catalogue(old) as opened:
        exporting.export(old, settings.read(old), opened, [])
    assert (old / "manifest.json").read_bytes() == manifest
    recipe = next(file for file in read_checksums(old) if file.startswith("recipes/"))
    (old / recipe).write_bytes(b"{}")
    assert [finding.file for finding in audit(old).findings] == [recipe]


def test_a_power_cut_while_it_is_brought_up_to_date_leaves_the_old_one(
    old: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    content = (old / "catalogue.sqlite").read_bytes()
    run = migrate._run

    def cut(connection: sqlite3.Connection, statements: str) -> None:
        run(connection, statements)
        raise KeyboardInterrupt

    monkeypatch.setattr(migrate, "_run", cut)
    with pytest.raises(KeyboardInterrupt):
        audit(old)
    monkeypatch.undo()
    assert version(old / "catalogue.sqlite") == 1
    assert (old / "catalogue.sqlite").read_bytes() == content
    assert audit(old).findings == []


def test_a_newer_one_is_refused_in_one_sentence_and_left_alone(
    own_demo: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    connection = sqlite3.connect(own_demo / "catalogue.sqlite")
    connection.execute(f"PRAGMA user_version = {TABLES_VERSION + 1}")
    connection.close()
    before = {path: sha256_of(path) for path in own_demo.rglob("*") if path.is_file() and path.name != ".held"}
    for command in (["audit"], ["rebuild"], ["process", str(SAMPLES), "--collection"]):
        assert main([*command, str(own_demo)]) == 2
        told = capsys.readouterr()
        assert "newer software" in told.err
        assert told.err.count("\n") == 1
    assert {p: sha256_of(p) for p in own_demo.rglob("*") if p.is_file() and p.name != ".held"} == before


def test_a_catalogue_of_version_0_is_an_empty_one(tmp_path: Path) -> None:
    sqlite3.connect(tmp_path / "catalogue.sqlite").close()
    with open_catalogue(tmp_path) as catalogue:
        assert catalogue.originals() == []
    assert version(tmp_path / "catalogue.sqlite") == TABLES_VERSION


def test_a_plain_table_of_an_earlier_version_is_read(tmp_path: Path) -> None:
    (tmp_path / plain.FOLDER).mkdir()
    file = tmp_path / plain.NOTES.file
    file.write_text("reference,side,note\n2026.001.0001,recto,turned\n")
    assert list(plain.read(tmp_path, plain.NOTES)) == [("2026.001.0001", "recto", "turned", None)]
    file.write_text("reference,side\n2026.001.0001,recto\n")
    with pytest.raises(plain.Unreadable, match="first line"):
        list(plain.read(tmp_path, plain.NOTES))
