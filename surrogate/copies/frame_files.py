"""The files of one print: TIFF, recipe, and the PDF with the print and its framing sheet."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pyvips

from surrogate.collection import files, paths, profiles
from surrogate.copies.describing import describe_copy
from surrogate.copies.frame_job import FrameJob
from surrogate.copies.frame_report import BorderMm, Framed
from surrogate.copies.framing_sheet import Slip, draw_framing_sheet
from surrogate.copies.print_pages import print_page, sheet_for, tile_pages, tiles
from surrogate.copies.print_pixels import write_print
from surrogate.copies.sizes import Size
from surrogate.description.embed import Description, embedder
from surrogate.description.readable import for_people
from surrogate.imaging.encode import srgb_profile
from surrogate.records import Copy, Kind, Use
from surrogate.recovery.recipe import as_written
from surrogate.sheets.page import Document, Picture

#: JPEG quality of the picture inside the PDF, without chroma subsampling: the TIFF is the print, the PDF shows it.
PDF_QUALITY = 95

FOUND = "found"


def write_files(collection: Path, job: FrameJob, paper: Size, words: Description) -> tuple[Framed, Copy]:
    """Write TIFF, recipe and PDF of one print; ``words`` are those of its original."""
    file, recipe_file = _names(job)
    pdf_file = _pdf_name(job)
    with unfinished(collection / file) as temporary:
        given = profiles.kept(collection, job.recipe.given_profile)
        write_print(collection / job.master.file, job.recipe, temporary, given, collection)
        embedder().write(temporary, describe_copy(words, job.master, job.recipe, Use.PRINT))
        picture = _pdf_picture(temporary)
        files.publish(temporary, collection / file)
    files.replace_if_changed(collection / recipe_file, as_written(job.recipe))
    files.replace_if_changed(collection / pdf_file, _pdf(job, picture, paper, credit=words.credit))
    copy = Copy(
        use=Use.PRINT,
        side=job.master.side,
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


def _names(job: FrameJob) -> tuple[str, str]:
    """Files of the print and of its recipe; a print as found says so in its name."""
    what = (job.original.reference, job.master.side, job.recipe.part, Use.PRINT)
    file, recipe_file = paths.copy(*what), paths.recipe(*what)
    if not job.as_found:
        return file, recipe_file
    return file.replace("_print.", f"_print_{FOUND}."), recipe_file.replace("_print.", f"_print_{FOUND}.")


def _pdf_name(job: FrameJob) -> str:
    size = f"{round(job.plan.frame_mm[0])}x{round(job.plan.frame_mm[1])}"
    stem = paths.stem(job.original.reference, job.master.side, job.recipe.part)
    return f"prints/{stem}_{FOUND + '_' if job.as_found else ''}{size}.pdf"


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


def _pdf_picture(tiff: Path) -> Picture:
    image = pyvips.Image.new_from_file(str(tiff), access="sequential")
    # no optimized coding: it would hold the whole picture
    jpeg = image.jpegsave_buffer(Q=PDF_QUALITY, subsample_mode="off", keep="none")
    return Picture(jpeg, image.width, image.height, srgb_profile())


def _pdf(job: FrameJob, picture: Picture, paper: Size, *, credit: str) -> bytes:
    """Page 1 the print, page 2 the framing sheet, then the tiles of a print that no household sheet holds."""
    original, plan = job.original, job.plan
    document = Document(f"{job.shown.number} {original.title}".strip())
    size = f"{plan.print_mm[0]:.0f} × {plan.print_mm[1]:.0f} mm"
    words = f"{job.shown.number} · {size} · print at 100 %"
    print_page(document, plan.print_mm, picture, paper, words)
    notes = [*job.shown.moved, *plan.warnings, _choice(job)]
    fits = sheet_for(plan.print_mm, paper) is not None
    if not fits:
        count = len(tiles(plan.print_mm, paper)[1])
        notes.append(
            f"Page 1 is the whole print for a shop. To put it together at home, print pages 3 to {count + 2} "
            "at 100 % on sheets of your paper, cut along the marks and glue each sheet 10 mm over the one before, up "
            "to its grey marks."
        )
    slip = Slip(
        original.reference, job.shown.number, original.title, original.caption, for_people(original.date), credit
    )
    draw_framing_sheet(document, plan, slip, paper, notes)
    if not fits:
        tile_pages(document, plan.print_mm, picture, paper, words)
    return document.finish()


def _choice(job: FrameJob) -> str:
    if job.recipe.kind == Kind.NEGATIVE.value:
        return "This print is the positive of a negative, as its recipe says; the scan itself is unchanged."
    if job.as_found:
        return "This print shows the picture as found, faded as it is now. Leave out --as-found for the recovered one."
    if not job.recipe.steps:
        return "Nothing had to be recovered: this print shows the picture as it is."
    return "This print shows the picture recovered from fading as its recipe says; the scan itself is unchanged."


def _framed(job: FrameJob, file: str, pdf: str) -> Framed:
    plan = job.plan
    border = plan.border_mm
    return Framed(
        reference=job.original.reference,
        number=job.shown.number,
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
        warnings=[*job.shown.moved, *plan.warnings],
    )


def _rounded(pair: tuple[float, float]) -> tuple[float, float]:
    return round(pair[0], 3), round(pair[1], 3)
