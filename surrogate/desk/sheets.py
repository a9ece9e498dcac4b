"""The caption sheet is written after changes at the desk, but never more than a tenth of the time.

While the sheet is written nothing can be saved (see :func:`surrogate.exporting.refresh_sheet`). With a family's prints
that takes milliseconds; with 100,000 originals it takes seconds, so the sheet waits ten times as long as it last took.
"""

from __future__ import annotations

import threading
import time
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path

from surrogate import exporting
from surrogate.collection import paths
from surrogate.collection.catalogue import open_catalogue
from surrogate.collection.files import sha256_of
from surrogate.description.sheet import lock_beside
from surrogate.errors import SurrogateError

#: Share of the time that may go into writing the sheet, as one part in so many.
REST = 10

#: A sheet that is written in less is written after every change: nobody notices.
UNFELT_S = 0.25


@dataclass
class SheetKeeper:
    """Brings ``captions.csv`` up to date. May be told of changes from several threads."""

    folder: Path
    _lock: threading.Lock = field(default_factory=threading.Lock)
    _not_before: float = 0.0
    _timer: threading.Timer | None = None

    def changed(self) -> None:
        """Something was saved: write the sheet now, or as soon as it has rested."""
        with self._lock:
            wait = self._not_before - time.monotonic()
            if wait > 0:
                if self._timer is None:
                    self._timer = threading.Timer(wait, self._later)
                    self._timer.daemon = True
                    self._timer.start()
                return
            self._write()

    def finish(self) -> None:
        """The desk ends: write what is still to be written."""
        with self._lock:
            if self._timer is not None:
                self._timer.cancel()
                self._timer = None
                self._write()

    def _later(self) -> None:
        with self._lock:
            self._timer = None
            with suppress(SurrogateError):  # the words are in the catalogue; the next run of `process` writes the sheet
                self._write()

    def _write(self) -> None:
        """Write the sheet, unless a person has it open or has written in it since it was last written; then the next
        run of ``process`` brings both together.
        """
        started = time.monotonic()
        path = self.folder / paths.CAPTIONS
        if lock_beside(path) is None:
            with open_catalogue(self.folder) as catalogue:
                if not path.is_file() or sha256_of(path) == catalogue.sheet_as_written():
                    exporting.refresh_sheet(self.folder, catalogue)
        now = time.monotonic()
        took = now - started
        self._not_before = now + (REST * took if took > UNFELT_S else 0)
