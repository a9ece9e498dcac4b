"""Text files of any length that replace their predecessor whole, and only when something changed."""

from __future__ import annotations

import filecmp
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TextIO

from surrogate.collection.files import disk_errors, publish, unfinished_name


@contextmanager
def replacing(path: Path) -> Iterator[TextIO]:
    """Yield a UTF-8 text stream whose content becomes ``path`` when the block ends without an error.

    Nothing is translated (line ends are written as given). A file with the same bytes is left untouched, so
    that its time stamp tells when its content last changed. Raises :class:`surrogate.errors.DiskFull` or
    :class:`surrogate.errors.CollectionUnusable`.
    """
    temporary = unfinished_name(path)
    with disk_errors(path):
        path.parent.mkdir(parents=True, exist_ok=True)
        try:
            with temporary.open("w", encoding="utf-8", newline="", buffering=1 << 18) as stream:
                yield stream
            if not (path.is_file() and filecmp.cmp(temporary, path, shallow=False)):
                publish(temporary, path)
        finally:
            temporary.unlink(missing_ok=True)
