"""Condition of one side, measured on a reduced density picture: fade by kind of original, stain, marks."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from surrogate.condition import fade_colour, fade_silver, lot, stain
from surrogate.condition.colorimetry import triple
from surrogate.condition.fade_colour import FadeEstimate
from surrogate.condition.fade_silver import SilverEstimate
from surrogate.records import Condition, Fade, Grade, Kind, Lot, Side, Triple

Floats = npt.NDArray[np.float32]

#: Percentiles that stand for the lightest and darkest density: dust and specks are rarer than that.
LIGHTEST, DARKEST = 0.5, 99.5

_NOT_FADING: dict[Kind, str] = {
    Kind.NEGATIVE: "Not measurable: what a negative has lost cannot be told from one scan.",
    Kind.CLIPPING: "Not measurable: printing ink hardly fades; see the paper instead.",
    Kind.DOCUMENT: "Not measurable: how dark the ink once was is not known; see the paper instead.",
    Kind.ALBUM_PAGE: "Not measurable: the pictures on this page could not be told apart.",
    Kind.TARGET: "Not measurable: a target is not an original.",
    Kind.UNKNOWN: "Not measurable: the kind of original is not known. Write it into the caption sheet.",
}
_BACK = "Not measurable: this is the back."


@dataclass(frozen=True)
class Measured:
    """The condition of one side with the estimates that recovery needs.

    ``marks`` labels the regions of ``condition.stain`` in a reduced picture (0 = none), None without regions.
    ``base`` is the density of the bare base where one was seen.
    """

    condition: Condition
    colour: FadeEstimate | None
    silver: SilverEstimate | None
    marks: npt.NDArray[np.uint8] | None


def measure(density: Floats, *, kind: Kind, side: Side, ppi: float | None, kept_with: Lot | None = None) -> Measured:
    """Measure (H, W, 3) float32 R, G, B density of one straightened side, about 1 MP; ``ppi`` is that of the array.

    ``kept_with`` is what was seen of the other originals of its lot.
    """
    if kept_with is not None and kind is Kind.COLOUR_PRINT and side is Side.RECTO:
        return _measured(density, kind, side, ppi, lot.estimate(density, kept_with))
    return measure_together([density], [kind], side=side, ppi=ppi)[0]


def measure_together(
    densities: Sequence[Floats], kinds: Sequence[Kind], *, side: Side, ppi: float | None
) -> list[Measured]:
    """Measure pictures that were kept together, so aged alike; the colour prints among them are judged jointly."""
    coloured = [i for i, kind in enumerate(kinds) if kind is Kind.COLOUR_PRINT and side is Side.RECTO]
    if len(coloured) > 1:
        estimates = dict(zip(coloured, fade_colour.estimate_jointly([densities[i] for i in coloured]), strict=True))
    else:
        estimates = {i: fade_colour.estimate(densities[i]) for i in coloured}
    return [
        _measured(density, kind, side, ppi, estimates.get(i))
        for i, (density, kind) in enumerate(zip(densities, kinds, strict=True))
    ]


def _measured(density: Floats, kind: Kind, side: Side, ppi: float | None, colour: FadeEstimate | None) -> Measured:
    silver = fade_silver.estimate(density) if kind is Kind.SILVER_PRINT and side is Side.RECTO else None
    base: Triple | None = None if colour is None else colour.base_density
    paper = Kind.DOCUMENT if side is Side.VERSO else kind
    stained, marks = stain.measure(density, ppi=ppi, kind=paper, base_density=base)
    fade = _fade(density, kind, side, colour, silver)
    return Measured(Condition(side=side, fade=fade, stain=stained), colour, silver, marks)


def measure_page(parts: list[Measured], page: Floats, *, side: Side, ppi: float | None) -> Measured:
    """Condition of a page that holds several pictures: the worst fade among its parts, the page's own stain."""
    stained, marks = stain.measure(page, ppi=ppi, kind=Kind.ALBUM_PAGE, base_density=None)
    measurable = [p.condition.fade for p in parts if p.condition.fade.density_loss is not None]
    if not measurable:
        fade = _fade(page, Kind.ALBUM_PAGE, side, None, None)
    else:
        worst = max(measurable, key=lambda f: max(f.density_loss or (0.0,)))
        which = f"The most faded of {len(parts)} pictures" if len(parts) > 1 else "The picture"
        fade = worst.model_copy(update={"note": f"{which} on the page. {worst.note}"})
    return Measured(Condition(side=side, fade=fade, stain=stained), None, None, marks)


def _fade(density: Floats, kind: Kind, side: Side, colour: FadeEstimate | None, silver: SilverEstimate | None) -> Fade:
    sample = density[::3, ::3]  # about 100,000 pixels tell a percentile as well as a million
    lightest, darkest = (triple(row, 4) for row in np.percentile(sample, [LIGHTEST, DARKEST], axis=(0, 1)))
    loss: Triple | None
    if colour is not None:
        loss, spread, grade = fade_colour.density_loss(colour)
        note = "; ".join(colour.evidence)
    elif silver is not None:
        loss = (silver.loss,) * 3
        spread = (silver.uncertainty,) * 3
        grade = _silver_grade(silver)
        note = "; ".join(silver.evidence)
    else:
        note = _BACK if side is Side.VERSO else _NOT_FADING[kind]
        return Fade(
            grade=Grade.NOT_MEASURABLE, density_min=lightest, density_max=darkest, density_loss=None,
            uncertainty=None, note=note,
        )  # fmt: skip
    measurable = grade is not Grade.NOT_MEASURABLE
    return Fade(
        grade=grade,
        density_min=lightest,
        density_max=darkest,
        density_loss=triple(np.array(loss), 4) if measurable else None,
        uncertainty=triple(np.array(spread), 4) if measurable else None,
        note=note,
    )


def _silver_grade(silver: SilverEstimate) -> Grade:
    """The same bounds as for dyes: a loss is a loss, whatever carried the image."""
    if silver.uncertainty > fade_colour.WIDEST_INTERVAL:
        return Grade.NOT_MEASURABLE
    steps = (
        (fade_colour.SEVERE, Grade.SEVERE),
        (fade_colour.MODERATE, Grade.MODERATE),
        (fade_colour.SLIGHT, Grade.SLIGHT),
    )
    return next((grade for bound, grade in steps if silver.loss >= bound), Grade.NONE)


def proxy(density: Floats, most_pixels: int = 1_000_000) -> Floats:
    """The density picture reduced to at most ``most_pixels``; (H, W, 3)."""
    height, width = density.shape[:2]
    factor = min(1.0, (most_pixels / (height * width)) ** 0.5)
    if factor == 1.0:
        return density
    size = (max(1, round(width * factor)), max(1, round(height * factor)))
    return np.asarray(cv2.resize(density, size, interpolation=cv2.INTER_AREA), dtype=np.float32)
