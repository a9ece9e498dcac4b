"""Masters that lie in a collection and are in no list, since a command was killed before it could write one."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from surrogate import running
from surrogate.collection import paths
from surrogate.collection.catalogue import Catalogue, OriginalRow
from surrogate.collection.files import is_in_work, sha256_of
from surrogate.collection.inventory import read_checksums
from surrogate.description.embed import embedder
from surrogate.imaging.read import read_header
from surrogate.records import Kind, Master, Side


@dataclass(frozen=True)
class Stray:
    """One master; ``reference`` is None where nothing says what it is."""

    file: str
    side: Side
    reference: str | None


def masters(folder: Path, catalogue: Catalogue) -> Iterator[Stray]:
    """Masters that the catalogue does not know, with the number that the description beside each states."""
    known = {master.file for row in catalogue.originals() for master in catalogue.masters(row.reference)}
    sides = {side.letter: side for side in Side}
    for path in sorted((folder / "masters").rglob("*")):
        file = path.relative_to(folder).as_posix()
        name, _, letter = path.stem.rpartition("_")
        unknown = file not in known and path.suffix != ".xmp" and not is_in_work(path.name)
        if unknown and path.is_file() and letter in sides:
            side = sides[letter]
            said, source = _stated(path.with_suffix(".xmp"))
            stated = said or catalogue.reference_named(name)
            fits = stated is not None and paths.master(stated, side, path.suffix.lstrip(".")) == file
            if not fits and said and source.startswith(f"{file} sha256:"):  # it was put to a front, or parted from one
                yield Stray(file, Side.VERSO if _has_front(folder, said) else Side.RECTO, said)
            else:
                yield Stray(file, side, stated if fits else None)


def _stated(sidecar: Path) -> tuple[str, str]:
    """(reference number, master with its checksum) that a description states; "" for what it does not."""
    if not sidecar.is_file():
        return "", ""
    read = embedder().read(sidecar)
    number, source = (read.get(f"XMP-dc:{tag}") for tag in ("Identifier", "Source"))
    return number if isinstance(number, str) else "", source if isinstance(source, str) else ""


def _has_front(folder: Path, reference: str) -> bool:
    """Whether a master lies under the name of the front of an original."""
    own = Path(paths.sidecar(paths.master(reference, Side.RECTO, "tif")))
    return any(path.suffix != ".xmp" for path in (folder / own.parent).glob(f"{own.stem}.*"))


def enter(folder: Path, catalogue: Catalogue, reference: str, stray: Stray) -> None:
    """Enter a master as one whose copies are not finished; its recorded checksum counts where there is one.

    Raises :class:`ScanSetAside` when it can no longer be read as a picture.
    """
    path = folder / stray.file
    with running.guarded() as carry_out:
        header = carry_out(read_header, path)
    master = Master(
        side=stray.side,
        file=stray.file,
        sha256=read_checksums(folder).get(stray.file) or sha256_of(path),
        bytes=path.stat().st_size,
        width=header.width,
        height=header.height,
        bits=header.bits,
        ppi=header.ppi,
        profile=header.profile,
        scanned_as=_scanned_as(catalogue, reference, stray.side) or path.name,
    )
    if catalogue.original(reference) is None:
        catalogue.put_original(OriginalRow(reference, Kind.UNKNOWN, None, "picture"))
    catalogue.put_master(reference, master, complete=False)


def _scanned_as(catalogue: Catalogue, reference: str, side: Side) -> str:
    row = catalogue.caption_row(reference).get(side)
    return "" if row is None else row.cells.get("file", "")
