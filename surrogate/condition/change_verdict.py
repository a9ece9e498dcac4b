"""When is a difference between two scans a change of the original? One stated test, with its rate of false alarms."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import numpy.typing as npt

from surrogate.collection.changes import Evidence

Array = npt.NDArray[np.float64]

#: How far two scanners' contrast differs once both are brought together, as standard deviations: of all dyes alike, and
#: of each by itself. "base": an assumption about profiled scanners (1 L* at density 1.0 is 2.4 % of contrast; ISO
#: 19264-1 allows 2 L* at level A). "target": what a target leaves, since dyes and its pigments look alike to no two
#: scanners; chosen on simulated pairs of other pictures than those reported.
CONTRAST_SD: dict[Evidence, tuple[float, float]] = {
    "none": (0.028, 0.020),
    "base": (0.028, 0.020),
    "session": (0.006, 0.012),
    "target": (0.004, 0.009),
}

#: Share of unchanged originals of which the tones alone may say "changed" (one-sided: dyes do not come back).
FALSE_ALARMS = 0.025

INTERVAL = 1.96  # two-sided 95 % of the normal distribution


def spread(covariance: Array, evidence: Evidence) -> Array:
    """Covariance (3, 3) of a loss: of the picture's fit and of the scanners' contrast."""
    alike, own = CONTRAST_SD[evidence]
    return covariance + alike**2 + own**2 * np.eye(3)


def strongest(loss: Array, covariance: Array) -> tuple[float, float]:
    """Largest and smallest of four scores: each dye's loss and the mean loss, over their standard errors."""
    average = np.vstack([np.eye(3), np.full(3, 1 / 3)])
    scores = average @ loss / np.sqrt(np.diag(average @ covariance @ average.T))
    return float(scores.max()), float(scores.min())


def critical(covariance: Array) -> float:
    """The score that the largest of the four passes in :data:`FALSE_ALARMS` of unchanged originals."""
    spreads = np.sqrt(np.diag(covariance))
    alike = covariance / np.outer(spreads, spreads)
    return _critical(*(round(float(alike[i, j]), 2) for i, j in ((0, 1), (0, 2), (1, 2))))


@lru_cache(maxsize=256)
def _critical(one: float, two: float, three: float) -> float:
    """By 40,000 draws of three normal scores of these correlations; the same every time."""
    alike = np.array([[1, one, two], [one, 1, three], [two, three, 1]])
    values, vectors = np.linalg.eigh(alike)
    draws = np.random.default_rng(0).standard_normal((40_000, 3)) @ (vectors * np.sqrt(np.maximum(values, 0))).T
    mean = draws.mean(axis=1) / max(float(np.sqrt(alike.mean())), 1e-6)
    return float(np.quantile(np.maximum(draws.max(axis=1), mean), 1 - FALSE_ALARMS))
