"""After taking in: copies are made again where a decision changed, described again where words did."""

from __future__ import annotations

from collections import deque

from surrogate import answering, pipeline, placing, taking, wording
from surrogate.batch import Batch, staging
from surrogate.collection.catalogue import CopyRow, OriginalRow
from surrogate.errors import ScanSetAside, WorkerLost
from surrogate.jobs import SOFTWARE, Decisions, Job
from surrogate.records import Side, Use
from surrogate.taking import Placing


def follow_changes(batch: Batch) -> None:
    """Make copies again where a decision changed, and describe them again where only the words did."""
    catalogue = batch.catalogue
    in_place: deque[Placing] = deque()
    batch.wording.merge(catalogue)
    answering.link(catalogue)
    batch.outlining.adopt(catalogue)
    for row in catalogue.originals():
        if batch.stop.asked:
            break
        description = wording.description(catalogue, batch.settings, row.reference)
        described_as = wording.digest(description)
        copies = catalogue.copies(row.reference)
        for master in catalogue.masters(row.reference):
            own = [copy for copy in copies if copy.copy.side is master.side]
            decided = wording.decisions_again(catalogue, batch.settings, row, master)
            # a side without copies was taken in by a run that was killed, or its catalogue was lost
            made_as = wording.digest(decided)
            made = [copy for copy in own if copy.copy.use is not Use.PRINT]  # prints stay as they were asked for
            if not made or any(copy.made_as != made_as for copy in made):
                _again(batch, row.reference, master.file, master.side, decided, in_place)
            elif any(copy.described_as != described_as for copy in own):
                _describe_again(batch, row, master.side, own)
    while in_place:
        taking.record(batch, in_place.popleft())


def _again(
    batch: Batch,
    reference: str,
    file: str,
    side: Side,
    decided: Decisions,
    in_place: deque[Placing],
) -> None:
    master = next(m for m in batch.catalogue.masters(reference) if m.side is side)
    if not (batch.root / file).is_file():
        batch.notes.append(f"{reference}: its master {file} is missing. Put it back from your other copy; see `audit`.")
        return
    job = Job(
        scan=batch.root / file,
        name=master.scanned_as,
        side=side,
        staging=staging(batch),
        decisions=decided,
        is_master=True,
    )
    try:
        taken = batch.executor.submit(pipeline.take_in, job).result()
    except ScanSetAside as problem:
        batch.notes.append(f"{reference}: its copies could not be made again: {problem.reason} {problem.advice}")
        return
    in_place.append(taking.start_placing(batch, reference, taken))


def _describe_again(batch: Batch, row: OriginalRow, side: Side, own: list[CopyRow]) -> None:
    """New words only: no picture is encoded again."""
    with batch.catalogue.transaction():  # first, since the copies themselves say that their words changed
        batch.catalogue.add_event(row.reference, wording.DESCRIBED_AGAIN, f"{side}, {SOFTWARE}")
    description = wording.description(batch.catalogue, batch.settings, row.reference)
    master = next(m for m in batch.catalogue.masters(row.reference) if m.side is side)
    future = batch.executor.submit(
        placing.describe_again, batch.root, row.reference, row.kind, master, [c.copy for c in own], description
    )
    try:
        placed = future.result()
    except WorkerLost as problem:
        batch.notes.append(f"{row.reference}: its copies could not be described again: {problem.reason}")
        return
    described_as = wording.digest(description)
    with batch.catalogue.transaction():
        for before, copy in zip(own, placed.copies, strict=True):
            batch.catalogue.put_copy(CopyRow(copy, row.reference, before.made_as, described_as))
        batch.catalogue.put_files(row.reference, placed.made)
    batch.updated.append(f"{row.reference} {side}")
