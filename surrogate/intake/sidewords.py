"""Words and letters that name the side of an original in the names of scans, and how they are read.

All of these are common practice, no source, except the letters ``a``/``b`` (0001a front, 0001b back:
shkola.of.by/file-naming-scheme.html) and ``r``/``v`` (recto, verso: archives' usage, from memory).
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from enum import StrEnum

from surrogate.records import Side


class Scheme(StrEnum):
    """The ways in which a name can say front or back."""

    WORD = "word"
    DOUBTFUL_WORD = "doubtful word"
    LETTER = "letter"
    NUMBER = "number"
    COPY_NUMBER = "copy number"


@dataclass(frozen=True)
class Reading:
    """One way to read a name: which side it names, of what, and by which mark."""

    side: Side
    base: tuple[str, ...]
    scheme: Scheme
    mark: str
    at_end: bool
    joined: bool


#: Words that are hardly ever anything else in the name of a scan.
_SURE = {
    Side.RECTO: """recto obverse obv frontside vorderseite anverso voorkant voorzijde framsida forside framside
        aversi awers przod líc lic лицевая лицо etupuoli""",
    Side.VERSO: """verso reverse backside rückseite rueckseite ruckseite reverso dorso achterkant achterzijde
        baksida bagside bakside rewers tył tyl оборот оборотная kääntöpuoli kaantopuoli takapuoli""",
}
#: Words that also mean other things (the front of a house, a retro party, revision two).
_DOUBTFUL = {
    Side.RECTO: "front fronts fr frt face avant devant vorne vorn anvers fronte frente cara",
    Side.VERSO: "back backs bk bck rear rev dos arrière arriere hinten revers retro atrás atras detrás detras rub rück",
}
_LETTERS = {"r": Side.RECTO, "v": Side.VERSO, "f": Side.RECTO, "b": Side.VERSO, "a": Side.RECTO}
_SPLIT = re.compile(r"\d+|[^\W\d_]+", re.UNICODE)
_CAMEL = re.compile(r"(?<=[a-zß-öø-ÿ])(?=[A-ZÀ-Þ])")
_COPY_NUMBER = re.compile(r"^(?P<base>.*\S)\s*\((?P<number>[12])\)$")
_NUMBER = re.compile(r"^(?P<base>.*[^\W_])[-_. ]0{0,2}(?P<number>[12])$")


def _table(words: dict[Side, str], scheme: Scheme) -> dict[str, tuple[Side, Scheme]]:
    return {word.casefold(): (side, scheme) for side, text in words.items() for word in text.split()}


_WORDS = _table(_DOUBTFUL, Scheme.DOUBTFUL_WORD) | _table(_SURE, Scheme.WORD)


def tokens(stem: str) -> tuple[str, ...]:
    """Split a name without its suffix into words and numbers, case-folded: ``IMG_0001Back`` gives img 0001 back."""
    spaced = _CAMEL.sub(" ", unicodedata.normalize("NFC", stem))
    return tuple(token.casefold() for token in _SPLIT.findall(spaced))


def side_of_folder(folder: str) -> Side | None:
    """Return the side that a folder's own name stands for (``backs``, ``Verso``), else None."""
    words = [word for word in tokens(folder) if word not in {"side", "sides", "seite", "the", "scans", "of"}]
    if len(words) != 1:
        return None
    found = _WORDS.get(words[0]) or _WORDS.get(words[0].removesuffix("s"))
    return found[0] if found else None


def readings(stem: str) -> list[Reading]:
    """Every way to read a name's side mark, surest first. An empty list: the name has no side mark."""
    found = [reading for reading in (_by_word(stem), _by_letter(stem)) if reading]
    return found + _by_number(stem)


def _by_word(stem: str) -> Reading | None:
    parts = [part for part in tokens(stem) if part not in {"side", "seite"}]
    # "side a", "side 2": the mark is the letter or number after the word.
    if len(parts) + 1 == len(tokens(stem)) and parts and parts[-1] in {"a", "b", "1", "2"}:
        side = Side.RECTO if parts[-1] in {"a", "1"} else Side.VERSO
        return Reading(side, tuple(parts[:-1]), Scheme.WORD, f"side {parts[-1]}", at_end=True, joined=False)
    marked = [place for place, part in enumerate(parts) if part in _WORDS]
    if len(marked) != 1 or len(parts) == 1:
        return None
    place = marked[0]
    mark = parts[place]
    side, scheme = _WORDS[mark]
    at_end, at_start = place == len(parts) - 1, place == 0
    if mark == "rev" and not at_end:
        return None  # "rev 2" is a revision
    if not (at_end or at_start) and scheme is Scheme.DOUBTFUL_WORD and not parts[place - 1].isdigit():
        return None
    base = [*parts[:place], *parts[place + 1 :]]
    if at_start and base[0] == "of" and len(base) > 1:
        base = base[1:]
    return Reading(side, tuple(base), scheme, mark, at_end=at_end, joined=False)


def _by_letter(stem: str) -> Reading | None:
    parts = tokens(stem)
    if len(parts) < 2:
        return None
    mark = parts[-1]
    if mark in _LETTERS:
        joined = re.search(r"[\s_.\-(\[]", stem[:-1][-1:]) is None and not stem.endswith((")", "]"))
        if joined and not parts[-2].isdigit():
            return None
        return Reading(_LETTERS[mark], parts[:-1], Scheme.LETTER, mark, at_end=True, joined=joined)
    mark = parts[0]
    if mark in _LETTERS and parts[1].isdigit():
        return Reading(_LETTERS[mark], parts[1:], Scheme.LETTER, mark, at_end=False, joined=stem[1:2].isdigit())
    return None


def _by_number(stem: str) -> list[Reading]:
    for expression, scheme in ((_COPY_NUMBER, Scheme.COPY_NUMBER), (_NUMBER, Scheme.NUMBER)):
        found = expression.match(stem)
        if found and tokens(found["base"]):
            side = Side.RECTO if found["number"] == "1" else Side.VERSO
            mark = found["number"]
            return [Reading(side, tokens(found["base"]), scheme, mark, at_end=True, joined=False)]
    return []
