"""Paper, drawn on in millimetres from its upper left corner."""

from __future__ import annotations

import hashlib
import io
from collections.abc import Sequence
from dataclasses import dataclass

from reportlab.pdfbase import pdfdoc
from reportlab.pdfgen.canvas import Canvas

from surrogate.imaging.encode import srgb_profile
from surrogate.sheets import archival, qr
from surrogate.sheets.text import (
    POINT_PER_MM,
    REGULAR,
    Block,
    Line,
    Weight,
    draw,
    fit,
    font,
    reads_leftwards,
    shape,
    wrap,
)

#: Greys: ink for text, pencil for what stands back, hair for thin lines.
INK = 0.1
PENCIL = 0.42
HAIR = 0.72


@dataclass(frozen=True)
class Picture:
    """An sRGB JPEG, ready to be placed."""

    jpeg: bytes
    width_px: int
    height_px: int
    profile: bytes


class Document:
    """One PDF, the same bytes for the same content. Pages are made one after the other."""

    def __init__(self, title: str) -> None:
        font(REGULAR)
        self._canvas = Canvas(io.BytesIO(), invariant=1, initialFontName=REGULAR, pageCompression=1, pdfVersion=(1, 7))
        document = self._canvas._doc  # noqa: SLF001 - reportlab has no public way to its parts
        archival.prepare(document, title, _profile(document, srgb_profile()))
        self._started = False

    def page(self, width_mm: float, height_mm: float) -> Page:
        """Start a page."""
        if self._started:
            self._canvas.showPage()
        self._started = True
        self._canvas.setPageSize((width_mm * POINT_PER_MM, height_mm * POINT_PER_MM))
        return Page(self._canvas, width_mm, height_mm)

    def finish(self) -> bytes:
        """The whole file."""
        return archival.with_line_breaks(self._canvas.getpdfdata())


@dataclass(frozen=True)
class Page:
    """One page. Lengths are mm, ``x`` to the right and ``y`` down from the upper left corner; type sizes are points."""

    canvas: Canvas
    width: float
    height: float

    def line(self, x1: float, y1: float, x2: float, y2: float, *, grey: float = INK, points: float = 0.5) -> None:
        """A straight line."""
        self.canvas.setStrokeGray(grey)
        self.canvas.setLineWidth(points)
        self.canvas.line(self._x(x1), self._y(y1), self._x(x2), self._y(y2))

    def rectangle(
        self,
        x: float,
        y: float,
        width: float,
        height: float,
        *,
        grey: float | None = INK,
        fill: float | None = None,
        points: float = 0.5,
        dash: Sequence[float] = (),
    ) -> None:
        """A rectangle; ``grey`` strokes and ``fill`` fills, each 0 (black) to 1 (white)."""
        self.canvas.setDash([length * POINT_PER_MM for length in dash])
        self._pens(grey, fill, points)
        self.canvas.rect(
            self._x(x),
            self._y(y + height),
            width * POINT_PER_MM,
            height * POINT_PER_MM,
            stroke=int(grey is not None),
            fill=int(fill is not None),
        )
        self.canvas.setDash([])

    def oval(
        self, x: float, y: float, width: float, height: float, *, grey: float | None = INK, fill: float | None = None
    ) -> None:
        """The ellipse inside a rectangle."""
        self._pens(grey, fill, 0.5)
        self.canvas.ellipse(
            self._x(x),
            self._y(y + height),
            self._x(x + width),
            self._y(y),
            stroke=int(grey is not None),
            fill=int(fill is not None),
        )

    def _pens(self, grey: float | None, fill: float | None, points: float) -> None:
        self.canvas.setLineWidth(points)
        if grey is not None:
            self.canvas.setStrokeGray(grey)
        if fill is not None:
            self.canvas.setFillGray(fill)

    def text(
        self,
        x: float,
        y: float,
        text: str,
        *,
        size: float = 9,
        weight: Weight = "regular",
        grey: float = INK,
        align: str = "left",
    ) -> float:
        """One line with its baseline at ``y``; ``align`` left, centre or right of ``x``. Returns its width in mm."""
        line = shape(text, size, weight)
        width = line.width / POINT_PER_MM
        start = {"left": x, "centre": x - width / 2, "right": x - width}[align]
        self._line(line, start, y, grey)
        return width

    def turned_text(self, x: float, y: float, text: str, *, size: float = 9, grey: float = INK) -> None:
        """One line that reads upwards, centred on (x, y)."""
        line = shape(text, size)
        self.canvas.saveState()
        self.canvas.translate(self._x(x), self._y(y))
        self.canvas.rotate(90)
        self.canvas.setFillGray(grey)
        draw(self.canvas, line, -line.width / 2, -size * 0.35)
        self.canvas.restoreState()

    def _line(self, line: Line, x: float, y: float, grey: float) -> None:
        self.canvas.setFillGray(grey)
        draw(self.canvas, line, self._x(x), self._y(y))

    def paragraph(
        self,
        x: float,
        y: float,
        width: float,
        text: str,
        *,
        size: float = 9,
        weight: Weight = "regular",
        grey: float = INK,
        spacing: float = 1.4,
    ) -> float:
        """Wrapped text from ``y`` down. Returns the ``y`` below it."""
        leading = size * spacing / POINT_PER_MM
        leftwards = reads_leftwards(text)
        for words in wrap(text, size, width * POINT_PER_MM, weight):
            self._aligned(shape(words, size, weight, leftwards=leftwards), x, y + size / POINT_PER_MM, width, grey)
            y += leading
        return y

    def box(
        self,
        area: tuple[float, float, float, float],
        text: str,
        sizes: Sequence[float],
        *,
        weight: Weight = "regular",
        grey: float = INK,
        spacing: float = 1.3,
    ) -> float:
        """Text that shrinks, then is cut, to stay inside ``area`` (x, y, width, height). Returns the ``y`` below it."""
        x, y, width, height = area
        block: Block = fit(text, width * POINT_PER_MM, height * POINT_PER_MM, sizes, weight=weight, spacing=spacing)
        leading = block.leading / POINT_PER_MM
        for number, line in enumerate(block.lines):
            self._aligned(line, x, y + number * leading + block.size / POINT_PER_MM, width, grey)
        return y + len(block.lines) * leading

    def measure(self, room: tuple[float, float], text: str, sizes: Sequence[float], *, spacing: float = 1.3) -> float:
        """The height (mm) that :meth:`box` would take in a ``room`` of width and height."""
        width, height = room
        return fit(text, width * POINT_PER_MM, height * POINT_PER_MM, sizes, spacing=spacing).height / POINT_PER_MM

    def _aligned(self, line: Line, x: float, y: float, width: float, grey: float) -> None:
        """Text that reads leftwards starts at the right."""
        start = x + width - line.width / POINT_PER_MM if line.leftwards else x
        self._line(line, start, y, grey)

    def code(self, x: float, y: float, size: float, reference: str) -> None:
        """A QR code with its quiet zone inside a square of ``size``."""
        rows = qr.modules(reference)
        module = size / (len(rows) + 2 * qr.QUIET_MODULES)
        path = self.canvas.beginPath()
        for row, cells in enumerate(rows):
            column = 0
            while column < len(cells):
                if not cells[column]:
                    column += 1
                    continue
                end = column
                while end < len(cells) and cells[end]:
                    end += 1
                left = x + (qr.QUIET_MODULES + column) * module
                foot = y + (qr.QUIET_MODULES + row + 1) * module
                path.rect(self._x(left), self._y(foot), (end - column) * module * POINT_PER_MM, module * POINT_PER_MM)
                column = end
        self.canvas.setFillGray(0)
        self.canvas.drawPath(path, stroke=0, fill=1)

    def picture(
        self,
        x: float,
        y: float,
        width: float,
        height: float,
        picture: Picture,
        name: str,
        *,
        clip: tuple[float, float, float, float] | None = None,
    ) -> None:
        """A picture at its place, with its profile; ``clip`` (x, y, width, height) shows only a part.

        ``name`` is the picture's own in this document: placed twice under one name, it is stored once.
        """
        name = f"picture{hashlib.sha256(name.encode()).hexdigest()[:16]}"
        document = self.canvas._doc  # noqa: SLF001 - reportlab has no public way to give an image its profile
        if document.getXObjectName(name) not in document.idToObject:
            document.addForm(name, _image_object(document, picture))
        self.canvas.saveState()
        if clip is not None:
            path = self.canvas.beginPath()
            path.rect(self._x(clip[0]), self._y(clip[1] + clip[3]), clip[2] * POINT_PER_MM, clip[3] * POINT_PER_MM)
            self.canvas.clipPath(path, stroke=0, fill=0)
        self.canvas.translate(self._x(x), self._y(y + height))
        self.canvas.scale(width * POINT_PER_MM, height * POINT_PER_MM)
        self.canvas.doForm(name)
        self.canvas.restoreState()

    def _x(self, mm: float) -> float:
        return mm * POINT_PER_MM

    def _y(self, mm: float) -> float:
        return (self.height - mm) * POINT_PER_MM


def _profile(document: pdfdoc.PDFDocument, profile: bytes) -> pdfdoc.PDFObjectReference:
    """A reference to a colour profile, which the document stores once."""
    name = f"profile {hashlib.sha256(profile).hexdigest()}"
    if name in document.idToObject:
        return pdfdoc.PDFObjectReference(name)
    entries = pdfdoc.PDFDictionary({"N": 3, "Alternate": pdfdoc.PDFName("DeviceRGB")})
    return document.Reference(pdfdoc.PDFStream(dictionary=entries, content=profile), name)


def _image_object(document: pdfdoc.PDFDocument, picture: Picture) -> pdfdoc.PDFStream:
    """An image XObject in an ICC-based colour space (ISO 32000-1, 8.6.5.5 and 8.9.5); its profile is stored once."""
    entries = pdfdoc.PDFDictionary(
        {
            "Type": pdfdoc.PDFName("XObject"),
            "Subtype": pdfdoc.PDFName("Image"),
            "Width": picture.width_px,
            "Height": picture.height_px,
            "BitsPerComponent": 8,
            "ColorSpace": pdfdoc.PDFArray([pdfdoc.PDFName("ICCBased"), _profile(document, picture.profile)]),
            "Filter": pdfdoc.PDFName("DCTDecode"),
        }
    )
    return pdfdoc.PDFStream(dictionary=entries, content=picture.jpeg)
