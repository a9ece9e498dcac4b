"""``frame``: prints are made from the manifest and the masters, then entered into the catalogue like every copy."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from surrogate import calm, exporting, running, wording
from surrogate.collection import settings
from surrogate.collection.catalogue import CopyRow, open_catalogue
from surrogate.collection.holding import held
from surrogate.copies import frame as frames
from surrogate.copies.frame_plan import PLAIN, Look
from surrogate.copies.frame_report import FrameReport
from surrogate.placing import file_row


def frame(  # noqa: PLR0913 - one argument for each option of the command
    folder: Path,
    references: Sequence[str],
    *,
    frame: str,
    opening: str | None = None,
    fill: bool = False,
    paper: str = "a4",
    ppi: float = 300,
    as_found: bool = False,
    look: Look = PLAIN,
) -> FrameReport:
    """Make prints to frame (see :func:`surrogate.copies.frame.frame`) and record them."""
    found = settings.read(folder)
    calm.environment()
    with (
        running.guarded() as carry_out,  # first: children inherit what is open
        held(folder, "frame"),
        open_catalogue(folder) as catalogue,
    ):
        report = frames.frame(
            folder,
            references,
            frame=frame,
            opening=opening,
            fill=fill,
            paper=paper,
            ppi=ppi,
            as_found=as_found,
            look=look,
            words=lambda _, original: wording.description(catalogue, found, original.reference),
            carry_out=carry_out,
        )
        with catalogue.transaction():
            for made, copy in zip(report.frames, report.copies, strict=True):
                described_as = wording.digest(wording.description(catalogue, found, made.reference))
                catalogue.put_copy(CopyRow(copy, made.reference, "print", described_as))
                files = [file for file in (copy.file, copy.recipe) if file is not None]
                catalogue.put_files(made.reference, [file_row(folder, file) for file in files])
                catalogue.add_event(made.reference, "print made", made.pdf)
        exporting.export(folder, found, catalogue, [])
    return report
