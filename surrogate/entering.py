"""What a scan becomes in the catalogue: first its number, then everything about it."""

from __future__ import annotations

from surrogate import placing, wording
from surrogate.batch import Batch
from surrogate.collection import paths, register
from surrogate.collection.catalogue import Catalogue, CopyRow, OriginalRow, OutlineRow, four_corners
from surrogate.collection.numbering import Pattern, reference_in_name
from surrogate.intake.gather import Scan
from surrogate.jobs import SOFTWARE, Placed, Taken
from surrogate.records import Side, Use


def number(batch: Batch, scan: Scan, side: Side, reference: str | None, taken: Taken) -> str:
    """The reference number for a scan; kept in the catalogue together with its master before any file is named."""
    pattern = Pattern.parse(batch.settings.collection.reference)
    stated = batch.wording.reference_for(scan.name) or reference_in_name(scan.name, pattern)
    catalogue = batch.catalogue
    with catalogue.transaction():
        if reference is not None and stated not in {None, reference}:
            batch.notes.append(f"{scan.name}: the number {stated} was not used, since its other side is {reference}.")
        wanted = reference or stated
        if wanted is None:
            reference = register.give_next(catalogue, batch.settings, pattern, taken.kind)
        else:
            reference = wanted
            register.refuse_clash(catalogue, reference, side, scan.name)
            register.give_stated(catalogue, pattern, reference)
        master = placing.master_record(reference, taken)
        if (batch.root / master.file).exists() and catalogue.master_at(master.file):  # a back that was parted from it
            master = master.model_copy(update={"file": paths.beside_another(master.file)})
        catalogue.put_master(reference, master, complete=False)
        if taken.back is not None:
            put_back(catalogue, reference, taken.back)
        if side is Side.RECTO or catalogue.original(reference) is None:
            catalogue.put_original(OriginalRow(reference, taken.kind, taken.kind_confidence, taken.kind_from))
    return reference


def put_back(catalogue: Catalogue, reference: str, back: Taken) -> None:
    """Keep the second page of a front's file as its back. Call inside a transaction.

    Nothing is kept where the original has another back, whose scan came first.
    """
    front = catalogue.master(reference, Side.RECTO)
    if front is not None and catalogue.master(reference, Side.VERSO) is None:
        record = placing.master_record(reference, back).model_copy(update={"file": front.file})
        catalogue.put_master(reference, record, complete=False)


def enter(
    catalogue: Catalogue, reference: str, taken: Taken, placed: Placed, described_as: str, scan: Scan | None
) -> list[str]:
    """Record everything about one side in one transaction; ``described_as`` is the digest of its words. Returns the
    files of copies that it no longer has.

    ``scan`` is the file it was taken in from, None for copies made again. It counts as dealt with from then on: said
    in a transaction of its own, a kill in between would make the next run take it for a second copy of itself.
    """
    side = taken.job.side
    made_as = wording.digest(taken.job.decisions)
    with catalogue.transaction():
        before = [row for row in catalogue.copies(reference) if row.copy.side is side and row.copy.use is not Use.PRINT]
        catalogue.put_master(reference, placed.master, complete=True)
        catalogue.add_condition(reference, taken.condition, software=SOFTWARE, master_sha256=placed.master.sha256)
        keep = [file for copy in placed.copies for file in (copy.file, copy.recipe) if file]
        gone = catalogue.drop_copies(reference, side, keep=keep)
        for copy in placed.copies:
            catalogue.put_copy(CopyRow(copy, reference, made_as, described_as))
        catalogue.put_files(reference, placed.made)
        rows = [
            OutlineRow(reference, side, f.part, four_corners(f.corners), f.confidence, f.note) for f in taken.outlines
        ]
        whole = taken.job.decisions.outlines == ()
        catalogue.put_outlines(
            reference, side, [OutlineRow(reference, side, 0, None, None, "whole frame")] if whole else rows
        )
        if all(row.made_as != made_as for row in before):  # else damage is put right, and what was said still holds
            catalogue.put_notes(reference, side, taken.notes)
        if taken.at_arrival:
            catalogue.put_notes(reference, side, taken.at_arrival, at_arrival=True)
        if side is Side.RECTO:
            catalogue.put_original(OriginalRow(reference, taken.kind, taken.kind_confidence, taken.kind_from))
        what = "copies made again" if taken.job.is_master else "taken in"
        catalogue.add_event(reference, what, f"{placed.master.scanned_as} ({side}), {SOFTWARE}")
        if scan is not None:
            catalogue.put_source(scan.key, scan.size, scan.mtime_ns, reference, side)
            catalogue.drop_set_aside(scan.name)
    return gone
