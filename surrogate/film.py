"""What a scan of film cannot show: questions for the person who holds it, and nitrate, suspected but never cleared.

Cellulose nitrate was made into still film from 1889; sheet film ended in the United States by 1951, 35 mm
roll film about 1940 (blog.ansi.org 2018-08 on NFPA 40-2019). It burns about fifteen times as fast as wood and
carries its own oxygen (NFPA 40, annex A). A date, a code or the word SAFETY on an edge can be wrong, copied
or someone else's: it lowers nothing here.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

NITRATE_FIRST_YEAR, NITRATE_LAST_YEAR = 1889, 1951
#: Other countries stopped later (common practice, no source): a margin before a date counts as late.
_LATE_MARGIN_YEARS = 10

NITRATE_CAUTION = (
    "May be cellulose nitrate, which burns fiercely and gives off harmful fumes as it decays. Keep it cool, apart "
    "and in vented paper enclosures, away from heat and flames, never in a sealed can and never under a warm "
    "scanner lid; do not post it. Sticky, bubbling, smelly or powdery film is not for volunteers: leave it, air "
    "the room and ask an archive conservator or the fire authority. Local rules and licensed practice decide."
)

#: What a scan of film leaves open, before :data:`QUESTIONS`.
NOT_SHOWN = "A scan of film shows neither smell nor shrinkage. To be asked of the film itself:"

QUESTIONS = (
    "Is there a smell of vinegar, camphor or something sharp? (Do not sniff closely; air the room first.)",
    "Does the film lie flat, or is it shrunken, wavy, channelled, brittle or sticky?",
    "What does the edge say, and is there a notch in a corner of a sheet?",
    "Are there bubbles, crystals, powder or a brown or silvery bloom?",
)

_NITRATE_WORDS = re.compile(r"\bnitrate\b|\bnitro(?:cellulose)?\b|\bcelluloid\b|\bflammable\b", re.IGNORECASE)
_DECAY_WORDS = re.compile(
    r"\bsticky\b|\bbubbl\w*|\bpowder\w*|\bhoney\w*|\bpungent\b|\bacrid\b|\bsharp smell\b|\bbrown powder\b",
    re.IGNORECASE,
)
_YEARS = re.compile(r"(?<!\d)(1[89]\d|20\d)([\dX])(?!\d)", re.IGNORECASE)


@dataclass(frozen=True)
class FilmSuspicion:
    """``suspected``: treat as nitrate until a person who may judge has looked. ``because``: one phrase.

    There is no field for "cleared".
    """

    suspected: bool
    because: str
    questions: tuple[str, ...]
    caution: str


def nitrate(date: str, edge_marks: str, notes: str) -> FilmSuspicion:
    """Whether film may be nitrate, from its EDTF date, what its edges say and what people wrote.

    Undated film is suspected: the burden lies on the other side. Dated film is not suspected only when every
    year that the date allows is well after the end of manufacture, and even then the questions stay.
    """
    words = f"{edge_marks} {notes}"
    if _NITRATE_WORDS.search(words) and not re.search(r"\b(?:not|non|no)[ -]nitrate\b", words, re.IGNORECASE):
        return _suspected("someone wrote that it is nitrate")
    if _DECAY_WORDS.search(words):
        return _suspected("what people wrote sounds like decaying film")
    earliest = earliest_year(date)
    if earliest is None:
        return _suspected("the film is undated")
    if earliest <= NITRATE_LAST_YEAR + _LATE_MARGIN_YEARS:
        return _suspected(f"its date ({date}) reaches back to the years when nitrate film was sold or in use")
    return FilmSuspicion(False, f"its date ({date}) is after nitrate film; only a person can tell", QUESTIONS, "")


def caution(date: str, notes: str) -> str:
    """What to say of film that may be nitrate, with the reason; empty where it is not suspected (never: cleared)."""
    found = nitrate(date, "", notes)
    if not found.suspected:
        return ""
    return f"Treat it as nitrate film until somebody who may judge has looked: {found.because}. {found.caution}"


def earliest_year(date: str) -> int | None:
    """First year that an EDTF date allows ("194X" is 1940, "1940/1945" is 1940), or None when it names no year.

    An approximate date ("~", "?") reaches five years further back (common practice, no source).
    """
    found = [int(decade + ("0" if year in "Xx" else year)) for decade, year in _YEARS.findall(date)]
    if not found or date.strip().startswith(("/", "..")):
        return None
    return min(found) - (5 if re.search(r"[~?%]", date) else 0)


def _suspected(because: str) -> FilmSuspicion:
    return FilmSuspicion(True, because, QUESTIONS, NITRATE_CAUTION)
