"""The columns of the caption sheet and the words that people use for them."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping

# In the order of the published sheet.
COLUMNS: tuple[str, ...] = (
    *("file", "reference", "side", "kind", "title", "caption", "date", "people", "place", "inscription"),
    *("creator", "rights", "box", "folder", "enclosure", "lot", "strength", "tone", "access", "approved", "notes"),
)

# Common English wording for each column; further words come from collection.toml.
_WORDINGS: Mapping[str, str] = {
    "file": "file name, filename, file names, image file, scan, scan file, scan name, image, picture file, path",
    "reference": "reference number, ref, ref no, ref number, reference no, number, no, item number, item no, "
    "accession number, accession no, object number, identifier, id, call number, shelfmark, inventory number",
    "side": "front or back, front back, recto or verso, recto verso",
    "kind": "type, kind of original, object type, material, medium, format, type of original",
    "title": "name, heading, headline, short title, picture title",
    "caption": "description, captions, text, what, what it shows, content, scope and content, subject, story",
    "date": "dates, when, year, date taken, date of photo, date of photograph, date of picture, taken, date created",
    "people": "persons, person, names, who, people shown, person shown, persons shown, sitters, sitter, who is it, "
    "people in picture, people in the picture, left to right",
    "place": "location, where, places, place shown, town, place taken, where taken, geographic location",
    "inscription": "back, on the back, written on back, written on the back, writing on back, writing on the back, "
    "inscriptions, text on back, text on the back, verso text, inscription on the back, back of print",
    "creator": "photographer, author, artist, maker, studio, taken by, photo by, creators",
    "rights": "copyright, licence, license, rights statement, copyright notice, rights holder",
    "box": "box number, box no, container",
    "folder": "folder number, folder no, file folder",
    "enclosure": "envelope, sleeve, packet, housing, enclosure number",
    "lot": "batch, set, group, series",
    "strength": "correction, strength of correction, correction strength",
    "tone": "image tone, toning",
    "access": "access conditions, restrictions, closed until, access restrictions, public",
    "approved": "approval, checked, ok, done, reviewed",
    "notes": "note, remarks, remark, comment, comments, memo",
}


def _plain(word: str) -> str:
    """A header word without case, accents, punctuation and doubled spaces."""
    spread = unicodedata.normalize("NFKD", word).casefold()
    letters = "".join(mark for mark in spread if not unicodedata.combining(mark))
    return " ".join(re.sub(r"[\W_]+", " ", letters).split())


_KNOWN: Mapping[str, str] = {
    **{_plain(word): column for column, words in _WORDINGS.items() for word in words.split(", ")},
    **{column: column for column in COLUMNS},
}


def column_for(header: str, own_words: Mapping[str, str]) -> str | None:
    """The published column that a header means, or None for a column of the person's own.

    ``own_words`` maps header words of ``collection.toml``, in any language, to published columns; they win.
    """
    plain = _plain(header)
    for word, column in own_words.items():
        if _plain(word) == plain:
            return column
    return _KNOWN.get(plain)
