"""The register of reference numbers: which is given next, which are taken, and why one is refused."""

from __future__ import annotations

from pathlib import Path

from surrogate.collection.catalogue import Catalogue
from surrogate.collection.numbering import Parts, Pattern, name_of, next_item
from surrogate.collection.settings import Settings
from surrogate.errors import CollectionUnusable, ScanSetAside, WrongUse
from surrogate.records import Kind, Side


def series(settings: Settings, pattern: Pattern, kind: Kind) -> Parts:
    """The series that an original of this kind is counted in; its ``item`` is 0."""
    letter = settings.letters.get(kind.value) if "letter" in pattern.fields else None
    return Parts(
        item=0,
        year=settings.collection.year if "year" in pattern.fields else None,
        accession=settings.collection.accession if "accession" in pattern.fields else None,
        letter=letter or None,
    )


def check(settings: Settings, where: Path) -> None:
    """Raise :class:`CollectionUnusable` in one sentence when the settings in the file ``where`` can give no number."""
    pattern = Pattern.parse(settings.collection.reference)
    if "year" in pattern.fields and not settings.collection.year:
        raise CollectionUnusable(
            f"{where}: the pattern {pattern.text} needs the year the collection was received; write `year = ...` under "
            "[collection]."
        )
    try:
        for letter in {None, *settings.letters.values()}:
            pattern.format(settings.collection.year, settings.collection.accession, 1, letter or None)
    except WrongUse as problem:
        raise CollectionUnusable(f"{where}: {problem}") from problem


def give_next(catalogue: Catalogue, settings: Settings, pattern: Pattern, kind: Kind) -> str:
    """Give the next free number of a series and keep it for ever. Call inside a transaction."""
    within = series(settings, pattern, kind)
    item = next_item(catalogue.numbers_in_series(within.year, within.accession, within.letter))
    reference = pattern.format(within.year, within.accession, item, within.letter)
    while catalogue.is_used(reference):  # a number people gave outside the pattern
        item += 1
        reference = pattern.format(within.year, within.accession, item, within.letter)
    catalogue.keep_number(reference, Parts(item, within.year, within.accession, within.letter))
    return reference


def give_stated(catalogue: Catalogue, pattern: Pattern, reference: str) -> None:
    """Keep a number that people stated. Call inside a transaction."""
    catalogue.keep_number(reference, pattern.parse_reference(reference))


def refuse_clash(catalogue: Catalogue, reference: str, side: Side, scan: str) -> None:
    """Raise :class:`ScanSetAside`, naming both files, when the number or its file name belongs to another scan."""
    for master in catalogue.masters(reference):
        if master.side is side:
            raise ScanSetAside(
                f"The number {reference} already belongs to {master.scanned_as} ({side}).",
                f"Give {scan} a number of its own in the caption sheet.",
            )
    leads_to = catalogue.standing_for(reference)
    if leads_to != reference:
        raise ScanSetAside(
            f"The number {reference} was that of a back of {leads_to} and is not given again.",
            f"Give {scan} another number in the caption sheet.",
        )
    other = catalogue.reference_named(name_of(reference))
    if other is not None and other != reference:
        holder = next((f" of {master.scanned_as}" for master in catalogue.masters(other)), "")
        raise ScanSetAside(
            f"The number {reference} gives the same file name ({name_of(reference)}) as {other}{holder}.",
            f"Give {scan} another number in the caption sheet.",
        )
