"""A real Dask scheduler and workers as processes: the same bytes as here, also when one is killed in the middle."""

from __future__ import annotations

import os
import re
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from PIL import Image

from surrogate.collection.files import sha256_of
from surrogate.errors import WrongUse
from surrogate.processing import process

pytest.importorskip("distributed", reason="the extra `cluster` is not installed")

SAMPLES = Path(__file__).parent.parent / "sample_scans"
NAMES = ("apple", "barn", "church", "dune")


@pytest.fixture(scope="module")
def scans(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("taken") / "scans"
    folder.mkdir()
    for name, path in zip(NAMES, sorted(SAMPLES.glob("*.jpg")), strict=False):
        with Image.open(path) as picture:
            picture.reduce(2).convert("RGB").save(folder / f"{name}.jpg", quality=92)
    return folder


def free_port() -> int:
    with socket.socket() as found:
        found.bind(("127.0.0.1", 0))
        return int(found.getsockname()[1])


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """A scheduler and two workers, each with the nanny that replaces it."""
    where = f"tcp://127.0.0.1:{free_port()}"
    start = [sys.executable, "-m", "distributed.cli.dask_"]
    common = ["--no-dashboard"]
    folder = tmp_path_factory.mktemp("workers")
    commands = [[*start[:2], f"{start[2]}scheduler", "--host", where, *common]]
    commands += [
        [*start[:2], f"{start[2]}worker", where, "--nthreads", "1", *common, "--local-directory", str(folder)]
    ] * 2
    running = [
        subprocess.Popen(
            command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, cwd=folder, start_new_session=True
        )
        for command in commands
    ]
    try:
        wait_for_workers(where, 2)
        yield where
    finally:
        for started in running:
            os.killpg(started.pid, signal.SIGKILL)  # with the processes that each holds
            started.wait()


def wait_for_workers(where: str, count: int) -> None:
    from distributed import Client

    for _ in range(100):
        try:
            with Client(where, timeout=1, set_as_default=False) as client:
                client.wait_for_workers(count, timeout=60)
                return
        except OSError:
            time.sleep(0.2)
    pytest.fail("the cluster did not start")


def bytes_of(folder: Path) -> dict[str, str]:
    timed = {"catalogue.sqlite", ".held", "history.csv", "measurements.csv"}  # these hold the time
    files = [path for path in folder.rglob("*") if path.is_file() and path.name not in timed]
    return {str(path.relative_to(folder)): sha256_of(path) for path in files}


def worker_processes(where: str) -> list[int]:
    from distributed import Client

    with Client(where, timeout=10, set_as_default=False) as client:
        return list(client.run(os.getpid).values())


def test_a_worker_killed_in_the_middle_loses_nothing(
    address: str, scans: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    process([scans], tmp_path / "here" / "archive", workers=1)
    victim = worker_processes(address)[0]
    killed = threading.Event()

    def kill(_done: int, _total: int, _aside: int, _what: str) -> None:
        if not killed.is_set():
            killed.set()
            os.kill(victim, signal.SIGKILL)

    monkeypatch.chdir(tmp_path)  # workers have other current folders
    report = process([scans], Path("there") / "archive", cluster=address, progress=kill)
    assert killed.is_set()
    assert report.set_aside == []
    assert bytes_of(tmp_path / "there" / "archive") == bytes_of(tmp_path / "here" / "archive")


def test_another_version_is_refused_in_one_sentence(
    address: str, scans: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from surrogate import cluster

    wait_for_workers(address, 2)
    monkeypatch.setattr(cluster, "__version__", "0.0.1")
    with pytest.raises(WrongUse) as refusal:
        process([scans], tmp_path / "archive", cluster=address)
    assert re.fullmatch(
        r"Worker \S+ has surrogate \S+, this program 0\.0\.1: install the same there\.", str(refusal.value)
    )


def test_what_workers_cannot_see_is_named(address: str, scans: Path) -> None:
    from surrogate import cluster

    nowhere = scans / "not mounted"
    with (
        pytest.raises(WrongUse, match=r"does not see .*not mounted"),
        cluster.executor(address, [nowhere], lambda _: 60.0),
    ):
        pass


def test_a_scan_that_kills_every_worker_is_given_up(address: str) -> None:
    from surrogate import cluster
    from surrogate.errors import WorkerLost

    with cluster.executor(address, [], lambda _: 60.0) as (pool, _):
        bad = pool.submit(os._exit, 3)
        with pytest.raises(WorkerLost, match="died or took too long"):
            bad.result(timeout=120)


def test_nobody_answers(scans: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from surrogate import cluster

    monkeypatch.setattr(cluster, "PATIENCE_S", 0.3)
    with pytest.raises(WrongUse, match="No Dask scheduler answers"):
        process([scans], tmp_path / "archive", cluster=f"tcp://127.0.0.1:{free_port()}")
    with pytest.raises(WrongUse, match="either --workers or --cluster"):
        process([scans], tmp_path / "archive", workers=2, cluster="tcp://127.0.0.1:1")
