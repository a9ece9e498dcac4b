"""Is there writing on a page? Strokes are told from folds, foxing, fibres and noise by their shape."""

from __future__ import annotations

import cv2
import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float32]

#: A letter or a written word is at least so large, in px of a picture of about one megapixel.
LEAST_PX = 6

#: Half the greatest width of a stroke as a share of its letter's size: a round spot has 0.5, a letter 0.05-0.25.
THICKEST = 0.3

#: Letters that make a text; a signature or a two-word note has more when its words are broken by noise.
LEAST_LETTERS = 6


def letters(residual: Floats, reach: float) -> tuple[int, int]:
    """Number of letter-like marks darker, and lighter, than the paper by ``reach``.

    ``residual`` (H, W) density above paper, lightly blurred. Paper and noise make as many light ones as dark.
    """
    return _count(residual > reach), _count(residual < -reach)


def certainty(found: int) -> float:
    """0 where so few letter-like marks could be dirt, 1 where they are a text; scales how near noise one may cut."""
    return float(np.clip((found - LEAST_LETTERS) / 30, 0, 1))


def _count(mask: npt.NDArray[np.bool_]) -> int:
    marks = mask.astype(np.uint8)
    _, labels, stats, _ = cv2.connectedComponentsWithStats(marks, connectivity=8)
    inside = cv2.distanceTransform(marks, cv2.DIST_L2, 3)
    thick = np.zeros(len(stats), dtype=np.float32)
    np.maximum.at(thick, labels[marks > 0], inside[marks > 0])
    width = stats[1:, cv2.CC_STAT_WIDTH].astype(np.float64)
    height = stats[1:, cv2.CC_STAT_HEIGHT].astype(np.float64)
    small, large = np.minimum(width, height), np.maximum(width, height)
    whole = max(mask.shape)
    # a fold or a frame line is long and thin or crosses the page
    letter = (small >= LEAST_PX) & (small > 0.15 * large) & (large < whole / 2) & (thick[1:] < THICKEST * large)
    return int(letter.sum())
