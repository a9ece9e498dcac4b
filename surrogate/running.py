"""Where work is done: in child processes of this one or on a cluster, always through the same calls."""

from __future__ import annotations

import os
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import Executor, Future
from contextlib import contextmanager
from pathlib import Path
from typing import TypeVar

from surrogate import calm
from surrogate.calm import CarryOut
from surrogate.crew import Crew
from surrogate.errors import CollectionUnusable, MissingTool, WrongUse
from surrogate.jobs import Job, Taken
from surrogate.records import Master

T = TypeVar("T")

#: Memory one worker may need: 400 MB is the measured ceiling for 100-megapixel scans, and half as much again.
WORKER_BYTES = 600_000_000

#: Time one call may take: a scan of 86 MB takes about a second, so this is more than a hundred times what is usual, and
#: leaves room for a slow disk far away.
LIMIT_S, LIMIT_S_PER_MB = 120.0, 1.0


def limit_s(arguments: Sequence[object]) -> float:
    """Seconds that a call with these arguments may take: two minutes, and one more second for each megabyte of scan (a
    job, a record or a path).
    """
    size = 0
    for argument in arguments:
        if isinstance(argument, Job):
            size += argument.scan.stat().st_size if argument.scan.exists() else 0
        elif isinstance(argument, Taken):
            size += argument.size
        elif isinstance(argument, Master):
            size += argument.bytes
        elif isinstance(argument, Path) and argument.is_file():
            size += argument.stat().st_size
    return LIMIT_S + LIMIT_S_PER_MB * size / 1e6


@contextmanager
def guarded() -> Iterator[CarryOut]:
    """A child process for what reads files from outside, with the limits of time and memory that scans have.

    What a file does to the child is raised as :class:`~surrogate.errors.ScanSetAside`, and the next call has a child
    of its own.
    """
    with executor(1) as (pool, _):

        def carry_out(function: Callable[..., T], *arguments: object) -> T:
            return pool.submit(function, *arguments).result()

        yield carry_out


def in_turn(
    executor: Executor, window: int, function: Callable[..., T], calls: Iterable[tuple[object, ...]]
) -> Iterator[T | None]:
    """What workers answer to these calls, in order; ``window`` of them are begun at a time. None for one that fails.

    Errors that concern the whole collection are raised.
    """
    begun: deque[Future[T]] = deque()
    for call in calls:
        begun.append(executor.submit(function, *call))
        if len(begun) >= window:
            yield _answer(begun.popleft())
    while begun:
        yield _answer(begun.popleft())


def _answer(future: Future[T]) -> T | None:
    try:
        return future.result()
    except (CollectionUnusable, MissingTool):
        raise
    except Exception:  # noqa: BLE001  (whoever asked goes on without this answer)
        return None


def default_workers() -> int:
    """As many processes as cores, as far as free memory allows 600 MB for each."""
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    return max(1, min(cores, _free_bytes() // WORKER_BYTES))


def _free_bytes() -> int:
    try:
        with open("/proc/meminfo", encoding="ascii") as handle:  # noqa: PTH123  (not a path of the user's)
            for line in handle:
                if line.startswith("MemAvailable:"):
                    return int(line.split()[1]) * 1024
    except OSError:
        pass
    return 4 * WORKER_BYTES  # what cannot be asked is taken as a small laptop's


@contextmanager
def executor(
    workers: int | None, cluster: str | None = None, shared: Sequence[Path] = ()
) -> Iterator[tuple[Executor, int]]:
    """An executor and its number of workers: on the Dask cluster at this address, or else child processes.

    ``workers`` None chooses by cores and memory; ``shared`` are the paths that workers on a cluster must see. When the
    block ends by an error, work in hand is broken off. Raises :class:`WrongUse` for fewer than one worker, for workers
    and a cluster at once, and for a cluster that cannot be used.
    """
    if cluster is not None:
        if workers is not None:
            raise WrongUse("Give either --workers or --cluster: a cluster has its own workers.")
        from surrogate import cluster as machines

        with machines.executor(cluster, shared, limit_s) as pool:
            yield pool
        return
    count = default_workers() if workers is None else workers
    if count < 1:
        raise WrongUse(f"--workers must be 1 or more, not {count}.")
    calm.environment()
    crew = Crew(count, limit_s)
    try:
        yield crew, count
    except BaseException:
        crew.abandon()
        raise
    crew.shutdown()
