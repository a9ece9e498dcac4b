"""The loop that hands scans to workers and enters, in sorted order, what comes back."""

from __future__ import annotations

from collections import deque
from concurrent.futures import Future
from dataclasses import dataclass, replace
from typing import TypeVar

from surrogate import answering, arriving, entering, pipeline, placing, wording
from surrogate.batch import Batch, set_aside, tell
from surrogate.collection.files import disk_errors
from surrogate.errors import CollectionUnusable, MissingTool, ScansAway, ScanSetAside, TryAgain
from surrogate.intake.gather import Scan
from surrogate.intake.pairing import Group
from surrogate.jobs import Placed, Taken
from surrogate.records import Side

T = TypeVar("T")


@dataclass(frozen=True)
class Placing:
    """One side on its way to its final names, and the digest of the words it was given."""

    reference: str
    taken: Taken
    described_as: str
    placed: Future[Placed]


#: The scans of one original, front first, each with what a worker will bring back.
_Started = list[tuple[Scan, Side, Future[Taken]]]


def take_in_all(batch: Batch, fresh: list[Group]) -> None:
    """Take in every scan of these originals: at most a window of them is on its way at any time.

    When somebody asks to stop, what workers have begun is finished and the rest is left for the next run.
    """
    batch.total = batch.done + sum(len(arriving.members(group)) for group in fresh)
    taking: deque[tuple[Group, _Started]] = deque()
    in_place: deque[Placing] = deque()
    for group in fresh:
        if batch.stop.asked:
            batch.left += len(arriving.members(group))
            continue
        taking.append((group, _start(batch, group)))
        while len(taking) >= batch.window:
            _settle(batch, *taking.popleft(), in_place)
    while taking:
        _settle(batch, *taking.popleft(), in_place)
    while in_place:
        _finish(batch, in_place)


def _start(batch: Batch, group: Group) -> _Started:
    return [(scan, job.side, batch.executor.submit(pipeline.take_in, job)) for scan, job in arriving.jobs(batch, group)]


def _settle(batch: Batch, group: Group, started: _Started, in_place: deque[Placing]) -> None:
    """Give the sides of one original their number and start putting them in place."""
    if batch.stop.asked and all(future.cancel() for _, _, future in started):
        batch.left += len(started)
        return
    reference = arriving.reference_of_known_side(batch, group)
    for scan, side, future in started:
        taken = outcome(batch, scan.name, scan, future)
        if taken is None:
            continue
        if side is Side.VERSO and reference is None and group.recto is not None:
            set_aside(
                batch, scan.name, f"This is the back of {group.recto}, which was set aside.",
                "Scan the front again and take both in.", scan,
            )  # fmt: skip
            continue
        known = batch.catalogue.master_with(taken.sha256)
        if known is not None and (known[2] or taken.sha256 in batch.numbered):
            batch.wording.adopt_from_twin(catalogue=batch.catalogue, reference=known[0], side=side, twin=scan.name)
            set_aside(
                batch, scan.name, f"The same file was already taken in as {known[1].scanned_as} ({known[0]}).",
                "Nothing to do.", scan,
            )  # fmt: skip
            if side is Side.RECTO and known[1].side is Side.RECTO:
                reference = reference or known[0]  # a back that is new belongs to it
            continue
        if known is not None and known[1].side is not side:  # put to another front: what is missing is made from there
            with batch.catalogue.transaction():
                batch.catalogue.put_source(scan.key, scan.size, scan.mtime_ns, known[0], known[1].side)
                batch.catalogue.drop_set_aside(scan.name)
            tell(batch, scan.name)
            continue
        try:
            reference = known[0] if known else entering.number(batch, scan, side, reference, taken)
        except ScanSetAside as problem:
            set_aside(batch, scan.name, problem.reason, problem.advice, scan)
            continue
        batch.numbered.add(taken.sha256)
        if group.verso is not None and group.recto is not None and side is Side.VERSO:
            why = f"{group.verso} was taken as the back of {group.recto}: {group.why}."
            taken = replace(taken, at_arrival=(*taken.at_arrival, why))
            batch.paired.append(f"{reference}: {why}")
        _place(batch, reference, taken, in_place)
        while in_place and (len(in_place) >= batch.window or in_place[0].placed.done()):
            _finish(batch, in_place)


def _finish(batch: Batch, in_place: deque[Placing]) -> None:
    """Record the first of the sides on their way; its back follows it where that is a page of the same file."""
    back = record(batch, in_place.popleft())
    if back is not None:
        in_place.appendleft(back)


def outcome(batch: Batch, name: str, scan: Scan | None, future: Future[T]) -> T | None:
    """What a worker brought back; None when there is nothing, and the scan is set aside.

    A scan that is to be tried again is not remembered. Errors that concern the whole run are raised.
    """
    try:
        return future.result()
    except TryAgain as problem:
        set_aside(batch, name, problem.reason, problem.advice)
    except ScanSetAside as problem:
        set_aside(batch, name, problem.reason, problem.advice, scan)
    except (CollectionUnusable, MissingTool, ScansAway):
        raise
    except Exception as problem:  # noqa: BLE001  (one bad scan never stops a batch)
        set_aside(
            batch, name, f"It could not be processed ({type(problem).__name__}: {problem}).",
            "Save the scan as plain TIFF and try again; if that fails too, please report it.", scan,
        )  # fmt: skip
    return None


def _place(batch: Batch, reference: str, taken: Taken, in_place: deque[Placing]) -> None:
    in_place.append(start_placing(batch, reference, with_back(batch, reference, _in_words(batch, reference, taken))))


def _in_words(batch: Batch, reference: str, taken: Taken) -> Taken:
    """Record the words for a side that has just got its number, and what there is to say of them."""
    side = taken.job.side
    turn = taken.job.decisions.turn
    said = batch.wording.adopt(batch.catalogue, reference, side, taken.job.name, taken.offered, turn)
    said += answering.describe(batch.catalogue, reference, side, taken.answered)
    return replace(taken, at_arrival=(*taken.at_arrival, *said))


def with_back(batch: Batch, reference: str, taken: Taken) -> Taken:
    """A front with the words for the back that came in the same file, or without it where the original has another."""
    if taken.back is None:
        return taken
    known = batch.catalogue.master_with(taken.sha256, taken.back.job.page)
    if known is not None and known[0] == reference:
        return replace(taken, back=_in_words(batch, reference, taken.back))
    said = f"{taken.back.job.name}, was left out, since {reference} has another back."
    return replace(taken, at_arrival=(*taken.at_arrival, said), back=None)


def start_placing(batch: Batch, reference: str, taken: Taken) -> Placing:
    """Start describing a scan's staged files and giving them their final names."""
    words = wording.description(batch.catalogue, batch.settings, reference)
    known = batch.catalogue.master_with(taken.sha256, taken.job.page)
    file = known[1].file if known else placing.master_record(reference, taken).file
    future = batch.executor.submit(placing.put_in_place, batch.root, reference, file, taken, words)
    return Placing(reference, taken, wording.digest(words), future)


def record(batch: Batch, done: Placing) -> Placing | None:
    """Enter one finished side into the catalogue. Returns its back, now begun, where the same file holds that: a
    master must lie in its place before copies of its second page do.
    """
    reference, taken = done.reference, done.taken
    scan = batch.scans.get(taken.job.name)
    placed = outcome(batch, taken.job.name, scan, done.placed)
    if placed is None:
        return None
    again = taken.job.is_master
    scan = None if again else scan
    for file in entering.enter(batch.catalogue, reference, taken, placed, done.described_as, scan):
        with disk_errors(batch.root / file):
            (batch.root / file).unlink(missing_ok=True)
    (batch.updated if again else batch.taken_in).append(f"{reference} {taken.job.side}")
    if taken.job.page == 0:
        tell(batch, taken.job.name)
    return None if taken.back is None else start_placing(batch, reference, taken.back)
