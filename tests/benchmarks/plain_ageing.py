"""A second, densitometric simulation of ageing: the one that sets the width of the estimator's intervals.

Unlike the family of the fit: light fading by a power of the amount, a paper curve by a hyperbolic tangent, fixed dye
matrices, stain that grows with exposure of the base, a scanner with one tone error. Written in numpy on purpose, and
never used to fit.
"""

from dataclasses import dataclass

import numpy as np

#: R, G, B density (rows) of unit amounts of C, M, Y; made neutral by row. From memory of published block densities.
MATRICES = tuple(
    np.array(rows) / np.array(rows).sum(axis=1, keepdims=True)
    for rows in (
        ((1.0, 0.10, 0.01), (0.30, 1.0, 0.12), (0.16, 0.34, 1.0)),
        ((1.0, 0.05, 0.02), (0.18, 1.0, 0.05), (0.08, 0.20, 1.0)),
        ((1.0, 0.14, 0.04), (0.26, 1.0, 0.16), (0.10, 0.28, 1.0)),
    )
)


@dataclass(frozen=True)
class Ageing:
    """What happened: shares kept at density 1.0, power of light fading (0 = none), base before and now, black."""

    matrix: np.ndarray
    share: np.ndarray
    power: np.ndarray
    fresh: np.ndarray
    base: np.ndarray
    black: float
    tone: float
    cast: np.ndarray
    flare: float
    noise: float


_WORST = {"unfaded": (1.0, 1.0), "mild": (0.80, 0.94), "medium": (0.55, 0.80), "severe": (0.25, 0.55)}
_STAIN = {"unfaded": 0.0, "mild": 0.06, "medium": 0.14, "severe": 0.28}


def sample(rng: np.random.Generator, level: str) -> Ageing:
    worst = rng.uniform(*_WORST[level])
    weight = rng.uniform(0.1, 0.9, 3)
    weight[rng.choice(3, p=(0.5, 0.3, 0.2))] = 1.0
    fresh = rng.uniform(0.03, 0.10) + rng.normal(0, 0.006, 3)
    direction = np.array([rng.uniform(0, 0.3), rng.uniform(0.2, 0.6), 1.0])
    return Ageing(
        matrix=MATRICES[rng.integers(len(MATRICES))],
        share=np.exp(np.log(worst) * weight),
        power=rng.uniform(0, 0.35) * weight * (rng.random() < 0.5) * (level != "unfaded"),
        fresh=fresh,
        base=fresh + _STAIN[level] * rng.uniform(0, 1) * direction,
        black=rng.uniform(1.7, 2.3),
        tone=1 + rng.normal(0, 0.012),
        cast=rng.normal(0, 0.006, 3),
        flare=rng.uniform(0.0, 0.005),
        noise=rng.uniform(0.001, 0.004),
    )


def age(light: np.ndarray, a: Ageing) -> np.ndarray:
    """Linear photograph (H, W, 3) to the linear light of its aged print, without scanner."""
    return 10 ** -(a.base + _left(light, a) @ a.matrix.T)


def fresh_print(light: np.ndarray, a: Ageing) -> np.ndarray:
    return 10 ** -(a.fresh + _amounts(light, a) @ a.matrix.T)


def scan(light: np.ndarray, a: Ageing, rng: np.random.Generator) -> np.ndarray:
    """8-bit-ready linear light as a scanner with small faults sees it."""
    seen = (light + a.flare * light.mean()) / (1 + a.flare)
    seen = seen**a.tone * 10**-a.cast
    return np.clip(seen + a.noise * np.sqrt(0.1 + seen) * rng.standard_normal(seen.shape), 0, 1)


def _amounts(light: np.ndarray, a: Ageing) -> np.ndarray:
    density = -np.log10(np.clip(light, 1e-4, 1))
    above = a.black * np.tanh(density / a.black) ** 1.0
    return np.maximum(above @ np.linalg.inv(a.matrix).T, 0)


def _left(light: np.ndarray, a: Ageing) -> np.ndarray:
    amounts = _amounts(light, a)
    return a.share * amounts ** (1 + a.power)
