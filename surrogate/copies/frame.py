"""``surrogate frame``: a print made from the master, and the sheets that say how to frame it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TypeVar

from surrogate.calm import CarryOut, here
from surrogate.copies.collection_reading import Shown, master_of, read_manifest, shown, unreadable
from surrogate.copies.describing import words_of
from surrogate.copies.frame_files import write_files
from surrogate.copies.frame_job import FrameWishes, planned
from surrogate.copies.frame_plan import PLAIN, Look
from surrogate.copies.frame_report import FrameReport
from surrogate.copies.sizes import parse_size
from surrogate.description.embed import Description
from surrogate.errors import ScanSetAside
from surrogate.records import Manifest, Original

T = TypeVar("T")

#: The words that are embedded in the copies of an original.
Words = Callable[[Manifest, Original], Description]


def frame(  # noqa: PLR0913 - one argument for each option of the command
    collection: Path,
    references: Sequence[str],
    *,
    frame: str,
    opening: str | None = None,
    fill: bool = False,
    paper: str = "a4",
    ppi: float = 300,
    as_found: bool = False,
    look: Look = PLAIN,
    words: Words = words_of,
    carry_out: CarryOut = here,
) -> FrameReport:
    """Make prints to frame of the given originals or parts of them (all originals, when none is named).

    Sizes are text as people write them (:func:`parse_size`). ``as_found`` prints the picture as it is now, without its
    recipe's steps; a negative is always printed as a positive. Everything is planned before the first file is written.
    ``carry_out`` makes the calls that read masters.
    Raises :class:`WrongUse`, :class:`CollectionUnusable` or :class:`DiskFull` with a sentence for people.
    """
    wishes = FrameWishes(
        frame=parse_size(frame, "frame"),
        opening=parse_size(opening, "opening") if opening else None,
        fill=fill,
        paper=parse_size(paper, "paper"),
        ppi=ppi,
        as_found=as_found,
        look=look,
    )
    manifest = read_manifest(collection)
    jobs = [_of(one, carry_out, planned, collection, one, wishes) for one in shown(manifest, references)]
    made = [
        _of(job.shown, carry_out, write_files, collection, job, wishes.paper, words(manifest, job.original))
        for job in jobs
    ]
    return FrameReport(frames=[framed for framed, _ in made], copies=[copy for _, copy in made])


def _of(one: Shown, carry_out: CarryOut, function: Callable[..., T], *arguments: object) -> T:
    """Carry out a call that reads a master; where that cannot be done, the error names the master."""
    try:
        return carry_out(function, *arguments)
    except ScanSetAside as error:
        raise unreadable(master_of(one.original), error) from error
