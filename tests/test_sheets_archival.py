"""Every sheet is PDF/A-2b: by an independent validator where it is installed, and clause by clause with pypdf."""

from __future__ import annotations

import io
import random
import re
import shutil
import subprocess
from pathlib import Path

import pypdf
import pytest
from copies_collection import scene
from copies_words import WORDS, a_title, unembedded_fonts
from lxml import etree

from surrogate.copies.proof_sheet import as_picture
from surrogate.sheets.page import Document

#: The PDF/A-1b validator of Apache PDFBox: Debian's libpdfbox2-java, libactivation-java and libjaxb-api-java.
JARS = [
    Path("/usr/share/java") / f"{name}.jar"
    for name in ("preflight", "xmpbox", "pdfbox2", "fontbox2", "commons-logging", "commons-io", "javax.activation")
] + [Path("/usr/share/java/jaxb-api.jar")]

#: Where part 2 of ISO 19005 is wider than part 1, which the validator knows: its own number, and newer colour profiles.
WIDER = ("part must be 1", "Invalid version of the ICCProfile")


@pytest.fixture(scope="module")
def pdf() -> bytes:
    """A sheet with all that sheets have: words in every script, lines, a code, a picture."""
    document = Document("Words & lines <of> every kind: Łódź, 湖边")
    page = document.page(210, 297)
    numbers = random.Random(1)
    for number, script in enumerate(WORDS):
        page.paragraph(
            20, 20 + 8 * number, 170, a_title(numbers, script, 5), weight="bold" if number % 2 else "regular"
        )
    page.rectangle(20, 160, 50, 30, fill=0.8, dash=(1.0, 1.0))
    page.oval(80, 160, 50, 30)
    page.code(140, 160, 30, "2026.001.0001")
    page.picture(20, 200, 60, 40, as_picture(scene(120, 80)), "one", clip=(20, 200, 30, 40))
    page.picture(90, 200, 60, 40, as_picture(scene(120, 80)), "one")
    document.page(100, 100).text(10, 10, "😀 no font has this")
    return document.finish()


@pytest.mark.skipif(
    shutil.which("java") is None or not all(jar.is_file() for jar in JARS), reason="needs PDFBox's validator"
)
def test_an_independent_validator_agrees(pdf: bytes, tmp_path: Path) -> None:
    (tmp_path / "sheet.pdf").write_bytes(pdf)
    command = ["java", "-cp", ":".join(map(str, JARS)), "org.apache.pdfbox.preflight.Validator_A1b"]
    out = subprocess.run([*command, str(tmp_path / "sheet.pdf")], capture_output=True, text=True, check=False).stdout
    findings = re.findall(r"(?m)^\d[\d.]* : .*$", out)
    assert "sheet.pdf" in out
    assert findings
    assert [finding for finding in findings if not any(words in finding for words in WIDER)] == []


def test_metadata_say_what_the_file_says(pdf: bytes) -> None:
    reader = pypdf.PdfReader(io.BytesIO(pdf), strict=True)
    stream = reader.trailer["/Root"]["/Metadata"]
    assert "/Filter" not in stream
    root = etree.fromstring(stream.get_data())
    said = {etree.QName(element).localname: (element.text or "").strip() for element in root.iter("{*}*")}
    assert (said["part"], said["conformance"]) == ("2", "B")
    assert said["li"] == reader.metadata.title == "Words & lines <of> every kind: Łódź, 湖边"
    assert said["Producer"] == reader.metadata.producer
    assert said["CreatorTool"] == reader.metadata.creator
    assert reader.metadata.creation_date.isoformat() == said["CreateDate"]
    assert set(reader.metadata) == {"/Title", "/Producer", "/Creator", "/CreationDate", "/ModDate"}


def test_colours_are_meant_for_srgb(pdf: bytes) -> None:
    (intent,) = pypdf.PdfReader(io.BytesIO(pdf)).trailer["/Root"]["/OutputIntents"]
    assert intent["/S"] == "/GTS_PDFA1"
    profile = intent["/DestOutputProfile"]
    assert profile["/N"] == 3
    assert profile.get_data()[36:40] == b"acsp"  # ICC.1, 7.2: the profile file signature


def test_nothing_is_missing_transparent_or_locked(pdf: bytes) -> None:
    reader = pypdf.PdfReader(io.BytesIO(pdf), strict=True)
    assert not reader.is_encrypted
    assert not unembedded_fonts(reader)
    assert pdf.count(b"endstream\n") == pdf.count(b"\nendstream\n") == pdf.count(b"\nstream\n")
    for word in (
        b"/SMask",
        b"/Encrypt",
        b"/JavaScript",
        b"/EmbeddedFiles",
        b"/BM ",
        b"/ca ",
        b"/CA ",
        b"/Annots",
        b"LZW",
    ):
        assert word not in pdf
    assert re.search(rb"/ID\s*\[<[0-9a-f]{32}><[0-9a-f]{32}>\]", pdf)


def test_every_object_lies_where_the_table_says(pdf: bytes) -> None:
    table = pdf[pdf.rindex(b"\nxref\n") :]
    offsets = [int(entry) for entry in re.findall(rb"(\d{10}) 00000 n", table)]
    assert len(offsets) == pdf.count(b" 0 obj")
    for number, offset in enumerate(offsets, start=1):
        assert pdf[offset:].startswith(b"%d 0 obj" % number)
    assert pdf[int(re.search(rb"startxref\n(\d+)", pdf)[1]) :].startswith(b"xref\n")
