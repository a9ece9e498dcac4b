"""Dates from the way people write them to EDTF, and a question where two readings are possible."""

from __future__ import annotations

import re
from functools import lru_cache

from surrogate.description.date_points import Order, Reading, point
from surrogate.description.date_qualifiers import qualified, taken_off, unwrap, without_doubt
from surrogate.description.date_spans import bounded, half_known, interval, several
from surrogate.description.edtf_forms import SORTS_LAST, iptc_date, is_edtf, sort_key, xmp_date
from surrogate.description.readable import for_people
from surrogate.description.text import clean
from surrogate.description.words import FILLERS, NO_DATE, plain_word
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
    literal = re.sub(r"\s*([,/\[\]{}])\s*", r"\1", written)
    if is_edtf(literal) and not re.fullmatch(r"\[[^,.]*\]", literal):
        literal = re.sub(r"^([~?%])(-?[\dX]{4})$", r"\2\1", literal)  # one way of writing where EDTF has two
        return _understood(Reading(edtf=literal, question=_other_reading(literal)), written)
    reading = _read(plain, order)
    if reading is not None and reading.edtf is not None and not is_edtf(reading.edtf):
        reading = None
    if reading is None and re.search(r"(?<!\w)'\d\d(?!\d)", plain):
        reading = Reading(
            edtf=None, question=f"Which century is meant in “{written}”? Write the year with four digits."
        )
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
    """Where people may mean something else: 1905-06 is June 1905 and 1920-21 is spring 1920 in EDTF."""
    if edtf.startswith("-"):
        return f"{edtf!r} was taken as a year before our era; leave the dash out if {edtf[1:]} is meant."
    two = _SECOND_YEAR.fullmatch(edtf)
    if two is None or int(two[3]) <= int(two[2]):
        return None
    return (
        f"{edtf!r} was taken as {for_people(edtf)}, as EDTF has it; if the years {two[1]}{two[2]} to "
        f"{two[1]}{two[3]} are meant, write {two[1]}{two[2]}/{two[1]}{two[3]}."
    )


def _read(plain: str, order: Order) -> Reading | None:
    text = unwrap(plain)
    whole = point(text, order) or half_known(text, order)
    if whole is not None:
        return whole
    text, mark = without_doubt(text)
    reading = interval(text, order) or bounded(text, order) or several(text, order) or point(text, order)
    if reading is None:
        rest, found = taken_off(text, FILLERS, ())
        reading = _read(rest, order) if found and rest else None
    return None if reading is None else qualified(reading, mark)
