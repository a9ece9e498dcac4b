"""A scan or master that a decoder never comes back from, dies of or cannot read ends a command in one sentence."""

from __future__ import annotations

import os
import shutil
import signal
import threading
import time
from pathlib import Path

import numpy as np
import pytest
import tifffile
from PIL import Image

from surrogate import running
from surrogate.cli import main
from surrogate.collection.catalogue import open_catalogue
from surrogate.collection.files import is_in_work
from surrogate.errors import WorkerLost
from surrogate.previewing import Viewer
from surrogate.records import Master

pytestmark = pytest.mark.skipif(os.name == "nt", reason="pipes of this kind need a POSIX system")

REFERENCE = "2026.001.0001"


@pytest.fixture(scope="module")
def filled(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A collection of one print."""
    root = tmp_path_factory.mktemp("filled")
    (root / "scans").mkdir()
    pixels = np.asarray(Image.linear_gradient("L").resize((300, 240)))
    tifffile.imwrite(root / "scans" / "print.tif", pixels, resolution=(300, 300), resolutionunit="INCH")
    (root / "c").mkdir()
    (root / "c" / "collection.toml").write_text(
        '[collection]\nyear = 2026\n[scan]\nkind = "silver-print"\n[copies]\ncrop = false\n'
    )
    assert main(["process", str(root / "scans"), "--collection", str(root / "c"), "--workers", "1"]) == 0
    return root / "c"


@pytest.fixture
def collection(filled: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(filled, tmp_path / "c"))


@pytest.fixture
def pipe(tmp_path: Path) -> Path:
    """What is read from it never comes: the reader hangs, as a decoder does in an endless loop."""
    os.mkfifo(tmp_path / "never.tif")
    return tmp_path / "never.tif"


@pytest.fixture
def hurry(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(running, "LIMIT_S", 0.5)


def master_of(collection: Path) -> tuple[Path, Master]:
    with open_catalogue(collection) as catalogue:
        (master,) = catalogue.masters(REFERENCE)
    return collection / master.file, master


def replaced_by_a_pipe(collection: Path) -> None:
    file, _ = master_of(collection)
    file.unlink()
    os.mkfifo(file)


def said_in_one_line(capsys: pytest.CaptureFixture[str], *words: str) -> None:
    told = capsys.readouterr()
    assert told.out == ""
    assert len(told.err.splitlines()) == 1, told.err
    for word in words:
        assert word in told.err


def test_target(pipe: Path, hurry: None, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["target", str(pipe)]) == 2
    said_in_one_line(capsys, "took more than", "Open it in another program")


def test_compare(collection: Path, pipe: Path, hurry: None, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["compare", str(collection), REFERENCE, str(pipe)]) == 2
    said_in_one_line(capsys, "took more than")
    assert not (collection / "condition" / "changes").exists()


def test_frame(collection: Path, hurry: None, capsys: pytest.CaptureFixture[str]) -> None:
    replaced_by_a_pipe(collection)
    assert main(["frame", str(collection), REFERENCE, "--frame", "8x10in"]) == 2
    said_in_one_line(capsys, "masters/2026-001/2026-001-0001_r.tif cannot be read", "took more than", "audit")
    left = [path.name for path in collection.rglob("*_print*") if path.is_file()]
    assert all(is_in_work(name) for name in left)  # no half print under a final name; the next run takes it away


def test_proofs(collection: Path, hurry: None, capsys: pytest.CaptureFixture[str]) -> None:
    replaced_by_a_pipe(collection)
    assert main(["labels", str(collection), "--what", "proof"]) == 2
    said_in_one_line(capsys, "masters/2026-001/2026-001-0001_r.tif cannot be read", "took more than")


def test_the_desk_lives_on_when_a_reader_hangs_or_dies(
    collection: Path, pipe: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    file, master = master_of(collection)
    viewer = Viewer()
    with monkeypatch.context() as briefly:
        briefly.setattr(running, "LIMIT_S", 0.5)
        with pytest.raises(WorkerLost, match="took more than"):
            viewer.tile(pipe, master, 0, 0, 0)
    # A decoder that crashes takes its own process along and no other (by a signal of which Python prints no report).
    stopped = threading.Event()

    def kill_readers() -> None:
        while not stopped.is_set():
            for member in list(viewer._crew._members.values()):
                if member._process.pid:
                    os.kill(member._process.pid, signal.SIGSYS)
            time.sleep(0.05)

    killing = threading.Thread(target=kill_readers)
    killing.start()
    with pytest.raises(WorkerLost, match="crash"):
        viewer.tile(pipe, master, 0, 0, 0)
    stopped.set()
    killing.join()
    assert viewer.tile(file, master, 0, 0, 0)
    viewer.close()
