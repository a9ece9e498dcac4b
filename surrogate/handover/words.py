"""Condition, kinds and dates in words that a person uses."""

from __future__ import annotations

import re

from surrogate.collection.changes import ChangeRecord
from surrogate.records import Fade, Grade, Kind, Stain

KINDS = {
    Kind.SILVER_PRINT: "black-and-white print",
    Kind.COLOUR_PRINT: "colour print",
    Kind.NEGATIVE: "negative",
    Kind.CLIPPING: "newspaper clipping",
    Kind.DOCUMENT: "document",
    Kind.ALBUM_PAGE: "album page",
    Kind.TARGET: "scanner target",
    Kind.UNKNOWN: "kind not known",
}

_HOW_FADED = {Grade.SLIGHT: "Slightly faded", Grade.MODERATE: "Clearly faded", Grade.SEVERE: "Badly faded"}
_HOW_STAINED = {Grade.SLIGHT: "Slightly stained", Grade.MODERATE: "Stained", Grade.SEVERE: "Badly stained"}

_MONTHS = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September", "October",
    "November", "December",
)  # fmt: skip

#: EDTF level 1 codes for the seasons (ISO 8601-2:2019, 4.8).
_SEASONS = {"21": "spring", "22": "summer", "23": "autumn", "24": "winter"}


def percent(share: float) -> str:
    """A share as a percentage, with one decimal where whole numbers would hide it."""
    value = 100 * share
    return f"{value:.1f} %" if 0 < abs(value) < 2.95 else f"{value:.0f} %"


def ended(text: str) -> str:
    """``text`` with a full stop where it has no end."""
    text = text.strip()
    return text if not text or text.endswith((".", "!", "?", "…")) else f"{text}."


def sentence(text: str) -> str:
    """``text`` as a sentence: a capital in front, a full stop behind. Not for the words of people or inscriptions."""
    text = ended(text)
    return text[:1].upper() + text[1:]


def fade_words(fade: Fade, kind: Kind) -> str:
    """One or two sentences on how far the picture has faded."""
    if fade.grade is Grade.NOT_MEASURABLE:
        reason = fade.note.strip().removeprefix("Not measurable:").removeprefix("not measurable:")
        return f"Fading could not be measured. {sentence(reason)}".strip()
    if fade.grade is Grade.NONE:
        return f"No fading found. {sentence(fade.note)}".strip()
    words = _HOW_FADED[fade.grade]
    if fade.density_loss is not None:
        c, m, y = (percent(max(0.0, loss)) for loss in fade.density_loss)
        if kind is Kind.COLOUR_PRINT:
            words += f": about {c} of the cyan, {m} of the magenta and {y} of the yellow dye is gone"
        else:
            words += f": about {c} of the picture's density is gone"
        if fade.uncertainty is not None:
            words += f", give or take {percent(max(fade.uncertainty))}"
    return f"{words}. {sentence(fade.note)}".strip()


def stain_words(stain: Stain) -> str:
    """One or two sentences on stains and discoloured paper."""
    if stain.grade is Grade.NOT_MEASURABLE:
        reason = stain.note.strip().removeprefix("Not measurable:").removeprefix("not measurable:")
        return f"Staining could not be measured. {sentence(reason)}".strip()
    if stain.grade is Grade.NONE:
        return f"The base is not discoloured, as far as was measured. {sentence(stain.note)}".strip()
    parts = []
    if stain.area_fraction:
        parts.append(f"{percent(stain.area_fraction)} of the surface")
    if stain.regions:
        parts.append("one mark outlined" if len(stain.regions) == 1 else f"{len(stain.regions)} marks outlined")
    if stain.yellowness_index is not None and "yellowness" not in stain.note.lower():
        parts.append(f"yellowness index of the paper {stain.yellowness_index:.0f}")
    words = _HOW_STAINED[stain.grade] + (": " + ", ".join(parts) if parts else "")
    return f"{words}. {sentence(stain.note)}".strip()


def compared_words(record: ChangeRecord) -> str:
    """One sentence on what a later scan of the same original showed."""
    loss, found = record.report.density_loss, record.report.verdict
    words = f"Compared on {date_words(record.date.isoformat())} with the scan {record.scan}: {found}"
    if found == "changed" and loss is not None:
        words += f", up to {percent(max(0.0, *loss))} of the density lost since its master was made"
    if found == "changed" and record.report.regions:
        marks = len(record.report.regions)
        words += f", {marks} new mark{'' if marks == 1 else 's'}"
    return f"{words}."


def _plain_date(text: str) -> str | None:
    """One EDTF date without qualifier in words, or None when it is not one."""
    if match := re.fullmatch(r"(\d{3}(?=X$)|\d{2}(?=XX$))(X+)", text):
        return f"the {match[1]}0s" if len(match[2]) == 1 else f"between {match[1]}00 and {match[1]}99"
    if not (match := re.fullmatch(r"(\d{4})(?:-(\d\d|XX))?(?:-(\d\d|XX))?", text)):
        return None
    year, month, day = match[1], match[2], match[3]
    if month in {None, "XX"}:
        return year
    if month in _SEASONS and day is None:
        return f"{_SEASONS[month]} {year}"
    if not 1 <= int(month) <= 12:
        return None
    named = f"{_MONTHS[int(month) - 1]} {year}"
    return named if day in {None, "XX"} else f"{int(day)} {named}"


def _qualified_date(text: str) -> str | None:
    """One EDTF date, perhaps with ``~``, ``?`` or ``%``, in words, or None when it is not one."""
    qualifier = text[-1:] if text[-1:] in {"~", "?", "%"} else ""
    plain = _plain_date(text.removesuffix(qualifier))
    if plain is None or not qualifier:
        return plain
    return {"~": f"about {plain}", "?": f"{plain}, perhaps", "%": f"about {plain}, perhaps"}[qualifier]


def date_words(text: str) -> str:
    """An EDTF date (ISO 8601-2 levels 0 and 1) as people say it; other text comes back as it is.

    >>> date_words("1943~"), date_words("1943-05-08"), date_words("194X"), date_words("1940/1945")
    ('about 1943', '8 May 1943', 'the 1940s', '1940 to 1945')
    """
    first, slash, last = text.strip().partition("/")
    start, end = _qualified_date(first), _qualified_date(last)
    if not slash:
        return start or text
    if start and end:
        return f"{start} to {end}"
    if start and last in {"", ".."}:
        return f"{start} or later"
    if end and first in {"", ".."}:
        return f"{end} or earlier"
    return text
