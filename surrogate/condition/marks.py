"""Marks that time left on one original: where they are, what they are and how sure that is.

First version: local excess of blue over red density against the neighbourhood, which a stain has and a grey
picture or black ink has not. Pictures in colour are searched only where they are nearly grey.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from surrogate.records import Kind

Floats = npt.NDArray[np.float32]
Labels = npt.NDArray[np.uint8]

MAX_MARKS = 60
_WORK_PIXELS = 300_000


@dataclass(frozen=True)
class Mark:
    """One mark: ``label`` in the label picture, its kind, and how sure it is that it is one (0-1)."""

    label: int
    kind: str
    confidence: float


def reduced(density: Floats, pixels: int = _WORK_PIXELS) -> Floats:
    """The density picture at about ``pixels`` pixels, averaged by area; smaller ones come back as they are."""
    scale = (pixels / (density.shape[0] * density.shape[1])) ** 0.5
    if scale >= 1.0:
        return density
    size = (max(1, round(density.shape[1] * scale)), max(1, round(density.shape[0] * scale)))
    return np.asarray(cv2.resize(density, size, interpolation=cv2.INTER_AREA), np.float32)


def find(density: Floats, kind: Kind) -> tuple[list[Mark], Labels]:
    """Marks of one original and their label picture at the reduced size, value i = mark with ``label`` i, 0 = none."""
    small = reduced(density)
    excess = small[..., 2] - small[..., 0]
    if kind is Kind.COLOUR_PRINT or float(np.std(cv2.GaussianBlur(excess, (0, 0), 3))) > 0.15:
        return [], np.zeros(small.shape[:2], np.uint8)
    size = (min(small.shape[:2]) // 3) | 1
    level = cv2.resize(
        cv2.medianBlur(
            _codes(cv2.resize(excess, None, fx=0.125, fy=0.125, interpolation=cv2.INTER_AREA)), min(size // 8 | 1, 31)
        ),
        (small.shape[1], small.shape[0]),
        interpolation=cv2.INTER_LINEAR,
    )
    rise = cv2.GaussianBlur(excess, (0, 0), 1.5) - (level.astype(np.float32) / 100.0 - 1.0)
    found = np.asarray(rise > 0.06, np.uint8)
    found = cv2.morphologyEx(found, cv2.MORPH_OPEN, np.ones((3, 3), np.uint8))
    found = cv2.morphologyEx(found, cv2.MORPH_CLOSE, np.ones((7, 7), np.uint8))
    count, labels, stats, _ = cv2.connectedComponentsWithStats(found)
    order = [i for i in np.argsort(-stats[:, cv2.CC_STAT_AREA]) if i > 0 and stats[i, cv2.CC_STAT_AREA] > 40][
        :MAX_MARKS
    ]
    table = np.zeros(count, np.uint8)
    marks = []
    for place, index in enumerate(order, start=1):
        table[index] = place
        marks.append(Mark(place, _guess(stats[index], small.shape), 0.5))
    return marks, table[labels]


def _codes(plane: Floats) -> Labels:
    """A plane of -1..1.5 density as codes of 0.01, for the median."""
    return np.asarray(np.clip((plane + 1.0) * 100.0, 0, 255), np.uint8)


def _guess(stats: npt.NDArray[np.int32], shape: tuple[int, ...]) -> str:
    width, height, area = (int(stats[i]) for i in (cv2.CC_STAT_WIDTH, cv2.CC_STAT_HEIGHT, cv2.CC_STAT_AREA))
    if area < 0.002 * shape[0] * shape[1]:
        return "foxing"
    return "tape" if area > 0.85 * width * height else "tideline"
