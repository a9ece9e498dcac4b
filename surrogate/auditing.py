"""``audit``: does every file of the collection still hold the bytes that were recorded?"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import zip_longest
from pathlib import Path

from surrogate import checking, mirroring
from surrogate.collection import paths, settings
from surrogate.collection.catalogue import Catalogue, OriginalRow, open_catalogue
from surrogate.collection.holding import held
from surrogate.collection.inventory import Expected, expected, unlinked
from surrogate.collection.listing import Listing
from surrogate.errors import CollectionUnusable, WrongUse
from surrogate.mirroring import MirrorReport, repaired_words
from surrogate.records import Original, Record


class Finding(Record):
    """One thing that is not as it was recorded."""

    file: str
    problem: str
    advice: str
    repaired: bool = False


class AuditReport(Record):
    """What an audit found, and what was done to a second place where one was named."""

    collection: str
    files_checked: int
    findings: list[Finding]
    mirror: MirrorReport | None = None

    @property
    def exit_status(self) -> int:
        """0 when everything was as recorded, on both sides."""
        return 1 if self.findings or (self.mirror is not None and self.mirror.findings) else 0

    def lines(self) -> Iterator[str]:
        """The report as people read it."""
        for finding in self.findings:
            advice = repaired_words(finding.problem) if finding.repaired else finding.advice
            yield f"{finding.file} {finding.problem}. {advice}"
        if self.mirror is not None:
            yield from self.mirror.lines()
        yield f"{self.files_checked} files checked, {len(self.findings)} findings."


_ADVICE_MASTER = "Put it back from your other copy (--mirror DIR2 --repair), or scan the original again."
_ADVICE_MADE = "Put it back from your other copy (--mirror DIR2 --repair), or run `surrogate rebuild`."
_ADVICE_PROFILE = (
    "Put it back from your other copy (--mirror DIR2 --repair), or run `surrogate process`, which keeps it anew while "
    "the settings name it."
)
_RUN_AGAIN = "Run `surrogate process` again."


def audit(folder: Path, *, quick: bool = False, mirror: Path | None = None, repair: bool = False) -> AuditReport:
    """Check presence and length, and unless ``quick`` the SHA-256, of every file; find what nobody recorded.

    ``mirror`` is a second place to compare and complete; with ``repair`` damaged files on either side are put right
    from the side that matches its recorded checksum (see :mod:`surrogate.mirroring`). Raises
    :class:`~surrogate.errors.CollectionUnusable` when the folder is not a collection and
    :class:`~surrogate.errors.WrongUse` for options that contradict one another.
    """
    if repair and (mirror is None or quick):
        raise WrongUse(
            "--repair needs --mirror DIR2 to repair from, and no --quick: only checksums tell good from bad."
        )
    settings.read(folder)
    with held(folder, "audit"), open_catalogue(folder) as catalogue:
        count, findings = _as_recorded(folder, catalogue, quick=quick)
        findings += _links(catalogue)
        if not quick:
            findings += _manifest(folder, catalogue)
        with catalogue.transaction():
            catalogue.add_event(None, "audit", f"{count} files, {len(findings)} findings")
        mirrored = None
        if mirror is not None:
            problems = {finding.file: finding.problem for finding in findings}
            with mirroring.opened(mirror, folder, catalogue):
                mirrored = mirroring.mirror(folder, mirror, catalogue, problems, quick=quick, repair=repair)
            right = set(mirrored.repaired_here)
            findings = [each.model_copy(update={"repaired": each.file in right}) for each in findings]
    return AuditReport(
        collection=str(folder),
        files_checked=count,
        findings=sorted(findings, key=lambda finding: finding.file),
        mirror=mirrored,
    )


def _as_recorded(folder: Path, catalogue: Catalogue, *, quick: bool) -> tuple[int, list[Finding]]:
    """(files checked, findings) of what the catalogue answers for, and of what lies beside it."""
    findings = []
    known = set()

    def look(one: Expected) -> tuple[Expected, str | None]:
        return one, checking.problem(folder, one, quick=quick)

    for one, problem in checking.in_parallel(look, expected(catalogue)):
        known.add(one.file)
        if problem is not None:
            advice = _ADVICE_MASTER if one.is_master else _ADVICE_MADE
            if one.file.startswith(f"{paths.PROFILES}/"):
                advice = _ADVICE_PROFILE
            findings.append(Finding(file=one.file, problem=problem, advice=advice))
    findings += [
        Finding(file=name, problem="was left half-written", advice=_RUN_AGAIN) for name in checking.half_written(folder)
    ]
    findings += [
        Finding(file=name, problem="is not in the catalogue", advice="Move it out of the collection.")
        for name in checking.unexpected(folder, known)
    ]
    return len(known), findings


def _links(catalogue: Catalogue) -> list[Finding]:
    return [
        Finding(file=where, problem=problem, advice=_RUN_AGAIN)
        for row in catalogue.originals()
        for where, problem in unlinked(catalogue, row)
    ]


def _manifest(folder: Path, catalogue: Catalogue) -> list[Finding]:
    """Whether the manifest names the same files with the same checksums as the catalogue."""
    try:
        listed: Iterator[Original] = iter(Listing(folder))
        for row, original in zip_longest(catalogue.originals(), listed):
            if row is None or original is None or row.reference != original.reference:
                return [_stale(f"and the catalogue do not list the same originals from {_first(row, original)} on")]
            recorded = {each.file: each.sha256 for each in catalogue.masters(row.reference)}
            recorded |= {each.copy.file: each.copy.sha256 for each in catalogue.copies(row.reference)}
            if recorded != {each.file: each.sha256 for each in (*original.masters, *original.copies)}:
                return [_stale(f"names other files or checksums for {row.reference} than the catalogue")]
    except CollectionUnusable:
        return [_stale("is missing or damaged")]
    return []


def _first(row: OriginalRow | None, original: Original | None) -> str:
    return min(each.reference for each in (row, original) if each is not None)


def _stale(problem: str) -> Finding:
    return Finding(file=paths.MANIFEST, problem=problem, advice=_RUN_AGAIN)
