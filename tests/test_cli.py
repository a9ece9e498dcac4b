"""The command line: bad input gives one sentence and the promised exit status, never a traceback."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
import skimage.data
from PIL import Image

from surrogate.cli import main

SAMPLES = Path(__file__).parent.parent / "sample_scans"


@pytest.fixture
def scans(tmp_path: Path) -> Path:
    folder = tmp_path / "scans"
    folder.mkdir()
    Image.fromarray(skimage.data.chelsea()).save(folder / "cat.tif", dpi=(300, 300))
    return folder


def run(*arguments: object) -> tuple[int, str]:
    """(exit status, standard error) of the program run as people run it."""
    done = subprocess.run(
        [sys.executable, "-m", "surrogate", *map(str, arguments)], capture_output=True, text=True, check=False
    )
    return done.returncode, done.stderr


def refuses(capsys: pytest.CaptureFixture[str], *arguments: object) -> str:
    assert main([str(argument) for argument in arguments]) == 2
    told = capsys.readouterr()
    assert told.out == ""
    lines = told.err.strip().splitlines()
    assert len(lines) == 1, told.err
    assert "Traceback" not in told.err
    return lines[0]


def test_no_such_folder(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    line = refuses(capsys, "process", tmp_path / "nowhere", "--collection", tmp_path / "c")
    assert "nowhere" in line
    assert not (tmp_path / "c").exists()


def test_an_empty_folder(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    (tmp_path / "empty").mkdir()
    assert "No scans found" in refuses(capsys, "process", tmp_path / "empty", "--collection", tmp_path / "c")


def test_a_collection_inside_the_scans_and_the_other_way_round(capsys: pytest.CaptureFixture[str], scans: Path) -> None:
    assert "inside the folder of scans" in refuses(capsys, "process", scans, "--collection", scans / "c")
    assert "lies inside the collection" in refuses(capsys, "process", scans, "--collection", scans.parent)


def test_a_folder_that_is_no_collection(capsys: pytest.CaptureFixture[str], scans: Path, tmp_path: Path) -> None:
    (tmp_path / "other").mkdir()
    (tmp_path / "other" / "letters.txt").touch()
    line = refuses(capsys, "process", scans, "--collection", tmp_path / "other")
    assert "not a collection" in line
    assert "letters.txt" in line
    for command in ("audit", "rebuild"):
        assert "not a collection" in refuses(capsys, command, tmp_path / "other")


def test_an_unknown_kind_names_the_known_ones(capsys: pytest.CaptureFixture[str], scans: Path, tmp_path: Path) -> None:
    line = refuses(capsys, "process", scans, "--collection", tmp_path / "c", "--kind", "hologram")
    assert "hologram" in line
    assert "silver-print" in line


@pytest.mark.parametrize("workers", ["-1", "0"])
def test_a_wrong_number_of_workers(
    workers: str, capsys: pytest.CaptureFixture[str], scans: Path, tmp_path: Path
) -> None:
    assert workers in refuses(capsys, "process", scans, "--collection", tmp_path / "c", "--workers", workers)
    assert "integer" in refuses(capsys, "process", scans, "--collection", tmp_path / "c", "--workers", "many")


def test_a_caption_sheet_that_is_none(capsys: pytest.CaptureFixture[str], scans: Path, tmp_path: Path) -> None:
    line = refuses(capsys, "process", scans, "--collection", tmp_path / "c", "--captions", scans / "cat.tif")
    assert "cat.tif" in line
    assert "missing.csv" in refuses(
        capsys, "process", scans, "--collection", tmp_path / "c", "--captions", tmp_path / "missing.csv"
    )


def test_an_unknown_command_and_option(capsys: pytest.CaptureFixture[str]) -> None:
    assert "--help" in refuses(capsys, "polish")
    assert "--shiny" in refuses(capsys, "audit", "x", "--shiny")


def test_exiftool_missing_or_too_old(scans: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PATH", str(tmp_path / "bin"))
    status, told = run("process", scans, "--collection", tmp_path / "c")
    assert status == 2
    assert "ExifTool" in told
    assert "apt" in told
    assert len(told.strip().splitlines()) == 1
    (tmp_path / "bin").mkdir()
    old = tmp_path / "bin" / "exiftool"
    old.write_text("#!/bin/sh\nif [ \"$1\" = -ver ]; then echo 9.17; exit 0; fi\nwhile read -r line; do\n"
                   'case "$line" in -ver) ver=1;; -execute*) [ "$ver" ] && echo 9.17; echo "{ready${line#-execute}}";; '
                   "esac; done\n")  # fmt: skip
    old.chmod(0o755)
    status, told = run("process", scans, "--collection", tmp_path / "c2")
    assert status == 2
    assert "9.17" in told


@pytest.mark.skipif(os.name == "nt" or os.geteuid() == 0, reason="root may write anywhere")
def test_a_read_only_target(capsys: pytest.CaptureFixture[str], scans: Path, tmp_path: Path) -> None:
    (tmp_path / "locked").mkdir(mode=0o500)
    assert "Not allowed" in refuses(capsys, "process", scans, "--collection", tmp_path / "locked" / "c")


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A file system of 1 MB."""
    place = tmp_path / "disk"
    place.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", "size=1m", "tmpfs", str(place)]
    if shutil.which("mount") is None or subprocess.run(mount, capture_output=True, check=False).returncode:
        pytest.skip("this user may not mount a small file system")
    yield place
    subprocess.run(["umount", str(place)], check=True)


def test_a_full_disk_is_one_sentence(capsys: pytest.CaptureFixture[str], scans: Path, small_disk: Path) -> None:
    filler = small_disk / "filler"
    filler.write_bytes(b"\0" * 600_000)
    status = main(["process", str(scans), "--collection", str(small_disk / "c"), "--workers", "1"])
    told = capsys.readouterr().err
    assert status == 2
    assert "disk is full" in told
    assert len(told.strip().splitlines()) == 1
    filler.unlink()
    subprocess.run(["mount", "-o", "remount,size=10m", str(small_disk)], check=True)
    assert main(["process", str(scans), "--collection", str(small_disk / "c"), "--workers", "1"]) == 0


def test_json_is_one_object_and_nothing_else(capsys: pytest.CaptureFixture[str], scans: Path, tmp_path: Path) -> None:
    (scans / "broken.jpg").write_bytes(b"\xff\xd8\xff\xe0 not really")
    status = main(["process", str(scans), "--collection", str(tmp_path / "c"), "--workers", "1", "--json"])
    report = json.loads(capsys.readouterr().out)
    assert status == 1
    assert report["taken_in"] == [f"{report['taken_in'][0][:4]}.001.0001 recto"]
    assert [a["file"] for a in report["set_aside"]] == ["broken.jpg"]
    assert main(["audit", str(tmp_path / "c"), "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["findings"] == []


def test_a_rehearsal_changes_nothing(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    status = main(["process", str(SAMPLES), "--collection", str(tmp_path / "c"), "--dry-run"])
    told = capsys.readouterr().out
    assert status == 1
    assert "market stall 1974_r.jpg + back market stall 1974_v.jpg" in told
    assert "boat shed.tif" in told
    assert "Nothing was changed" in told
    assert not (tmp_path / "c").exists()


def test_help_imports_nothing_heavy() -> None:
    script = (
        "import sys; from surrogate.cli import main; main(['--help']); "
        "heavy = {'numpy', 'cv2', 'pyvips', 'PIL', 'pydantic', 'skimage', 'scipy'} & set(sys.modules); "
        "print(sorted(heavy)); sys.exit(bool(heavy))"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout.splitlines()[-1]


def test_the_program_is_installed_under_its_name() -> None:
    program = shutil.which("surrogate") or str(Path(sys.executable).with_name("surrogate"))
    done = subprocess.run([program, "version"], capture_output=True, text=True, check=True)
    assert done.stdout.startswith("surrogate ")
