"""One print, planned: which picture of which master, how large, and the recipe that makes it."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from surrogate import __version__
from surrogate.copies.collection_reading import Shown, copy_of, master_of, recipe_of
from surrogate.copies.frame_plan import FramePlan, Look, plan_frame
from surrogate.copies.make import outline_size
from surrogate.copies.print_sharpening import radius_px
from surrogate.copies.sizes import Size
from surrogate.imaging.read import MM_PER_INCH, read_header
from surrogate.records import Kind, Master, Original, Use
from surrogate.recovery.recipe import Recipe


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


@dataclass(frozen=True)
class FrameJob:
    """One print, planned. ``as_found`` is what the recipe does: a negative is never printed as found."""

    shown: Shown
    master: Master
    recipe: Recipe
    plan: FramePlan
    as_found: bool

    @property
    def original(self) -> Original:
        """What the print is of."""
        return self.shown.original


def planned(collection: Path, shown: Shown, wishes: FrameWishes) -> FrameJob:
    """Plan a print. Raises :class:`WrongUse`, :class:`CollectionUnusable` and, for a master that cannot be read,
    :class:`ScanSetAside`; nothing is written.
    """
    master = master_of(shown.original)
    viewing = copy_of(shown, Use.VIEWING)
    base = recipe_of(collection, viewing) if viewing else None
    base = base or _plain_recipe(shown.original, master)
    width, height = outline_size(base.outline) if base.outline else _turned_size(collection, master, base)
    ppi = master.ppi or base.ppi_assumed
    plan = plan_frame(
        (round(width), round(height)),
        (width / ppi * MM_PER_INCH, height / ppi * MM_PER_INCH) if ppi else None,
        frame=wishes.frame,
        opening=wishes.opening,
        fill=wishes.fill,
        ppi=wishes.ppi,
        look=wishes.look,
    )
    as_found = wishes.as_found and base.kind != Kind.NEGATIVE.value
    return FrameJob(shown, master, _print_recipe(base, plan, as_found=as_found), plan, as_found)


def _turned_size(collection: Path, master: Master, recipe: Recipe) -> tuple[int, int]:
    """Width and height of the master as the recipe turns it, or of one of its further pages."""
    width, height = master.width, master.height
    if recipe.page != master.page:
        header = read_header(collection / master.file, recipe.page)
        width, height = header.width, header.height
    return (height, width) if recipe.turn in {90, 270} else (width, height)


def _plain_recipe(original: Original, master: Master) -> Recipe:
    """Of a master without a viewing copy: the whole scan, as it is."""
    return Recipe(
        software=f"surrogate {__version__}",
        kind=original.kind,
        use=Use.PRINT,
        side=master.side,
        master=master.file,
        master_sha256=master.sha256,
        page=master.page,
        input_profile=master.profile or (master.given_profile.name if master.given_profile else "sRGB assumed"),
        given_profile=master.given_profile,
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
