"""What people wrote, on its way between caption sheets, catalogue and copies; and what it decides."""

from __future__ import annotations

import dataclasses
import hashlib
import json
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from pydantic import BaseModel

from surrogate import outlining
from surrogate.collection import paths
from surrogate.collection.catalogue import Catalogue, OriginalRow
from surrogate.collection.files import sha256_of
from surrogate.collection.profiles import Profiles
from surrogate.collection.settings import Settings
from surrogate.description import faces
from surrogate.description.matching import matching
from surrogate.description.merging import merge_row
from surrogate.description.proposals import Proposal, fill, who_said_what
from surrogate.description.sheet import SheetRow, caption_from, lock_beside, read_sheet
from surrogate.description.tags import Description
from surrogate.errors import WrongUse
from surrogate.imaging.input_profile import InputProfile
from surrogate.intake.leaf import file_of, page_name
from surrogate.jobs import SOFTWARE, Corners, Decisions
from surrogate.records import PAPER_KINDS, Caption, Kind, LeafSide, Master, Original, Side, Tone

#: Event: new words were put into finished copies.
DESCRIBED_AGAIN = "described again"

_KEY_COLUMNS = ("file", "reference", "side")


@dataclass
class Wording:
    """The caption sheets of one run: the one given (``rows`` by scan name, ``numbered`` by number and side) and the
    collection's own (``own`` by number and side).
    """

    rows: Mapping[str, SheetRow]
    numbered: Mapping[tuple[str, Side], SheetRow]
    own: Mapping[tuple[str, Side], SheetRow]
    given_sha256: str | None = None
    notes: list[str] = field(default_factory=list)

    def caption_for(self, name: str) -> Caption:
        """What the sheet given says of a scan that has no number yet."""
        row = self.rows.get(name)
        return Caption() if row is None else row.caption

    def reference_for(self, name: str) -> str | None:
        """The number that the sheet given states for a scan, or None."""
        row = self.rows.get(name)
        return row.reference or None if row is not None else None

    def adopt(
        self, catalogue: Catalogue, reference: str, side: Side, name: str, offered: Sequence[Proposal], turn: int
    ) -> list[str]:
        """Record the caption of a scan that has just got its number, with the turn (0, 90 ...) that it was given.

        What the scan itself carries fills the cells that the sheet leaves empty and is never put above it. Returns
        notes on what was taken from the scan and on where sheet and scan disagree.
        """
        row = self.rows.get(name) or self.numbered.get((reference, side))
        cells = {} if row is None else _cells(row)
        caption = Caption() if row is None else row.caption
        offered = [each for each in offered if each.field != "credit"]  # whom to credit is the collection's to say
        filled, used = fill(caption, offered)
        for each in used:
            value = getattr(filled, each.field)
            cells[each.field] = "; ".join(value) if isinstance(value, list) else value
        if turn:
            cells["turn"] = str(turn)
        if not catalogue.has_caption_row(
            reference, side
        ):  # else an interrupted run got so far; nothing written is lost
            put_row(catalogue, reference, side, {**cells, "file": name})
        taken = ", ".join(each.field for each in used)
        notes = [f"taken from the scan's own metadata: {taken}"] if taken else []
        return notes + who_said_what(caption, offered)

    def adopt_from_twin(self, catalogue: Catalogue, reference: str, side: Side, twin: str) -> None:
        """Let a scan that was taken in have the row of an identical file, where it has none of its own."""
        row = self.rows.get(twin)
        first = next((r for r in catalogue.caption_rows() if (r.reference, r.side) == (reference, side)), None)
        if row is not None and first is not None and set(first.cells) <= set(_KEY_COLUMNS):
            put_row(catalogue, reference, side, {**_cells(row), "file": first.cells["file"]})

    def merge(self, catalogue: Catalogue) -> None:
        """Bring what was written in the sheets since the last run into the catalogue, cell by cell.

        What the tool last wrote into the sheet is the common ground; where a sheet and the catalogue were both
        changed, the sheet's cell is kept and the other stands in the column ``conflict``. A sheet given again with the
        same bytes has nothing new in it: what people wrote since is not undone by running the same command twice.
        """
        with catalogue.transaction():
            news = self.given_sha256 is not None and catalogue.is_new_sheet(self.given_sha256)
            for row in catalogue.caption_rows():
                cells = row.cells
                own = self.own.get((row.reference, row.side))
                if own is not None:
                    cells, conflicts = merge_row(row.in_sheet or cells, _cells(own), cells)
                    self.notes += [conflict.words() for conflict in conflicts]
                given = self.rows.get(row.cells.get("file", "")) or self.numbered.get((row.reference, row.side))
                if given is not None and news:
                    said = {column: cell for column, cell in _cells(given).items() if cell}
                    cells, conflicts = merge_row(row.in_sheet or said, {**row.in_sheet, **said}, cells)
                    self.notes += [conflict.words() for conflict in conflicts]
                if cells != row.cells:
                    put_row(catalogue, row.reference, row.side, cells)

    def restore(self, catalogue: Catalogue) -> None:
        """Put the rows of the collection's own sheet into a catalogue that lost them."""
        for (reference, side), row in self.own.items():
            put_row(catalogue, reference, side, {**_cells(row), "file": row.file})


def put_row(catalogue: Catalogue, reference: str, side: Side, cells: Mapping[str, str]) -> None:
    """Record a row of the caption sheet: the caption that its cells make, and the cells."""
    caption = caption_from(cells, f"{reference} {side}", [])
    written = {**cells, "reference": reference, "side": side.value}
    if caption.date:
        written["date"] = caption.date
    catalogue.put_caption(reference, side, caption, {k: v for k, v in written.items() if v})


def restore_from_manifest(catalogue: Catalogue, originals: Iterable[Original]) -> None:
    """Put the words of a manifest, where both sides of an original are one, into the row of its front."""
    columns = ("title", "caption", "date", "place", "inscription", "creator", "rights", "access", "notes")
    for original in originals:
        side = original.masters[0].side if original.masters else Side.RECTO
        caption = Caption(
            **{column: getattr(original, column) for column in columns},
            people=original.people,
            approved=original.approved,
            **original.location.model_dump(),
        )
        cells = {column: getattr(original, column) for column in columns} | original.location.model_dump()
        cells |= {"people": "; ".join(original.people), "approved": "yes" if original.approved else ""}
        cells |= {"file": original.masters[0].scanned_as} if original.masters else {}
        cells |= {"reference": original.reference, "side": side.value}
        catalogue.put_caption(original.reference, side, caption, {name: cell for name, cell in cells.items() if cell})


def _cells(row: SheetRow) -> dict[str, str]:
    """A row's cells, own columns included; a date as it was understood."""
    cells = {**row.written, **row.extra}
    if row.caption.date:
        cells["date"] = row.caption.date
    return {column: cell for column, cell in cells.items() if column not in _KEY_COLUMNS}


def read(
    collection: Path, given: Path | None, names: Sequence[str], settings: Settings, as_written: Collection[str]
) -> Wording:
    """Read the caption sheet given (may be None) and the collection's own.

    ``as_written`` are the SHA-256 of the collection's own sheet as the tool last wrote it: with the same bytes there
    is nothing new in it.
    """
    notes: list[str] = []
    rows: Mapping[str, SheetRow] = {}
    numbered: dict[tuple[str, Side], SheetRow] = {}
    if given is not None:
        if not given.is_file():
            raise WrongUse(f"There is no caption sheet {given}. Check its name.")
        sheet = read_sheet(given, settings.headers)
        backs = {name: page_name(name, 1) for name in names} if settings.scan.pages == "sides" else {}
        found = matching(sheet, [*names, *backs.values()], backs)
        rows = found.rows
        notes += [f"{given.name}: {note}" for note in (*sheet.notes, *found.notes)]
        numbered = _numbered(row for row in sheet.rows if not row.file)
        lost = [row for row in found.unused if row.file]
        notes += [f"{given.name}, line {row.line}: there is no scan called {row.file}." for row in lost]
    own: dict[tuple[str, Side], SheetRow] = {}
    own_sheet = collection / paths.CAPTIONS
    lock = lock_beside(own_sheet)
    if lock is not None:
        raise WrongUse(
            f"{own_sheet.name} is open in a spreadsheet program. Save and close it there, then run again "
            f"(if no program has it open, delete {lock.name})."
        )
    if own_sheet.is_file() and sha256_of(own_sheet) not in as_written:
        sheet = read_sheet(own_sheet, settings.headers)
        notes += [f"{paths.CAPTIONS}: {note}" for note in sheet.notes]
        own = _numbered(sheet.rows)
    given_sha256 = None if given is None else sha256_of(given)
    return Wording(rows=rows, numbered=numbered, own=own, given_sha256=given_sha256, notes=notes)


def _numbered(rows: Iterable[SheetRow]) -> dict[tuple[str, Side], SheetRow]:
    return {(row.reference, row.side or Side.RECTO): row for row in rows if row.reference}


def description(catalogue: Catalogue, settings: Settings, reference: str) -> Description:
    """The words that travel in every file of an original: those of its front, completed by those of its back."""
    recto, verso = catalogue.caption(reference, Side.RECTO), catalogue.caption(reference, Side.VERSO)
    return Description(
        reference=reference,
        title=recto.title or verso.title,
        caption=recto.caption or verso.caption,
        inscription=verso.inscription or recto.inscription,
        date=recto.date or verso.date,
        people=recto.people or verso.people,
        place=recto.place or verso.place,
        creator=recto.creator or verso.creator,
        credit=settings.collection.credit,
        rights=recto.rights or verso.rights or settings.collection.rights,
        history=["words changed after the copy was made"] if catalogue.happened(reference, DESCRIBED_AGAIN) else [],
        software=SOFTWARE,
        faces=faces.read(recto.faces),
    )


def decisions(
    caption: Caption,
    settings: Settings,
    side: Side,
    kind: tuple[Kind | None, str],
    outlines: tuple[Corners, ...] | None,
    profile: InputProfile | None,
) -> Decisions:
    """What people and settings decided about one side; ``kind`` with where it is from. A back has none of its own."""
    back = side is Side.VERSO
    strength = caption.strength or settings.copies.strength
    return Decisions(
        kind=None if back else kind[0],
        kind_from="picture" if back else kind[1],
        strength=strength,
        tone=caption.tone or Tone.AS_FOUND,
        # a strength of its own stays what it is when the settings change theirs
        copies=settings.copies.model_copy(update={"strength": strength}),
        scan=settings.scan,
        outlines=outlines,
        turn=caption.turn,
        profile=profile,
    )


def decisions_again(
    catalogue: Catalogue, settings: Settings, profiles: Profiles, row: OriginalRow, master: Master
) -> Decisions:
    """The decisions that now hold for a side that was taken in before.

    A kind from the command or a file name stays; one from the caption sheet follows the sheet.
    """
    caption = catalogue.caption(row.reference, master.side)
    stated = catalogue.caption(row.reference, Side.RECTO).kind
    kind: tuple[Kind | None, str] = (None, "picture")
    if stated is not None:
        kind = (stated, "caption sheet")
    elif row.kind_from in {"command", "file name"}:
        kind = (row.kind, row.kind_from)
    elif settings.scan.kind != "auto":
        kind = (Kind(settings.scan.kind), "settings")
    drawn = outlining.drawn_by_people(catalogue, row.reference, master.side)
    profile = profiles.of_scan(file_of(master.scanned_as)) if master.profile is None else None
    made = decisions(caption, settings, master.side, kind, drawn, profile)
    made = dataclasses.replace(made, other=_other_side(catalogue, row, stated or row.kind, master))
    return made if master.side is Side.VERSO else dataclasses.replace(made, lot=catalogue.lot(row.reference))


def _other_side(catalogue: Catalogue, row: OriginalRow, kind: Kind, master: Master) -> LeafSide | None:
    """The scan of the other side, where the original is a leaf of paper whose ink may shine through."""
    if kind not in PAPER_KINDS:
        return None
    other = next((each for each in catalogue.masters(row.reference) if each.side is not master.side), None)
    if other is None:
        return None
    drawn = [each.corners for each in catalogue.outlines(row.reference, other.side) if each.corners is not None]
    if len(drawn) > 1:  # pictures on a page: which part of it lies behind which is not known
        return None
    return LeafSide(
        master=other.file,
        sha256=other.sha256,
        page=other.page,
        turn=catalogue.caption(row.reference, other.side).turn,
        outline=drawn[0] if drawn else None,
        given_profile=other.given_profile,
    )


def digest(record: BaseModel | Decisions) -> str:
    """A short fingerprint of a record: the same content gives the same digits in every run."""
    content = record.model_dump(mode="json") if isinstance(record, BaseModel) else dataclasses.asdict(record)
    if content.get("lot", ...) is None:  # without a lot a print is what it was before there were lots
        del content["lot"]
    if content.get("other", ...) is None:
        del content["other"]
    if (profile := content.pop("profile", None)) is not None:
        content["profile"] = profile["sha256"]
    text = json.dumps(content, sort_keys=True, default=_plain)
    return hashlib.sha256(text.encode()).hexdigest()[:16]


def _plain(value: object) -> object:
    if isinstance(value, BaseModel):
        return value.model_dump(mode="json")
    return str(value)
