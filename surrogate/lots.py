"""Originals that share a ``lot`` in the caption sheet: kept together, so aged alike, so judged together.

What the networks see of each print is kept in the catalogue. A lot's estimate depends on nothing else, so it is the
same whatever order prints came in and wherever a run broke off; and when a lot changes, the decisions on its prints do,
so that their copies follow like any others.
"""

from __future__ import annotations

import dataclasses
from collections import defaultdict, deque
from collections.abc import Sequence
from concurrent.futures import Future
from dataclasses import dataclass

from surrogate import pipeline, wording
from surrogate.batch import Batch, staging
from surrogate.collection.catalogue import Glance
from surrogate.collection.files import sha256_of
from surrogate.condition import lot
from surrogate.errors import CollectionUnusable, MissingTool, ScansAway
from surrogate.jobs import Decisions, Job
from surrogate.records import Kind, Master, Side

#: Most prints that are judged together: three times what the networks were fitted for. From there on a lot's estimate
#: hardly gains, while every print that joins makes the copies of all others anew (judgement).
MOST = 24


@dataclass(frozen=True)
class _Print:
    """The front of an original in a lot, and what was decided about it, its lot apart."""

    reference: str
    master: Master
    decided: Decisions

    @property
    def seen_as(self) -> str:
        return f"{wording.digest(self.decided)} {lot.seen_by()}"


def bring_together(batch: Batch) -> None:
    """See what was not seen yet of the prints in lots, and record which are judged together."""
    prints = _prints(batch)
    _see(batch, [each for members in prints for each in members])
    if batch.stop.asked:
        return
    seen = batch.catalogue.glances()
    groups = [group for members in prints for group in groups_of([each for each in members if _is_seen(each, seen)])]
    together = {
        each.reference: (place, [other.master.sha256 for other in group])
        for group in groups
        for place, each in enumerate(group)
    }
    with batch.catalogue.transaction():
        batch.catalogue.put_lots(together, [each.master.sha256 for members in prints for each in members])


def _prints(batch: Batch) -> list[list[_Print]]:
    """The fronts of every lot of at least two. Spelling counts but for case and spaces."""
    named: dict[str, list[_Print]] = defaultdict(list)
    for reference, name in batch.catalogue.lots_written():
        row = batch.catalogue.original(reference)
        front = batch.catalogue.master(reference, Side.RECTO)
        if row is None or front is None:
            continue
        decided = wording.decisions_again(batch.catalogue, batch.settings, batch.profiles, row, front)
        if decided.kind in {None, Kind.COLOUR_PRINT}:
            known = _Print(reference, front, dataclasses.replace(decided, lot=None))
            named[" ".join(name.casefold().split())].append(known)
    return [members for _, members in sorted(named.items()) if len(members) > 1]


def _is_seen(each: _Print, seen: dict[str, Glance]) -> bool:
    """Whether enough was seen of it to be judged with others."""
    known = seen.get(each.master.sha256)
    return known is not None and known.seen_as == each.seen_as and known.text != ""


def groups_of(members: Sequence[_Print]) -> list[list[_Print]]:
    """Prints that are judged together, in the order of their scans' names; at most :data:`MOST`, or one more.

    By names, since a scanner counts: a print that is added later joins the last group and leaves the others alone.
    """
    ordered = sorted(members, key=lambda each: (each.master.scanned_as, each.master.sha256))
    groups = [ordered[start : start + MOST] for start in range(0, len(ordered), MOST)]
    if len(groups) > 1 and len(groups[-1]) == 1:
        last = groups.pop()
        groups[-1] += last
    return [group for group in groups if len(group) > 1]


def _see(batch: Batch, prints: Sequence[_Print]) -> None:
    """Have workers look at the masters that were not looked at under these decisions."""
    before = batch.catalogue.glances() if prints else {}
    begun: deque[tuple[_Print, Future[str | None]]] = deque()
    for each in prints:
        known = before.get(each.master.sha256)
        if batch.stop.asked:
            break
        if known is not None and known.seen_as == each.seen_as:
            continue
        file = batch.root / each.master.file
        if not file.is_file():
            continue  # its own copies cannot be made either, which is said there
        master = each.master
        job = Job(file, master.scanned_as, Side.RECTO, staging(batch), each.decided, is_master=True, page=master.page)
        begun.append((each, batch.executor.submit(_glance, job, each.master.sha256)))
        while len(begun) >= batch.window:
            _keep(batch, *begun.popleft())
    while begun:
        _keep(batch, *begun.popleft())


def _glance(job: Job, sha256: str) -> str | None:
    """What is seen of a master; None where it is no longer what it was. Runs in a worker."""
    return pipeline.glance(job) if sha256_of(job.scan) == sha256 else None


def _keep(batch: Batch, each: _Print, future: Future[str | None]) -> None:
    try:
        text = future.result()
    except (CollectionUnusable, MissingTool, ScansAway):
        raise
    except Exception as problem:  # noqa: BLE001  (one damaged master never stops a batch)
        batch.notes.append(f"{each.reference}: its lot could not be judged with it ({problem}). See `surrogate audit`.")
        return
    if text is not None:
        with batch.catalogue.transaction():
            batch.catalogue.put_glance(each.master.sha256, Glance(each.seen_as, text))
