"""Recognised text: ALTO 4.4 by its schema's tables, Tesseract on rendered pages, and people's corrections."""

from __future__ import annotations

import itertools
import xml.etree.ElementTree as ET
from pathlib import Path

import handmade
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image, ImageDraw, ImageFont

from surrogate.collection import listing
from surrogate.errors import WrongUse
from surrogate.handover import alto, corrections, text
from surrogate.records import Kind, Original, Side, Use

A = "{http://www.loc.gov/standards/alto/ns-v4#}"

#: ALTO 4.4 (Library of Congress, 2022, alto-4-4.xsd, read in the standard's repository): which elements may stand in
#: which, and the attributes that are required (R) or allowed (O) of those that we write.
CHILDREN = {
    "alto": ("Description", "Styles", "Tags", "ReadingOrder", "Layout"),
    "Description": ("MeasurementUnit", "sourceImageInformation", "OCRProcessing", "Processing"),
    "Layout": ("Page",),
    "Page": ("TopMargin", "LeftMargin", "RightMargin", "BottomMargin", "PrintSpace"),
    "PrintSpace": ("Shape", "TextBlock", "Illustration", "GraphicalElement", "ComposedBlock"),
    "TextBlock": ("Shape", "TextLine"),
    "TextLine": ("Shape", "String", "SP", "HYP"),
    "String": ("Shape", "ALTERNATIVE", "Glyph"),
    "SP": (),
}
PLACE = {"HPOS": "O", "VPOS": "O", "WIDTH": "O", "HEIGHT": "O"}
ATTRIBUTES = {
    "alto": {"SCHEMAVERSION": "O"},
    "Page": {"ID": "R", "PHYSICAL_IMG_NR": "R", "WIDTH": "O", "HEIGHT": "O", "LANG": "O"},
    "PrintSpace": PLACE,
    "TextBlock": {"ID": "R", **PLACE},
    "TextLine": {"ID": "O", **PLACE},
    "String": {"CONTENT": "R", "WC": "O", **PLACE},
    "SP": {},
}
UNITS = {"pixel", "mm10", "inch1200"}

needs_tesseract = pytest.mark.skipif(text.tesseract_version() is None, reason="Tesseract is not installed")

words = st.builds(
    alto.Word,
    text=st.text(
        st.characters(codec="utf-8", exclude_categories=("Cc", "Cs", "Zs", "Zl", "Zp", "Cn")), min_size=1, max_size=9
    ),
    box=st.tuples(*[st.integers(0, 900)] * 4),
    confidence=st.integers(0, 100).map(lambda percent: percent / 100),
    block=st.just(1),
    line=st.integers(1, 3),
)


def check_tables(root: ET.Element) -> None:
    """Every element stands where the tables allow it, in their order, with the attributes they require."""
    for element in root.iter():
        name = element.tag.removeprefix(A)
        if name not in CHILDREN:
            continue
        inside = [child.tag.removeprefix(A) for child in element]
        assert set(inside) <= set(CHILDREN[name]), name
        if name in {"alto", "Description"}:
            assert inside == sorted(inside, key=CHILDREN[name].index)
        allowed = ATTRIBUTES.get(name, {})
        assert set(element.attrib) <= set(allowed), name
        assert all(attribute in element.attrib for attribute, how in allowed.items() if how == "R")
    identifiers = [element.get("ID") for element in root.iter() if element.get("ID")]
    assert len(identifiers) == len(set(identifiers))
    assert root.findtext(f"{A}Description/{A}MeasurementUnit") in UNITS


@settings(deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.lists(words, max_size=8))
def test_pages_come_back_from_alto(tmp_path_factory: pytest.TempPathFactory, found: list[alto.Word]) -> None:
    found = sorted(found, key=lambda word: word.line)
    renumbered = {line: number for number, line in enumerate(dict.fromkeys(word.line for word in found), start=1)}
    placed = tuple(alto.Word(w.text, w.box, w.confidence, 1, renumbered[w.line]) for w in found)
    page = alto.Page("copies/a b.jpg", "0" * 64, 1000, 900, "eng", "tesseract 5.3.0", placed)
    file = tmp_path_factory.mktemp("alto") / "x.xml"
    with file.open("w", encoding="utf-8") as stream:
        alto.write(stream, page)
    assert alto.read(file) == page
    check_tables(ET.parse(file).getroot())


@pytest.mark.parametrize("damage", ["", "<alto/>", "not xml", "<a xmlns='http://www.loc.gov/standards/alto/ns-v4#'/>"])
def test_what_is_not_alto_says_so(tmp_path: Path, damage: str) -> None:
    (tmp_path / "x.xml").write_text(damage)
    with pytest.raises(ValueError, match=r"x\.xml"):
        alto.read(tmp_path / "x.xml")


def clipping(folder: Path, lines: tuple[str, ...]) -> Original:
    """A clipping whose reading copy shows these lines in a free font."""
    original = handmade.original(folder, 2)
    assert original.kind is Kind.CLIPPING
    copy = next(copy for copy in original.copies if copy.use is Use.READING)
    image = Image.new("RGB", (1200, 90 * len(lines) + 120), "white")
    draw = ImageDraw.Draw(image)
    for number, line in enumerate(lines):
        draw.text((60, 60 + 90 * number), line, fill="black", font=ImageFont.load_default(48))
    image.save(folder / copy.file, quality=92)
    sized = copy.model_copy(update={"width": image.width, "height": image.height})
    return original.model_copy(update={"copies": [sized if c is copy else c for c in original.copies]})


LINES = ("The harvest show was held", "in the boat shed on Saturday", "with two hundred entries")


@needs_tesseract
def test_rendered_text_is_read_with_its_places(tmp_path: Path) -> None:
    original = clipping(tmp_path, LINES)
    texts = text.refresh(tmp_path, original.reference, original.kind, original.copies)
    assert [(found.side, found.language) for found in texts] == [(Side.RECTO, "eng")]
    assert texts[0].mean_confidence is not None
    assert texts[0].mean_confidence > 0.8
    lines = text.lines_of(tmp_path, texts[0].file)
    assert [line.text for line in lines] == list(LINES)
    tops = [line.box[1] for line in lines if line.box]
    # lines were drawn 90 px apart on a page of 390 px
    assert [round(b - a, 2) for a, b in itertools.pairwise(tops)] == pytest.approx([90 / 390] * 2, abs=0.03)
    check_tables(ET.parse(tmp_path / texts[0].file).getroot())


@needs_tesseract
def test_recognised_once_and_again_when_the_copy_changed(tmp_path: Path) -> None:
    original = clipping(tmp_path, LINES)
    file = tmp_path / text.refresh(tmp_path, original.reference, original.kind, original.copies)[0].file
    first = file.stat().st_mtime_ns
    text.refresh(tmp_path, original.reference, original.kind, original.copies)
    assert file.stat().st_mtime_ns == first
    changed = [copy.model_copy(update={"sha256": "1" * 64}) for copy in original.copies]
    text.refresh(tmp_path, original.reference, original.kind, changed)
    assert file.stat().st_mtime_ns != first


def recognised(folder: Path) -> str:
    file = text.text_file("2026.001.0002", Side.RECTO)
    (folder / file).parent.mkdir(parents=True)
    found = tuple(
        alto.Word(word, (10, 100 * line, 50, 20), 0.9 if line < 3 else 0.2, 1, line)
        for line in (1, 2, 3)
        for word in ("some", "words")
    )
    with (folder / file).open("w", encoding="utf-8") as stream:
        alto.write(stream, alto.Page("copies/x.jpg", "0" * 64, 200, 400, "eng", "tesseract 5", found))
    return file


def test_illegible_lines_are_kept_but_not_shown(tmp_path: Path) -> None:
    file = recognised(tmp_path)
    assert [line.text for line in text.lines_of(tmp_path, file)] == ["some words", "some words"]
    assert len(alto.read(tmp_path / file).words) == 6
    assert text.lines_of(tmp_path, file)[0].box == (0.05, 0.25, 0.25, 0.05)


@pytest.mark.parametrize(
    ("corrected", "lines_said", "placed"),
    [("one\n\ntwo\n", ["one", "two"], True), ("\ufeffone only", ["one only"], False)],
)
def test_corrections_by_people_win(tmp_path: Path, corrected: str, lines_said: list[str], placed: bool) -> None:
    file = recognised(tmp_path)
    (tmp_path / file).with_suffix(".txt").write_text(corrected, "utf-8")
    lines = text.lines_of(tmp_path, file)
    assert [line.text for line in lines] == lines_said
    assert all((line.box is not None) is placed for line in lines)


def test_a_correction_broken_otherwise_finds_its_place(tmp_path: Path) -> None:
    """Written as whole sentences, as one types; worked out by hand."""
    boxes = [(0.1, 0.1 * n, 0.3, 0.05) for n in range(1, 6)]
    read = ["The sunner outing of the", "choir which left the boat", "shed at half past", "New voices are", "welcome"]
    recognised_lines = list(zip(read, boxes, strict=True))
    said = corrections.places(
        recognised_lines,
        [
            "The summer outing of the choir which left the boat shed at half past",
            "Something of my own",
            "New voices are welcome",
        ],
    )
    assert said[0] == pytest.approx((0.1, 0.1, 0.3, 0.25))
    assert said[1] is None
    assert said[2] == pytest.approx((0.1, 0.4, 0.3, 0.15))


def test_what_people_wrote_stands_by_itself(tmp_path: Path) -> None:
    """Handwriting, or no Tesseract at all: a text typed by people is listed and read."""
    file = tmp_path / text.corrected(text.text_file("2026.001.0002", Side.RECTO))
    file.parent.mkdir(parents=True)
    file.write_text("Dear Tobias,\n\nThe water came\n", "utf-8")
    (listed,) = text.found(tmp_path, "2026.001.0002")
    assert (listed.file, listed.mean_confidence) == ("texts/2026-001/2026-001-0002_r.txt", None)
    assert [line.text for line in text.lines_of(tmp_path, listed.file)] == ["Dear Tobias,", "The water came"]


def test_only_what_is_to_be_read_is_read(tmp_path: Path) -> None:
    copies = handmade.original(tmp_path, 3).copies
    assert text.copy_to_read(Kind.COLOUR_PRINT, copies, Side.RECTO) is None
    back = text.copy_to_read(Kind.COLOUR_PRINT, copies, Side.VERSO)
    assert back is not None
    assert back.use is Use.READING


def test_without_tesseract_nothing_is_lost(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    recognised(tmp_path)
    monkeypatch.setattr(text, "tesseract_version", lambda: None)
    found = text.refresh(tmp_path, "2026.001.0002", Kind.CLIPPING, [])
    assert [each.side for each in found] == [Side.RECTO]
    text.check_language("zzz")


@needs_tesseract
def test_an_unknown_language_is_refused_with_what_to_do() -> None:
    with pytest.raises(WrongUse, match="tesseract-ocr-zzz"):
        text.check_language("eng+zzz")
    text.check_language("eng")


@needs_tesseract
def test_the_sample_clipping_is_read_and_listed(demo_folder: Path) -> None:
    """The words are those that the sample was printed from (tests/simulate/village.py)."""
    originals = listing.read(demo_folder).originals
    clippings = [original for original in originals if original.kind is Kind.CLIPPING]
    assert clippings
    for original in clippings:
        assert [found.side for found in original.texts] == [Side.RECTO]
    read = {line.text for o in clippings for each in o.texts for line in text.lines_of(demo_folder, each.file)}
    assert "Bakery oven lit again at midnight to feed the singers" in read
    assert not [o for o in originals if o.texts and o.kind is Kind.COLOUR_PRINT and o.texts[0].side is Side.RECTO]


@needs_tesseract
def test_a_page_that_fails_is_named_and_the_others_are_read(tmp_path: Path) -> None:
    good = clipping(tmp_path, LINES)
    bad = [copy.model_copy(update={"file": "copies/none.jpg"}) for copy in good.copies]
    said = text.refresh_all(
        tmp_path, [("2026.001.0099", good.kind, bad), (good.reference, good.kind, good.copies)], "eng", 2
    )
    assert len(said) == 1
    assert said[0].startswith("2026.001.0099: The text on none.jpg")
    assert text.found(tmp_path, good.reference)
    assert text.refresh_all(tmp_path, [(good.reference, good.kind, good.copies)], "eng", 1) == []
