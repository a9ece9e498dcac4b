"""Prints and contact sheets through the commands: made, rebuilt, audited, described anew, and scanned back in."""

from __future__ import annotations

import csv
import json
import shutil
from pathlib import Path

import numpy as np
import pytest
import skimage.data
import tifffile
from copies_words import rendered
from PIL import Image, ImageFilter

from surrogate.auditing import audit
from surrogate.cli import main
from surrogate.printing import frame
from surrogate.processing import process
from surrogate.rebuilding import rebuild
from surrogate.records import Manifest, Original, Use

#: Two photographs that come with scikit-image, in the public domain: a cup of coffee, an astronaut (NASA).
PICTURES = {"coffee.tif": skimage.data.coffee(), "astronaut.tif": skimage.data.astronaut()}

FIRST, SECOND = "2026.001.0001", "2026.001.0002"


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A collection of two prints, only to be read."""
    folder = tmp_path_factory.mktemp("printing")
    (folder / "scans").mkdir()
    for name, pixels in PICTURES.items():
        Image.fromarray(pixels).save(folder / "scans" / name, dpi=(200, 200))
    (folder / "c").mkdir()
    (folder / "c" / "collection.toml").write_text("[collection]\nyear = 2026\n", encoding="utf-8")
    process([folder / "scans"], folder / "c", workers=1)
    return folder / "c"


@pytest.fixture
def collection(made: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(made, tmp_path / "c"))


def originals(collection: Path) -> dict[str, Original]:
    manifest = Manifest.model_validate_json((collection / "manifest.json").read_bytes())
    return {original.reference: original for original in manifest.originals}


def written(collection: Path, reference: str, column: str, text: str) -> None:
    """Fill in a cell of the caption sheet, as people do."""
    sheet = collection / "captions.csv"
    with sheet.open(encoding="utf-8-sig", newline="") as file:
        rows = list(csv.DictReader(file))
    next(row for row in rows if row["reference"] == reference)[column] = text
    with sheet.open("w", encoding="utf-8", newline="") as file:
        table = csv.DictWriter(file, rows[0].keys())
        table.writeheader()
        table.writerows(rows)


def test_prints_are_recorded_rebuilt_and_audited(collection: Path) -> None:
    report = frame(collection, [FIRST, SECOND], frame="5x7in")
    frame(collection, [SECOND], frame="5x7in", as_found=True)
    recorded = [copy.file for one in originals(collection).values() for copy in one.copies if copy.use is Use.PRINT]
    assert recorded[:2] == [made.file for made in report.frames]
    assert len(recorded) == 3
    before = (collection / recorded[0]).read_bytes()
    (collection / recorded[0]).unlink()
    tifffile.imwrite(collection / recorded[1], np.zeros((9, 9, 3), np.uint8))
    assert {finding.file for finding in audit(collection).findings} == set(recorded[:2])
    rebuilt = rebuild(collection)
    assert {copy.file for copy in rebuilt.copies} >= set(recorded)
    assert rebuilt.exit_status == 0
    assert (collection / recorded[0]).read_bytes() == before
    assert audit(collection).findings == []
    recipe = next((collection / "recipes").rglob("*_print.json"))
    recipe.write_text("{}", encoding="utf-8")
    (damaged,) = [copy for copy in rebuild(collection).copies if not copy.identical]
    assert damaged.file == recipe.relative_to(collection).as_posix()
    assert "surrogate frame" in damaged.problem


def test_new_words_reach_prints_and_they_are_still_rebuilt(collection: Path, tmp_path: Path) -> None:
    (made,) = frame(collection, [FIRST], frame="5x7in").frames
    pixels = tifffile.imread(collection / made.file)
    written(collection, FIRST, "title", "Coffee on the jetty")
    (tmp_path / "scans").mkdir()
    Image.fromarray(PICTURES["coffee.tif"]).save(tmp_path / "scans" / "coffee.tif", dpi=(200, 200))
    process([tmp_path / "scans"], collection, workers=1)
    assert b"Coffee on the jetty" in (collection / made.file).read_bytes()
    assert np.array_equal(tifffile.imread(collection / made.file), pixels)
    assert audit(collection).findings == []
    assert rebuild(collection, [FIRST]).exit_status == 0


def test_a_written_contact_sheet_comes_back_to_its_originals(
    collection: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["labels", str(collection), "--what", "contact"]) == 0
    page = Image.fromarray(rendered((collection / "contact_sheet.pdf").read_bytes(), 0, 150))
    tilted = page.rotate(2.5, fillcolor=228, resample=Image.Resampling.BICUBIC, expand=True)
    incoming = tmp_path / "incoming"
    incoming.mkdir()
    tilted.filter(ImageFilter.GaussianBlur(1.2)).save(incoming / "from aunt.png", dpi=(150, 150))
    capsys.readouterr()
    for new in (1, 0):
        assert main(["process", str(incoming), "--collection", str(collection), "--workers", "1", "--json"]) == 0
        assert len(json.loads(capsys.readouterr().out)["taken_in"]) == new
    found = originals(collection)
    sheet = found["2026.001.0003"]
    assert sheet.kind == "document"
    assert sheet.title == "Answers on a contact sheet"
    assert sheet.notes == f"Answers about {FIRST}, {SECOND}."
    assert {copy.part for copy in sheet.copies} == {None}
    for reference in (FIRST, SECOND):
        assert found[reference].notes == "Written answers: 2026.001.0003."
        assert found[reference].kind != "document"
    assert rebuild(collection).exit_status == 0


def test_notes_of_people_stay_beside_the_link(collection: Path, tmp_path: Path) -> None:
    written(collection, FIRST, "notes", "ask Ines")
    assert main(["labels", str(collection), FIRST, "2031.001.0009", "--what", "contact"]) == 2
    assert main(["labels", str(collection), FIRST, "--what", "contact"]) == 0
    (tmp_path / "in").mkdir()
    page = rendered((collection / "contact_sheet.pdf").read_bytes(), 0, 150)
    Image.fromarray(np.rot90(page, 2)).save(tmp_path / "in" / "sheet.png", dpi=(150, 150))
    process([tmp_path / "in"], collection, workers=1)
    assert originals(collection)[FIRST].notes == "ask Ines Written answers: 2026.001.0003."
