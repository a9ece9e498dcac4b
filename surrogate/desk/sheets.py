"""The caption sheet is written after changes at the desk, but never more than a tenth of the time.

With a family's prints that takes milliseconds and is done before the next request. With 100,000 originals it takes
seconds: then it is done behind the desk's back, which goes on saving, and rests ten times as long as it last took.
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


#: A sheet of fewer bytes is written at once: at 20 MB a second (measured, 100,000 rows) in less than 50 ms.
SMALL_BYTES = 1_000_000


@dataclass
class SheetKeeper:
    """Brings ``captions.csv`` up to date. May be told of changes from several threads."""

    folder: Path
    _lock: threading.Lock = field(default_factory=threading.Lock)
    _writing: threading.Lock = field(default_factory=threading.Lock)
    _not_before: float = 0.0
    _timer: threading.Timer | None = None
    _busy: bool = False
    _due: bool = False

    def changed(self) -> None:
        """Something was saved: write the sheet now, or behind the desk's back as soon as it has rested."""
        with self._lock:
            self._due = True
            if self._busy or self._timer is not None:
                return
            if self._not_before > time.monotonic() or self._is_large():
                self._later()
                return
            self._due = False
            self._write()

    def finish(self) -> None:
        """The desk ends: write what is still to be written."""
        with self._lock:
            if self._timer is not None:
                self._timer.cancel()
            due, self._due = self._due, False
            self._busy = True  # nothing more is begun
        with self._writing:
            if due:
                self._write()

    def _is_large(self) -> bool:
        path = self.folder / paths.CAPTIONS
        return path.is_file() and path.stat().st_size > SMALL_BYTES

    def _later(self) -> None:
        self._timer = threading.Timer(max(0.0, self._not_before - time.monotonic()), self._behind)
        self._timer.daemon = True
        self._timer.start()

    def _behind(self) -> None:
        with self._writing:
            with self._lock:
                if self._busy:
                    return
                self._timer, self._busy, self._due = None, True, False
            with suppress(SurrogateError):  # the words are in the catalogue; the next run of `process` writes the sheet
                self._write()
            with self._lock:
                self._busy = False
                if self._due:
                    self._later()

    def _write(self) -> None:
        """Write the sheet, unless a person has it open or has written in it since it was last written; then the next
        run of ``process`` brings both together.
        """
        started = time.monotonic()
        path = self.folder / paths.CAPTIONS
        if lock_beside(path) is None:
            with open_catalogue(self.folder) as catalogue:
                if not path.is_file() or sha256_of(path) in catalogue.sheets_as_written():
                    exporting.refresh_sheet(self.folder, catalogue)
        now = time.monotonic()
        took = now - started
        self._not_before = now + (REST * took if took > UNFELT_S else 0)
