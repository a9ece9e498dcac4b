"""Days and places as people write them."""

from __future__ import annotations

from datetime import date

from surrogate.records import Location


def in_words(day: date) -> str:
    """A day in words.

    >>> in_words(date(2027, 4, 1))
    '1 April 2027'
    """
    return f"{day.day} {day:%B %Y}"


def lies(location: Location) -> str:
    """Where an original lies; empty where nothing is written down.

    >>> lies(Location(box="1", folder="2", enclosure="sleeve"))
    'box 1, folder 2 (sleeve)'
    """
    named = (("box ", location.box), ("folder ", location.folder))
    place = ", ".join(f"{what}{name}" for what, name in named if name)
    return " ".join(part for part in (place, f"({location.enclosure})" if location.enclosure else "") if part)
