"""All items of a site at a glance: what lists and neighbours need, small enough to be held for 100,000 items."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from surrogate.handover.site.shown import Item
from surrogate.handover.site.state import State


class Card(NamedTuple):
    """What a list shows of an item; ``key`` is that of its first picture."""

    reference: str
    name: str
    heading: str
    when: str
    key: str


@dataclass(frozen=True)
class Way:
    """One way to go through a site: its folder, its heading, and the terms an item stands under."""

    folder: str
    heading: str
    terms: Callable[[Item], Sequence[str]]


PEOPLE = Way("people", "People", lambda item: item.people)
PLACES = Way("places", "Places", lambda item: (item.place,) if item.place else ())
DECADES = Way("decades", "Decades", lambda item: (item.decade,) if item.decade else ())
SUBJECTS = Way("subjects", "Subjects", lambda item: item.subjects)
KINDS = Way("kinds", "Kinds", lambda item: (item.kind,))
WAYS = (PEOPLE, PLACES, DECADES, SUBJECTS, KINDS)


class Overview:
    """The items in their order; an item is named by its place in it. Whole items are loaded when asked for."""

    def __init__(self, state: State) -> None:
        self._state = state
        self.cards: list[Card] = []
        self.digests: list[str] = []
        self._terms: dict[str, dict[str, list[int]]] = {way.folder: {} for way in WAYS}

    def add(self, item: Item, record: str) -> None:
        """Take in the next item; ``record`` is its JSON."""
        number = len(self.cards)
        self.cards.append(Card(item.reference, item.name, item.heading, item.when, item.pictures[0].key))
        self.digests.append(hashlib.sha256(record.encode()).hexdigest()[:32])
        for way in WAYS:
            for term in dict.fromkeys(way.terms(item)):
                self._terms[way.folder].setdefault(term, []).append(number)

    def load(self, number: int) -> Item:
        """One whole item."""
        return Item.model_validate_json(self._state.item(self.cards[number].reference))

    def by_term(self, way: Way) -> dict[str, list[int]]:
        """Items by term, terms sorted as people read them."""
        return dict(sorted(self._terms[way.folder].items(), key=lambda entry: (entry[0].casefold(), entry[0])))
