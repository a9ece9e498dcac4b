"""Where everything lies in the collection folder; all paths relative, with forward slashes."""

from __future__ import annotations

from pathlib import PurePosixPath

from surrogate.collection.numbering import group_of, name_of
from surrogate.records import Master, Side, Use

CATALOGUE = "catalogue.sqlite"
CAPTIONS = "captions.csv"
REPORT = "report.html"
MANIFEST = "manifest.json"
LOCK = ".held"
#: Scans on their way in, before they have a number.
INCOMING = ".incoming"
#: Profiles of scanners, by their SHA-256.
PROFILES = "profiles"

EXTENSIONS = {Use.VIEWING: "jpg", Use.READING: "jpg", Use.THUMBNAIL: "jpg", Use.PRINT: "tif"}


def stem(reference: str, side: Side, part: int | None = None) -> str:
    """``2026-001-0001_r``, or ``2026-001-0001_r_p2`` for the second part of a page."""
    return f"{name_of(reference)}_{side.letter}" + ("" if part is None else f"_p{part}")


def master(reference: str, side: Side, extension: str) -> str:
    """Path of a master; ``extension`` as scanned, lower case, without the dot."""
    return f"masters/{group_of(reference)}/{stem(reference, side)}.{extension}"


def sidecar(master_file: str) -> str:
    """Path of the description that lies beside a master.

    >>> sidecar("masters/2026-001/2026-001-0001_r.tif")
    'masters/2026-001/2026-001-0001_r.xmp'
    """
    return str(PurePosixPath(master_file).with_suffix(".xmp"))


def beside_another(master_file: str) -> str:
    """Path of a master where another original's lies under its name, since masters are never renamed.

    >>> beside_another("masters/2026-001/2026-001-0001_v.tif")
    'masters/2026-001/2026-001-0001_v_2.tif'
    """
    path = PurePosixPath(master_file)
    return str(path.with_name(f"{path.stem}_2{path.suffix}"))


def copy(reference: str, side: Side, part: int | None, use: Use) -> str:
    """Path of a copy."""
    return f"copies/{group_of(reference)}/{stem(reference, side, part)}_{use}.{EXTENSIONS[use]}"


def recipe(reference: str, side: Side, part: int | None, use: Use) -> str:
    """Path of a copy's recipe."""
    return f"recipes/{group_of(reference)}/{stem(reference, side, part)}_{use}.json"


def condition(reference: str, side: Side, extension: str) -> str:
    """Path of a condition record (``json``) or of the picture with its marks outlined (``png``)."""
    return f"condition/{group_of(reference)}/{stem(reference, side)}.{extension}"


def profile(sha256: str) -> str:
    """Path of the copy of a scanner's profile that the collection keeps; 16 digits, since names are at most 32 long."""
    return f"{PROFILES}/{sha256[:16]}.icc"


def beside_master(reference: str, master: Master) -> tuple[str, ...]:
    """Paths of what every taken-in side has besides its master and its copies; a description lies beside each file."""
    measured = condition(reference, master.side, "json"), condition(reference, master.side, "png")
    return measured if master.page else (sidecar(master.file), *measured)
