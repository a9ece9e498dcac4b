"""``surrogate frame``: a print made from the master, and the sheets that say how to frame it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import pyvips
from pydantic import Field

from surrogate import __version__
from surrogate.collection import files, paths
from surrogate.copies.collection_reading import chosen, copy_of, master_of, read_manifest, recipe_of
from surrogate.copies.frame_plan import PLAIN, FramePlan, Look, plan_frame
from surrogate.copies.framing_sheet import Slip, draw_framing_sheet
from surrogate.copies.make import outline_size
from surrogate.copies.print_pages import print_page, sheet_for, tile_pages, tiles
from surrogate.copies.print_pixels import write_print
from surrogate.copies.print_sharpening import radius_px
from surrogate.copies.sizes import Size, both_sides, parse_size
from surrogate.description.embed import Description, Embedder
from surrogate.description.readable import for_people
from surrogate.imaging.encode import srgb_profile
from surrogate.imaging.read import MM_PER_INCH
from surrogate.records import Copy, Kind, Manifest, Master, Original, Record, Side, Use
from surrogate.recovery.recipe import Recipe
from surrogate.sheets.page import Document, Picture

#: JPEG quality of the picture inside the PDF, without chroma subsampling: the TIFF is the print, the PDF shows it.
PDF_QUALITY = 95

FOUND = "found"


class BorderMm(Record):
    """What shows of the mat on each side."""

    left: float
    right: float
    top: float
    bottom: float


class Framed(Record):
    """One framed print, as ``--json`` reports it."""

    reference: str
    side: Side
    file: str
    pdf: str
    frame_mm: tuple[float, float]
    opening_mm: tuple[float, float]
    print_mm: tuple[float, float]
    overlap_mm: float
    border_mm: BorderMm
    master_ppi: float | None
    print_ppi: float
    enlargement: float | None
    warnings: list[str]


class FrameReport(Record):
    """Everything that one run of ``surrogate frame`` made; ``copies`` go into the catalogue, not into ``--json``."""

    frames: list[Framed]
    copies: list[Copy] = Field(default=[], exclude=True)


@dataclass(frozen=True)
class FrameWishes:
    """What was asked for, understood."""

    frame: Size
    opening: Size | None
    fill: bool
    paper: Size
    ppi: float
    as_found: bool
    look: Look


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
) -> FrameReport:
    """Make prints to frame of the given originals (all, when none is named).

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
    jobs = [_planned(collection, original, wishes) for original in chosen(manifest, references)]
    with Embedder() as embedder:
        made = [_made(collection, manifest, job, wishes, embedder) for job in jobs]
    return FrameReport(frames=[framed for framed, _ in made], copies=[copy for _, copy in made])


@dataclass(frozen=True)
class _Job:
    """One print, planned."""

    original: Original
    master: Master
    recipe: Recipe
    plan: FramePlan
    as_found: bool


def _planned(collection: Path, original: Original, wishes: FrameWishes) -> _Job:
    master = master_of(original)
    viewing = copy_of(original, Use.VIEWING, master.side)
    base = recipe_of(collection, viewing) if viewing else None
    base = base or _plain_recipe(original, master)
    width, height = outline_size(base.outline) if base.outline else _turned(master, base.turn)
    picture_px = (round(width), round(height))
    ppi = master.ppi or base.ppi_assumed
    picture_mm = (width / ppi * MM_PER_INCH, height / ppi * MM_PER_INCH) if ppi else None
    plan = plan_frame(
        picture_px,
        picture_mm,
        frame=wishes.frame,
        opening=wishes.opening,
        fill=wishes.fill,
        ppi=wishes.ppi,
        look=wishes.look,
    )
    as_found = wishes.as_found and original.kind != Kind.NEGATIVE
    return _Job(original, master, _print_recipe(base, plan, as_found=as_found), plan, as_found)


def _turned(master: Master, turn: int) -> tuple[int, int]:
    return (master.height, master.width) if turn in {90, 270} else (master.width, master.height)


def _plain_recipe(original: Original, master: Master) -> Recipe:
    """Of a master without a viewing copy: the whole scan, as it is."""
    return Recipe(
        software=f"surrogate {__version__}",
        kind=original.kind,
        use=Use.PRINT,
        side=master.side,
        master=master.file,
        master_sha256=master.sha256,
        input_profile=master.profile or "sRGB assumed",
        strength="none",
        tone="as found",
        steps=[],
        words=[],
    )


def _print_recipe(base: Recipe, plan: FramePlan, *, as_found: bool) -> Recipe:
    """The recipe of a viewing copy, for a print of this plan."""
    radius = radius_px(plan.print_ppi)
    words = ["Printed as found: tone and colour as the scan has them."] if as_found else list(base.words)
    words.append(
        f"Print of {plan.print_mm[0]:.1f} x {plan.print_mm[1]:.1f} mm at {plan.print_ppi:.1f} pixels per inch."
    )
    if radius:
        words.append(f"Sharpened for ink and paper with a radius of {radius:g} pixels.")
    return base.model_copy(
        update={
            "software": f"surrogate {__version__}",
            "use": Use.PRINT.value,
            "long_edge_px": None,
            "thumbnail_long_edge_px": None,
            "quality": None,
            "strength": "none" if as_found else base.strength,
            "tone": "as found" if as_found else base.tone,
            "steps": [] if as_found else base.steps,
            "words": words,
            "limits": [] if as_found else base.limits,
            "sharpen_radius_px": radius,
            "print_size_px": plan.print_px,
            "print_box_px": plan.picture_box_px,
            "print_ppi": plan.print_ppi,
        }
    )


def _made(
    collection: Path, manifest: Manifest, job: _Job, wishes: FrameWishes, embedder: Embedder
) -> tuple[Framed, Copy]:
    """Write TIFF, recipe and PDF of one print."""
    reference, side = job.original.reference, job.master.side
    file, recipe_file = _names(reference, side, job.recipe.part, as_found=job.as_found)
    pdf_file = _pdf_name(reference, side, job.plan, as_found=job.as_found)
    words = description(manifest, job.original, job.master, job.recipe)
    with unfinished(collection / file) as temporary:
        write_print(collection / job.master.file, job.recipe, temporary)
        embedder.write(temporary, words)
        picture = _pdf_picture(temporary)
        files.publish(temporary, collection / file)
    recipe_json = job.recipe.model_dump_json(by_alias=True, indent=1) + "\n"
    files.replace_if_changed(collection / recipe_file, recipe_json.encode())
    pdf = _pdf(job, picture, wishes, credit=manifest.collection.credit)
    files.replace_if_changed(collection / pdf_file, pdf)
    copy = Copy(
        use=Use.PRINT,
        side=side,
        part=job.recipe.part,
        file=file,
        sha256=files.sha256_of(collection / file),
        width=job.plan.print_px[0],
        height=job.plan.print_px[1],
        recipe=recipe_file,
        master_sha256=job.master.sha256,
        fidelity=None,
    )
    return _framed(job, file, pdf_file), copy


def _names(reference: str, side: Side, part: int | None, *, as_found: bool) -> tuple[str, str]:
    """Files of the print and of its recipe; a print as found says so in its name."""
    file = paths.copy(reference, side, part, Use.PRINT)
    recipe_file = paths.recipe(reference, side, part, Use.PRINT)
    if not as_found:
        return file, recipe_file
    return file.replace("_print.", f"_print_{FOUND}."), recipe_file.replace("_print.", f"_print_{FOUND}.")


def _pdf_name(reference: str, side: Side, plan: FramePlan, *, as_found: bool) -> str:
    size = f"{round(plan.frame_mm[0])}x{round(plan.frame_mm[1])}"
    return f"prints/{paths.stem(reference, side)}_{FOUND + '_' if as_found else ''}{size}.pdf"


@contextmanager
def unfinished(path: Path) -> Iterator[Path]:
    """A temporary name beside ``path``, with its suffix, that is gone afterwards."""
    with files.disk_errors(path):
        path.parent.mkdir(parents=True, exist_ok=True)
        name = files.unfinished_name(path)
        temporary = name.with_name(f"{name.name}{path.suffix}")
        try:
            yield temporary
        finally:
            temporary.unlink(missing_ok=True)


def description(manifest: Manifest, original: Original, master: Master, recipe: Recipe) -> Description:
    """What is embedded in a print."""
    changed = bool(recipe.steps)
    kept = "negativeFilm" if original.kind == Kind.NEGATIVE else "print"
    return Description(
        reference=original.reference,
        title=original.title,
        caption=original.caption,
        inscription=original.inscription,
        date=original.date,
        people=original.people,
        place=original.place,
        creator=original.creator,
        credit=manifest.collection.credit,
        rights=original.rights or manifest.collection.rights,
        source_type="algorithmicallyEnhanced" if changed else kept,
        source=f"{master.file} sha256:{master.sha256}",
        derived_from=master.file,
        history=recipe.words,
        software=f"surrogate {__version__}",
    )


def _pdf_picture(tiff: Path) -> Picture:
    image = pyvips.Image.new_from_file(str(tiff), access="sequential")
    # no optimized coding: it would hold the whole picture
    jpeg = image.jpegsave_buffer(Q=PDF_QUALITY, subsample_mode="off", keep="none")
    return Picture(jpeg, image.width, image.height, srgb_profile())


def _pdf(job: _Job, picture: Picture, wishes: FrameWishes, *, credit: str) -> bytes:
    """Page 1 the print, page 2 the framing sheet, then the tiles of a print that no household sheet holds."""
    original, plan = job.original, job.plan
    document = Document(f"{original.reference} {original.title}".strip())
    size = f"{plan.print_mm[0]:.0f} × {plan.print_mm[1]:.0f} mm"
    words = f"{original.reference} · {size} · print at 100 %"
    print_page(document, plan.print_mm, picture, wishes.paper, words)
    notes = [*plan.warnings, _choice(job)]
    fits = sheet_for(plan.print_mm, wishes.paper) is not None
    if not fits:
        count = len(tiles(plan.print_mm, wishes.paper)[1])
        notes.append(
            f"Page 1 is the whole print for a shop. To put it together at home, print pages 3 to {count + 2} "
            "at 100 % on sheets of your paper, cut along the marks and glue each sheet 10 mm over the one before, up "
            "to its grey marks."
        )
    slip = Slip(original.reference, original.title, original.caption, for_people(original.date), credit)
    draw_framing_sheet(document, plan, slip, wishes.paper, notes)
    if not fits:
        tile_pages(document, plan.print_mm, picture, wishes.paper, words)
    return document.finish()


def _choice(job: _Job) -> str:
    if job.original.kind == Kind.NEGATIVE:
        return "This print is the positive of a negative, as its recipe says; the scan itself is unchanged."
    if job.as_found:
        return "This print shows the picture as found, faded as it is now. Leave out --as-found for the recovered one."
    return "This print shows the picture recovered from fading as its recipe says; the scan itself is unchanged."


def _framed(job: _Job, file: str, pdf: str) -> Framed:
    plan = job.plan
    border = plan.border_mm
    return Framed(
        reference=job.original.reference,
        side=job.master.side,
        file=file,
        pdf=pdf,
        frame_mm=_rounded(plan.frame_mm),
        opening_mm=_rounded(plan.opening_mm),
        print_mm=_rounded(plan.print_mm),
        overlap_mm=round(plan.overlap_mm, 3),
        border_mm=BorderMm(
            left=round(border.left, 3),
            right=round(border.right, 3),
            top=round(border.top, 3),
            bottom=round(border.bottom, 3),
        ),
        master_ppi=round(plan.master_ppi, 2) if plan.master_ppi else None,
        print_ppi=round(plan.print_ppi, 2),
        enlargement=round(plan.enlargement, 4) if plan.enlargement else None,
        warnings=list(plan.warnings),
    )


def _rounded(pair: tuple[float, float]) -> tuple[float, float]:
    return round(pair[0], 3), round(pair[1], 3)


def summary(report: FrameReport) -> list[str]:
    """One line for each print, for the screen: number, print, window, resolution; its warnings below it."""
    lines: list[str] = []
    for made in report.frames:
        lines.append(
            f"{made.reference}  print {both_sides(*made.print_mm)}  window {both_sides(*made.opening_mm)}  "
            f"{made.print_ppi:.0f} ppi  {made.pdf}"
        )
        lines += [f"    {warning}" for warning in made.warnings]
    return lines
