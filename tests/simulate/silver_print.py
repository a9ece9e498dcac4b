"""Silver-gelatin print: fine silver goes first, some of it turns to brown colloid, the base yellows from the edges.

Image particles are smallest in the lights (Reilly and others 1984 on albumen), so the share that is lost falls with
density. What is attacked but not lost becomes colloidal silver, which absorbs blue more than red: the warm, brown look.
Silver that wandered to the surface of the darks mirrors.
"""

from dataclasses import dataclass

import numpy as np
from numpy.random import Generator

from . import Level
from .fields import edge_attack, smooth
from .tone import Image, density, luminance, reflectance, shoulder

Triple = tuple[float, float, float]

COLLOID: Triple = (0.45, 0.80, 1.45)
"""Density of yellow-brown colloidal silver against the neutral silver it came from (shape from memory)."""
YELLOW: Triple = (0.12, 0.38, 1.0)
"""Yellowed gelatin and paper: red, green, blue density as shares of blue."""


@dataclass(frozen=True)
class SilverPrint:
    """One print and what happened to it.

    base_density (0.05..0.10) and density_max (1.7..2.2) of the fresh print. tone: fresh warmth, added blue density as a
    share of the image (0 cold .. 0.12 warm paper). loss: share of the finest silver gone (0..0.8). fineness: density at
    which attack has dropped to 1/e (0.5..2.0). browned: share of the attacked silver that stays as colloid (0..0.7).
    yellowing: blue density added to the base everywhere (0..0.35). edge: extra attack and yellowing at the very edge
    (0..2, as a share of the inner one). reach_px: how far the edge attack goes. mirror: reflectance that silvered darks
    add at the edges (0..0.04). seed: of the fields.
    """

    base_density: float
    density_max: float
    tone: float
    loss: float
    fineness: float
    browned: float
    yellowing: float
    edge: float
    reach_px: float
    mirror: float
    seed: int


# (share of the finest silver lost, blue density of the base, extra at the edge); the change that this makes against the
# fresh print is measured in the tests.
_SPANS: dict[Level, tuple[tuple[float, float], tuple[float, float], tuple[float, float]]] = {
    "unfaded": ((0.0, 0.01), (0.0, 0.01), (0.0, 0.0)),
    "mild": ((0.08, 0.25), (0.04, 0.12), (0.2, 0.8)),
    "medium": ((0.25, 0.50), (0.12, 0.24), (0.4, 1.2)),
    "severe": ((0.60, 0.92), (0.24, 0.45), (0.6, 1.8)),
}


def sample(rng: Generator, level: Level) -> SilverPrint:
    """A print of that level of attack: (loss, yellowing, edge) grow together."""
    loss, yellowing, edge = _SPANS[level]
    return SilverPrint(
        base_density=float(rng.uniform(0.05, 0.10)),
        density_max=float(rng.uniform(1.7, 2.2)),
        tone=float(rng.uniform(0.0, 0.12)),
        loss=float(rng.uniform(*loss)),
        fineness=float(rng.uniform(0.5, 2.0)),
        browned=float(rng.uniform(0.1, 0.7)),
        yellowing=float(rng.uniform(*yellowing)),
        edge=float(rng.uniform(*edge)),
        reach_px=float(rng.uniform(40, 160)),
        mirror=float(rng.uniform(0.0, 0.04)) if level != "unfaded" else 0.0,
        seed=int(rng.integers(2**31)),
    )


def print_of(photo: Image, original: SilverPrint) -> tuple[Image, Image]:
    """The photograph on silver paper: (as fixed and washed, as it is now), both linear (height, width, 3)."""
    silver = shoulder(density(luminance(photo)), original.density_max - original.base_density)[..., None]
    warm = np.array([1.0, 1.0 + 0.4 * original.tone, 1.0 + original.tone], np.float32)
    fresh = original.base_density + silver * warm
    shape = photo.shape[:2]
    rng = np.random.default_rng(original.seed)
    at_edge = edge_attack(rng, shape, original.reach_px)[..., None]
    uneven = np.clip(1.0 + 0.12 * smooth(rng, shape, max(shape) / 3.0), 0.5, 1.5)[..., None]
    severity = uneven * (1.0 + original.edge * at_edge)
    attacked = np.clip(original.loss * severity, 0.0, 0.95) * np.exp(-silver / original.fineness)
    colloid = silver * attacked * original.browned * np.array(COLLOID, np.float32)
    yellow = original.yellowing * severity * np.array(YELLOW, np.float32)
    aged = reflectance(original.base_density + silver * (1.0 - attacked) * warm + colloid + yellow)
    dark = np.clip(silver / original.density_max, 0.0, 1.0) ** 3
    return reflectance(fresh), aged + original.mirror * at_edge * dark * np.array([0.9, 0.97, 1.1], np.float32)


def sepia_toned(photo: Image, base_density: float = 0.08, density_max: float = 1.75) -> Image:
    """A print toned on purpose: silver sulphide throughout, even over the sheet, with clean paper. Linear.

    Silver sulphide darkens blue more than red at every density, so hue is steady from light to dark (common practice,
    no source).
    """
    image = shoulder(density(luminance(photo)), density_max - base_density)[..., None]
    return reflectance(base_density + image * np.array([0.72, 1.0, 1.42], np.float32))
