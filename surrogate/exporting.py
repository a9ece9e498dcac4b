"""From the catalogue to the files people read: caption sheet, manifest, list of set-aside scans, report."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from itertools import islice
from pathlib import Path
from typing import TypeVar

from surrogate import outlining, wording
from surrogate._version import __version__
from surrogate.collection import inventory, paths, plain
from surrogate.collection.catalogue import Catalogue, OriginalRow, OutlineRow
from surrogate.collection.files import sha256_of
from surrogate.collection.settings import Settings
from surrogate.condition import priority
from surrogate.description.sheet import written_sheet
from surrogate.handover import manifest, report, text
from surrogate.records import CollectionInfo, Location, Original, Priority, Side, Software
from surrogate.recovery.recipe import Recipe

T = TypeVar("T")

#: Originals asked about at a time: 0.1 s or less, in which others cannot write.
_PIECE = 100

SOFTWARE = Software(name="surrogate", version=__version__)


def export(folder: Path, settings: Settings, catalogue: Catalogue, notes: Sequence[str]) -> None:
    """Write every list of the collection anew; files whose content would not change are left untouched."""
    refresh_sheet(folder, catalogue)
    outlining.export(folder, catalogue)
    originals = Originals(folder, settings, catalogue)
    aside = catalogue.set_aside()
    info = CollectionInfo(
        name=settings.collection.name, credit=settings.collection.credit, rights=settings.collection.rights
    )
    inventory.write_checksums(folder, catalogue)
    plain.write(folder, catalogue)
    manifest.write(folder, info, SOFTWARE, originals, aside)
    own = (f"{row.reference}: {note}" for row in catalogue.originals() for note in catalogue.notes(row.reference))
    alike = dict.fromkeys(same_picture_note(one, other) for one, other in catalogue.all_same_pictures())
    said = list(dict.fromkeys([*(note for note in notes if note not in alike), *own, *alike]))
    report.write(folder, info, SOFTWARE, originals, aside, RecipeWords(folder, catalogue), said)


def same_picture_note(one: str, other: str) -> str:
    """What is said of two originals that show the same picture, in the run that sees it and in every report since."""
    return f"{one} and {other} show the same picture; both are kept."


def refresh_sheet(folder: Path, catalogue: Catalogue) -> None:
    """Write the caption sheet anew where it does not hold what the catalogue holds.

    The rows are taken down first and the sheet is written from there, so that what is saved at the desk meanwhile
    waits for nothing. Noted is what the sheet holds, not what the catalogue holds by then: a word that slipped in
    would later look as if a person had taken it out of the sheet. Raises WrongUse when a spreadsheet program holds
    the sheet.
    """
    path = folder / paths.CAPTIONS
    if path.is_file() and catalogue.sheet_is_current() and sha256_of(path) in catalogue.sheets_as_written():
        return
    catalogue.take_sheet()
    with written_sheet(path, _Cells(catalogue)) as unpublished:
        sha256 = sha256_of(unpublished)
        with catalogue.transaction():  # killed after the next line, nobody takes the new sheet for a person's work
            catalogue.sheet_is_coming(sha256)
    with catalogue.transaction():
        catalogue.taken_was_written(sha256)


class _Cells(Iterable[dict[str, str]]):
    """The rows of the caption sheet; can be gone through again, and none is kept."""

    def __init__(self, catalogue: Catalogue) -> None:
        self._catalogue = catalogue

    def __iter__(self) -> Iterator[dict[str, str]]:
        return self._catalogue.taken_cells()


class Originals:
    """Every original of a collection, sorted by reference; can be gone through again and again."""

    def __init__(self, folder: Path, settings: Settings, catalogue: Catalogue) -> None:
        self._folder = folder
        self._settings = settings
        self._catalogue = catalogue
        self._queue = _queue(catalogue)

    def __iter__(self) -> Iterator[Original]:
        return _in_pieces(self._catalogue, self._original)

    def _original(self, row: OriginalRow) -> Original:
        return original(self._folder, self._catalogue, self._settings, row.reference, self._queue.get(row.reference))


def _in_pieces(catalogue: Catalogue, found: Callable[[OriginalRow], T]) -> Iterator[T]:
    """What is found for each original, ``_PIECE`` at a time; between pieces others may write."""
    rows = iter(catalogue.originals())
    while piece := list(islice(rows, _PIECE)):
        with catalogue.reading():
            answers = [found(row) for row in piece]
        yield from answers


def original(
    folder: Path, catalogue: Catalogue, settings: Settings, reference: str, place: Priority | None
) -> Original:
    """Everything known about one original. Raises KeyError for a number that was never given."""
    row = catalogue.original(reference)
    if row is None:
        raise KeyError(reference)
    words = wording.description(catalogue, settings, reference)
    recto, verso = catalogue.caption(reference, Side.RECTO), catalogue.caption(reference, Side.VERSO)
    return Original(
        reference=reference,
        kind=row.kind,
        kind_confidence=row.kind_confidence,
        title=words.title,
        caption=words.caption,
        date=words.date,
        people=words.people,
        place=words.place,
        inscription=words.inscription,
        creator=words.creator,
        rights=words.rights,
        location=Location(
            box=recto.box or verso.box,
            folder=recto.folder or verso.folder,
            enclosure=recto.enclosure or verso.enclosure,
        ),
        access=strictest_access(recto.access, verso.access),
        approved=recto.approved or verso.approved,
        notes=recto.notes or verso.notes,
        priority=place,
        same_picture_as=catalogue.same_pictures(reference),
        earlier_numbers=[each.number for each in catalogue.retired() if each.leads_to == reference],
        texts=text.found(folder, reference),
        masters=catalogue.masters(reference),
        condition=catalogue.conditions(reference),
        copies=[copy.copy for copy in catalogue.copies(reference)],
    )


def strictest_access(*said: str) -> str:
    """What people said of the sides of one original about who may see it; the strictest counts for the whole.

    >>> strictest_access("public", "private"), strictest_access("2030-01-01", "2031-01-01"), strictest_access("", "")
    ('private', '2031-01-01', '')
    """
    closed = [access for access in said if access.strip().lower() not in {"", "public"}]
    dated = [access for access in closed if access.strip()[:1].isdigit()]
    unconditional = [access for access in closed if access not in dated]
    if unconditional:
        return unconditional[0]
    return max(dated, default=next((access for access in said if access.strip()), ""))


def _queue(catalogue: Catalogue) -> dict[str, Priority]:
    def seen(row: OriginalRow) -> priority.Evidence:
        recto = catalogue.caption(row.reference, Side.RECTO)
        fade, loss, stain, marks = priority.worst(catalogue.conditions(row.reference))
        return priority.Evidence(
            reference=row.reference,
            kind=row.kind,
            date=recto.date,
            enclosure=recto.enclosure,
            notes=recto.notes,
            fade=fade,
            loss=loss,
            stain=stain,
            marks=marks,
            captioned=bool(recto.title or recto.caption),
            copies=1 + len(catalogue.same_pictures(row.reference)),
        )

    return dict(priority.rank(list(_in_pieces(catalogue, seen))))


def _cut_out(part: int | None, outline: OutlineRow) -> str:
    """How sure it is where a copy was cut out of its scan."""
    name = f"Part {part} was cut" if part else "Cut"
    by = "as somebody drew it" if outline.confidence is None else f"{outline.confidence:.0%} sure".replace("%", " %")
    return f"{name} out along its outline, {by}{f' ({outline.note})' if outline.note else ''}."


class RecipeWords(Mapping[str, list[str]]):
    """What each copy's recipe did, in sentences, by the copy's file; read when asked for."""

    def __init__(self, folder: Path, catalogue: Catalogue) -> None:
        self._folder = folder
        self._recipes = {
            copy.copy.file: (row.reference, copy.copy.recipe)
            for row in catalogue.originals()
            for copy in catalogue.copies(row.reference)
            if copy.copy.recipe
        }
        self._outlines = {(row.reference, row.side.value, row.part): row for row in catalogue.all_outlines()}

    def __getitem__(self, file: str) -> list[str]:
        reference, recipe_file = self._recipes[file]
        recipe = Recipe.model_validate_json((self._folder / recipe_file).read_bytes())
        outline = self._outlines.get((reference, recipe.side, recipe.part or 1)) if recipe.outline else None
        return [*([_cut_out(recipe.part, outline)] if outline else []), *recipe.words, *recipe.limits]

    def __iter__(self) -> Iterator[str]:
        return iter(self._recipes)

    def __len__(self) -> int:
        return len(self._recipes)
