"""A session of new scans: every original that lies in a folder compared with its master, each told by the others."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from datetime import date
from functools import partial
from pathlib import Path

from surrogate.calm import CarryOut, here
from surrogate.collection import paths
from surrogate.collection.changes import CompareReport
from surrogate.collection.listing import read
from surrogate.collection.numbering import name_of
from surrogate.condition.change import Looked, between, look, tell
from surrogate.condition.change_session import against_others
from surrogate.errors import ScanSetAside
from surrogate.intake.gather import gather
from surrogate.records import Kind, Master, Original, Record, SetAside, Side

_Named = tuple[Original, Master]


class SessionReport(Record):
    """What has changed, one report an original in the order of their numbers, and scans that could not be used."""

    reports: list[CompareReport]
    set_aside: list[SetAside]

    @property
    def exit_status(self) -> int:
        """0 when nothing has changed and every scan was used, else 1."""
        return int(bool(self.set_aside) or any(report.verdict != "unchanged" for report in self.reports))


def compare_session(
    folder: Path,
    scans: Path,
    *,
    targets: tuple[Path, Path] | None = None,
    record: date | None = None,
    carry_out: CarryOut = here,
) -> SessionReport:
    """Compare every scan under ``scans`` with the master it is named after.

    A scan is named as its master or its copies begin (``2026-001-0007_r``), or by its number alone for the front.
    Colour prints are told by the other colour prints, all else by all else, where no target is given or found.
    ``carry_out`` makes the calls that read scans. Raises
    :class:`WrongUse` without scans and for an unusable target, :class:`CollectionUnusable` for the collection.
    """
    named = _names(read(folder).originals)
    found = gather([scans], folder)
    aside = list(found.set_aside)
    told = None if targets is None else carry_out(between, *targets)
    looked: list[Looked] = []
    reports: list[CompareReport] = []
    for scan in found.scans:
        match = named.get(scan.path.stem.lower())
        if match is None:
            aside.append(_unknown(scan.name))
            continue
        original, master = match
        try:
            seen = carry_out(
                partial(look, condition=record is not None),
                *(folder, original.reference, master.side.value, original.kind, master, scan.path, told),
            )
        except ScanSetAside as error:
            aside.append(SetAside(file=scan.name, reason=error.reason, advice=error.advice))
            continue
        if isinstance(seen, CompareReport):
            reports.append(seen)
        else:
            looked.append(seen)
    for sort in (True, False):
        reports += _told(folder, [one for one in looked if (one.kind is Kind.COLOUR_PRINT) is sort], record)
    return SessionReport(
        reports=sorted(reports, key=lambda report: (report.reference, report.side)),
        set_aside=sorted(aside, key=lambda one: one.file),
    )


def _told(folder: Path, looked: list[Looked], record: date | None) -> list[CompareReport]:
    """Reports of originals of one sort; those without a target are told by each other."""
    alone = [one for one in looked if one.judged.evidence != "base"]
    together = [one for one in looked if one.judged.evidence == "base"]
    judged = against_others([one.judged for one in together])
    told = [*alone, *(replace(one, judged=seen) for one, seen in zip(together, judged, strict=True))]
    return [tell(folder, one, record) for one in told]


def _names(originals: Iterable[Original]) -> dict[str, _Named]:
    """Every name a new scan may have, lower case without suffix, with the master it stands for."""
    names: dict[str, _Named] = {}
    for original in originals:
        for master in original.masters:
            names[paths.stem(original.reference, master.side)] = (original, master)
            if master.side is Side.RECTO:
                names[name_of(original.reference)] = names[original.reference.lower()] = (original, master)
    return names


def _unknown(name: str) -> SetAside:
    return SetAside(
        file=name,
        reason="No original has this scan's name.",
        advice="Name it by the original's number, as 2026-001-0007_r for the front and 2026-001-0007_v for the back.",
    )
