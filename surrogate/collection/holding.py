"""One command at a time: a collection is held while it is being changed.

The lock is the operating system's own on an open file, so it ends with the process however that ends; the file's
text only says who holds it.
"""

from __future__ import annotations

import os
import socket
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from surrogate.collection import paths
from surrogate.collection.files import disk_errors, is_in_work
from surrogate.errors import CollectionUnusable

if sys.platform == "win32":
    import msvcrt

    def _try_lock(handle: int) -> bool:
        try:
            msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)
        except OSError:
            return False
        return True
else:
    import fcntl

    def _try_lock(handle: int) -> bool:
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            return False
        return True


@contextmanager
def held(folder: Path, what: str) -> Iterator[None]:
    """Hold a collection for writing while the block runs.

    Raises :class:`CollectionUnusable`, naming the holder, when another command has it.
    """
    path = folder / paths.LOCK
    with disk_errors(path):
        handle = os.open(path, os.O_RDWR | os.O_CREAT, 0o644)
    try:
        with disk_errors(path):  # a network folder may know no locks
            free = _try_lock(handle)
        if not free:
            holder = os.read(handle, 200).decode("utf-8", "replace").strip() or "another command"
            raise CollectionUnusable(f"{folder} is in use by {holder}. Wait until it has finished, then run again.")
        os.ftruncate(handle, 0)
        os.write(handle, f"`surrogate {what}` on {socket.gethostname()}, process {os.getpid()}\n".encode())
        yield
        os.ftruncate(handle, 0)
    finally:
        os.close(handle)


def clear_unfinished(folder: Path) -> None:
    """Remove what an interrupted run left half-written; only call while holding the collection."""
    incoming = folder / paths.INCOMING
    if incoming.is_dir():
        for path in sorted(incoming.rglob("*"), reverse=True):
            if path.is_dir():
                path.rmdir()
            else:
                path.unlink()
        incoming.rmdir()
    for path in [path for path in folder.rglob("*") if is_in_work(path.name) and path.is_file()]:
        path.unlink()
