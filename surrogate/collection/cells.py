"""Cells of a spreadsheet: written so that no program runs them, read back as they were."""

from __future__ import annotations

import re

# A cell that begins so is run as a formula by common spreadsheet programs, some of which drop blanks in front
# (OWASP, "CSV Injection").
_RUNS = re.compile(r"'*[ \u00a0]*[=+\-@\t\r\n\uff1d\uff0b\uff0d\uff20]")


def safe_cell(text: str) -> str:
    """The text as it goes into a CSV cell: with an apostrophe in front where it would run as a formula.

    :func:`plain_cell` takes it off again; both are exact inverses on every text.
    """
    return f"'{text}" if _RUNS.match(text) else text


def plain_cell(cell: str) -> str:
    """The text that :func:`safe_cell` was given."""
    return cell[1:] if cell.startswith("'") and _RUNS.match(cell) else cell


def divider(text: str) -> str:
    """What divides the cells of a table in CSV, by its first line: ``;`` or ``,``, as spreadsheet programs write it.

    >>> divider("date;finding\\n2026-05-01;a, b"), divider("")
    (';', ',')
    """
    first = text.partition("\n")[0]
    return ";" if first.count(";") > first.count(",") else ","
