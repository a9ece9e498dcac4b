"""Laying one scan of an original over another: features first, then correlation to a part of a pixel."""

from __future__ import annotations

import cv2
import numpy as np
import numpy.typing as npt

from surrogate.imaging.density import Floats

Array = npt.NDArray[np.float64]

#: Fewer matches in agreement than this say nothing (common practice, no source).
_FEWEST = 12

#: Two neighbours must be told apart this well (Lowe 2004, section 7.1: 0.8; from memory).
_RATIO = 0.8


def _structure(density: Floats) -> npt.NDArray[np.uint8]:
    """Detail of a density picture (H, W, 3), with fade, exposure and stain levelled out, as 8 bits."""
    grey = density.mean(axis=2)
    flat = grey - cv2.GaussianBlur(grey, (0, 0), max(grey.shape) / 25)
    spread = float(np.percentile(np.abs(flat), 99)) or 1.0
    return np.asarray(np.clip(128 + 127 * flat / spread, 0, 255), np.uint8)


def register(fixed: Floats, moving: Floats) -> Array | None:
    """Affine (2, 3) from pixels of ``fixed`` to pixels of ``moving``; None when they do not show the same.

    Both are densities (H, W, 3); any turn and crop, scales within a factor of about four.
    """
    one, other = _structure(fixed), _structure(moving)
    finder = cv2.SIFT.create(nfeatures=4000)
    points, words = finder.detectAndCompute(one, None)
    points_there, words_there = finder.detectAndCompute(other, None)
    if words is None or words_there is None or min(len(words), len(words_there)) < _FEWEST:
        return None
    pairs = [
        pair[0]
        for pair in cv2.BFMatcher().knnMatch(words, words_there, k=2)
        if len(pair) == 2 and pair[0].distance < _RATIO * pair[1].distance
    ]
    if len(pairs) < _FEWEST:
        return None
    here = np.array([points[pair.queryIdx].pt for pair in pairs])
    there = np.array([points_there[pair.trainIdx].pt for pair in pairs])
    start, agreeing = cv2.estimateAffine2D(here, there, ransacReprojThreshold=2.0, maxIters=5000)
    if start is None or agreeing.sum() < _FEWEST or not 0.05 < abs(np.linalg.det(start[:, :2])) < 20:
        return None
    return _refined(one, other, start)


def _refined(one: npt.NDArray[np.uint8], other: npt.NDArray[np.uint8], start: Array) -> Array:
    """Maximise correlation (Evangelidis and Psarakis 2008) from where the features led; they stand if it fails."""
    size, how = (one.shape[1], one.shape[0]), cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    inside = cv2.warpAffine(np.full(other.shape, 255, np.uint8), start, size, flags=how)
    roughly = cv2.warpAffine(other, start, size, flags=how)
    stop = (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_COUNT, 40, 1e-5)
    try:
        _, small = cv2.findTransformECC(
            one, roughly, np.eye(2, 3, dtype=np.float32), cv2.MOTION_AFFINE, stop, cv2.erode(inside, np.ones((9, 9))), 5
        )
    except cv2.error:
        return np.asarray(start)
    step = np.vstack([small.astype(np.float64), [0, 0, 1]])
    return np.asarray((np.vstack([start, [0, 0, 1]]) @ step)[:2])


def laid_over(moving: Floats, transform: Array, shape: tuple[int, int]) -> tuple[Floats, npt.NDArray[np.bool_]]:
    """``moving`` in the frame of the fixed picture of ``shape``, and where it covers that."""
    size = (shape[1], shape[0])
    placed = cv2.warpAffine(moving, transform, size, flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP)
    cover = cv2.warpAffine(
        np.ones(moving.shape[:2], np.uint8), transform, size, flags=cv2.INTER_NEAREST | cv2.WARP_INVERSE_MAP
    )
    return np.asarray(placed, np.float32), cv2.erode(cover, np.ones((5, 5), np.uint8)).astype(bool)
