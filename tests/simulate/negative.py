"""Film negatives: black and white on a grey base, and colour with its orange mask.

A film answers the logarithm of exposure with an S-shaped curve (Hurter and Driffield). In a colour film each layer has
its own contrast, the dyes absorb in one another's channels, and coloured couplers make the orange mask.
"""

from dataclasses import dataclass

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from . import Level
from .tone import Image, density, luminance, reflectance

Triple = tuple[float, float, float]


@dataclass(frozen=True)
class Negative:
    """One film and what happened to it.

    base: density of unexposed film per channel; black and white 0.05..0.35 alike in all, colour near 0.25/0.60/0.85.
    contrast: slope of density against log exposure per layer (0.5..0.8). reach: density above base at which the curve's
    shoulder has set in (1.8..2.8). exposure: log exposure of the photograph's white, relative to the toe (1.6..2.4).
    crosstalk: 3x3, rows = channels seen, columns = layers. lost: share of each dye or of the silver gone (0..0.5).
    fog: density added by age per channel (0..0.3).
    """

    base: Triple
    contrast: Triple
    reach: float
    exposure: float
    crosstalk: tuple[Triple, Triple, Triple]
    lost: Triple
    fog: Triple


_GREY: tuple[Triple, Triple, Triple] = ((1, 0, 0), (0, 1, 0), (0, 0, 1))
# Image dyes as a scanner sees them; the mask corrects part of the unwanted absorption (from memory).
_COLOUR: tuple[Triple, Triple, Triple] = ((0.92, 0.06, 0.02), (0.10, 0.84, 0.06), (0.04, 0.12, 0.84))
_LOST: dict[Level, tuple[float, float]] = {
    "unfaded": (0.0, 0.0), "mild": (0.02, 0.12), "medium": (0.10, 0.28), "severe": (0.25, 0.5),
}  # fmt: skip


def sample_black_and_white(rng: Generator, level: Level) -> Negative:
    """A silver negative; with age it loses a little density and gains yellow fog."""
    base, slope, lost = (
        float(rng.uniform(0.08, 0.30)),
        float(rng.uniform(0.55, 0.75)),
        float(rng.uniform(*_LOST[level])) / 2,
    )
    fog = 0.6 * lost
    return Negative(
        (base, base + 0.005, base + 0.02), (slope, slope, slope), float(rng.uniform(1.9, 2.5)),
        float(rng.uniform(1.8, 2.3)), _GREY, (lost, lost, lost), (0.1 * fog, 0.3 * fog, fog),
    )  # fmt: skip


def sample_colour(rng: Generator, level: Level) -> Negative:
    """A masked colour negative; cyan dye fades first in the dark."""
    mask = np.array([0.25, 0.60, 0.85]) + rng.uniform(-0.06, 0.06, 3)
    slope = np.array([0.56, 0.60, 0.64]) * rng.uniform(0.94, 1.06)
    lost = rng.uniform(*_LOST[level], 3) * np.array([1.0, 0.5, 0.7])
    fog = 0.25 * lost[::-1]
    return Negative(
        (float(mask[0]), float(mask[1]), float(mask[2])), (float(slope[0]), float(slope[1]), float(slope[2])),
        float(rng.uniform(2.0, 2.7)), float(rng.uniform(1.8, 2.3)), _COLOUR,
        (float(lost[0]), float(lost[1]), float(lost[2])), (float(fog[0]), float(fog[1]), float(fog[2])),
    )  # fmt: skip


def transmittance(photo: Image, film: Negative) -> Image:
    """Linear transmittance of the negative of `photo`; the photograph is what an ideal positive would show.

    The log exposure of a scene tone is that of its reflectance: the lights of the scene are the darks of the film.
    """
    light = photo if film.crosstalk != _GREY else np.repeat(luminance(photo)[..., None], 3, axis=2)
    log_exposure = film.exposure - density(light)
    layers = _curve(log_exposure, np.asarray(film.contrast, np.float32), film.reach)
    kept = layers * (1.0 - np.asarray(film.lost, np.float32))
    seen = kept @ np.asarray(film.crosstalk, np.float32).T
    return reflectance(seen + np.asarray(film.base, np.float32) + np.asarray(film.fog, np.float32))


def unexposed(film: Negative) -> NDArray[np.float32]:
    """Transmittance (3,) of the rebate, where nothing was exposed."""
    return reflectance(np.asarray(film.base, np.float32) + np.asarray(film.fog, np.float32))


def _curve(log_exposure: Image, slope: NDArray[np.float32], reach: float) -> Image:
    """Density above base: a soft toe at log exposure 0, straight with `slope`, a soft shoulder near `reach`."""
    toe = 0.18  # width of the toe in log exposure, from memory of published film curves
    straight = slope * toe * np.logaddexp(0.0, log_exposure / toe)
    return np.asarray(reach * np.tanh(straight / reach), np.float32)
