"""``demo``: the main job on the sample scans that come with the project, and what can be done with the result."""

from __future__ import annotations

import shutil
from dataclasses import dataclass
from pathlib import Path

from surrogate.collection import settings
from surrogate.collection.files import disk_errors, write_atomic
from surrogate.collection.leaving import made_to_leave
from surrogate.errors import WrongUse
from surrogate.handover.archive import HandoverReport, handover
from surrogate.handover.site import PublishReport, publish
from surrogate.processing import ProcessReport, Progress, process

SAMPLES = Path(__file__).resolve().parent.parent / "sample_scans"

#: Folders of the demo that its collection is published to and handed over in.
SITE, BAG = "site", "bag"


@dataclass(frozen=True)
class PassedOn:
    """The demo's collection as the world and as a larger archive gets it."""

    site: PublishReport
    bag: HandoverReport


def demo(folder: Path, *, workers: int | None = None, progress: Progress | None = None) -> ProcessReport:
    """Make the sample scans into a collection in ``folder``. Raises :class:`WrongUse` without the sample scans."""
    if not SAMPLES.is_dir():
        raise WrongUse("The sample scans are not installed. Run the demo from the project's own folder: make demo")
    if not (folder / settings.FILE_NAME).exists() and (not folder.exists() or not any(folder.iterdir())):
        with disk_errors(folder):
            folder.mkdir(parents=True, exist_ok=True)
        write_atomic(folder / settings.FILE_NAME, (SAMPLES / settings.FILE_NAME).read_bytes())
    captions = SAMPLES / "captions.csv"
    return process([SAMPLES], folder, captions=captions, workers=workers, progress=progress)


def pass_on(folder: Path) -> PassedOn:
    """Publish the demo's collection into its folder ``site``, and hand it over into ``bag``.

    A bag of an earlier demo is written anew; a bag that somebody else made stays, and is said to be in the way.
    """
    site = publish(folder, folder / SITE)
    if made_to_leave(folder / BAG):
        shutil.rmtree(folder / BAG)
    return PassedOn(site, handover(folder, folder / BAG))
