"""Looking at the originals twice a year: which ones, on which days, and the sheet to fill in."""

from __future__ import annotations

import csv
import hashlib
import io
import math
import uuid
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path

from icalendar import Alarm, Calendar, Event

from surrogate.care.rules import unstable
from surrogate.records import Kind, Original

COLUMNS = ("date", "by", "box", "folder", "reference", "finding", "action")

#: Rounds in the calendar: five years, spring and autumn (judgement).
ROUNDS = 10

#: Months of the two rounds: after the heating and before it (common practice, no source).
_SPRING, _AUTUMN = 4, 10

#: FADGI 2016, p. 86 (source Q1): ten or ten in a hundred, whichever is more.
_SAMPLE_LEAST, _SAMPLE_SHARE = 10, 0.1


def rounds(start: date) -> list[date]:
    """The first of April and of October, from ``start`` on."""
    days = [date(year, month, 1) for year in range(start.year, start.year + 7) for month in (_SPRING, _AUTUMN)]
    return [day for day in days if day >= start][:ROUNDS]


def chosen(originals: list[Original], day: date) -> list[Original]:
    """Every unstable original, and of the rest ten or a tenth, others each round, the same ones for the same day."""
    real = [original for original in originals if original.kind is not Kind.TARGET]
    rest = [original for original in real if not unstable(original)]

    def lot(original: Original) -> bytes:
        return hashlib.sha256(f"{day.isoformat()} {original.reference}".encode()).digest()

    sample = sorted(rest, key=lot)[: max(_SAMPLE_LEAST, math.ceil(_SAMPLE_SHARE * len(rest)))]
    return sorted([o for o in real if unstable(o)] + sample, key=lambda o: (o.location.box, o.reference))


def calendar(collection: str, originals: list[Original], start: date) -> bytes:
    """The rounds as an RFC 5545 calendar of whole days; the same collection and day give the same UID."""
    book = Calendar()
    book.add("prodid", "-//surrogate//inspections//EN")
    book.add("version", "2.0")
    for day in rounds(start):
        event = Event()
        event.add("uid", f"{uuid.uuid5(uuid.NAMESPACE_OID, f'inspection {collection} {day.isoformat()}')}")
        event.add("dtstamp", datetime.combine(start, time(), UTC))
        event.add("dtstart", day)
        event.add("dtend", day + timedelta(days=1))
        event.add("transp", "TRANSPARENT")
        event.add(
            "summary", f"Look through the originals: {collection}" if collection else "Look through the originals"
        )
        listed = ", ".join(original.reference for original in chosen(originals, day)[:200])
        event.add(
            "description",
            "Damp, mould, insects, smell, new stains, curling, full boxes. Write what you find in "
            f"care/inspections.csv.\nLook at: {listed}",
        )
        alarm = Alarm()
        alarm.add("action", "DISPLAY")
        alarm.add("description", "Look through the originals in a week")
        alarm.add("trigger", timedelta(days=-7))
        event.add_component(alarm)
        book.add_component(event)
    return bytes(book.to_ical())


def first_day(file: Path) -> date | None:
    """The day from which an earlier calendar was made; None when there is none."""
    if not file.is_file():
        return None
    try:
        stamp = next(iter(Calendar.from_ical(file.read_bytes()).walk("VEVENT"))).decoded("DTSTAMP")
    except (ValueError, KeyError, StopIteration):
        return None
    return stamp.date() if isinstance(stamp, datetime) else None


def blank_sheet(originals: list[Original], day: date) -> bytes:
    """``inspections.csv`` with one empty row for each original of the round."""
    stream = io.StringIO()
    rows = csv.writer(stream)
    rows.writerow(COLUMNS)
    rows.writerows(["", "", o.location.box, o.location.folder, o.reference, "", ""] for o in chosen(originals, day))
    return stream.getvalue().encode()
