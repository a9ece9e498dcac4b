"""Sheets of labels: how many across and down, and where each label lies on the paper."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

from surrogate.copies.sizes import Size, both_sides
from surrogate.errors import WrongUse

#: A label smaller than this holds no readable number beside its code.
SMALLEST_LABEL_MM = (34.0, 16.0)


@dataclass(frozen=True)
class LabelSheet:
    """A sheet of ``columns`` by ``rows`` labels; lengths in mm, ``left`` and ``top`` of the first label."""

    paper: tuple[float, float]
    columns: int
    rows: int
    width: float
    height: float
    left: float
    top: float
    across: float
    down: float

    def places(self) -> Iterator[tuple[float, float]]:
        """Upper left corners of the labels, row by row."""
        for row in range(self.rows):
            for column in range(self.columns):
                yield self.left + column * self.across, self.top + row * self.down


#: Label width and height, gap between columns (mm) of sheets in common use, by paper, columns and rows (common
#: practice, no source). Rows touch; the rest of the paper is shared by its margins. Other divisions fill the paper.
_COMMON: dict[tuple[str, int, int], tuple[float, float, float]] = {
    ("a4", 3, 8): (70.0, 37.0, 0.0),
    ("a4", 3, 7): (63.5, 38.1, 2.5),
    ("a4", 3, 6): (63.5, 46.6, 2.5),
    ("a4", 2, 8): (99.1, 33.9, 2.5),
    ("a4", 2, 7): (99.1, 38.1, 2.5),
    ("a4", 2, 4): (99.1, 67.7, 2.5),
    ("a4", 5, 13): (38.1, 21.2, 2.5),
    ("letter", 3, 10): (66.7, 25.4, 3.2),
    ("letter", 2, 10): (101.6, 25.4, 4.8),
    ("letter", 2, 7): (101.6, 33.9, 4.8),
    ("letter", 2, 5): (101.6, 50.8, 4.8),
    ("letter", 2, 3): (101.6, 84.7, 4.8),
}

_NAME = re.compile(r"\s*(\d{1,2})\s*[x×X*]\s*(\d{1,2})\s*")

_PAPERS = {(210.0, 297.0): "a4", (215.9, 279.4): "letter"}


def label_sheet(name: str, paper: Size) -> LabelSheet:
    """The sheet called ``columns x rows`` ("3x8": three across, eight down). Raises :class:`WrongUse`."""
    match = _NAME.fullmatch(name)
    if not match or not int(match[1]) or not int(match[2]):
        raise WrongUse(f"The label sheet '{name}' was not understood. Write columns x rows, such as 3x8.")
    columns, rows = int(match[1]), int(match[2])
    size = (round(paper.width_mm, 1), round(paper.height_mm, 1))
    known = _COMMON.get((_PAPERS.get(size, ""), columns, rows))
    width, height, gap = known or (paper.width_mm / columns, paper.height_mm / rows, 0.0)
    if width < SMALLEST_LABEL_MM[0] or height < SMALLEST_LABEL_MM[1]:
        raise WrongUse(
            f"{columns} x {rows} labels on this paper are {both_sides(width, height)} each: too small for a number and "
            f"its code. They need at least {both_sides(*SMALLEST_LABEL_MM)}."
        )
    return LabelSheet(
        paper=(paper.width_mm, paper.height_mm),
        columns=columns,
        rows=rows,
        width=width,
        height=height,
        left=(paper.width_mm - columns * width - (columns - 1) * gap) / 2,
        top=(paper.height_mm - rows * height) / 2,
        across=width + gap,
        down=height,
    )
