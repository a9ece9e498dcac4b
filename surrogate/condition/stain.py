"""Stain and damage of one side: colour of the base, and every mark outlined, measured and named."""

from __future__ import annotations

import cv2
import numpy as np
import numpy.typing as npt

from surrogate import film
from surrogate.condition import backs, colorimetry, marks, paper
from surrogate.imaging.read import MM_PER_INCH
from surrogate.records import PAPER_KINDS, Grade, Kind, Region, Stain, Triple

Floats = npt.NDArray[np.float32]
Labels = npt.NDArray[np.uint8]


# Grades of a discoloured base, by blue density above red. 0.06 is the illustrative end point of ISO 18909 for
# the colour balance of the base (from memory); the next two double it.
_BASE_STEPS = ((0.24, Grade.SEVERE), (0.12, Grade.MODERATE), (0.06, Grade.SLIGHT))
#: Fresh newsprint (ISO 12647-3, L* 82, a* 0, b* 3) already has 0.036 of it, so paper starts there.
_FRESH_PAPER_EXCESS = 0.036
# Grades of marks, by their share of the area (judgement).
_AREA_STEPS = ((0.10, Grade.SEVERE), (0.01, Grade.MODERATE), (0.0, Grade.SLIGHT))
_ORDER = (Grade.NOT_MEASURABLE, Grade.NONE, Grade.SLIGHT, Grade.MODERATE, Grade.SEVERE)
_NONE_FOUND = (
    "No mark was found, but a quarter are missed, above all mould, pale spots and ink from the back: look yourself."
)
_SOME_MISSED = "There may be more marks than those outlined."
MOULD_CAUTION = (
    "Suspected mould is a guess from a picture: keep the original apart in a paper folder, do not brush or wipe it, "
    "avoid breathing near it, and ask a conservator."
)


def measure(
    density: Floats, *, ppi: float | None, kind: Kind, base_density: Triple | None
) -> tuple[Stain, Labels | None]:
    """Discolouration and marks of one side.

    ``density`` is (H, W, 3), straightened, without its surround; ``ppi`` that of this reduced picture (None:
    unknown, and regions have no size in mm); ``base_density`` a base known from a white border. Returns the
    record and the label picture (uint8, smaller than ``density``; value i = ``regions[i - 1]``), or None
    where no mark was found.
    """
    base = paper.measure(density, kind, base_density)
    if kind in (Kind.NEGATIVE, Kind.TARGET):
        note = "Marks are not measurable on film or a target: colour and transparency follow other rules there."
        if kind is Kind.NEGATIVE:
            note += f" {film.NOT_SHOWN} {' '.join(film.QUESTIONS)} Possible nitrate film: local rules and licensed "
            note += "practice decide."
        return _record(Grade.NOT_MEASURABLE, None, base, [], note), None
    sheet = marks.seen(density)
    found, labels = marks.find_on(sheet)
    regions, kept = _regions(sheet, found, labels, _px_mm(density.shape, labels.shape, ppi))
    covered = float((kept > 0).mean())
    grade = max(_base_grade(base, kind), _mark_grade(covered, regions), key=_ORDER.index)
    words = [base.note, *_written(sheet, kind)]
    words.append(_SOME_MISSED if regions else _NONE_FOUND)
    if any(region.kind == marks.MOULD for region in regions):
        words.append(MOULD_CAUTION)
    return _record(grade, covered, base, regions, " ".join(words)), kept if regions else None


def _written(sheet: Floats, kind: Kind) -> list[str]:
    """What a back or a letter was written with, in words; a guess, with its confidence."""
    if kind is not Kind.DOCUMENT:
        return []
    found = backs.marks(sheet)
    return [f"Looks like {one.kind} ({100 * one.confidence:.0f} % sure). {one.note}" for one in found]


def _record(grade: Grade, covered: float | None, base: paper.Paper, regions: list[Region], note: str) -> Stain:
    return Stain(
        grade=grade,
        area_fraction=None if covered is None else round(covered, 5),
        yellowness_index=base.yellowness,
        base_lab=base.base_lab,
        regions=regions,
        note=note,
    )


def _base_grade(base: paper.Paper, kind: Kind) -> Grade:
    if base.base_density is None:
        return Grade.NOT_MEASURABLE
    excess = base.base_density[2] - base.base_density[0]
    excess -= _FRESH_PAPER_EXCESS if kind in PAPER_KINDS else 0.0
    return next((grade for step, grade in _BASE_STEPS if excess > step), Grade.NONE)


def _mark_grade(covered: float, regions: list[Region]) -> Grade:
    """Grade by area. Nothing found proves nothing: one mark in six is missed (docs/condition.md)."""
    if not regions:
        return Grade.NOT_MEASURABLE
    return next(grade for step, grade in _AREA_STEPS if covered >= step)


def _regions(
    density: Floats, found: list[marks.Mark], labels: Labels, px_mm: tuple[float, float] | None
) -> tuple[list[Region], Labels]:
    """Regions from the largest to the smallest, and the label picture renumbered in their order."""
    areas = np.bincount(labels.ravel(), minlength=256)
    ordered = sorted((mark for mark in found if areas[mark.label] > 0), key=lambda m: (-areas[m.label], m.label))
    renumbered = np.zeros(256, np.uint8)
    regions = []
    for place, mark in enumerate(ordered, start=1):
        renumbered[mark.label] = place
        inside = np.asarray(labels == mark.label, np.uint8)
        regions.append(
            Region(
                kind=mark.kind,
                box_mm=_box_mm(inside, px_mm),
                area_fraction=round(float(areas[mark.label]) / labels.size, 6),
                delta_e=round(_contrast(density, inside, labels), 2),
                confidence=round(mark.confidence, 3),
            )
        )
    return regions, renumbered[labels]


def _px_mm(sheet: tuple[int, ...], labels: tuple[int, ...], ppi: float | None) -> tuple[float, float] | None:
    """Width and height in mm of one pixel of the label picture; the sheet was squeezed into its shape."""
    if ppi is None or ppi <= 0:
        return None
    return sheet[1] / labels[1] * MM_PER_INCH / ppi, sheet[0] / labels[0] * MM_PER_INCH / ppi


def _box_mm(inside: Labels, px_mm: tuple[float, float] | None) -> tuple[float, float, float, float] | None:
    if px_mm is None:
        return None
    x, y, width, height = cv2.boundingRect(inside)
    across, down = px_mm
    return round(x * across, 1), round(y * down, 1), round(width * across, 1), round(height * down, 1)


def _contrast(density: Floats, inside: Labels, labels: Labels) -> float:
    """CIEDE2000 between a region and the unmarked rim around it (medians of density)."""
    x, y, width, height = cv2.boundingRect(inside)
    rim_px = max(3, round(0.01 * max(density.shape[:2])))
    top, left = max(0, y - 2 * rim_px), max(0, x - 2 * rim_px)
    window = (slice(top, y + height + 2 * rim_px), slice(left, x + width + 2 * rim_px))
    core, others, part = inside[window], labels[window] > 0, density[window]
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * rim_px + 1, 2 * rim_px + 1))
    rim = (cv2.dilate(core, kernel) > 0) & ~others
    if rim.sum() < 10:
        rim = ~others if (~others).any() else core == 0
    if not rim.any():
        return 0.0
    return colorimetry.difference(np.median(part[core > 0], axis=0), np.median(part[rim], axis=0))
