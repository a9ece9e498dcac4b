"""Labels, lists and sheets, looked at with other libraries than their writer."""

from __future__ import annotations

import random
from pathlib import Path

import cv2
import numpy as np
import pypdf
import pytest
import zxingcpp
from copies_collection import STEPS, add_original, an_original, scene, write_manifest
from copies_words import WORDS, a_title, rendered, unembedded_fonts
from PIL import Image

from surrogate.copies import box_lists, contact_sheet, label_sheets, labels, proof_sheet
from surrogate.copies.collection_reading import Shown, numbers_asked
from surrogate.copies.sizes import parse_size
from surrogate.errors import CollectionUnusable, WrongUse
from surrogate.intake.returned import numbers_on
from surrogate.records import Kind, Location, Original
from surrogate.sheets import qr

PPI = 200


def some_originals(count: int) -> list[Original]:
    numbers = random.Random(3)
    scripts = list(WORDS)
    return [
        an_original(
            f"2026.001.{number:04}",
            title=a_title(numbers, scripts[number % len(scripts)], number % 25),
            caption=a_title(numbers, "Latin", number % 40),
            date=("1954", "1931~", "194X", "")[number % 4],
            location=Location(box=str(number // 20 + 1), folder=str(number // 5), enclosure="polyester sleeve"),
        )
        for number in range(1, count + 1)
    ]


def codes(image: np.ndarray) -> list[str]:
    return sorted(code.text for code in zxingcpp.read_barcodes(image))


@pytest.mark.parametrize(("sheet", "paper", "width", "height"), [("3x8", "a4", 70, 37), ("2x5", "letter", 101.6, 50.8)])
def test_label_sheets_in_common_use(sheet: str, paper: str, width: float, height: float) -> None:
    # common practice, no source
    layout = label_sheets.label_sheet(sheet, parse_size(paper))
    assert (layout.width, layout.height) == (width, height)
    places = list(layout.places())
    assert len(places) == layout.columns * layout.rows
    assert places[-1][0] + layout.width == pytest.approx(layout.paper[0] - places[0][0])
    assert places[-1][1] + layout.height == pytest.approx(layout.paper[1] - places[0][1])


def test_any_other_division_fills_the_paper() -> None:
    layout = label_sheets.label_sheet("4x10", parse_size("a4"))
    assert (layout.width, layout.height) == pytest.approx((52.5, 29.7))


@pytest.mark.parametrize("name", ["3", "0x8", "axb", "30x40", "3x8x2"])
def test_sheets_that_cannot_be_are_refused(name: str) -> None:
    with pytest.raises(WrongUse):
        label_sheets.label_sheet(name, parse_size("a4"))


@pytest.mark.parametrize(("sheet", "paper"), [("3x8", "a4"), ("5x13", "a4"), ("2x4", "a4"), ("3x10", "letter")])
def test_every_label_holds_its_number_and_nothing_runs_over(sheet: str, paper: str) -> None:
    layout = label_sheets.label_sheet(sheet, parse_size(paper))
    originals = some_originals(layout.columns * layout.rows)
    pdf = labels.labels_pdf([Shown(each) for each in originals], layout)
    reader = pypdf.PdfReader(__import__("io").BytesIO(pdf))
    assert len(reader.pages) == 1
    assert [float(side) for side in reader.pages[0].mediabox[2:]] == pytest.approx(
        [side / 25.4 * 72 for side in layout.paper], abs=0.01
    )
    assert not unembedded_fonts(reader)
    image = rendered(pdf, 0, PPI)
    scale = PPI / 25.4
    for (x, y), original in zip(layout.places(), originals, strict=True):
        label = image[round(y * scale) : round((y + layout.height) * scale), round(x * scale) :]
        label = label[:, : round(layout.width * scale)]
        assert codes(label) == [original.reference]
        edge = round(1.0 * scale)
        inner = label[edge:-edge, edge:-edge]
        assert (label < 200).sum() == (inner < 200).sum()
    text = reader.pages[0].extract_text()
    assert all(original.reference in text.replace("\n", "") for original in originals)


def test_the_code_holds_the_reference_and_nothing_else() -> None:
    for reference in ("2026.001.0001", "1943/17-b", "Schublade 7.12", "A" * 32):
        rows = np.kron(
            np.pad(~np.array(qr.modules(reference)), qr.QUIET_MODULES, constant_values=True), np.ones((6, 6))
        )
        image = (255 * rows).astype(np.uint8)
        assert codes(image) == [reference]
        assert cv2.QRCodeDetector().detectAndDecode(image)[0] == reference


def test_long_numbers_break_at_their_separators() -> None:
    size, lines = labels.number_lines("DRAWER-17/1943.0002.0000123-extra", 90, 40)
    assert "".join(lines) == "DRAWER-17/1943.0002.0000123-extra"
    assert all(line[-1] in "./-" for line in lines[:-1])
    assert size >= 6


def test_place_words() -> None:
    assert labels.place_words(Location(box="3", folder="2", enclosure="sleeve")) == "box 3, folder 2, sleeve"
    assert labels.place_words(Location(box="Box 3")) == "Box 3"
    assert labels.place_words(Location()) == ""


def test_the_command_writes_labels_and_the_page_to_try_first(tmp_path: Path) -> None:
    write_manifest(tmp_path, some_originals(30))
    path = labels.labels(tmp_path, [])
    assert path == tmp_path / "labels.pdf"
    assert len(pypdf.PdfReader(path).pages) == 2
    first = path.read_bytes()
    labels.labels(tmp_path, [])
    assert path.read_bytes() == first
    words = pypdf.PdfReader(tmp_path / "labels_alignment.pdf").pages[0].extract_text()
    assert "soft pencil" in words
    assert "Never ballpoint" in words
    labels.labels(tmp_path, ["2026.001.0007", " 2026.001.0003"], skip=23)
    pages = [codes(rendered(path.read_bytes(), page, PPI)) for page in range(2)]
    assert pages == [["2026.001.0007"], ["2026.001.0003"]]


def test_what_cannot_be_labelled_is_said(tmp_path: Path) -> None:
    with pytest.raises(CollectionUnusable, match="surrogate process"):
        labels.labels(tmp_path, [])
    write_manifest(tmp_path, [])
    with pytest.raises(WrongUse, match="nothing to label"):
        labels.labels(tmp_path, [])
    write_manifest(tmp_path, some_originals(2))
    with pytest.raises(WrongUse, match=r"2026\.001\.0099"):
        labels.labels(tmp_path, ["2026.001.0099"])
    (tmp_path / "manifest.json").write_text("{", encoding="utf-8")
    with pytest.raises(CollectionUnusable, match="cannot be read"):
        labels.labels(tmp_path, [])


def test_box_lists_and_folder_tabs(tmp_path: Path) -> None:
    originals = [*some_originals(60), an_original("2026.001.0100", location=Location(box="10"))]
    write_manifest(tmp_path, originals)
    lists = pypdf.PdfReader(box_lists.box_lists(tmp_path))
    heads = [page.extract_text() for page in lists.pages]
    boxes = [next(line for line in text.splitlines() if line.startswith("Box ")) for text in heads]
    assert boxes == ["Box 1", "Box 2", "Box 3", "Box 4", "Box 10"]
    assert all(sum(original.reference in text for text in heads) >= 1 for original in originals)
    tabs = pypdf.PdfReader(box_lists.folder_tabs(tmp_path)).pages[0].extract_text()
    assert "Box 1 · Folder 2" in tabs
    write_manifest(tmp_path, [an_original("2026.001.0001")])
    with pytest.raises(WrongUse, match="column 'box'"):
        box_lists.box_lists(tmp_path)


def test_a_scanned_contact_sheet_finds_its_originals(tmp_path: Path) -> None:
    originals = [
        add_original(tmp_path, f"2026.001.{number:04}", scene(300, 200 + 40 * (number % 3), number), box="7")
        for number in range(1, 9)
    ]
    write_manifest(tmp_path, [*originals, an_original("2026.001.0050", title="Not scanned yet")])
    pdf = contact_sheet.contact_sheet(tmp_path, numbers_asked(tmp_path, [], "7")).read_bytes()
    assert not unembedded_fonts(pypdf.PdfReader(tmp_path / "contact_sheet.pdf"))
    first = rendered(pdf, 0, 150)
    tilted = Image.fromarray(first).rotate(2, fillcolor=255, resample=Image.Resampling.BICUBIC)
    for scan in (first, np.asarray(tilted), np.ascontiguousarray(np.rot90(first, 2))):
        assert numbers_on(scan) == tuple(original.reference for original in originals[:6])
    assert numbers_on(rendered(pdf, 1, 150)) == tuple(original.reference for original in originals[6:])
    assert numbers_on(np.full((200, 300), 255, np.uint8)) == ()
    with pytest.raises(WrongUse, match="box 8"):
        numbers_asked(tmp_path, [], "8")
    whole = contact_sheet.contact_sheet(tmp_path)
    assert len(pypdf.PdfReader(whole).pages) == 2


def test_proofs_show_before_and_after(tmp_path: Path) -> None:
    originals = [
        add_original(tmp_path, "2026.001.0001", scene(300, 200), steps=STEPS, title="Regatta"),
        add_original(tmp_path, "2026.001.0002", scene(200, 200, 3)),
        add_original(tmp_path, "2026.001.0003", scene(200, 300, 4), steps=STEPS, kind=Kind.NEGATIVE),
    ]
    write_manifest(tmp_path, originals)
    page = pypdf.PdfReader(proof_sheet.proof_sheet(tmp_path, [])).pages[0]
    assert len(page["/Resources"]["/XObject"]) == 6
    for words in ("print it as found", "print it recovered", "nothing had to be recovered", "the negative"):
        assert words in page.extract_text()


def test_a_part_of_a_page_has_its_own_label(tmp_path: Path) -> None:
    page = add_original(tmp_path, "2026.001.0001", scene(300, 200), title="Page 12")
    part = page.copies[0].model_copy(update={"part": 2})
    write_manifest(tmp_path, [page.model_copy(update={"copies": [*page.copies, part]})])
    path = labels.labels(tmp_path, ["2026.001.0001-p2", "2026.001.0001-P2", "2026.001.0001"])
    words = pypdf.PdfReader(path).pages[0].extract_text()
    assert words.count("2026.001.0001-p2") == 1
    assert codes(rendered(path.read_bytes(), 0, 200)) == ["2026.001.0001"] * 2
    with pytest.raises(WrongUse, match="has parts 2 to 2"):
        labels.labels(tmp_path, ["2026.001.0001-p3"])
