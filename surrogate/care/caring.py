"""The care of a collection: sheet, housing list, light and inspections, written beside its manifest."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence
from datetime import date, timedelta
from pathlib import Path

from surrogate.care import climate, findings, inspection, kept_pages, light, sheet, showing
from surrogate.care.content import Known, sections
from surrogate.care.round_sheet import round_sheet
from surrogate.care.rules import HOUSING, Material, material, side_mm, unstable
from surrogate.collection import changes
from surrogate.collection.cells import safe_cell
from surrogate.collection.files import replace_if_changed
from surrogate.collection.listing import read
from surrogate.errors import WrongUse
from surrogate.records import Manifest, Original, Record

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
    changed: list[str]


class Plan(Record):
    """What care is planned for: light where originals hang, places on the wall, and the day prints are wanted."""

    lux: float = 150
    hours: float = 8
    places: int = 0
    wanted: date | None = None


def care(folder: Path, plan: Plan | None = None, *, start: date | None = None, today: date | None = None) -> CareReport:
    """Write the care files of the collection in ``folder``; what people fill in only when it is not there yet.

    Without ``start`` an earlier calendar's is kept, else today. Logger files lie in ``care/climate``. Raises
    :class:`WrongUse` for impossible light or rows that cannot be understood and :class:`CollectionUnusable`.
    """
    plan = plan or Plan()
    _check(plan)
    manifest = read(folder)
    target = folder / FOLDER
    book, filled, showings = target / "inspections.ics", target / "inspections.csv", target / showing.FILE
    day = today or date.today()  # noqa: DTZ011 - the day on the wall
    begin = start or inspection.first_day(book) or day
    kept = [original for original in manifest.originals if material(original) is not None]
    found, hung = findings.read(filled), showing.read(showings)
    climates = climate.read_folder(target / "climate")
    budgets = [used for original in kept if (used := showing.used(original, hung, day))]
    warnings = [*findings.alarms(found), *climate.alarms(climates), *_overshown(budgets)]
    changed = [record.report.reference for record in changes.kept(folder) if record.report.verdict == "changed"]
    names = {original.reference: original.title for original in kept}
    pages = [*kept_pages.shown(budgets, _turns(kept, hung, plan, day), names, day), *kept_pages.inspected(found)]
    pages += [kept_pages.measured(climates)] if climates else []
    content = sections(manifest, Known(
        lux=plan.lux, hours=plan.hours, start=day, wanted=plan.wanted or _friday(day), warnings=tuple(warnings),
        changed=tuple(dict.fromkeys(changed)), pages=tuple(pages),
    ))  # fmt: skip
    name, days = manifest.collection.name, inspection.rounds(begin)
    coming = next((one for one in days if one >= day), days[-1])
    made = {
        "care_sheet.pdf": sheet.pdf(name, content),
        "care_sheet.html": sheet.page(name, content),
        "enclosures.csv": _enclosures(manifest),
        "light.csv": _light(manifest, plan.lux, plan.hours),
        "light_used.csv": _used(budgets),
        "inspections.ics": inspection.calendar(name, manifest.originals, begin),
        "inspection_round.pdf": round_sheet(name, inspection.chosen(manifest.originals, coming), coming),
    }
    for file, bytes_of_it in made.items():
        replace_if_changed(target / file, bytes_of_it)
    for by_hand, first in ((filled, inspection.blank_sheet(manifest.originals, coming)), (showings, showing.blank())):
        if not by_hand.exists():
            replace_if_changed(by_hand, first)
    return CareReport(
        files=[f"{FOLDER}/{file}" for file in (*made, filled.name, showings.name)],
        originals=len(kept),
        boxes=len({o.location.box for o in kept if o.location.box}),
        unstable=[o.reference for o in kept if unstable(o)],
        maybe_nitrate=[o.reference for o in kept if material(o) is Material.MAYBE_NITRATE],
        next_inspection=coming,
        warnings=warnings,
        changed=list(dict.fromkeys(changed)),
    )


def _check(plan: Plan) -> None:
    if not 0 <= plan.lux <= 150_000:
        raise WrongUse(f"{plan.lux:g} lux is impossible indoors: full sun is about 100,000. Give a number from 0 on.")
    if not 0 <= plan.hours <= 24:
        raise WrongUse(f"A day has 24 hours, not {plan.hours:g}. Give the hours of light a day.")
    if not 0 <= plan.places <= 500:
        raise WrongUse(f"A wall of {plan.places} places cannot be planned. Give a number from 1 to 500.")


def _friday(day: date) -> date:
    """The Friday of this week, or of the next where the days until then are too few to thaw a box."""
    ahead = (4 - day.weekday()) % 7
    return day + timedelta(days=ahead if ahead >= 2 else ahead + 7)


def _turns(kept: list[Original], hung: list[showing.Showing], plan: Plan, day: date) -> list[showing.Turn]:
    if not plan.places:
        return []
    return showing.rotation(kept, hung, places=plan.places, lux=plan.lux, hours=plan.hours, start=day)


def _overshown(budgets: Sequence[showing.Used]) -> list[str]:
    """Originals that had more light this year than their limit."""
    return [
        f"{one.reference} had {one.last_year_lxh:,.0f} lux hours in the last year; its limit is "
        f"{one.yearly_limit_lxh:,.0f}. Show the copy. [L1]"
        for one in budgets
        if one.last_year_lxh > one.yearly_limit_lxh
    ]


def _used(budgets: Sequence[showing.Used]) -> bytes:
    heading = ("reference", "sensitivity", "dose_lxh", "share_of_noticeable", "last_year_lxh", "yearly_limit_lxh",
               "may_hang_from")  # fmt: skip
    return _table(heading, (
        [one.reference, one.sensitivity, f"{one.dose_lxh:.0f}", f"{one.share:.3f}", f"{one.last_year_lxh:.0f}",
         f"{one.yearly_limit_lxh:.0f}", one.next_showing.isoformat()]
        for one in budgets
    ))  # fmt: skip


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
