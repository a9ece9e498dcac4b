"""Pencil and pen on paper: graphite that catches the fibres, ink that pales and browns."""

from dataclasses import dataclass

import numpy as np
from numpy.random import Generator
from scipy import ndimage

from . import Level
from .fields import Field, smooth
from .tone import Image

Triple = tuple[float, float, float]

BLUE_BLACK: Triple = (1.15, 0.95, 0.70)
"""Fresh blue-black fountain-pen ink: red is absorbed most (from memory)."""
IRON_BROWN: Triple = (0.45, 0.72, 1.0)
"""The same ink when its dye has gone and the iron is left (from memory)."""
GRAPHITE: Triple = (0.97, 1.0, 1.0)


@dataclass(frozen=True)
class Hand:
    """How something was written and how it fared.

    pressure: greatest density of the stroke (pencil 0.15..0.7, pen 0.6..1.1). grain: share of a pencil stroke that the
    valleys of the paper leave bare (0.2..0.7; 0 for a pen). faded: share of ink lost (0..0.7). browned: how far the
    rest has turned from blue-black to brown (0..1; pencil ignores it). smear_px: rubbing of pencil (0..3). seed.
    """

    pressure: float
    grain: float
    faded: float
    browned: float
    smear_px: float
    seed: int


_FADED: dict[Level, tuple[float, float]] = {
    "unfaded": (0.0, 0.02), "mild": (0.1, 0.25), "medium": (0.25, 0.5), "severe": (0.5, 0.75),
}  # fmt: skip


def sample_pencil(rng: Generator, level: Level) -> Hand:
    """A pencilled note. Graphite does not fade: a worse level is fainter and more rubbed."""
    lost = float(rng.uniform(*_FADED[level]))
    return Hand(
        float(rng.uniform(0.35, 0.7)) * (1 - lost),
        float(rng.uniform(0.25, 0.6)),
        0.0,
        0.0,
        3.0 * lost,
        int(rng.integers(2**31)),
    )


def sample_pen(rng: Generator, level: Level) -> Hand:
    """A letter in blue-black ink."""
    lost = float(rng.uniform(*_FADED[level]))
    return Hand(float(rng.uniform(0.7, 1.1)), 0.0, lost, min(1.0, 1.6 * lost), 0.0, int(rng.integers(2**31)))


def pencil(strokes: Field, hand: Hand) -> Image:
    """Density (height, width, 3) of pencil: `strokes` is 1 where the point went."""
    rng = np.random.default_rng(hand.seed)
    shape = (strokes.shape[0], strokes.shape[1])
    tooth = ndimage.gaussian_filter(rng.standard_normal(shape), 0.8)
    hills = tooth > np.quantile(tooth, hand.grain)
    laid = ndimage.gaussian_filter(strokes * (0.25 + 0.75 * hills), 0.5)
    press = np.clip(1.0 + 0.18 * smooth(rng, shape, 25.0), 0.5, 1.5)
    rubbed = ndimage.gaussian_filter(strokes, (0.5, 4.0)) * 0.05 * hand.smear_px
    amount = hand.pressure * (laid * press + rubbed)
    return np.asarray(amount[..., None] * np.array(GRAPHITE), np.float32)


def pen(strokes: Field, hand: Hand) -> Image:
    """Density (height, width, 3) of pen ink: darker at the ends of strokes, uneven with the flow of the pen."""
    rng = np.random.default_rng(hand.seed)
    shape = (strokes.shape[0], strokes.shape[1])
    flow = np.clip(1.0 + 0.16 * smooth(rng, shape, 30.0), 0.5, 1.5)
    feathered = ndimage.gaussian_filter(strokes, 0.6)
    amount = hand.pressure * (1.0 - hand.faded) * feathered * flow
    colour = (1.0 - hand.browned) * np.asarray(BLUE_BLACK) + hand.browned * np.asarray(IRON_BROWN)
    return np.asarray(amount[..., None] * colour, np.float32)


def writing_paper(rng: Generator, shape: tuple[int, int], base: Triple = (0.06, 0.07, 0.10)) -> Image:
    """Density of rag or baryta-backed paper: even, slightly cloudy."""
    cloud = 0.002 * smooth(rng, shape, 30.0) + 0.002 * smooth(rng, shape, 2.0)
    return (np.asarray(base, np.float32) + cloud[..., None]).astype(np.float32)
