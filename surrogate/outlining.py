"""``outlines.csv``: where pictures lie on their scans, as found or as people corrected it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from surrogate.collection.catalogue import Catalogue, OutlineRow
from surrogate.collection.files import replace_if_changed
from surrogate.intake.corrections import Correction, read_corrections, written
from surrogate.records import Side

FILE_NAME = "outlines.csv"

#: The file holds tenths of a pixel; a corner that moved further was moved by a person.
SAME_CORNER_PX = 0.06

Corners = tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class Outlining:
    """The rows of ``outlines.csv`` by reference number and side, and by scan name where there is no number yet."""

    by_reference: Mapping[tuple[str, Side], list[Correction]]
    by_file: Mapping[str, list[Correction]]

    def for_scan(self, name: str) -> tuple[Corners, ...] | None:
        """What people drew for a scan that has no number yet; None: find out; empty: keep the whole frame."""
        rows = self.by_file.get(name)
        return None if rows is None else _corners(rows)

    def adopt(self, catalogue: Catalogue) -> None:
        """Bring what people changed in the file since it was last written into the catalogue."""
        for (reference, side), rows in self.by_reference.items():
            known = catalogue.outlines(reference, side)
            if not _same(rows, known):
                with catalogue.transaction():
                    drawn = [
                        OutlineRow(reference, side, row.part, row.corners, None, row.note)
                        for row in sorted(rows, key=lambda row: row.part)
                    ]
                    catalogue.put_outlines(reference, side, drawn)


def read(folder: Path) -> Outlining:
    """Read ``outlines.csv``; no file: nothing. Raises :class:`~surrogate.errors.WrongUse` naming a wrong line."""
    by_reference: dict[tuple[str, Side], list[Correction]] = {}
    by_file: dict[str, list[Correction]] = {}
    for row in read_corrections(folder / FILE_NAME):
        if row.reference:
            by_reference.setdefault((row.reference, row.side), []).append(row)
        else:
            by_file.setdefault(row.file, []).append(row)
    return Outlining(by_reference, by_file)


def drawn_by_people(catalogue: Catalogue, reference: str, side: Side) -> tuple[Corners, ...] | None:
    """Outlines that people drew for a side; None when they drew none."""
    rows = catalogue.outlines(reference, side)
    if not rows or any(row.confidence is not None for row in rows):
        return None
    return tuple(tuple(row.corners) for row in rows if row.corners is not None)


def export(folder: Path, catalogue: Catalogue) -> None:
    """Write ``outlines.csv`` anew, when there is anything to write."""
    rows = catalogue.all_outlines()
    if rows or (folder / FILE_NAME).exists():
        corrections = [
            Correction(
                reference=row.reference,
                side=row.side,
                file="",
                part=row.part,
                corners=row.corners,
                confidence=row.confidence,
                note=row.note,
            )
            for row in rows
        ]
        replace_if_changed(folder / FILE_NAME, written(corrections).encode("utf-8-sig"))


def _corners(rows: list[Correction]) -> tuple[Corners, ...]:
    return tuple(tuple(row.corners) for row in sorted(rows, key=lambda row: row.part) if row.corners is not None)


def _same(rows: list[Correction], known: list[OutlineRow]) -> bool:
    """Whether the file still says what the catalogue knows."""
    ordered = sorted(rows, key=lambda row: row.part)
    if [row.part for row in ordered] != [row.part for row in known]:
        return False
    return all(_same_row(row, other) for row, other in zip(ordered, known, strict=True))


def _same_row(row: Correction, other: OutlineRow) -> bool:
    if (row.confidence is None) != (other.confidence is None) or (row.corners is None) != (other.corners is None):
        return False
    mine, theirs = row.corners or (), other.corners or ()
    return all(
        abs(a - b) <= SAME_CORNER_PX
        for one, two in zip(mine, theirs, strict=True)
        for a, b in zip(one, two, strict=True)
    )
