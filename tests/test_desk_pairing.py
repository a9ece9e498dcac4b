"""Front and back put together or parted at the desk: masters keep name and bytes, and every command agrees."""

from __future__ import annotations

import csv
import json
import shutil
import sqlite3
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest
from desk_collection import Client
from PIL import Image

from surrogate.auditing import audit
from surrogate.collection.files import sha256_of
from surrogate.condition.change import compare
from surrogate.errors import WrongUse
from surrogate.printing import frame
from surrogate.processing import process
from surrogate.rebuilding import rebuild
from surrogate.reviving import revive

SAMPLES = Path(__file__).parent.parent / "sample_scans"
FRONT, BACK = "2026.001.0001", "2026.001.0002"
FRONT_NAME, BACK_NAME = "2026-001-0001", "2026-001-0002"


def smaller(scan: Path, to: Path) -> None:
    with Image.open(scan) as image:
        image.resize((image.width // 4, image.height // 4)).save(to, dpi=(75, 75))


@pytest.fixture(scope="module")
def taken_in(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A front and its back that were taken for two originals, since nothing in their names says what they are."""
    folder = tmp_path_factory.mktemp("pairing")
    scans = folder / "scans"
    scans.mkdir()
    front, back = sorted(SAMPLES.glob("market stall*"))
    smaller(front, scans / "anna.jpg")
    smaller(back, scans / "zita.jpg")
    collection = folder / "collection"
    process([scans], collection, workers=1, kind="silver-print")
    return collection


@pytest.fixture
def folder(taken_in: Path, tmp_path: Path) -> Path:
    shutil.copytree(taken_in.parent / "scans", tmp_path / "scans")
    return Path(shutil.copytree(taken_in, tmp_path / "collection"))


@pytest.fixture
def client(folder: Path) -> Iterator[Client]:
    client = Client(folder).enter()
    yield client
    client.app.state.late.close()


def original(folder: Path, reference: str) -> dict:
    manifest = json.loads((folder / "manifest.json").read_text())
    return next((each for each in manifest["originals"] if each["reference"] == reference), {})


def masters(folder: Path) -> dict[str, str]:
    files = (path for path in (folder / "masters").rglob("*") if path.is_file() and path.suffix != ".xmp")
    return {path.name: sha256_of(path) for path in files}


def again(folder: Path) -> list[str]:
    return process([folder.parent / "scans"], folder, workers=1).notes


def join(client: Client) -> None:
    client.post(f"/original/{BACK_NAME}/pair", act="join", front=FRONT)


def test_a_back_is_put_to_its_front_and_every_command_agrees(folder: Path, client: Client) -> None:
    before = masters(folder)
    client.save(BACK, title="Words on the back", inscription="For Ada", before_title="", before_inscription="")
    client.app.state.room.index.wait(10)
    assert f'name="front" value="{FRONT}"' in client.get(f"/original/{BACK_NAME}").text
    join(client)
    assert (folder / "pairs.csv").read_text("utf-8-sig").split() == ["front,back", f"{FRONT},{BACK}"]
    assert BACK in client.get(f"/original/{FRONT_NAME}").text
    notes = again(folder)
    assert any(note.startswith(f"{BACK} is the back of {FRONT}") for note in notes)
    assert not (folder / "pairs.csv").exists()
    assert masters(folder) == before
    both = original(folder, FRONT)
    assert [(each["side"], Path(each["file"]).name) for each in both["masters"]] == [
        ("recto", f"{FRONT_NAME}_r.jpg"), ("verso", f"{BACK_NAME}_r.jpg"),
    ]  # fmt: skip
    assert both["inscription"] == "For Ada"
    assert both["earlier_numbers"] == [BACK]
    assert original(folder, BACK) == {}
    uses = {(each["side"], each["use"]) for each in both["copies"]}
    assert {("verso", "viewing"), ("verso", "reading"), ("recto", "viewing")} <= uses
    said = subprocess.run(
        ["exiftool", "-XMP-dc:Identifier", "-XMP-dc:Source", "-s3", folder / f"masters/2026-001/{BACK_NAME}_r.xmp"],
        capture_output=True, text=True, check=True,
    ).stdout  # fmt: skip
    assert FRONT in said
    assert f"{BACK_NAME}_r.jpg" in said
    with (folder / "captions.csv").open(encoding="utf-8-sig", newline="") as lines:
        assert [(row["reference"], row["side"]) for row in csv.DictReader(lines)] == [
            (FRONT, "recto"), (FRONT, "verso"),
        ]  # fmt: skip
    assert audit(folder).findings == []
    assert all(copy.identical for copy in rebuild(folder).copies)
    assert [copy for copy in rebuild(folder, [BACK]).copies if not copy.identical] == []  # the old number leads here
    assert client.get(f"/original/{BACK_NAME}").status_code == 200
    printed = frame(folder, [BACK], frame="8x10in").frames  # the front is what hangs on a wall, and that is said
    assert [(each.reference, each.side) for each in printed] == [(FRONT, "recto")]
    assert printed[0].warnings[0] == f"{BACK} is the back of {FRONT} now; this is the front."
    with pytest.raises(WrongUse, match=r"is the back of .* now: give the number .* and --side verso"):
        compare(folder, BACK, folder / both["masters"][1]["file"])
    assert again(folder) == again(folder)
    assert masters(folder) == before


def test_the_catalogue_comes_back_with_the_pair(folder: Path, client: Client) -> None:
    join(client)
    again(folder)
    with sqlite3.connect(folder / "catalogue.sqlite") as db:
        tables = ("numbers", "originals", "masters", "copies", "files", "captions", "sources", "facts")
        before = {table: sorted(map(repr, db.execute(f"SELECT * FROM {table}"))) for table in tables}  # noqa: S608
    (folder / "catalogue.sqlite").unlink()
    revive(folder)
    with sqlite3.connect(folder / "catalogue.sqlite") as db:
        after = {table: sorted(map(repr, db.execute(f"SELECT * FROM {table}"))) for table in tables}  # noqa: S608
    assert after == before
    assert audit(folder).findings == []
    for lost in ("catalogue.sqlite", "manifest.json", "manifest.csv"):
        (folder / lost).unlink()
    shutil.rmtree(folder / "catalogue")
    revive(folder)  # the description beside each master is enough
    again(folder)
    assert [Path(each["file"]).name for each in original(folder, FRONT)["masters"]] == [
        f"{FRONT_NAME}_r.jpg", f"{BACK_NAME}_r.jpg",
    ]  # fmt: skip
    assert audit(folder).findings == []


def test_the_number_is_not_given_again_until_the_two_are_parted(folder: Path, client: Client) -> None:
    before, words = masters(folder), original(folder, BACK)
    join(client)
    again(folder)
    smaller(SAMPLES / "Letter from Ada 9-3-1936.jpg", folder.parent / "scans" / f"{BACK}.jpg")
    report = process([folder.parent / "scans"], folder, workers=1)
    assert f"was that of a back of {FRONT}" in " ".join(each.reason for each in report.set_aside)
    (folder.parent / "scans" / f"{BACK}.jpg").unlink()
    client.post(f"/original/{FRONT_NAME}/pair", act="part")
    again(folder)
    assert masters(folder) == before
    assert original(folder, BACK)["masters"] == words["masters"]
    assert [each["file"] for each in original(folder, BACK)["copies"]] == [each["file"] for each in words["copies"]]
    assert original(folder, FRONT)["earlier_numbers"] == []
    assert audit(folder).findings == []


def test_a_back_that_is_none_gets_the_next_number_and_a_true_back_may_follow(tmp_path: Path) -> None:
    scans, folder = tmp_path / "scans", tmp_path / "collection"
    scans.mkdir()
    for file in SAMPLES.glob("market stall*"):
        smaller(file, scans / file.name)
    process([scans], folder, workers=1)
    before = masters(folder)
    client = Client(folder).enter()
    client.post(f"/original/{FRONT_NAME}/pair", act="part")
    again(folder)
    assert masters(folder) == before
    parted = original(folder, BACK)
    assert [(each["side"], Path(each["file"]).name) for each in parted["masters"]] == [("recto", f"{FRONT_NAME}_v.jpg")]
    assert audit(folder).findings == []
    smaller(SAMPLES / "Letter from Ada 9-3-1936.jpg", scans / "true back.jpg")
    (tmp_path / "sheet.csv").write_text(f"file,reference,side\ntrue back.jpg,{FRONT},verso\n")
    process([scans], folder, captions=tmp_path / "sheet.csv", workers=1)
    assert masters(folder).items() > before.items()
    assert [Path(each["file"]).name for each in original(folder, FRONT)["masters"]] == [
        f"{FRONT_NAME}_r.jpg", f"{FRONT_NAME}_v_2.jpg",
    ]  # fmt: skip
    assert audit(folder).findings == []
    client.app.state.late.close()


def test_taken_back_before_the_run_nothing_happens(folder: Path, client: Client) -> None:
    join(client)
    client.post("/undo")
    assert not (folder / "pairs.csv").exists()
    join(client)
    client.post(f"/original/{FRONT_NAME}/pair", act="leave")
    assert not (folder / "pairs.csv").exists()
    assert original(folder, BACK)


@pytest.mark.parametrize("typed", ["", BACK, "2026.001.0099", "../../etc", "=1+1"])
def test_what_cannot_be_put_together_is_a_sentence(folder: Path, client: Client, typed: str) -> None:
    answer = client.post(f"/original/{BACK_NAME}/pair", act="join", front=typed)
    assert answer.status_code == 400
    assert not (folder / "pairs.csv").exists()
