"""``demo``: the main job on the sample scans that come with the project."""

from __future__ import annotations

from pathlib import Path

from surrogate.collection import settings
from surrogate.collection.files import disk_errors, write_atomic
from surrogate.errors import WrongUse
from surrogate.processing import ProcessReport, Progress, process

#: Fixed, so that the demo gives the same numbers in every year.
YEAR = 2026

SAMPLES = Path(__file__).resolve().parent.parent / "sample_scans"


def demo(folder: Path, *, workers: int | None = None, progress: Progress | None = None) -> ProcessReport:
    """Make the sample scans into a collection in ``folder``. Raises :class:`WrongUse` without the sample scans."""
    if not SAMPLES.is_dir():
        raise WrongUse("The sample scans are not installed. Run the demo from the project's own folder: make demo")
    if not (folder / settings.FILE_NAME).exists() and (not folder.exists() or not any(folder.iterdir())):
        with disk_errors(folder):
            folder.mkdir(parents=True, exist_ok=True)
        sample = SAMPLES / settings.FILE_NAME
        if sample.is_file():
            write_atomic(folder / settings.FILE_NAME, sample.read_bytes())
        else:
            settings.write_first(folder, YEAR)
    captions = SAMPLES / "captions.csv"
    return process(
        [SAMPLES], folder, captions=captions if captions.is_file() else None, workers=workers, progress=progress
    )
