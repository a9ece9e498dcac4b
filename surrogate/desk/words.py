"""The words and decisions on one original: as people see them, and how a change gets into the catalogue."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from surrogate import exporting
from surrogate.collection.catalogue import CaptionRow, Catalogue, open_catalogue
from surrogate.description.dates import for_people, understand
from surrogate.description.text import clean
from surrogate.records import Caption, Kind, Master, Side, Strength, Tone
from surrogate.wording import put_row

#: The fields of the page that hold words, which are columns of the caption sheet, in their order.
FIELDS = ("title", "caption", "date", "people", "place", "inscription", "notes")

#: Where the original lies.
LOCATION = ("box", "folder", "enclosure")

#: Column of the sheet that says whether the copy may be shown.
APPROVED = "approved"

#: Column that says who may see the original: everybody (empty), nobody outside ("private"), or nobody until a day.
ACCESS = "access"

#: What a person may choose for the copy of a front; "" leaves it to the collection's settings or to what is found.
CHOICES: Mapping[str, tuple[str, ...]] = {
    "strength": ("", *Strength),
    "tone": ("", *(tone for tone in Tone if tone is not Tone.AS_FOUND)),
    "kind": ("", *(kind for kind in Kind if kind not in {Kind.TARGET, Kind.UNKNOWN})),
}

#: Every field that the desk saves.
SAVED = (*FIELDS, *LOCATION, APPROVED, ACCESS, *CHOICES, "faces")

#: What the next original often has in common with the last one.
ALIKE = ("date", "people", "place", *LOCATION)

#: Event: words were changed at the desk; the detail is JSON with field, before and after.
CHANGED = "changed at the desk"

#: Longest text of a field in characters: some five typed pages, far above the longest caption.
LONGEST = 10_000

_ONE_LINE = frozenset({"title", "date", "people", "place", *LOCATION, "faces"})

#: What decides about every side, so that a back cannot say otherwise than the front.
_WHOLE = frozenset({APPROVED, ACCESS})


@dataclass(frozen=True)
class Change:
    """One line of an original's history."""

    at: str
    field: str
    before: str
    after: str


@dataclass(frozen=True)
class Saved:
    """What became of a change: ``value`` is what the catalogue holds now, ``before`` what it held; ``done`` is False
    where somebody else had changed the field meanwhile, and nothing was saved.
    """

    field: str
    value: str
    done: bool
    before: str


@dataclass(frozen=True)
class DateSaid:
    """What a written date means: EDTF and English words ("" where not understood), and a question ("" for none)."""

    edtf: str
    words: str
    question: str


def tidy(field: str, text: str) -> str:
    """A text as it is kept: without control characters, and on one line where the field has one."""
    kept = clean(text).text.strip()
    return " ".join(kept.split()) if field in _ONE_LINE else kept


def is_sensible(field: str, text: str) -> bool:
    """Whether a text can stand in a field; only fields with choices and days are particular."""
    if field == APPROVED:
        return text in {"", "yes"}
    if field == ACCESS:
        return text in {"", "private"} or _is_day(text)
    return field not in CHOICES or text in CHOICES[field]


def date_said(text: str) -> DateSaid:
    """What the date field understood."""
    found = understand(text)
    return DateSaid(found.edtf or "", for_people(found.edtf) if found.edtf else "", found.question or "")


def shown(catalogue: Catalogue, reference: str) -> dict[str, str]:
    """Every field as the page shows it. The words of the front count, those of the back where it has none; an
    inscription is looked for on the back first (as in every file of the original). Choices are those of the front.
    """
    front, back = catalogue.caption(reference, Side.RECTO), catalogue.caption(reference, Side.VERSO)
    return {
        "title": front.title or back.title,
        "caption": front.caption or back.caption,
        "date": front.date or back.date,
        "people": "; ".join(front.people or back.people),
        "place": front.place or back.place,
        "inscription": back.inscription or front.inscription,
        "notes": front.notes or back.notes,
        **{column: getattr(front, column) or getattr(back, column) for column in LOCATION},
        APPROVED: "yes" if front.approved or back.approved else "",
        ACCESS: _access(front, back),
        **{column: getattr(front, column) or "" for column in CHOICES},
        "faces": front.faces,
    }


def _access(front: Caption, back: Caption) -> str:
    said = exporting.strictest_access(front.access, back.access).strip()
    return "" if said.lower() == "public" else said


def save(folder: Path, reference: str, field: str, before: str, text: str) -> Saved:
    """Save one field in one short transaction, at once and for good, with a line in the original's history.

    ``before`` is what the page showed when the person began to write. Words go to the side whose words are shown, so
    that the other side's are never lost; emptying them shows the other side's again.
    """
    with open_catalogue(folder) as catalogue, catalogue.transaction():
        now = shown(catalogue, reference)[field]
        after = tidy(field, text)
        if after == now:
            return Saved(field, now, done=True, before=now)
        if tidy(field, before) != tidy(field, now):
            return Saved(field, now, done=False, before=now)
        rows = catalogue.caption_row(reference)
        masters = catalogue.masters(reference)
        for side in _sides(field, rows, masters, emptied=not after):
            put_cell(catalogue, reference, side, field, after)
        value = shown(catalogue, reference)[field]
        detail = {"field": field, "before": now, "after": value}
        catalogue.add_event(reference, CHANGED, json.dumps(detail, ensure_ascii=False))
        return Saved(field, value, done=True, before=now)


def history(catalogue: Catalogue, reference: str) -> list[Change]:
    """What was changed at the desk, newest first."""
    lines = [(at, json.loads(detail)) for at, _, what, detail in catalogue.events(reference) if what == CHANGED]
    return [Change(at, said["field"], said["before"], said["after"]) for at, said in reversed(lines)]


def _sides(
    field: str, rows: Mapping[Side, CaptionRow], masters: Sequence[Master], *, emptied: bool
) -> tuple[Side, ...]:
    """The rows of the sheet that a change goes into."""
    order = (Side.VERSO, Side.RECTO) if field == "inscription" else (Side.RECTO, Side.VERSO)
    written = tuple(side for side in order if side in rows and rows[side].cells.get(field, "").strip())
    if field in _WHOLE and (emptied or len(written) > 1):
        return written
    scanned = (side for side in order if any(master.side is side for master in masters))
    choice = field in CHOICES or field == "faces"
    return ((None if choice else next(iter(written), None)) or next(scanned, Side.RECTO),)


def _new_row(reference: str, side: Side, masters: Sequence[Master]) -> dict[str, str]:
    names = [master.scanned_as for master in masters if master.side is side]
    return {"file": names[0] if names else "", "reference": reference, "side": side.value}


def put_cell(catalogue: Catalogue, reference: str, side: Side, column: str, text: str) -> None:
    """Record one cell of one side's row."""
    rows = catalogue.caption_row(reference)
    cells = dict(rows[side].cells) if side in rows else _new_row(reference, side, catalogue.masters(reference))
    put_row(catalogue, reference, side, {**cells, column: text})


def _is_day(text: str) -> bool:
    try:
        return bool(re.fullmatch(r"\d{4}-\d\d-\d\d", text, re.ASCII)) and bool(date.fromisoformat(text))
    except ValueError:
        return False
