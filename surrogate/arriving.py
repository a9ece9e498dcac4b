"""Scans on their way in: which are new, which belong together, and the job that each becomes."""

from __future__ import annotations

from surrogate import sides, wording
from surrogate.batch import Batch, set_aside, staging
from surrogate.condition import kind as kinds
from surrogate.errors import WrongUse
from surrogate.intake.evidence import Group
from surrogate.intake.gather import Gathered, Scan
from surrogate.intake.leaf import file_of, page_name
from surrogate.jobs import Decisions, Job
from surrogate.records import Kind, Side


def by_name(gathered: Gathered) -> dict[str, Scan]:
    """The scans by their names. Raises :class:`WrongUse` where two folders hold the same name."""
    found: dict[str, Scan] = {}
    for scan in gathered.scans:
        other = found.setdefault(scan.name, scan)
        if other is not scan:
            raise WrongUse(
                f"Two folders hold a scan called {scan.name}: {other.path} and {scan.path}. "
                "Take them in one after the other."
            )
    return found


def groups(batch: Batch, gathered: Gathered) -> list[Group]:
    """The originals to take in, sorted; what cannot be taken in by its look or name is set aside or noted here."""
    fresh = [name for name, scan in batch.scans.items() if not _is_known(batch, scan)]
    found = sides.settle(list(batch.scans), fresh, _stated(batch), _looker(batch), _remembered(batch))
    _remember(batch, found.seen)
    batch.notes += found.notes
    if gathered.left_alone:
        batch.notes.append(f"Left alone, since they are no pictures by their names: {', '.join(gathered.left_alone)}.")
    for record in gathered.set_aside:
        set_aside(batch, record.file, record.reason, record.advice)
    return [group for group in found.groups if _is_fresh(batch, group)]


def _stated(batch: Batch) -> dict[str, sides.Stated]:
    return {name: sides.Stated(row.side, row.reference or None) for name, row in batch.wording.rows.items()}


def _remembered(batch: Batch) -> list[Group]:
    """Pairs that earlier runs saw in the pictures, under the names of this run."""
    names = {scan.key: name for name, scan in batch.scans.items()}
    return [
        Group(names[front], names[back], why, 1.0)
        for front, back, why in batch.catalogue.remembered_pairs()
        if front in names and back in names
    ]


def _remember(batch: Batch, seen: list[Group]) -> None:
    with batch.catalogue.transaction():
        for group in seen:
            front, back = (batch.scans[name].key for name in (group.recto, group.verso) if name)
            batch.catalogue.remember_pair(front, back, group.why)


def _looker(batch: Batch) -> sides.Looker | None:
    if not batch.settings.sides.by_order:
        return None
    paths = {name: scan.path for name, scan in batch.scans.items()}

    def told(name: str) -> None:
        if batch.progress is not None:
            batch.progress(0, len(batch.scans), len(batch.aside), f"looking at {name}")

    return sides.looker(batch.executor, paths, told)


def _is_known(batch: Batch, scan: Scan) -> bool:
    """Whether an earlier run dealt with this file as it is now."""
    known = batch.catalogue.source(scan.key)
    return known is not None and known[:2] == (scan.size, scan.mtime_ns)


def members(group: Group) -> list[tuple[str, Side]]:
    """The scans of one original, front first."""
    sides = [(group.recto, Side.RECTO), (group.verso, Side.VERSO)]
    return [(name, side) for name, side in sides if name is not None]


def _is_fresh(batch: Batch, group: Group) -> bool:
    """Whether some scan of the group was not dealt with in an earlier run."""
    fresh = False
    for name, _ in members(group):
        if _is_known(batch, batch.scans[name]):
            batch.already_there += 1
            batch.aside += [record for record in batch.catalogue.set_aside() if record.file == name]
        else:
            fresh = True
    return fresh


def jobs(batch: Batch, group: Group) -> list[tuple[Scan, Job]]:
    """A job for each scan of an original that no earlier run dealt with, front first."""
    found = []
    for name, side in members(group):
        scan = batch.scans[name]
        if _is_known(batch, scan):
            continue
        two_sided = side is Side.RECTO and batch.settings.scan.pages == "sides"
        job = Job(
            scan=scan.path,
            name=name,
            side=side,
            staging=staging(batch),
            decisions=_decide(batch, name, side),
            back=_decide(batch, page_name(name, 1), Side.VERSO) if two_sided else None,
        )
        found.append((scan, job))
    return found


def _decide(batch: Batch, name: str, side: Side) -> Decisions:
    """Decisions for a scan that has no number yet: caption sheet, then command, then file name, then settings."""
    caption = batch.wording.caption_for(name)
    by_settings = None if batch.settings.scan.kind == "auto" else Kind(batch.settings.scan.kind)
    choices = (
        (caption.kind, "caption sheet"),
        (batch.kind, "command"),
        (kinds.from_name(name), "file name"),
        (by_settings, "settings"),
    )
    kind = next(((kind, why) for kind, why in choices if kind is not None), (None, "picture"))
    drawn = batch.outlining.for_scan(name)
    return wording.decisions(caption, batch.settings, side, kind, drawn, batch.profiles.of_scan(file_of(name)))


def reference_of_known_side(batch: Batch, group: Group) -> str | None:
    """The number of the group's other side, when that was taken in, as that side, by an earlier run."""
    for name, side in members(group):
        scan = batch.scans[name]
        known = batch.catalogue.source(scan.key)
        if known is not None and known[:2] == (scan.size, scan.mtime_ns) and known[2] is not None and known[3] is side:
            return known[2]
    return None
