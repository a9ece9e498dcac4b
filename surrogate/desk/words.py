"""The words on one original: as people see them, and how a change gets into the catalogue."""

from __future__ import annotations

import json
import threading
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from surrogate import exporting
from surrogate.collection import paths
from surrogate.collection.catalogue import CaptionRow, Catalogue, open_catalogue
from surrogate.collection.files import sha256_of
from surrogate.description.dates import for_people, understand
from surrogate.description.sheet import caption_from, lock_beside
from surrogate.description.text import clean
from surrogate.records import Master, Side

#: The fields of the page, which are columns of the caption sheet, in their order.
FIELDS = ("title", "caption", "date", "people", "place", "inscription", "notes")

#: Column of the sheet that says whether the copy may be shown.
APPROVED = "approved"

#: Event: words were changed at the desk; the detail is JSON with side, field, before and after.
CHANGED = "changed at the desk"

#: Longest text of a field in characters: some five typed pages, far above the longest caption.
LONGEST = 10_000

_ONE_LINE = frozenset({"title", "date", "people", "place"})
_sheet_is_being_written = threading.Lock()


@dataclass(frozen=True)
class Change:
    """One line of an original's history."""

    at: str
    field: str
    before: str
    after: str


@dataclass(frozen=True)
class Saved:
    """What became of a change: ``value`` is what the catalogue holds now; ``done`` is False where somebody else had
    changed the field meanwhile, and nothing was saved.
    """

    field: str
    value: str
    done: bool


@dataclass(frozen=True)
class DateSaid:
    """What a written date means: EDTF and English words ("" where not understood), and a question ("" for none)."""

    edtf: str
    words: str
    question: str


def tidy(field: str, text: str) -> str:
    """A text as it is kept: without control characters, and on one line where the field has one."""
    kept = clean(text).text.strip()
    if field == APPROVED:
        return "yes" if kept == "yes" else ""
    return " ".join(kept.split()) if field in _ONE_LINE else kept


def date_said(text: str) -> DateSaid:
    """What the date field understood."""
    found = understand(text)
    return DateSaid(found.edtf or "", for_people(found.edtf) if found.edtf else "", found.question or "")


def shown(catalogue: Catalogue, reference: str) -> dict[str, str]:
    """Every field as the page shows it. The words of the front count, those of the back where it has none; an
    inscription is looked for on the back first (as in every file of the original).
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
        APPROVED: "yes" if front.approved or back.approved else "",
    }


def save(folder: Path, reference: str, field: str, before: str, text: str) -> Saved:
    """Save one field in one short transaction, at once and for good, with a line in the original's history.

    ``before`` is what the page showed when the person began to write. Words go to the side whose words are shown, so
    that the other side's are never lost; emptying them shows the other side's again.
    """
    with open_catalogue(folder) as catalogue, catalogue.transaction():
        now = shown(catalogue, reference)[field]
        after = tidy(field, text)
        if after == now:
            return Saved(field, now, done=True)
        if tidy(field, before) != tidy(field, now):
            return Saved(field, now, done=False)
        rows = {row.side: row for row in catalogue.caption_rows() if row.reference == reference}
        masters = catalogue.masters(reference)
        sides = tuple(rows) if field == APPROVED and not after else (_side(field, rows, masters),)
        for side in sides:
            cells = dict(rows[side].cells) if side in rows else _new_row(reference, side, masters)
            _put(catalogue, reference, side, {**cells, field: after})
        value = shown(catalogue, reference)[field]
        detail = {"field": field, "before": now, "after": value}
        catalogue.add_event(reference, CHANGED, json.dumps(detail, ensure_ascii=False))
        return Saved(field, value, done=True)


def history(catalogue: Catalogue, reference: str) -> list[Change]:
    """What was changed at the desk, newest first."""
    lines = [(at, json.loads(detail)) for at, _, what, detail in catalogue.events(reference) if what == CHANGED]
    return [Change(at, said["field"], said["before"], said["after"]) for at, said in reversed(lines)]


def refresh_sheet(folder: Path) -> None:
    """Bring the caption sheet up to date, unless a person has it open or has written in it since it was written; then
    the next run of ``process`` brings both together.
    """
    path = folder / paths.CAPTIONS
    with _sheet_is_being_written, open_catalogue(folder) as catalogue:
        if lock_beside(path) is not None:
            return
        if path.is_file() and sha256_of(path) != catalogue.sheet_as_written():
            return
        exporting.refresh_sheet(folder, catalogue)


def _side(field: str, rows: Mapping[Side, CaptionRow], masters: Sequence[Master]) -> Side:
    order = (Side.VERSO, Side.RECTO) if field == "inscription" else (Side.RECTO, Side.VERSO)
    written = (side for side in order if side in rows and rows[side].cells.get(field, "").strip())
    scanned = (side for side in order if any(master.side is side for master in masters))
    return next(written, None) or next(scanned, Side.RECTO)


def _new_row(reference: str, side: Side, masters: Sequence[Master]) -> dict[str, str]:
    names = [master.scanned_as for master in masters if master.side is side]
    return {"file": names[0] if names else "", "reference": reference, "side": side.value}


def _put(catalogue: Catalogue, reference: str, side: Side, cells: Mapping[str, str]) -> None:
    caption = caption_from(cells, f"{reference} {side}", [])
    written = {**cells, "reference": reference, "side": side.value}
    if caption.date:
        written["date"] = caption.date
    catalogue.put_caption(reference, side, caption, {column: cell for column, cell in written.items() if cell})
