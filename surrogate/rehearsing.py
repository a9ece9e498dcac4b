"""``process --dry-run``: what would happen, from names and file headers alone; nothing is written."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path

from surrogate import wording
from surrogate.collection import settings
from surrogate.collection.catalogue import open_catalogue
from surrogate.collection.numbering import Pattern, next_item, reference_in_name
from surrogate.collection.settings import Settings
from surrogate.errors import ScanSetAside
from surrogate.imaging.read import read_header
from surrogate.intake.gather import gather
from surrogate.intake.pairing import pair
from surrogate.preparing import known_kind
from surrogate.records import Record, SetAside


class Planned(Record):
    """One original that would be made."""

    reference: str
    recto: str | None
    verso: str | None
    why_paired: str


class Rehearsal(Record):
    """What a run would do."""

    originals: list[Planned]
    already_there: int
    set_aside: list[SetAside]
    bytes_needed: int
    notes: list[str]

    @property
    def exit_status(self) -> int:
        """1 when something would be set aside."""
        return 1 if self.set_aside else 0

    def lines(self) -> list[str]:
        """The plan in words."""
        out = []
        for one in self.originals:
            sides = " + back ".join(name for name in (one.recto, one.verso) if name)
            out.append(f"{one.reference}  {sides}" + (f"  ({one.why_paired})" if one.verso and one.why_paired else ""))
        out += [f"Would be set aside: {a.file}: {a.reason} {a.advice}" for a in self.set_aside]
        out += [f"Note: {note}" for note in self.notes]
        megabytes = self.bytes_needed / 1e6
        out.append(
            f"{len(self.originals)} new originals, {self.already_there} scans there already, "
            f"{len(self.set_aside)} set aside; about {megabytes:,.0f} MB needed. Nothing was changed."
        )
        return out


#: Copies and their records take about this share of the masters' bytes, and at least so much each (measured on the
#: sample scans and on 28.8-megapixel TIFF).
COPIES_SHARE, COPIES_BYTES = 0.02, 1_200_000


def rehearse(
    scans: Sequence[Path], collection: Path, *, captions: Path | None = None, kind: str | None = None
) -> Rehearsal:
    """Plan a run of ``process`` without changing anything.

    Numbers of originals that need a letter by kind, prints on pages and scans that break off in the middle can only be
    known by the run itself. Raises :class:`~surrogate.errors.SurrogateError` as ``process`` would.
    """
    known_kind(kind)
    gathered = gather(scans, collection)
    exists = (collection / settings.FILE_NAME).is_file()
    found = settings.read(collection) if exists else Settings()
    words = wording.read(collection, captions, [scan.name for scan in gathered.scans], found.headers, None)
    known = _known_paths(collection) if exists else set()
    by_name = {scan.name: scan for scan in gathered.scans}
    aside = list(gathered.set_aside)
    numbers = _Numbers(collection if exists else None, found)
    planned, needed, there = [], 0, 0
    for group in pair(list(by_name)):
        fresh = [name for name in (group.recto, group.verso) if name and str(by_name[name].path.resolve()) not in known]
        there += sum(1 for name in (group.recto, group.verso) if name) - len(fresh)
        kept = []
        for name in fresh:
            try:
                read_header(by_name[name].path)
            except ScanSetAside as problem:
                aside.append(SetAside(file=name, reason=problem.reason, advice=problem.advice))
                continue
            kept.append(name)
            needed += round(by_name[name].size * (1 + COPIES_SHARE)) + COPIES_BYTES
        if kept:
            stated = words.reference_for(kept[0]) or reference_in_name(kept[0], numbers.pattern)
            planned.append(
                Planned(
                    reference=stated or numbers.next(),
                    recto=group.recto if group.recto in kept else None,
                    verso=group.verso if group.verso in kept else None,
                    why_paired=group.why,
                )
            )
    return Rehearsal(
        originals=planned, already_there=there, set_aside=aside, bytes_needed=needed, notes=list(words.notes)
    )


def _known_paths(collection: Path) -> set[str]:
    with open_catalogue(collection) as catalogue:
        return catalogue.source_paths()


class _Numbers:
    """The next free numbers, counted on without giving any away."""

    def __init__(self, collection: Path | None, found: Settings) -> None:
        self.pattern = Pattern.parse(found.collection.reference)
        self._year = found.collection.year or datetime.now(UTC).year
        self._accession = found.collection.accession
        used: list[int] = []
        if collection is not None:
            with open_catalogue(collection) as catalogue:
                year = self._year if "year" in self.pattern.fields else None
                accession = self._accession if "accession" in self.pattern.fields else None
                used = catalogue.numbers_in_series(year=year, accession=accession, letter=None)
        self._next = next_item(used)

    def next(self) -> str:
        """One more number."""
        number = self.pattern.format(self._year, self._accession, self._next)
        self._next += 1
        return number
