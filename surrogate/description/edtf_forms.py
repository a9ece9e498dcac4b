"""EDTF: is an expression valid, where does it sort, which dates do IPTC and XMP take.

Source: Library of Congress, Extended Date/Time Format (EDTF) Specification, 4 February 2019 (ISO 8601-2:2019). The
``edtf`` package 5.0.2 takes 9 ms for an expression, prints to standard output and lets AttributeError through for
some examples of the specification, so it serves the tests only.
"""

from __future__ import annotations

import calendar
import re
from functools import lru_cache

# Undated things come last.
SORTS_LAST = "9999-99-99"
_MARKS = re.compile(r"[~?%]")
# First month of each season code (level 1: 21-24; level 2: 25-41), for sorting only.
_SEASON_MONTHS = {
    21: 3, 22: 6, 23: 9, 24: 12, 25: 3, 26: 6, 27: 9, 28: 12, 29: 9, 30: 12, 31: 3, 32: 6,
    33: 1, 34: 4, 35: 7, 36: 10, 37: 1, 38: 5, 39: 9, 40: 1, 41: 7,
}  # fmt: skip
_DATE = re.compile(
    r"[?~%]?(?P<year>-?[\dX]{4})[?~%]?(?:-[?~%]?(?P<month>[\dX]{2})[?~%]?(?:-[?~%]?(?P<day>[\dX]{2})[?~%]?)?)?"
)
_LONG_YEAR = re.compile(r"Y-?\d+(?:E\d+)?(?:S\d+)?|-?\d{4}S\d+")
_TIME = re.compile(r"(\d{4}-\d\d-\d\d)T([01]\d|2[0-3]):[0-5]\d:[0-5]\d(?:Z|[+-](?:0\d|1[0-4])(?::[0-5]\d)?)?")


@lru_cache(maxsize=65536)
def is_edtf(text: str) -> bool:
    """True for an EDTF expression of level 0, 1 or 2 whose days exist and whose intervals run forward."""
    if text[:1] + text[-1:] in ("[]", "{}"):
        return all(_is_element(part) for part in text[1:-1].split(","))
    if "/" in text:
        return text.count("/") == 1 and _is_interval(*text.split("/"))
    time = _TIME.fullmatch(text)
    return _is_date(time[1] if time else text)


def _is_date(text: str) -> bool:
    found = _DATE.fullmatch(text)
    return _exists(found) if found else _LONG_YEAR.fullmatch(text) is not None


def _is_element(text: str) -> bool:
    """One member of a set: a date, or a range that may be open at one end."""
    first, dots, last = text.partition("..")
    if not dots:
        return _is_date(text)
    if first and last:
        return _is_date(first) and _is_date(last) and _latest_key(last) >= sort_key(first)
    return _is_date(first or last)


def _is_interval(start: str, end: str) -> bool:
    known = [side for side in (start, end) if side not in ("", "..")]
    if not known or not all(_is_date(side) for side in known):
        return False
    return len(known) == 1 or _latest_key(end) >= sort_key(start)


def _exists(date: re.Match[str]) -> bool:
    """The month, season and day exist in the Gregorian calendar; X stands for any digit."""
    year, month, day = date["year"], date["month"], date["day"]
    if month is None:
        return True
    if month.isdigit() and int(month) in _SEASON_MONTHS:
        return day is None and _MARKS.search(date[0]) is None
    months = [number for number in range(1, 13) if _fits(month, number)]
    if not months or day is None:
        return bool(months)
    # year 0000 is a leap year as 2000 is; an unknown year may be one
    leap = 2000 if "X" in year else abs(int(year)) % 400 or 2000
    longest = max(calendar.monthrange(leap, number)[1] for number in months)
    return any(_fits(day, number) for number in range(1, longest + 1))


def _fits(pattern: str, number: int) -> bool:
    return re.fullmatch(pattern.replace("X", r"\d"), f"{number:02}") is not None


def sort_key(edtf: str) -> str:
    """A text by which expressions sort by their earliest day; unknown parts sort first.

    "Before 1920" sorts just before 1920. Years before 0 sort first, in order.
    """
    start, _, end = edtf.partition("/")
    if "/" in edtf and start in ("", ".."):
        return _just_before(end)
    open_set = re.fullmatch(r"[\[{]\.\.(.*?)[\]}]", edtf)
    if open_set:
        return _just_before(open_set[1])
    return _point_key(start.lstrip("[{"))


def _just_before(edtf: str) -> str:
    key = _point_key(edtf)
    return f"{int(key[:4]) - 1:04}-99-99" if key[:4].isdigit() and int(key[:4]) else key


def _latest_key(edtf: str) -> str:
    key = _point_key(edtf, unknown="9")
    return key.replace("-00", "-99")


def _point_key(edtf: str, unknown: str = "0") -> str:
    found = re.match(r"(-?)(\d{2}[\dX]{2}|\d[\dX]{3}|XXXX)(?:-([\dX]{2}))?(?:-([\dX]{2}))?", _MARKS.sub("", edtf))
    if found is None:
        return SORTS_LAST
    year = found[2].replace("X", unknown)
    month = (found[3] or "00").replace("X", unknown)
    if month.isdigit() and int(month) in _SEASON_MONTHS:
        month = f"{_SEASON_MONTHS[int(month)]:02}"
    day = (found[4] or "00").replace("X", unknown)
    return f"-{9999 - int(year):04}-{month}-{day}" if found[1] else f"{year}-{month}-{day}"


def known_parts(edtf: str) -> tuple[int, int, int] | None:
    """Year, month and day (0 = unknown) that are certain for the whole expression, or None without one year.

    1943-05/1943-06 gives (1943, 0, 0); 194X and 1940/1945 give None.
    """
    sides = [_parts(side) for side in re.split(r"/|,|\.\.", edtf.strip("[]{}"))]
    if not sides or None in sides:
        return None
    years, months, days = zip(*(side for side in sides if side is not None), strict=True)
    if len(set(years)) > 1:
        return None
    month = months[0] if len(set(months)) == 1 else 0
    day = days[0] if month and len(set(days)) == 1 else 0
    return years[0], month, day


def _parts(side: str) -> tuple[int, int, int] | None:
    found = re.fullmatch(r"(\d{4})(?:-(\d\d|XX)(?:-(\d\d|XX))?)?(?:T.*)?", _MARKS.sub("", side))
    if found is None:
        return None
    month = int(found[2]) if found[2] and found[2].isdigit() else 0
    if month > 12:
        month = 0
    day = int(found[3]) if month and found[3] and found[3].isdigit() else 0
    return int(found[1]), month, day


def iptc_date(edtf: str) -> str | None:
    """CCYYMMDD with 00 for unknown parts (IIM 4.2, data set 2:55), or None when no single year is known."""
    parts = known_parts(edtf)
    return None if parts is None or parts[0] == 0 else "{:04}{:02}{:02}".format(*parts)


def xmp_date(edtf: str) -> str | None:
    """YYYY, YYYY-MM or YYYY-MM-DD (XMP part 1, 8.2.1.2), as precise as known, or None."""
    parts = known_parts(edtf)
    if parts is None or parts[0] == 0:
        return None
    year, month, day = parts
    return "-".join([f"{year:04}", *([f"{month:02}"] if month else []), *([f"{day:02}"] if day else [])])
