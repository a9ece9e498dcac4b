"""Files with several pages, by the rule in the settings; pages of text that lie on their side."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import numpy as np
import pytest
import tifffile
from PIL import Image
from simulate import scenes
from simulate.tone import to_codes8

from surrogate.cli import main

PICTURES = [np.asarray(Image.linear_gradient("L").resize((160, 120)).rotate(90 * turn)) for turn in range(3)]


def process(scans: Path, collection: Path, *more: object) -> int:
    return main(["process", str(scans), "--collection", str(collection), "--workers", "1", *map(str, more)])


def original(collection: Path) -> dict:
    (only,) = json.loads((collection / "manifest.json").read_text(encoding="utf-8"))["originals"]
    return only


@pytest.fixture
def paged(tmp_path: Path) -> Path:
    scans = tmp_path / "scans"
    scans.mkdir()
    with tifffile.TiffWriter(scans / "booklet.tif") as file:
        for pixels in PICTURES:
            file.write(pixels[::4, ::4], subfiletype=1)  # a preview before each page is no page
            file.write(pixels)
    return scans


def test_only_the_first_page_is_copied_and_that_is_said(
    paged: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert process(paged, tmp_path / "c") == 0
    assert {copy["part"] for copy in original(tmp_path / "c")["copies"]} == {None}
    assert "The file holds 3 pages; only the first was copied." in (tmp_path / "c" / "report.html").read_text("utf-8")


def test_each_page_is_a_part_where_the_settings_ask(
    paged: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    collection = tmp_path / "c"
    collection.mkdir()
    (collection / "collection.toml").write_text(
        '[collection]\nyear = 2026\n[scan]\npages = "parts"\nkind = "document"\n[copies]\nstrength = "none"\n'
    )
    assert process(paged, collection) == 0
    found = original(collection)
    assert len(found["masters"]) == 1
    views = {copy["part"]: copy for copy in found["copies"] if copy["use"] == "viewing"}
    assert set(views) == {None, 2, 3}
    for part, pixels in zip((None, 2, 3), PICTURES, strict=True):
        with Image.open(collection / views[part]["file"]) as copy:
            shown = np.asarray(copy.convert("L")).astype(float)
        assert shown.shape == pixels.shape
        assert np.abs(shown - pixels).mean() < 3
    assert main(["rebuild", str(collection)]) == 0
    assert main(["audit", str(collection)]) == 0
    # Asked for again otherwise: the copies follow.
    (collection / "collection.toml").write_text(
        '[collection]\nyear = 2026\n[scan]\npages = "first"\nkind = "document"\n'
    )
    assert process(paged, collection) == 0
    assert {copy["part"] for copy in original(collection)["copies"]} == {None}


def test_a_letter_on_its_side_is_turned_and_the_sheet_says_so(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    scans, collection = tmp_path / "scans", tmp_path / "c"
    scans.mkdir()
    upright = to_codes8(scenes.letter(np.random.default_rng(1)).light)
    Image.fromarray(np.ascontiguousarray(np.rot90(upright))).save(scans / "letter.png", dpi=(150, 150))
    assert process(scans, collection) == 0
    view = next(copy for copy in original(collection)["copies"] if copy["use"] == "viewing" and copy["part"] is None)
    assert view["height"] > view["width"]
    with (collection / "captions.csv").open(encoding="utf-8-sig", newline="") as sheet:
        rows = list(csv.DictReader(sheet))
    assert [row["turn"] for row in rows] == ["90"]
    assert "Turned clockwise by 90°" in (collection / "report.html").read_text("utf-8")
    # Nothing is made again in a second run; a person's word, that it lay right, is followed.
    capsys.readouterr()
    assert process(scans, collection, "--json") == 0
    assert json.loads(capsys.readouterr().out)["updated"] == []
    # Copies made again by another decision: why the letter was turned still holds, and is still said.
    text = (collection / "captions.csv").read_text(encoding="utf-8-sig")
    header, row = next(csv.reader([text.partition("\n")[0]])), rows[0] | {"strength": "gentle"}
    line = ",".join(row[column] for column in header)
    (collection / "captions.csv").write_text(f"{','.join(header)}\n{line}\n", encoding="utf-8")
    assert process(scans, collection) == 0
    assert (collection / "report.html").read_text("utf-8").count("Turned clockwise by 90°") == 1
    (collection / "captions.csv").write_text(text.replace(",90", ","), encoding="utf-8")
    assert process(scans, collection) == 0
    assert "Turned clockwise" not in (collection / "report.html").read_text("utf-8")
    view = next(copy for copy in original(collection)["copies"] if copy["use"] == "viewing" and copy["part"] is None)
    assert view["width"] > view["height"]
