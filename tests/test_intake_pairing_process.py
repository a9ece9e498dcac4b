"""Fronts and backs through the command: what order, names and the caption sheet say, and that it is told."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import numpy as np
import pytest
import skimage.data
from PIL import Image

from surrogate import sides
from surrogate.cli import main
from surrogate.intake.evidence import Look
from surrogate.records import Side

PICTURES = [skimage.data.chelsea(), skimage.data.coffee(), skimage.data.astronaut(), skimage.data.rocket()]
SIZES = [(240, 160), (150, 210), (180, 180), (252, 166)]


def front(place: int) -> Image.Image:
    return Image.fromarray(PICTURES[place]).resize(SIZES[place])


def back(place: int) -> Image.Image:
    """Bare paper with two pencilled lines."""
    rng = np.random.default_rng(place)
    width, height = SIZES[place]
    paper = np.full((height, width, 3), (232, 226, 210), np.float64) + rng.normal(0, 1.5, (height, width, 1))
    paper[height // 3 : height // 3 + 2, 20 : width // 2] -= 90
    paper[height // 2 : height // 2 + 2, 20 : width // 3] -= 90
    return Image.fromarray(paper.astype(np.uint8))


def run(scans: Path, collection: Path, capsys: pytest.CaptureFixture[str], *more: object) -> tuple[int, dict]:
    arguments = ["process", scans, "--collection", collection, "--workers", "1", "--json", *more]
    status = main([str(argument) for argument in arguments])
    return status, json.loads(capsys.readouterr().out)


def sides_of(collection: Path) -> list[dict[str, str]]:
    manifest = json.loads((collection / "manifest.json").read_text(encoding="utf-8"))
    return [{master["side"]: master["scanned_as"] for master in one["masters"]} for one in manifest["originals"]]


def test_front_back_front_back_by_a_scanners_counter(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    scans = tmp_path / "scans"
    scans.mkdir()
    for place in range(3):
        front(place).save(scans / f"scan{2 * place + 1:03}.png")
        back(place).save(scans / f"scan{2 * place + 2:03}.png")
    status, report = run(scans, tmp_path / "c", capsys)
    assert status == 0
    assert sides_of(tmp_path / "c") == [
        {"recto": "scan001.png", "verso": "scan002.png"},
        {"recto": "scan003.png", "verso": "scan004.png"},
        {"recto": "scan005.png", "verso": "scan006.png"},
    ]
    page = (tmp_path / "c" / "report.html").read_text(encoding="utf-8")
    assert "scan004.png was taken as the back of scan003.png: the scan after it looks like a back, same size" in page
    # Run again: the same pairs, nothing new.
    status, report = run(scans, tmp_path / "c", capsys)
    assert (status, report["taken_in"], report["already_there"]) == (0, [], 6)
    # A decision in the caption sheet makes one back again; why it is one is still said.
    sheet = tmp_path / "c" / "captions.csv"
    with sheet.open(encoding="utf-8-sig", newline="") as stream:
        rows = list(csv.DictReader(stream))
    (changed,) = [row for row in rows if row["file"] == "scan004.png"]
    changed["strength"] = "gentle"
    with sheet.open("w", encoding="utf-8", newline="") as stream:
        table = csv.DictWriter(stream, list(rows[0]))
        table.writeheader()
        table.writerows(rows)
    _, report = run(scans, tmp_path / "c", capsys)
    assert [one.rpartition(" ")[2] for one in report["updated"]] == ["verso"]
    page = (tmp_path / "c" / "report.html").read_text(encoding="utf-8")
    assert page.count("scan004.png was taken as the back of scan003.png") == 1


def test_order_is_not_asked_where_the_settings_say_so(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    scans, collection = tmp_path / "scans", tmp_path / "c"
    scans.mkdir()
    collection.mkdir()
    (collection / "collection.toml").write_text("[sides]\nby_order = false\n[collection]\nyear = 2026\n")
    for place in range(3):
        front(place).save(scans / f"scan{2 * place + 1:03}.png")
        back(place).save(scans / f"scan{2 * place + 2:03}.png")
    run(scans, collection, capsys)
    assert all(list(one) == ["recto"] for one in sides_of(collection))


def test_a_lone_back_waits_for_its_front(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    scans = tmp_path / "scans"
    scans.mkdir()
    back(0).save(scans / "aunt 0007_verso.png")
    status, report = run(scans, tmp_path / "c", capsys)
    assert status == 0
    assert any("back without a front" in note and "aunt 0007_verso.png" in note for note in report["notes"])
    assert sides_of(tmp_path / "c") == [{"verso": "aunt 0007_verso.png"}]
    front(0).save(scans / "aunt 0007.png")
    run(scans, tmp_path / "c", capsys)
    assert sides_of(tmp_path / "c") == [{"recto": "aunt 0007.png", "verso": "aunt 0007_verso.png"}]


def test_a_picture_named_like_a_back_keeps_no_front_away(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """It was an original of its own when the front came: both are then, and nothing is set aside."""
    scans = tmp_path / "scans"
    scans.mkdir()
    front(0).save(scans / "yard back.png")
    run(scans, tmp_path / "c", capsys)
    assert sides_of(tmp_path / "c") == [{"recto": "yard back.png"}]
    front(1).save(scans / "yard.png")
    status, report = run(scans, tmp_path / "c", capsys, "--dry-run")
    assert (status, [one["recto"] for one in report["originals"]]) == (0, ["yard.png"])
    status, _ = run(scans, tmp_path / "c", capsys)
    assert (status, sides_of(tmp_path / "c")) == (0, [{"recto": "yard back.png"}, {"recto": "yard.png"}])


def test_the_caption_sheet_has_the_last_word(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    scans = tmp_path / "scans"
    scans.mkdir()
    front(0).save(scans / "grandmother.png")
    back(0).save(scans / "what she wrote.png")
    front(1).save(scans / "0002.png")
    front(2).save(scans / "0002_back.png")  # a picture printed on the back of another
    sheet = tmp_path / "captions.csv"
    sheet.write_text(
        "file,reference,side\ngrandmother.png,2026.1.7,recto\nwhat she wrote.png,2026.1.7,verso\n"
        "0002_back.png,,recto\n",
        encoding="utf-8",
    )
    run(scans, tmp_path / "c", capsys, "--captions", sheet)
    found = sides_of(tmp_path / "c")
    assert {"recto": "grandmother.png", "verso": "what she wrote.png"} in found
    assert {"recto": "0002.png"} in found
    assert {"recto": "0002_back.png"} in found


def test_a_long_run_without_backs_is_not_opened_whole() -> None:
    names = [f"scan{n:05}.tif" for n in range(2000)]
    asked: list[str] = []

    def look(some):
        asked.extend(some)
        return {name: Look(name, (100.0, 150.0), 0.02) for name in some}

    found = sides.settle(names, names, {}, look)
    assert len(found.groups) == 2000
    assert len(asked) == sides.SAMPLE


def test_what_was_taken_in_before_is_not_looked_at_again() -> None:
    names = ["scan1.tif", "scan2.tif", "scan3.tif", "scan4.tif"]
    asked: list[str] = []

    def look(some):
        asked.extend(some)
        return {name: Look(name, (100.0, 150.0), 0.98) for name in some}

    sides.settle(names, ["scan3.tif", "scan4.tif"], {}, look)
    assert set(asked) <= {"scan3.tif", "scan4.tif"}


def test_a_side_without_a_number_is_believed_too() -> None:
    groups = sides.settle(["card.tif"], ["card.tif"], {"card.tif": sides.Stated(Side.VERSO, None)}, None).groups
    assert [(group.recto, group.verso) for group in groups] == [(None, "card.tif")]


def test_a_run_that_was_broken_off_pairs_the_rest_as_it_began(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    from surrogate import taking

    scans = tmp_path / "scans"
    scans.mkdir()
    for place in range(3):
        front(place).save(scans / f"scan{2 * place + 1:03}.png")
        back(place).save(scans / f"scan{2 * place + 2:03}.png")
    entered: list[str] = []
    record = taking.record

    def broken_off(batch, done):
        if len(entered) == 3:  # the second front is in, its back is not
            raise KeyboardInterrupt
        record(batch, done)
        entered.append(done.taken.job.name)

    monkeypatch.setattr(taking, "record", broken_off)
    assert main(["process", str(scans), "--collection", str(tmp_path / "c"), "--workers", "1"]) in {2, 130}
    monkeypatch.undo()
    capsys.readouterr()
    assert entered == ["scan001.png", "scan002.png", "scan003.png"]
    run(scans, tmp_path / "c", capsys)
    assert [list(one.values()) for one in sides_of(tmp_path / "c")] == [
        ["scan001.png", "scan002.png"],
        ["scan003.png", "scan004.png"],
        ["scan005.png", "scan006.png"],
    ]


def test_a_new_back_joins_a_front_that_is_there_already(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    first, again = tmp_path / "first", tmp_path / "again"
    first.mkdir()
    again.mkdir()
    front(0).save(first / "aunt 0007.png")
    run(first, tmp_path / "c", capsys)
    front(0).save(again / "aunt 0007.png")
    back(0).save(again / "aunt 0007_back.png")
    status, report = run(again, tmp_path / "c", capsys)
    assert status == 1
    assert [aside["file"] for aside in report["set_aside"]] == ["aunt 0007.png"]
    assert sides_of(tmp_path / "c") == [{"recto": "aunt 0007.png", "verso": "aunt 0007_back.png"}]
