"""The rehearsal says what the run then does, and changes nothing."""

from __future__ import annotations

import json
import os
from pathlib import Path

import pytest
import tifffile
from PIL import Image
from test_intake_pairing_process import back, front, run, sides_of

from surrogate.cli import main

SAMPLES = Path(__file__).parent.parent / "sample_scans"


def rehearsed(scans: Path, collection: Path, capsys: pytest.CaptureFixture[str], *more: object) -> tuple[int, dict]:
    status = main([str(a) for a in ["process", scans, "--collection", collection, "--dry-run", "--json", *more]])
    return status, json.loads(capsys.readouterr().out)


def snapshot(folder: Path) -> dict[str, bytes]:
    return {str(path.relative_to(folder)): path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file()}


def test_numbers_pairs_and_what_is_set_aside_come_as_rehearsed(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    scans, collection = tmp_path / "scans", tmp_path / "c"
    scans.mkdir()
    for place in range(3):
        front(place).save(scans / f"scan{2 * place + 1:03}.png")
        back(place).save(scans / f"scan{2 * place + 2:03}.png")
    front(3).save(scans / "2019.003.0044.tif")
    back(3).save(scans / "2019-003-0044 verso.tif")
    back(1).save(scans / "lost_verso.tif")
    (scans / "zebra.tif").write_bytes((scans / "2019.003.0044.tif").read_bytes())
    (scans / "empty.tif").touch()
    front(2).rotate(180).save(scans / os.fsdecode(b"caf\xe9.png"))  # no UTF-8, as old disks have them
    status, plan = rehearsed(scans, collection, capsys)
    assert status == 1
    assert not collection.exists()
    planned = [{k: v for k, v in (("recto", o["recto"]), ("verso", o["verso"])) if v} for o in plan["originals"]]
    ran, report = run(scans, collection, capsys)
    manifest = json.loads((collection / "manifest.json").read_text(encoding="utf-8"))
    assert ran == 1
    assert {o["reference"] for o in plan["originals"]} == {o["reference"] for o in manifest["originals"]}
    assert sorted(map(str, planned)) == sorted(map(str, sides_of(collection)))
    assert (
        {a["file"] for a in plan["set_aside"]} == {a["file"] for a in report["set_aside"]} == {"empty.tif", "zebra.tif"}
    )
    held = sum(path.stat().st_size for path in collection.rglob("*") if path.is_file())
    assert held < plan["bytes_needed"] < plan["bytes_free"]
    # A second rehearsal, on the collection that now is: nothing to do, nothing changed.
    before = snapshot(collection)
    status, plan = rehearsed(scans, collection, capsys)
    assert plan["originals"] == []
    assert snapshot(collection) == before
    # New scans get the numbers after those that were given.
    front(2).save(scans / "another.tif")
    status, plan = rehearsed(scans, collection, capsys)
    assert [o["reference"] for o in plan["originals"]] == [f"{manifest['originals'][-1]['reference'][:4]}.001.0006"]
    assert snapshot(collection) == before


def test_parts_of_a_page_are_told(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    _, plan = rehearsed(SAMPLES, tmp_path / "c", capsys)
    parts = {one["recto"]: one["parts"] for one in plan["originals"] if one["parts"]}
    assert set(parts) == {"album p12.jpg"}
    assert parts["album p12.jpg"] > 1


def test_a_letter_by_kind_is_known_where_the_kind_is(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    scans, collection = tmp_path / "scans", tmp_path / "c"
    scans.mkdir()
    collection.mkdir()
    (collection / "collection.toml").write_text(
        '[collection]\nreference = "{letter}{item:04}"\n[letters]\nnegative = "N"\ncolour-print = "P"\n'
    )
    front(0).save(scans / "neg_014.tif")
    front(1).save(scans / "picnic.tif")
    _, plan = rehearsed(scans, collection, capsys)
    assert {o["recto"]: o["reference"] for o in plan["originals"]} == {"neg_014.tif": "N0001", "picnic.tif": ""}
    _, plan = rehearsed(scans, collection, capsys, "--kind", "colour-print")
    assert {o["recto"]: o["reference"] for o in plan["originals"]} == {"neg_014.tif": "P0001", "picnic.tif": "P0002"}
    assert not (collection / "masters").exists()


def test_a_clash_of_numbers_names_both_files(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    scans = tmp_path / "scans"
    scans.mkdir()
    front(0).save(scans / "2014.019.0008 first try.tif")
    front(1).save(scans / "2014.019.0008 second try.tif")
    _, plan = rehearsed(scans, tmp_path / "c", capsys)
    _, report = run(scans, tmp_path / "c", capsys)
    for told in (plan, report):
        assert [a["file"] for a in told["set_aside"]] == ["2014.019.0008 second try.tif"]
        assert "2014.019.0008 first try.tif" in told["set_aside"][0]["reason"]
        assert "2014.019.0008 second try.tif" in told["set_aside"][0]["advice"]


def test_too_little_space_is_said(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    import shutil

    scans = tmp_path / "scans"
    scans.mkdir()
    Image.new("RGB", (60, 60)).save(scans / "a.tif")
    usage = shutil.disk_usage(tmp_path)
    monkeypatch.setattr(shutil, "disk_usage", lambda _: usage._replace(free=1000))
    assert main(["process", str(scans), "--collection", str(tmp_path / "c"), "--dry-run"]) == 0
    assert "too little space" in capsys.readouterr().out


def test_a_thousand_scans_take_seconds(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    import time

    scans = tmp_path / "scans"
    scans.mkdir()
    for place in range(500):
        pixels = front(place % 3).resize((64, 48))
        tifffile.imwrite(scans / f"scan{place:05}.tif", __import__("numpy").asarray(pixels) ^ (place % 200))
    started = time.process_time()
    status, plan = rehearsed(scans, tmp_path / "c", capsys)
    assert status == 0
    assert len(plan["originals"]) == 500
    assert time.process_time() - started < 10
