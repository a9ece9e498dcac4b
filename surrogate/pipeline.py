"""One scan's journey: preserve, read, measure, plan, apply, encode. It runs in a worker and returns plain records;
once the scan has its number, :mod:`surrogate.placing` describes the copies and puts everything in place.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import cv2
import numpy as np
import numpy.typing as npt

from surrogate import standing
from surrogate.collection import files
from surrogate.condition import kind as kinds
from surrogate.condition import lot, scan_error
from surrogate.condition import measure as condition
from surrogate.condition import picture as condition_picture
from surrogate.condition.measure import Measured
from surrogate.copies import make
from surrogate.copying import copies_of_scan, shining_through
from surrogate.description.embed import embedder
from surrogate.description.proposals import proposals
from surrogate.errors import ScansAway, TryAgain
from surrogate.imaging import encode
from surrogate.imaging.density import Pixels
from surrogate.imaging.formats import SUFFIXES, sniff
from surrogate.imaging.read import Raster, ScanHeader, read_header, read_reduced
from surrogate.intake import leaf, outlines, returned
from surrogate.intake.gather import PICTURE_SUFFIXES
from surrogate.jobs import Decisions, Found, Job, StagedCopy, Taken
from surrogate.looking import Density, Shown, look_at, measure_pictures, proxy_density
from surrogate.records import Kind, Side

#: Long edge at which prints on a page are looked for.
LAYOUT_LONG_EDGE_PX = 1400

#: Long edge of the picture in ``condition/``: it is looked at on a page beside its copy.
CONDITION_LONG_EDGE_PX = 640

#: Pages of one file that are copied at most: more are a film, and one call must end.
MOST_PAGES = 100


def take_in(job: Job) -> Taken:
    """Preserve one scan in its staging folder, measure it and make its copies there; those of its back too, where
    that is its second page and is asked for.

    Raises :class:`ScanSetAside` when the scan cannot be taken in, :class:`DiskFull` and
    :class:`CollectionUnusable` when the collection cannot be written.
    """
    with files.disk_errors(job.staging):
        job.staging.mkdir(parents=True, exist_ok=True)
    if job.is_master:
        master, sha256, size = job.scan, files.sha256_of(job.scan), job.scan.stat().st_size
    else:
        master = job.staging / f"master{_suffix(job.scan)}"
        sha256, size = _preserve(job.scan, master)
    header = read_header(master, job.page)
    if job.back is not None and not job.is_master:
        leaf.refuse_more(header.pages)
    if job.back is None or header.pages != leaf.PAGES:
        return _side(job, master, header, sha256, size)
    front = _side(replace(job, apart=(1,)), master, header, sha256, size)
    behind = replace(
        job,
        name=leaf.page_name(job.name, 1),
        side=Side.VERSO,
        staging=job.staging.with_name(f"{job.staging.name}-back"),
        decisions=job.back,
        is_master=False,
        page=1,
        back=None,
    )
    with files.disk_errors(behind.staging):
        behind.staging.mkdir(parents=True, exist_ok=True)
    back = _side(behind, master, read_header(master, 1), sha256, size)
    said = f"Page 2 of {job.name} is its back, as the settings ask."
    return replace(front, back=replace(back, at_arrival=(*back.at_arrival, said)))


def _side(job: Job, master: Path, header: ScanHeader, sha256: str, size: int) -> Taken:
    """Measure one side and make its copies in its staging folder; ``header`` is that of its page."""
    if header.profile is not None:  # the scan says itself what its numbers mean
        job = replace(job, decisions=replace(job.decisions, profile=None))
    opened = _open(master, header.pages, job)
    job, raster, shown, notes, guess = opened.job, opened.raster, opened.shown, opened.notes, opened.guess
    measured, parts = measure_pictures(raster, shown, opened.density, guess.kind, job.side, job.decisions.lot)
    fade = scan_error.widened(measured.condition.fade, opened.density, profile=raster.profile, bits=header.bits)
    measured = replace(measured, condition=measured.condition.model_copy(update={"fade": fade}))
    copies = copies_of_scan(master, sha256, raster, shown, parts, job, shining_through(raster, shown, parts, job))
    if header.pages > 1 and job.page == 0:
        further, said = _further_pages(master, sha256, header.pages, job)
        copies += further
        notes += said
    if guess.note:
        notes += (guess.note,)
    drawn = job.staging / "condition.png"
    encode.png(_condition_picture(raster, shown, measured), drawn)
    return Taken(
        job=opened.given,
        file=master,
        sha256=sha256,
        size=size,
        header=header,
        kind=guess.kind,
        kind_confidence=None if job.decisions.kind else round(guess.confidence, 3),
        kind_from=job.decisions.kind_from if job.decisions.kind else "picture",
        condition=measured.condition,
        condition_picture=drawn,
        copies=tuple(copies),
        outlines=tuple(opened.found),
        offered=() if job.is_master or job.page else tuple(proposals(embedder().read(master))),
        notes=notes,
        answered=opened.answered,
    )


def glance(job: Job) -> str:
    """What the other prints of its lot need of a master: see :mod:`surrogate.condition.lot`. Runs in a worker.

    Empty where it is no single colour print or holds too little to judge from. Raises what :func:`take_in` raises.
    """
    opened = _open(job.scan, read_header(job.scan, job.page).pages, job)
    alone = len(opened.shown) == 1 and opened.guess.kind is Kind.COLOUR_PRINT
    return lot.glance(opened.density) if alone else ""


@dataclass(frozen=True)
class _Opened:
    """A scan set upright, its pictures found and its kind known. ``given`` is the job before what the picture says."""

    given: Job
    job: Job
    raster: Raster
    found: list[Found]
    shown: list[Shown]
    density: Density
    guess: kinds.KindGuess
    answered: tuple[str, ...]
    notes: tuple[str, ...]


def _open(master: Path, pages: int, job: Job) -> _Opened:
    raster = _raster(master, job.decisions, job.page)
    job, standing_notes = standing.set_upright(job, _eight_bits(raster.pixels))
    raster = replace(raster, pixels=make.turned(raster.pixels, job.decisions.turn))
    answered = returned.numbers_on(raster.pixels)
    given = job
    if answered:
        job = replace(job, decisions=_as_sheet(job.decisions))
    if pages > 1 and job.page == 0 and job.decisions.scan.pages == "parts":  # its parts are its pages
        job = replace(job, decisions=replace(job.decisions, outlines=()))
    lying = _layout(raster, job.decisions)
    shown = _as_shown(lying, job.page)
    density = proxy_density(look_at(raster, shown[0]))
    guess = _kind(density, raster.ppi, len(shown) - 1, lying.background, job)
    notes = (*standing_notes, *lying.notes)
    return _Opened(given, job, raster, lying.found, shown, density, guess, answered, notes)


def _raster(master: Path, decisions: Decisions, page: int = 0) -> Raster:
    """A page of the scan as its tags have it, at the size of a viewing copy."""
    raster = read_reduced(master, decisions.copies.viewing_long_edge, page, decisions.profile)
    if raster.ppi is None and decisions.scan.ppi:
        raster = replace(raster, ppi=decisions.scan.ppi * raster.scale)
    return raster


def _further_pages(master: Path, sha256: str, pages: int, job: Job) -> tuple[list[StagedCopy], tuple[str, ...]]:
    """Copies of the pages after the first, as parts 2, 3 ..., where the settings ask for them; and what to say."""
    others = [page for page in range(1, pages) if page not in job.apart]
    if not others:
        return [], ()
    if job.decisions.scan.pages != "parts":
        said = f"The file holds {pages} pages; only the first was copied. The master keeps them all. To have every page"
        return [], (f'{said} copied, write pages = "parts" under [scan] in collection.toml.',)
    copies: list[StagedCopy] = []
    for page in others[: MOST_PAGES - 1]:
        raster = _raster(master, job.decisions, page)
        raster = replace(raster, pixels=make.turned(raster.pixels, job.decisions.turn))
        density = proxy_density(raster)
        guess = _kind(density, raster.ppi, 0, "frame", job)
        ppi = None if raster.ppi is None else raster.ppi * density.shape[1] / raster.pixels.shape[1]
        measured = condition.measure(density, kind=guess.kind, side=job.side, ppi=ppi)
        part = Shown(page + 1, None, page)
        copies += copies_of_scan(master, sha256, raster, [part], {part.part: (guess.kind, measured, density)}, job)
    left = f"; the {pages - MOST_PAGES} after page {MOST_PAGES} were not copied" if pages > MOST_PAGES else ""
    return copies, (f"The file holds {pages} pages; each has a copy as a part{left}.",)


def _as_sheet(decisions: Decisions) -> Decisions:
    """A contact sheet that came back is a document and one whole, unless people said otherwise."""
    return replace(
        decisions,
        kind=decisions.kind or Kind.DOCUMENT,
        kind_from=decisions.kind_from if decisions.kind else "contact sheet",
        outlines=() if decisions.outlines is None else decisions.outlines,
    )


def _suffix(scan: Path) -> str:
    """The suffix as scanned, where it is one of pictures, else the usual one of the format."""
    own = scan.suffix.lower()
    return own if own in PICTURE_SUFFIXES else SUFFIXES[sniff(scan)]


def _preserve(scan: Path, target: Path) -> tuple[str, int]:
    try:
        before = scan.stat()
        sha256, size = files.copy_hashed(scan, target)
        after = scan.stat()
    except OSError as error:
        if files.is_away(error, scan.parent):
            raise ScansAway(
                f"{scan.parent} cannot be reached any more ({error.strerror or error}). Connect the disk or the "
                "network folder again and run the same command; what is already recorded is safe."
            ) from error
        if isinstance(error, FileNotFoundError):
            raise TryAgain("The file vanished while it was being read.", "Check where it went.") from error
        raise TryAgain(
            f"The file cannot be read: {error.strerror or error}.", "Check its permissions and the disk it is on."
        ) from error
    if after.st_size != size or after.st_mtime_ns != before.st_mtime_ns:
        raise TryAgain("The file changed while it was being read.", "Wait until the scanner is done; run again.")
    return sha256, size


@dataclass(frozen=True)
class _Lying:
    """Where pictures lie on the scan, to be cut out; ``whole``: the scan is shown whole as well."""

    found: list[Found]
    whole: bool
    background: str
    notes: tuple[str, ...] = ()


def _layout(raster: Raster, decisions: Decisions) -> _Lying:
    if decisions.outlines is not None:
        drawn = [Found(part, corners, None) for part, corners in enumerate(decisions.outlines, start=1)]
        return _Lying(drawn, len(drawn) != 1, "as people drew it")
    if not decisions.copies.crop or decisions.kind is Kind.TARGET:
        return _Lying([], whole=True, background="frame")
    small = make.reduced(_eight_bits(raster.pixels), LAYOUT_LONG_EDGE_PX)
    factor = small.shape[1] / raster.pixels.shape[1] * raster.scale
    layout = outlines.find(small)
    notes, sure = layout.notes, layout.to_cut()
    if len(sure) < len(layout.outlines):
        missed = len(layout.outlines) - len(sure)
        notes += (f"{missed} outline{'s' if missed > 1 else ''} too uncertain to cut along; the whole frame is kept.",)
    found = [
        Found(
            part,
            tuple((round(x / factor, 1), round(y / factor, 1)) for x, y in outline.corners),
            round(outline.confidence, 2),
            outline.note,
        )
        for part, outline in enumerate(sure, start=1)
    ]
    return _Lying(found, layout.keeps_whole(), layout.background, notes)


def _as_shown(lying: _Lying, page: int) -> list[Shown]:
    """What copies of a page show: the frame, what lies inside its one outline, or the whole page and each part."""
    if not lying.whole:
        return [Shown(None, lying.found[0].corners, page)]
    return [Shown(None, None, page), *(Shown(one.part, one.corners, page) for one in lying.found)]


def _kind(density: Density, ppi: float | None, parts: int, background: str, job: Job) -> kinds.KindGuess:
    if job.side is Side.VERSO:  # a back is paper with writing on it, whatever lies on the front
        return kinds.KindGuess(Kind.DOCUMENT, 1.0, negative_colour=False, note="")
    if job.decisions.kind is not None:
        return kinds.KindGuess(job.decisions.kind, 1.0, negative_colour=False, note="")
    return kinds.guess(density, ppi=ppi, layout_parts=parts, background=background)


def _eight_bits(pixels: Pixels) -> npt.NDArray[np.uint8]:
    if pixels.dtype == np.uint8:
        return np.asarray(pixels, dtype=np.uint8)
    return (pixels >> 8).astype(np.uint8)


def _condition_picture(raster: Raster, shown: list[Shown], measured: Measured) -> npt.NDArray[np.uint8]:
    """The original as it is, small, with its marks outlined; on a page, the outlines of its parts too."""
    small = make.reduced(_eight_bits(look_at(raster, shown[0]).pixels), CONDITION_LONG_EDGE_PX)
    drawn = condition_picture.draw(small, measured.condition.stain, measured.marks)
    factor = small.shape[1] / look_at(raster, shown[0]).pixels.shape[1] * raster.scale
    for one in shown[1:]:
        corners = np.rint(np.array(one.outline) * factor).astype(np.int32)
        drawn = cv2.polylines(np.ascontiguousarray(drawn), [corners], isClosed=True, color=(255, 255, 255), thickness=3)
        drawn = cv2.polylines(drawn, [corners], isClosed=True, color=(0, 0, 0), thickness=1, lineType=cv2.LINE_AA)
    return np.asarray(drawn, dtype=np.uint8)
