"""New marks: what the picture as a whole does not explain, spot by spot."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt
from skimage.color import deltaE_ciede2000

from surrogate.condition.colorimetry import lab
from surrogate.imaging.density import Floats

Array = npt.NDArray[np.float64]

#: Side (px) of the cells that the tones of the whole are fitted on.
_CELL = 12

#: Smoothing before marks are looked for (mm): a spot of 5 mm keeps its colour, noise and edges average out.
_SMOOTH_MM = 0.7

#: Finest resolution (px/mm) at which marks are looked for: what the smoothing leaves needs no more.
_FINEST_PX_PER_MM = 5.0

#: Slow drifts over this distance (mm) are light and paper, not marks: the median of a window of this side.
_DRIFT_MM = 16.0

#: A mark differs by at least this (CIEDE2000: seen side by side) and is at least this wide (mm).
_LEAST_DELTA_E, _LEAST_MM = 1.8, 2.0

#: How many times the usual difference of places as uneven as this one a mark must reach. Chosen on pairs of other
#: pictures than those reported, with the step below: 3 in 100 unchanged pairs show one, 90 in 100 stains are outlined.
_TIMES = 3.25

#: Colours this near to each other (density in each channel) are one colour of the picture, and a colour of this area
#: (mm2: a stain of 5 mm) tells half of what the new scanner does to it. Chosen like the last.
_COLOUR_STEP, _COLOUR_MM2 = 0.15, 20.0

#: Assumed scale (px/mm) of a master without a resolution: its long edge is that of a 10 x 15 cm print.
_UNSTATED_LONG_MM = 150.0


@dataclass(frozen=True)
class Mark:
    """Bounding box in px of the compared picture (x, y, width, height) and mean CIEDE2000."""

    box_px: tuple[float, float, float, float]
    delta_e: float


def find_marks(
    before: Floats, now: Floats, covered: npt.NDArray[np.bool_], px_per_mm: float | None
) -> tuple[list[Mark], Floats]:
    """Marks on ``now`` that ``before`` does not have, strongest first, and the map of differences (CIEDE2000).

    Both are densities (H, W, 3) that lie over each other.
    """
    height, width = before.shape[:2]
    scale = px_per_mm or max(height, width) / _UNSTATED_LONG_MM
    factor = min(1.0, _FINEST_PX_PER_MM / scale)
    if factor < 1:
        size = (round(width * factor), round(height * factor))
        before, now = (cv2.resize(picture, size, interpolation=cv2.INTER_AREA) for picture in (before, now))
        covered = cv2.resize(covered.astype(np.float32), size, interpolation=cv2.INTER_AREA) > 0.999
        scale *= factor
    expected = _expected(before, now, covered)
    rest = now - expected
    rest[~covered] = 0
    rest -= _drift(rest, scale)
    rest, colours = (np.asarray(cv2.GaussianBlur(p, (0, 0), _SMOOTH_MM * scale), np.float32) for p in (rest, before))
    inner = cv2.erode(covered.astype(np.uint8), np.ones((3, 3)), iterations=max(1, round(scale))).astype(bool)
    rest -= _by_colour(colours, rest, inner, scale)
    differences = _delta_e(expected, rest)
    differences[~inner] = 0
    limit = np.maximum(_LEAST_DELTA_E, _TIMES * _usual(before, differences, inner, scale))
    marked = ((differences > limit) & inner).astype(np.uint8)
    wide = max(3, round(_LEAST_MM * scale * 0.6))
    marked = cv2.morphologyEx(marked, cv2.MORPH_OPEN, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (wide, wide)))
    count, labels, boxes, _ = cv2.connectedComponentsWithStats(marked)
    found = [
        Mark((b[0] / factor, b[1] / factor, b[2] / factor, b[3] / factor), float(differences[labels == number].mean()))
        for number, b in enumerate(boxes[1:count], 1)
        if max(b[2], b[3]) >= _LEAST_MM * scale and min(b[2], b[3]) >= wide - 1  # else a sliver along the edge
    ]
    whole = np.asarray(cv2.resize(differences, (width, height), interpolation=cv2.INTER_LINEAR), np.float32)
    return sorted(found, key=lambda mark: -mark.delta_e), whole


def _terms(density: npt.NDArray[np.floating]) -> npt.NDArray[np.floating]:
    """Constant, all products of the three densities up to the second degree, and cubes of each."""
    r, g, b = density[..., 0], density[..., 1], density[..., 2]
    columns = [np.ones_like(r), r, g, b, r * r, g * g, b * b, r * g, r * b, g * b, r**3, g**3, b**3]
    return np.stack(columns, axis=-1)


def _expected(before: Floats, now: Floats, covered: npt.NDArray[np.bool_]) -> Floats:
    """What the new scan would show had nothing but tones and colours as a whole changed; fitted on cells."""
    height, width = (side // _CELL * _CELL for side in before.shape[:2])
    size = (width // _CELL, height // _CELL)
    old, new, whole = (
        cv2.resize(picture[:height, :width], size, interpolation=cv2.INTER_AREA)
        for picture in (before, now, covered.astype(np.float32))
    )
    use = whole > 0.999
    if use.sum() < 100:
        return before
    x, y = _terms(old[use].astype(np.float64)), new[use].astype(np.float64)
    weight = np.ones(len(x))
    hold = 1e-4 * len(x) * np.eye(x.shape[1])
    straight = np.zeros((x.shape[1], 3))
    straight[1:4] = np.eye(3)
    answer = straight
    for _ in range(6):  # Cauchy weights: a mark is no part of the whole
        answer = straight + np.linalg.solve(
            x.T @ (weight[:, None] * x) + hold * weight.mean(), x.T @ (weight[:, None] * (y - x @ straight))
        )
        away = np.abs(y - x @ answer).max(axis=1)
        weight = 1 / (1 + (away / (2.4 * np.median(away) + 1e-6)) ** 2)
    return np.asarray(_terms(before) @ answer.astype(np.float32), np.float32)


def _drift(rest: Floats, scale: float) -> Floats:
    """Slow drift of the differences: medians of windows, which a mark does not fill."""
    height, width = rest.shape[:2]
    cell = max(4, round(scale))
    size = (max(1, width // cell), max(1, height // cell))
    small = np.asarray(cv2.resize(rest, size, interpolation=cv2.INTER_AREA), np.float32)
    side = round(_DRIFT_MM * scale / cell) | 1
    side = max(3, min(side, 31))
    slow = [_median(small[..., channel], side) for channel in range(3)]
    return np.asarray(cv2.resize(np.stack(slow, axis=-1), (width, height), interpolation=cv2.INTER_LINEAR), np.float32)


def _by_colour(colours: Floats, rest: Floats, inner: npt.NDArray[np.bool_], scale: float) -> Floats:
    """What all places of one colour have in common, wherever they lie: the scanner's way with a rare colour."""
    steps = np.clip(np.rint(colours / _COLOUR_STEP), 0, 63).astype(np.int32)
    names = np.where(inner, (steps[..., 0] * 64 + steps[..., 1]) * 64 + steps[..., 2], -1).ravel()
    order = np.argsort(names, kind="stable")
    _, first, counts = np.unique(names[order], return_index=True, return_counts=True)
    flat = rest.reshape(-1, 3)
    common = np.array([np.median(flat[order[f : f + n]], axis=0) for f, n in zip(first, counts, strict=True)])
    common *= (counts / (counts + _COLOUR_MM2 * scale**2))[:, None]
    found = np.empty_like(flat)
    found[order] = np.repeat(common, counts, axis=0)
    return found.reshape(rest.shape)


def _median(channel: Floats, side: int) -> Floats:
    """Median in windows; 8 bits are enough for a drift: steps of 0.0016 density between -0.2 and 0.2."""
    codes = np.rint(np.clip((channel + 0.2) / 0.4, 0, 1) * 255).astype(np.uint8)
    slow = np.asarray(cv2.medianBlur(codes, side), np.float32)
    return slow * np.float32(0.4 / 255) - np.float32(0.2)


def _delta_e(expected: Floats, rest: Floats) -> Floats:
    one = lab(expected.reshape(-1, 3))
    other = lab((expected + rest).reshape(-1, 3))
    return np.asarray(deltaE_ciede2000(one, other), np.float32).reshape(expected.shape[:2])


def _usual(before: Floats, differences: Floats, inner: npt.NDArray[np.bool_], scale: float) -> Floats:
    """The difference that nine in ten places as uneven as this one stay under."""
    grey = before.mean(axis=2)
    slope = np.hypot(cv2.Sobel(grey, cv2.CV_32F, 1, 0), cv2.Sobel(grey, cv2.CV_32F, 0, 1))
    uneven = cv2.GaussianBlur(slope, (0, 0), _SMOOTH_MM * scale)
    if not inner.any():
        return np.zeros_like(uneven)
    steps = np.unique(np.percentile(uneven[inner], np.linspace(0, 100, 11)))
    at = np.clip(np.digitize(uneven, steps) - 1, 0, len(steps) - 2) if len(steps) > 1 else np.zeros(uneven.shape, int)
    levels = np.array(
        [
            np.percentile(differences[inner & (at == k)], 90) if (inner & (at == k)).any() else 0.0
            for k in range(max(1, len(steps) - 1))
        ]
    )
    return np.asarray(np.maximum.accumulate(levels)[at], np.float32)
