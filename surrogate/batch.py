"""State of one run of ``process`` in the parent process, and what it reports."""

from __future__ import annotations

import secrets
from concurrent.futures import Executor
from dataclasses import dataclass, field
from pathlib import Path
from typing import Protocol

from pydantic import Field

from surrogate.collection import paths
from surrogate.collection.catalogue import Catalogue
from surrogate.collection.profiles import Profiles
from surrogate.collection.settings import Settings
from surrogate.intake.gather import Scan
from surrogate.outlining import Outlining
from surrogate.records import Kind, Record, SetAside
from surrogate.stopping import Stop
from surrogate.wording import Wording


class Progress(Protocol):
    """Told how far the work is."""

    def __call__(self, done: int, total: int, aside: int, what: str) -> None:
        """``done`` of ``total`` scans, ``aside`` of them set aside; ``what`` is the name of the last one."""


class ProcessReport(Record):
    """What a run of ``process`` did."""

    collection: str
    originals: int
    taken_in: list[str]
    already_there: int
    updated: list[str]
    set_aside: list[SetAside]
    paired: list[str] = Field(description="fronts and backs that were put together, and why")
    left: int = Field(description="scans not begun, since somebody asked to stop")
    notes: list[str]

    @property
    def exit_status(self) -> int:
        """0 when all was done, 1 when something was set aside or left."""
        return 1 if self.set_aside or self.left else 0


@dataclass
class Batch:
    """State of one run in the parent process."""

    root: Path
    settings: Settings
    profiles: Profiles
    catalogue: Catalogue
    executor: Executor
    window: int
    wording: Wording
    outlining: Outlining
    kind: Kind | None
    scans: dict[str, Scan]
    progress: Progress | None
    stop: Stop
    total: int = 0
    done: int = 0
    left: int = 0
    already_there: int = 0
    taken_in: list[str] = field(default_factory=list)
    updated: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    paired: list[str] = field(default_factory=list)
    aside: list[SetAside] = field(default_factory=list)
    numbered: set[str] = field(default_factory=set)
    serial: int = 0
    name: str = field(default_factory=lambda: secrets.token_hex(4))


def set_aside(batch: Batch, name: str, reason: str, advice: str, scan: Scan | None = None) -> None:
    """List a scan as not taken in; with ``scan``, it is remembered, so that it is not tried again unchanged."""
    record = SetAside(file=name, reason=reason, advice=advice)
    batch.aside.append(record)
    with batch.catalogue.transaction():
        batch.catalogue.put_set_aside(record)
        if scan is not None:
            batch.catalogue.put_source(scan.key, scan.size, scan.mtime_ns, None, None)
    tell(batch, name)


def staging(batch: Batch) -> Path:
    """A folder for one more scan. It carries the run's name: on a cluster, work of a broken run may still be ending."""
    batch.serial += 1
    return batch.root / paths.INCOMING / f"{batch.name}-{batch.serial}"


def tell(batch: Batch, name: str) -> None:
    """One more scan is dealt with."""
    batch.done += 1
    if batch.progress is not None:
        batch.progress(batch.done, max(batch.total, batch.done), len(batch.aside), name)
