"""What the list of originals is searched by, kept in memory and read again when the catalogue has changed."""

from __future__ import annotations

import threading
import unicodedata
from bisect import bisect_left, bisect_right
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from surrogate.collection import paths
from surrogate.collection.catalogue import CaptionRow, open_catalogue
from surrogate.collection.numbering import name_of
from surrogate.description.sheet import people_in
from surrogate.records import Side

#: Cards on one page of the list: about four screens, and small enough to load at once.
CARDS_ON_A_PAGE = 60

#: Names and places offered for completion: more than a family has, and still a small page.
MOST_OFFERED = 300

_SEARCHED = ("file", "title", "caption", "date", "people", "place", "inscription", "creator", "box", "folder", "notes")


@dataclass(frozen=True)
class Card:
    """One original in the list."""

    reference: str
    name: str
    side: Side
    title: str
    captioned: bool
    approved: bool
    searched: str


@dataclass(frozen=True)
class View:
    """Which originals a person looks at: those with all ``words``, perhaps only those without a caption."""

    words: str = ""
    lacking: bool = False


@dataclass(frozen=True)
class Contents:
    """All cards by reference, and the names and places already used, the most frequent first."""

    cards: tuple[Card, ...]
    people: tuple[str, ...]
    places: tuple[str, ...]

    def seen_in(self, view: View) -> list[Card]:
        """The cards that a view shows."""
        words = folded(view.words).split()
        return [
            card
            for card in self.cards
            if not (view.lacking and card.captioned) and all(word in card.searched for word in words)
        ]

    def beside(self, view: View, reference: str) -> tuple[Card | None, Card | None]:
        """The cards before and after an original in a view, also where the view no longer shows it."""
        cards = self.seen_in(view)
        references = [card.reference for card in cards]
        before, after = bisect_left(references, reference), bisect_right(references, reference)
        return (cards[before - 1] if before else None, cards[after] if after < len(cards) else None)


class Shelf:
    """The contents of one collection. May be asked from several threads."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._lock = threading.Lock()
        self._stamp: tuple[int, int] | None = None
        self._contents = Contents((), (), ())

    def contents(self) -> Contents:
        """What the catalogue holds now."""
        with self._lock:
            found = (self._folder / paths.CATALOGUE).stat()
            stamp = (found.st_mtime_ns, found.st_size)
            if stamp != self._stamp:
                self._contents = _read(self._folder)
                self._stamp = stamp
            return self._contents


def folded(text: str) -> str:
    """Text to search in: without case and accents.

    >>> folded("Zoë MÜLLER")
    'zoe muller'
    """
    spread = unicodedata.normalize("NFKD", text).casefold()
    return "".join(mark for mark in spread if not unicodedata.combining(mark))


def _read(folder: Path) -> Contents:
    with open_catalogue(folder) as catalogue:
        references = [row.reference for row in catalogue.originals()]
        rows: dict[str, list[CaptionRow]] = {}
        for row in catalogue.caption_rows():
            rows.setdefault(row.reference, []).append(row)
    cards = tuple(_card(reference, rows.get(reference, ())) for reference in references)
    cells = [row.cells for found in rows.values() for row in found]
    people = (name for row in cells for name in people_in(row.get("people", "")) if name != "?")
    places = (row["place"].strip() for row in cells if row.get("place", "").strip())
    return Contents(cards, _frequent(people), _frequent(places))


def _card(reference: str, rows: Sequence[CaptionRow]) -> Card:
    cells = [row.cells for row in rows]
    words = [row.get(column, "") for row in cells for column in _SEARCHED]
    return Card(
        reference=reference,
        name=name_of(reference),
        side=rows[0].side if rows else Side.RECTO,
        title=next((row["title"] for row in cells if row.get("title")), ""),
        captioned=any(row.get("caption", "").strip() for row in cells),
        approved=any(row.get("approved") for row in cells),
        searched=folded("\n".join([reference, *words])),
    )


def _frequent(words: Iterable[str]) -> tuple[str, ...]:
    counted = Counter(words)
    return tuple(sorted(counted, key=lambda word: (-counted[word], word.casefold()))[:MOST_OFFERED])
