"""What is decided at the desk is seen at once, written where `process` reads it, and carried out by the next run."""

from __future__ import annotations

import csv
import io
import json
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from desk_collection import Client
from PIL import Image, ImageOps

from surrogate.collection.catalogue import open_catalogue
from surrogate.processing import process
from surrogate.records import Side

SAMPLES = Path(__file__).parent.parent / "sample_scans"
NAME, REFERENCE = "2026-001-0001", "2026.001.0001"
COPY = f"copies/2026-001/{NAME}_r_viewing.jpg"


@pytest.fixture(scope="module")
def taken_in(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """The scans of one print, front and back, and the collection made of them."""
    folder = tmp_path_factory.mktemp("deciding")
    scans = folder / "scans"
    scans.mkdir()
    for file in SAMPLES.glob("market stall*"):
        shutil.copy(file, scans)
    collection = folder / "collection"
    process([scans], collection, workers=1)
    return scans, collection


@pytest.fixture
def scans(taken_in: tuple[Path, Path]) -> Path:
    return taken_in[0]


@pytest.fixture
def folder(taken_in: tuple[Path, Path], tmp_path: Path) -> Path:
    return Path(shutil.copytree(taken_in[1], tmp_path / "collection"))


@pytest.fixture
def client(folder: Path) -> Iterator[Client]:
    client = Client(folder).enter()
    yield client
    client.app.state.late.close()


def seen(data: bytes) -> np.ndarray:
    return np.asarray(Image.open(io.BytesIO(data)).convert("RGB"), dtype=np.float32)


def copied(folder: Path, size: tuple[int, int]) -> np.ndarray:
    with Image.open(folder / COPY) as image:
        return np.asarray(image.convert("RGB").resize(size, Image.Resampling.BOX), dtype=np.float32)


def test_the_preview_is_what_process_then_makes(folder: Path, scans: Path, client: Client) -> None:
    as_it_is = seen(client.get(f"/preview/{NAME}/recto").content)
    gentle = seen(client.get(f"/preview/{NAME}/recto", params={"strength": "gentle", "tone": ""}).content)
    left_alone = seen(client.get(f"/preview/{NAME}/recto", params={"strength": "none"}).content)
    assert np.abs(gentle - as_it_is).mean() > 2
    assert np.abs(left_alone - seen(client.get(f"/found/{NAME}/recto").content)).mean() < 2
    height, width = gentle.shape[:2]
    assert np.abs(as_it_is - copied(folder, (width, height))).mean() < 2  # of 255: reduced twice, JPEG twice
    client.save(REFERENCE, strength="gentle", before_strength="")
    page = client.get(f"/original/{NAME}").text
    assert f'src="/preview/{NAME}/recto?v=' in page  # the copy is behind, so the page shows what will come
    assert np.abs(seen(client.get(f"/preview/{NAME}/recto").content) - gentle).max() == 0
    process([scans], folder, workers=1)
    assert np.abs(gentle - copied(folder, (width, height))).mean() < 2
    assert f'src="/picture/{NAME}/recto/viewing"' in client.get(f"/original/{NAME}").text


def test_the_preview_of_a_picture_on_a_page_is_what_process_then_makes(tmp_path: Path) -> None:
    scans, folder = tmp_path / "scans", tmp_path / "collection"
    scans.mkdir()
    with Image.open(SAMPLES / "album p12.jpg") as page:
        page.resize((page.width // 2, page.height // 2)).save(scans / "page.jpg", dpi=(150, 150))
    process([scans], folder, workers=1)
    client = Client(folder).enter()
    page_of = client.get(f"/original/{NAME}").text
    copies = sorted((folder / "copies").rglob("*_p?_viewing.jpg"))
    assert len(copies) > 1
    for number, copy in enumerate(copies, start=1):
        assert f"/picture/{NAME}/recto/viewing?part={number}" in page_of
        shown = client.get(f"/preview/{NAME}/recto?part={number}&strength=strong&tone=neutral").content
        with Image.open(copy) as before:
            assert np.abs(seen(shown) - seen_at(before, seen(shown).shape)).mean() > 2
    client.save(REFERENCE, strength="strong", before_strength="", tone="neutral", before_tone="")
    assert "/preview/" in client.get(f"/original/{NAME}").text
    process([scans], folder, workers=1)
    for number, copy in enumerate(copies, start=1):
        shown = seen(client.get(f"/preview/{NAME}/recto?part={number}").content)
        with Image.open(copy) as made:
            assert np.abs(shown - seen_at(made, shown.shape)).mean() < 2
    assert client.get(f"/preview/{NAME}/recto?part=77").status_code == 404
    assert client.get(f"/preview/{NAME}/recto?part=x").status_code == 404
    client.app.state.late.close()


def seen_at(image: Image.Image, shape: tuple[int, ...]) -> np.ndarray:
    return np.asarray(image.convert("RGB").resize((shape[1], shape[0])), dtype=np.float32)


def test_a_turn_and_an_outline_are_carried_out_and_faces_stay_on_the_face(
    folder: Path, scans: Path, client: Client
) -> None:
    client.save(REFERENCE, people="Ada Quill; ?", before_people="")
    client.save(REFERENCE, faces="Ada Quill @ 0.3 0.4 0.05; ? @ 0.7 0.4 0.05", before_faces="")
    assert client.post(f"/original/{NAME}/turn", side="recto", by="right").status_code == 303
    upright = seen(client.get(f"/scan/{NAME}/recto").content)
    with Image.open(next((folder / "masters/2026-001").glob(f"{NAME}_r.[jt]*"))) as master:
        scan = ImageOps.exif_transpose(master).convert("RGB")
    turned = np.asarray(scan.rotate(-90, expand=True).resize(upright.shape[1::-1], Image.Resampling.BOX), np.float32)
    assert np.abs(upright - turned).mean() < 3
    drawn = [(100.0, 60.0), (700.0, 70.0), (690.0, 900.0), (90.0, 890.0)]
    fields = {
        f"p1{axis}{corner}": str(value)
        for corner, xy in enumerate(drawn, 1)
        for axis, value in zip("xy", xy, strict=True)
    }
    assert client.post(f"/original/{NAME}/outline/recto", **fields).status_code == 303
    with (folder / "outlines.csv").open(encoding="utf-8-sig") as lines:
        row = next(each for each in csv.DictReader(lines) if (each["reference"], each["side"]) == (REFERENCE, "recto"))
    assert (row["x1"], row["y3"], row["confidence"]) == ("100.0", "900.0", "")
    report = process([scans], folder, workers=1)
    assert report.updated
    recipe = json.loads((folder / f"recipes/2026-001/{NAME}_r_viewing.json").read_text())
    assert recipe["turn"] == 90
    assert [tuple(corner) for corner in recipe["outline"]] == drawn
    with Image.open(folder / COPY) as copy:
        assert copy.width / copy.height == pytest.approx(600 / 830, abs=0.01)
    # The regions in the copy, read by ExifTool, lie where the face now is: scan (x, y) -> turned (1 - y, x) -> outline.
    answer = subprocess.run(
        ["exiftool", "-json", "-struct", "-XMP-iptcExt:ImageRegion", str(folder / COPY)],
        check=True,
        capture_output=True,
    )
    regions = json.loads(answer.stdout)[0]["ImageRegion"]
    assert [region.get("Name") for region in regions] == ["Ada Quill", None][: len(regions)]
    page = client.get(f"/original/{NAME}").text
    boundary = regions[0]["RegionBoundary"]
    assert f'data-name="Ada Quill" data-x="{boundary["RbX"]}" data-y="{boundary["RbY"]}"' in page


@pytest.mark.parametrize(
    "corners",
    [
        {},
        {"p1x1": "1"},
        dict(zip(("p1x1", "p1y1", "p1x2", "p1y2", "p1x3", "p1y3", "p1x4", "p1y4"), "12341234", strict=True)),
        dict.fromkeys(("p1x1", "p1y1", "p1x2", "p1y2", "p1x3", "p1y3", "p1x4", "p1y4"), "nan"),
        dict.fromkeys(("p1x1", "p1y1", "p1x2", "p1y2", "p1x3", "p1y3", "p1x4", "p1y4"), "1e9"),
    ],
)
def test_four_corners_that_are_no_outline_are_refused(folder: Path, client: Client, corners: dict[str, str]) -> None:
    with open_catalogue(folder) as catalogue:
        before = catalogue.outlines(REFERENCE, Side.RECTO)
    assert client.post(f"/original/{NAME}/outline/recto", **corners).status_code == 400
    with open_catalogue(folder) as catalogue:
        assert catalogue.outlines(REFERENCE, Side.RECTO) == before


def test_what_a_person_wrote_in_the_outlines_file_is_not_lost(folder: Path, client: Client) -> None:
    columns = "reference,side,file,part,x1,y1,x2,y2,x3,y3,x4,y4,confidence,note"
    (folder / "outlines.csv").write_text(f"{columns}\n{REFERENCE},verso,,1,5,5,400,5,400,300,5,300,,mine\n")
    assert client.post(f"/original/{NAME}/outline/recto", whole="1").status_code == 303
    kept = (folder / "outlines.csv").read_text(encoding="utf-8-sig")
    assert f"{REFERENCE},verso,,1,5.0,5.0,400.0,5.0" in kept
    assert f"{REFERENCE},recto,,0," in kept


def test_tiles_are_the_masters_own_pixels_and_never_the_whole(folder: Path, client: Client) -> None:
    page = client.get(f"/original/{NAME}/closer").text
    assert f'data-tiles="/tile/{NAME}/recto"' in page
    with Image.open(next((folder / "masters/2026-001").glob(f"{NAME}_r.[jt]*"))) as master:
        scan = np.asarray(ImageOps.exif_transpose(master).convert("RGB"), dtype=np.float32)
    height, width = scan.shape[:2]
    tile = seen(client.get(f"/tile/{NAME}/recto/0/1/0").content)
    assert tile.shape[:2] == (min(512, height), min(512, width - 512))
    assert np.abs(tile - scan[: tile.shape[0], 512 : 512 + tile.shape[1]]).mean() < 3  # JPEG twice
    whole = seen(client.get(f"/tile/{NAME}/recto/1/0/0").content)
    assert whole.shape[:2] == (height // 2, width // 2)
    for address in ("0/9/0", "9/0/0", "0/-1/0"):
        assert client.get(f"/tile/{NAME}/recto/{address}").status_code == 404


def test_a_master_that_is_gone_is_a_sentence(folder: Path, client: Client) -> None:
    shutil.rmtree(folder / "masters")
    for address in ("tile/{}/recto/0/0/0", "preview/{}/recto", "found/{}/recto"):
        answer = client.get("/" + address.format(NAME))
        assert answer.status_code == 503
        assert "Traceback" not in answer.text
