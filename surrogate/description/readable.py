"""EDTF in words, for labels, pages and the desk."""

from __future__ import annotations

import re

_MONTHS = (
    *("January", "February", "March", "April", "May", "June"),
    *("July", "August", "September", "October", "November", "December"),
)
_SEASONS = {21: "spring", 22: "summer", 23: "autumn", 24: "winter", 40: "first half of", 41: "second half of"}
_OPEN_STARTS = {"": "before", "..": "until"}
_OPEN_ENDS = {"": "after", "..": "since"}
_THIRDS = {("0", "3"): "early", ("4", "6"): "mid", ("7", "9"): "late"}
_CENTURY_THIRDS = {("00", "33"): "early", ("34", "66"): "mid", ("67", "99"): "late"}
_MONTH_THIRDS = {("01", "10"): "early", ("11", "20"): "mid", ("21", "28"): "late"}
_YEAR_THIRDS = {("01", "04"): "early", ("05", "08"): "mid", ("09", "12"): "late"}


def for_people(edtf: str) -> str:
    """An EDTF expression in English words ("about 1952"); a text that is no EDTF comes back unchanged."""
    if edtf[:1] in ("[", "{") and edtf[-1:] in ("]", "}"):
        return _set(edtf)
    if edtf.count("/") == 1:
        return _interval(edtf)
    return _point(edtf) or edtf


def _set(edtf: str) -> str:
    inner = edtf[1:-1]
    if inner.startswith(".."):
        return f"{_side(inner[2:])} or earlier"
    if inner.endswith(".."):
        return f"{_side(inner[:-2])} or later"
    if ".." in inner:
        return edtf
    parts = [_side(part.strip()) for part in inner.split(",")]
    return f" {'or' if edtf[0] == '[' else 'and'} ".join([", ".join(parts[:-1]), parts[-1]]) if len(parts) > 1 else edtf


def _interval(edtf: str) -> str:
    start, end = edtf.split("/")
    if start in _OPEN_STARTS:
        return f"{_OPEN_STARTS[start]} {_side(end)}"
    if end in _OPEN_ENDS:
        return f"{_OPEN_ENDS[end]} {_side(start)}"
    third = _third(start, end)
    if third:
        return third
    first, last = _point(start), _point(end)
    if first is None or last is None:
        return edtf
    first = _without_what_follows(start, end, first)
    shared = re.match(r"(perhaps about |about |perhaps )", first)
    if shared and last.startswith(shared[0]):
        return f"{shared[0]}{first.removeprefix(shared[0])} to {last.removeprefix(shared[0])}"
    return f"{first} to {last}"


def _without_what_follows(start: str, end: str, first: str) -> str:
    """May to June 1943 and 12 to 15 May 1943: what both ends share is said once."""
    shape = r"\d{4}-(?:0\d|1[0-2])(-\d\d)?"
    one, other = re.fullmatch(shape, start), re.fullmatch(shape, end)
    if one is None or other is None or bool(one[1]) != bool(other[1]) or start[:4] != end[:4]:
        return first
    words = first.split(" ")[:-1]
    return words[0] if one[1] and start[:7] == end[:7] else " ".join(words)


def _third(start: str, end: str) -> str | None:
    decade = re.fullmatch(r"(\d{3})(\d)~/\1(\d)~", f"{start}/{end}")
    if decade and (decade[2], decade[3]) in _THIRDS:
        return f"{_THIRDS[decade[2], decade[3]]} {decade[1]}0s"
    century = re.fullmatch(r"(\d\d)(\d\d)~/\1(\d\d)~", f"{start}/{end}")
    if century and (century[2], century[3]) in _CENTURY_THIRDS:
        return f"{_CENTURY_THIRDS[century[2], century[3]]} {_point(f'{century[1]}XX')}"
    year = re.fullmatch(r"(\d{4})-(\d\d)~/\1-(\d\d)~", f"{start}/{end}")
    if year and (year[2], year[3]) in _YEAR_THIRDS:
        return f"{_YEAR_THIRDS[year[2], year[3]]} {year[1]}"
    month = re.fullmatch(r"(\d{4}-\d\d)-(\d\d)~/\1-(\d\d)~", f"{start}/{end}")
    if month and (month[2], min(month[3], "28")) in _MONTH_THIRDS:
        return f"{_MONTH_THIRDS[month[2], min(month[3], '28')]} {_point(month[1])}"
    return None


def _side(edtf: str) -> str:
    return _point(edtf) or edtf


def _point(edtf: str) -> str | None:
    mark = {"~": "about ", "?": "perhaps ", "%": "perhaps about "}.get(edtf[-1:], "")
    bare = edtf[:-1] if mark else edtf
    words = _bare_point(bare)
    return None if words is None else mark + words


def _bare_point(edtf: str) -> str | None:
    if re.fullmatch(r"\d{4}", edtf):
        return edtf
    if re.fullmatch(r"\d{3}X", edtf) and not edtf.endswith("0X"):
        return f"{edtf[:3]}0s"
    if re.fullmatch(r"\d\dXX", edtf):
        return f"{ordinal(int(edtf[:2]) + 1)} century"
    return _day(edtf)


def _day(edtf: str) -> str | None:
    day = re.fullmatch(r"(\d{4})-(\d\d)(?:-(\d\d))?", edtf)
    month = int(day[2]) if day else 0
    if day is None:
        return None
    if month in _SEASONS and day[3] is None:
        return f"{_SEASONS[month]} {day[1]}"
    if not 1 <= month <= 12:
        return None
    name = f"{_MONTHS[month - 1]} {day[1]}"
    return name if day[3] is None else f"{int(day[3])} {name}"


def ordinal(number: int) -> str:
    """1st, 2nd, 3rd, 4th, 11th, 21st."""
    ending = "th" if 10 <= number % 100 <= 20 else {1: "st", 2: "nd", 3: "rd"}.get(number % 10, "th")
    return f"{number}{ending}"
