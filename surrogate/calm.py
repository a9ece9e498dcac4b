"""What one process may take: a thread for each library, and so much memory; and who carries a call out."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable
from typing import Protocol, TypeVar

T = TypeVar("T")

#: Memory a child may take beyond what it starts with. The largest scans measured take a third of it.
MEMORY_LIMIT_BYTES = 1_500_000_000


def environment() -> None:
    """One thread for each library in this process and its children, where nobody said otherwise.

    Processes are the unit of parallel work here. To be called before the libraries are loaded.
    """
    for name in ("VIPS_CONCURRENCY", "OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
        os.environ.setdefault(name, "1")


def libraries() -> None:
    """One thread for each library, loaded or not, and no memory of earlier pictures."""
    environment()
    import cv2

    cv2.setNumThreads(1)
    import pyvips

    pyvips.cache_set_max(0)


def limit_memory() -> None:
    """Have the system refuse this process more than its due (Linux; other systems do not keep such limits)."""
    if sys.platform != "linux":
        return
    import resource

    with open("/proc/self/statm", encoding="ascii") as handle:  # noqa: PTH123  (not a path of the user's)
        present = int(handle.read().split()[0]) * resource.getpagesize()
    resource.setrlimit(resource.RLIMIT_AS, (present + MEMORY_LIMIT_BYTES, resource.RLIM_INFINITY))


class CarryOut(Protocol):
    """Calls a function of a module and returns what it returns, here or in a process made for it."""

    def __call__(self, function: Callable[..., T], *arguments: object) -> T:
        """Whatever ``function`` raises is raised."""


def here(function: Callable[..., T], *arguments: object) -> T:
    """Call a function in this process."""
    return function(*arguments)
