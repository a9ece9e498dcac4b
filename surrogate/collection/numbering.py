"""Reference numbers: their pattern, the safe file name of each, and numbers found in the names of scans.

The default is the museum's three-part number (year, accession of that year, item: 2014.019.0008). File names
follow the advice of the Federal Agencies Digital Guidelines Initiative, *Technical Guidelines for Digitizing
Cultural Heritage Materials* (2016), p. 83-85: at most 32 characters, lower case, no spaces or extra full stops.
"""

from __future__ import annotations

import hashlib
import itertools
import re
import unicodedata
from collections.abc import Collection
from dataclasses import dataclass
from datetime import date
from pathlib import PurePath
from typing import Literal

from surrogate.errors import WrongUse

Field = Literal["year", "accession", "item", "letter"]

#: A file name may have 32 characters (source above); the longest suffix, ``_r_thumbnail.jpg``, takes 16.
NAME_CHARACTERS = 16
#: IPTC-IIM 2:103 (Original Transmission Reference) holds 32 bytes (IIM 4.2, from memory).
REFERENCE_CHARACTERS = 32
#: Folder of references that are nothing but an item number.
UNGROUPED = "items"
#: Names that Windows keeps for devices, with any extension (file naming conventions of Windows, from memory).
_DEVICES = {"con", "prn", "aux", "nul"} | {f"{port}{n}" for port in ("com", "lpt") for n in range(10)}
#: What may stand for {letter}.
LETTER = re.compile(r"[A-Za-z]{1,3}")
_FIELD = re.compile(r"\{(\w*)(?::(\w*))?\}")
_LITERAL = re.compile(r"[A-Za-z0-9._/ -]*")
_AFTER = r"(?=[abrv]?(?:$|[^A-Za-z0-9]))"
_SIDE = r"(?:[abrv]|[ _.-]*(?:recto|verso|front|back|[abrvf]))?"
_ITEM_AT_END = re.compile(r"[./_\s-]*\d+[A-Za-z]?$")


@dataclass(frozen=True)
class Parts:
    """The parts of a reference number; a part that the pattern lacks is None."""

    item: int
    year: int | None = None
    accession: int | None = None
    letter: str | None = None

    @property
    def series(self) -> tuple[int | None, int | None, str | None]:
        """What the item is counted within: year, accession, letter."""
        return (self.year, self.accession, self.letter)


@dataclass(frozen=True)
class _Piece:
    """A field of a pattern, or (``field`` None) the text between fields."""

    field: Field | None
    text: str
    width: int


@dataclass(frozen=True)
class Pattern:
    """A pattern of reference numbers, made by :meth:`parse`."""

    text: str
    pieces: tuple[_Piece, ...]

    @classmethod
    def parse(cls, text: str) -> Pattern:
        """Read a pattern such as ``{year}.{accession:03}.{item:04}``.

        Fields are ``{year}``, ``{accession}``, ``{item}`` and ``{letter}``; ``:03`` pads a number with zeros.

        Raises:
            WrongUse: the pattern is wrong; one sentence says how.

        """
        pieces: list[_Piece] = []
        end = 0
        for found in _FIELD.finditer(text):
            pieces += _literal(text, text[end : found.start()])
            pieces.append(_field(text, found.group(1), found.group(2)))
            end = found.end()
        pieces += _literal(text, text[end:])
        _check_order(text, pieces)
        pattern = cls(text, tuple(pieces))
        example = pattern.format(2000, 1, 1, "A")
        if len(example) > REFERENCE_CHARACTERS:
            raise _wrong(text, f"gives numbers of {len(example)} characters, but {REFERENCE_CHARACTERS} is the most")
        return pattern

    @property
    def fields(self) -> frozenset[Field]:
        """The fields that this pattern has."""
        return frozenset(piece.field for piece in self.pieces if piece.field)

    def format(self, year: int | None, accession: int | None, item: int, letter: str | None = None) -> str:
        """Write a reference number. Parts that the pattern lacks are ignored.

        Raises:
            WrongUse: a part that the pattern needs is missing or out of range.

        """
        values: dict[Field, int | str | None] = {
            "year": year,
            "accession": accession,
            "item": item,
            "letter": letter,
        }
        return "".join(self._written(piece, values) for piece in self.pieces)

    def _written(self, piece: _Piece, values: dict[Field, int | str | None]) -> str:
        if piece.field is None:
            return piece.text
        value = values[piece.field]
        if piece.field == "letter":
            if value is None or value == "":
                return ""
            if not LETTER.fullmatch(str(value)):
                raise WrongUse(f"The letter of a reference number must be one to three letters A-Z, not “{value}”.")
            return str(value)
        if not isinstance(value, int):
            raise WrongUse(f"The pattern {self.text} needs a number for {{{piece.field}}}: set it in collection.toml.")
        lowest, highest = (1000, 9999) if piece.field == "year" else (1, 999_999_999)
        if not lowest <= value <= highest:
            raise WrongUse(f"The {piece.field} of a reference number must be {lowest} to {highest}, not {value}.")
        return f"{value:0{piece.width}d}"

    def parse_reference(self, text: str) -> Parts | None:
        """Take a reference number apart; None when it does not follow the pattern exactly."""
        expression = "".join(_expression(piece) for piece in self.pieces)
        found = re.fullmatch(expression, text)
        return self.parts_of(found) if found else None

    @property
    def loose_expression(self) -> str:
        """Regular expression of the pattern in which ``-``, ``_`` and blanks may stand for its separators."""
        return "".join(
            re.sub(r"(?:\\?[._/ -])+", "[._ -]", _expression(piece)) if piece.field is None else _expression(piece)
            for piece in self.pieces
        )

    def parts_of(self, found: re.Match[str]) -> Parts | None:
        """Read the parts from a match of the pattern's expression; None when a number is zero."""
        groups = found.groupdict()
        numbers = {key: int(groups[key]) for key in ("year", "accession", "item") if groups.get(key)}
        if 0 in numbers.values():
            return None
        return Parts(
            item=numbers["item"],
            year=numbers.get("year"),
            accession=numbers.get("accession"),
            letter=groups.get("letter") or None,
        )


def _wrong(text: str, problem: str) -> WrongUse:
    return WrongUse(
        f"The reference pattern “{text}” {problem}; a pattern that works is {{year}}.{{accession:03}}.{{item:04}}."
    )


def _literal(text: str, part: str) -> list[_Piece]:
    if "{" in part or "}" in part:
        raise _wrong(text, "has a brace without its partner")
    if not _LITERAL.fullmatch(part):
        odd = next(character for character in part if not _LITERAL.fullmatch(character))
        raise _wrong(text, f"has the character {odd!r}, which cannot stand in a reference number")
    return [_Piece(None, part, 0)] if part else []


def _field(text: str, name: str, width: str | None) -> _Piece:
    match name:
        case "year" | "letter":
            if width is not None:
                raise _wrong(text, f"gives {{{name}}} a width, which only {{accession}} and {{item}} can have")
            return _Piece(name, "", 4 if name == "year" else 0)
        case "accession" | "item":
            if width is None:
                return _Piece(name, "", 1)
            if not re.fullmatch(r"0[1-9]", width):
                raise _wrong(text, f"has the width “:{width}”, but widths are written :01 to :09")
            return _Piece(name, "", int(width))
        case _:
            raise _wrong(text, f"has {{{name}}}, but the fields are {{year}}, {{accession}}, {{item}} and {{letter}}")


def _check_order(text: str, pieces: list[_Piece]) -> None:
    names = [piece.field for piece in pieces if piece.field]
    if "item" not in names:
        raise _wrong(text, "has no {item}, so two originals would get the same number")
    repeated = next((name for name in names if names.count(name) > 1), None)
    if repeated:
        raise _wrong(text, f"has {{{repeated}}} twice")
    if pieces[-1].field != "item":
        raise _wrong(text, "does not end with {item}, so originals of one accession would not lie together")
    if pieces[0].field is None and not pieces[0].text[0].isalnum():
        raise _wrong(text, "does not begin with a letter, a digit or a field")
    for left, right in itertools.pairwise(pieces):
        if left.field == "accession" and (right.field == "item" or right.text[:1].isdigit()):
            raise _wrong(text, "runs {accession} into the digits after it, so numbers could be read in two ways")
        letters_meet = left.text[-1:].isalpha() and right.field == "letter"
        if letters_meet or (left.field == "letter" and right.text[:1].isalpha()):
            raise _wrong(text, "runs {letter} into other letters, so numbers could be read in two ways")


def _expression(piece: _Piece) -> str:
    match piece.field:
        case None:
            return re.escape(piece.text)
        case "letter":
            return r"(?P<letter>[A-Za-z]{1,3})?"
        case "year":
            return r"(?P<year>[1-9]\d{3})"
        case name:
            # Padded numbers may outgrow their width; they never carry zeros beyond it.
            longer = rf"[1-9]\d{{{piece.width},}}"
            return rf"(?P<{name}>\d{{{piece.width}}}|{longer})"


def name_of(reference: str) -> str:
    """Return the NAME in files of this reference: lower case, dots as hyphens, at most 16 characters.

    A short reference of letters, digits, dots and hyphens keeps its looks (2014.019.0008 becomes 2014-019-0008).
    Any other keeps its end, where the item is, behind six hexadecimal digits of its SHA-256, so that different
    references get different names; the register refuses what is left.
    """
    return _safe(reference)


def group_of(reference: str) -> str:
    """Return the GROUP (folder) of this reference: the reference without its item part, as a safe name."""
    head = _ITEM_AT_END.sub("", unicodedata.normalize("NFC", reference)).strip("./_- ")
    return _safe(head) if head else UNGROUPED


def _safe(text: str) -> str:
    folded = unicodedata.normalize("NFC", text).lower()
    plain = folded.replace(".", "-")
    if re.fullmatch(r"[a-z0-9](?:[a-z0-9-]*[a-z0-9])?", plain) and len(plain) <= NAME_CHARACTERS:
        return f"{plain}-" if plain in _DEVICES else plain
    bare = unicodedata.normalize("NFKD", folded).encode("ascii", "ignore").decode()
    tail = re.sub(r"[^a-z0-9]+", "-", bare).strip("-")[-(NAME_CHARACTERS - 7) :].strip("-")
    digest = hashlib.sha256(folded.encode("utf-8", "surrogatepass")).hexdigest()[:6]
    return f"{digest}-{tail}" if tail else digest


def reference_in_name(filename: str, pattern: Pattern) -> str | None:
    """Find a reference number in a scan's file name, as the pattern writes it; None when there is none.

    ``-`` and ``_`` may stand for the pattern's separators (2014-019-0008_back.tif). A side letter may follow
    directly (2014.019.0008v). A bare number counts only where the name is nothing else, since scanners and
    cameras count their files too; a match that could be a calendar date counts only with the pattern's own
    separators.
    """
    stem = PurePath(filename.replace("\\", "/")).name
    stem = re.sub(r"\.[A-Za-z][A-Za-z0-9]{1,4}$", "", stem)
    found = re.search(rf"(?<![A-Za-z0-9]){pattern.loose_expression}{_AFTER}", stem, re.IGNORECASE)
    parts = pattern.parts_of(found) if found else None
    if found is None or parts is None:
        return None
    if found.group(0).isdigit() and not re.fullmatch(rf"\d+{_SIDE}", stem, re.IGNORECASE):
        return None
    written = pattern.format(parts.year, parts.accession, parts.item, parts.letter)
    if written.lower() != found.group(0).lower() and _may_be_date(found.group(0)):
        return None
    return written


def _may_be_date(text: str) -> bool:
    numbers = [int(number) for number in re.findall(r"\d+", text)]
    if len(numbers) == 2:
        return 1800 <= numbers[0] <= 2099 and 1 <= numbers[1] <= 12
    if len(numbers) != 3:
        return False
    try:
        date(*numbers)
    except ValueError:
        return False
    return True


def next_item(used: Collection[int]) -> int:
    """Return the next item number: one more than the highest ever used. Gaps are never filled."""
    return max(used, default=0) + 1
