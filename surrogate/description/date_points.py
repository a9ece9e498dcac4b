"""One date, without words around it: a day, month, season, year, decade or century."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable
from typing import Literal

from surrogate.description.feasts import feast
from surrogate.description.words import EARLY, LATE, MIDDLE, MONTHS, NAMED_DECADES, ROMAN_MONTHS, SEASONS
from surrogate.records import Record

# How 12/5/1961 is meant.
Order = Literal["ask", "day first", "month first"]

_ORDINAL = r"(?:st|nd|rd|th|er|\.|o|ª|º)?"
_WEEKDAYS = re.compile(
    r"^(?:mon|tues?|wed(?:nes)?|thu(?:rs)?|fri|sat(?:ur)?|sun)(?:day)?[.,]*\s+"
    r"|^(?:montag|dienstag|mittwoch|donnerstag|freitag|samstag|sonnabend|sonntag)[.,]*\s+(?:den\s+)?"
    r"|^(?:lundi|mardi|mercredi|jeudi|vendredi|samedi|dimanche)[.,]*\s+"
)
_ERAS = {"明治": 1867, "大正": 1911, "昭和": 1925, "平成": 1988, "令和": 2018}


class Reading(Record):
    """An EDTF expression, or a question, or an expression with a question."""

    edtf: str | None
    question: str | None = None


def point(text: str, order: Order = "ask") -> Reading | None:
    """Read one plain date (see :func:`surrogate.description.words.plain_word`); None when it is none.

    ``order`` says how 12/5/1961 is meant; ``ask`` gives a question.
    """
    text = _WEEKDAYS.sub("", text.strip())
    text = re.sub(r"\s*,\s*", " ", text).strip()
    if not text:
        return None
    numeric = _numeric_day(text, order)
    if numeric is not None:
        return numeric
    for rule in _RULES:
        reading = rule(text)
        if reading is not None:
            return reading
    return None


def _numeric_day(text: str, order: Order) -> Reading | None:
    """12/5/1961, 12.5.1961, 12-5-1961, 12/5/61, 1961/5/12."""
    found = re.fullmatch(r"(\d{4})([-./])\s?(\d{1,2})\2\s?(\d{1,2})\.?", text)
    if found:
        return _day(int(found[1]), int(found[3]), int(found[4]))
    found = re.fullmatch(r"'?(\d{1,2})\s?([-./])\s?(\d{1,2})\s?\2\s?('?\d\d|\d{4})", text)
    if found is None:
        return None
    first, second, year_text = int(found[1]), int(found[3]), found[4]
    if len(year_text) < 4:
        return Reading(
            edtf=None, question=f"Which century is {year_text} in “{text}”? Write the year with four digits."
        )
    year = int(year_text)
    by_day, by_month = _day(year, second, first), _day(year, first, second)
    if by_day and by_month and first != second:
        if order != "ask":
            return by_day if order == "day first" else by_month
        return Reading(
            edtf=None,
            question=f"“{text}” can be {first} {_MONTH_NAMES[second - 1]} or {second} {_MONTH_NAMES[first - 1]} "
            f"{year}; write {by_day.edtf} or {by_month.edtf}.",
        )
    return by_day or by_month


_MONTH_NAMES = (
    *("January", "February", "March", "April", "May", "June"),
    *("July", "August", "September", "October", "November", "December"),
)


def _day(year: int, month: int, day: int) -> Reading | None:
    try:
        return Reading(edtf=dt.date(year, month, day).isoformat())
    except ValueError:
        return None


def _year(text: str) -> Reading | None:
    found = re.fullmatch(r"(1\d{3}|20\d\d)(?:\s?(?:年|г\.?|a\.?d\.?|ce))?", text)
    return Reading(edtf=found[1]) if found else None


def _short_year(text: str) -> Reading | None:
    found = re.fullmatch(r"'?(\d\d)|(?:the )?'?(\d0)(?:'?s|er(?: jahre)?)|(?:annees|anos|anni|jaren) '?(\d0)", text)
    # a bare number up to 31 may be a day or a count
    if found is None or (text.isdigit() and int(text) <= 31):
        return None
    return Reading(edtf=None, question=f"Which century is meant by “{text}”? Write the year with four digits.")


def _compact(text: str) -> Reading | None:
    found = re.fullmatch(r"(1[5-9]\d\d|20\d\d)(\d\d)(\d\d)", text)
    return _day(int(found[1]), int(found[2]), int(found[3])) if found else None


def _asian(text: str) -> Reading | None:
    found = re.fullmatch(
        r"(明治|大正|昭和|平成|令和)?\s?(\d{1,4}|元)\s?年\s?(?:(\d{1,2})\s?月)?\s?(?:(\d{1,2})\s?日)?", text
    )
    if found is None:
        return None
    number = 1 if found[2] == "元" else int(found[2])
    year = _ERAS[found[1]] + number if found[1] else number
    if not 1000 <= year <= 2099:
        return None
    if found[4] and found[3]:
        return _day(year, int(found[3]), int(found[4]))
    if found[3]:
        return Reading(edtf=f"{year}-{int(found[3]):02}") if 1 <= int(found[3]) <= 12 else None
    return Reading(edtf=str(year))


def _with_month(text: str) -> Reading | None:
    """A month in words with a year and perhaps a day, in any order."""
    plain = re.sub(r"(\d)(?:st|nd|rd|th|er|ª|º)\b", r"\1", text)
    plain = re.sub(r"(?<=\d)(?=[^\W\d])|(?<=[^\W\d])(?=\d)", " ", plain)
    words = [word for word in re.split(r"[\s./\-]+", plain) if word not in ("", "of", "the", "de", "del", "di", "г")]
    months = [(n, MONTHS.get(word)) for n, word in enumerate(words) if word in MONTHS]
    if len(months) != 1:
        return _roman_month(words)
    place, month = months[0]
    return _around_month(words[:place] + words[place + 1 :], month or 0, text)


def _roman_month(words: list[str]) -> Reading | None:
    if len(words) == 3 and words[1] in ROMAN_MONTHS and words[0].isdigit() and re.fullmatch(r"\d{4}", words[2]):
        return _day(int(words[2]), ROMAN_MONTHS[words[1]], int(words[0]))
    return None


def _around_month(rest: list[str], month: int, text: str) -> Reading | None:
    if not all(re.fullmatch(r"'?\d{1,4}", word) for word in rest):
        return None
    years = [word for word in rest if len(word) == 4 and word.isdigit()]
    days = [word for word in rest if len(word) <= 2 and word.isdigit()]
    if len(rest) == 1 and years:
        return Reading(edtf=f"{years[0]}-{month:02}")
    if len(rest) == 2 and len(years) == 1 and len(days) == 1:
        return _day(int(years[0]), month, int(days[0]))
    short = [word for word in rest if len(word.strip("'")) == 2]
    if 1 <= len(rest) <= 2 and short:
        return Reading(edtf=None, question=f"Which century is meant in “{text}”? Write the year with four digits.")
    return None


def _numeric_month(text: str) -> Reading | None:
    found = re.fullmatch(r"(\d{1,2})\s?[-./]\s?(\d{4})", text)
    if found and 1 <= int(found[1]) <= 12:
        return Reading(edtf=f"{found[2]}-{int(found[1]):02}")
    found = re.fullmatch(r"(\d\d)(\d\d)[./](\d\d)", text)
    if found and 1 <= int(found[3]) <= 12 and int(found[3]) <= int(found[2]):
        return Reading(edtf=f"{found[1]}{found[2]}-{found[3]}")
    return None


def _season(text: str) -> Reading | None:
    words = [word for word in re.split(r"[\s]+", text) if word not in ("of", "in", "the", "de", "del", "dell")]
    seasons = [(n, SEASONS[word]) for n, word in enumerate(words) if word in SEASONS]
    if len(seasons) != 1:
        return None
    place, code = seasons[0]
    rest = " ".join(words[:place] + words[place + 1 :])
    if re.fullmatch(r"\d{4}", rest):
        return Reading(edtf=f"{rest}-{code}")
    winter = re.fullmatch(r"(\d\d)(\d\d)\s?[-/]\s?(?:(\d\d)?(\d\d)|(\d))", rest)
    if code == 24 and winter:
        year = int(winter[1] + winter[2])
        following = int((winter[3] or winter[1]) + (winter[4] or winter[2][0] + winter[5]))
        if following == year + 1:
            return Reading(edtf=f"{year}-12~/{following}-02~")
    if re.fullmatch(r"'?\d\d", rest):
        return Reading(edtf=None, question=f"Which century is meant in “{text}”? Write the year with four digits.")
    return None


def _feast(text: str) -> Reading | None:
    found = re.fullmatch(r"(.*?\D)\s*(\d{4})|(\d{4})\s*(\D.*)", text)
    if found is None:
        return None
    name = re.sub(r"\s+(?:of|in|de|del)$", "", (found[1] or found[4]).strip(" ,"))
    day = feast(name, int(found[2] or found[3]))
    return Reading(edtf=day[0].isoformat() + ("~" if day[1] else "")) if day else None


_DECADE_WORD = r"(?:(?:the|les|die|de|gli|los|las) )?(?:decade of (?:the )?|annees |anos |anni |jaren )?"
_DECADE = re.compile(
    _DECADE_WORD + r"(\d{3})0(?:'?s|er(?: jahre)?|-talet|-tallet|-luku|-e(?: gody)?|-е(?: годы)?| jahre|年代)"
    r"|(?:les |gli |los )?(?:annees|anos|anni|jaren) (\d{3})0"
    r"|(\d{3})[-_x?]\??"  # 194- as library catalogues have it
)


def _decade(text: str) -> Reading | None:
    found = _DECADE.fullmatch(text)
    if found is None:
        return _decade_in_words(text)
    decade = found[1] or found[2] or found[3]
    if decade.endswith("0") and found[3] is None:
        return Reading(
            edtf=None,
            question=f"Does “{text}” mean ten years (write {decade}X) or a hundred (write {decade[:2]}XX)?",
        )
    return Reading(edtf=f"{decade}X")


def _decade_in_words(text: str) -> Reading | None:
    bare = re.sub(r"^(?:the|les|gli|los) ", "", text)
    full = re.fullmatch(r"(nineteen|eighteen)[- ]?(\w+)", bare)
    if full and full[2] in NAMED_DECADES:
        return Reading(edtf=f"{19 if full[1] == 'nineteen' else 18}{NAMED_DECADES[full[2]]}X")
    if bare in NAMED_DECADES:
        return Reading(edtf=None, question=f"Which century is meant by “{text}”? Write, for example, 1940s.")
    return None


def _century(text: str) -> Reading | None:
    number = century_number(text)
    return Reading(edtf=f"{number - 1:02}XX") if number else None


def century_number(text: str) -> int | None:
    """19 for "19th century", "XIXe siecle", "19. jahrhundert"; None for anything else. Also [18--] of catalogues."""
    text = re.sub(r"^the ", "", text)
    found = re.fullmatch(
        rf"(\d\d|[ivx]+){_ORDINAL}e?\s*(?:century|cent\.?|c\.?|jahrhunderts?|jh\.?|jhd\.?|jhdt\.?|siecle|s\.|secolo|sec\.|"
        r"seculo|siglo|eeuw|arhundradet|arhundrede|vuosisata|wiek|stoleti|век|世紀)"
        r"|(?:siglo|secolo|sec\.|seculo)\s*(\d\d|[ivx]+)|(nineteenth|twentieth|eighteenth|twenty-first) century",
        text,
    )
    if found is None:
        old = re.fullmatch(r"(\d\d)(?:--|__|\?\?|xx)\??", text)
        return int(old[1]) + 1 if old else None
    if found[3]:
        return {"eighteenth": 18, "nineteenth": 19, "twentieth": 20, "twenty-first": 21}[found[3]]
    number = found[1] or found[2]
    value = int(number) if number.isdigit() else _ROMAN.get(number, 0)
    return value if 10 <= value <= 21 else None


_ROMAN = {"x": 10, "xv": 15, "xvi": 16, "xvii": 17, "xviii": 18, "xix": 19, "xx": 20, "xxi": 21}


def _part_of(text: str) -> Reading | None:
    """Early, mid or late: a third of a century, a decade, a year or a month."""
    for third, words in enumerate((EARLY, MIDDLE, LATE)):
        for word in sorted(words, key=len, reverse=True):
            if text.startswith(word) and not text[len(word) : len(word) + 1].isalnum():
                rest = text[len(word) :].strip(" -")
                rest = re.sub(r"^(?:the|in|of|der|des|von|du|de)\s+", "", rest)
                reading = _third(point(rest), third) if rest else None
                if reading is not None:
                    return reading
    return _half(text)


def _third(whole: Reading | None, third: int) -> Reading | None:  # noqa: PLR0911
    if whole is None or whole.edtf is None:
        return whole
    edtf = whole.edtf
    if re.fullmatch(r"\d\dXX", edtf):
        first, last = ((0, 33), (34, 66), (67, 99))[third]
        return Reading(edtf=f"{edtf[:2]}{first:02}~/{edtf[:2]}{last:02}~")
    if re.fullmatch(r"\d{3}X", edtf):
        first, last = ((0, 3), (4, 6), (7, 9))[third]
        return Reading(edtf=f"{edtf[:3]}{first}~/{edtf[:3]}{last}~")
    if re.fullmatch(r"\d{4}", edtf):
        first, last = ((1, 4), (5, 8), (9, 12))[third]
        return Reading(edtf=f"{edtf}-{first:02}~/{edtf}-{last:02}~")
    if re.fullmatch(r"\d{4}-(?:0\d|1[0-2])", edtf):
        year, month = int(edtf[:4]), int(edtf[5:])
        length = ((dt.date(year + month // 12, month % 12 + 1, 1)) - dt.date(year, month, 1)).days
        first, last = ((1, 10), (11, 20), (21, length))[third]
        return Reading(edtf=f"{edtf}-{first:02}~/{edtf}-{last:02}~")
    if re.fullmatch(r"\d{4}-2[1-4]", edtf):
        return Reading(
            edtf=edtf, question="Only the season itself can be written as a date; put early or late into the notes."
        )
    return None


def _half(text: str) -> Reading | None:
    found = re.fullmatch(r"(?:the )?(first|1st|second|2nd|last) half (?:of )?(?:the )?(.+)", text)
    whole = point(found[2]) if found else None
    if found is None or whole is None or whole.edtf is None:
        return None
    second = found[1] in ("second", "2nd", "last")
    edtf = whole.edtf
    if re.fullmatch(r"\d\dXX", edtf):
        return Reading(edtf=f"{edtf[:2]}{50 if second else 0:02}/{edtf[:2]}{99 if second else 49}")
    if re.fullmatch(r"\d{3}X", edtf):
        return Reading(edtf=f"{edtf[:3]}{5 if second else 0}/{edtf[:3]}{9 if second else 4}")
    if re.fullmatch(r"\d{4}", edtf):
        return Reading(edtf=f"{edtf}-{41 if second else 40}")
    return None


def _give_or_take(text: str) -> Reading | None:
    found = re.fullmatch(r"(\d{4})\s*(?:\+/-|±|\+-|plus or minus|give or take)\s*(\d{1,2})(?: years?)?", text)
    if found is None:
        return None
    year, spread = int(found[1]), int(found[2])
    return Reading(edtf=f"{year - spread}/{year + spread}") if spread else None


_RULES: tuple[Callable[[str], Reading | None], ...] = (
    *(_year, _short_year, _compact, _asian, _numeric_month, _with_month, _season, _feast),
    *(_decade, _century, _part_of, _give_or_take),
)
