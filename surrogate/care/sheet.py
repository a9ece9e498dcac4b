"""The care sheet as PDF and as a page that needs nothing else."""

from __future__ import annotations

import re
from collections.abc import Iterator
from html import escape

from surrogate.care.section import Section, Table
from surrogate.care.sources import SOURCES
from surrogate.sheets.page import HAIR, PENCIL, Document, Page
from surrogate.sheets.text import Weight

_WIDTH, _HEIGHT = 210.0, 297.0
_LEFT, _TOP, _FOOT = 16.0, 20.0, 279.0

#: Points of paragraphs and of tables: a volunteer reads them beside an open box.
_SIZE, _SMALL = 10.0, 9.0

_STYLE = (
    "body{font:16px/1.5 system-ui,sans-serif;max-width:52rem;margin:2rem auto;padding:0 1rem;color:#222}"
    "section{margin:0 0 3.5rem}h1{font-size:1.6rem}h2{font-size:1.25rem}h3{font-size:1rem;margin:1.6rem 0 .3rem}"
    "a{color:#666;text-decoration:none}nav a{color:inherit;margin-right:1.2rem;white-space:nowrap}"
    ".urgent{font-weight:600}"
    "table{border-collapse:collapse;width:100%;font-size:.9rem;margin:.3rem 0 1rem}"
    "th,td{text-align:left;vertical-align:top;padding:.35rem .8rem .35rem 0;border-bottom:1px solid #ccc}"
    "tbody th{font-weight:600;width:8.5rem}"
    "@media print{nav{display:none}section{break-after:page}}"
)

#: A number and its unit stay together; minus, a range and a size are written as such.
_SPELT = (
    (re.compile(r"(?<![\w.-])-(?=\d)"), "\u2212"),
    (re.compile(r"(?<=\d)-(?=[\d.]+ (?:°C|%))"), "\u2013"),
    (re.compile(r"(?<=\d) x (?=\d)"), "\u00a0×\u00a0"),
    (re.compile(r"(?<=\d) (?=°C|%|mm|lux|kg|µW)"), "\u00a0"),
)

_MARKS = re.compile(r"\[([A-Z]\d(?:, [A-Z]\d)*)\]")


def _spelt(text: str) -> str:
    for pattern, instead in _SPELT:
        text = pattern.sub(instead, text)
    return text


def pdf(name: str, content: list[Section]) -> bytes:
    """A4, each section from the head of a page on."""
    sheet = _Sheet(name)
    for section in content:
        sheet.begin(section.title)
        for text in section.urgent:
            sheet.paragraph(text, "bold")
        for text in section.paragraphs:
            sheet.paragraph(text, "regular")
        for table in section.tables:
            sheet.table(table)
    return sheet.document.finish()


class _Sheet:
    """The PDF while it is written: the page and how far down it is filled."""

    def __init__(self, name: str) -> None:
        self.document = Document(f"Care sheet: {name}" if name else "Care sheet")
        self._name, self._title = name, ""

    def begin(self, title: str) -> None:
        self._title = title
        self._page, self._y = self._head(title)

    def paragraph(self, text: str, weight: Weight) -> None:
        text = _spelt(text)
        self._room_for(self._page.measure((_WIDTH - 2 * _LEFT, 400.0), text, (_SIZE,), spacing=1.4))
        self._y = self._page.paragraph(_LEFT, self._y, _WIDTH - 2 * _LEFT, text, size=_SIZE, weight=weight) + 2

    def table(self, table: Table) -> None:
        rows = [(table.head, True)] if table.head else []
        rows += [(row, False) for row in table.rows]
        heights = [self._height(row, table.widths) for row, _ in rows]
        above = 9.0 if table.title else 3.0
        self._room_for(above + sum(heights[:2]))  # a title or a head alone at the foot helps nobody
        self._y += above
        if table.title:
            self._page.text(_LEFT, self._y - 2.5, table.title, size=_SIZE + 0.5, weight="bold")
        for (row, is_head), height in zip(rows, heights, strict=True):
            self._room_for(height)
            x = _LEFT
            for column, (cell, wide) in enumerate(zip(row, table.widths, strict=True)):
                strong = is_head or (not table.head and column == 0)
                weight: Weight = "bold" if strong else "regular"
                self._page.paragraph(x, self._y, wide - 3, _spelt(cell), size=_SMALL, weight=weight)
                x += wide
            self._y += height
            self._page.line(_LEFT, self._y - 1.3, _WIDTH - _LEFT, self._y - 1.3, grey=HAIR, points=0.3)

    def _height(self, row: tuple[str, ...], widths: tuple[float, ...]) -> float:
        cells = zip(row, widths, strict=True)
        tallest = max(self._page.measure((w - 3, 200.0), _spelt(c), (_SMALL,), spacing=1.4) for c, w in cells)
        return tallest + 2.8

    def _room_for(self, height: float) -> None:
        if self._y + height > _FOOT:
            self._page, self._y = self._head(f"{self._title}, continued")

    def _head(self, title: str) -> tuple[Page, float]:
        page = self.document.page(_WIDTH, _HEIGHT)
        page.text(_LEFT, _TOP - 6, "Care sheet", size=8, grey=PENCIL)
        page.text(_WIDTH - _LEFT, _TOP - 6, self._name[:80], size=8, grey=PENCIL, align="right")
        page.text(_LEFT, _TOP + 4, title, size=16, weight="bold")
        return page, _TOP + 10


def page(name: str, content: list[Section]) -> bytes:
    """The same as one HTML page; each mark leads to its source."""
    title = escape(f"Care sheet: {name}" if name else "Care sheet")
    links = "".join(f'<a href="#s{n}">{escape(section.title)}</a> ' for n, section in enumerate(content))
    body = "".join(_section(section, f"s{number}") for number, section in enumerate(content))
    return (
        f'<!doctype html><html lang="en"><head><meta charset="utf-8"><title>{title}</title>'
        f'<meta name="viewport" content="width=device-width"><style>{_STYLE}</style></head>'
        f"<body><h1>{title}</h1><nav>{links}</nav>{body}</body></html>\n"
    ).encode()


def _section(section: Section, anchor: str) -> str:
    urgent = "".join(f'<p class="urgent">{_linked(text)}</p>' for text in section.urgent)
    words = "".join(f"<p>{_linked(text)}</p>" for text in section.paragraphs)
    tables = "".join("".join(_table(table)) for table in section.tables)
    return f'<section id="{anchor}"><h2>{escape(section.title)}</h2>{urgent}{words}{tables}</section>'


def _table(table: Table) -> Iterator[str]:
    if table.title:
        yield f"<h3>{escape(table.title)}</h3>"
    yield "<table>"
    if table.head:
        yield "<thead><tr>" + "".join(f'<th scope="col">{escape(cell)}</th>' for cell in table.head) + "</tr></thead>"
    yield "<tbody>"
    for first, *rest in table.rows:
        anchor = f' id="{first}"' if first in SOURCES else ""
        begin = f"<td>{_linked(first)}</td>" if table.head else f'<th scope="row">{escape(first)}</th>'
        yield f"<tr{anchor}>{begin}" + "".join(f"<td>{_linked(cell)}</td>" for cell in rest) + "</tr>"
    yield "</tbody></table>"


def _linked(text: str) -> str:
    def links(found: re.Match[str]) -> str:
        return "[" + ", ".join(f'<a href="#{mark}">{mark}</a>' for mark in found[1].split(", ")) + "]"

    return _MARKS.sub(links, escape(_spelt(text)))
