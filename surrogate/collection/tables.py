"""The tables of the catalogue, and how those of an older version become those of today.

Records are kept as the JSON of their types, with the columns beside them that the house searches by. A number once
given stays in ``numbers`` for ever, so that it is never given again.
"""

from __future__ import annotations

#: Version of the tables. A newer file is refused; an older one is brought up to date after a backup.
TABLES_VERSION = 3

#: Tables added by version 2: the checksum of every file that is made here and is no master.
_FILES = """
CREATE TABLE files (
    file TEXT PRIMARY KEY, reference TEXT NOT NULL, sha256 TEXT NOT NULL, size INTEGER NOT NULL);
CREATE INDEX files_by_original ON files (reference);
"""

#: Changed by version 3: two sides may be pages of one file; what was said when a scan arrived is told from the rest.
_PAGES_AND_NOTES = """
ALTER TABLE masters RENAME TO masters_before;
CREATE TABLE masters (
    reference TEXT NOT NULL, side TEXT NOT NULL, sha256 TEXT NOT NULL, page INTEGER NOT NULL,
    complete INTEGER NOT NULL, record TEXT NOT NULL, PRIMARY KEY (reference, side), UNIQUE (sha256, page));
INSERT INTO masters SELECT reference, side, sha256, 0, complete, record FROM masters_before;
DROP TABLE masters_before;
ALTER TABLE notes ADD COLUMN at_arrival INTEGER NOT NULL DEFAULT 0;
"""

TABLES = (
    """
CREATE TABLE numbers (
    reference TEXT PRIMARY KEY, name TEXT NOT NULL, year INTEGER, accession INTEGER, letter TEXT, item INTEGER);
CREATE INDEX numbers_by_name ON numbers (name);
CREATE INDEX numbers_by_series ON numbers (year, accession, letter, item);
CREATE TABLE originals (reference TEXT PRIMARY KEY, kind TEXT NOT NULL, kind_confidence REAL, kind_from TEXT NOT NULL);
CREATE TABLE masters (
    reference TEXT NOT NULL, side TEXT NOT NULL, sha256 TEXT NOT NULL, page INTEGER NOT NULL,
    complete INTEGER NOT NULL, record TEXT NOT NULL, PRIMARY KEY (reference, side), UNIQUE (sha256, page));
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
CREATE TABLE notes (
    reference TEXT NOT NULL, side TEXT NOT NULL, note TEXT NOT NULL, at_arrival INTEGER NOT NULL DEFAULT 0);
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
    + _FILES
)

#: What turns the tables of a version into those of the next.
STEPS = {1: _FILES, 2: _PAGES_AND_NOTES}
