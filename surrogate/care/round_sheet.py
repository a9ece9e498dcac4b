"""The sheet for a round through the boxes: one row an original, one box to tick for each kind of finding."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from surrogate import film
from surrogate.care.days import in_words, lies
from surrogate.care.findings import KINDS
from surrogate.records import Kind, Original
from surrogate.sheets.page import HAIR, PENCIL, Document, Page

_WIDTH, _HEIGHT = 297.0, 210.0
_LEFT, _TOP, _FOOT = 14.0, 18.0, 196.0

#: Widths (mm) of reference and place; the ticks share what is left before the words.
_REFERENCE, _PLACE, _TICK, _WORDS = 34.0, 48.0, 15.0, 36.0
_ROW = 9.5

#: Width (mm) of words on the page about film, and how many numbers it names.
_WORDING, _NAMED = 230.0, 120


def round_sheet(collection: str, originals: Sequence[Original], day: date) -> bytes:
    """PDF (A4 landscape) to print and fill in; what is ticked goes into ``inspections.csv`` as words."""
    document = Document(f"Round of {day.isoformat()}")
    page, y = _head(document, collection, day)
    for original in originals:
        if y + _ROW > _FOOT:
            page, y = _head(document, collection, day)
        place = lies(original.location) or "place not written down"
        page.text(_LEFT, y + 4.2, original.reference[:20], size=9)
        page.text(_LEFT + _REFERENCE, y + 4.2, place[:30], size=8, grey=PENCIL)
        shows = original.title or original.caption
        page.box((_LEFT, y + 5.2, _REFERENCE + _PLACE - 2, 3.6), shows, (7.5, 7, 6.5), grey=PENCIL)
        x = _LEFT + _REFERENCE + _PLACE
        for _ in ("all right", *KINDS):
            page.rectangle(x + 4.5, y + 2.4, 4.2, 4.2, grey=PENCIL)
            x += _TICK
        page.line(x, y + 7.4, _WIDTH - _LEFT, y + 7.4, grey=HAIR)
        y += _ROW
        page.line(_LEFT, y, _WIDTH - _LEFT, y, grey=HAIR, points=0.3)
    film_in_round = [original for original in originals if original.kind is Kind.NEGATIVE]
    if film_in_round:
        _ask_of_film(document, film_in_round)
    return document.finish()


def _ask_of_film(document: Document, film_in_round: Sequence[Original]) -> None:
    """A page of what no scan of film shows; it comes whether or not nitrate is suspected, since none is cleared."""
    page = document.page(_WIDTH, _HEIGHT)
    page.text(_LEFT, _TOP, "Film: ask of each piece what its scan cannot show", size=14, weight="bold")
    y = page.paragraph(_LEFT, _TOP + 6, _WORDING, film.NITRATE_CAUTION, size=9) + 5
    for number, question in enumerate(film.QUESTIONS, 1):
        page.text(_LEFT, y + 3.5, f"{number}", size=10, weight="bold")
        y = page.paragraph(_LEFT + 8, y, _WORDING - 8, question, size=10) + 2
    suspected = [one.reference for one in film_in_round if film.nitrate(one.date, "", one.notes).suspected]
    named = ", ".join(suspected[:_NAMED]) + (f" and {len(suspected) - _NAMED} more" if len(suspected) > _NAMED else "")
    if suspected:
        y = page.paragraph(_LEFT, y + 2, _WORDING, f"Treat as nitrate until judged: {named}.", size=9) + 3
    y = page.paragraph(_LEFT, y, _WORDING, "Film that is not named here is not cleared by that.", size=9) + 6
    page, y = _film_head(page, y)
    for original in film_in_round:
        if y + _ROW > _FOOT:
            page, y = _film_head(document.page(_WIDTH, _HEIGHT), _TOP)
        page.text(_LEFT, y + 5.6, original.reference[:20], size=9)
        page.text(_LEFT + _REFERENCE, y + 5.6, (lies(original.location) or "place not written down")[:30], size=8,
                  grey=PENCIL)  # fmt: skip
        for column in range(len(film.QUESTIONS)):
            page.rectangle(_LEFT + _REFERENCE + _PLACE + column * _TICK + 4.5, y + 2.4, 4.2, 4.2, grey=PENCIL)
        y += _ROW
        page.line(_LEFT, y, _WIDTH - _LEFT, y, grey=HAIR, points=0.3)


def _film_head(page: Page, y: float) -> tuple[Page, float]:
    """The head of the rows to fill in, a column for each question."""
    page.text(_LEFT, y, "Reference", size=8, weight="bold")
    page.text(_LEFT + _REFERENCE, y, "Where", size=8, weight="bold")
    for column in range(len(film.QUESTIONS)):
        x = _LEFT + _REFERENCE + _PLACE + column * _TICK + 6.6
        page.text(x, y, f"{column + 1}: yes", size=7, weight="bold", align="centre")
    x = _LEFT + _REFERENCE + _PLACE + len(film.QUESTIONS) * _TICK
    page.text(x + 6, y, "in words (what the edge says, how it smells)", size=8, weight="bold")
    page.line(_LEFT, y + 2, _WIDTH - _LEFT, y + 2, points=0.5)
    return page, y + 2


def _head(document: Document, collection: str, day: date) -> tuple[Page, float]:
    page = document.page(_WIDTH, _HEIGHT)
    page.text(_LEFT, _TOP, f"Look through the originals: {in_words(day)}", size=14, weight="bold")
    page.text(_WIDTH - _LEFT, _TOP, collection[:60], size=8, grey=PENCIL, align="right")
    page.text(_LEFT, _TOP + 8, "Looked at by ______________________________   on ____________________", size=9)
    page.text(_LEFT, _TOP + 14, "Tick what you see, then type it into care/inspections.csv: the words over the boxes "
              "are understood there.", size=8, grey=PENCIL)  # fmt: skip
    y = _TOP + 21
    page.text(_LEFT, y, "Reference", size=8, weight="bold")
    page.text(_LEFT + _REFERENCE, y, "Where", size=8, weight="bold")
    x = _LEFT + _REFERENCE + _PLACE
    for word in ("all right", *KINDS):
        page.text(x + 6.6, y, word, size=7, weight="bold", align="centre")
        x += _TICK
    page.text(x + 1, y, "in words", size=8, weight="bold")
    page.line(_LEFT, y + 2, _WIDTH - _LEFT, y + 2, points=0.5)
    return page, y + 2
