"""Workers on several machines: the same calls, carried out by a Dask cluster.

The folders of the scans and of the collection must lie on storage that every worker sees under the same path; only
records travel through the scheduler. The program that runs ``process`` stays the only one that writes the catalogue.
"""

from __future__ import annotations

import os
import platform
import secrets
import threading
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Executor, Future
from contextlib import contextmanager
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any, TypeVar

from surrogate import calm
from surrogate._version import __version__
from surrogate.errors import WorkerLost, WrongUse
from surrogate.jobs import Job

try:
    from distributed import Client, WorkerPlugin
    from distributed.scheduler import KilledWorker
except ImportError as error:
    raise WrongUse(
        "--cluster needs Dask, which is not installed here. Install it with: pip install 'surrogate[cluster]'"
    ) from error

T = TypeVar("T")

#: Seconds to wait for the scheduler to answer.
PATIENCE_S = 10


class Calm(WorkerPlugin):  # type: ignore[misc]  # Dask is not typed
    """Has every worker, also one that joins later, keep to one thread for each library and not sample its own stack."""

    name = "surrogate-calm"

    def setup(self, worker: Any) -> None:
        """Called by each worker when it begins."""
        calm.libraries()
        watching = worker.periodic_callbacks.get("profile")
        if watching is not None:
            watching.stop()


class OnCluster(Executor):
    """Hands calls to the workers of a cluster. What a worker had in hand when it died is given to another."""

    def __init__(self, client: Client, limit_s: Callable[[Sequence[object]], float]) -> None:
        self._theirs = client.get_executor(pure=False)
        self._limit_s = limit_s

    def submit(self, fn: Callable[..., T], /, *args: Any, **kwargs: Any) -> Future[T]:
        """Have a worker call ``fn``, a function of a module, with arguments that can be pickled (none by keyword)."""
        if kwargs:
            raise TypeError("arguments by keyword are not taken")
        ours: Future[T] = Future()
        ours.set_running_or_notify_cancel()
        theirs = self._theirs.submit(carry_out, self._limit_s(args), fn, tuple(map(_absolute, args)))

        def settle(done: Future[T]) -> None:
            error = done.exception()
            if isinstance(error, KilledWorker):
                ours.set_exception(
                    WorkerLost(
                        f"Each worker that read it died or took too long ({error.allowed_failures + 1} tried).",
                        "Open it in another program, save it as plain TIFF and take that in.",
                    )
                )
            elif error is not None:
                ours.set_exception(error)
            else:
                ours.set_result(done.result())

        theirs.add_done_callback(settle)
        return ours


def _absolute(argument: object) -> object:
    """Workers have current folders of their own."""
    if isinstance(argument, Job):
        return replace(argument, scan=argument.scan.absolute(), staging=argument.staging.absolute())
    return argument.absolute() if isinstance(argument, Path) else argument


@cache
def _one_at_a_time() -> threading.Lock:
    """A lock of this process: whatever the number of its threads, it has one ExifTool and memory for one scan."""
    return threading.Lock()


def carry_out(limit_s: float, function: Callable[..., T], arguments: tuple[Any, ...]) -> T:
    """Runs in a worker. One that takes too long ends itself; Dask's nanny starts another in its place.

    A scan is staged in a folder of this attempt: a worker that Dask holds for dead may still be writing.
    """
    fresh = [replace(a, staging=a.staging / secrets.token_hex(4)) if isinstance(a, Job) else a for a in arguments]
    with _one_at_a_time():
        alarm = threading.Timer(limit_s, _end)
        alarm.daemon = True
        alarm.start()
        try:
            return function(*fresh)
        finally:
            alarm.cancel()


def _end() -> None:
    os._exit(1)


@contextmanager
def executor(
    address: str, shared: Sequence[Path], limit_s: Callable[[Sequence[object]], float]
) -> Iterator[tuple[Executor, int]]:
    """An executor on the cluster at ``address`` and its number of workers.

    ``shared`` are the paths that every worker must see. Raises :class:`WrongUse` when nobody answers, when a worker has
    another version, or when it does not see a path.
    """
    try:
        client = Client(address, timeout=PATIENCE_S, set_as_default=False)
    except (OSError, TimeoutError, ValueError) as error:
        raise WrongUse(f"No Dask scheduler answers at {address}. Start it with: dask scheduler") from error
    with client:
        workers = client.scheduler_info(n_workers=-1)["workers"]
        if not workers:
            raise WrongUse(f"The cluster at {address} has no workers. Start some: dask worker {address} --nthreads 1")
        _refuse_other_versions(client)
        _refuse_unshared(client, shared)
        client.register_plugin(Calm())
        yield OnCluster(client, limit_s), len(workers)


def versions() -> dict[str, str]:
    """What must be the same everywhere for copies to have the same bytes."""
    import cv2
    import numpy as np
    import pyvips

    return {
        "surrogate": __version__,
        "Python": ".".join(platform.python_version_tuple()[:2]),
        "libvips": ".".join(str(pyvips.version(place)) for place in range(3)),
        "OpenCV": str(cv2.__version__),
        "numpy": np.__version__,
    }


def _refuse_other_versions(client: Client) -> None:
    ours = versions()
    for worker, theirs in sorted(client.run(versions, on_error="return").items()):
        if isinstance(theirs, Exception):
            raise WrongUse(f"Worker {worker} cannot use surrogate ({theirs}). Install version {__version__} there.")
        for what, version in ours.items():
            if theirs.get(what) != version:
                raise WrongUse(
                    f"Worker {worker} has {what} {theirs.get(what)}, this program {version}: install the same there."
                )


def _refuse_unshared(client: Client, shared: Sequence[Path]) -> None:
    wanted = [str(path.resolve()) for path in shared]
    for worker, missing in sorted(client.run(not_seen, wanted).items()):
        if missing:
            raise WrongUse(
                f"Worker {worker} does not see {missing[0]}. Scans and collection must lie on storage that every "
                "worker has under the same path."
            )


def not_seen(paths: Sequence[str]) -> list[str]:
    """Those of the paths that are not there for this process."""
    return [path for path in paths if not Path(path).exists()]
