"""After taking in: copies are made again where a decision changed, described again where words did."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Sequence
from concurrent.futures import Future
from typing import TypeVar

from surrogate import answering, entering, linking, lots, pipeline, placing, taking, wording
from surrogate.batch import Batch, staging
from surrogate.collection.catalogue import CopyRow, OriginalRow
from surrogate.collection.files import sha256_of
from surrogate.errors import CollectionUnusable, MissingTool, ScansAway, ScanSetAside
from surrogate.jobs import SOFTWARE, Decisions, Job
from surrogate.records import Master, Side, Use

T = TypeVar("T")

#: Enters what a worker was asked for, once it is there.
_Finish = Callable[[], None]


def follow_changes(batch: Batch) -> None:
    """Make copies again where a decision changed, and describe them again where only the words did.

    As many sides as the batch's window holds are with the workers at a time.
    """
    catalogue = batch.catalogue
    batch.wording.merge(catalogue)
    answering.link(catalogue)
    batch.outlining.adopt(catalogue)
    batch.notes += linking.follow(batch.root, catalogue, batch.settings)
    lots.bring_together(batch)
    before = len(batch.updated)
    _follow(batch, catalogue.originals())
    # what was found on one side of a leaf, its outline say, is a decision on the other
    again = {updated.rpartition(" ")[0] for updated in batch.updated[before:]}
    _follow(batch, [row for row in catalogue.originals() if row.reference in again])


def _follow(batch: Batch, rows: Sequence[OriginalRow]) -> None:
    catalogue = batch.catalogue
    begun: deque[_Finish] = deque()
    for row in rows:
        if batch.stop.asked:
            break
        description = wording.description(catalogue, batch.settings, row.reference)
        described_as = wording.digest(description)
        copies = catalogue.copies(row.reference)
        for master in catalogue.masters(row.reference):
            own = [copy for copy in copies if copy.copy.side is master.side]
            decided = wording.decisions_again(catalogue, batch.settings, batch.profiles, row, master)
            # a side without copies was taken in by a run that was killed, or its catalogue was lost
            made_as = wording.digest(decided)
            made = [copy for copy in own if copy.copy.use is not Use.PRINT]  # prints stay as they were asked for
            if not made or any(copy.made_as != made_as for copy in made):
                _again(batch, row.reference, master, decided, begun)
            elif any(copy.described_as != described_as for copy in own):
                if _is_whole(batch, own):
                    _describe_again(batch, row, master, own, begun)
                else:  # new words in a damaged copy would make its damage the record
                    _again(batch, row.reference, master, decided, begun)
        while len(begun) >= batch.window:
            begun.popleft()()
    while begun:
        begun.popleft()()


def _is_whole(batch: Batch, copies: list[CopyRow]) -> bool:
    """Whether finished copies still hold the bytes on record."""
    files = [(batch.root / row.copy.file, row.copy.sha256) for row in copies]
    return all(path.is_file() and sha256_of(path) == sha256 for path, sha256 in files)


def _again(batch: Batch, reference: str, master: Master, decided: Decisions, begun: deque[_Finish]) -> None:
    file = batch.root / master.file
    if not file.is_file():
        batch.notes.append(
            f"{reference}: its master {master.file} is missing. Put it back from your other copy; see `audit`."
        )
        return
    job = Job(
        scan=file,
        name=master.scanned_as,
        side=master.side,
        staging=staging(batch),
        decisions=decided,
        is_master=True,
        page=master.page,
        back=_new_back(batch, reference, master),
        apart=tuple(page for page in batch.catalogue.pages_with(master.sha256) if page != master.page),
        collection=batch.root,
    )
    made = batch.executor.submit(pipeline.take_in, job)

    def finish() -> None:
        taken = _brought(batch, f"{reference}: its copies could not be made again", made)
        if taken is not None and taken.sha256 != master.sha256:  # its damage must not become the record
            batch.notes.append(
                f"{reference}: its master {master.file} has changed. Put it back from your other copy; see `audit`."
            )
        elif taken is not None:
            if taken.back is not None:
                with batch.catalogue.transaction():
                    entering.put_back(batch.catalogue, reference, taken.back)
                taken = taking.with_back(batch, reference, taken)
            place(taking.start_placing(batch, reference, taken))

    def place(placing_it: taking.Placing) -> None:
        begun.append(lambda: record(placing_it))

    def record(placing_it: taking.Placing) -> None:
        back = taking.record(batch, placing_it)
        if back is not None:
            place(back)

    begun.append(finish)


def _new_back(batch: Batch, reference: str, master: Master) -> Decisions | None:
    """What is decided about the back that the second page of a front's file becomes by a rule that was set since."""
    catalogue = batch.catalogue
    row = catalogue.original(reference)
    sides = {each.side for each in catalogue.masters(reference)}
    asked = batch.settings.scan.pages == "sides" and master.page == 0 and sides == {Side.RECTO}
    if row is None or not asked:
        return None
    return wording.decisions_again(
        catalogue, batch.settings, batch.profiles, row, master.model_copy(update={"side": Side.VERSO})
    )


def _describe_again(batch: Batch, row: OriginalRow, master: Master, own: list[CopyRow], begun: deque[_Finish]) -> None:
    """New words only: no picture is encoded again."""
    side = master.side
    with batch.catalogue.transaction():  # first, since the copies themselves say that their words changed
        batch.catalogue.add_event(row.reference, wording.DESCRIBED_AGAIN, f"{side}, {SOFTWARE}")
    description = wording.description(batch.catalogue, batch.settings, row.reference)
    described_as = wording.digest(description)
    described = batch.executor.submit(
        placing.describe_again, batch.root, row.reference, row.kind, master, [c.copy for c in own], description
    )

    def finish() -> None:
        placed = _brought(batch, f"{row.reference}: its copies could not be described again", described)
        if placed is None:
            return
        with batch.catalogue.transaction():
            for before, copy in zip(own, placed.copies, strict=True):
                batch.catalogue.put_copy(CopyRow(copy, row.reference, before.made_as, described_as))
            batch.catalogue.put_files(row.reference, placed.made)
        batch.updated.append(f"{row.reference} {side}")

    begun.append(finish)


def _brought(batch: Batch, failed: str, future: Future[T]) -> T | None:
    """What a worker brought back; None, and a note that begins with ``failed``, when it brought nothing."""
    try:
        return future.result()
    except ScanSetAside as problem:
        batch.notes.append(f"{failed}: {problem.reason} {problem.advice}")
    except (CollectionUnusable, MissingTool, ScansAway):
        raise
    except Exception as problem:  # noqa: BLE001  (one damaged master never stops a batch)
        batch.notes.append(f"{failed} ({type(problem).__name__}: {problem}). See `surrogate audit`.")
    return None
