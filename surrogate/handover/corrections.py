"""Where the lines that people wrote stand on the picture: each takes the place of the recognised lines it replaces."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from difflib import SequenceMatcher

from surrogate.handover.alto import hull

Box = tuple[float, float, float, float]

#: A recognised line belongs to a written one when at least this share of its words stand there in the same order.
#: Half: a line that was broken elsewhere belongs to the written line that holds the larger part of it.
_SHARE = 0.5


@dataclass(frozen=True)
class _Spoken:
    word: str
    line: int


def _words(lines: Sequence[str]) -> list[_Spoken]:
    return [_Spoken(word.casefold(), number) for number, line in enumerate(lines) for word in line.split()]


def places(recognised: Sequence[tuple[str, Box | None]], written: Sequence[str]) -> list[Box | None]:
    """The place of each written line, or None where nothing recognised resembles it.

    As many lines as were recognised keep their places one by one. Otherwise words are compared in order
    (Ratcliff and Obershelp's matching blocks, as in the standard library's difflib).
    """
    if len(recognised) == len(written):
        return [box for _, box in recognised]
    found, said = _words([text for text, _ in recognised]), _words(written)
    blocks = SequenceMatcher(None, [each.word for each in found], [each.word for each in said], autojunk=False)
    shared: Counter[tuple[int, int]] = Counter()
    for block in blocks.get_matching_blocks():
        for step in range(block.size):
            shared[said[block.b + step].line, found[block.a + step].line] += 1
    lengths = Counter(each.line for each in found)
    made: list[Box | None] = []
    for line in range(len(written)):
        owned = [n for (mine, n), words in shared.items() if mine == line and words >= _SHARE * lengths[n]]
        boxes = [box for n in owned if (box := recognised[n][1]) is not None]
        made.append(hull(boxes) if boxes else None)
    return made
