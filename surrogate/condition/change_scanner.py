"""Bringing one scanner's densities to another's: on the base that both show, or on a colour target in both scans."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt
from scipy.optimize import least_squares

from surrogate.condition import border as borders
from surrogate.condition.chart_find import find_chart
from surrogate.condition.chart_values import EDITIONS
from surrogate.errors import WrongUse
from surrogate.imaging.density import FLOOR_DENSITY, Floats, Pixels, to_density
from surrogate.imaging.read import read_reduced

Array = npt.NDArray[np.float64]

#: Long edge (px) at which a target is looked for and measured.
_TARGET_PX = 1600

#: Share of the step between patches that is measured (common practice, no source).
_CORE = 0.3

#: Patches darker than this in a channel (density) are flare, noise or colours that sRGB cannot hold; the card's own
#: black is 1.5.
_DARKEST = 2.2

#: A patch counts by 1 / (this + its largest density): light, even colours hold what most of a print is made of, and the
#: base. Chosen on simulated pairs of other pictures than those reported.
_SOFT = 0.5

#: Fewest patches for the 18 numbers of a correction (each gives three).
_FEWEST_PATCHES = 15

#: How gently the numbers of a correction are held to "nothing changes": they move this far for one unit of misfit.
_HOLD, _HOLD_MIX = (10.0, 10.0, 3.0, 1.0), 10.0


def patch_densities(pixels: Pixels) -> Array | None:
    """Densities (24, 3) of the colour target in an sRGB picture; None without one. Which edition does not matter."""
    chart = find_chart(pixels, np.array(EDITIONS["after-2014"]))
    if chart is None:
        return None
    density = to_density(pixels)
    centres = chart.centres()
    step = float(np.linalg.norm(centres[1] - centres[0]))
    half = max(1, int(_CORE * step / np.sqrt(2)))
    return np.array(
        [
            np.median(density[max(y - half, 0) : y + half + 1, max(x - half, 0) : x + half + 1], axis=(0, 1))
            for x, y in np.rint(centres).astype(int)
        ],
        dtype=np.float64,
    )


def read_target(scan: Path) -> Array:
    """Patch densities of a scan of the target. Raises :class:`WrongUse` when there is none in it."""
    found = patch_densities(read_reduced(scan, _TARGET_PX).pixels)
    if found is None:
        raise WrongUse(f"No 24-patch colour target was found in {scan}. Give a scan that shows all of it.")
    return found


@dataclass(frozen=True)
class Correction:
    """What takes a new scanner's densities to the old one's: a curve for each channel, then channels into each other.

    ``curve`` (3, 4): constant, factor, square and cube of density; ``mix`` (3, 3) on linear light, its rows sum to 1.
    """

    curve: Array
    mix: Array

    def __call__(self, density: npt.NDArray[np.floating]) -> npt.NDArray[np.floating]:
        """Densities (..., 3) as the old scanner would have seen them, in the same dtype."""
        c = self.curve.astype(density.dtype)
        bent = c[:, 0] + density * (c[:, 1] + density * (c[:, 2] + density * c[:, 3]))
        light = np.power(np.asarray(10, density.dtype), -bent) @ self.mix.T.astype(density.dtype)
        return np.asarray(-np.log10(np.maximum(light, 10.0**-FLOOR_DENSITY)), density.dtype)


def correction(then: Array, now: Array) -> Correction | None:
    """Fit on the patches (24, 3) of one target as both scanners saw it; None with too few usable ones."""
    usable = (then.max(axis=1) < _DARKEST) & (now.max(axis=1) < _DARKEST)
    if usable.sum() < _FEWEST_PATCHES:
        return None
    then, now = then[usable], now[usable]
    weight = 1 / (_SOFT + then)
    hold = np.array(_HOLD)

    def made(numbers: Array) -> Correction:
        mix = np.eye(3)
        mix[~np.eye(3, dtype=bool)] = numbers[12:]
        mix[np.diag_indices(3)] = 1 - (mix.sum(axis=1) - 1)
        return Correction(numbers[:12].reshape(3, 4), mix)

    def rest(numbers: Array) -> Array:
        bent = (numbers[:12].reshape(3, 4) - (0, 1, 0, 0)) / hold
        return np.concatenate([((made(numbers)(now) - then) * weight).ravel(), bent.ravel(), numbers[12:] / _HOLD_MIX])

    start = np.r_[np.tile([0.0, 1.0, 0.0, 0.0], 3), np.zeros(6)]
    return made(np.asarray(least_squares(rest, start, method="lm").x))


def base_shift(before: Floats, now: Floats, covered: npt.NDArray[np.bool_]) -> tuple[Array, bool]:
    """Density (3,) by which the base is darker now, and whether it was read on a white border.

    Without a border the lightest 3 in 100 stand for the base.
    """
    found = borders.find(before)
    if found is not None:
        top, bottom, left, right = found.inner
        outside = covered.copy()
        outside[top:bottom, left:right] = False
        level = np.abs(before - np.array(found.density, np.float32)).max(axis=2) < borders.STEP
        if (outside & level).sum() > 500:
            chosen = outside & level
            return np.median(now[chosen] - before[chosen], axis=0).astype(np.float64), True
    old, new = before[covered], now[covered]
    tone = old.mean(axis=1)
    light = tone <= np.percentile(tone, 3)
    return np.median(new[light] - old[light], axis=0).astype(np.float64), False
