# ruff: noqa: E501 (one line a feast)
"""Feasts and holidays that people date pictures by."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping

from surrogate.description.words import plain_word


def easter(year: int) -> dt.date:
    """Easter Sunday in the Gregorian calendar (Meeus, Jones and Butcher's anonymous algorithm, 1876)."""
    golden, century, of_century = year % 19, year // 100, year % 100
    leaps, rest = divmod(century, 4)
    moon = (19 * golden + century - leaps - (century - (century + 8) // 25 + 1) // 3 + 15) % 30
    sunday = (32 + 2 * rest + 2 * (of_century // 4) - moon - of_century % 4) % 7
    shift = (golden + 11 * moon + 22 * sunday) // 451
    month, day = divmod(moon + sunday - 7 * shift + 114, 31)
    return dt.date(year, month, day + 1)


def _from_easter(days: int) -> Callable[[int], dt.date]:
    return lambda year: easter(year) + dt.timedelta(days=days)


def _fixed(month: int, day: int) -> Callable[[int], dt.date]:
    return lambda year: dt.date(year, month, day)


# Days that are one day by their name.
_EXACT: Mapping[str, Callable[[int], dt.date]] = {
    "easter sunday, easter day, ostersonntag, dimanche de paques, domenica di pasqua, domingo de pascua": _from_easter(
        0
    ),
    "easter monday, ostermontag, lundi de paques, pasquetta": _from_easter(1),
    "good friday, karfreitag, vendredi saint, venerdi santo, viernes santo": _from_easter(-2),
    "palm sunday, palmsonntag": _from_easter(-7),
    "ash wednesday, aschermittwoch": _from_easter(-46),
    "shrove tuesday, pancake day": _from_easter(-47),
    "ascension day, ascension, christi himmelfahrt": _from_easter(39),
    "whit sunday, pentecost sunday, pfingstsonntag": _from_easter(49),
    "whit monday, pfingstmontag": _from_easter(50),
    "corpus christi, fronleichnam": _from_easter(60),
    "christmas day": _fixed(12, 25),
    "christmas eve, xmas eve, heiligabend, heilig abend, nochebuena": _fixed(12, 24),
    "boxing day, st stephen's day, stephanstag": _fixed(12, 26),
    "new year's day, new years day, neujahr, jour de l'an": _fixed(1, 1),
    "new year's eve, new years eve, silvester": _fixed(12, 31),
    "epiphany, dreikonigstag": _fixed(1, 6),
    "st valentine's day, valentine's day": _fixed(2, 14),
    "st patrick's day": _fixed(3, 17),
    "april fool's day, april fools day": _fixed(4, 1),
    "may day, erster mai": _fixed(5, 1),
    "fourth of july, independence day, july fourth": _fixed(7, 4),
    "ve day, v-e day, victory in europe day": _fixed(5, 8),
    "bastille day": _fixed(7, 14),
    "halloween, hallowe'en": _fixed(10, 31),
    "all saints' day, all saints day, all saints, allerheiligen, toussaint": _fixed(11, 1),
    "guy fawkes night, bonfire night": _fixed(11, 5),
    "armistice day, veterans day": _fixed(11, 11),
}
# Feasts that people use for the days around them too.
_ABOUT: Mapping[str, Callable[[int], dt.date]] = {
    "easter, easter time, easter holidays, ostern, paques, pasqua, pascua, pasen, pask, paske, paasiainen, wielkanoc": _from_easter(0),
    "whitsun, whitsuntide, whit, pentecost, pfingsten, pentecote, pinksteren, pingst, pinse": _from_easter(49),
    "christmas, xmas, christmas time, christmastime, weihnachten, noel, natale, navidad, natal, kerstmis, kerst, jul, joulu": _fixed(12, 25),
    "new year, new year's, new years": _fixed(1, 1),
}  # fmt: skip


def _spread(table: Mapping[str, Callable[[int], dt.date]]) -> dict[str, Callable[[int], dt.date]]:
    return {plain_word(word): rule for words, rule in table.items() for word in words.split(", ")}


_EXACT_BY_WORD = _spread(_EXACT)
_ABOUT_BY_WORD = _spread(_ABOUT)


def feast(name: str, year: int) -> tuple[dt.date, bool] | None:
    """The day of a feast, and True when its name is also used for the days around it; None if not known.

    ``name`` is plain (see :func:`plain_word`); ``year`` 1583-9999, the Gregorian calendar.
    """
    if not 1583 <= year <= 9999:
        return None
    if name in _EXACT_BY_WORD:
        return _EXACT_BY_WORD[name](year), False
    if name in _ABOUT_BY_WORD:
        return _ABOUT_BY_WORD[name](year), True
    return None
