"""What one run of ``surrogate frame`` made: the records that ``--json`` prints, and the table for the screen."""

from __future__ import annotations

from collections import Counter

from pydantic import Field

from surrogate.copies.sizes import both_sides
from surrogate.records import Copy, Record, Side


class BorderMm(Record):
    """What shows of the mat on each side."""

    left: float
    right: float
    top: float
    bottom: float


class Framed(Record):
    """One framed print, as ``--json`` reports it; ``number`` is the reference with its part, for the screen."""

    reference: str
    number: str = Field(exclude=True)
    side: Side
    file: str
    pdf: str
    frame_mm: tuple[float, float]
    opening_mm: tuple[float, float]
    print_mm: tuple[float, float]
    overlap_mm: float
    border_mm: BorderMm
    master_ppi: float | None
    print_ppi: float
    enlargement: float | None
    warnings: list[str]


class FrameReport(Record):
    """Everything that one run of ``surrogate frame`` made; ``copies`` go into the catalogue, not into ``--json``."""

    frames: list[Framed]
    copies: list[Copy] = Field(default=[], exclude=True)


def summary(report: FrameReport) -> list[str]:
    """A table of the prints for the screen, what must be said about each, and what to ask for in the shop."""
    head = ("Number", "Print", "Window", "ppi", "Sheets")
    rows = [
        (
            made.number,
            both_sides(*made.print_mm),
            both_sides(*made.opening_mm),
            f"{made.print_ppi:.0f}",
            made.pdf,
        )
        for made in report.frames
    ]
    widths = [max(map(len, column)) for column in zip(head, *rows, strict=True)]
    lines = [_row(head, widths)]
    for made, row in zip(report.frames, rows, strict=True):
        lines.append(_row(row, widths))
        lines += [f"    {warning}" for warning in made.warnings]
    return [*lines, "", *_shopping(report)]


def _row(cells: tuple[str, ...], widths: list[int]) -> str:
    return "  ".join(cell.ljust(width) for cell, width in zip(cells, widths, strict=True)).rstrip()


def _shopping(report: FrameReport) -> list[str]:
    """``2 frames of 203.2 × 254 mm (8 × 10 in), mat window 190.5 × 241.3 mm ...``, one line for each kind."""
    wanted = Counter((_upright(made.frame_mm), _upright(made.opening_mm)) for made in report.frames)
    return [
        f"{count} frame{'' if count == 1 else 's'} of {both_sides(*outer)}, mat with a window of {both_sides(*window)}"
        for (outer, window), count in sorted(wanted.items())
    ]


def _upright(mm: tuple[float, float]) -> tuple[float, float]:
    """The same frame serves both ways up."""
    return min(mm), max(mm)
