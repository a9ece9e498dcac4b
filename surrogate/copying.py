"""The copies of one scan: planned, played, proved and encoded, before they have names."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import partial
from pathlib import Path

import numpy as np
import numpy.typing as npt

from surrogate.collection import profiles
from surrogate.copies import fidelity, make
from surrogate.imaging.read import Raster
from surrogate.jobs import SOFTWARE, Decisions, Job, StagedCopy
from surrogate.looking import Parts, Picture, Shown, look_at
from surrogate.records import Fidelity, Kind, Strength, Use
from surrogate.recovery import plans, show_through
from surrogate.recovery.recipe import Plan, Recipe
from surrogate.recovery.show_through import Seen

#: An A4 page at 350 ppi; text recognition wants at least 300 (Tesseract's documentation, from memory).
READING_LONG_EDGE_PX = 4096

#: What is tried where a viewing copy does not keep its limits.
_GENTLER = {Strength.STRONG: Strength.STANDARD, Strength.STANDARD: Strength.GENTLE, Strength.GENTLE: Strength.NONE}


def shining_through(raster: Raster, shown: list[Shown], parts: Parts, job: Job) -> Seen | None:
    """What shines through from the other side, where that is in the collection and this one shows one leaf."""
    other = job.decisions.other
    if other is None or job.collection is None or len(shown) > 1:
        return None
    density = parts[None][2]
    front = look_at(raster, shown[0])
    ppi = None if front.ppi is None else front.ppi * density.shape[1] / front.pixels.shape[1]
    return show_through.find(density, ppi, *make.back_of(job.collection, other), other)


def copies_of_scan(
    master: Path,
    sha256: str,
    raster: Raster,
    shown: list[Shown],
    parts: Parts,
    job: Job,
    seen: Seen | None = None,
) -> list[StagedCopy]:
    """Plan and make every copy of a scan, (``shown``, ``parts``), in the job's staging folder."""
    return [copy for one in shown for copy in _copies_of(master, sha256, raster, one, parts[one.part], job, seen)]


def _copies_of(
    master: Path,
    sha256: str,
    raster: Raster,
    one: Shown,
    picture: Picture,
    job: Job,
    seen: Seen | None,
) -> list[StagedCopy]:
    kind, measured, density = picture

    def planned(use: Use, strength: Strength) -> Recipe:
        plan = plans.plan(
            density,
            measured,
            kind=kind,
            side=job.side,
            use=use,
            tone=job.decisions.tone,
            strength=strength,
            seen=seen,
        )
        recipe = _recipe(plan, one, use, kind, sha256, raster, job)
        return recipe.model_copy(update={"strength": strength.value})

    uses = [Use.VIEWING, Use.READING] if plans.has_reading_copy(kind, job.side) else [Use.VIEWING]
    return [
        copy
        for use in uses
        for copy in _staged(_source(master, one, use, raster, job), partial(planned, use), use, job)
    ]


def _source(master: Path, one: Shown, use: Use, raster: Raster, job: Job) -> Raster:
    """The pixels that a copy is made from."""
    decisions = job.decisions
    size = _long_edge_px(use, decisions)
    if one.outline is not None or size != decisions.copies.viewing_long_edge:
        raster = make.picture(
            master,
            turn=decisions.turn,
            outline=one.outline,
            long_edge_px=size,
            page=one.page,
            given=decisions.profile,
        )
    if raster.ppi is None and decisions.scan.ppi:
        raster = replace(raster, ppi=decisions.scan.ppi * raster.scale)
    return raster


def _long_edge_px(use: Use, decisions: Decisions) -> int:
    return READING_LONG_EDGE_PX if use is Use.READING else decisions.copies.viewing_long_edge


def _recipe(plan: Plan, one: Shown, use: Use, kind: Kind, sha256: str, raster: Raster, job: Job) -> Recipe:
    decisions = job.decisions
    given = decisions.profile
    if given is not None and given.name != raster.profile:  # a grey scan was not read through it
        given = None
    return Recipe(
        software=SOFTWARE,
        kind=kind.value,
        use=use.value,
        side=job.side.value,
        part=one.part,
        page=one.page,
        turn=decisions.turn,
        master="",
        master_sha256=sha256,
        input_profile=raster.profile,
        given_profile=None if given is None else profiles.recorded(given),
        outline=None if one.outline is None else list(one.outline),
        long_edge_px=_long_edge_px(use, decisions),
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


def _staged(source: Raster, planned: Callable[[Strength], Recipe], use: Use, job: Job) -> list[StagedCopy]:
    recipe, pixels, true = _kept(source, planned, use, job)
    made = []
    for its_use, image, ppi in make.outputs(pixels, recipe, source.ppi):
        file = job.staging / f"{recipe.part or 0}_{its_use}.jpg"
        make.write_jpeg(image, file, quality=recipe.quality or 88, ppi=ppi)
        proof = true if its_use is use else None
        made.append(StagedCopy(its_use, recipe.part, file, image.shape[1], image.shape[0], proof, recipe))
    return made


def _kept(
    source: Raster, planned: Callable[[Strength], Recipe], use: Use, job: Job
) -> tuple[Recipe, npt.NDArray[np.uint8], Fidelity]:
    """The recipe that is kept, its pixels and their proof: of a viewing copy the first that keeps its limits, from the
    strength decided to ever gentler ones. Reading copies are made for legibility and clear away what they must.
    """
    said: list[str] = []
    strength = job.decisions.strength
    while True:
        recipe = planned(strength)
        steps = make.playable(recipe.steps, job.collection or job.staging)
        pixels = make.rendered(source, steps)
        # what shone through is no structure of this side
        before = source.pixels if recipe.steps[:1] == steps[:1] else make.rendered(source, steps[:1])
        true = fidelity.measure(before, pixels, recipe.steps)
        faults = fidelity.faults(true) if use is Use.VIEWING else ""
        if not faults or strength is Strength.NONE:
            return recipe.model_copy(update={"words": [*recipe.words, *said]}), pixels, true
        said.append(f"{strength} correction was not kept: it would {faults}")
        strength = _GENTLER[strength]
