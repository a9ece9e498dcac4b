"""What originals have been shown: the record of exhibitions, the light used up, and who may hang next."""

from __future__ import annotations

import csv
from collections.abc import Sequence
from datetime import date, timedelta
from pathlib import Path

from surrogate.care.light import (
    DAYS,
    NEVER_SHOWN,
    NOTICEABLE_LXH,
    NOTICEABLE_UV_LXH,
    SENSITIVITY,
    Sensitivity,
    days_on_show,
)
from surrogate.care.rules import material
from surrogate.collection.cells import divider
from surrogate.errors import WrongUse
from surrogate.records import Original, Record

FILE = "exhibitions.csv"
COLUMNS = ("reference", "what", "from", "to", "lux", "hours_per_day", "ultraviolet")

#: Rest in the dark after a showing of what is very sensitive (Wagner, McCabe, Lemmen 2000; source L4).
REST_YEARS = 3


class Showing(Record):
    """One showing of one original; ``last`` is its last day. ``ultraviolet``: daylight or lamps without a filter."""

    reference: str
    what: str
    first: date
    last: date
    lux: float
    hours: float
    ultraviolet: bool

    def dose(self, start: date = date.min, end: date = date.max) -> float:
        """Lux hours of the days of this showing from ``start`` to ``end``, both included."""
        days = (min(self.last, end) - max(self.first, start)).days + 1
        return max(0, days) * self.lux * self.hours


class Used(Record):
    """The light budget of one original on a day.

    ``share`` of the dose to a just noticeable fade (middle blue wool of the class; light with ultraviolet weighs by
    its own row), ``last_year_lxh`` in the 365 days that end on the day, and the first day it may hang again.
    """

    reference: str
    sensitivity: str
    dose_lxh: float
    share: float
    last_year_lxh: float
    yearly_limit_lxh: float
    next_showing: date


def blank() -> bytes:
    """``exhibitions.csv`` with its heading only."""
    return (",".join(COLUMNS) + "\r\n").encode()


def read(file: Path) -> list[Showing]:
    """The record; empty without a file. Several references in one row part on ``;``. Raises :class:`WrongUse`."""
    try:
        text = file.read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        return []
    except (OSError, UnicodeDecodeError) as error:
        raise WrongUse(f"{file} cannot be read as text. Save it as CSV in UTF-8.") from error
    rows = csv.DictReader(text.splitlines(), delimiter=divider(text))
    found: list[Showing] = []
    for line, row in enumerate(rows, 2):
        if any((value or "").strip() for value in row.values() if isinstance(value, str)):
            found += _showings(file, line, row)
    return found


def _showings(file: Path, line: int, row: dict[str, str]) -> list[Showing]:
    cells = {name: (row.get(name) or "").strip() for name in COLUMNS}
    try:
        first, last = date.fromisoformat(cells["from"]), date.fromisoformat(cells["to"])
        lux, hours = (float(cells[name].replace(",", ".")) for name in ("lux", "hours_per_day"))
    except ValueError as error:
        raise WrongUse(
            f"{file}, line {line}: 'from' and 'to' are days like 2026-05-31, 'lux' and 'hours_per_day' numbers."
        ) from error
    if last < first or not 0 <= lux <= 150_000 or not 0 <= hours <= 24:
        raise WrongUse(f"{file}, line {line}: it ends before it begins, or that light is impossible. Correct it.")
    return [
        Showing(reference=one.strip(), what=cells["what"], first=first, last=last, lux=lux, hours=hours,
                ultraviolet=cells["ultraviolet"].lower() in {"yes", "y", "x", "1"})
        for one in cells["reference"].split(";") if one.strip()
    ]  # fmt: skip


def used(original: Original, showings: Sequence[Showing], day: date) -> Used | None:
    """What one original has used up until ``day``; None for a scanner target."""
    kind = material(original)
    if kind is None:
        return None
    how = SENSITIVITY[kind]
    own = [showing for showing in showings if showing.reference == original.reference and showing.first <= day]
    wool = how.wools[len(how.wools) // 2] - 1
    share = sum(s.dose(end=day) / (NOTICEABLE_UV_LXH if s.ultraviolet else NOTICEABLE_LXH)[wool] for s in own)
    year = day - timedelta(days=DAYS - 1)
    return Used(
        reference=original.reference,
        sensitivity=how.name,
        dose_lxh=sum(showing.dose(end=day) for showing in own),
        share=share,
        last_year_lxh=sum(showing.dose(year, day) for showing in own),
        yearly_limit_lxh=how.yearly_limit_lxh,
        next_showing=_next(own, how, day),
    )


def _next(own: Sequence[Showing], how: Sensitivity, day: date) -> date:
    """What is very sensitive rests three years after each showing; the rest until its yearly dose allows a day more."""
    if not own:
        return day
    last = min(max(showing.last for showing in own), day)
    if how.name == "high":
        return max(day, _years_later(last, REST_YEARS))
    free = day
    while sum(s.dose(free - timedelta(days=DAYS - 1), day) for s in own) >= how.yearly_limit_lxh:
        free += timedelta(days=1)
    return free


def _years_later(day: date, years: int) -> date:
    try:
        return day.replace(year=day.year + years)
    except ValueError:  # 29 February
        return date(day.year + years, 3, 1)


class Turn(Record):
    """One stretch of days at one place on a wall: an original, or the copy where no original may hang."""

    place: int
    first: date
    last: date
    reference: str | None


def rotation(
    originals: Sequence[Original], showings: Sequence[Showing], *, places: int, lux: float, hours: float, start: date
) -> list[Turn]:
    """A year's plan for a wall of ``places``: each original once, for as many days as its limits allow.

    Those with most days left come first and never hang at two places; when all have hung, the copy hangs to the end of
    the year. Film is never hung.
    """
    days: dict[str, int] = {}
    for original in originals:
        budget, kind = used(original, showings, start), material(original)
        if budget is None or kind is None or kind in NEVER_SHOWN or budget.next_showing > start or budget.share >= 1:
            continue
        left = max(0.0, budget.yearly_limit_lxh - budget.last_year_lxh)
        allowed = days_on_show(SENSITIVITY[kind].model_copy(update={"yearly_limit_lxh": left}), lux, hours)
        if allowed > 0:
            days[original.reference] = allowed
    waiting = sorted(days, key=lambda reference: (-days[reference], reference))
    end = start + timedelta(days=DAYS - 1)
    turns: list[Turn] = []
    free = dict.fromkeys(range(1, places + 1), start)
    for reference in waiting:
        place = min(free, key=lambda number: (free[number], number))
        first = free[place]
        if first > end:
            break
        last = min(first + timedelta(days=days[reference] - 1), end)
        turns.append(Turn(place=place, first=first, last=last, reference=reference))
        free[place] = last + timedelta(days=1)
    turns += [Turn(place=p, first=f, last=end, reference=None) for p, f in free.items() if f <= end]
    return sorted(turns, key=lambda turn: (turn.place, turn.first))
