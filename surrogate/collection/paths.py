"""Where everything lies in the collection folder; all paths relative, with forward slashes."""

from __future__ import annotations

from surrogate.collection.numbering import group_of, name_of
from surrogate.records import Side, Use

CATALOGUE = "catalogue.sqlite"
CAPTIONS = "captions.csv"
REPORT = "report.html"
MANIFEST = "manifest.json"
LOCK = ".held"
#: Scans on their way in, before they have a number.
INCOMING = ".incoming"

EXTENSIONS = {Use.VIEWING: "jpg", Use.READING: "jpg", Use.THUMBNAIL: "jpg", Use.PRINT: "tif"}


def stem(reference: str, side: Side, part: int | None = None) -> str:
    """``2026-001-0001_r``, or ``2026-001-0001_r_p2`` for the second part of a page."""
    return f"{name_of(reference)}_{side.letter}" + ("" if part is None else f"_p{part}")


def master(reference: str, side: Side, extension: str) -> str:
    """Path of a master; ``extension`` as scanned, lower case, without the dot."""
    return f"masters/{group_of(reference)}/{stem(reference, side)}.{extension}"


def sidecar(reference: str, side: Side) -> str:
    """Path of the description that lies beside a master."""
    return f"masters/{group_of(reference)}/{stem(reference, side)}.xmp"


def copy(reference: str, side: Side, part: int | None, use: Use) -> str:
    """Path of a copy."""
    return f"copies/{group_of(reference)}/{stem(reference, side, part)}_{use}.{EXTENSIONS[use]}"


def recipe(reference: str, side: Side, part: int | None, use: Use) -> str:
    """Path of a copy's recipe."""
    return f"recipes/{group_of(reference)}/{stem(reference, side, part)}_{use}.json"


def condition(reference: str, side: Side, extension: str) -> str:
    """Path of a condition record (``json``) or of the picture with its marks outlined (``png``)."""
    return f"condition/{group_of(reference)}/{stem(reference, side)}.{extension}"


def beside_master(reference: str, side: Side) -> tuple[str, str, str]:
    """Paths of what every taken-in side has besides its master and its copies."""
    return sidecar(reference, side), condition(reference, side, "json"), condition(reference, side, "png")
