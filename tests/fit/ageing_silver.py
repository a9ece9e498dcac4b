"""Silver prints to fit on: a broad family of fresh prints and of what time does to them, unlike tests/simulate.

Everything is density. ``draw`` gives the scan of an aged print and the same print as it was.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

Floats = NDArray[np.float32]

#: Share of each kind of example.
SHARES = {"unfaded": 0.26, "mild": 0.2, "medium": 0.2, "severe": 0.2, "sepia": 0.05, "blue": 0.04, "hand": 0.05}
_AMOUNT = {"unfaded": (0.0, 0.02), "mild": (0.05, 0.28), "medium": (0.2, 0.55), "severe": (0.45, 0.85)}


@dataclass(frozen=True)
class Example:
    """A scan and its truth, densities (H, W, 3); ``toned`` on purpose or not; ``loss`` share of range lost."""

    scan: Floats
    fresh: Floats
    toned: bool
    loss: float


def _linear(codes: NDArray[np.uint8]) -> Floats:
    c = codes.astype(np.float32) / 255
    return np.where(c <= 0.04045, c / 12.92, ((c + 0.055) / 1.055) ** 2.4).astype(np.float32)


def _field(rng: Generator, shape: tuple[int, int], cells: int) -> Floats:
    small = rng.standard_normal((cells, cells)).astype(np.float32)
    return np.asarray(cv2.resize(small, (shape[1], shape[0]), interpolation=cv2.INTER_CUBIC))


def _edges(rng: Generator, shape: tuple[int, int]) -> Floats:
    rows = np.arange(shape[0], dtype=np.float32)[:, None]
    columns = np.arange(shape[1], dtype=np.float32)[None, :]
    reach = rng.uniform(0.03, 0.25) * max(shape)
    sides = [rows, shape[0] - 1 - rows, columns, shape[1] - 1 - columns]
    attack = np.zeros(shape, np.float32)
    for side in sides:
        attack = np.maximum(attack, rng.uniform(0.3, 1.0) * np.exp(-((side / reach) ** rng.uniform(0.8, 1.6))))
    return attack * np.clip(1 + 0.3 * _field(rng, shape, 6), 0.2, 2)


def silver_of(photo: NDArray[np.uint8], rng: Generator, reach: float) -> Floats:
    """Silver density of a print from an sRGB photograph, (H, W), with a random exposure, grade and shoulder."""
    weights = np.array([0.2126, 0.7152, 0.0722], np.float32)
    density = -np.log10(np.maximum(_linear(photo) @ weights, 10**-3.2))
    density = np.maximum(density * rng.normal(1.0, 0.08) + rng.normal(0, 0.04), 0)
    sharp = rng.uniform(2.5, 6.0)
    return np.asarray(density / (1 + (density / reach) ** sharp) ** (1 / sharp), dtype=np.float32)


def draw(photo: NDArray[np.uint8], rng: Generator, kind: str) -> Example:
    """One example of a kind in ``SHARES``."""
    shape = (photo.shape[0], photo.shape[1])
    base = rng.uniform(0.03, 0.12) + np.sort(np.abs(rng.normal(0, 0.02, 3))).astype(np.float32)
    reach = float(rng.uniform(1.35, 2.25))
    silver = silver_of(photo, rng, reach)
    if rng.random() < 0.4:
        silver = _bordered(silver, int(rng.uniform(0.02, 0.08) * max(shape)))
    blue = abs(rng.normal(0, 0.07))
    warm = np.array([1.0, 1 + rng.uniform(0.2, 0.6) * blue, 1 + blue], np.float32)
    if rng.random() < 0.3:
        warm = np.array([1.0, 1 - rng.uniform(0, 0.02), 1 - rng.uniform(0, 0.05)], np.float32)
    toned = kind in {"sepia", "blue", "hand"}
    if kind == "sepia":
        depth = rng.uniform(0.6, 1.3)
        warm = 1 + depth * np.array([-0.2, 0.0, 0.28], np.float32) + rng.normal(0, 0.03, 3).astype(np.float32)
    if kind == "blue":
        warm = np.array([1.35, 0.95, 0.55], np.float32) + rng.normal(0, 0.06, 3).astype(np.float32)
    fresh = base + silver[..., None] * warm
    if kind == "hand":
        fresh = fresh + _tint(photo, rng)
    level = kind
    if toned:
        level = "unfaded" if rng.random() < 0.7 else "mild"
    amount = rng.uniform(*_AMOUNT[level])
    if level == "unfaded" and rng.random() < 0.5:
        amount = 0.0
    severity = np.clip(1 + 0.15 * _field(rng, shape, 4), 0.5, 1.5) * (
        1 + (rng.uniform(0, 1.8) * _edges(rng, shape) if level != "unfaded" else 0)
    )
    attacked = _attack(silver, rng, reach) * np.clip(amount * severity, 0, 0.95)
    colloid = np.array([0.45, 0.8, 1.4], np.float32) * rng.lognormal(0, 0.15, 3).astype(np.float32)
    stain = np.array([rng.uniform(0.06, 0.22), rng.uniform(0.28, 0.5), 1.0], np.float32)
    yellowing = rng.uniform(0.2, 0.65) * amount
    aged = fresh - (silver * attacked)[..., None] * warm
    aged = aged + (silver * attacked * rng.uniform(0.0, 0.75))[..., None] * colloid
    aged = aged + (yellowing * severity)[..., None] * stain
    return Example(_scanned(aged, rng, level), np.asarray(fresh, np.float32), toned, _loss(silver, attacked))


def _loss(silver: Floats, attacked: Floats) -> float:
    """Share of the density range above base that is gone: of the silver at the 98th percentile and below."""
    total = float(np.sum(silver))
    return float(np.sum(silver * attacked) / max(total, 1e-6))


def _attack(silver: Floats, rng: Generator, reach: float) -> Floats:
    """Share attacked by density, 1 at its greatest: fine silver first, in one of three shapes."""
    shape = rng.integers(3)
    if shape == 0:
        return np.asarray(np.exp(-silver / rng.uniform(0.35, 1.4)), np.float32)
    if shape == 1:
        return np.asarray((1 - 0.95 * silver / reach).clip(0, 1) ** rng.uniform(0.6, 2.0), np.float32)
    rest = rng.uniform(0.1, 0.6)
    return np.asarray(rest + (1 - rest) / (1 + (silver / rng.uniform(0.4, 1.0)) ** 2), np.float32)


def _bordered(silver: Floats, width: int) -> Floats:
    out = np.zeros_like(silver)
    inner = (silver.shape[1] - 2 * width, silver.shape[0] - 2 * width)
    small = cv2.resize(silver, inner, interpolation=cv2.INTER_AREA)
    out[width : width + inner[1], width : width + inner[0]] = small
    return out


def _tint(photo: NDArray[np.uint8], rng: Generator) -> Floats:
    """Thin transparent colour laid over the silver picture by hand: the photograph's own, softened and weak."""
    density = -np.log10(np.maximum(_linear(photo), 0.01))
    chroma = density - density.mean(axis=2, keepdims=True)
    return np.asarray(cv2.GaussianBlur(chroma, (0, 0), 1.5) * rng.uniform(0.25, 0.8), np.float32)


def _scanned(density: Floats, rng: Generator, level: str) -> Floats:
    """What a scanner reads: flare, a slight error of tone and colour, noise; 8 bits in the end."""
    light = 10.0 ** -np.maximum(density, 0)
    if rng.random() < 0.6:
        light = light + rng.uniform(0, 0.004)
    if level not in {"unfaded", "sepia", "blue", "hand"} and rng.random() < 0.4:
        light = light + rng.uniform(0, 0.04) * _edges(rng, density.shape[:2])[..., None] * (density > 1.2)
    if rng.random() < 0.6:
        light = light ** rng.normal(1, 0.02) * (1 + rng.normal(0, 0.01, 3))
    light = light + rng.uniform(0, 0.004) * rng.standard_normal(light.shape)
    light = np.clip(light, 0, 1)
    codes = np.where(light <= 0.0031308, light * 12.92, 1.055 * light ** (1 / 2.4) - 0.055)
    codes = np.rint(codes * 255).astype(np.uint8)
    return np.asarray(-np.log10(np.maximum(_linear(codes), 1e-3)), np.float32)
