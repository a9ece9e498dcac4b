"""From the staging folder to the final names: files get their words, are read back, and appear whole."""

from __future__ import annotations

import os
import shutil
from collections.abc import Sequence
from pathlib import Path

from surrogate.collection import files, paths
from surrogate.collection.catalogue import FileRow
from surrogate.copies.describing import describe_copy, named
from surrogate.description.embed import Description, embedder
from surrogate.errors import ScanSetAside
from surrogate.jobs import SOFTWARE, Placed, StagedCopy, Taken
from surrogate.records import Copy, Kind, Master, Side, Use
from surrogate.recovery.recipe import Recipe, as_written


def master_record(reference: str, taken: Taken) -> Master:
    """The record of a master under its final name."""
    return Master(
        side=taken.job.side,
        file=paths.master(reference, taken.job.side, taken.file.suffix.lstrip(".")),
        sha256=taken.sha256,
        bytes=taken.size,
        width=taken.header.width,
        height=taken.header.height,
        bits=taken.header.bits,
        ppi=taken.header.ppi,
        profile=taken.header.profile,
        given_profile=next((copy.recipe.given_profile for copy in taken.copies), None),
        scanned_as=taken.job.name,
        page=taken.job.page,
    )


def put_in_place(root: Path, reference: str, file: str, taken: Taken, description: Description) -> Placed:
    """Describe the staged files of one side and give everything its final name; ``file`` is that of its master.

    Masters are renamed first and made read-only; a master that is there already has the same bytes by its SHA-256.
    Where a worker died in the middle of this, the call can be made again: copies get their names only once all are
    described, so one that is no longer staged is in its place and finished.
    """
    side = taken.job.side
    master = master_record(reference, taken).model_copy(update={"file": file})
    if not (taken.job.is_master or master.page):
        _place_master(taken, root / master.file)
    embedder().write_many(
        [
            (copy.file, describe_copy(description, master, copy.recipe, copy.use))
            for copy in taken.copies
            if copy.file.exists()
        ]
    )
    _describe_master(root, description, master, taken.kind)
    copies = [_place_copy(root, reference, copy, master) for copy in taken.copies]
    _place(taken.condition_picture, root / paths.condition(reference, side, "png"))
    record = taken.condition.model_dump_json(indent=2) + "\n"
    files.replace_if_changed(root / paths.condition(reference, side, "json"), record.encode())
    shutil.rmtree(taken.job.staging, ignore_errors=True)
    return Placed(master, tuple(copies), as_made(root, reference, master, copies))


def describe_again(
    root: Path, reference: str, kind: Kind, master: Master, copies: list[Copy], description: Description
) -> Placed:
    """Replace the words in finished copies and the master's sidecar; no picture is encoded again."""
    items = []
    for copy in copies:
        recipe = Recipe.model_validate_json((root / (copy.recipe or "")).read_bytes())
        items.append((root / copy.file, describe_copy(description, master, recipe, copy.use)))
    embedder().rewrite_many(items)
    _describe_master(root, description, master, kind)
    again = [copy.model_copy(update={"sha256": files.sha256_of(root / copy.file)}) for copy in copies]
    return Placed(master, tuple(again), as_made(root, reference, master, again))


def as_made(root: Path, reference: str, master: Master, copies: Sequence[Copy]) -> tuple[FileRow, ...]:
    """Checksum and length of every file of one side but its master, just after they were made."""
    own = {copy.file for copy in copies} | {copy.recipe for copy in copies if copy.recipe is not None}
    return tuple(file_row(root, file) for file in sorted({*own, *paths.beside_master(reference, master)}))


def file_row(root: Path, file: str) -> FileRow:
    """Checksum and length of a file as it is now."""
    return FileRow(file, files.sha256_of(root / file), (root / file).stat().st_size)


def _place_master(taken: Taken, target: Path) -> None:
    with files.disk_errors(target):
        files.make_folders(target.parent)
        if target.exists():
            if files.sha256_of(target) == taken.sha256:
                return
            raise ScanSetAside(
                f"Another file already lies under the name {target.name}.", "Run `surrogate audit` and look at it."
            )
        with taken.file.open("rb") as handle:
            os.fsync(handle.fileno())
        files.make_read_only(taken.file)
        taken.file.rename(target)
        files.flush_folder(target.parent)


def _place_copy(root: Path, reference: str, copy: StagedCopy, master: Master) -> Copy:
    side = master.side
    file = paths.copy(reference, side, copy.part, copy.use)
    recipe_file = paths.recipe(reference, side, copy.part, Use(copy.recipe.use))
    recipe = copy.recipe.model_copy(update={"master": master.file})
    if copy.use.value == copy.recipe.use:
        files.replace_if_changed(root / recipe_file, as_written(recipe))
    _place(copy.file, root / file)
    sha256 = files.sha256_of(root / file)
    return Copy(
        use=copy.use,
        side=side,
        part=copy.part,
        file=file,
        sha256=sha256,
        width=copy.width,
        height=copy.height,
        recipe=recipe_file,
        master_sha256=master.sha256,
        fidelity=copy.fidelity,
    )


def _place(temporary: Path, target: Path) -> None:
    if not temporary.exists():  # an earlier call got so far
        return
    with files.disk_errors(target):
        files.make_folders(target.parent)
        files.publish(temporary, target)


def _describe_master(root: Path, description: Description, master: Master, kind: Kind) -> None:
    """Write the description beside a master; a file of two sides has that of its first page."""
    if not master.page:
        embedder().sidecar(root / paths.sidecar(master.file), describe_master(description, master, kind))


def describe_master(description: Description, master: Master, kind: Kind) -> Description:
    """The description that lies beside a master."""
    given = master.given_profile
    read = [f"its copies were made through the scanner profile {named(given)}"] if given is not None else []
    return description.model_copy(
        update={
            "history": [*read, *description.history],
            "source_type": "negativeFilm" if kind is Kind.NEGATIVE else "print",
            "source": f"{master.file} sha256:{master.sha256}",
            "software": SOFTWARE,
            "faces": description.faces if master.side is Side.RECTO else [],
        }
    )
