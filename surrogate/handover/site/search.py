"""The search index: an inverted index in small pieces that a browser loads one by one, also from a memory stick.

Every piece is a script that hands its content over by calling one function, since pages opened from a disk may load
scripts but not data. ``search/start.js`` lists where each piece of the sorted terms begins; a piece holds terms with
the items in which they stand; ``search/items_N.js`` holds what a result shows. A list of items is kept as the
differences of rising numbers, or as one bit per item where that is shorter, in base64.
"""

from __future__ import annotations

import base64
import json
import re
import unicodedata
from array import array
from collections import defaultdict
from collections.abc import Iterator, Sequence
from functools import partial
from typing import TextIO

from surrogate.handover.site.overview import Card
from surrogate.handover.site.planned import Planned, fixed
from surrogate.handover.site.shown import Item

#: Characters in one piece of the terms: at most three pieces and the start are loaded for one word.
PIECE_CHARACTERS = 40_000

#: Items whose titles and pictures one piece holds. 24 results from 24 pieces stay at about 100 kB.
ITEMS_IN_PIECE = 32

_WORD = re.compile(r"[^\W_]+")


def words_of(text: str) -> list[str]:
    """The words of a text as they are searched: lower case, without accents; the script folds them the same way.

    >>> words_of("Der Blücher-Kai, 1943")
    ['der', 'blucher', 'kai', '1943']
    """
    lowered = text.lower()
    if lowered.isascii():
        return _WORD.findall(lowered)
    folded = unicodedata.normalize("NFKD", lowered)
    return _WORD.findall("".join(letter for letter in folded if not unicodedata.combining(letter)))


def _searched(item: Item) -> str:
    lines = (line.text for picture in item.pictures for line in picture.text)
    said = (item.reference, item.kind, item.title, item.caption, item.when, item.place, item.inscription, item.creator)
    return "\n".join((*said, *item.people, *item.subjects, *lines))


def _varints(numbers: Sequence[int]) -> bytes:
    """Differences of rising numbers, seven bits a byte, the highest bit set on all but a number's last byte."""
    out = bytearray()
    previous = -1
    for number in numbers:
        step = number - previous
        previous = number
        while step > 0x7F:
            out.append(0x80 | (step & 0x7F))
            step >>= 7
        out.append(step)
    return bytes(out)


def packed(numbers: Sequence[int], total: int) -> str:
    """Rising item numbers below ``total`` as text: ``d`` and differences, or ``b`` and one bit an item."""
    steps = _varints(numbers)
    if len(steps) <= (total + 7) // 8:
        return "d" + base64.b64encode(steps).decode()
    bits = bytearray((total + 7) // 8)
    for number in numbers:
        bits[number >> 3] |= 1 << (number & 7)
    return "b" + base64.b64encode(bytes(bits)).decode()


def script(name: str, content: object) -> str:
    """One piece: a script that hands ``content`` over under ``name``."""
    return f"surrogatePiece({json.dumps(name)},{json.dumps(content, ensure_ascii=False, separators=(',', ':'))})\n"


class Index:
    """The words of all items, gathered item by item."""

    def __init__(self) -> None:
        self._places: dict[str, array[int]] = defaultdict(lambda: array("I"))

    def add(self, number: int, item: Item) -> None:
        """Take in the words of an item; numbers rise."""
        for word in set(words_of(_searched(item))):
            self._places[word].append(number)

    def pieces(self, cards: Sequence[Card]) -> Iterator[Planned]:
        """Every piece of the index; the same items give the same pieces."""
        starts: list[str] = []
        piece: dict[str, str] = {}
        filled = 0
        for term in sorted(self._places):
            listed = packed(self._places[term], len(cards))
            if piece and filled + len(term) + len(listed) > PIECE_CHARACTERS:
                yield _terms(len(starts) - 1, piece)
                piece, filled = {}, 0
            if not piece:
                starts.append(term)
            piece[term] = listed
            filled += len(term) + len(listed) + 6
        if piece:
            yield _terms(len(starts) - 1, piece)
        for number, start in enumerate(range(0, len(cards), ITEMS_IN_PIECE)):
            shown = cards[start : start + ITEMS_IN_PIECE]
            yield Planned(f"search/items_{number}.js", repr(shown), partial(_write_cards, number, shown))
        meta = {"items": len(cards), "inPiece": ITEMS_IN_PIECE, "starts": starts}
        yield fixed("search/start.js", script("start", meta))


def _terms(number: int, terms: dict[str, str]) -> Planned:
    return fixed(f"search/terms_{number}.js", script(f"terms_{number}", terms))


def _write_cards(number: int, cards: Sequence[Card], stream: TextIO) -> None:
    shown = [[card.name, card.reference, card.heading, card.when, card.key] for card in cards]
    stream.write(script(f"items_{number}", shown))
