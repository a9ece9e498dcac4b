"""One scan's journey: preserve, read, measure, plan, apply, encode (:func:`take_in`), then describe and put in
place once it has its number (:func:`put_in_place`). Both run in workers and return plain records; only the parent
writes the catalogue.
"""

from __future__ import annotations

import atexit
import os
import shutil
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

import cv2
import numpy as np
import numpy.typing as npt

from surrogate._version import __version__
from surrogate.collection import files, paths
from surrogate.collection.settings import CopiesSection, ScanSection
from surrogate.condition import kind as kinds
from surrogate.condition import measure as condition
from surrogate.condition import picture as condition_picture
from surrogate.condition.measure import Measured
from surrogate.copies import fidelity, make
from surrogate.description.embed import Description, Embedder
from surrogate.description.proposals import Proposal, proposals
from surrogate.errors import ScanSetAside
from surrogate.imaging import encode
from surrogate.imaging.density import Pixels, to_density
from surrogate.imaging.read import Raster, ScanHeader, read_header, read_reduced
from surrogate.intake import outlines
from surrogate.records import Condition, Copy, Fidelity, Kind, Master, Side, Strength, Tone, Use
from surrogate.recovery import plans
from surrogate.recovery.recipe import Plan, Recipe

SOFTWARE = f"surrogate {__version__}"

#: Long edge at which prints on a page are looked for.
LAYOUT_LONG_EDGE_PX = 1400

#: An A4 page at 350 ppi; text recognition wants at least 300 (Tesseract's documentation, from memory).
READING_LONG_EDGE_PX = 4096

#: Long edge of the picture in ``condition/``: it is looked at on a page beside its copy.
CONDITION_LONG_EDGE_PX = 640

#: An outline is cut out only when it was found with at least this confidence; else the whole frame is kept.
SURE_OUTLINE = 0.5

Corners = tuple[tuple[float, float], ...]

_Density = npt.NDArray[np.float32]

#: (kind, condition, density) of each picture on a scan, by part; None is the whole.
_Parts = dict[int | None, tuple[Kind, Measured, _Density]]


@dataclass(frozen=True)
class Decisions:
    """What people or settings decided about one side; together with the master it settles every copy.

    ``kind`` None means: find out. ``outlines`` None means: find them; empty: keep the whole frame; each has four
    corners in master pixels, clockwise from top left.
    """

    kind: Kind | None
    kind_from: str
    strength: Strength
    tone: Tone
    copies: CopiesSection
    scan: ScanSection
    outlines: tuple[Corners, ...] | None = None


@dataclass(frozen=True)
class Job:
    """One scan to be taken in. ``staging`` is a folder of its own inside the collection."""

    scan: Path
    name: str
    side: Side
    staging: Path
    decisions: Decisions
    is_master: bool = False


@dataclass(frozen=True)
class Found:
    """An outline on the scan, in master pixels. ``confidence`` is None where a person drew it."""

    part: int
    corners: Corners
    confidence: float | None
    note: str = ""


@dataclass(frozen=True)
class StagedCopy:
    """A finished copy that has no number yet."""

    use: Use
    part: int | None
    file: Path
    width: int
    height: int
    fidelity: Fidelity | None
    recipe: Recipe


@dataclass(frozen=True)
class Taken:
    """Everything :func:`take_in` made and measured."""

    job: Job
    file: Path
    sha256: str
    size: int
    header: ScanHeader
    kind: Kind
    kind_confidence: float | None
    kind_from: str
    condition: Condition
    condition_picture: Path
    copies: tuple[StagedCopy, ...]
    outlines: tuple[Found, ...]
    offered: tuple[Proposal, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True)
class Placed:
    """What :func:`put_in_place` left in the collection."""

    master: Master
    copies: tuple[Copy, ...]


@dataclass(frozen=True)
class _Shown:
    """One picture on a scan: the whole frame, or what lies inside an outline."""

    part: int | None
    outline: Corners | None


def take_in(job: Job) -> Taken:
    """Preserve one scan in its staging folder, measure it and make its copies there.

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
    header = read_header(master)
    raster = read_reduced(master, job.decisions.copies.viewing_long_edge)
    if raster.ppi is None and job.decisions.scan.ppi:
        raster = replace(raster, ppi=job.decisions.scan.ppi * raster.scale)
    found, background, notes = _layout(raster, job.decisions)
    shown = _as_shown(found)
    density = _density(_look(raster, shown[0]))
    guess = _kind(density, raster.ppi, len(shown) - 1, background, job)
    measured, parts = _measure(raster, shown, density, guess.kind, job)
    copies = _copies(master, sha256, raster, shown, parts, job)
    if header.pages > 1:
        notes += (f"The file holds {header.pages} pages; only the first was copied. The master keeps them all.",)
    if guess.note:
        notes += (guess.note,)
    drawn = job.staging / "condition.png"
    encode.png(_condition_picture(raster, shown, measured), drawn)
    return Taken(
        job=job,
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
        outlines=tuple(found),
        offered=() if job.is_master else tuple(proposals(embedder().read(master))),
        notes=notes,
    )


def _suffix(scan: Path) -> str:
    return scan.suffix.lower()


def _preserve(scan: Path, target: Path) -> tuple[str, int]:
    try:
        sha256, size = files.copy_hashed(scan, target)
    except FileNotFoundError as error:
        raise ScanSetAside("The file vanished while it was being read.", "Check where it went.") from error
    except OSError as error:
        raise ScanSetAside(
            f"The file cannot be read: {error.strerror or error}.", "Check its permissions and the disk it is on."
        ) from error
    if scan.stat().st_size != size:
        raise ScanSetAside("The file changed while it was being read.", "Wait until the scanner is done; run again.")
    return sha256, size


def _layout(raster: Raster, decisions: Decisions) -> tuple[list[Found], str, tuple[str, ...]]:
    """Where the pictures lie on the scan, to be cut out: (outlines, background, notes)."""
    if decisions.outlines is not None:
        drawn = [Found(part, corners, None) for part, corners in enumerate(decisions.outlines, start=1)]
        return drawn, "as people drew it", ()
    if not decisions.copies.crop or decisions.kind is Kind.TARGET:
        return [], "frame", ()
    small = make.reduced(_eight_bits(raster.pixels), LAYOUT_LONG_EDGE_PX)
    factor = small.shape[1] / raster.pixels.shape[1] * raster.scale
    layout = outlines.find(small, None if raster.ppi is None else raster.ppi * factor / raster.scale)
    notes = layout.notes
    sure = [outline for outline in layout.outlines if outline.confidence >= SURE_OUTLINE]
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
    return found, layout.background, notes


def _as_shown(found: list[Found]) -> list[_Shown]:
    """No outline: the frame. One: what lies inside it. More: the whole page and each part."""
    if len(found) == 1:
        return [_Shown(None, found[0].corners)]
    return [_Shown(None, None), *(_Shown(one.part, one.corners) for one in found)]


def _kind(density: _Density, ppi: float | None, parts: int, background: str, job: Job) -> kinds.KindGuess:
    if job.side is Side.VERSO:  # a back is paper with writing on it, whatever lies on the front
        return kinds.KindGuess(Kind.DOCUMENT, 1.0, negative_colour=False, note="")
    if job.decisions.kind is not None:
        return kinds.KindGuess(job.decisions.kind, 1.0, negative_colour=False, note="")
    return kinds.guess(density, ppi=ppi, layout_parts=parts, background=background)


def _look(raster: Raster, shown: _Shown) -> Raster:
    return raster if shown.outline is None else make.straightened(raster, shown.outline)


def _density(raster: Raster) -> _Density:
    """Density of about 1 MP, for measuring and planning."""
    height, width = raster.pixels.shape[:2]
    factor = min(1.0, (1e6 / (height * width)) ** 0.5)
    size = (max(1, round(width * factor)), max(1, round(height * factor)))
    return to_density(raster.pixels if factor == 1 else cv2.resize(raster.pixels, size, interpolation=cv2.INTER_AREA))


def _measure(raster: Raster, shown: list[_Shown], density: _Density, kind: Kind, job: Job) -> tuple[Measured, _Parts]:
    """Condition of the whole, and (kind, condition, density) of each picture by part; ``density`` is the whole's."""
    parts: _Parts = {}
    pictures = [one for one in shown if one.part is not None]
    kinds_of, densities = [], []
    for one in pictures:
        densities.append(_density(_look(raster, one)))
        guess = kinds.guess(densities[-1], ppi=raster.ppi, layout_parts=0, background="frame")
        kinds_of.append(guess.kind)
    measured_parts = condition.measure_together(densities, kinds_of, side=job.side, ppi=raster.ppi)
    for one, its_kind, its_condition, its_density in zip(pictures, kinds_of, measured_parts, densities, strict=True):
        parts[one.part] = (its_kind, its_condition, its_density)
    ppi = None if raster.ppi is None else raster.ppi * density.shape[1] / _look(raster, shown[0]).pixels.shape[1]
    if pictures:
        whole = condition.measure_page(measured_parts, density, side=job.side, ppi=ppi)
    else:
        whole = condition.measure(density, kind=kind, side=job.side, ppi=ppi)
    parts[None] = (Kind.ALBUM_PAGE if pictures else kind, whole, density)
    return whole, parts


def _copies(
    master: Path, sha256: str, raster: Raster, shown: list[_Shown], parts: _Parts, job: Job
) -> list[StagedCopy]:
    decisions, copies = job.decisions, []
    for one in shown:
        its_kind, measured, density = parts[one.part]
        uses = [Use.VIEWING]
        if plans.has_reading_copy(its_kind, job.side):
            uses.append(Use.READING)
        for use in uses:
            plan = plans.plan(
                density,
                measured,
                kind=its_kind,
                side=job.side,
                use=use,
                tone=decisions.tone,
                strength=decisions.strength,
            )
            recipe = _recipe(plan, one, use, its_kind, sha256, raster, job)
            size = recipe.long_edge_px or 0
            same = one.outline is None and size == decisions.copies.viewing_long_edge
            source = raster if same else make.picture(master, turn=0, outline=one.outline, long_edge_px=size)
            if source.ppi is None and decisions.scan.ppi:
                source = replace(source, ppi=decisions.scan.ppi * source.scale)
            copies += _staged(source, recipe, job)
    return copies


def _recipe(plan: Plan, one: _Shown, use: Use, kind: Kind, sha256: str, raster: Raster, job: Job) -> Recipe:
    decisions = job.decisions
    return Recipe(
        software=SOFTWARE,
        kind=kind.value,
        use=use.value,
        side=job.side.value,
        part=one.part,
        master="",
        master_sha256=sha256,
        input_profile=raster.profile,
        outline=None if one.outline is None else list(one.outline),
        long_edge_px=READING_LONG_EDGE_PX if use is Use.READING else decisions.copies.viewing_long_edge,
        quality=decisions.copies.quality,
        strength=decisions.strength.value,
        tone=decisions.tone.value,
        ppi_assumed=decisions.scan.ppi or None,
        thumbnail_long_edge_px=decisions.copies.thumbnail_long_edge if use is Use.VIEWING else None,
        steps=plan.steps,
        words=plan.words,
        evidence=plan.evidence,
        limits=plan.limits,
    )


def _staged(source: Raster, recipe: Recipe, job: Job) -> list[StagedCopy]:
    pixels = make.rendered(source, recipe.steps)
    made = []
    for use, image, ppi in make.outputs(pixels, recipe, source.ppi):
        file = job.staging / f"{recipe.part or 0}_{use}.jpg"
        make.write_jpeg(image, file, quality=recipe.quality or 88, ppi=ppi)
        true = fidelity.measure(source.pixels, pixels, recipe.steps) if use.value == recipe.use else None
        made.append(StagedCopy(use, recipe.part, file, image.shape[1], image.shape[0], true, recipe))
    return made


def _eight_bits(pixels: Pixels) -> npt.NDArray[np.uint8]:
    if pixels.dtype == np.uint8:
        return np.asarray(pixels, dtype=np.uint8)
    return (pixels >> 8).astype(np.uint8)


def _condition_picture(raster: Raster, shown: list[_Shown], measured: Measured) -> npt.NDArray[np.uint8]:
    """The original as it is, small, with its marks outlined; on a page, the outlines of its parts too."""
    small = make.reduced(_eight_bits(_look(raster, shown[0]).pixels), CONDITION_LONG_EDGE_PX)
    drawn = condition_picture.draw(small, measured.condition.stain, measured.marks)
    factor = small.shape[1] / _look(raster, shown[0]).pixels.shape[1] * raster.scale
    for one in shown[1:]:
        corners = np.rint(np.array(one.outline) * factor).astype(np.int32)
        drawn = cv2.polylines(np.ascontiguousarray(drawn), [corners], isClosed=True, color=(255, 255, 255), thickness=3)
        drawn = cv2.polylines(drawn, [corners], isClosed=True, color=(0, 0, 0), thickness=1, lineType=cv2.LINE_AA)
    return np.asarray(drawn, dtype=np.uint8)


def master_record(reference: str, taken: Taken) -> Master:
    """The record of a master under its final name."""
    return Master(
        side=taken.job.side,
        file=paths.master(reference, taken.job.side, taken.file.suffix.lstrip(".")),
        sha256=taken.sha256,
        bytes=taken.size,
        width=taken.header.width,
        height=taken.header.height,
        bits=taken.header.bits,
        ppi=taken.header.ppi,
        profile=taken.header.profile,
        scanned_as=taken.job.name,
    )


def put_in_place(root: Path, reference: str, taken: Taken, description: Description) -> Placed:
    """Describe the staged files of one side and give everything its final name.

    Masters are renamed first and made read-only; a master that is there already has the same bytes by its SHA-256.
    """
    side = taken.job.side
    master = master_record(reference, taken)
    _place_master(taken, root / master.file)
    embedder().write_many(
        [(copy.file, describe_copy(description, master, copy.recipe, copy.use)) for copy in taken.copies]
    )
    embedder().sidecar(root / paths.sidecar(reference, side), describe_master(description, master, taken.kind))
    copies = [_place_copy(root, reference, copy, master) for copy in taken.copies]
    _place(taken.condition_picture, root / paths.condition(reference, side, "png"))
    record = taken.condition.model_dump_json(indent=2) + "\n"
    files.replace_if_changed(root / paths.condition(reference, side, "json"), record.encode())
    shutil.rmtree(taken.job.staging, ignore_errors=True)
    return Placed(master, tuple(copies))


def describe_again(
    root: Path, reference: str, kind: Kind, master: Master, copies: list[Copy], description: Description
) -> list[Copy]:
    """Replace the words in finished copies and the master's sidecar; no picture is encoded again."""
    items = []
    for copy in copies:
        recipe = Recipe.model_validate_json((root / (copy.recipe or "")).read_bytes())
        items.append((root / copy.file, describe_copy(description, master, recipe, copy.use)))
    embedder().rewrite_many(items)
    embedder().sidecar(root / paths.sidecar(reference, master.side), describe_master(description, master, kind))
    return [copy.model_copy(update={"sha256": files.sha256_of(root / copy.file)}) for copy in copies]


def _place_master(taken: Taken, target: Path) -> None:
    if taken.job.is_master:
        return
    with files.disk_errors(target):
        target.parent.mkdir(parents=True, exist_ok=True)
        if target.exists():
            if files.sha256_of(target) == taken.sha256:
                return
            raise ScanSetAside(
                f"Another file already lies under the name {target.name}.", "Run `surrogate audit` and look at it."
            )
        with taken.file.open("rb") as handle:
            os.fsync(handle.fileno())
        files.make_read_only(taken.file)
        taken.file.rename(target)
        files.flush_folder(target.parent)


def _place_copy(root: Path, reference: str, copy: StagedCopy, master: Master) -> Copy:
    side = master.side
    file = paths.copy(reference, side, copy.part, copy.use)
    recipe_file = paths.recipe(reference, side, copy.part, Use(copy.recipe.use))
    recipe = copy.recipe.model_copy(update={"master": master.file})
    if copy.use.value == copy.recipe.use:
        content = recipe.model_dump_json(by_alias=True, indent=1) + "\n"
        files.replace_if_changed(root / recipe_file, content.encode())
    sha256 = files.sha256_of(copy.file)
    _place(copy.file, root / file)
    return Copy(
        use=copy.use,
        side=side,
        part=copy.part,
        file=file,
        sha256=sha256,
        width=copy.width,
        height=copy.height,
        recipe=recipe_file,
        master_sha256=master.sha256,
        fidelity=copy.fidelity,
    )


def _place(temporary: Path, target: Path) -> None:
    with files.disk_errors(target):
        target.parent.mkdir(parents=True, exist_ok=True)
        files.publish(temporary, target)


def describe_copy(description: Description, master: Master, recipe: Recipe, use: Use) -> Description:
    """The description of one copy: what it shows, which master it is of, and what was done, in words."""
    what = "thumbnail" if use is Use.THUMBNAIL else f"{use} copy"
    done = recipe.words or ["tone and colour left as scanned"]
    if recipe.outline is not None:
        done = ["trimmed to the picture's edge and straightened", *done]
    if recipe.part is not None:
        what += f" of part {recipe.part}"
    film = "negativeFilm" if recipe.kind == Kind.NEGATIVE.value else "print"
    return description.model_copy(
        update={
            "source_type": "algorithmicallyEnhanced" if recipe.steps else film,
            "source": f"{master.file} sha256:{master.sha256}",
            "derived_from": master.file,
            "history": [f"{what} made by {recipe.software}", *done, *description.history],
            "software": recipe.software,
        }
    )


def describe_master(description: Description, master: Master, kind: Kind) -> Description:
    """The description that lies beside a master."""
    return description.model_copy(
        update={
            "source_type": "negativeFilm" if kind is Kind.NEGATIVE else "print",
            "source": f"{master.file} sha256:{master.sha256}",
            "software": SOFTWARE,
        }
    )


@cache
def embedder() -> Embedder:
    """This process's own ExifTool, started when first needed and ended with the process."""
    tool = Embedder()
    tool.__enter__()
    atexit.register(tool.__exit__, None, None, None)
    return tool
