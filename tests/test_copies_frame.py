"""``frame`` from collection to paper, read back with other libraries."""

from __future__ import annotations

import hashlib
import json
import shutil
import subprocess
from pathlib import Path

import numpy as np
import pypdf
import pytest
import tifffile
from copies_collection import STEPS, add_original, scene, write_manifest
from copies_words import rendered, unembedded_fonts

from surrogate.copies import print_pages
from surrogate.copies.frame import frame
from surrogate.copies.frame_plan import Look
from surrogate.copies.frame_report import FrameReport, summary
from surrogate.copies.sizes import parse_size
from surrogate.errors import CollectionUnusable, WrongUse
from surrogate.records import Kind
from surrogate.recovery.recipe import Recipe

POINT = 25.4 / 72

REFERENCE = "2026.001.0001"


@pytest.fixture(scope="module")
def collection(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Four originals: portrait, landscape on a scanner bed, small, and one without ppi."""
    folder = tmp_path_factory.mktemp("collection")
    bed = np.full((640, 800, 3), 240, dtype=np.uint8)
    bed[40:600, 30:750] = scene(720, 560, 2)
    originals = [
        add_original(
            folder,
            REFERENCE,
            scene(960, 1200),
            ppi=240,
            steps=STEPS,
            title="Regatta on the lake",
            caption="Ingrid and her two brothers at the jetty.",
            date="1954",
            people=["Ingrid Lindqvist"],
        ),
        add_original(
            folder,
            "2026.001.0002",
            bed,
            ppi=200,
            outline=[(30.0, 40.0), (750.0, 40.0), (750.0, 600.0), (30.0, 600.0)],
        ),
        add_original(folder, "2026.001.0003", scene(300, 400), ppi=300, title="सगाई"),
        add_original(folder, "2026.001.0004", scene(500, 600), ppi=0),
    ]
    write_manifest(folder, originals)
    return folder


def placed(pdf: Path, page: int) -> tuple[float, float]:
    """Width and height (mm) at which the first picture of a page is drawn, from its transformation matrices."""
    matrix = np.eye(3)
    stack: list[np.ndarray] = []
    content = pypdf.generic.ContentStream(pypdf.PdfReader(pdf).pages[page].get_contents(), None)
    for operands, operator in content.operations:
        if operator == b"q":
            stack.append(matrix)
        elif operator == b"Q":
            matrix = stack.pop()
        elif operator == b"cm":
            a, b, c, d, e, f = (float(value) for value in operands)
            matrix = np.array([[a, b, 0], [c, d, 0], [e, f, 1]]) @ matrix
        elif operator == b"Do":
            return float(matrix[0, 0] * POINT), float(matrix[1, 1] * POINT)
    raise AssertionError("no picture on this page")


def true_size(file: Path) -> tuple[float, float]:
    """Width and height (mm) that a TIFF states."""
    with tifffile.TiffFile(file) as tiff:
        page = tiff.pages[0]
        resolution = [above / below for above, below in (page.tags[n].value for n in ("XResolution", "YResolution"))]
        return page.imagewidth / resolution[0] * 25.4, page.imagelength / resolution[1] * 25.4


def test_the_report_has_the_keys_of_the_contract(collection: Path) -> None:
    report = frame(collection, [REFERENCE], frame="8x10in")
    assert set(json.loads(report.model_dump_json())) == {"frames"}
    (made,) = report.model_dump(mode="json")["frames"]
    assert set(made) == {
        *("reference", "side", "file", "pdf", "frame_mm", "opening_mm", "print_mm", "overlap_mm"),
        *("border_mm", "master_ppi", "print_ppi", "enlargement", "warnings"),
    }
    assert set(made["border_mm"]) == {"left", "right", "top", "bottom"}
    assert made["file"] == "copies/2026-001/2026-001-0001_r_print.tif"
    assert made["pdf"] == "prints/2026-001-0001_r_203x254.pdf"
    assert made["master_ppi"] == 240
    (copy,) = report.copies
    assert copy.sha256 == hashlib.sha256((collection / copy.file).read_bytes()).hexdigest()


@pytest.mark.parametrize(
    ("reference", "sizes"),
    [
        (REFERENCE, {"frame": "11x14in", "opening": "7.5x9.5in"}),
        (REFERENCE, {"frame": "24x30cm", "opening": "13x18cm", "fill": True}),
        ("2026.001.0002", {"frame": "8x10in"}),
        ("2026.001.0002", {"frame": "203x254mm", "paper": "letter"}),
        ("2026.001.0003", {"frame": "a5"}),
        ("2026.001.0004", {"frame": "8x10in", "ppi": 150}),
    ],
)
def test_tiff_and_page_have_the_size_that_is_reported(collection: Path, reference: str, sizes: dict[str, str]) -> None:
    (made,) = frame(collection, [reference], **sizes).frames
    for side in range(2):
        assert made.print_mm[side] == pytest.approx(made.opening_mm[side] + 2 * made.overlap_mm, abs=0.002)
    assert true_size(collection / made.file) == pytest.approx(made.print_mm, abs=0.2)
    assert placed(collection / made.pdf, 0) == pytest.approx(made.print_mm, abs=0.01)
    reader = pypdf.PdfReader(collection / made.pdf)
    paper = sorted((parse_size(sizes.get("paper", "a4")).width_mm, parse_size(sizes.get("paper", "a4")).height_mm))
    assert sorted(float(side) * POINT for side in reader.pages[0].mediabox[2:]) == pytest.approx(paper, abs=0.01)
    assert not unembedded_fonts(reader)
    image = reader.pages[0]["/Resources"]["/XObject"].values()
    (space,) = [picture.get_object()["/ColorSpace"] for picture in image]
    assert space[0] == "/ICCBased"
    assert b"acsp" in space[1].get_object().get_data()[:128]
    words = reader.pages[1].extract_text()
    assert reference in words
    assert "Framing sheet" in words


def test_the_page_shows_what_the_tiff_holds(collection: Path) -> None:
    (made,) = frame(collection, [REFERENCE], frame="11x14in", opening="7.5x9.5in").frames
    page = rendered((collection / made.pdf).read_bytes(), 0, 120).astype(float)
    tiff = tifffile.imread(collection / made.file)
    assert tiff.shape == (1200, 960, 3)
    width, height = (8 * 120), (10 * 120)
    top, left = (page.shape[0] - height) // 2, (page.shape[1] - width) // 2
    grey = tiff @ [0.299, 0.587, 0.114]
    # means of 8 x 8 px, 1.7 mm: half a pixel of the page's own grid does not matter
    blocks = [image.reshape(150, 8, 120, 8).mean(axis=(1, 3)) for image in (page[top:, left:][:height, :width], grey)]
    assert abs(blocks[0] - blocks[1])[1:-1, 1:-1].max() < 6
    assert abs(blocks[0] - blocks[1])[1:-1, 1:-1].mean() < 1.5
    assert page[: top - 30].min() > 250


def test_nothing_is_cropped_unless_filled(collection: Path) -> None:
    (plain,) = frame(collection, ["2026.001.0002"], frame="8x10in", opening="5x7in").frames
    whole = tifffile.imread(collection / plain.file)
    blank = (whole == 255).all(axis=(0, 2))
    assert whole.shape[0] / whole[:, ~blank].shape[1] == pytest.approx(560 / 720, abs=0.003)
    (filled,) = frame(collection, ["2026.001.0002"], frame="8x10in", opening="5x7in", fill=True).frames
    assert not (tifffile.imread(collection / filled.file) == 255).all(axis=(0, 2)).any()
    assert any("cuts" in warning for warning in filled.warnings)


def test_a_print_as_found_lies_beside_the_recovered_one(collection: Path) -> None:
    (recovered,) = frame(collection, [REFERENCE], frame="11x14in", opening="7.5x9.5in").frames
    (found,) = frame(collection, [REFERENCE], frame="11x14in", opening="7.5x9.5in", as_found=True).frames
    assert found.file == "copies/2026-001/2026-001-0001_r_print_found.tif"
    assert len(Path(found.file).name) <= 32
    assert found.pdf != recovered.pdf
    pixels = tifffile.imread(collection / found.file).astype(int)
    # only the sharpening for paper tells it from the scan
    assert abs(pixels - tifffile.imread(collection / "masters/2026-001/2026-001-0001_r.tif")).mean() < 2
    assert abs(pixels - tifffile.imread(collection / recovered.file)).mean() > 4
    recipe = Recipe.model_validate_json((collection / "recipes/2026-001/2026-001-0001_r_print_found.json").read_bytes())
    assert recipe.steps == []
    assert "as found" in recipe.words[0]
    assert "as found" in pypdf.PdfReader(collection / found.pdf).pages[1].extract_text()


def test_a_negative_is_printed_as_a_positive_even_as_found(collection: Path, tmp_path: Path) -> None:
    write_manifest(tmp_path, [add_original(tmp_path, REFERENCE, scene(300, 400), steps=STEPS, kind=Kind.NEGATIVE)])
    (made,) = frame(tmp_path, [REFERENCE], frame="5x7in", as_found=True).frames
    assert made.file.endswith("_r_print.tif")
    recipe = Recipe.model_validate_json((tmp_path / "recipes/2026-001/2026-001-0001_r_print.json").read_bytes())
    assert recipe.steps == STEPS


def test_a_large_print_is_tiled_without_gaps(collection: Path) -> None:
    (made,) = frame(collection, [REFERENCE], frame="24x36in").frames
    reader = pypdf.PdfReader(collection / made.pdf)
    sheet, tiles = print_pages.tiles(made.print_mm, parse_size("a4"))
    assert len(reader.pages) == 2 + len(tiles)
    assert placed(collection / made.pdf, 0) == pytest.approx(made.print_mm, abs=0.01)
    for number in range(len(tiles)):
        page = reader.pages[2 + number]
        assert [float(side) * POINT for side in page.mediabox[2:]] == pytest.approx(sheet, abs=0.01)
        assert placed(collection / made.pdf, 2 + number) == pytest.approx(made.print_mm, abs=0.01)
    covered = np.zeros((round(made.print_mm[1]), round(made.print_mm[0])), dtype=int)
    for tile in tiles:
        assert tile.width <= sheet[0] - 20 + 1e-6
        assert tile.height <= sheet[1] - 20 + 1e-6
        rows = slice(round(tile.top), round(tile.top + tile.height))
        covered[rows, round(tile.left) : round(tile.left + tile.width)] += 1
    assert covered.min() >= 1
    assert made.print_ppi < 180
    assert "pixels per inch" in made.warnings[0]
    # the picture is stored once, however often it is shown
    assert (collection / made.pdf).stat().st_size < 3 * (collection / made.file).stat().st_size


def test_two_runs_give_the_same_bytes_and_masters_stay(collection: Path) -> None:
    def bytes_of(report: FrameReport) -> list[bytes]:
        return [(collection / name).read_bytes() for made in report.frames for name in (made.file, made.pdf)]

    masters = {path: path.read_bytes() for path in (collection / "masters").rglob("*.tif")}
    references = [REFERENCE, "2026.001.0002"]
    first = bytes_of(frame(collection, references, frame="8x10in", look=Look(bottom_weight=0.1, shape="oval")))
    second = bytes_of(frame(collection, references, frame="8x10in", look=Look(bottom_weight=0.1, shape="oval")))
    assert first == second
    assert all(path.read_bytes() == content for path, content in masters.items())
    assert not [path for path in collection.rglob("*") if "unfinished" in path.name]


@pytest.mark.skipif(shutil.which("exiftool") is None, reason="needs ExifTool")
def test_the_print_carries_its_words(collection: Path) -> None:
    (made,) = frame(collection, [REFERENCE], frame="8x10in").frames
    out = subprocess.run(
        ["exiftool", "-json", "-XMP-dc:all", "-DigitalSourceType", "-PersonInImage", str(collection / made.file)],
        check=True,
        capture_output=True,
    )
    (found,) = json.loads(out.stdout)
    assert found["Identifier"] == REFERENCE
    assert found["Title"] == "Regatta on the lake"
    assert found["PersonInImage"] == "Ingrid Lindqvist"
    assert found["DigitalSourceType"].endswith("algorithmicallyEnhanced")
    assert "2026-001-0001_r.tif" in found["Source"]


def test_what_is_wrong_is_said_before_anything_is_written(collection: Path, tmp_path: Path) -> None:
    before = sorted(path for path in collection.rglob("*"))
    with pytest.raises(WrongUse, match="frame 'huge'"):
        frame(collection, [REFERENCE], frame="huge")
    with pytest.raises(WrongUse, match="fall through"):
        frame(collection, [REFERENCE, "2026.001.0002"], frame="8x10in", opening="8x10in")
    with pytest.raises(WrongUse, match="Not in this collection"):
        frame(collection, [REFERENCE, "2031.1.1"], frame="8x10in")
    with pytest.raises(CollectionUnusable, match="surrogate process"):
        frame(tmp_path, [REFERENCE], frame="8x10in")
    assert sorted(path for path in collection.rglob("*")) == before


def test_a_missing_master_is_one_clear_line(collection: Path, tmp_path: Path) -> None:
    copy = tmp_path / "copy"
    shutil.copytree(collection, copy)
    (copy / "masters/2026-001/2026-001-0003_r.tif").unlink()
    with pytest.raises(CollectionUnusable, match=r"2026-001-0003_r\.tif"):
        frame(copy, ["2026.001.0003"], frame="8x10in")


def test_a_wall_of_prints_is_summed_up(collection: Path) -> None:
    report = frame(collection, [REFERENCE, "2026.001.0003"], frame="5x7in")
    lines = summary(report)
    table = [line for line in lines[: lines.index("")] if not line.startswith(" ")]
    assert [line.split()[0] for line in table] == ["Number", REFERENCE, "2026.001.0003"]
    assert "prints/2026-001-0001_r_127x178.pdf" in table[1]
    assert lines[-1].startswith("1 frame of ") or lines[-1].startswith("2 frames of ")
