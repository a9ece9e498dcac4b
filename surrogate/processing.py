"""``process``: a folder of scans becomes a collection; run again, it takes in what is new and follows what changed."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path

from surrogate import arriving, exporting, following, likening, outlining, running, stopping, taking, wording
from surrogate.batch import Batch, ProcessReport, Progress
from surrogate.collection import profiles
from surrogate.collection.catalogue import Catalogue, open_catalogue
from surrogate.collection.holding import clear_unfinished, held
from surrogate.description.conversation import require_exiftool
from surrogate.handover import text
from surrogate.intake.gather import gather
from surrogate.preparing import known_kind, prepare
from surrogate.records import Copy, Kind

__all__ = ["ProcessReport", "Progress", "process"]

#: Originals in flight per worker: enough that none waits for the parent or for one slow scan before it, few enough that
#: little of the disk is taken by what has no number yet.
IN_FLIGHT = 4


def process(
    scans: Sequence[Path],
    collection: Path,
    *,
    captions: Path | None = None,
    kind: str | None = None,
    workers: int | None = None,
    cluster: str | None = None,
    progress: Progress | None = None,
) -> ProcessReport:
    """Take scans into a collection, make what is missing and bring copies up to date with captions and decisions.

    Raises :class:`~surrogate.errors.SurrogateError` when nothing can be done; single scans that fail are set aside.
    """
    ruled = known_kind(kind)
    gathered = gather(scans, collection)
    found = prepare(collection)
    given = profiles.read(collection, found)
    require_exiftool()
    with (
        stopping.heard() as stop,
        running.executor(workers, cluster, [*scans, collection]) as pool,  # first: children inherit what is open
        held(collection, "process"),
        open_catalogue(collection) as catalogue,
    ):
        clear_unfinished(collection)
        profiles.keep(collection, given)
        names = [scan.name for scan in gathered.scans]
        batch = Batch(
            root=collection,
            settings=found,
            profiles=given,
            catalogue=catalogue,
            executor=pool[0],
            window=IN_FLIGHT * pool[1],
            wording=wording.read(collection, captions, names, found, catalogue.sheets_as_written()),
            outlining=outlining.read(collection),
            kind=ruled,
            scans=arriving.by_name(gathered),
            progress=progress,
            stop=stop,
        )
        batch.notes += batch.wording.notes
        taking.take_in_all(batch, arriving.groups(batch, gathered))
        if not stop.asked:
            batch.notes += likening.link(collection, catalogue, batch.executor, batch.window)
        following.follow_changes(batch)
        clear_unfinished(collection)
        if not stop.asked:
            batch.notes += text.refresh_all(
                collection, _copies_by_original(catalogue), found.text.language, running.default_workers()
            )
        exporting.export(collection, found, catalogue, batch.notes)
        return ProcessReport(
            collection=str(collection),
            originals=len(catalogue.originals()),
            taken_in=batch.taken_in,
            already_there=batch.already_there,
            updated=batch.updated,
            set_aside=batch.aside,
            paired=batch.paired,
            left=batch.left,
            notes=batch.notes,
        )


def _copies_by_original(catalogue: Catalogue) -> Iterator[tuple[str, Kind, list[Copy]]]:
    for row in catalogue.originals():
        yield row.reference, row.kind, [each.copy for each in catalogue.copies(row.reference)]
