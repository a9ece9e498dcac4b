"""Whether files still are what was recorded, looked at by several threads at once."""

from __future__ import annotations

import os
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from pathlib import Path
from typing import TypeVar

from surrogate.collection.files import is_in_work, sha256_of
from surrogate.collection.inventory import AREAS, LOOSE, Expected
from surrogate.collection.paths import INCOMING

R = TypeVar("R")

#: A thread is handed files of about this many bytes at a time: far more than handing over costs (about 50
#: microseconds, measured), far less than a collection, so that all threads end together.
HANDFUL_BYTES = 16_000_000
HANDFUL_FILES = 64

MISSING = "is missing"


def problem(root: Path, one: Expected, *, quick: bool = False) -> str | None:
    """What is wrong with a file, in words that follow its name; None when it is as recorded.

    ``quick`` looks at presence and length only. A file without a recorded checksum need only be there.
    """
    path = root / one.file
    try:
        if not path.is_file():
            return MISSING
        size = path.stat().st_size
        if one.size is not None and size != one.size:
            return f"has {size} bytes; {one.size} were recorded"
        if not quick and one.sha256 is not None and sha256_of(path) != one.sha256:
            return "has changed: its checksum is not the one recorded"
    except OSError as error:
        return f"cannot be read ({error.strerror or error})"
    return None


def in_parallel(work: Callable[[Expected], R], items: Iterable[Expected]) -> Iterator[R]:
    """Results of ``work`` in the order of ``items``, by as many threads as there are cores.

    Reading and hashing release the interpreter's lock. ``items`` is gone through as results are taken, so memory stays
    the same for any number of files.
    """
    threads = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    with ThreadPoolExecutor(threads) as pool:
        waiting: deque[Future[list[R]]] = deque()
        for handful in _handfuls(items):
            waiting.append(pool.submit(lambda some: [work(one) for one in some], handful))
            if len(waiting) > 2 * threads:
                yield from waiting.popleft().result()
        while waiting:
            yield from waiting.popleft().result()


def _handfuls(items: Iterable[Expected]) -> Iterator[list[Expected]]:
    handful: list[Expected] = []
    size = 0
    for one in items:
        handful.append(one)
        size += one.size or 0
        if size >= HANDFUL_BYTES or len(handful) >= HANDFUL_FILES:
            yield handful
            handful, size = [], 0
    if handful:
        yield handful


def half_written(root: Path) -> Iterator[str]:
    """Files that an interrupted run left under a name of work in progress."""
    for area in (".", *AREAS, INCOMING):
        found = (root / area).glob("*") if area == "." else (root / area).rglob("*")
        for path in sorted(found):
            if path.is_file() and (area == INCOMING or is_in_work(path.name)):
                yield path.relative_to(root).as_posix()


def unexpected(root: Path, known: set[str]) -> Iterator[str]:
    """Files in the catalogue's own folders that it knows nothing of."""
    for area in AREAS:
        for path in sorted((root / area).rglob("*")):
            name = path.relative_to(root).as_posix()
            if path.is_dir() or is_in_work(path.name) or name in known or name.startswith(LOOSE):
                continue
            yield name
