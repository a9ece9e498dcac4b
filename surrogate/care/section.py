"""One page of the care sheet, before it becomes a PDF or a page of a browser."""

from __future__ import annotations

from surrogate.records import Record

#: Widths (mm) of a table of rules: what it is about, and the rule.
LABELLED = (26.0, 152.0)


class Table(Record):
    """Rows under an optional title; ``head`` names the columns, none: each row is a label and a rule.

    ``widths`` in mm, one a column.
    """

    title: str = ""
    head: tuple[str, ...] = ()
    rows: tuple[tuple[str, ...], ...]
    widths: tuple[float, ...] = LABELLED


class Section(Record):
    """A heading, what cannot wait (``urgent``, set in bold), paragraphs, and tables."""

    title: str
    urgent: tuple[str, ...] = ()
    paragraphs: tuple[str, ...] = ()
    tables: tuple[Table, ...] = ()

    def sentences(self) -> tuple[str, ...]:
        """All that is said as a rule: what is urgent, the paragraphs, and rows that are a label and a rule."""
        rules = (row[-1] for table in self.tables if not table.head for row in table.rows if row[-1])
        return (*self.urgent, *self.paragraphs, *rules)
