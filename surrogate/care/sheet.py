"""The care sheet as PDF and as a page that needs nothing else."""

from __future__ import annotations

from html import escape

from surrogate.care.section import Section
from surrogate.sheets.page import HAIR, PENCIL, Document, Page

_WIDTH, _HEIGHT = 210.0, 297.0
_LEFT, _TOP, _FOOT = 16.0, 20.0, 279.0
_SIZE = 8.5

_STYLE = (
    "body{font:16px/1.5 system-ui,sans-serif;max-width:52rem;margin:2rem auto;padding:0 1rem;color:#222}"
    "section{margin:0 0 3rem}h1{font-size:1.6rem}h2{font-size:1.2rem}"
    "table{border-collapse:collapse;width:100%;font-size:.9rem}"
    "th,td{text-align:left;vertical-align:top;padding:.3rem .8rem .3rem 0;border-bottom:1px solid #ccc}"
    "@media print{section{break-after:page}}"
)


def _bound(text: str) -> str:
    """The text with a number and its unit kept on one line."""
    return text.replace(" °C", "\u00a0°C").replace(" %", "\u00a0%")


def pdf(name: str, content: list[Section]) -> bytes:
    """A4, each section from the head of a page on."""
    document = Document(f"Care sheet: {name}" if name else "Care sheet")
    for section in content:
        page, y = _head(document, name, section.title)
        for text in map(_bound, section.paragraphs):
            room = page.measure((_WIDTH - 2 * _LEFT, 400.0), text, (_SIZE,), spacing=1.4)
            if y + room > _FOOT:
                page, y = _head(document, name, f"{section.title}, continued")
            y = page.paragraph(_LEFT, y, _WIDTH - 2 * _LEFT, text, size=_SIZE) + 1.6
        y += 3
        for number, row in enumerate(section.table):
            cells = list(zip(row, section.widths, strict=True))
            tall = max(page.measure((wide - 3, 100.0), cell, (_SIZE,), spacing=1.4) for cell, wide in cells)
            if y + tall > _FOOT:
                page, y = _head(document, name, f"{section.title}, continued")
            x = _LEFT
            for cell, wide in cells:
                page.paragraph(x, y, wide - 3, cell, size=_SIZE, weight="bold" if number == 0 else "regular")
                x += wide
            y += tall + 1.4
            page.line(_LEFT, y, _WIDTH - _LEFT, y, grey=HAIR, points=0.3)
            y += 1.2
    return document.finish()


def _head(document: Document, name: str, title: str) -> tuple[Page, float]:
    page = document.page(_WIDTH, _HEIGHT)
    page.text(_LEFT, _TOP - 6, "Care sheet", size=8, grey=PENCIL)
    page.text(_WIDTH - _LEFT, _TOP - 6, name[:80], size=8, grey=PENCIL, align="right")
    page.text(_LEFT, _TOP + 4, title, size=15, weight="bold")
    return page, _TOP + 10


def page(name: str, content: list[Section]) -> bytes:
    """The same as one HTML page."""
    title = escape(f"Care sheet: {name}" if name else "Care sheet")
    body = "".join(_section(section) for section in content)
    return (
        f'<!doctype html><html lang="en"><head><meta charset="utf-8"><title>{title}</title>'
        f'<meta name="viewport" content="width=device-width"><style>{_STYLE}</style></head>'
        f"<body><h1>{title}</h1>{body}</body></html>\n"
    ).encode()


def _section(section: Section) -> str:
    words = "".join(f"<p>{escape(text)}</p>" for text in section.paragraphs)
    if not section.table:
        return f"<section><h2>{escape(section.title)}</h2>{words}</section>"
    head, *rows = section.table
    first = "".join(f'<th scope="col">{escape(cell)}</th>' for cell in head)
    rest = "".join("<tr>" + "".join(f"<td>{escape(cell)}</td>" for cell in row) + "</tr>" for row in rows)
    return (
        f"<section><h2>{escape(section.title)}</h2>{words}"
        f"<table><thead><tr>{first}</tr></thead><tbody>{rest}</tbody></table></section>"
    )
