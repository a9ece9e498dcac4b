"""The same picture twice: a short signature finds what may be the same, geometry confirms it.

The signature holds the perceptual hash by the discrete cosine transform (signs of the 8 x 8 lowest frequencies of a
32 x 32 grey picture against their median: C. Zauner, *Implementation and Benchmarking of Perceptual Image Hash
Functions*, 2010, from memory), for the whole picture and for smaller windows of it, so that a closer crop is found.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

Grey = npt.NDArray[np.uint8]

#: Hash distance (of 64 bits) up to which two pictures are worth comparing; chance pairs lie at 32 +- 4.
NEAR_BITS = 20
#: Earlier pictures compared by geometry for each picture at most.
MOST_CANDIDATES = 8
_EDGE = 320
#: Hashes compared at a time. Measured: 7 ms for 100,000 pictures, against 15 ms by blocks of 2,048 or all in one go.
_BLOCK = 32_768
#: Windows as shares of the picture: left, top, right, bottom.
_WINDOWS = ((0.0, 0.0, 1.0, 1.0), (0.06, 0.06, 0.94, 0.94), (0.0, 0.0, 0.9, 0.9), (0.1, 0.1, 1.0, 1.0),
            (0.1, 0.0, 1.0, 0.9), (0.0, 0.1, 0.9, 1.0), (0.1, 0.1, 0.9, 0.9))  # fmt: skip


#: Two pictures are one when, laid on one another, windows of this size in px correlate by more than this nearly
#: everywhere, where they show at least this share of their mean contrast. Measured on 70 photographs of the fit's
#: sources: second scans from 0.99 up, other subjects before the same backdrop up to 0.68.
_WINDOW, _CORRELATES, _CONTRAST, _SAME = (25, 25), 0.5, 0.1, 0.85


@dataclass(frozen=True)
class Signature:
    """Hashes of one picture: ``windows`` of its parts as it lies, ``turns`` of the whole turned by 0, 90, 180, 270°."""

    windows: tuple[int, ...]
    turns: tuple[int, ...]


def hash_of(grey: Grey) -> int:
    """Return the 64-bit perceptual hash of a grey picture of any size."""
    small = cv2.resize(grey, (32, 32), interpolation=cv2.INTER_AREA).astype(np.float32)
    low = cv2.dct(small)[:8, :8].ravel()
    bits = low > np.median(low)
    return int(np.packbits(bits).view(">u8")[0])


def signature(grey: Grey) -> Signature:
    """Return the signature of a grey picture, (H, W) uint8, about 200 px or more."""
    height, width = grey.shape
    windows = []
    for left, top, right, bottom in _WINDOWS:
        part = grey[round(top * height) : round(bottom * height), round(left * width) : round(right * width)]
        windows.append([hash_of(np.ascontiguousarray(np.rot90(part, -quarter))) for quarter in range(4)])
    return Signature(tuple(one[0] for one in windows), tuple(turned for one in windows for turned in one))


def candidates(signatures: Mapping[str, Signature], new: set[str] | None = None) -> list[tuple[str, str]]:
    """Pairs of names that may show the same picture, the likeliest first for each.

    Each picture is compared with the nearest of those *before* it, in the order of their numbers: what a picture is
    compared with then does not depend on what comes later, and a run broken off links as one that was not.

    Args:
        signatures: by name (reference and side).
        new: compare only these with all; None compares all with all.

    """
    names = sorted(signatures, key=_as_counted)
    if len(names) < 2:
        return []
    windows = np.array([signatures[name].windows for name in names], np.uint64).T.copy()
    is_new = np.array([new is None or name in new for name in names])
    old = np.flatnonzero(~is_new)
    old_windows = windows[:, old]
    pairs: dict[tuple[str, str], int] = {}
    for place in np.flatnonzero(is_new).tolist():
        turns = np.array(signatures[names[place]].turns, np.uint64)
        behind = int(np.searchsorted(old, place))  # an old one behind it had no chance yet to be compared with it
        for numbers, others in (
            (np.arange(place), windows[:, :place]),
            (old[behind:], old_windows[:, behind:]),
        ):
            distance = _distances(turns, others)
            near = np.flatnonzero(distance <= NEAR_BITS)
            for found in near[np.argsort(distance[near], kind="stable")[:MOST_CANDIDATES]].tolist():
                one, two = sorted((names[place], names[numbers[found]]))
                pairs[one, two] = int(distance[found])
    return sorted(pairs, key=lambda key: (pairs[key], key))


def _as_counted(name: str) -> tuple[tuple[int, int | str], ...]:
    """Sort key of a number in which P9 comes before P10."""
    parts = re.split(r"([0-9]+)", name)
    return tuple((0, int(part)) if part.isdecimal() else (1, part) for part in parts)


def _distances(turns: npt.NDArray[np.uint64], windows: npt.NDArray[np.uint64]) -> npt.NDArray[np.uint8]:
    """Smallest Hamming distance between one picture and each of N others, both ways round.

    Every window and turn of the one, (28,), is compared with the whole of each other, and its whole in four turns with
    the windows of the others, (7, N). It goes by blocks, in memory that is used again.
    """
    count = windows.shape[1]
    best = np.full(count, 65, np.uint8)
    differing, bits = np.empty(min(_BLOCK, count), np.uint64), np.empty(min(_BLOCK, count), np.uint8)
    for start in range(0, count, _BLOCK):
        block = windows[:, start : start + _BLOCK]
        size = block.shape[1]
        nearest, x, n = best[start : start + size], differing[:size], bits[:size]
        for number, others in enumerate(block):
            for own in turns if number == 0 else turns[:4]:
                np.bitwise_xor(others, own, out=x)
                np.bitwise_count(x, out=n)
                np.minimum(nearest, n, out=nearest)
    return best


@dataclass(frozen=True)
class Look:
    """What of a picture is compared with another's: itself at ``_EDGE`` px, points and their (N, 128) features."""

    small: Grey
    points: tuple[cv2.KeyPoint, ...]
    features: npt.NDArray[np.float32] | None


def confirm(one: Grey, other: Grey) -> bool:
    """Whether two grey pictures show the same picture: scale-invariant features agree on one plane's shift and turn.

    Args:
        one: (H, W) uint8, about 300 px or more.
        other: likewise; may be turned, cropped, faded or exposed otherwise.

    """
    return agree(look(one), look(other))


def agree(one: Look, other: Look) -> bool:
    """:func:`confirm` for pictures already looked at: finding the features is four fifths of the work."""
    features, other_features = one.features, other.features
    if features is None or other_features is None or min(len(features), len(other_features)) < 12:
        return False
    matches = cv2.BFMatcher(cv2.NORM_L2).knnMatch(features, other_features, k=2)
    # Nearest against second nearest: D. Lowe, *Distinctive Image Features from Scale-Invariant Keypoints*, 2004.
    good = [pair[0] for pair in matches if len(pair) == 2 and pair[0].distance < 0.8 * pair[1].distance]
    if len(good) < 12:
        return False
    here = np.array([one.points[match.queryIdx].pt for match in good], np.float32)
    there = np.array([other.points[match.trainIdx].pt for match in good], np.float32)
    matrix, inliers = cv2.estimateAffinePartial2D(here, there, method=cv2.RANSAC, ransacReprojThreshold=4.0)
    if matrix is None:
        return False
    # A chance agreement collapses the picture into a point; a second scan keeps its scale within a crop's reach.
    if not 0.4 <= float(np.hypot(*matrix[:, 0])) <= 2.5:
        return False
    agreeing = here[inliers.ravel() > 0]
    # Chance and shared lettering agree in few points or in one place only; a picture agrees all over.
    places = {(int(x * 4 / _EDGE), int(y * 4 / _EDGE)) for x, y in agreeing}
    if len(agreeing) < max(16, 0.45 * len(good)) or len(places) < 4:
        return False
    return _agreement(one.small, other.small, np.asarray(matrix, np.float32)) >= _SAME


def _agreement(one: Grey, other: Grey, matrix: npt.NDArray[np.float32]) -> float:
    """Share of the places with something to see at which one picture, laid on the other, correlates with it.

    Two pictures before one backdrop, or in one printed mount, have many features in common but not their subject.
    Correlation in small windows minds neither exposure nor fading.
    """
    size = (other.shape[1], other.shape[0])
    laid, there = cv2.warpAffine(one.astype(np.float32), matrix, size), other.astype(np.float32)
    covered = cv2.warpAffine(np.ones(one.shape, np.float32), matrix, size) > 0.99
    inside = cv2.erode(covered.astype(np.uint8), np.ones(_WINDOW, np.uint8)) > 0
    if not inside.any():
        return 0.0
    mean, its_mean = cv2.blur(laid, _WINDOW), cv2.blur(there, _WINDOW)
    spread = np.maximum(cv2.blur(laid * laid, _WINDOW) - mean * mean, 1e-3)
    its_spread = np.maximum(cv2.blur(there * there, _WINDOW) - its_mean * its_mean, 1e-3)
    correlation = (cv2.blur(laid * there, _WINDOW) - mean * its_mean) / np.sqrt(spread * its_spread)
    contrast = np.maximum(spread / spread[inside].mean(), its_spread / its_spread[inside].mean())
    seen = inside & (contrast > _CONTRAST)
    return float((correlation[seen] > _CORRELATES).mean()) if seen.any() else 0.0


def look(grey: Grey) -> Look:
    """Reduce or enlarge a grey picture to ``_EDGE`` px and find its features."""
    factor = _EDGE / max(grey.shape)
    how = cv2.INTER_AREA if factor < 1 else cv2.INTER_CUBIC
    small = np.asarray(cv2.resize(grey, None, fx=factor, fy=factor, interpolation=how), np.uint8)
    # Even out fading, so that faint parts give features too.
    even = cv2.createCLAHE(clipLimit=3.0, tileGridSize=(4, 4)).apply(small)
    points, features = cv2.SIFT.create(nfeatures=400).detectAndCompute(even, None)
    return Look(small, points, features)
