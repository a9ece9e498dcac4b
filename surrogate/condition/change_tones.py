"""How much of each dye is gone between two scans of one original that lie over each other."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from surrogate.imaging.density import Floats

Array = npt.NDArray[np.float64]

#: Side (px) of the cells whose means are compared: noise and blur average out in 144 pixels.
_CELL = 12

#: Tones darker than this are left out: there flare and the scanner's noise decide (a colour target's black is 1.5).
_DARKEST = 1.7

#: Densities of each dye wanted between the 2nd and 98th percentile, for a slope to mean anything.
LEAST_RANGE = 0.25

#: How far the light of two scanners may drift over the glass, as a standard deviation of density per term of a
#: quadratic field (judgement; FADGI 2016 allows 1 to 3 % of light, 0.004 to 0.013, at four and three stars).
_DRIFT_SD = 0.01

#: Cells whose errors are independent of each other, of all: neighbours share texture and drift (judgement).
_INDEPENDENT = 150.0

#: Blocks along each axis that are left out in turn for the standard error (delete-a-group jackknife).
_BLOCKS = 5

_HUBER = 1.345  # 95 % efficiency for normal errors (Huber 1981; from memory)


@dataclass(frozen=True)
class Tones:
    """Loss of each dye C, M, Y as a share of what the master shows; its covariance (3, 3), from the picture alone."""

    loss: Array
    covariance: Array


def measure_tones(before: Floats, now: Floats, covered: npt.NDArray[np.bool_], dyes: Array) -> Tones | None:
    """Losses from densities (H, W, 3) that lie over each other; ``dyes`` (3, 3) is density of unit C, M, Y amounts.

    Each dye's amount now is fitted against its amount then by a line, a field of light that varies slowly over the
    glass, and Huber's weights; tones count alike however much of the picture they cover. None where a dye's amounts
    span too little.
    """
    then, later, places, rough = _cells(before, now, covered)
    if len(then) < 60:
        return None
    unmix = np.linalg.inv(dyes)
    old, new = then @ unmix.T, later @ unmix.T
    low, high = np.percentile(old, [2, 98], axis=0)
    if ((high - low) < LEAST_RANGE).any():
        return None
    field = np.c_[places, places**2, places[:, :1] * places[:, 1:]]
    blocks = (np.clip(((places + 1) / 2 * _BLOCKS).astype(int), 0, _BLOCKS - 1) @ [1, _BLOCKS]).astype(int)
    weights = np.stack([_weights(old[:, dye], rough) for dye in range(3)])
    everything = np.ones(len(old), bool)
    slopes = np.array([_slope(old[:, d], new[:, d], field, weights[d], everything) for d in range(3)])
    groups = [group for group in np.unique(blocks) if 0 < (blocks == group).sum() < len(blocks)]
    without = np.array(
        [[_slope(old[:, d], new[:, d], field, weights[d], blocks != group) for d in range(3)] for group in groups]
    )
    apart = without - without.mean(axis=0)
    covariance = (len(groups) - 1) / len(groups) * apart.T @ apart
    return Tones(1 - slopes, covariance)


def _cells(
    before: Floats, now: Floats, covered: npt.NDArray[np.bool_]
) -> tuple[Array, Array, Array, npt.NDArray[np.float64]]:
    """Means (N, 3) of the even cells then and now, their places (N, 2) in -1 to 1, and how uneven each is."""
    height, width = (side // _CELL * _CELL for side in before.shape[:2])
    size = (width // _CELL, height // _CELL)

    def mean(picture: Floats) -> Array:
        return np.asarray(cv2.resize(picture[:height, :width], size, interpolation=cv2.INTER_AREA), np.float64)

    old, new = mean(before), mean(now)
    grey = before.mean(axis=2)
    rough = np.sqrt(np.maximum(mean(grey * grey) - mean(grey) ** 2, 0))
    whole = mean(covered.astype(np.float32)) > 0.999
    usable = whole & (old.max(axis=2) < _DARKEST) & (new.max(axis=2) < _DARKEST + 0.2)
    if not usable.any():
        return np.empty((0, 3)), np.empty((0, 3)), np.empty((0, 2)), np.empty(0)
    even = usable & (rough <= max(0.03, float(np.percentile(rough[usable], 70))))
    y, x = np.nonzero(even)
    places = np.c_[2 * x / max(size[0] - 1, 1) - 1, 2 * y / max(size[1] - 1, 1) - 1]
    return old[even], new[even], places, rough[even]


def _weights(amounts: npt.NDArray[np.float64], rough: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """Uneven cells count less, and a tone that fills the picture hardly more than one that does not."""
    low, high = np.percentile(amounts, [1, 99])
    bins = np.clip(((amounts - low) / max(high - low, 1e-6) * 16).astype(int), 0, 15)
    crowd = np.sqrt(np.bincount(bins, minlength=16))[bins]
    return np.asarray(1 / ((0.01**2 + (0.3 * rough) ** 2) * crowd))


def _slope(
    old: npt.NDArray[np.float64],
    new: npt.NDArray[np.float64],
    field: Array,
    weights: npt.NDArray[np.float64],
    use: npt.NDArray[np.bool_],
) -> float:
    """Robust slope of ``new`` against ``old`` with a field of light of ``_DRIFT_SD`` beside it."""
    x, y, w = old[use], new[use], weights[use]
    w = w / w.sum() * _INDEPENDENT
    design = np.c_[np.ones(len(x)), x, field[use]]
    answer = np.array([np.median(y) - np.median(x), 1.0, *np.zeros(field.shape[1])])
    for _ in range(6):
        rest = np.abs(y - design @ answer)
        spread = 1.4826 * float(np.median(rest)) + 1e-6  # normal distribution: sd from the median absolute deviation
        v = w * np.minimum(1, _HUBER * spread / np.maximum(rest, 1e-9))
        hold = np.diag([0, 0, *[(spread / _DRIFT_SD) ** 2] * field.shape[1]])
        answer = np.linalg.solve(design.T @ (v[:, None] * design) + hold, design.T @ (v * y))
    return float(answer[1])
