"""``process``: a folder of scans becomes a collection; run again, it takes in what is new and follows what changed."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator, Sequence
from concurrent.futures import Executor, Future
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Protocol

from surrogate import exporting, likening, outlining, pipeline, placing, running, wording
from surrogate.collection import paths, register, settings
from surrogate.collection.catalogue import Catalogue, CopyRow, OriginalRow, OutlineRow, four_corners, open_catalogue
from surrogate.collection.files import disk_errors
from surrogate.collection.holding import clear_unfinished, held
from surrogate.collection.numbering import Pattern, reference_in_name
from surrogate.collection.settings import Settings
from surrogate.condition import kind as kinds
from surrogate.description.embed import embedder
from surrogate.errors import CollectionUnusable, DiskFull, MissingTool, ScanSetAside, WrongUse
from surrogate.handover import text
from surrogate.intake.gather import Gathered, Scan, gather
from surrogate.intake.pairing import Group, pair
from surrogate.jobs import SOFTWARE, Decisions, Job, Placed, Taken
from surrogate.outlining import Outlining
from surrogate.records import Copy, Kind, Record, SetAside, Side
from surrogate.wording import Wording

#: Scans in flight per worker: enough that none waits for the parent, few enough that little is lost when interrupted.
IN_FLIGHT = 2


class Progress(Protocol):
    """Told how far the work is."""

    def __call__(self, done: int, total: int, what: str) -> None:
        """``done`` of ``total`` scans; ``what`` is the name of the last one."""


class ProcessReport(Record):
    """What a run of ``process`` did."""

    collection: str
    originals: int
    taken_in: list[str]
    already_there: int
    updated: list[str]
    set_aside: list[SetAside]
    notes: list[str]

    @property
    def exit_status(self) -> int:
        """0 when all was done, 1 when something was set aside."""
        return 1 if self.set_aside else 0


@dataclass(frozen=True)
class _Placing:
    """One side on its way to its final names, and the digest of the words it was given."""

    reference: str
    taken: Taken
    described_as: str
    placed: Future[Placed]


@dataclass
class _Run:
    """State of one run in the parent process."""

    root: Path
    settings: Settings
    catalogue: Catalogue
    executor: Executor
    window: int
    wording: Wording
    outlining: Outlining
    kind: Kind | None
    scans: dict[str, Scan]
    progress: Progress | None
    total: int = 0
    done: int = 0
    already_there: int = 0
    taken_in: list[str] = field(default_factory=list)
    updated: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    aside: list[SetAside] = field(default_factory=list)
    numbered: set[str] = field(default_factory=set)
    serial: int = 0


def process(
    scans: Sequence[Path],
    collection: Path,
    *,
    captions: Path | None = None,
    kind: str | None = None,
    workers: int | None = None,
    progress: Progress | None = None,
) -> ProcessReport:
    """Take scans into a collection, make what is missing and bring copies up to date with captions and decisions.

    Raises :class:`~surrogate.errors.SurrogateError` when nothing can be done; single scans that fail are set aside.
    """
    ruled = known_kind(kind)
    gathered = gather(scans, collection)
    found = prepare(collection)
    embedder()  # fails in one sentence, before anything is changed, when ExifTool is missing
    with held(collection, "process"), open_catalogue(collection) as catalogue, running.executor(workers) as pool:
        clear_unfinished(collection)
        names = [scan.name for scan in gathered.scans]
        run = _Run(
            root=collection,
            settings=found,
            catalogue=catalogue,
            executor=pool[0],
            window=IN_FLIGHT * pool[1],
            wording=wording.read(collection, captions, names, found.headers, catalogue.sheet_as_written()),
            outlining=outlining.read(collection),
            kind=ruled,
            scans=_by_name(gathered),
            progress=progress,
        )
        run.notes += run.wording.notes
        _take_in_new(run, gathered)
        run.notes += likening.link(collection, catalogue)
        _follow_changes(run)
        clear_unfinished(collection)
        run.notes += text.refresh_all(collection, _copies_by_original(catalogue), found.text.language, pool[1])
        exporting.export(collection, found, catalogue, run.notes)
        return ProcessReport(
            collection=str(collection),
            originals=len(catalogue.originals()),
            taken_in=run.taken_in,
            already_there=run.already_there,
            updated=run.updated,
            set_aside=run.aside,
            notes=run.notes,
        )


def _copies_by_original(catalogue: Catalogue) -> Iterator[tuple[str, Kind, list[Copy]]]:
    for row in catalogue.originals():
        yield row.reference, row.kind, [each.copy for each in catalogue.copies(row.reference)]


def known_kind(kind: str | None) -> Kind | None:
    """The kind that a person named on the command line; None and ``auto`` mean: find out."""
    if kind is None or kind == "auto":
        return None
    try:
        return Kind(kind)
    except ValueError as error:
        known = ", ".join(k.value for k in Kind)
        raise WrongUse(f"There is no kind of original called “{kind}”. Known kinds: {known}.") from error


def prepare(collection: Path) -> Settings:
    """Make the collection folder on first use and read its settings.

    Raises :class:`CollectionUnusable` for a folder with other things in it.
    """
    if collection.exists() and not collection.is_dir():
        raise CollectionUnusable(f"{collection} is a file. Give a folder for the collection.")
    with disk_errors(collection):
        collection.mkdir(parents=True, exist_ok=True)
        entries = [entry.name for entry in collection.iterdir() if not entry.name.startswith(".")]
    if settings.FILE_NAME not in entries:
        if entries:
            raise CollectionUnusable(
                f"{collection} is not a collection: it holds {entries[0]} but no {settings.FILE_NAME}. "
                "Give a new or empty folder."
            )
        settings.write_first(collection, datetime.now(UTC).year)
    return settings.read(collection)


def _by_name(gathered: Gathered) -> dict[str, Scan]:
    by_name: dict[str, Scan] = {}
    for scan in gathered.scans:
        other = by_name.setdefault(scan.name, scan)
        if other is not scan:
            raise WrongUse(
                f"Two folders hold a scan called {scan.name}: {other.path} and {scan.path}. "
                "Take them in one after the other."
            )
    return by_name


def _take_in_new(run: _Run, gathered: Gathered) -> None:
    groups = pair(list(run.scans))
    if gathered.left_alone:
        run.notes.append(f"Left alone, since they are no pictures by their names: {', '.join(gathered.left_alone)}.")
    for record in gathered.set_aside:
        _set_aside(run, record.file, record.reason, record.advice)
    fresh = [group for group in groups if _is_fresh(run, group)]
    run.total = sum(len(_members(group)) for group in fresh)
    taking: deque[tuple[Group, list[tuple[Scan, Side, Future[Taken]]]]] = deque()
    placing: deque[_Placing] = deque()
    for group in fresh:
        taking.append((group, _start(run, group)))
        while len(taking) >= run.window:
            _settle(run, *taking.popleft(), placing)
    while taking:
        _settle(run, *taking.popleft(), placing)
    while placing:
        _record(run, placing.popleft())


def _members(group: Group) -> list[tuple[str, Side]]:
    sides = [(group.recto, Side.RECTO), (group.verso, Side.VERSO)]
    return [(name, side) for name, side in sides if name is not None]


def _is_fresh(run: _Run, group: Group) -> bool:
    """Whether some scan of the group was not dealt with in an earlier run."""
    fresh = False
    for name, _ in _members(group):
        scan = run.scans[name]
        known = run.catalogue.source(str(scan.path.resolve()))
        if known is not None and known[:2] == (scan.size, scan.mtime_ns):
            run.already_there += 1
            run.aside += [record for record in run.catalogue.set_aside() if record.file == name]
        else:
            fresh = True
    return fresh


def _start(run: _Run, group: Group) -> list[tuple[Scan, Side, Future[Taken]]]:
    started = []
    for name, side in _members(group):
        scan = run.scans[name]
        known = run.catalogue.source(str(scan.path.resolve()))
        if known is not None and known[:2] == (scan.size, scan.mtime_ns):
            continue
        run.serial += 1
        job = Job(
            scan=scan.path,
            name=name,
            side=side,
            staging=run.root / paths.INCOMING / str(run.serial),
            decisions=_decide(run, name, side),
        )
        started.append((scan, side, run.executor.submit(pipeline.take_in, job)))
    return started


def _decide(run: _Run, name: str, side: Side) -> Decisions:
    """Decisions for a scan that has no number yet: caption sheet, then command, then file name, then settings."""
    caption = run.wording.caption_for(name)
    by_settings = None if run.settings.scan.kind == "auto" else Kind(run.settings.scan.kind)
    choices = (
        (caption.kind, "caption sheet"),
        (run.kind, "command"),
        (kinds.from_name(name), "file name"),
        (by_settings, "settings"),
    )
    kind = next(((kind, why) for kind, why in choices if kind is not None), (None, "picture"))
    return wording.decisions(caption, run.settings, side, kind, run.outlining.for_scan(name))


def _settle(
    run: _Run,
    group: Group,
    started: list[tuple[Scan, Side, Future[Taken]]],
    placing: deque[_Placing],
) -> None:
    """Give the sides of one original their number and start putting them in place."""
    reference = _reference_of_known_side(run, group)
    for scan, side, future in started:
        taken = _result(run, scan, future)
        if taken is None:
            continue
        if side is Side.VERSO and reference is None and group.recto is not None:
            _set_aside(
                run, scan.name, f"This is the back of {group.recto}, which was set aside.",
                "Scan the front again and take both in.", scan,
            )  # fmt: skip
            continue
        known = run.catalogue.master_with(taken.sha256)
        if known is not None and (known[2] or taken.sha256 in run.numbered):
            run.wording.adopt_from_twin(catalogue=run.catalogue, reference=known[0], side=side, twin=scan.name)
            _set_aside(
                run, scan.name, f"The same file was already taken in as {known[1].scanned_as} ({known[0]}).",
                "Nothing to do.", scan,
            )  # fmt: skip
            continue
        try:
            reference = known[0] if known else _number(run, scan, side, reference, taken)
        except ScanSetAside as problem:
            _set_aside(run, scan.name, problem.reason, problem.advice, scan)
            continue
        run.numbered.add(taken.sha256)
        if group.verso is not None and group.recto is not None and side is Side.VERSO:
            why = f"{group.verso} was taken as the back of {group.recto}: {group.why}."
            taken = replace(taken, notes=(*taken.notes, why))
        _place(run, reference, taken, placing)
        while len(placing) >= run.window:
            _record(run, placing.popleft())


def _result(run: _Run, scan: Scan, future: Future[Taken]) -> Taken | None:
    try:
        return future.result()
    except ScanSetAside as problem:
        _set_aside(run, scan.name, problem.reason, problem.advice, scan)
    except (DiskFull, CollectionUnusable, MissingTool):
        raise
    except Exception as problem:  # noqa: BLE001  (one bad scan never stops a batch)
        _set_aside(
            run, scan.name, f"It could not be processed ({type(problem).__name__}: {problem}).",
            "Save the scan as plain TIFF and try again; if that fails too, please report it.", scan,
        )  # fmt: skip
    return None


def _reference_of_known_side(run: _Run, group: Group) -> str | None:
    """The number of the group's other side, when that was taken in by an earlier run."""
    for name, _ in _members(group):
        scan = run.scans[name]
        known = run.catalogue.source(str(scan.path.resolve()))
        if known is not None and known[:2] == (scan.size, scan.mtime_ns) and known[2] is not None:
            return known[2]
    return None


def _number(run: _Run, scan: Scan, side: Side, reference: str | None, taken: Taken) -> str:
    """The reference number for a scan; kept in the catalogue together with its master before any file is named."""
    pattern = Pattern.parse(run.settings.collection.reference)
    stated = run.wording.reference_for(scan.name) or reference_in_name(scan.name, pattern)
    catalogue = run.catalogue
    with catalogue.transaction():
        if reference is not None and stated not in {None, reference}:
            run.notes.append(f"{scan.name}: the number {stated} was not used, since its other side is {reference}.")
        wanted = reference or stated
        if wanted is None:
            reference = register.give_next(catalogue, run.settings, pattern, taken.kind)
        else:
            reference = wanted
            register.refuse_clash(catalogue, reference, side, scan.name)
            register.give_stated(catalogue, pattern, reference)
        catalogue.put_master(reference, placing.master_record(reference, taken), complete=False)
        if side is Side.RECTO or catalogue.original(reference) is None:
            catalogue.put_original(OriginalRow(reference, taken.kind, taken.kind_confidence, taken.kind_from))
    return reference


def _place(run: _Run, reference: str, taken: Taken, placing: deque[_Placing]) -> None:
    side = taken.job.side
    said = run.wording.adopt(run.catalogue, reference, side, taken.job.name, taken.offered)
    taken = replace(taken, notes=(*taken.notes, *said))
    placing.append(_placing(run, reference, taken))


def _placing(run: _Run, reference: str, taken: Taken) -> _Placing:
    words = wording.description(run.catalogue, run.settings, reference)
    future = run.executor.submit(placing.put_in_place, run.root, reference, taken, words)
    return _Placing(reference, taken, wording.digest(words), future)


def _record(run: _Run, done: _Placing) -> None:
    """Enter one finished side into the catalogue."""
    reference, taken = done.reference, done.taken
    scan = run.scans.get(taken.job.name)
    try:
        placed = done.placed.result()
    except ScanSetAside as problem:
        _set_aside(run, taken.job.name, problem.reason, problem.advice, scan)
        return
    _enter(run.catalogue, done, placed)
    if scan is not None and not taken.job.is_master:
        run.catalogue.put_source(str(scan.path.resolve()), scan.size, scan.mtime_ns, reference, taken.job.side)
        run.catalogue.drop_set_aside(scan.name)
        run.taken_in.append(f"{reference} {taken.job.side}")
    else:
        run.updated.append(f"{reference} {taken.job.side}")
    _tell(run, taken.job.name)


def _enter(catalogue: Catalogue, done: _Placing, placed: Placed) -> None:
    """Record everything about one side in one transaction."""
    reference, taken = done.reference, done.taken
    side = taken.job.side
    made_as = wording.digest(taken.job.decisions)
    with catalogue.transaction():
        catalogue.put_master(reference, placed.master, complete=True)
        catalogue.add_condition(reference, taken.condition, software=SOFTWARE, master_sha256=placed.master.sha256)
        catalogue.drop_copies(reference, side, keep=[copy.file for copy in placed.copies])
        for copy in placed.copies:
            catalogue.put_copy(CopyRow(copy, reference, made_as, done.described_as))
        rows = [
            OutlineRow(reference, side, f.part, four_corners(f.corners), f.confidence, f.note) for f in taken.outlines
        ]
        whole = taken.job.decisions.outlines == ()
        catalogue.put_outlines(
            reference, side, [OutlineRow(reference, side, 0, None, None, "whole frame")] if whole else rows
        )
        catalogue.put_notes(reference, side, taken.notes)
        if side is Side.RECTO:
            catalogue.put_original(OriginalRow(reference, taken.kind, taken.kind_confidence, taken.kind_from))
        what = "copies made again" if taken.job.is_master else "taken in"
        catalogue.add_event(reference, what, f"{placed.master.scanned_as} ({side}), {SOFTWARE}")


def _set_aside(run: _Run, name: str, reason: str, advice: str, scan: Scan | None = None) -> None:
    record = SetAside(file=name, reason=reason, advice=advice)
    run.aside.append(record)
    with run.catalogue.transaction():
        run.catalogue.put_set_aside(record)
        if scan is not None:
            run.catalogue.put_source(str(scan.path.resolve()), scan.size, scan.mtime_ns, None, None)
    _tell(run, name)


def _tell(run: _Run, name: str) -> None:
    run.done += 1
    if run.progress is not None:
        run.progress(run.done, max(run.total, run.done), name)


def _follow_changes(run: _Run) -> None:
    """Make copies again where a decision changed, and describe them again where only the words did."""
    catalogue = run.catalogue
    placing: deque[_Placing] = deque()
    run.wording.merge(catalogue)
    run.outlining.adopt(catalogue)
    for row in catalogue.originals():
        description = wording.description(catalogue, run.settings, row.reference)
        described_as = wording.digest(description)
        copies = [copy for copy in catalogue.copies(row.reference) if copy.copy.use.value != "print"]
        for master in catalogue.masters(row.reference):
            own = [copy for copy in copies if copy.copy.side is master.side]
            decided = wording.decisions_again(catalogue, run.settings, row, master)
            if any(copy.made_as != wording.digest(decided) for copy in own):
                _again(run, row.reference, master.file, master.side, decided, placing)
            elif any(copy.described_as != described_as for copy in own):
                _describe_again(run, row, master.side, own)
    while placing:
        _record(run, placing.popleft())


def _again(
    run: _Run,
    reference: str,
    file: str,
    side: Side,
    decided: Decisions,
    placing: deque[_Placing],
) -> None:
    run.serial += 1
    master = next(m for m in run.catalogue.masters(reference) if m.side is side)
    job = Job(
        scan=run.root / file,
        name=master.scanned_as,
        side=side,
        staging=run.root / paths.INCOMING / str(run.serial),
        decisions=decided,
        is_master=True,
    )
    try:
        taken = run.executor.submit(pipeline.take_in, job).result()
    except ScanSetAside as problem:
        run.notes.append(f"{reference}: its copies could not be made again: {problem.reason} {problem.advice}")
        return
    placing.append(_placing(run, reference, taken))


def _describe_again(run: _Run, row: OriginalRow, side: Side, own: list[CopyRow]) -> None:
    """New words only: no picture is encoded again."""
    with run.catalogue.transaction():  # first, since the copies themselves say that their words changed
        run.catalogue.add_event(row.reference, wording.DESCRIBED_AGAIN, f"{side}, {SOFTWARE}")
    description = wording.description(run.catalogue, run.settings, row.reference)
    master = next(m for m in run.catalogue.masters(row.reference) if m.side is side)
    copies = run.executor.submit(
        placing.describe_again, run.root, row.reference, row.kind, master, [c.copy for c in own], description
    ).result()
    described_as = wording.digest(description)
    with run.catalogue.transaction():
        for before, copy in zip(own, copies, strict=True):
            run.catalogue.put_copy(CopyRow(copy, row.reference, before.made_as, described_as))
    run.updated.append(f"{row.reference} {side}")
