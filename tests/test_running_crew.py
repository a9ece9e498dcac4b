"""Workers that die, hang or ask for too much: replaced, their call tried once more, the others untouched."""

from __future__ import annotations

import contextlib
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from surrogate.crew import Crew
from surrogate.errors import DiskFull, ScanSetAside, WorkerLost

# What children do; they find these functions by the name of this module.


def double(number: int) -> int:
    return 2 * number


def die(number: int) -> None:
    os.kill(os.getpid(), number)


def die_once(mark: Path) -> str:
    if not mark.exists():
        mark.touch()
        os.kill(os.getpid(), signal.SIGKILL)
    return "done at the second try"


def hang(_what: str) -> None:
    with contextlib.suppress(BaseException):  # as deaf as a decoder in an endless loop
        while True:
            time.sleep(0.1)


def take_memory(megabytes: int) -> int:
    return int(np.ones(megabytes * 1_000_000, dtype=np.uint8).sum(dtype=np.int64))


def refuse() -> None:
    raise ScanSetAside("It is torn.", "Mend it.")


def fill_disk() -> None:
    raise DiskFull("The disk is full.")


def whoami() -> int:
    return os.getpid()


def is_there(process: int) -> bool:
    stat = Path(f"/proc/{process}/stat")
    return stat.exists() and stat.read_text().rpartition(")")[2].split()[0] != "Z"


@pytest.fixture
def crew() -> Iterator[Crew]:
    made = Crew(2, lambda arguments: 1.0 if "briefly" in arguments else 60.0)
    yield made
    made.shutdown()


@pytest.mark.parametrize("number", [signal.SIGKILL, signal.SIGSEGV, signal.SIGABRT])
def test_a_call_that_kills_its_worker_fails_alone(crew: Crew, number: int) -> None:
    before, bad, after = crew.submit(double, 1), crew.submit(die, number), [crew.submit(double, n) for n in range(6)]
    with pytest.raises(WorkerLost) as failure:
        bad.result()
    assert before.result() == 2
    assert [future.result() for future in after] == [0, 2, 4, 6, 8, 10]
    expected = "memory" if number == signal.SIGKILL else signal.Signals(number).name
    assert expected in failure.value.reason


def test_a_call_whose_worker_was_killed_by_chance_is_tried_again(crew: Crew, tmp_path: Path) -> None:
    assert crew.submit(die_once, tmp_path / "mark").result() == "done at the second try"


def test_a_call_that_hangs_fails_after_its_time(crew: Crew) -> None:
    bad, good = crew.submit(hang, "briefly"), crew.submit(double, 4)
    assert good.result() == 8
    with pytest.raises(WorkerLost, match="more than the 1 seconds"):
        bad.result()
    assert crew.submit(double, 5).result() == 10


@pytest.mark.skipif(sys.platform != "linux", reason="only Linux refuses memory to one process")
def test_a_call_that_asks_for_too_much_memory_is_refused(crew: Crew) -> None:
    assert crew.submit(take_memory, 300).result() == 300_000_000
    with pytest.raises(ScanSetAside, match=r"1\.5 GB of memory"):
        crew.submit(take_memory, 1600).result()


def test_errors_arrive_as_they_were_raised(crew: Crew) -> None:
    with pytest.raises(ScanSetAside, match=r"It is torn\. Mend it\."):
        crew.submit(refuse).result()
    with pytest.raises(DiskFull):
        crew.submit(fill_disk).result()
    with pytest.raises(TypeError):
        crew.submit(double, "3", 4).result()


def test_what_is_abandoned_ends_at_once() -> None:
    crew = Crew(1, lambda _: 60.0)
    child = crew.submit(whoami).result()
    begun, waiting = crew.submit(hang, ""), crew.submit(double, 1)
    while not begun.running():
        time.sleep(0.01)
    crew.abandon()
    assert waiting.cancelled()
    with pytest.raises(WorkerLost):
        begun.result()
    assert not is_there(child)


def test_calls_not_begun_can_be_cancelled() -> None:
    crew = Crew(1, lambda _: 60.0)
    begun, waiting = crew.submit(time.sleep, 0.5), crew.submit(double, 1)
    while not begun.running():
        time.sleep(0.01)
    assert waiting.cancel()
    assert not begun.cancel()
    crew.shutdown()
    assert begun.result() is None


_SCRIPT = """
import sys, time
from surrogate.crew import Crew
import os
crew = Crew(2, lambda _: 600.0)
print(*[future.result() for future in [crew.submit(os.getpid), crew.submit(os.getpid)]], flush=True)
crew.submit(time.sleep, 600); crew.submit(time.sleep, 600)
time.sleep(600)
"""


@pytest.mark.skipif(sys.platform != "linux", reason="told by /proc")
def test_children_end_with_a_parent_that_is_killed() -> None:
    """The script is not guarded against being run by children: it is not run again by them."""
    with subprocess.Popen([sys.executable, "-c", _SCRIPT], stdout=subprocess.PIPE, text=True) as parent:
        assert parent.stdout is not None
        children = [int(word) for word in parent.stdout.readline().split()]
        assert all(is_there(child) for child in children)
        time.sleep(0.3)
        parent.kill()
    for _ in range(100):
        if not any(is_there(child) for child in children):
            return
        time.sleep(0.05)
    pytest.fail("a child outlived its parent")
