"""Which originals a person looks at, and how an original is entered into the index that finds them."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlencode

from surrogate.collection.numbering import name_of
from surrogate.collection.search_records import Entry, Query, Raw
from surrogate.condition import priority
from surrogate.description.dates import understand
from surrogate.description.sheet import people_in
from surrogate.records import Condition, Grade, Kind

#: Cards on one page of the list: about four screens, and a number that 1 to 6 columns divide.
CARDS_ON_A_PAGE = 60

_WORST = {Grade.SLIGHT: 1, Grade.MODERATE: 2, Grade.SEVERE: 3}
_OTHER = ("file", "date", "creator", "box", "folder", "enclosure", "notes")
_LONGEST_WORDS = 200
_MOST_WORDS = 12


@dataclass(frozen=True)
class View:
    """What a person asked for, as it stands in the address; everything empty shows every original."""

    words: str = ""
    person: str = ""
    place: str = ""
    since: str = ""
    until: str = ""
    kind: str = ""
    worst: str = ""
    lacking: bool = False
    unapproved: bool = False
    unknown: bool = False
    chosen: str = ""
    first: str = ""

    @property
    def refined(self) -> bool:
        """Whether more than words and the caption tick is asked for."""
        return self != View(words=self.words, lacking=self.lacking)

    def address(self) -> str:
        """The view as the query of an address."""
        texts = {short: getattr(self, name) for short, name in _TEXTS.items()}
        ticks = {short: "1" for short, name in _TICKS.items() if getattr(self, name)}
        return urlencode({**{short: text for short, text in texts.items() if text}, **ticks})

    def query(self, among: tuple[str, ...] | None) -> Query:
        """The view as a question to the index; ``among`` are the originals of its set."""
        return Query(
            words=_tokens(self.words),
            people=_tokens(self.person),
            places=_tokens(self.place),
            years=(_year(self.since), _year(self.until)),
            kind=self.kind,
            worst=int(self.worst or 0),
            lacking=self.lacking,
            unapproved=self.unapproved,
            unknown=self.unknown,
            among=among,
            first=self.first or "number",
        )


_TEXTS = {
    "q": "words",
    "person": "person",
    "place": "place",
    "since": "since",
    "until": "until",
    "kind": "kind",
    "worst": "worst",
    "set": "chosen",
    "first": "first",
}
_TICKS = {"lacks": "lacking", "unapproved": "unapproved", "unknown": "unknown"}


def view_of(asked: Mapping[str, str]) -> View:
    """The view that an address asks for; what makes no sense in it is left out."""
    texts = {name: asked.get(short, "").strip()[:_LONGEST_WORDS] for short, name in _TEXTS.items()}
    if texts["kind"] not in set(Kind):
        texts["kind"] = ""
    if texts["worst"] not in {"1", "2", "3"}:
        texts["worst"] = ""
    if texts["first"] != "urgent":
        texts["first"] = ""
    ticks = {name: asked.get(short) == "1" for short, name in _TICKS.items()}
    return View(**texts, **ticks)  # type: ignore[arg-type]


def entry_from(raw: Raw) -> Entry:
    """The index entry of one original."""
    cells = [cells for _, cells in raw.captions]
    people = [name for row in cells for name in people_in(row.get("people", ""))]
    title = _first(cells, "title")
    captioned = bool(_first(cells, "caption"))
    conditions = [Condition.model_validate(record) for record in raw.conditions]
    fade, loss, stain, marks = priority.worst(conditions)
    evidence = priority.Evidence(
        reference=raw.reference,
        kind=Kind(raw.kind),
        date=_first(cells, "date"),
        enclosure=_first(cells, "enclosure"),
        notes=_first(cells, "notes"),
        fade=fade,
        loss=loss,
        stain=stain,
        marks=marks,
        captioned=bool(title or captioned),
        copies=1 + raw.same_pictures,
    )
    texts = [raw.reference, *(_all(cells, column) for column in ("title", "caption", "people", "place", "inscription"))]
    return Entry(
        name=name_of(raw.reference),
        side=raw.sides[0] if raw.sides else "recto",
        title=title,
        captioned=captioned,
        approved=any(row.get("approved") for row in cells),
        unknown="?" in people,
        years=_years(_first(cells, "date")),
        worst=max(_WORST.get(fade, 0), _WORST.get(stain, 0)),
        urgency=priority.score(evidence),
        texts=(*texts, "\n".join(_all(cells, column) for column in _OTHER)),
        people=tuple(dict.fromkeys(name for name in people if name != "?")),
        places=tuple(dict.fromkeys(row["place"].strip() for row in cells if row.get("place", "").strip())),
    )


def _first(cells: list[dict[str, Any]], column: str) -> str:
    return next((row[column].strip() for row in cells if row.get(column, "").strip()), "")


def _all(cells: list[dict[str, Any]], column: str) -> str:
    return "\n".join(row[column] for row in cells if row.get(column))


def _tokens(text: str) -> tuple[str, ...]:
    """The words of a text as the index divides it: letters and digits."""
    return tuple(re.findall(r"[^\W_]+", text))[:_MOST_WORDS]


def _year(text: str) -> int | None:
    return int(text) if re.fullmatch(r"\d{4}", text, re.ASCII) else None


def _years(date: str) -> tuple[int, int] | None:
    """First and last year that a date may mean; None where it has no year.

    >>> _years("1952~"), _years("194X"), _years("1940/1945"), _years("[1951, 1953]"), _years("no date")
    ((1952, 1952), (1940, 1949), (1940, 1945), (1951, 1953), None)
    """
    edtf = understand(date).edtf or date if date else ""
    years = re.findall(r"(?<![\dX])(\d{2}[\dX]{2})(?![\dX])", edtf)
    if not years:
        return None
    return min(int(year.replace("X", "0")) for year in years), max(int(year.replace("X", "9")) for year in years)
