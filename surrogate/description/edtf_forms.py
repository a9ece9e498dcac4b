"""What follows from an EDTF expression: is it valid, where does it sort, which dates do IPTC and XMP take.

Source: Library of Congress, Extended Date/Time Format (EDTF) Specification, 4 February 2019 (ISO 8601-2:2019).
"""

from __future__ import annotations

import calendar
import re
from functools import lru_cache

from edtf import parse_edtf
from edtf.parser.edtf_exceptions import EDTFParseException

# Undated things come last.
SORTS_LAST = "9999-99-99"
_POINT = re.compile(r"(\d{4})(?:-(\d\d)(?:-(\d\d))?)?[~?%]?")
_DECADE = re.compile(r"(?:\d{3}X|\d{2}XX)[~?%]?")
_MARKS = re.compile(r"[~?%]")
# First month of each season code (level 1: 21-24; level 2: 25-41), for sorting only.
_SEASON_MONTHS = {
    21: 3,
    22: 6,
    23: 9,
    24: 12,
    25: 3,
    26: 6,
    27: 9,
    28: 12,
    29: 9,
    30: 12,
    31: 3,
    32: 6,
    33: 1,
    34: 4,
    35: 7,
    36: 10,
    37: 1,
    38: 5,
    39: 9,
    40: 1,
    41: 7,
}
# What the shape of an expression must be before the parser is troubled with it.
_LETTERS = re.compile(r"[-0-9XYESTZ?~%/.,:+\[\]{}]+")


@lru_cache(maxsize=65536)
def is_edtf(text: str) -> bool:
    """True for an EDTF expression of level 0, 1 or 2 whose days exist and whose intervals run forward.

    The common forms are decided here; the ``edtf`` package (9 ms a call) decides the rest.
    """
    if _LETTERS.fullmatch(text) is None or not re.search(r"\d|XXXX", text):
        return False
    if _DECADE.fullmatch(text):
        return True
    point = _POINT.fullmatch(text)
    if point:
        return _exists(point)
    if text.count("/") == 1 and not text.startswith(("[", "{")):
        return _is_interval(*text.split("/"))
    inner = text[1:-1]
    if text[0] + text[-1] in ("[]", "{}") and re.fullmatch(r"\.\.[^.,]+|[^.,]+\.\.", inner):
        return is_edtf(inner.strip("."))  # the package fails on sets that are open at one end
    return _parses(text)


def _is_interval(start: str, end: str) -> bool:
    for side in (start, end):
        if side not in ("", "..") and ("/" in side or not is_edtf(side)):
            return False
    if start in ("", "..") or end in ("", ".."):
        return start not in ("", "..") or end not in ("", "..")
    return _latest_key(end) >= sort_key(start)


def _parses(text: str) -> bool:
    try:
        parse_edtf(text)
    except (EDTFParseException, TypeError, ValueError, OverflowError):
        return False
    return True


def _exists(point: re.Match[str]) -> bool:
    year, month, day = int(point[1]), int(point[2] or 1), int(point[3] or 1)
    if month in _SEASON_MONTHS:
        return point[3] is None and _MARKS.search(point[0]) is None
    if not 1 <= month <= 12:
        return False
    # the Gregorian calendar carried back, as ISO 8601 does; year 0000 is a leap year like 2000
    return 1 <= day <= calendar.monthrange(year or 2000, month)[1]


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
