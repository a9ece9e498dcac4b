"""Dates with two ends, one end or several members: 1940-45, before 1920, 1943 or 1944."""

from __future__ import annotations

import re

from surrogate.description.date_points import Order, Reading, point
from surrogate.description.date_qualifiers import marked, qualified, taken_off, without_doubt
from surrogate.description.edtf_forms import is_edtf
from surrogate.description.words import (
    AFTER,
    AT_EARLIEST,
    AT_EARLIEST_AFTER,
    AT_LATEST,
    AT_LATEST_AFTER,
    BEFORE,
    FILLERS,
    ONWARDS,
    SINCE,
    UNTIL,
)

_BETWEEN = re.compile(
    r"(?:between|betw\.?|zwischen|entre|tra|fra|tussen|mellan|mellem|mellom|miedzy|mezi)\s+(.+?)\s+"
    r"(?:and|und|et|y|e|en|och|og|a|i|&|-)\s+(.+)"
)
_FROM_TO = re.compile(
    r"(?:from|von|de|dal|del|van|fran|fra|od)\s+(.+?)\s*(?:to|until|till|through|bis|a|al|tot|til|do|-)\s+(.+)"
)
_TO = re.compile(r"\s+(?:to|until|till|through|thru|bis)\s+|\s*[-/]\s*")


def interval(text: str, order: Order) -> Reading | None:
    """An interval, where the text divides into two dates."""
    ways = [(found[1], found[2]) for found in (_BETWEEN.fullmatch(text), _FROM_TO.fullmatch(text)) if found]
    ways += [(text[: found.start()], text[found.end() :]) for found in _TO.finditer(text)]
    for start, end in ways:
        reading = _interval(start.strip(), end.strip(), order)
        if reading is not None:
            return reading
    return None


def half_known(text: str, order: Order) -> Reading | None:
    """1943 - ? and ? - 1943: one end is not known."""
    found = re.fullmatch(r"(.+?)\s*-\s*\??", text) or re.fullmatch(r"\?\s*-\s*(.+)", text)
    reading = _one(found[1], order) if found else None
    if reading is None or reading.edtf is None or "/" in reading.edtf:
        return None
    return Reading(edtf=f"/{reading.edtf}" if text.startswith("?") else f"{reading.edtf}/")


def _interval(start: str, end: str, order: Order) -> Reading | None:  # noqa: PLR0911
    last = _one(end, order)
    if re.fullmatch(r"\d{1,2}", end):
        return _shortened_end(start, end)
    decades = re.fullmatch(r"(\d\d)\d0'?s (\d0'?s)", f"{start} {end}")
    if decades:
        return _interval(start, decades[1] + decades[2], order)
    if last is None:
        return None
    first = _one(start, order)
    if first is None or first.edtf is None:
        first = _borrowed_start(start, end, order) or first
    if first is None:
        return None
    if first.edtf is None or last.edtf is None:
        return Reading(edtf=None, question=first.question or last.question)
    if "/" in first.edtf or "/" in last.edtf:
        edges = f"{first.edtf.split('/')[0]}/{last.edtf.split('/')[-1]}"
        return Reading(edtf=edges) if is_edtf(edges) else None
    spread = f"{first.edtf}/{_marked_alike(first.edtf, last.edtf)}"
    if not is_edtf(spread):
        return Reading(edtf=None, question=f"“{start}” comes after “{end}”; which two dates are meant?")
    return Reading(edtf=spread, question=first.question or last.question)


def _marked_alike(first: str, last: str) -> str:
    """A word for "about" before two dates of one kind goes for both: c. 1940 to 1945."""
    bare = first.rstrip("~?%")
    alike = bare != first and last[-1] not in "~?%" and re.sub(r"\d", "0", bare) == re.sub(r"\d", "0", last)
    return marked(last, first[-1]) if alike else last


def _one(text: str, order: Order) -> Reading | None:
    """One end or member: a date with or without a word for about or perhaps."""
    text, mark = without_doubt(text)
    reading = point(text, order)
    if reading is None:
        text, found = taken_off(text, FILLERS, ())
        reading = point(text, order) if found else None
    return None if reading is None else qualified(reading, mark)


def _shortened_end(start: str, end: str) -> Reading | None:
    """1940-45, 1940-5, 1943/44."""
    first = _one(start, "ask")
    opening = (first.edtf if first else None) or ""
    found = re.fullmatch(r"(\d{4})[~?%]?", opening)
    if found is None:
        return None
    year = found[1]
    closing = year[: 4 - len(end)] + end
    months = 1 <= int(end) <= 12
    later = int(closing) > int(year)
    if months and (later or len(end) == 1):
        return Reading(
            edtf=None,
            question=f"Does {year}-{end} mean the years {year} to {closing} (write {year}/{closing}) or month "
            f"{int(end)} of {year} (write {year}-{int(end):02})?"
            if later
            else f"Does {year}-{end} mean month {int(end)} of {year} (write {year}-{int(end):02})?",
        )
    if not later:
        return None
    return Reading(edtf=f"{opening}/{marked(closing, opening[-1]) if opening[-1] in '~?%' else closing}")


def _borrowed_start(start: str, end: str, order: Order) -> Reading | None:
    """ "May" of "May to June 1943", "12" of "12-15 May 1943": the start borrows what only the end says."""
    year = re.search(r"\d{4}", end)
    if year is None:
        return None
    borrowed = [f"{start} {year[0]}"]
    month = re.search(r"\d+(?:st|nd|rd|th|\.)?\s*(?:of )?([^\W\d]+)", end)
    if re.fullmatch(r"\d{1,2}(?:st|nd|rd|th|\.)?", start) and month:
        borrowed = [f"{start} {month[1]} {year[0]}"]
    decade = re.fullmatch(r"(?:the )?(?:early|mid|late)-?", start)
    if decade:
        without = re.sub(r"^(?:the )?(?:early|mid|late)[- ]", "", end)
        borrowed = [f"{start} {without}"]
    for text in borrowed:
        reading = _one(text, order)
        if reading is not None:
            return reading
    return None


# Words before, words after, how EDTF says it, and which end of the date is the edge.
_BOUNDS: tuple[tuple[tuple[str, ...], tuple[str, ...], str, int], ...] = (
    (AT_LATEST, AT_LATEST_AFTER, "[..{}]", -1),
    (AT_EARLIEST, AT_EARLIEST_AFTER, "[{}..]", 0),
    (BEFORE, (), "/{}", 0),
    (AFTER, (), "{}/", -1),
    (SINCE, ONWARDS, "{}/..", 0),
    (UNTIL, (), "../{}", -1),
)


def bounded(text: str, order: Order) -> Reading | None:
    """Before, after, since, until, at the latest, at the earliest."""
    for before, after, form, end in _BOUNDS:
        rest, found = taken_off(text, before, after)
        reading = _one(rest, order) if found else None
        if reading is not None and reading.edtf is not None:
            return Reading(edtf=form.format(reading.edtf.split("/")[end]))
        if reading is not None:
            return reading
    return None


_OR = re.compile(r"\s*,?\s*\b(?:or|oder|ou|oppure|of|eller|lub|nebo|или)\b\s*")
_AND = re.compile(r"\s*(?:,|;|&|\+|\band\b|\bund\b)\s*")


def several(text: str, order: Order) -> Reading | None:
    """1943 or 1944: one of a set; 1943 and 1944: all of them."""
    one_of = len(_OR.split(text)) > 1
    parts = [part for piece in _OR.split(text) for part in _AND.split(piece) if part]
    if len(parts) < 2:
        return None
    readings = [_one(part, order) for part in parts]
    last = parts[-1]
    found = [
        reading if reading and reading.edtf else _borrowed_start(part, last, order)
        for part, reading in zip(parts, readings, strict=True)
    ]
    members = [reading.edtf for reading in found if reading is not None and reading.edtf is not None]
    if len(members) < len(parts):
        return None
    if any("/" in member for member in members):
        # EDTF has no intervals in sets: from the beginning of the first to the end of the last
        return Reading(edtf=f"{members[0].split('/')[0]}/{members[-1].split('/')[-1]}") if one_of else None
    return Reading(edtf=f"[{','.join(members)}]" if one_of else f"{{{','.join(members)}}}")
