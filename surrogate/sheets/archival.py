"""What makes a PDF fit to be kept: PDF/A-2b (ISO 19005-2).

Fonts are embedded, nothing is transparent, encrypted or fetched from elsewhere by the way pages are drawn; here are the
metadata (6.6), the output intent that greys are meant for (6.2.3), and the line break before ``endstream`` (6.1.7.1).
Clause numbers from memory.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from xml.sax.saxutils import escape

from reportlab.pdfbase import pdfdoc

SOFTWARE = "surrogate"

#: The same for every document, so that the same content gives the same bytes; it is reportlab's own invariant date.
_DATE = "2000-01-01T00:00:00+00:00"

_PACKET = """<?xpacket begin="\ufeff" id="W5M0MpCehiHzreSzNTczkc9d"?>
<x:xmpmeta xmlns:x="adobe:ns:meta/">
<rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">
<rdf:Description rdf:about="" xmlns:dc="http://purl.org/dc/elements/1.1/" xmlns:pdf="http://ns.adobe.com/pdf/1.3/"
 xmlns:xmp="http://ns.adobe.com/xap/1.0/" xmlns:pdfaid="http://www.aiim.org/pdfa/ns/id/">
<dc:format>application/pdf</dc:format>
<dc:title><rdf:Alt><rdf:li xml:lang="x-default">{title}</rdf:li></rdf:Alt></dc:title>
<pdf:Producer>{software}</pdf:Producer>
<xmp:CreatorTool>{software}</xmp:CreatorTool>
<xmp:CreateDate>{date}</xmp:CreateDate>
<xmp:ModifyDate>{date}</xmp:ModifyDate>
<pdfaid:part>2</pdfaid:part>
<pdfaid:conformance>B</pdfaid:conformance>
</rdf:Description>
</rdf:RDF>
</x:xmpmeta>
<?xpacket end="w"?>"""

_ENTRY = re.compile(rb"(\d{10}) 00000 n")


class _Info(pdfdoc.PDFInfo):  # type: ignore[misc]  # reportlab has no types
    """The document information that the metadata repeat, and no more."""

    def format(self, document: pdfdoc.PDFDocument) -> bytes:
        date = pdfdoc.PDFDate(ts=document._timeStamp)  # noqa: SLF001 - the only place where it is kept
        known = {"Title": self.title, "Producer": SOFTWARE, "Creator": SOFTWARE}
        entries = {name: pdfdoc.PDFString(value) for name, value in known.items()}
        return bytes(pdfdoc.PDFDictionary({**entries, "CreationDate": date, "ModDate": date}).format(document))


def prepare(document: pdfdoc.PDFDocument, title: str, profile: pdfdoc.PDFObjectReference) -> None:
    """Give a reportlab document its metadata and, with a reference to an sRGB profile, its output intent."""
    document.info = _Info()
    document.info.title = title
    packet = _PACKET.format(title=escape(title), software=SOFTWARE, date=_DATE).encode()
    intent = pdfdoc.PDFDictionary(
        {
            "Type": pdfdoc.PDFName("OutputIntent"),
            "S": pdfdoc.PDFName("GTS_PDFA1"),
            "OutputConditionIdentifier": pdfdoc.PDFString("sRGB IEC61966-2.1"),
            "Info": pdfdoc.PDFString("sRGB IEC61966-2.1"),
            "DestOutputProfile": profile,
        }
    )
    catalog = document.Catalog
    catalog.Metadata = pdfdoc.XMP(creator=lambda _: packet)
    catalog.OutputIntents = pdfdoc.PDFArray([intent])
    catalog.__NoDefault__ = [*catalog.__NoDefault__, "OutputIntents"]


def with_line_breaks(pdf: bytes) -> bytes:
    """The same file with a line break before each ``endstream``, its table of objects brought up to date."""
    table_at = pdf.rindex(b"xref\n", 0, pdf.rindex(b"startxref"))
    table = pdf[table_at : pdf.rindex(b"startxref")]
    offsets = [int(entry) for entry in _ENTRY.findall(table)]
    moved: dict[int, int] = {}
    parts: list[bytes | memoryview] = []
    length = 0
    for start, part in _objects(pdf, offsets, table_at):
        moved[start] = length
        parts.append(part)
        length += len(part)
        if bytes(part[-_LAST:]).endswith(_END):
            parts[-1:] = [part[: -len(_END)], b"\n", _END]
            length += 1
    table = _ENTRY.sub(lambda entry: b"%010d 00000 n" % moved[int(entry[1])], table)
    return b"".join([*parts, table, b"startxref\n%d\n%%%%EOF\n" % length])


_END = b"endstream\nendobj\n"
_LAST = len(_END)


def _objects(pdf: bytes, offsets: list[int], end: int) -> Iterator[tuple[int, memoryview]]:
    """The head of the file, then each object in the order in which they lie, with where it starts."""
    view = memoryview(pdf)
    starts = sorted({0, *offsets})
    for start, after in zip(starts, [*starts[1:], end], strict=True):
        yield start, view[start:after]
