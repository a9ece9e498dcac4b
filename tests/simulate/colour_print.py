"""Chromogenic colour print: dyes that fade in the dark and in the light, and a base that yellows.

Dark fading is first order: every dye keeps a share of its amount, cyan suffering first. Light fading follows the light
that the layer itself absorbs, `da/dt = -k (1 - 10^-sa) / (s ln 10)`, whose solution
`10^(s a(t)) = 1 + (10^(s a0) - 1) e^-kt` takes a fixed share of thin dye and a fixed amount of thick dye.
Unused magenta coupler yellows, so the print stains most where it holds least magenta.
"""

from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.random import Generator
from scipy import ndimage

from . import Level
from .fields import smooth
from .spectra import DYE_SETS, SENSORS, Array, DyeSet, Sensor, dye_amounts, seen, stain_curve
from .tone import Image, density, reflectance, shoulder

Triple = tuple[float, float, float]

NODES = 33
SPAN = 2.6
"""The ageing is tabulated on NODES^3 densities above base, 0..SPAN. Measured on six prints: 99 % of colours within
0.013 D of the direct calculation, the worst, at the edge of what the dyes can make, within 0.033 D."""


@dataclass(frozen=True)
class ColourPrint:
    """One print and what happened to it.

    dyes, sensor: what absorbs and what looks. dark_share: share of cyan, magenta, yellow left by dark fading (1 = all).
    light_dose: k t of light fading per dye (0 = none, 0.1 slight, 1 severe). base_density: fresh white per channel
    (0.05..0.12). density_max: fresh black (1.7..2.3). stain: density at 450 nm added to the base (0..0.4).
    stain_decay_nm: how fast it falls towards red (40..90). coupler: share of the stain that magenta
    spares (0..0.7). unevenness: standard deviation of the stain over the sheet as a share (0..0.15). seed: of it.
    """

    dyes: DyeSet
    sensor: Sensor
    dark_share: Triple
    light_dose: Triple
    base_density: Triple
    density_max: float
    stain: float
    stain_decay_nm: float
    coupler: float
    unevenness: float
    seed: int


@dataclass(frozen=True)
class _Span:
    """Ranges that one level draws from: shares left per dye, light doses per dye, stain density at 450 nm."""

    cyan: tuple[float, float]
    magenta: tuple[float, float]
    yellow: tuple[float, float]
    light: tuple[float, float]
    stain: tuple[float, float]


# Loss of a neutral D = 1: up to 15 %, about 30 % (illustrative end point of ISO 18909, from memory), about 60 %.
_SPANS: dict[Level, _Span] = {
    "unfaded": _Span((0.99, 1.0), (0.99, 1.0), (0.99, 1.0), (0.0, 0.01), (0.0, 0.01)),
    "mild": _Span((0.80, 0.93), (0.90, 0.99), (0.90, 0.98), (0.0, 0.12), (0.02, 0.07)),
    "medium": _Span((0.52, 0.78), (0.74, 0.95), (0.74, 0.94), (0.05, 0.35), (0.06, 0.16)),
    "severe": _Span((0.24, 0.50), (0.50, 0.86), (0.55, 0.86), (0.15, 0.80), (0.12, 0.32)),
}


def sample(rng: Generator, level: Level) -> ColourPrint:
    """A print of that level. One in three has faded mainly by light, where magenta goes first; the rest in the dark."""
    span = _SPANS[level]
    by_light = rng.random() < 1 / 3
    shares = [float(rng.uniform(*r)) for r in (span.cyan, span.magenta, span.yellow)]
    dose = float(rng.uniform(*span.light))
    if by_light:
        shares, dose = [share**0.35 for share in shares], 2.0 * dose
    light = tuple(dose * float(rng.uniform(*r)) for r in ((0.2, 0.5), (0.8, 1.2), (0.3, 0.8)))
    base = rng.uniform(0.05, 0.10)
    return ColourPrint(
        dyes=DYE_SETS[int(rng.integers(len(DYE_SETS)))],
        sensor=SENSORS[int(rng.integers(len(SENSORS)))],
        dark_share=(shares[0], shares[1], shares[2]),
        light_dose=(light[0], light[1], light[2]),
        base_density=(float(base), float(base + rng.uniform(0, 0.01)), float(base + rng.uniform(-0.005, 0.02))),
        density_max=float(rng.uniform(1.7, 2.3)),
        stain=float(rng.uniform(*span.stain)),
        stain_decay_nm=float(rng.uniform(40, 90)),
        coupler=float(rng.uniform(0.0, 0.7)),
        unevenness=float(rng.uniform(0.0, 0.15)) if level != "unfaded" else 0.0,
        seed=int(rng.integers(2**31)),
    )


def fade(amounts: Array, dark_share: Triple, light_dose: Triple) -> Array:
    """Dye amounts (n, 3) after dark fading, then light fading."""
    kept = amounts * np.asarray(dark_share)
    return np.asarray(np.log10(1.0 + (np.power(10.0, kept) - 1.0) * np.exp(-np.asarray(light_dose))))


def print_of(photo: Image, original: ColourPrint) -> tuple[Image, Image]:
    """The photograph on this paper: (as it left the laboratory, as it is now), both linear, without scanner faults.

    Both come from the same dye amounts, so colours that the dyes cannot make are missing in both. A pure white of the
    photograph is bare paper, and stays so.
    """
    base = np.asarray(original.base_density, np.float32)
    above = shoulder(density(photo), original.density_max - float(base.mean()))
    amounts = _node_amounts(original.dyes, original.sensor)
    curves = original.dyes.curves
    faded = fade(amounts, original.dark_share, original.light_dose)
    spared = original.coupler * np.clip(amounts[:, 1:2] / original.density_max, 0.0, 1.0)
    stain = original.stain * (1.0 - spared) * stain_curve(original.stain_decay_nm)
    fresh = seen(amounts @ curves, original.sensor)
    now = seen(faded @ curves + stain, original.sensor)
    unfaded = reflectance(base + _interpolate(above, fresh))
    aged = base + _interpolate(above, now)
    if original.unevenness > 0:
        colour = seen(original.stain * stain_curve(original.stain_decay_nm), original.sensor).astype(np.float32)
        field = smooth(np.random.default_rng(original.seed), photo.shape[:2], max(photo.shape) / 2.5)
        aged = aged + np.maximum(original.unevenness * field, -1.0)[..., None] * colour
    return unfaded, reflectance(np.maximum(aged, 0.0))


@cache
def _node_amounts(dyes: DyeSet, sensor: Sensor) -> Array:
    """Dye amounts (NODES^3, 3) at the nodes of the table; one calculation serves every print of those dyes."""
    axis = np.linspace(0.0, SPAN, NODES)
    nodes = np.stack(np.meshgrid(axis, axis, axis, indexing="ij"), axis=-1).reshape(-1, 3)
    return dye_amounts(nodes, dyes, sensor)


def _interpolate(above: Image, table: Array) -> Image:
    """Trilinear look-up of densities above base in a table of shape (NODES^3, 3)."""
    at = np.moveaxis(np.clip(above, 0.0, SPAN) * ((NODES - 1) / SPAN), -1, 0)
    cube = table.reshape(NODES, NODES, NODES, 3).astype(np.float32)
    return np.stack([ndimage.map_coordinates(cube[..., c], at, order=1, mode="nearest") for c in range(3)], axis=-1)
