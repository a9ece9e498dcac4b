"""Where work is done: in this process or in others, always through the same two calls."""

from __future__ import annotations

import multiprocessing
import os
from collections.abc import Callable, Iterator
from concurrent.futures import Executor, Future, ProcessPoolExecutor
from contextlib import contextmanager
from typing import Any, TypeVar

from surrogate.errors import WrongUse

T = TypeVar("T")

#: Memory one worker may need: 400 MB is the measured ceiling for 100-megapixel scans, and half as much again.
WORKER_BYTES = 600_000_000


class InProcess(Executor):
    """Runs each call at once, in this process."""

    def submit(self, fn: Callable[..., T], /, *args: Any, **kwargs: Any) -> Future[T]:
        """Run ``fn`` now; its result or error is in the future returned."""
        future: Future[T] = Future()
        try:
            future.set_result(fn(*args, **kwargs))
        except Exception as error:  # noqa: BLE001  (an executor hands every error to whoever asks for the result)
            future.set_exception(error)
        return future


def calm_libraries() -> None:
    """One thread per library in each process: processes are the unit of parallel work here."""
    for name in ("VIPS_CONCURRENCY", "OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
        os.environ.setdefault(name, "1")
    import cv2

    cv2.setNumThreads(1)
    import pyvips

    pyvips.cache_set_max(0)


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
def executor(workers: int | None) -> Iterator[tuple[Executor, int]]:
    """An executor and its number of workers; None chooses by cores and memory.

    Raises :class:`WrongUse` for fewer than one worker.
    """
    count = default_workers() if workers is None else workers
    if count < 1:
        raise WrongUse(f"--workers must be 1 or more, not {count}.")
    calm_libraries()
    if count == 1:
        yield InProcess(), 1
        return
    context = multiprocessing.get_context("spawn")
    pool = ProcessPoolExecutor(count, mp_context=context, initializer=calm_libraries)
    try:
        yield pool, count
    finally:
        pool.shutdown(cancel_futures=True)
