"""What goes into the index that finds originals, what is asked of it, and what it answers."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True)
class Raw:
    """What the catalogue holds about one original, as its index entry is made from it.

    ``captions`` has the cells of each side's row, ``conditions`` the newest condition record of each side, recto first.
    """

    reference: str
    kind: str
    sides: tuple[str, ...]
    captions: tuple[tuple[str, dict[str, str]], ...]
    conditions: tuple[dict[str, Any], ...]
    same_pictures: int


@dataclass(frozen=True)
class Entry:
    """One original in the index. ``worst`` is the worse grade of fade and stain, 0 (none, unknown) to 3 (severe)."""

    name: str
    side: str
    title: str
    captioned: bool
    approved: bool
    unknown: bool
    years: tuple[int, int] | None
    worst: int
    urgency: float
    texts: tuple[str, ...]
    people: tuple[str, ...]
    places: tuple[str, ...]


@dataclass(frozen=True)
class Card:
    """One original in a list."""

    reference: str
    name: str
    side: str
    kind: str
    title: str
    captioned: bool
    approved: bool
    unknown: bool


@dataclass(frozen=True)
class Query:
    """Which originals are wanted: those for which everything that is given holds.

    ``words`` are beginnings of words, ``people`` and ``places`` those of names; ``years`` a range that the date may
    fall into; ``among`` reference numbers; ``first`` is "number" or "urgent".
    """

    words: tuple[str, ...] = ()
    people: tuple[str, ...] = ()
    places: tuple[str, ...] = ()
    years: tuple[int | None, int | None] = (None, None)
    kind: str = ""
    worst: int = 0
    lacking: bool = False
    unapproved: bool = False
    unknown: bool = False
    among: tuple[str, ...] | None = None
    first: str = "number"


@dataclass(frozen=True)
class State:
    """How far the index is: originals entered, originals in the catalogue."""

    entered: int
    originals: int
