"""Runs of the command line that are killed, or whose power is cut, at a moment chosen by a seed.

A run is a child of this process with a process group of its own, so that it starts in milliseconds and dies with its
ExifTool and its workers. With one worker that is forked too, instead of being prepared by a server (``fresh`` runs do
as users' runs do). Moments are counted in what Python does to files (opening for writing, renaming, deleting,
making folders, starting programs), since those are the moments between which a half-written state can lie; the other
half of the moments are taken by the clock, so that they also fall inside SQLite, libvips and ExifTool.
"""

from __future__ import annotations

import contextlib
import mmap
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

_WRITES = os.O_WRONLY | os.O_RDWR | os.O_CREAT
_COUNTED = frozenset(
    {"os.rename", "os.remove", "os.mkdir", "os.rmdir", "os.chmod", "subprocess.Popen", "sqlite3.connect"}
)


@dataclass(frozen=True)
class Moment:
    """When a run ends: at the nth thing done to files, or after so many seconds."""

    event: int | None = None
    seconds: float | None = None


@dataclass(frozen=True)
class Run:
    """How a run ended: its exit status (None: killed), how many moments it had, how long it took."""

    status: int | None
    events: int
    seconds: float


def run(arguments: Sequence[str], moment: Moment = Moment(), *, output: Path | None = None, fresh: bool = False) -> Run:
    """Run a command in a child; at ``moment`` SIGKILL its whole group."""
    counted = mmap.mmap(-1, 4)
    start = time.monotonic()
    child = os.fork()
    if child == 0:
        _child(arguments, moment, counted, output, fresh=fresh)
    with contextlib.suppress(OSError):
        os.setpgid(child, child)
    status = _wait(child, None if moment.seconds is None else start + moment.seconds)
    taken = time.monotonic() - start
    with contextlib.suppress(ProcessLookupError):
        os.killpg(child, signal.SIGKILL)  # its ExifTool, which a run that ends by itself would end too
    events = int.from_bytes(counted[:], "little")
    return Run(os.waitstatus_to_exitcode(status) if os.WIFEXITED(status) else None, events, taken)


def _wait(child: int, until: float | None) -> int:
    while until is not None:
        done, status = os.waitpid(child, os.WNOHANG)
        if done:
            return status
        if time.monotonic() >= until:
            os.killpg(child, signal.SIGKILL)
            break
        time.sleep(0.002)
    return os.waitpid(child, 0)[1]


def _child(arguments: Sequence[str], moment: Moment, counted: mmap.mmap, output: Path | None, *, fresh: bool) -> None:
    """Never returns."""
    status = 70
    try:
        os.setpgid(0, 0)
        sink = os.open(os.devnull if output is None else output, os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o644)
        os.dup2(sink, 1)
        os.dup2(sink, 2)
        sys.addaudithook(_Counter(moment.event, counted))
        from surrogate import crew
        from surrogate.cli import main

        if not fresh:
            crew._METHOD = "fork"
        status = main(list(arguments))
    finally:
        sys.stdout.flush()
        os._exit(status)


class _Counter:
    """Counts the things done to files by all processes of a run, and ends them at the nth."""

    def __init__(self, last: int | None, counted: mmap.mmap) -> None:
        self.last, self.counted = last, counted

    def __call__(self, event: str, arguments: tuple[object, ...]) -> None:
        if event == "open":
            flags = arguments[2]
            if not isinstance(flags, int) or not flags & _WRITES:
                return
        elif event not in _COUNTED:
            return
        count = int.from_bytes(self.counted[:], "little") + 1
        self.counted[:] = count.to_bytes(4, "little")
        if count == self.last:
            os.killpg(0, signal.SIGKILL)


@contextlib.contextmanager
def mounted(image: Path, place: Path) -> Iterator[None]:
    """A file system image under a folder. Writes reach the image only when something asks for it (``commit=300``).

    Rename-over-a-file is not helped along (``noauto_da_alloc``) and data need not precede its names
    (``data=writeback``): what only works by ext4's kindness fails here.
    """
    place.mkdir(parents=True, exist_ok=True)
    _call("mount", "-o", "loop,commit=300,noauto_da_alloc,data=writeback", str(image), str(place))
    try:
        yield
    finally:
        for _ in range(100):  # a killed program may hold a file for a moment
            if subprocess.run(["umount", str(place)], capture_output=True, check=False).returncode == 0:
                break
            time.sleep(0.05)
        else:
            _call("umount", str(place))


def new_image(image: Path, megabytes: int = 48) -> None:
    """An empty ext4 file system in a file."""
    with image.open("wb") as handle:
        handle.truncate(megabytes << 20)
    _call("mkfs.ext4", "-q", "-F", "-E", "lazy_itable_init=0,lazy_journal_init=0", str(image))


def can_mount(folder: Path) -> bool:
    """Whether this system lets us mount a file system image."""
    if os.geteuid() != 0:
        return False
    try:
        new_image(folder / "try.img", 8)
        with mounted(folder / "try.img", folder / "try"):
            return True
    except (OSError, RuntimeError):
        return False


def _call(*command: str) -> None:
    told = subprocess.run(command, capture_output=True, text=True, check=False)
    if told.returncode != 0:
        raise RuntimeError(f"{' '.join(command)}: {told.stderr.strip()}")
