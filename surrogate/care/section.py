"""One page of the care sheet, before it becomes a PDF or a page of a browser."""

from __future__ import annotations

from surrogate.records import Record


class Section(Record):
    """A heading, paragraphs, and a table whose first row is its heading; ``widths`` in mm, one a column."""

    title: str
    paragraphs: tuple[str, ...] = ()
    table: tuple[tuple[str, ...], ...] = ()
    widths: tuple[float, ...] = ()
