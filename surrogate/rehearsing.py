"""``process --dry-run``: what would happen, from names, file headers and a look at as many scans as a few seconds
allow; nothing is written.
"""

from __future__ import annotations

import contextlib
import hashlib
import shutil
import tempfile
import time
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import Executor
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path

from pydantic import Field

from surrogate import running, sides, wording
from surrogate.collection import profiles, register, settings
from surrogate.collection.catalogue import Catalogue, open_catalogue
from surrogate.collection.numbering import Pattern, reference_in_name
from surrogate.collection.settings import Settings
from surrogate.condition import kind as kinds
from surrogate.errors import ScanSetAside
from surrogate.imaging.read import ScanHeader, read_header
from surrogate.intake import leaf, looks
from surrogate.intake.evidence import Group, Look
from surrogate.intake.gather import Scan, gather
from surrogate.preparing import known_kind
from surrogate.records import Kind, Master, Record, SetAside, Side
from surrogate.wording import Wording

#: Seconds for looking into scans; with reading names and headers the rehearsal of a few thousand scans stays below
#: half a minute.
LOOKING_S = 10.0

#: Scans handed to each worker at a time while looking, so that the time is kept.
_AT_A_TIME = 4

#: Copies and their records take about this share of the masters' bytes, and at least so much each (measured on the
#: sample scans and on 28.8-megapixel TIFF).
COPIES_SHARE, COPIES_BYTES = 0.02, 1_200_000

#: Bytes by which files are told apart before two of them are compared whole.
_BEGINNING = 1 << 16


class Planned(Record):
    """One original that would be made."""

    reference: str = Field(description="empty where the letter of its number depends on the kind, which is not known")
    recto: str | None
    verso: str | None
    why_paired: str
    parts: int = Field(description="originals seen on the front's scan when more than one, else 0")


class Rehearsal(Record):
    """What a run would do."""

    originals: list[Planned]
    already_there: int
    set_aside: list[SetAside]
    bytes_needed: int
    bytes_free: int
    not_looked_at: int = Field(description="scans that there was no time to look into")
    notes: list[str]

    @property
    def exit_status(self) -> int:
        """1 when something would be set aside."""
        return 1 if self.set_aside else 0

    def lines(self) -> list[str]:
        """The plan in words."""
        out = [_in_words(one) for one in self.originals]
        out += [f"Would be set aside: {a.file}: {a.reason} {a.advice}" for a in self.set_aside]
        out += [f"Note: {note}" for note in self.notes]
        if self.not_looked_at:
            out.append(
                f"Note: {self.not_looked_at} scans were not looked into, to be quick: more backs and more originals on "
                "one scan may be found, and numbers then move."
            )
        needed, free = self.bytes_needed / 1e6, self.bytes_free / 1e6
        if self.bytes_needed > self.bytes_free:
            out.append(f"The disk has too little space: {needed:,.0f} MB are needed, {free:,.0f} MB are free.")
        paired = sum(1 for one in self.originals if one.recto and one.verso)
        out.append(
            f"{len(self.originals)} new originals ({paired} with their backs), {self.already_there} scans there "
            f"already, {len(self.set_aside)} set aside; about {needed:,.0f} MB needed of {free:,.0f} MB free. "
            "Nothing was changed."
        )
        return out


def _in_words(one: Planned) -> str:
    names = " + back ".join(name for name in (one.recto, one.verso) if name)
    lone = "back only: " if one.recto is None else ""
    parts = f"  ({one.parts} originals on this scan)" if one.parts else ""
    why = f"  ({one.why_paired})" if one.recto and one.verso and one.why_paired else ""
    return f"{one.reference or 'number by its kind'}  {lone}{names}{why}{parts}"


@dataclass
class _Plan:
    """What is known so far."""

    executor: Executor
    workers: int
    scans: Mapping[str, Scan]
    settings: Settings
    words: Wording
    kind: Kind | None
    headers: dict[str, ScanHeader] = field(default_factory=dict)
    aside: list[SetAside] = field(default_factory=list)
    seen: dict[str, Look] = field(default_factory=dict)
    stop_looking_at: float = 0.0


def rehearse(
    scans: Sequence[Path],
    collection: Path,
    *,
    captions: Path | None = None,
    kind: str | None = None,
    workers: int | None = None,
) -> Rehearsal:
    """Plan a run of ``process`` without changing anything.

    Scans that break off in the middle can only be known by the run itself. Raises
    :class:`~surrogate.errors.SurrogateError` as ``process`` would.
    """
    ruled = known_kind(kind)
    gathered = gather(scans, collection)
    exists = (collection / settings.FILE_NAME).is_file()
    found = settings.read(collection) if exists else _first_settings()
    register.check(found, collection / settings.FILE_NAME)
    profiles.read(collection, found)
    words = wording.read(collection, captions, [scan.name for scan in gathered.scans], found, ())
    with running.executor(workers) as (executor, count), _catalogue(collection if exists else None) as catalogue:
        by_name = {scan.name: scan for scan in gathered.scans}
        known = catalogue.source_paths()
        fresh = [name for name, scan in by_name.items() if scan.key not in known]
        plan = _Plan(executor, count, by_name, found, words, ruled, aside=list(gathered.set_aside))
        _read_headers(plan, fresh)
        plan.stop_looking_at = time.monotonic() + LOOKING_S
        stated = {name: sides.Stated(row.side, row.reference or None) for name, row in words.rows.items()}
        look = (lambda names: _look(plan, names)) if found.sides.by_order else None
        sound = [name for name in by_name if name in plan.headers or name not in fresh]
        paired = sides.settle(sound, list(plan.headers), stated, look)
        _look(plan, list(plan.headers))
        planned = _numbered(plan, catalogue, paired.groups)
        aside = plan.aside
        return Rehearsal(
            originals=planned,
            already_there=len(by_name) - len(fresh),
            set_aside=sorted(aside, key=lambda record: record.file),
            bytes_needed=sum(
                (round(by_name[name].size * (1 + COPIES_SHARE)) if name in by_name else 0) + COPIES_BYTES
                for one in planned
                for name in (one.recto, one.verso)
                if name
            ),
            bytes_free=shutil.disk_usage(
                next(p for p in (collection, *collection.absolute().parents) if p.exists())
            ).free,
            not_looked_at=len(plan.headers) - len(plan.seen),
            notes=[*words.notes, *paired.notes],
        )


def _first_settings() -> Settings:
    """The settings that the run would write into a new collection, as far as numbers go."""
    return Settings(collection=settings.CollectionSection(year=datetime.now(UTC).year))


@contextmanager
def _catalogue(collection: Path | None) -> Iterator[Catalogue]:
    """The collection's catalogue, or an empty one that is thrown away."""
    with contextlib.ExitStack() as stack:
        folder = collection or Path(stack.enter_context(tempfile.TemporaryDirectory()))
        yield stack.enter_context(open_catalogue(folder))


def _read_headers(plan: _Plan, names: Sequence[str]) -> None:
    """Read the headers of new scans; those that cannot be read, and second copies, are set aside."""
    futures = [(name, plan.executor.submit(read_header, plan.scans[name].path)) for name in names]
    begun_alike: dict[tuple[int, bytes], list[str]] = defaultdict(list)
    for name, future in futures:
        try:
            header = future.result()
        except ScanSetAside as problem:
            plan.aside.append(SetAside(file=name, reason=problem.reason, advice=problem.advice))
            continue
        except Exception as problem:  # noqa: BLE001  (one bad scan never stops a rehearsal)
            reason = f"Its header could not be read ({type(problem).__name__}: {problem})."
            advice = "Save the scan as plain TIFF and try again; if that fails too, please report it."
            plan.aside.append(SetAside(file=name, reason=reason, advice=advice))
            continue
        alike = begun_alike[_beginning(plan.scans[name])]
        twin = next((other for other in alike if _same_bytes(plan.scans[other], plan.scans[name])), None)
        if twin is not None:
            reason = f"The same file is among the scans as {twin}."
            plan.aside.append(SetAside(file=name, reason=reason, advice="Nothing to do."))
            continue
        plan.headers[name] = header
        alike.append(name)


def _beginning(scan: Scan) -> tuple[int, bytes]:
    """Length and a digest of the first bytes: scans of one bed all have one length."""
    with contextlib.suppress(OSError), scan.path.open("rb") as handle:
        return scan.size, hashlib.sha256(handle.read(_BEGINNING)).digest()
    return scan.size, scan.key.encode()


def _same_bytes(one: Scan, other: Scan) -> bool:
    with contextlib.suppress(OSError), one.path.open("rb") as first, other.path.open("rb") as second:
        while chunk := first.read(1 << 20):
            if chunk != second.read(1 << 20):
                return False
        return True
    return False


def _look(plan: _Plan, names: Sequence[str]) -> dict[str, Look]:
    """Looks at these scans, as far as time allows."""
    wanted = [name for name in names if name not in plan.seen]
    step = _AT_A_TIME * plan.workers
    for start in range(0, len(wanted), step):
        if time.monotonic() > plan.stop_looking_at:
            break
        futures = [
            (name, plan.executor.submit(looks.look, plan.scans[name].path, name))
            for name in wanted[start : start + step]
        ]
        for name, future in futures:
            try:
                plan.seen[name] = future.result()
            except ScanSetAside as problem:
                plan.headers.pop(name, None)
                plan.aside.append(SetAside(file=name, reason=problem.reason, advice=problem.advice))
            except Exception:  # noqa: BLE001, S112  (the run itself will say what is wrong with it)
                continue
    return {name: plan.seen[name] for name in names if name in plan.seen}


class _Undone(Exception):
    """Nothing of what was written is kept."""


def _numbered(plan: _Plan, catalogue: Catalogue, groups: Sequence[Group]) -> list[Planned]:
    """Give numbers as the run would, in a transaction that is taken back."""
    planned: list[Planned] = []
    with contextlib.suppress(_Undone), catalogue.transaction():
        for group in groups:
            one = _one(plan, catalogue, group)
            if one is not None:
                planned.append(one)
        raise _Undone
    return planned


def _one(plan: _Plan, catalogue: Catalogue, group: Group) -> Planned | None:
    pattern = Pattern.parse(plan.settings.collection.reference)
    reference, kept, why = _known_number(plan, catalogue, group), {}, group.why
    for side, name in ((Side.RECTO, group.recto), (Side.VERSO, group.verso)):
        if name is None or name not in plan.headers:
            continue
        if side is Side.VERSO and group.recto and reference is None and Side.RECTO not in kept:
            reason = f"This is the back of {group.recto}, which would be set aside."
            plan.aside.append(SetAside(file=name, reason=reason, advice="Scan the front again and take both in."))
            continue
        stated = plan.words.reference_for(name) or reference_in_name(name, pattern)
        wanted = reference or stated
        try:
            if side is Side.RECTO and plan.settings.scan.pages == "sides":
                leaf.refuse_more(plan.headers[name].pages)
            if wanted is None:
                reference = _next(plan, catalogue, pattern, name)
            else:
                reference = wanted
                register.refuse_clash(catalogue, reference, side, name)
                register.give_stated(catalogue, pattern, reference)
        except ScanSetAside as problem:
            plan.aside.append(SetAside(file=name, reason=problem.reason, advice=problem.advice))
            continue
        kept[side] = name
        if reference:
            catalogue.put_master(reference, _as_master(plan, side, name), complete=False)
        if side is Side.RECTO and plan.settings.scan.pages == "sides" and plan.headers[name].pages == leaf.PAGES:
            kept[Side.VERSO], why = leaf.page_name(name, 1), "pages of one file"
            if reference:
                catalogue.put_master(reference, _as_master(plan, Side.VERSO, name, page=1), complete=False)
    if not kept:
        return None
    look = plan.seen.get(kept.get(Side.RECTO, ""))
    return Planned(
        reference=reference or "",
        recto=kept.get(Side.RECTO),
        verso=kept.get(Side.VERSO),
        why_paired=why,
        parts=look.parts if look is not None and look.parts > 1 else 0,
    )


def _known_number(plan: _Plan, catalogue: Catalogue, group: Group) -> str | None:
    for name, side in ((group.recto, Side.RECTO), (group.verso, Side.VERSO)):
        known = catalogue.source(plan.scans[name].key) if name else None
        if known is not None and known[2] is not None and known[3] is side:
            return known[2]
    return None


def _next(plan: _Plan, catalogue: Catalogue, pattern: Pattern, name: str) -> str:
    """The next number; empty where its letter depends on a kind that only the run will find out."""
    by_settings = None if plan.settings.scan.kind == "auto" else Kind(plan.settings.scan.kind)
    choices = (plan.words.caption_for(name).kind, plan.kind, kinds.from_name(name), by_settings)
    kind = next((choice for choice in choices if choice is not None), None)
    if kind is None and "letter" in pattern.fields and len(set(plan.settings.letters.values())) > 0:
        return ""
    return register.give_next(catalogue, plan.settings, pattern, kind or Kind.UNKNOWN)


def _as_master(plan: _Plan, side: Side, name: str, page: int = 0) -> Master:
    header = plan.headers[name]
    return Master(
        side=side,
        file="",
        sha256=f"rehearsed: {name}",
        bytes=plan.scans[name].size,
        width=header.width,
        height=header.height,
        bits=header.bits,
        ppi=header.ppi,
        profile=header.profile,
        scanned_as=name,
        page=page,
    )
