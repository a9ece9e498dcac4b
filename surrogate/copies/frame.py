"""``surrogate frame``: a print made from the master, and the sheets that say how to frame it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

from surrogate.copies.collection_reading import read_manifest, shown
from surrogate.copies.describing import words_of
from surrogate.copies.frame_files import write_files
from surrogate.copies.frame_job import FrameWishes, planned
from surrogate.copies.frame_plan import PLAIN, Look
from surrogate.copies.frame_report import FrameReport
from surrogate.copies.sizes import parse_size
from surrogate.description.embed import Description, Embedder
from surrogate.records import Manifest, Original

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
) -> FrameReport:
    """Make prints to frame of the given originals or parts of them (all originals, when none is named).

    Sizes are text as people write them (:func:`parse_size`). ``as_found`` prints the picture as it is now, without its
    recipe's steps; a negative is always printed as a positive. Everything is planned before the first file is written.
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
    jobs = [planned(collection, one, wishes) for one in shown(manifest, references)]
    with Embedder() as embedder:
        made = [write_files(collection, job, wishes.paper, words(manifest, job.original), embedder) for job in jobs]
    return FrameReport(frames=[framed for framed, _ in made], copies=[copy for _, copy in made])
