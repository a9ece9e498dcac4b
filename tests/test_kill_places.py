"""Disks that are full, read-only or gone, clocks that go back, two commands at once: one sentence, then it goes on."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path

import pytest
from safety import small

from surrogate import pipeline
from surrogate.auditing import audit
from surrogate.cli import main
from surrogate.collection import catalogue as catalogues
from surrogate.collection.files import sha256_of
from surrogate.collection.holding import held

needs_root = pytest.mark.skipif(os.name == "nt" or os.geteuid() != 0, reason="mounting takes root")


@pytest.fixture(scope="module")
def scans(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("small") / "scans"
    small.write_scans(folder)
    return folder


def process(scans: Path, collection: Path) -> int:
    own = ["--captions", str(scans / "captions.csv"), "--workers", "1"]
    return main(["process", str(scans), "--collection", str(collection), *own])


@pytest.fixture(scope="module")
def calm(scans: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A collection that nobody disturbed, only to be read or copied."""
    folder = tmp_path_factory.mktemp("calm") / "c"
    assert process(scans, folder) == 1
    return folder


@pytest.fixture(scope="module")
def wanted(calm: Path) -> dict[str, str]:
    return small.contents(calm)


@contextmanager
def memory_disk(place: Path, kilobytes: int) -> Iterator[None]:
    place.mkdir(exist_ok=True)
    try:
        mount("-t", "tmpfs", "-o", f"size={kilobytes}k", "tmpfs", str(place))
    except subprocess.CalledProcessError as problem:
        pytest.skip(f"this system does not let us mount: {problem}")
    try:
        yield
    finally:
        subprocess.run(["umount", "-l", str(place)], check=False)


def mount(*arguments: str) -> None:
    subprocess.run(["mount", *arguments], check=True, capture_output=True)


def one_sentence(told: str, words: str) -> None:
    assert told.startswith("surrogate: ")
    assert told.count("\n") == 1
    assert "Traceback" not in told
    assert words in told


@needs_root
@pytest.mark.parametrize("kilobytes", [8, 260, 700])
def test_a_full_disk_is_one_sentence_and_more_room_is_enough(
    kilobytes: int, scans: Path, wanted: dict[str, str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with memory_disk(tmp_path / "disk", kilobytes):
        assert process(scans, tmp_path / "disk" / "c") == 2
        one_sentence(capsys.readouterr().err, "disk is full")
        mount("-o", "remount,size=20m", str(tmp_path / "disk"))
        assert process(scans, tmp_path / "disk" / "c") == 1
        assert small.differences(small.contents(tmp_path / "disk" / "c"), wanted) == []
        assert audit(tmp_path / "disk" / "c").findings == []


@needs_root
def test_a_read_only_disk_is_one_sentence(
    scans: Path, calm: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with memory_disk(tmp_path / "disk", 20_000):
        shutil.copytree(calm, tmp_path / "disk" / "c")
        mount("-o", "remount,ro", str(tmp_path / "disk"))
        for command in (["audit"], ["rebuild"], ["process", str(scans), "--collection"]):
            assert main([*command, str(tmp_path / "disk" / "c")]) == 2
            one_sentence(capsys.readouterr().err, "Not allowed to write")
        assert main(["process", str(scans), "--collection", str(tmp_path / "disk" / "new")]) == 2
        one_sentence(capsys.readouterr().err, "Not allowed to write")


@needs_root
def test_a_folder_of_scans_that_goes_away_and_comes_back(
    scans: Path, wanted: dict[str, str], tmp_path: Path, capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:  # fmt: skip
    folder = tmp_path / "share"
    with memory_disk(folder, 20_000):
        subprocess.run(["cp", "-a", *map(str, sorted(scans.iterdir())), str(folder)], check=True)
        monkeypatch.setattr("surrogate.crew.Crew.submit", went_away(folder, after=3))
        assert process(folder, tmp_path / "c") == 2
        one_sentence(capsys.readouterr().err, "cannot be reached any more")
        monkeypatch.undo()
    with memory_disk(folder, 20_000):
        subprocess.run(["cp", "-a", *map(str, sorted(scans.iterdir())), str(folder)], check=True)
        assert process(folder, tmp_path / "c") == 1
        found, elsewhere = small.contents(tmp_path / "c"), "catalogue/scans.csv"  # it names the folder of the scans
        assert [name for name in small.differences(found, wanted) if name != elsewhere] == []


@needs_root
def test_a_collection_that_goes_away_and_comes_back(
    scans: Path, wanted: dict[str, str], tmp_path: Path, capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:  # fmt: skip
    share, place = tmp_path / "share", tmp_path / "place"
    with memory_disk(share, 20_000):
        place.mkdir()
        mount("--bind", str(share), str(place))
        monkeypatch.setattr("surrogate.crew.Crew.submit", went_away(place, after=4))
        assert process(scans, place / "c") == 2
        one_sentence(capsys.readouterr().err, "cannot be reached any more")
        monkeypatch.undo()
        subprocess.run(["rm", "-rf", str(place / "c")], check=True)  # what fell beside the share
        mount("--bind", str(share), str(place))
        assert process(scans, place / "c") == 1
        assert small.differences(small.contents(place / "c"), wanted) == []
        subprocess.run(["umount", "-l", str(place)], check=True)


def went_away(folder: Path, after: int):  # type: ignore[no-untyped-def]
    """A way to hand work out that takes a folder off the system at the nth piece."""
    from surrogate.crew import Crew

    submit, count = Crew.submit, [0]

    def submitted(self: Crew, *arguments: object, **named: object) -> object:
        count[0] += 1
        if count[0] == after:
            subprocess.run(["umount", "-l", str(folder)], check=True)
        return submit(self, *arguments, **named)  # type: ignore[arg-type]

    return submitted


def test_a_scan_that_could_not_be_read_is_tried_again(
    scans: Path, wanted: dict[str, str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with pytest.raises(pipeline.TryAgain, match="vanished"):
        pipeline._preserve(scans / "not there.jpg", tmp_path / "m.jpg")
    (tmp_path / "empty").mkdir()
    with pytest.raises(pipeline.ScansAway, match="cannot be reached"):
        pipeline._preserve(tmp_path / "empty" / "a.jpg", tmp_path / "m.jpg")


def test_a_clock_set_back_harms_nothing(
    scans: Path, calm: Path, wanted: dict[str, str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    class Back(datetime):
        @classmethod
        def now(cls, tz=None) -> datetime:  # type: ignore[no-untyped-def,override]  # noqa: ARG003
            return datetime(1980, 1, 1, tzinfo=UTC)

    folder = Path(shutil.copytree(calm, tmp_path / "c"))
    old = time.time() - 40 * 365 * 86_400
    for path in folder.rglob("*"):
        os.utime(path, (old, old))
    monkeypatch.setattr(catalogues, "datetime", Back)
    sheet = folder / "captions.csv"
    sheet.write_text(sheet.read_text(encoding="utf-8-sig").replace("Orchard", "Orchards"), encoding="utf-8")
    os.utime(sheet, (old - 9, old - 9))
    assert process(scans, folder) == 1
    assert b"Orchards" in (folder / "manifest.json").read_bytes()
    assert audit(folder).findings == []
    changed = small.differences(small.contents(folder), wanted)
    assert not [name for name in changed if name.startswith(("masters/", "recipes/")) and not name.endswith(".xmp")]
    assert process(scans, folder) == 1
    assert small.differences(small.contents(folder), wanted) == changed


def test_the_second_command_says_who_holds_it_and_a_dead_ones_lock_heals(
    tmp_path: Path, scans: Path, calm: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    shutil.copytree(calm, tmp_path / "c")
    before = sha256_of(tmp_path / "c" / "manifest.json")
    program = (
        "import sys, time; from pathlib import Path; from surrogate.collection.holding import held\n"
        "with held(Path(sys.argv[1]), 'process'): print('held', flush=True); time.sleep(60)"
    )
    with subprocess.Popen([sys.executable, "-c", program, str(tmp_path / "c")], stdout=subprocess.PIPE) as holder:
        assert holder.stdout is not None
        assert holder.stdout.readline() == b"held\n"
        assert process(scans, tmp_path / "c") == 2
        one_sentence(capsys.readouterr().err, f"in use by `surrogate process` on {os.uname().nodename}, process ")
        holder.kill()
    assert process(scans, tmp_path / "c") == 1
    assert sha256_of(tmp_path / "c" / "manifest.json") == before
    with held(tmp_path / "c", "audit"):
        pass
