"""What a comparison reports, and the dated record of it that is kept on request."""

from __future__ import annotations

import contextlib
import json
from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import Literal

from pydantic import ValidationError

from surrogate._version import __version__
from surrogate.collection.files import replace_if_changed, sha256_of
from surrogate.errors import CollectionUnusable
from surrogate.records import Condition, Master, Record, Triple

FOLDER = "condition/changes"

Verdict = Literal["unchanged", "changed", "cannot say"]

#: What brought the two scanners together. "session": other originals, scanned again in the same session.
Evidence = Literal["none", "base", "session", "target"]


class ChangedRegion(Record):
    """A mark that the master does not have: x, y, width, height in mm from its top left; None without a resolution."""

    box_mm: tuple[float, float, float, float] | None
    delta_e: float


class CompareReport(Record):
    """What has changed; ``uncertainty`` is the half-width of the 95 % interval of ``density_loss``."""

    reference: str
    side: str
    verdict: Verdict
    density_loss: Triple | None
    uncertainty: Triple | None
    base_shift: Triple | None
    regions: list[ChangedRegion]
    scanner_correction: Evidence
    picture: str | None
    note: str = ""
    record: str | None = None


class ChangeRecord(Record):
    """One comparison, kept: when, of which files, by which version, and the condition as the new scan shows it.

    ``condition`` is measured over the whole of the master's frame, with the new scanner brought to the old one.
    """

    date: date
    software: str
    scan: str
    scan_sha256: str
    master: str
    master_sha256: str
    report: CompareReport
    condition: Condition


def stem_of(master: Master) -> str:
    """How the names of what is kept of a master's comparisons begin; a second page is told from the first."""
    return Path(master.file).stem + (f"_page{master.page + 1}" if master.page else "")


def keep(
    folder: Path, day: date, report: CompareReport, condition: Condition, *, master: Master, scan: Path
) -> CompareReport:
    """Write the record of ``day`` under ``condition/changes``; the report with its path. Another scan, another file."""
    digest = sha256_of(scan)
    name = f"{FOLDER}/{stem_of(master)}_{day.isoformat()}_{digest[:8]}.json"
    told = report.model_copy(update={"record": name})
    record = ChangeRecord(
        date=day, software=f"surrogate {__version__}", scan=scan.name, scan_sha256=digest, master=master.file,
        master_sha256=master.sha256, report=told, condition=condition,
    )  # fmt: skip
    content = json.dumps(record.model_dump(mode="json"), indent=2, ensure_ascii=False) + "\n"
    replace_if_changed(folder / name, content.encode())
    return told


def readable(folder: Path) -> Iterator[ChangeRecord]:
    """Records of a collection in the order of their files; what cannot be read is left out (`care` names it)."""
    for path in sorted((folder / FOLDER).glob("*.json")):
        with contextlib.suppress(OSError, ValidationError):
            yield ChangeRecord.model_validate_json(path.read_bytes())


def kept(folder: Path) -> list[ChangeRecord]:
    """All records of a collection, oldest first. Raises :class:`CollectionUnusable` for one that cannot be read."""
    found = []
    for path in sorted((folder / FOLDER).glob("*.json")):
        try:
            found.append(ChangeRecord.model_validate_json(path.read_bytes()))
        except (OSError, ValidationError) as error:
            raise CollectionUnusable(f"{path} is no record of a comparison. Delete it or bring it back.") from error
    return sorted(found, key=lambda record: (record.date, record.report.reference))
