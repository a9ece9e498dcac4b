"""A run whose workers are killed, that is asked to stop or killed itself loses nothing and ends with the same bytes."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest
from PIL import Image

from surrogate import running
from surrogate.collection.files import sha256_of
from surrogate.processing import ProcessReport, process

SAMPLES = Path(__file__).parent.parent / "sample_scans"
#: Names that leave nothing to be said about which is whose back: notes are those of the last run.
NAMES = ("apple", "barn", "church", "dune", "elm", "ferry", "garden", "harbour", "island", "jetty")
COUNT = len(NAMES)

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="told by /proc")


def bytes_of(folder: Path) -> dict[str, str]:
    timed = {"catalogue.sqlite", ".held", "history.csv", "measurements.csv"}  # these hold the time
    files = [path for path in folder.rglob("*") if path.is_file() and path.name not in timed]
    return {str(path.relative_to(folder)): sha256_of(path) for path in files}


@pytest.fixture(scope="module")
def scans(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("taken") / "scans"
    folder.mkdir()
    found = [path for path in sorted(SAMPLES.glob("*.jpg")) if "_v" not in path.name and "(1)" not in path.name]
    for name, path in zip(NAMES, found, strict=False):
        with Image.open(path) as picture:
            picture.reduce(2).convert("RGB").save(folder / f"{name}.jpg", quality=92)
    return folder


@pytest.fixture(scope="module")
def undisturbed(scans: Path) -> dict[str, str]:
    collection = scans.parent / "undisturbed" / "archive"
    process([scans], collection, workers=1)
    return bytes_of(collection)


def parent_of(process_id: int) -> int:
    return int(Path(f"/proc/{process_id}/stat").read_text().rpartition(")")[2].split()[1])


def workers_of(process_id: int) -> list[int]:
    """Workers: children, or their children where they are forked from a process that holds the loaded rooms."""
    family: dict[int, list[int]] = {}
    for entry in Path("/proc").iterdir():
        if entry.name.isdigit():
            try:
                family.setdefault(parent_of(int(entry.name)), []).append(int(entry.name))
            except (FileNotFoundError, ProcessLookupError):
                continue
    children = family.get(process_id, [])
    below = [each for child in children for each in family.get(child, []) if not is_exiftool(each)]
    return below or children


def is_exiftool(process_id: int) -> bool:
    try:
        return b"exiftool" in Path(f"/proc/{process_id}/cmdline").read_bytes()
    except (FileNotFoundError, ProcessLookupError):
        return True  # gone: no worker either


def test_workers_killed_in_the_middle_cost_nothing(scans: Path, undisturbed: dict[str, str], tmp_path: Path) -> None:
    killed = 0

    def kill_one(done: int, _total: int, _aside: int, _what: str) -> None:
        nonlocal killed
        if done in {1, 3}:
            for worker in workers_of(os.getpid())[:1]:
                os.kill(worker, signal.SIGKILL)
                killed += 1

    report = process([scans], tmp_path / "archive", workers=2, progress=kill_one)
    assert killed == 2
    assert report.set_aside == []
    assert bytes_of(tmp_path / "archive") == undisturbed


def test_what_takes_too_long_is_set_aside_and_tried_in_the_next_run(
    scans: Path, undisturbed: dict[str, str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    allowed = running.limit_s
    slow = sorted(path.name for path in scans.iterdir())[2]

    def hardly_any(arguments: tuple[object, ...]) -> float:
        return 0.001 if slow in str(arguments) else allowed(arguments)

    monkeypatch.setattr(running, "limit_s", hardly_any)
    report = process([scans], tmp_path / "archive", workers=2)
    assert [aside.file for aside in report.set_aside] == [slow]
    assert "more than the 0 seconds" in report.set_aside[0].reason
    assert report.exit_status == 1
    monkeypatch.undo()
    report = process([scans], tmp_path / "archive", workers=2)
    assert report.exit_status == 0
    assert len(report.taken_in) == 1
    assert len(undisturbed) == len(bytes_of(tmp_path / "archive"))  # its number is a later one


def test_asked_to_stop_it_finishes_what_is_in_hand(scans: Path, undisturbed: dict[str, str], tmp_path: Path) -> None:
    def stop(done: int, _total: int, _aside: int, _what: str) -> None:
        if done == 1:
            os.kill(os.getpid(), signal.SIGINT)

    report = process([scans], tmp_path / "archive", workers=1, progress=stop)
    assert 0 < report.left < COUNT
    assert len(report.taken_in) + report.left == COUNT
    assert report.exit_status == 1
    assert (tmp_path / "archive" / "manifest.json").is_file()
    assert process([scans], tmp_path / "archive", workers=1).exit_status == 0
    assert bytes_of(tmp_path / "archive") == undisturbed


def command(scans: Path, collection: Path) -> list[str]:
    return [sys.executable, "-m", "surrogate", "process", str(scans), "--collection", str(collection), "--json"]


def wait_for(path: Path) -> None:
    for _ in range(600):
        if path.exists() and any(path.iterdir()):
            return
        time.sleep(0.05)
    pytest.fail(f"{path} did not come to be")


def test_sigterm_is_heard_and_json_stays_clean(scans: Path, undisturbed: dict[str, str], tmp_path: Path) -> None:
    collection = tmp_path / "archive"
    with subprocess.Popen(
        [*command(scans, collection), "--workers", "1"], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    ) as run:
        wait_for(collection / ".incoming")
        run.send_signal(signal.SIGTERM)
        out, err = run.communicate(timeout=120)
    told = ProcessReport.model_validate_json(out)
    assert told.left == json.loads(out)["left"] > 0
    assert run.returncode == 1
    assert "being finished" in err
    assert process([scans], collection, workers=1).exit_status == 0
    assert bytes_of(collection) == undisturbed


def test_asked_twice_it_stops_at_once_and_the_next_run_finishes(
    scans: Path, undisturbed: dict[str, str], tmp_path: Path
) -> None:
    collection = tmp_path / "archive"
    with subprocess.Popen(
        command(scans, collection), stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, start_new_session=True
    ) as run:
        wait_for(collection / ".incoming")
        threading.Timer(0.2, os.killpg, (run.pid, signal.SIGINT)).start()  # as a terminal does: to the whole group
        os.killpg(run.pid, signal.SIGINT)
        out, err = run.communicate(timeout=120)
    assert run.returncode == 2
    assert out == ""
    assert "stopped" in err
    assert "Traceback" not in err
    assert process([scans], collection, workers=1).exit_status == 0
    assert bytes_of(collection) == undisturbed
