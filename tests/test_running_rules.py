"""The stated rules: how many workers, how long a call may take, what progress says and where."""

from __future__ import annotations

import io
import os
import sys
from pathlib import Path

import pytest

from surrogate import calm, meter, running
from surrogate.errors import WrongUse
from surrogate.jobs import Job


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


@pytest.mark.parametrize(("free_mb", "cores", "expected"), [(100, 8, 1), (1300, 8, 2), (100_000, 8, 8), (5000, 1, 1)])
def test_workers_are_as_many_as_cores_and_memory_allow(
    monkeypatch: pytest.MonkeyPatch, free_mb: int, cores: int, expected: int
) -> None:
    monkeypatch.setattr(running, "_free_bytes", lambda: free_mb * 1_000_000)
    monkeypatch.setattr(os, "sched_getaffinity", lambda _: set(range(cores)), raising=False)
    assert running.default_workers() == expected


def test_fewer_than_one_worker_is_refused() -> None:
    with pytest.raises(WrongUse, match="1 or more"), running.executor(0):
        pass


def test_a_call_may_take_two_minutes_and_a_second_for_each_megabyte(tmp_path: Path) -> None:
    scan = tmp_path / "scan.tif"
    scan.write_bytes(b"")
    os.truncate(scan, 86_400_000)
    job = Job.__new__(Job)  # only its scan matters here
    object.__setattr__(job, "scan", scan)
    assert running.limit_s([job]) == pytest.approx(206.4)
    assert running.limit_s([Path("somewhere"), "words"]) == 120


def test_progress_is_told_on_a_terminal_only(monkeypatch: pytest.MonkeyPatch) -> None:
    for stream, told in ((io.StringIO(), False), (Terminal(), True)):
        monkeypatch.setattr(sys, "stderr", stream)
        progress = meter.Meter()
        for done in range(1, 5):
            progress(done, 4, 1, f"scan{done}.tif")
        assert bool(stream.getvalue()) is told
    last = stream.getvalue().split("\r")[-1]
    assert "4 of 4" in last
    assert "1 set aside" in last
    assert last.endswith("\n")


@pytest.mark.parametrize(
    ("seconds", "words"), [(0, "0 s"), (59, "59 s"), (125, "2 min"), (3599, "1 h 0 min"), (10_860, "3 h 1 min")]
)
def test_durations_in_words(seconds: float, words: str) -> None:
    assert meter.duration(seconds) == words


def test_time_left_follows_the_rate() -> None:
    assert meter.line(1200, 10_000, 3, 2.0) == "1,200 of 10,000, 2.0 a second, about 1 h 13 min left, 3 set aside"
    assert meter.line(2, 4, 0, 0.25) == "2 of 4, 4 seconds each, about 8 s left"
    assert meter.line(1, 4, 0, 0.0) == "1 of 4"


def test_libraries_keep_to_one_thread_unless_told_otherwise(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("VIPS_CONCURRENCY", raising=False)
    monkeypatch.setenv("OMP_NUM_THREADS", "3")
    calm.environment()
    assert os.environ["VIPS_CONCURRENCY"] == "1"
    assert os.environ["OMP_NUM_THREADS"] == "3"
    monkeypatch.delenv("VIPS_CONCURRENCY")
