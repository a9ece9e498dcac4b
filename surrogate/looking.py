"""What of a scan is looked at: the pictures that lie on it, each reduced for measuring and planning."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from surrogate.condition import kind as kinds
from surrogate.condition import measure as condition
from surrogate.condition.measure import Measured
from surrogate.copies import make
from surrogate.imaging.density import to_density
from surrogate.imaging.read import Raster
from surrogate.jobs import Corners
from surrogate.records import Kind, Lot, Side

Density = npt.NDArray[np.float32]

#: Kind, condition and density of one picture on a scan.
Picture = tuple[Kind, Measured, Density]

#: The pictures on a scan by part; None is the whole.
Parts = dict[int | None, Picture]


@dataclass(frozen=True)
class Shown:
    """One picture on a scan: the whole frame, or what lies inside an outline."""

    part: int | None
    outline: Corners | None
    page: int = 0


def look_at(raster: Raster, shown: Shown) -> Raster:
    """The part of a raster that a picture shows."""
    return raster if shown.outline is None else make.straightened(raster, shown.outline)


def proxy_density(raster: Raster) -> Density:
    """Density (H, W, 3) of a picture reduced to about 1 MP, for measuring and planning."""
    height, width = raster.pixels.shape[:2]
    factor = min(1.0, (1e6 / (height * width)) ** 0.5)
    size = (max(1, round(width * factor)), max(1, round(height * factor)))
    return to_density(raster.pixels if factor == 1 else cv2.resize(raster.pixels, size, interpolation=cv2.INTER_AREA))


def measure_pictures(
    raster: Raster, shown: list[Shown], density: Density, kind: Kind, side: Side, kept_with: Lot | None
) -> tuple[Measured, Parts]:
    """Condition of the whole, and (kind, condition, density) of each picture by part; ``density`` is the whole's."""
    parts: Parts = {}
    pictures = [one for one in shown if one.part is not None]
    kinds_of, densities = [], []
    for one in pictures:
        densities.append(proxy_density(look_at(raster, one)))
        guess = kinds.guess(densities[-1], ppi=raster.ppi, layout_parts=0, background="frame")
        kinds_of.append(guess.kind)
    measured_parts = condition.measure_together(densities, kinds_of, side=side, ppi=raster.ppi)
    for one, its_kind, its_condition, its_density in zip(pictures, kinds_of, measured_parts, densities, strict=True):
        parts[one.part] = (its_kind, its_condition, its_density)
    ppi = None if raster.ppi is None else raster.ppi * density.shape[1] / look_at(raster, shown[0]).pixels.shape[1]
    if pictures:
        whole = condition.measure_page(measured_parts, density, side=side, ppi=ppi)
    else:
        whole = condition.measure(density, kind=kind, side=side, ppi=ppi, kept_with=kept_with)
    parts[None] = (Kind.ALBUM_PAGE if pictures else kind, whole, density)
    return whole, parts
