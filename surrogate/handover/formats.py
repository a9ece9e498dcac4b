"""The formats of a collection's files, with the identifiers by which archives know them."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import PurePath


@dataclass(frozen=True)
class Format:
    """One file format. ``pronom`` is its identifier in the PRONOM registry, empty where it has none."""

    name: str
    version: str
    media_type: str
    pronom: str
    what_for: str


#: By extension. PRONOM identifiers from its signature release 109; media types from the IANA registry.
FORMATS = {
    "tif": Format("Tagged Image File Format", "6.0", "image/tiff", "fmt/353", "masters, prints"),
    "tiff": Format("Tagged Image File Format", "6.0", "image/tiff", "fmt/353", "masters"),
    "jpg": Format("JPEG File Interchange Format", "1.01", "image/jpeg", "fmt/43", "copies, masters"),
    "jpeg": Format("JPEG File Interchange Format", "1.01", "image/jpeg", "fmt/43", "masters"),
    "png": Format("Portable Network Graphics", "1.2", "image/png", "fmt/13", "pictures of condition, masters"),
    "jp2": Format("JP2 (JPEG 2000 part 1)", "", "image/jp2", "x-fmt/392", "masters"),
    "json": Format("JSON Data Interchange Format", "", "application/json", "fmt/817", "manifest, recipes, condition"),
    "xml": Format("Extensible Markup Language", "1.0", "application/xml", "fmt/101", "finding aid, history, texts"),
    "xmp": Format("Extensible Markup Language (XMP)", "1.0", "application/rdf+xml", "fmt/101", "descriptions"),
    "csv": Format("Comma Separated Values", "", "text/csv", "x-fmt/18", "captions, tables"),
    "txt": Format("Plain Text File", "", "text/plain", "x-fmt/111", "notes, checksums"),
    "toml": Format("Plain Text File (TOML)", "", "application/toml", "x-fmt/111", "settings"),
    "html": Format("Hypertext Markup Language", "5", "text/html", "fmt/471", "report"),
    "sqlite": Format("SQLite Database File Format", "3", "application/vnd.sqlite3", "fmt/729", "record and history"),
    "pdf": Format("Portable Document Format", "", "application/pdf", "", "prints, labels, care sheet"),
    "ics": Format("iCalendar", "2.0", "text/calendar", "", "inspection dates"),
}

_OTHER = Format("unknown", "", "application/octet-stream", "", "other")


def format_of(file: str) -> Format:
    """The format that a file's extension stands for."""
    return FORMATS.get(PurePath(file).suffix.lower().removeprefix("."), _OTHER)
