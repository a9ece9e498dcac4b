"""The care of a collection: sheet, housing list, light and inspections, written beside its manifest."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence
from datetime import date, datetime, time
from pathlib import Path

from surrogate.care import inspection, light, sheet
from surrogate.care.content import sections
from surrogate.care.rules import HOUSING, Material, material, side_mm, unstable
from surrogate.collection.cells import safe_cell
from surrogate.collection.files import replace_if_changed
from surrogate.collection.listing import read
from surrogate.errors import WrongUse
from surrogate.records import Manifest, Record

FOLDER = "care"


class CareReport(Record):
    """What was written (paths from the collection folder) and what needs attention."""

    files: list[str]
    originals: int
    boxes: int
    unstable: list[str]
    maybe_nitrate: list[str]
    next_inspection: date
    warnings: list[str]


def care(folder: Path, *, lux: float = 150, hours: float = 8, start: date | None = None) -> CareReport:
    """Write the care files of the collection in ``folder``; ``inspections.csv`` only when there is none.

    ``lux`` and ``hours`` a day are what the originals hang in. Without ``start`` an earlier calendar's is kept, else
    today. Raises :class:`WrongUse` for impossible light and :class:`CollectionUnusable`.
    """
    if not 0 <= lux <= 150_000:
        raise WrongUse(f"{lux:g} lux is impossible indoors: full sun is about 100,000. Give a number from 0 on.")
    if not 0 <= hours <= 24:
        raise WrongUse(f"A day has 24 hours, not {hours:g}. Give the hours of light a day.")
    manifest = read(folder)
    target = folder / FOLDER
    book, findings = target / "inspections.ics", target / "inspections.csv"
    begin = start or inspection.first_day(book) or date.today()  # noqa: DTZ011 - the day on the wall
    warnings = inspection.alarms(findings)
    name = manifest.collection.name
    content = sections(manifest, lux, hours, datetime.combine(begin, time()), warnings)
    replace_if_changed(target / "care_sheet.pdf", sheet.pdf(name, content))
    replace_if_changed(target / "care_sheet.html", sheet.page(name, content))
    replace_if_changed(target / "enclosures.csv", _enclosures(manifest))
    replace_if_changed(target / "light.csv", _light(manifest, lux, hours))
    replace_if_changed(book, inspection.calendar(name, manifest.originals, begin))
    days = inspection.rounds(begin)
    if not findings.exists():
        replace_if_changed(findings, inspection.blank_sheet(manifest.originals, days[0]))
    kept = [original for original in manifest.originals if material(original) is not None]
    files = ("care_sheet.pdf", "care_sheet.html", "enclosures.csv", "light.csv", "inspections.ics", "inspections.csv")
    return CareReport(
        files=[f"{FOLDER}/{file}" for file in files],
        originals=len(kept),
        boxes=len({o.location.box for o in kept if o.location.box}),
        unstable=[o.reference for o in kept if unstable(o)],
        maybe_nitrate=[o.reference for o in kept if material(o) is Material.MAYBE_NITRATE],
        next_inspection=days[0],
        warnings=warnings,
    )


def _table(heading: Sequence[str], rows: Iterable[Sequence[str]]) -> bytes:
    stream = io.StringIO()
    table = csv.writer(stream)
    table.writerow(heading)
    table.writerows([safe_cell(cell) for cell in row] for row in rows)
    return stream.getvalue().encode()


def _enclosures(manifest: Manifest) -> bytes:
    rows = []
    for original in manifest.originals:
        kind = material(original)
        if kind is None:
            continue
        housing, size = HOUSING[kind], side_mm(original)
        mm = f"{size[0]:.0f} x {size[1]:.0f}" if size else ""
        caution = housing.caution.cited() if housing.caution else ""
        rows.append([original.reference, mm, original.kind.value, housing.enclosure.cited(), housing.storage.cited(),
                     caution])  # fmt: skip
    return _table(("reference", "side_mm", "kind", "enclosure", "storage", "caution"), rows)


def _light(manifest: Manifest, lux: float, hours: float) -> bytes:
    dose = light.dose_per_year(lux, hours)
    rows = []
    for original in manifest.originals:
        kind = material(original)
        if kind is None:
            continue
        how = light.SENSITIVITY[kind]
        years = light.years_to_fade(how.usual_lxh, dose)
        rows.append([original.reference, original.kind.value, how.name, f"{lux:g}", f"{hours:g}", f"{dose:.0f}",
                     "" if years is None else f"{years:.2f}"])  # fmt: skip
    heading = (
        "reference",
        "kind",
        "sensitivity",
        "lux",
        "hours_per_day",
        "dose_lxh_per_year",
        "years_to_noticeable_fade",
    )
    return _table(heading, rows)
