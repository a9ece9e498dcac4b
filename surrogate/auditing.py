"""``audit``: does every file of the collection still hold the bytes that were recorded?"""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

from surrogate.collection import paths, settings
from surrogate.collection.catalogue import Catalogue, open_catalogue
from surrogate.collection.files import UNFINISHED, sha256_of
from surrogate.collection.holding import held
from surrogate.records import Record, Side

#: Pictures of comparisons, which are kept as long as people like.
LOOSE = "condition/changes/"

#: Folders whose every file must be known to the catalogue.
AREAS = ("masters", "copies", "recipes", "condition")


class Finding(Record):
    """One thing that is not as it was recorded."""

    file: str
    problem: str
    advice: str


class AuditReport(Record):
    """What an audit found."""

    collection: str
    files_checked: int
    findings: list[Finding]

    @property
    def exit_status(self) -> int:
        """0 when everything is as recorded."""
        return 1 if self.findings else 0


@dataclass(frozen=True)
class _Expected:
    file: str
    sha256: str | None
    size: int | None
    is_master: bool


_ADVICE_MASTER = "Put it back from your other copy of the collection, or scan the original again."
_ADVICE_COPY = "Run `surrogate rebuild` to make it again from its master."


def audit(folder: Path, *, quick: bool = False) -> AuditReport:
    """Check presence, and unless ``quick`` the SHA-256, of every master and copy; find what nobody recorded.

    Raises :class:`~surrogate.errors.CollectionUnusable` when the folder is not a collection.
    """
    settings.read(folder)
    with held(folder, "audit"), open_catalogue(folder) as catalogue:
        expected = list(_expected(catalogue))
        with ThreadPoolExecutor() as pool:  # hashing releases the interpreter's lock
            found = pool.map(lambda one: _check(folder, one, quick=quick), expected)
            findings = [finding for finding in found if finding is not None]
        findings += _unexpected(folder, {one.file for one in expected})
        with catalogue.transaction():
            catalogue.add_event(None, "audit", f"{len(expected)} files, {len(findings)} findings")
    return AuditReport(
        collection=str(folder),
        files_checked=len(expected),
        findings=sorted(findings, key=lambda finding: finding.file),
    )


def _expected(catalogue: Catalogue) -> Iterator[_Expected]:
    for row in catalogue.originals():
        for master in catalogue.masters(row.reference):
            yield _Expected(master.file, master.sha256, master.bytes, is_master=True)
            side = Side(master.side)
            yield _Expected(paths.sidecar(row.reference, side), None, None, is_master=False)
            for extension in ("json", "png"):
                yield _Expected(paths.condition(row.reference, side, extension), None, None, is_master=False)
        recipes = set()
        for copy in catalogue.copies(row.reference):
            yield _Expected(copy.copy.file, copy.copy.sha256, None, is_master=False)
            recipes.add(copy.copy.recipe)
        yield from (_Expected(recipe, None, None, is_master=False) for recipe in sorted(r for r in recipes if r))


def _check(folder: Path, one: _Expected, *, quick: bool) -> Finding | None:
    path = folder / one.file
    advice = _ADVICE_MASTER if one.is_master else _ADVICE_COPY
    if not path.is_file():
        return Finding(file=one.file, problem="is missing", advice=advice)
    size = path.stat().st_size
    if one.size is not None and size != one.size:
        return Finding(file=one.file, problem=f"has {size} bytes; {one.size} were recorded", advice=advice)
    if not quick and one.sha256 is not None and sha256_of(path) != one.sha256:
        return Finding(file=one.file, problem="has changed: its checksum is not the one recorded", advice=advice)
    return None


def _unexpected(folder: Path, known: set[str]) -> list[Finding]:
    findings = []
    for area in AREAS:
        for path in sorted((folder / area).rglob("*")):
            if path.is_dir():
                continue
            name = path.relative_to(folder).as_posix()
            if path.name.endswith(UNFINISHED):
                findings.append(
                    Finding(file=name, problem="was left half-written", advice="Run `surrogate process` again.")
                )
            elif name not in known and not name.startswith(LOOSE):
                findings.append(
                    Finding(file=name, problem="is not in the catalogue", advice="Move it out of the collection.")
                )
    return findings
