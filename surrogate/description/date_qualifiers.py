"""The words and signs around a date: about, perhaps, quotation marks and brackets."""

from __future__ import annotations

import re

from surrogate.description.date_points import Reading
from surrogate.description.edtf_forms import is_edtf
from surrogate.description.readable import for_people
from surrogate.description.words import ABOUT, ABOUT_AFTER, PERHAPS, PERHAPS_AFTER


def unwrap(text: str) -> str:
    """Without quotation marks, brackets around the whole and punctuation at the end."""
    text = re.sub(r"\s*[(\[]([^\W\d][^()\[\]]*)[)\]]$", r" \1", text)  # 1943 (approx.)
    text = re.sub(r"^(.*\d\S*)\s+(early|mid|middle|late)$", r"\2 \1", text)  # 1960s (early)
    for _ in range(3):
        text = re.sub(r"^'(?!\d)|'$", "", text.strip(' ",;:'))
        inner = re.fullmatch(r"[\[(<{](.*)[\])>}]", text)
        if inner and not re.search(r"[\[\](){}]", inner[1]):
            text = inner[1]
    if text.endswith(".") and not text.endswith(".."):
        text = text[:-1]
    return text.strip()


def taken_off(text: str, before: tuple[str, ...], after: tuple[str, ...]) -> tuple[str, bool]:
    """The text without the longest of some words before or after it, and True when there was one."""
    for word in sorted(before, key=len, reverse=True):
        if text.startswith(word) and _separate(word[-1:], text[len(word) : len(word) + 1]):
            return text[len(word) :].strip(), True
    for word in sorted(after, key=len, reverse=True):
        if text.endswith(word) and _separate(word[:1], text[: -len(word)][-1:]):
            return text[: -len(word)].strip(" ,"), True
    return text, False


def without_doubt(text: str) -> tuple[str, str]:
    """The text without words for about and perhaps, and the EDTF sign for them: "", ~, ? or %."""
    about = perhaps = False
    for _ in range(4):
        text, was_about = taken_off(text, ABOUT, ABOUT_AFTER)
        text, was_perhaps = taken_off(text, PERHAPS, PERHAPS_AFTER)
        about, perhaps = about or was_about, perhaps or was_perhaps
        text = unwrap(text)
        if not (was_about or was_perhaps):
            break
    return text, "%" if about and perhaps else "~" if about else "?" if perhaps else ""


def qualified(reading: Reading, mark: str) -> Reading:
    """The reading with a sign for about or perhaps on every date in it."""
    edtf = reading.edtf
    if edtf is None or not mark:
        return reading
    whole = re.sub(r"[^/,\[\]{}]+", lambda side: marked(side[0], mark), edtf)
    if is_edtf(whole):
        return Reading(edtf=whole, question=reading.question)
    word = {"~": "about", "?": "perhaps", "%": "perhaps about"}[mark]
    return Reading(
        edtf=edtf,
        question=f"{for_people(edtf)} was kept without “{word}”, which EDTF cannot say of it; put it into the notes "
        "if it matters.",
    )


def marked(side: str, mark: str) -> str:
    """One date with a sign; about and perhaps together make %."""
    if side == ".." or not mark:
        return side
    if side[-1] in "~?%":
        return side if side[-1] == mark else f"{side[:-1]}%"
    return side + mark


def _separate(end: str, neighbour: str) -> bool:
    """A word is a word of its own unless a letter follows a letter ("c1943" and "c.1943" are about 1943)."""
    return not (end.isalpha() and neighbour.isalpha())
