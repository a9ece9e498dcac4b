"""Laying one scan of an original over another: features, phase correlation, then least squares on every edge."""

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

#: Long edge (px) at which features are looked for: enough of them, at a third of the time of 1400 px.
_FEATURE_PX = 900

#: Tiles of the second step: side (px), tiles along each axis, and the peak below which a tile holds nothing in common.
#: Tried: 64, 128 and 256 px; 128 had half the error of the others.
_TILE, _TILES, _PEAK = 128, 9, 0.05

#: A tile that wants to move farther than this (px) has been misled.
_FARTHEST = 3.0

#: The last step: steps at most, the move (px) at which it stands, smoothing (px), and the share of pixels, those of
#: strongest edges, that it is fitted on. Chosen on pairs of other pictures than those reported.
_STEPS, _STANDS_PX, _SMOOTH_PX, _EDGES = 5, 0.003, 0.7, 0.6

#: An edge counts half when it is this many median differences off. Chosen like those above: 0.4 to 1.5 were tried.
_AGREES = 0.6

#: Condition of the normal equations above which edges do not fix all six numbers (judgement).
_UNDECIDED = 1e4

#: Over this distance (px) both pictures are brought to one contrast before they are compared.
_CONTRAST_PX = 12.0


def _levelled(grey: Floats) -> Floats:
    """Detail of a density (H, W) in -1 to 1: fade, exposure and stain are levelled out."""
    flat = grey - cv2.GaussianBlur(grey, (0, 0), max(grey.shape) / 100)
    spread = float(np.percentile(np.abs(flat), 98)) or 1.0
    return np.asarray(np.tanh(flat / spread), np.float32)


def _structure(density: Floats) -> tuple[npt.NDArray[np.uint8], float]:
    """Coarser detail as 8 bits, at most ``_FEATURE_PX`` long, and its scale."""
    grey = density.mean(axis=2)
    scale = min(1.0, _FEATURE_PX / max(grey.shape))
    if scale < 1:
        grey = cv2.resize(grey, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    flat = grey - cv2.GaussianBlur(grey, (0, 0), max(grey.shape) / 25)
    spread = float(np.percentile(np.abs(flat), 99)) or 1.0
    return np.asarray(np.clip(128 + 127 * flat / spread, 0, 255), np.uint8), scale


def _grow(scale: float) -> Array:
    """Pixels of a picture to those of one ``scale`` times as large; pixel centres stay pixel centres."""
    return np.array([[scale, 0, (scale - 1) / 2], [0, scale, (scale - 1) / 2], [0, 0, 1]])


def register(fixed: Floats, moving: Floats) -> Array | None:
    """Affine (2, 3) from pixels of ``fixed`` to pixels of ``moving``; None when they do not show the same.

    Both are densities (H, W, 3); any turn and crop, scales within a factor of about four.
    """
    (one, shrunk), (other, shrunk_other) = _structure(fixed), _structure(moving)
    finder = cv2.SIFT.create(nfeatures=3000)
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
    whole = _grow(1 / shrunk_other) @ np.vstack([start, [0, 0, 1]]) @ _grow(shrunk)
    detail, grey = _levelled(fixed.mean(axis=2)), np.ascontiguousarray(moving.mean(axis=2))
    return _settled(detail, grey, _refined(detail, grey, whole))[:2]


def _placed(grey: Floats, transform: Array, shape: tuple[int, ...]) -> Floats:
    """The moving picture's density (H, W) in the fixed one's frame, levelled there: what lies around it has no part."""
    placed = cv2.warpAffine(
        grey,
        transform[:2],
        (shape[1], shape[0]),
        flags=cv2.INTER_CUBIC | cv2.WARP_INVERSE_MAP,
        borderMode=cv2.BORDER_REPLICATE,
    )
    return _levelled(np.asarray(placed, np.float32))


def _refined(one: Floats, other: Floats, start: Array) -> Array:
    """Move tile by tile to where the phases agree, twice; ``start`` stands where too little is in common.

    ``one`` is levelled detail, ``other`` the moving picture's density.
    """
    height, width = one.shape
    tile = min(_TILE, height, width)
    window = cv2.createHanningWindow((tile, tile), cv2.CV_32F)
    corners = [
        (x, y)
        for y in np.unique(np.linspace(0, height - tile, _TILES).astype(int))
        for x in np.unique(np.linspace(0, width - tile, _TILES).astype(int))
    ]
    found = start
    for _ in range(2):
        placed = _placed(other, found, one.shape)
        moves = []
        for x, y in corners:
            here, there = (p[y : y + tile, x : x + tile].copy() for p in (one, placed))  # OpenCV windows them in place
            (dx, dy), peak = cv2.phaseCorrelate(here, there, window)
            if peak > _PEAK and np.hypot(dx, dy) < _FARTHEST:
                moves.append((x + (tile - 1) / 2, y + (tile - 1) / 2, dx, dy, peak))
        if len(moves) < _FEWEST:
            return found
        x, y, dx, dy, peak = np.array(moves).T
        middles, moved = np.c_[x, y], np.c_[x + dx, y + dy]
        _, agreeing = cv2.estimateAffine2D(middles, moved, ransacReprojThreshold=0.5)
        kept = agreeing.ravel() > 0
        if kept.sum() < _FEWEST:
            return found
        weight = peak[kept, None]
        step = np.linalg.lstsq(weight * np.c_[middles, np.ones(len(x))][kept], weight * moved[kept], rcond=None)[0].T
        found = found @ np.vstack([step, [0, 0, 1]])
    return found


def _settled(one: Floats, other: Floats, start: Array) -> Array:
    """Gauss-Newton steps for the affine map that brings every edge of ``other`` onto ``one`` (Lucas and Kanade 1981).

    Edges that do not agree (a stain, dust) count little, by Cauchy weights. ``start`` stands where edges are too few.
    """
    height, width = one.shape
    covered = cv2.warpAffine(
        np.ones(other.shape, np.uint8), start[:2], (width, height), flags=cv2.INTER_NEAREST | cv2.WARP_INVERSE_MAP
    )
    first = cv2.GaussianBlur(one, (0, 0), _SMOOTH_PX)
    strength = cv2.magnitude(*_slopes(first))
    inside = cv2.erode(covered, np.ones((9, 9)), borderValue=0) > 0
    if not inside.any():
        return start
    chosen = np.nonzero(inside & (strength >= np.percentile(strength[inside], 100 * (1 - _EDGES))))
    x, y = (chosen[1] / width - 0.5).astype(np.float32), ((chosen[0] - height / 2) / width).astype(np.float32)
    power = _power(first)
    found = start
    for _ in range(_STEPS):
        second = cv2.GaussianBlur(_placed(other, found, one.shape), (0, 0), _SMOOTH_PX)
        rest = (first - second * np.sqrt(power / _power(second)))[chosen]
        gx, gy = (slope[chosen] for slope in _slopes((first + second) / 2))
        weight = 1 / (1 + (rest / (_AGREES * np.median(np.abs(rest)) + 1e-6)) ** 2)
        design = np.stack([gx, gx * x, gx * y, gy, gy * x, gy * y], axis=1)
        held = (design * weight[:, None]).T.astype(np.float64)
        normal = held @ design
        if np.linalg.cond(normal) > _UNDECIDED:
            return start
        p = np.linalg.solve(normal, held @ rest)
        step = np.eye(3)
        for row, (shift, across, down) in enumerate((p[:3], p[3:])):
            step[row] += (across / width, down / width, shift - across / 2 - down * height / width / 2)
        found = found @ step
        if np.abs(p).max() < _STANDS_PX:
            break
    return found


def _slopes(picture: Floats) -> tuple[Floats, Floats]:
    """Slope per px along x and y (Scharr's kernel, whose weights sum to 32)."""
    x, y = (cv2.Scharr(picture, cv2.CV_32F, *axis, scale=1 / 32) for axis in ((1, 0), (0, 1)))
    return np.asarray(x, np.float32), np.asarray(y, np.float32)


def _power(picture: Floats) -> Floats:
    """Mean square of the detail around each pixel."""
    return np.asarray(cv2.GaussianBlur(picture * picture, (0, 0), _CONTRAST_PX) + 1e-5, np.float32)


def laid_over(moving: Floats, transform: Array, shape: tuple[int, int]) -> tuple[Floats, npt.NDArray[np.bool_]]:
    """``moving`` in the frame of the fixed picture of ``shape``, and where it covers that."""
    size = (shape[1], shape[0])
    placed = cv2.warpAffine(moving, transform, size, flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP)
    cover = cv2.warpAffine(
        np.ones(moving.shape[:2], np.uint8), transform, size, flags=cv2.INTER_NEAREST | cv2.WARP_INVERSE_MAP
    )
    return np.asarray(placed, np.float32), cv2.erode(cover, np.ones((5, 5), np.uint8)).astype(bool)
