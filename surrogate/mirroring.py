"""A second place for a collection: compared, completed and, on demand, repaired from, never the wrong way.

The one rule: bytes are only ever taken from a side whose file matches the checksum in the catalogue, and they are
checked again on their way. What was there before is moved to ``damaged/`` on its own side, not deleted. Files that have
no checksum because people or later commands change them (settings, caption sheet, manifest, reports) are brought to
the second place as they are; the one they replace there is kept once under ``earlier/``.
"""

from __future__ import annotations

import filecmp
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path

from surrogate import checking
from surrogate.collection import paths, settings
from surrogate.collection.catalogue import Catalogue
from surrogate.collection.files import (
    copy_hashed,
    disk_errors,
    is_in_work,
    make_folders,
    make_read_only,
    publish,
    unfinished_name,
)
from surrogate.collection.holding import held
from surrogate.collection.inventory import (
    AREAS,
    CHECKSUMS,
    DAMAGED,
    LOOSE,
    Expected,
    expected,
    read_checksums,
    set_apart,
)
from surrogate.collection.leaving import made_to_leave
from surrogate.errors import CollectionUnusable, WrongUse
from surrogate.records import Record

#: Where the second place keeps, once, what a changed settings file, sheet or report replaced there.
EARLIER = "earlier"


class MirrorFinding(Record):
    """A file of the second place that is not as it was recorded; ``repaired`` when that was put right."""

    file: str
    problem: str
    repaired: bool


class MirrorReport(Record):
    """What was done: files brought to ``mirror``, findings there, and files put right here."""

    mirror: str
    copied: int
    findings: list[MirrorFinding]
    repaired_here: list[str]

    def lines(self) -> Iterator[str]:
        """The report as people read it."""
        for finding in self.findings:
            advice = "Run the same command with --repair to put it right."
            words = repaired_words(finding.problem) if finding.repaired else advice
            yield f"{self.mirror}: {finding.file} {finding.problem}. {words}"
        yield f"{self.mirror}: {self.copied} files brought there, {len(self.findings)} findings."


def repaired_words(problem: str) -> str:
    """What is said of a file that was put right."""
    return "Put back." if problem == checking.MISSING else f"Repaired; the damaged file is kept in {DAMAGED}/."


@contextmanager
def opened(mirror: Path, folder: Path, catalogue: Catalogue) -> Iterator[None]:
    """Hold the second place, made on first use.

    Raises :class:`WrongUse` when it lies inside the collection or around it, :class:`CollectionUnusable` when it holds
    something else.
    """
    here, there = folder.resolve(), mirror.resolve()
    if here == there or here in there.parents or there in here.parents:
        raise WrongUse(f"{mirror} is not apart from {folder}. Name a folder on another disk.")
    if mirror.exists() and not mirror.is_dir():
        raise CollectionUnusable(f"{mirror} is a file. Name a folder for the second copy.")
    with disk_errors(mirror):
        mirror.mkdir(parents=True, exist_ok=True)
        filled = any(not entry.name.startswith(".") for entry in mirror.iterdir())
    if filled:
        _refuse_stranger(mirror, catalogue)
    with held(mirror, "audit --mirror"):
        yield


def _refuse_stranger(mirror: Path, catalogue: Catalogue) -> None:
    if not (mirror / settings.FILE_NAME).is_file():
        raise CollectionUnusable(f"{mirror} holds other things. Name a new folder for the second copy.")
    masters = {file: sha256 for file, sha256 in read_checksums(mirror).items() if _is_master(file)}
    if masters and not any(catalogue.master_with(sha256) for sha256 in masters.values()):
        raise CollectionUnusable(
            f"{mirror} is the second copy of another collection: it shares no master with this one. "
            "Name another folder."
        )


def mirror(
    folder: Path,
    other: Path,
    catalogue: Catalogue,
    problems: Mapping[str, str],
    *,
    quick: bool,
    repair: bool,
) -> MirrorReport:
    """Compare and complete the second place; put damaged files right on both sides when ``repair``.

    ``problems`` says what the audit of the collection found, by file. Both places must be held.
    """
    before = read_checksums(other)
    copied = 0
    repaired: list[str] = []
    findings: list[MirrorFinding] = []

    def compare(one: Expected) -> tuple[Expected, str | None]:
        return one, checking.problem(other, one, quick=quick)

    known = set()
    for one, there in checking.in_parallel(compare, expected(catalogue)):
        known.add(one.file)
        here = problems.get(one.file)
        if here is not None:
            if there is None and repair and one.sha256 is not None and _replace(other, folder, one):
                repaired.append(one.file)
            elif there not in {None, checking.MISSING}:
                findings.append(MirrorFinding(file=one.file, problem=there or "", repaired=False))
        elif there is None:
            continue
        elif there == checking.MISSING or _is_outdated(other, one, before):
            copied += _bring(folder, other, one)
        else:
            done = repair and one.sha256 is not None and _replace(folder, other, one)
            findings.append(MirrorFinding(file=one.file, problem=there, repaired=done))
    copied += _bring_unrecorded(folder, other, known)
    with catalogue.transaction():  # nobody writes the catalogue while it is copied
        copied += _bring_if_different(folder, other, paths.CATALOGUE)
    return MirrorReport(mirror=str(other), copied=copied, findings=findings, repaired_here=repaired)


def _is_master(file: str) -> bool:
    return file.startswith("masters/") and not file.endswith(".xmp")


def _is_outdated(other: Path, one: Expected, before: Mapping[str, str]) -> bool:
    """Whether the file there is whole but of before its copy was made again. Masters are never made again."""
    earlier = before.get(one.file)
    if one.is_master or earlier is None or earlier == one.sha256:
        return False
    return checking.problem(other, Expected(one.file, earlier, None)) is None


def _bring(source: Path, target: Path, one: Expected) -> bool:
    """Bring a file that is missing or outdated to the second place; False when it changed on its way."""
    temporary = _fetched(source, target, one)
    if temporary is None:
        return False
    publish(temporary, target / one.file)
    _protect(target, one)
    return True


def _replace(source: Path, target: Path, one: Expected) -> bool:
    """Replace a damaged or missing file, keeping the damaged bytes apart; False when the source is no longer good."""
    temporary = _fetched(source, target, one)
    if temporary is None:
        return False
    final = target / one.file
    if final.exists():
        set_apart(target, one.file)
    publish(temporary, final)
    _protect(target, one)
    return True


def _fetched(source: Path, target: Path, one: Expected) -> Path | None:
    """The good bytes under a temporary name in their new folder; None when they do not match the record."""
    final = target / one.file
    temporary = unfinished_name(final)
    with disk_errors(final):
        make_folders(final.parent)
        sha256, _ = copy_hashed(source / one.file, temporary)
        if one.sha256 in {None, sha256}:
            return temporary
        temporary.unlink()
        return None


def _protect(root: Path, one: Expected) -> None:
    if one.is_master:
        make_read_only(root / one.file)


def _bring_unrecorded(folder: Path, other: Path, known: set[str]) -> int:
    """Bring everything that has no checksum in the catalogue; the checksum list last, since it describes the rest."""
    names = [name for name in _unrecorded(folder, known) if name != CHECKSUMS]
    if (folder / CHECKSUMS).is_file():
        names.append(CHECKSUMS)
    return sum(_bring_if_different(folder, other, name) for name in names)


def _unrecorded(folder: Path, known: set[str]) -> Iterator[str]:
    elsewhere = {entry.name for entry in folder.iterdir() if entry.is_dir() and made_to_leave(entry)}
    for path in sorted(folder.rglob("*")):
        name = path.relative_to(folder).as_posix()
        top = name.split("/", 1)[0]
        if not path.is_file() or name in known or top.startswith("."):
            continue
        if top in elsewhere or top in {DAMAGED, EARLIER, paths.CATALOGUE}:
            continue
        if top.startswith(f"{paths.CATALOGUE}-") or is_in_work(path.name):
            continue
        if top in AREAS and not name.startswith(LOOSE):
            continue  # nobody knows what this is: a finding of the audit, not part of the collection
        yield name


def _bring_if_different(folder: Path, other: Path, name: str) -> int:
    """Bring one file as it is, keeping the one it replaces once; returns how many were brought (0 or 1)."""
    source, target = folder / name, other / name
    if target.is_file() and filecmp.cmp(source, target, shallow=False):
        return 0
    temporary = unfinished_name(target)
    with disk_errors(target):
        make_folders(target.parent)
        copy_hashed(source, temporary)
        if target.is_file():
            kept = other / EARLIER / name
            make_folders(kept.parent)
            target.replace(kept)
        publish(temporary, target)
    return 1
