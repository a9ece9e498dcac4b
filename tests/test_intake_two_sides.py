"""One TIFF of two pages as front and back of one original, where ``pages = "sides"`` asks for it."""

from __future__ import annotations

import csv
import hashlib
import json
import shutil
import xml.etree.ElementTree as ET
from pathlib import Path

import numpy as np
import pytest
import tifffile
from PIL import Image, ImageDraw

from surrogate import taking
from surrogate.batch import Batch
from surrogate.cli import main
from surrogate.collection.catalogue import open_catalogue
from surrogate.jobs import Taken


def page(seed: int) -> np.ndarray:
    """A page with marks of its own, so that only its own scan can be laid over it."""
    rng = np.random.default_rng(seed)
    sheet = Image.new("L", (360, 270), 210)
    draw = ImageDraw.Draw(sheet)
    for _ in range(90):
        x, y, size = rng.integers(5, 320), rng.integers(5, 230), rng.integers(14, 44)
        draw.rectangle((x, y, x + size, y + size), fill=int(rng.integers(40, 190)))
    return np.asarray(sheet)


FRONT, BACK = page(1), page(2)


def settings(collection: Path, pages: str) -> None:
    collection.mkdir(exist_ok=True)
    (collection / "collection.toml").write_text(
        f'[collection]\nyear = 2026\n[scan]\npages = "{pages}"\nkind = "silver-print"\n[copies]\nstrength = "none"\n'
        "crop = false\n"
    )


def process(scans: Path, collection: Path, *more: object) -> int:
    return main(["process", str(scans), "--collection", str(collection), "--workers", "1", *map(str, more)])


def originals(collection: Path) -> list[dict]:
    return list(json.loads((collection / "manifest.json").read_text(encoding="utf-8"))["originals"])


def shown(collection: Path, original: dict, side: str) -> np.ndarray:
    (copy,) = [each for each in original["copies"] if (each["use"], each["side"]) == ("viewing", side)]
    with Image.open(collection / copy["file"]) as picture:
        return np.asarray(picture.convert("L")).astype(float)


def leaf(path: Path, *pages: np.ndarray) -> Path:
    """Pages with a preview before each, as scanners write them."""
    path.parent.mkdir(exist_ok=True)
    with tifffile.TiffWriter(path) as file:
        for pixels in pages:
            file.write(pixels[::4, ::4], subfiletype=1)
            file.write(pixels, resolution=(150, 150), resolutionunit="INCH")
    return path


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """(scans, collection): a leaf of two pages, with words for either side."""
    folder = tmp_path_factory.mktemp("leaf")
    scans, collection = folder / "scans", folder / "c"
    leaf(scans / "pond.tif", FRONT, BACK)
    settings(collection, "sides")
    sheet = folder / "words.csv"
    sheet.write_text("file,side,title,inscription\npond.tif,verso,,Anna 1931\npond.tif,recto,A pond,\n")
    assert process(scans, collection, "--captions", sheet) == 0
    return scans, collection


@pytest.fixture
def own(made: tuple[Path, Path], tmp_path: Path) -> tuple[Path, Path]:
    """The same, to be changed."""
    return made[0], Path(shutil.copytree(made[1], tmp_path / "c"))


def test_one_file_is_one_master_and_its_pages_are_two_sides(made: tuple[Path, Path]) -> None:
    scans, collection = made
    (found,) = originals(collection)
    front, back = found["masters"]
    assert (front["side"], front["page"], back["side"], back["page"]) == ("recto", 0, "verso", 1)
    assert front["file"] == back["file"]
    files = [path for path in (collection / "masters").rglob("*") if path.suffix == ".tif"]
    assert [path.read_bytes() for path in files] == [(scans / "pond.tif").read_bytes()]
    assert front["sha256"] == back["sha256"] == hashlib.sha256(files[0].read_bytes()).hexdigest()
    assert back["scanned_as"] == "pond.tif, page 2"
    # Either copy shows its page, as tifffile and Pillow know them.
    assert np.abs(shown(collection, found, "recto") - FRONT).mean() < 3
    assert np.abs(shown(collection, found, "verso") - BACK).mean() < 3
    assert {each["side"] for each in found["condition"]} == {"recto", "verso"}
    for copy in found["copies"]:
        recipe = json.loads((collection / copy["recipe"]).read_text())
        assert recipe["page"] == (1 if copy["side"] == "verso" else 0)
    assert "Page 2 of pond.tif is its back" in (collection / "report.html").read_text("utf-8")


def test_words_go_to_the_side_they_are_about(made: tuple[Path, Path]) -> None:
    _, collection = made
    (found,) = originals(collection)
    assert (found["title"], found["inscription"]) == ("A pond", "Anna 1931")
    with (collection / "captions.csv").open(encoding="utf-8-sig", newline="") as sheet:
        rows = {row["side"]: row for row in csv.DictReader(sheet)}
    assert (rows["recto"]["file"], rows["recto"]["title"]) == ("pond.tif", "A pond")
    assert (rows["verso"]["file"], rows["verso"]["inscription"]) == ("pond.tif, page 2", "Anna 1931")
    # The sheet that the collection wrote, given with the same scan to another one, means the same.
    with open_catalogue(collection) as catalogue:
        assert [master.page for master in catalogue.masters(found["reference"])] == [0, 1]


def test_a_second_run_does_nothing_and_all_checks_pass(
    own: tuple[Path, Path], capsys: pytest.CaptureFixture[str]
) -> None:
    scans, collection = own
    before = (collection / "manifest.json").read_bytes()
    assert process(scans, collection, "--json") == 0
    report = json.loads(capsys.readouterr().out)
    assert (report["taken_in"], report["updated"], report["already_there"]) == ([], [], 1)
    assert (collection / "manifest.json").read_bytes() == before
    assert main(["audit", str(collection)]) == 0
    assert main(["rebuild", str(collection)]) == 0
    told = capsys.readouterr().out
    assert "5 copies made again, 5 byte for byte the same." in told
    listed = (collection / "checksums.sha256").read_text().splitlines()
    assert len(listed) == len(set(listed)) == len({line.partition("  ")[2] for line in listed})
    assert process(scans, collection, "--dry-run", "--json") == 0
    assert json.loads(capsys.readouterr().out)["originals"] == []


def test_the_rehearsal_says_what_the_run_does(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    leaf(tmp_path / "scans" / "pond.tif", FRONT, BACK)
    leaf(tmp_path / "scans" / "pile.tif", FRONT, BACK, FRONT)
    settings(tmp_path / "c", "sides")
    assert process(tmp_path / "scans", tmp_path / "c", "--dry-run", "--json") == 1
    plan = json.loads(capsys.readouterr().out)
    assert [(one["recto"], one["verso"]) for one in plan["originals"]] == [("pond.tif", "pond.tif, page 2")]
    assert process(tmp_path / "scans", tmp_path / "c", "--json") == 1
    report = json.loads(capsys.readouterr().out)
    assert report["taken_in"] == ["2026.001.0001 recto", "2026.001.0001 verso"]
    assert report["set_aside"] == plan["set_aside"]
    (aside,) = report["set_aside"]
    assert aside["file"] == "pile.tif"
    assert "holds 3 pages" in aside["reason"]
    assert 'pages = "parts"' in aside["advice"]


def test_a_changed_decision_on_the_back_makes_the_back_alone_again(
    own: tuple[Path, Path], capsys: pytest.CaptureFixture[str]
) -> None:
    scans, collection = own
    sheet = collection / "captions.csv"
    with sheet.open(encoding="utf-8-sig", newline="") as stream:
        rows = list(csv.DictReader(stream))
    rows[1] |= {"turn": "90"}
    with sheet.open("w", encoding="utf-8", newline="") as stream:
        table = csv.DictWriter(stream, list(rows[1]))
        table.writeheader()
        table.writerows(rows)
    assert process(scans, collection, "--json") == 0
    assert json.loads(capsys.readouterr().out)["updated"] == ["2026.001.0001 verso"]
    (found,) = originals(collection)
    assert np.abs(shown(collection, found, "verso") - np.rot90(BACK, -1)).mean() < 3
    assert np.abs(shown(collection, found, "recto") - FRONT).mean() < 3
    assert main(["rebuild", str(collection)]) == 0


def test_the_rule_may_come_later_and_go_again(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    scans, collection = tmp_path / "scans", tmp_path / "c"
    leaf(scans / "pond.tif", FRONT, BACK)
    settings(collection, "first")
    assert process(scans, collection) == 0
    assert [master["side"] for master in originals(collection)[0]["masters"]] == ["recto"]
    settings(collection, "sides")
    assert process(scans, collection) == 0
    (found,) = originals(collection)
    assert [(master["side"], master["page"]) for master in found["masters"]] == [("recto", 0), ("verso", 1)]
    assert np.abs(shown(collection, found, "verso") - BACK).mean() < 3
    # What is a side stays one: nothing that people wrote about it is lost.
    settings(collection, "parts")
    assert process(scans, collection) == 0
    (found,) = originals(collection)
    assert len(found["masters"]) == 2
    assert {copy["part"] for copy in found["copies"]} == {None}
    assert main(["audit", str(collection)]) == 0


def test_a_back_from_another_file_counts_no_less(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The number has its back already when the file with two pages comes: its second page is left out, and said so."""
    scans, collection = tmp_path / "scans", tmp_path / "c"
    leaf(scans / "pond_verso.tif", BACK)
    settings(collection, "sides")
    assert process(scans, collection) == 0
    leaf(scans / "pond.tif", FRONT, BACK)
    assert process(scans, collection) == 0
    (found,) = originals(collection)
    assert [(master["side"], master["page"]) for master in found["masters"]] == [("recto", 0), ("verso", 0)]
    assert "page 2, was left out" in (collection / "report.html").read_text("utf-8")


def test_it_can_be_handed_over_and_taken_over(own: tuple[Path, Path], tmp_path: Path) -> None:
    _, collection = own
    assert main(["handover", str(collection), "--to", str(tmp_path / "bag")]) == 0
    listed = (tmp_path / "bag" / "manifest-sha256.txt").read_text().splitlines()
    assert sum(line.endswith(".tif") for line in listed) == 1
    premis = ET.parse(tmp_path / "bag" / "data" / "metadata" / "premis.xml")
    space = {"p": "http://www.loc.gov/premis/v3"}
    names = [
        one.findtext("p:objectIdentifier/p:objectIdentifierValue", "", space)
        for one in premis.iterfind("p:object", space)
    ]
    assert len(names) == len(set(names))
    assert main(["handover", str(tmp_path / "again"), "--from-bag", str(tmp_path / "bag")]) == 0
    assert (tmp_path / "again" / "manifest.json").read_bytes() == (collection / "manifest.json").read_bytes()
    assert main(["audit", str(tmp_path / "again")]) == 0


def test_a_lost_catalogue_comes_back_with_both_sides(own: tuple[Path, Path]) -> None:
    scans, collection = own
    before = (collection / "manifest.json").read_bytes()
    (collection / "catalogue.sqlite").unlink()
    assert main(["rebuild", "--catalogue", str(collection)]) == 0
    assert process(scans, collection) == 0
    assert (collection / "manifest.json").read_bytes() == before


def test_the_site_shows_both_sides(own: tuple[Path, Path], tmp_path: Path) -> None:
    _, collection = own
    assert main(["publish", str(collection), "--to", str(tmp_path / "site")]) == 0
    manifests = list((tmp_path / "site" / "iiif").rglob("manifest.json"))
    canvases = json.loads(manifests[0].read_text())["items"]
    assert len(canvases) == 2


def test_the_desk_shows_the_back_closer(own: tuple[Path, Path]) -> None:
    from surrogate.previewing import Viewer

    _, collection = own
    viewer = Viewer()
    with open_catalogue(collection) as catalogue:
        masters = catalogue.masters("2026.001.0001")
    tiles = [viewer.tile(collection / one.file, one, 0, 0, 0) for one in masters]
    viewer.close()
    for tile, pixels in zip(tiles, (FRONT, BACK), strict=True):
        assert tile is not None
        file = collection / "tile.jpg"
        file.write_bytes(tile)
        with Image.open(file) as picture:
            assert np.abs(np.asarray(picture.convert("L")).astype(float) - pixels).mean() < 3


def test_a_back_is_compared_with_its_own_page(
    own: tuple[Path, Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    _, collection = own
    Image.fromarray(BACK).save(tmp_path / "now.png", dpi=(150, 150))
    capsys.readouterr()
    assert main(["compare", str(collection), "2026.001.0001", str(tmp_path / "now.png"), "--side", "verso"]) == 0
    assert capsys.readouterr().out.startswith("2026.001.0001 verso: unchanged.")
    assert [path.name for path in (collection / "condition" / "changes").iterdir()] == ["2026-001-0001_r_page2.jpg"]


def test_two_sides_of_one_file_can_be_parted_and_joined_again(own: tuple[Path, Path]) -> None:
    scans, collection = own
    (collection / "pairs.csv").write_text("front,back\n2026.001.0001,\n")
    assert process(scans, collection) == 0
    first, second = originals(collection)
    assert first["masters"][0]["file"] == second["masters"][0]["file"]
    assert second["masters"][0]["page"] == 1
    assert np.abs(shown(collection, second, "recto") - BACK).mean() < 3
    assert main(["audit", str(collection)]) == 0
    assert main(["rebuild", str(collection)]) == 0
    (collection / "pairs.csv").write_text(f"front,back\n2026.001.0001,{second['reference']}\n")
    assert process(scans, collection) == 0
    (found,) = originals(collection)
    assert [(master["side"], master["page"]) for master in found["masters"]] == [("recto", 0), ("verso", 1)]
    assert main(["audit", str(collection)]) == 0


def test_broken_off_between_front_and_back_the_next_run_finishes(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    scans, collection = tmp_path / "scans", tmp_path / "c"
    leaf(scans / "pond.tif", FRONT, BACK)
    settings(collection, "sides")
    place = taking.start_placing

    def broken_off(batch: Batch, reference: str, taken: Taken) -> taking.Placing:
        if taken.job.page:
            raise KeyboardInterrupt
        return place(batch, reference, taken)

    with monkeypatch.context() as once:
        once.setattr(taking, "start_placing", broken_off)
        assert process(scans, collection) == 2
    assert process(scans, collection) == 0
    (found,) = originals(collection)
    assert [(master["side"], master["page"]) for master in found["masters"]] == [("recto", 0), ("verso", 1)]
    assert np.abs(shown(collection, found, "verso") - BACK).mean() < 3
    assert main(["audit", str(collection)]) == 0
    assert len(list((collection / "masters").rglob("*.tif"))) == 1
