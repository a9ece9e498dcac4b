"""Dates from the way people write them to EDTF, and a question where two readings are possible."""

from __future__ import annotations

import re
from functools import lru_cache

from surrogate.description.date_points import Order, Reading, point
from surrogate.description.edtf_forms import SORTS_LAST, iptc_date, is_edtf, sort_key, xmp_date
from surrogate.description.readable import for_people
from surrogate.description.text import clean
from surrogate.description.words import (
    ABOUT,
    ABOUT_AFTER,
    AFTER,
    AT_EARLIEST,
    AT_EARLIEST_AFTER,
    AT_LATEST,
    AT_LATEST_AFTER,
    BEFORE,
    FILLERS,
    NO_DATE,
    ONWARDS,
    PERHAPS,
    PERHAPS_AFTER,
    SINCE,
    UNTIL,
    plain_word,
)
from surrogate.records import Record

__all__ = ["Understood", "for_people", "understand"]

_SECOND_YEAR = re.compile(r"(\d\d)(\d\d)-(\d\d)")
_LONGEST = 200


class Understood(Record):
    """What a written date means.

    ``edtf`` is None when it is not understood or two readings are possible; then ``text`` is what counts and
    ``question`` asks a person. A question beside an ``edtf`` says that the expression could be meant otherwise.
    ``sort_key`` orders dates as text; ``iptc`` is CCYYMMDD with 00 for unknown parts; ``xmp`` is an ISO date.
    """

    edtf: str | None
    text: str
    question: str | None = None
    sort_key: str = SORTS_LAST
    iptc: str | None = None
    xmp: str | None = None

    @property
    def undated(self) -> bool:
        """True when the person left the date empty or wrote that there is none."""
        return plain_word(self.text).strip("[]().") in NO_DATE or not self.text


@lru_cache(maxsize=65536)
def understand(text: str, order: Order = "ask") -> Understood:
    """Understand a date as people write it, in English and, for common wordings, in other languages.

    ``order`` settles 12/5/1961: "day first", "month first", or "ask" (the default). The same
    expression in EDTF (levels 0 to 2) is passed through. Never raises.
    """
    written = clean(text).text.strip()
    plain = plain_word(written)
    if not plain or plain.strip("[]().") in NO_DATE or len(plain) > _LONGEST:
        return Understood(edtf=None, text=written)
    literal = written.replace(" ", "")
    if is_edtf(literal) and not re.fullmatch(r"\[[^,.]*\]", literal):
        return _understood(Reading(edtf=literal, question=_other_reading(literal)), written)
    reading = _read(plain, order)
    if reading is not None and reading.edtf is not None and not is_edtf(reading.edtf):
        reading = None
    return _understood(reading, written)


def _understood(reading: Reading | None, written: str) -> Understood:
    if reading is None or reading.edtf is None:
        year = re.search(r"(?<!\d)(1[5-9]\d\d|20\d\d)(?!\d)", plain_word(written))
        sorts = f"{year[1]}-00-00" if year else SORTS_LAST
        return Understood(edtf=None, text=written, question=reading.question if reading else None, sort_key=sorts)
    edtf = reading.edtf
    return Understood(
        edtf=edtf,
        text=written,
        question=reading.question,
        sort_key=sort_key(edtf),
        iptc=iptc_date(edtf),
        xmp=xmp_date(edtf),
    )


def _other_reading(edtf: str) -> str | None:
    """EDTF 1905-06 is June 1905 and 1920-21 is spring 1920, but people also write two years so."""
    two = _SECOND_YEAR.fullmatch(edtf)
    if two is None or int(two[3]) <= int(two[2]):
        return None
    return (
        f"{edtf!r} was taken as {for_people(edtf)}, as EDTF has it; if the years {two[1]}{two[2]} to "
        f"{two[1]}{two[3]} are meant, write {two[1]}{two[2]}/{two[1]}{two[3]}."
    )


def _read(plain: str, order: Order) -> Reading | None:
    text = _unwrap(plain)
    whole = point(text, order)
    if whole is not None:
        return whole
    about = perhaps = False
    for _ in range(4):
        text, was_about = _without(text, ABOUT, ABOUT_AFTER)
        text, was_perhaps = _without(text, PERHAPS, PERHAPS_AFTER)
        about, perhaps = about or was_about, perhaps or was_perhaps
        text = _unwrap(text)
        if not (was_about or was_perhaps):
            break
    reading = _between(text, order) or _bounded(text, order) or _several(text, order)
    if reading is None:
        reading = point(text, order)
    if reading is None:
        without, found = _without(text, FILLERS, ())
        reading = _read(without, order) if found and without else None
    if reading is None or reading.edtf is None or not (about or perhaps):
        return reading
    mark = "%" if about and perhaps else "~" if about else "?"
    return _qualified(reading, mark)


def _unwrap(text: str) -> str:
    """Without quotation marks, brackets around the whole and punctuation at the end."""
    for _ in range(3):
        text = text.strip(" \"',;:")
        inner = re.fullmatch(r"[\[(<{](.*)[\])>}]", text)
        if inner and not re.search(r"[\[\](){}]", inner[1]):
            text = inner[1]
    if text.endswith(".") and not text.endswith(".."):
        text = text[:-1]
    return text.strip()


def _without(text: str, before: tuple[str, ...], after: tuple[str, ...]) -> tuple[str, bool]:
    for word in sorted(before, key=len, reverse=True):
        if text.startswith(word) and _separate(word, text[len(word) : len(word) + 1]):
            return text[len(word) :].strip(), True
    for word in sorted(after, key=len, reverse=True):
        if text.endswith(word) and _separate(word[::-1], text[: -len(word)][-1:]):
            return text[: -len(word)].strip(" ,"), True
    return text, False


def _separate(word: str, neighbour: str) -> bool:
    """A word is a word of its own unless a letter follows a letter ("c1943" and "c.1943" are about 1943)."""
    return not (word[-1:].isalpha() and neighbour.isalpha())


def _qualified(reading: Reading, mark: str) -> Reading:
    edtf = reading.edtf or ""
    if edtf[:1] in "[{":
        return reading
    sides = [_mark(side, mark) for side in edtf.split("/")]
    marked = "/".join(sides)
    if is_edtf(marked):
        return Reading(edtf=marked, question=reading.question)
    return Reading(
        edtf=edtf,
        question=f"{for_people(edtf)} was kept without “{'about' if mark == '~' else 'perhaps'}”, which EDTF "
        "cannot say of a season; put it into the notes if it matters.",
    )


def _mark(side: str, mark: str) -> str:
    if side in ("", ".."):
        return side
    if side[-1] in "~?%":
        return side if side[-1] == mark else f"{side[:-1]}%"
    return side + mark


_BETWEEN = re.compile(
    r"(?:between|betw\.?|zwischen|entre|tra|fra|tussen|mellan|mellem|mellom|miedzy|mezi)\s+(.+?)\s+"
    r"(?:and|und|et|y|e|en|och|og|a|i|&|-)\s+(.+)"
)
_FROM_TO = re.compile(
    r"(?:from|von|de|dal|del|van|fran|fra|od)\s+(.+?)\s*(?:to|until|till|through|bis|a|al|tot|til|till|do|-)\s+(.+)"
)
_TO = re.compile(
    r"(.+?)\s*(?:\bto\b|\buntil\b|\btill\b|\bthrough\b|\bthru\b|\bbis\b| - |/|(?<=[a-z0-9'?~.])-(?=[a-z0-9]))\s*(.+)"
)


def _between(text: str, order: Order) -> Reading | None:
    for pattern in (_BETWEEN, _FROM_TO, _TO):
        for found in _splits(pattern, text):
            reading = _interval(*found, order)
            if reading is not None:
                return reading
    return None


def _splits(pattern: re.Pattern[str], text: str) -> list[tuple[str, str]]:
    """Every way in which a pattern divides the text, the first division first."""
    ways = []
    first = pattern.fullmatch(text)
    while first is not None:
        ways.append((first[1].strip(), first[2].strip()))
        if pattern is not _TO:
            break
        further = pattern.match(text, 0)
        start = first.start(2)
        further = re.compile(rf"(.{{{start},}}?)" + pattern.pattern.removeprefix("(.+?)"), 0).fullmatch(text)
        first = further
        if len(ways) > 4:
            break
    return ways


def _interval(start: str, end: str, order: Order) -> Reading | None:  # noqa: PLR0911
    last = _read_simple(end, order)
    if re.fullmatch(r"\d{1,2}", end):
        return _shortened_end(start, end)
    if last is None:
        return None
    first = _read_simple(start, order) or _borrowed_start(start, end, order)
    if first is None:
        return None
    if first.edtf is None or last.edtf is None:
        return Reading(edtf=None, question=first.question or last.question)
    if "/" in first.edtf or "/" in last.edtf:
        edges = f"{first.edtf.split('/')[0]}/{last.edtf.split('/')[-1]}"
        return Reading(edtf=edges) if is_edtf(edges) else None
    spread = f"{first.edtf}/{last.edtf}"
    if not is_edtf(spread):
        return Reading(edtf=None, question=f"“{start}” comes after “{end}”; which two dates are meant?")
    return Reading(edtf=spread, question=first.question or last.question)


def _read_simple(text: str, order: Order) -> Reading | None:
    """One side of an interval: a point with or without a word for "about"."""
    about = perhaps = False
    for _ in range(2):
        text, was_about = _without(text, ABOUT, ABOUT_AFTER)
        text, was_perhaps = _without(text, PERHAPS, PERHAPS_AFTER)
        about, perhaps = about or was_about, perhaps or was_perhaps
    reading = point(_unwrap(text), order)
    if reading is None:
        text, found = _without(text, FILLERS, ())
        reading = point(text, order) if found else None
    if reading is None or reading.edtf is None or not (about or perhaps):
        return reading
    return _qualified(reading, "%" if about and perhaps else "~" if about else "?")


def _shortened_end(start: str, end: str) -> Reading | None:
    """1940-45, 1940-5, 1943/44."""
    first = _read_simple(start, "ask")
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
    return Reading(edtf=f"{opening}/{_mark(closing, opening[-1]) if opening[-1] in '~?%' else closing}")


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
        reading = _read_simple(text, order)
        if reading is not None:
            return reading
    return None


def _bounded(text: str, order: Order) -> Reading | None:
    """Before, after, since, until, at the latest, at the earliest."""
    for before, after, form in (
        (AT_LATEST, AT_LATEST_AFTER, "[..{}]"),
        (AT_EARLIEST, AT_EARLIEST_AFTER, "[{}..]"),
        (BEFORE, (), "/{}"),
        (AFTER, (), "{}/"),
        (SINCE, ONWARDS, "{}/.."),
        (UNTIL, (), "../{}"),
    ):
        rest, found = _without(text, before, after)
        if found:
            reading = _read_simple(rest, order)
            if reading is not None and reading.edtf is not None:
                return _at_edge(reading.edtf, form)
            if reading is not None:
                return reading
    return None


def _at_edge(edtf: str, form: str) -> Reading | None:
    sides = edtf.split("/")
    first, last = sides[0], sides[-1]
    edge = first if form.startswith(("/", "[{", "..")) and form != "{}/.." else last
    if form == "[{}..]":
        edge = first
    text = form.format(edge)
    return Reading(edtf=text) if is_edtf(text) else None


def _several(text: str, order: Order) -> Reading | None:
    """1943 or 1944: one of a set; 1943 and 1944, 1943 & 1945: several dates."""
    for pattern, brackets in (
        (r"\s*,?\s*\b(?:or|oder|ou|oppure|of|eller|lub|nebo|или)\b\s*", "[]"),
        (r"\s*(?:,|;|&|\+|\band\b|\bund\b)\s*", "{}"),
    ):
        parts = [part for part in re.split(pattern, text) if part]
        if len(parts) < 2:
            continue
        readings = [_read_simple(part, order) or _borrowed_start(part, parts[-1], order) for part in parts]
        if all(reading is not None and reading.edtf is not None for reading in readings):
            inner = ",".join(reading.edtf for reading in readings if reading and reading.edtf)
            text_of_set = f"{brackets[0]}{inner}{brackets[1]}"
            if is_edtf(text_of_set):
                return Reading(edtf=text_of_set)
    return None
