"""Recognised text with its place on the picture, as ALTO 4.4 XML (Library of Congress, 2022)."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby
from pathlib import Path
from typing import TextIO, TypeVar

from defusedxml.ElementTree import parse

from surrogate.handover.xmlstream import XmlStream

NAMESPACE = "http://www.loc.gov/standards/alto/ns-v4#"
_NS = {"a": NAMESPACE}

Number = TypeVar("Number", int, float)


@dataclass(frozen=True)
class Word:
    """One recognised word. ``box`` is left, top, width, height in pixels; ``confidence`` 0 to 1.

    ``block`` and ``line`` number the block of text and the line within the page, in reading order.
    """

    text: str
    box: tuple[int, int, int, int]
    confidence: float
    block: int
    line: int


@dataclass(frozen=True)
class Page:
    """The recognised text of one picture, ``width`` x ``height`` pixels."""

    file: str
    sha256: str
    width: int
    height: int
    language: str
    software: str
    words: tuple[Word, ...]

    @property
    def mean_confidence(self) -> float | None:
        """Mean of the words' confidences, weighted by their letters; None without words."""
        letters = sum(len(word.text) for word in self.words)
        if not letters:
            return None
        return round(sum(word.confidence * len(word.text) for word in self.words) / letters, 3)


def hull(boxes: Sequence[tuple[Number, Number, Number, Number]]) -> tuple[Number, Number, Number, Number]:
    """The smallest box (left, top, width, height) around all boxes."""
    left, top = min(box[0] for box in boxes), min(box[1] for box in boxes)
    right, bottom = max(box[0] + box[2] for box in boxes), max(box[1] + box[3] for box in boxes)
    return left, top, right - left, bottom - top


def _placed(box: tuple[int, int, int, int]) -> dict[str, str]:
    return dict(zip(("HPOS", "VPOS", "WIDTH", "HEIGHT"), map(str, box), strict=True))


def write(stream: TextIO, page: Page) -> None:
    """Write a page as ALTO."""
    xml = XmlStream(stream)
    name, _, version = page.software.partition(" ")
    with xml.element("alto", xmlns=NAMESPACE, SCHEMAVERSION="4.4"):
        with xml.element("Description"):
            xml.leaf("MeasurementUnit", "pixel")
            with xml.element("sourceImageInformation"):
                xml.leaf("fileName", page.file)
                xml.leaf("fileIdentifier", page.sha256)
            with xml.element("Processing", ID="P1"):
                xml.leaf("processingStepDescription", "text recognition")
                with xml.element("processingSoftware"):
                    xml.leaf("softwareName", name)
                    xml.given("softwareVersion", version)
        size = {"WIDTH": str(page.width), "HEIGHT": str(page.height)}
        numbered = {"ID": "PAGE1", "PHYSICAL__IMG__NR": "1", "LANG": page.language.partition("+")[0]}
        with (
            xml.element("Layout"),
            xml.element("Page", **numbered, **size),
            xml.element("PrintSpace", HPOS="0", VPOS="0", **size),
        ):
            _write_blocks(xml, page.words)


def _write_blocks(xml: XmlStream, words: Sequence[Word]) -> None:
    for block, in_block in groupby(words, key=lambda word: word.block):
        members = list(in_block)
        with xml.element("TextBlock", ID=f"B{block}", **_placed(hull([word.box for word in members]))):
            for line, in_line in groupby(members, key=lambda word: word.line):
                spoken = list(in_line)
                with xml.element("TextLine", ID=f"L{line}", **_placed(hull([word.box for word in spoken]))):
                    for number, word in enumerate(spoken):
                        if number:
                            xml.leaf("SP")
                        certain = f"{word.confidence:.2f}"
                        xml.leaf("String", CONTENT=word.text, WC=certain, **_placed(word.box))


def _number(element: ET.Element, name: str) -> int:
    return int(float(element.get(name, "0")))


def read(file: Path) -> Page:
    """Read a page back. Raises ``ValueError`` when the file is not ALTO 4, or declares entities as no ALTO does."""
    try:
        root = parse(file, forbid_dtd=True).getroot()
    except ET.ParseError as error:
        raise ValueError(f"{file} is not XML: {error}") from error
    page = root.find("a:Layout/a:Page", _NS)
    if page is None:
        raise ValueError(f"{file} is not ALTO 4")
    words = []
    line_number = 0
    for block_number, block in enumerate(page.iterfind(".//a:TextBlock", _NS), start=1):
        for line in block.iterfind("a:TextLine", _NS):
            line_number += 1
            for string in line.iterfind("a:String", _NS):
                box = tuple(_number(string, name) for name in ("HPOS", "VPOS", "WIDTH", "HEIGHT"))
                confidence = float(string.get("WC", "0"))
                words.append(
                    Word(
                        string.get("CONTENT", ""),
                        (box[0], box[1], box[2], box[3]),
                        confidence,
                        block_number,
                        line_number,
                    )
                )
    found = "a:Description/a:sourceImageInformation/a:"
    software = "a:Description/a:Processing/a:processingSoftware/a:"
    named = (root.findtext(software + part, "", _NS) for part in ("softwareName", "softwareVersion"))
    return Page(
        file=root.findtext(found + "fileName", "", _NS),
        sha256=root.findtext(found + "fileIdentifier", "", _NS),
        width=_number(page, "WIDTH"),
        height=_number(page, "HEIGHT"),
        language=page.get("LANG", ""),
        software=" ".join(part for part in named if part),
        words=tuple(words),
    )


def read_if_whole(file: Path) -> Page | None:
    """Read a page back; None when there is none or it is damaged, so that it is recognised again."""
    if not file.is_file():
        return None
    try:
        return read(file)
    except ValueError:
        return None
