"""What must lie in a collection: every file that the catalogue answers for, with its checksum where one is recorded."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from surrogate.collection import paths
from surrogate.collection.catalogue import Catalogue, FileRow, OriginalRow
from surrogate.collection.files import disk_errors, flush_folder, replacing, sha256_of

#: Folders whose every file must be known to the catalogue.
AREAS = ("masters", "copies", "recipes", "condition")

#: Pictures of comparisons, which are kept as long as people like.
LOOSE = "condition/changes/"

#: Where damaged files are kept apart when good ones take their place.
DAMAGED = "damaged"

#: List of all checksums, in the form that ``sha256sum -c`` reads.
CHECKSUMS = "checksums.sha256"
_LINE = re.compile(r"([0-9a-f]{64})  (.+)")


@dataclass(frozen=True)
class Expected:
    """One file as it was recorded. ``sha256`` and ``size`` are None where older software recorded none."""

    file: str
    sha256: str | None
    size: int | None
    is_master: bool = False


def expected(catalogue: Catalogue) -> Iterator[Expected]:
    """Every file that the catalogue answers for, by original."""
    for row in catalogue.originals():
        yield from expected_of(catalogue, row.reference)
    for given in catalogue.given_profiles():
        yield Expected(given.file, given.sha256, None)


def expected_of(catalogue: Catalogue, reference: str) -> Iterator[Expected]:
    """Every file of one original: masters first, then by name."""
    recorded = catalogue.files(reference)
    names: dict[str, str | None] = dict.fromkeys(recorded)
    for master in catalogue.masters(reference):
        if not master.page:  # whose file it is
            yield Expected(master.file, master.sha256, master.bytes, is_master=True)
        names |= dict.fromkeys(paths.beside_master(reference, master))
    for row in catalogue.copies(reference):
        names[row.copy.file] = row.copy.sha256
        if row.copy.recipe is not None:
            names.setdefault(row.copy.recipe, None)
    for file, of_copy in sorted(names.items()):
        known = recorded.get(file)
        if known is not None and of_copy in {None, known.sha256}:
            yield Expected(file, known.sha256, known.size)
        else:
            yield Expected(file, of_copy, None)


def unlinked(catalogue: Catalogue, row: OriginalRow) -> Iterator[tuple[str, str]]:
    """(file or number, what is wrong) of each link between the records of one original that leads nowhere."""
    masters = catalogue.masters(row.reference)
    copies = catalogue.copies(row.reference)
    if not masters:
        yield row.reference, "has no master"
    for master in masters:
        if not any((copy.copy.side, copy.copy.master_sha256) == (master.side, master.sha256) for copy in copies):
            yield master.file, "has no copy" + (f" of page {master.page + 1}" if master.page else "")
    known = {(master.side, master.sha256) for master in masters}
    for copy in copies:
        if (copy.copy.side, copy.copy.master_sha256) not in known:
            yield copy.copy.file, "is not linked to a master of its original"
        if copy.copy.recipe is None:
            yield copy.copy.file, "is not linked to a recipe"


def write_checksums(folder: Path, catalogue: Catalogue) -> None:
    """Write the list of all checksums, with which ``sha256sum -c checksums.sha256`` proves the files without us."""
    record_unknown(folder, catalogue)
    with replacing(folder / CHECKSUMS) as stream:
        for one in expected(catalogue):
            if one.sha256 is not None:
                stream.write(f"{one.sha256}  {one.file}\n")


def record_unknown(folder: Path, catalogue: Catalogue) -> None:
    """Record the checksums of files for which older software kept none: what they hold today is what is kept."""
    for original in catalogue.originals():
        unknown = [one for one in expected_of(catalogue, original.reference) if one.sha256 is None or one.size is None]
        there = [(one, folder / one.file) for one in unknown if (folder / one.file).is_file()]
        found = [(one, FileRow(one.file, sha256_of(path), path.stat().st_size)) for one, path in there]
        rows = [row for one, row in found if one.sha256 in {None, row.sha256}]
        if rows:
            with catalogue.transaction():
                catalogue.put_files(original.reference, rows)


def read_checksums(folder: Path) -> dict[str, str]:
    """{file: SHA-256} of the list in a folder; lines that are damaged are left out, and no list is an empty one."""
    path = folder / CHECKSUMS
    if not path.is_file():
        return {}
    lines = path.read_text(encoding="utf-8", errors="replace").splitlines()
    return {found[2]: found[1] for line in lines if (found := _LINE.fullmatch(line))}


def set_apart(root: Path, file: str) -> None:
    """Move a damaged file to ``damaged/``, beside whatever was set apart under its name before."""
    apart = root / DAMAGED / file
    with disk_errors(apart):
        apart.parent.mkdir(parents=True, exist_ok=True)
        count = 1
        while apart.exists():
            count += 1
            apart = (root / DAMAGED / file).with_name(f"{Path(file).stem}~{count}{Path(file).suffix}")
        (root / file).rename(apart)
        flush_folder(apart.parent)
