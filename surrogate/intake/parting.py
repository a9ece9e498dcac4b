"""Originals that touch or overlap: one shape on the ground taken apart into the rectangles that make it up."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from surrogate.intake import quads
from surrogate.intake.quads import Corners

Floats = npt.NDArray[np.float32]
Mask = npt.NDArray[np.bool_]

#: Most sides that are tried in each direction of a shape; four prints in a row have eight.
_MOST_LINES = 18
#: A rectangle must lie on the shape but for this share (rounded and worn corners).
_OFF_SHAPE = 0.02
#: Rectangles must cover the shape but for this share (shadows, mounting corners).
_UNCOVERED = 0.035
_MOST_PARTS = 6
#: Rectangles that share more than this of their joint area are one rectangle found twice.
_ALIKE = 0.88
_MOST_RECTANGLES = 40


@dataclass(frozen=True)
class _Rectangle:
    corners: Corners
    support: float
    cells: Mask


def parted(thing: Mask, lab: Floats) -> list[Corners]:
    """Take a shape apart.

    Args:
        thing: (H, W) bool, the shape.
        lab: (H, W, 3) float32 CIELAB of the same picture.

    Returns:
        Rough corners of two or more rectangles that together make the shape; empty when none do.

    """
    ys, xs = np.nonzero(thing)
    pad = 6
    top, left = max(int(ys.min()) - pad, 0), max(int(xs.min()) - pad, 0)
    shape = thing[top : int(ys.max()) + pad + 1, left : int(xs.max()) + pad + 1].astype(np.uint8)
    pixels = lab[top : top + shape.shape[0], left : left + shape.shape[1]]
    rectangles: list[_Rectangle] = []
    for angle in _angles(shape):
        rectangles += _rectangles(shape, pixels, angle)
    chosen = _cover(rectangles, _coarse(shape))
    return [quads.ordered(np.asarray(one.corners) + np.array([left, top])) for one in chosen]


def _coarse(shape: npt.NDArray[np.uint8]) -> Mask:
    factor = min(1.0, 140 / max(shape.shape))
    return np.asarray(
        cv2.resize(shape.astype(np.float32), None, fx=factor, fy=factor, interpolation=cv2.INTER_AREA) > 0.5
    )


def _angles(shape: npt.NDArray[np.uint8]) -> list[float]:
    """Directions of the shape's straight sides modulo 90°, in degrees, the longest first."""
    contours, _ = cv2.findContours(shape, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    contour = max(contours, key=len)
    corners = cv2.approxPolyDP(contour, 2.5, closed=True)[:, 0, :].astype(np.float64)
    sides = np.roll(corners, -1, axis=0) - corners
    lengths = np.hypot(*sides.T)
    angles = np.degrees(np.arctan2(sides[:, 1], sides[:, 0])) % 90
    found: list[tuple[float, float]] = []
    used = np.zeros(len(sides), np.bool_)
    for place in np.argsort(-lengths):
        if used[place] or lengths[place] < 24 or len(found) == 4:
            continue
        turn = (angles - angles[place] + 45) % 90 - 45
        near = (np.abs(turn) < 1.0) & (lengths >= 12) & ~used
        used |= near
        mean = angles[place] + float(np.average(turn[near], weights=lengths[near] ** 2))
        found.append((float(lengths[near].sum()), mean))
    return [angle for _, angle in sorted(found, reverse=True)]


def _rectangles(shape: npt.NDArray[np.uint8], lab: Floats, angle: float) -> list[_Rectangle]:
    """Upright rectangles of the shape turned by an angle that have edges on all sides."""
    height, width = shape.shape
    matrix, size = _upright(width, height, angle)
    turned = cv2.warpAffine(shape.astype(np.float32), matrix, size) > 0.5
    pixels = cv2.warpAffine(cv2.GaussianBlur(lab, (0, 0), 0.8), matrix, size, borderMode=cv2.BORDER_REPLICATE)
    vertical = _edge_map(turned, pixels, axis=1)
    horizontal = _edge_map(turned, pixels, axis=0)
    xs = _lines(turned, vertical, axis=1)
    ys = _lines(turned, horizontal, axis=0)
    coarse = _coarse(shape)
    back = cv2.invertAffineTransform(matrix)
    found: list[_Rectangle] = []
    for (x1, y1, x2, y2), support in _boxes(turned, vertical, horizontal, (xs, ys), 0.06 * float(shape.sum())):
        points = np.array([[x1, y1], [x2, y1], [x2, y2], [x1, y2]], np.float64)
        corners = quads.ordered(points @ back[:, :2].T + back[:, 2])
        cells = quads.mask(quads.scaled(corners, coarse.shape[1] / width), (coarse.shape[0], coarse.shape[1]))
        alike = any((one.cells & cells).sum() > _ALIKE * (one.cells | cells).sum() for one in found)
        if not alike:
            found.append(_Rectangle(corners, support, cells))
        if len(found) == _MOST_RECTANGLES:
            break
    return found


def _boxes(
    shape: Mask, vertical: Mask, horizontal: Mask, lines: tuple[list[int], list[int]], smallest: float
) -> list[tuple[tuple[int, int, int, int], float]]:
    """Boxes between lines that lie on the shape and have edges on all four sides, best first, with their support."""
    xs, ys = (np.array(list(itertools.combinations(some, 2)), np.intp).reshape(-1, 2) for some in lines)
    x1, x2 = (xs[:, place][:, None] for place in (0, 1))
    y1, y2 = (ys[:, place][None, :] for place in (0, 1))
    filled = np.pad(np.cumsum(np.cumsum(shape, axis=0, dtype=np.float64), axis=1), ((1, 0), (1, 0)))
    down = np.pad(np.cumsum(vertical, axis=0, dtype=np.float64), ((1, 0), (0, 1)))
    across = np.pad(np.cumsum(horizontal, axis=1, dtype=np.float64), ((0, 1), (1, 0)))
    area = (x2 - x1) * (y2 - y1)
    inside = filled[y2, x2] - filled[y1, x2] - filled[y2, x1] + filled[y1, x1]
    sides = np.stack(
        [(down[y2, x] - down[y1, x]) / np.maximum(y2 - y1, 1) for x in (x1, x2)]
        + [(across[y, x2] - across[y, x1]) / np.maximum(x2 - x1, 1) for y in (y1, y2)]
    )
    support = sides.mean(axis=0)
    fits = (area >= smallest) & (np.minimum(x2 - x1, y2 - y1) >= 18) & (inside >= (1 - _OFF_SHAPE) * area)
    fits &= (sides.min(axis=0) >= 0.35) & (support >= 0.7)
    rank = np.where(fits, support**2 * np.sqrt(area), -1)
    best = np.argsort(-rank, axis=None)[: min(int(fits.sum()), 700)]
    rows, columns = np.unravel_index(best, rank.shape)
    return [
        ((int(xs[i, 0]), int(ys[j, 0]), int(xs[i, 1]), int(ys[j, 1])), float(support[i, j]))
        for i, j in zip(rows, columns, strict=True)
    ]


def _upright(width: int, height: int, angle: float) -> tuple[npt.NDArray[np.float64], tuple[int, int]]:
    """Affine map that turns a picture by minus the angle, and the size that then holds it."""
    turn = np.radians(angle)
    c, s = abs(np.cos(turn)), abs(np.sin(turn))
    size = (int(np.ceil(width * c + height * s)) + 2, int(np.ceil(width * s + height * c)) + 2)
    matrix = cv2.getRotationMatrix2D((width / 2, height / 2), angle, 1.0)
    matrix[:, 2] += [size[0] / 2 - width / 2, size[1] / 2 - height / 2]
    return matrix, size


def _edge_map(shape: Mask, lab: Floats, axis: int) -> Mask:
    """Edges across an axis: the shape's own border and sharp steps inside it, 3 px wide."""
    step = np.abs(np.diff(shape.astype(np.int8), axis=axis, prepend=0)) > 0
    kernel = {"dx": 1, "dy": 0} if axis == 1 else {"dx": 0, "dy": 1}
    slope = np.linalg.norm(cv2.Scharr(lab, cv2.CV_32F, **kernel), axis=2) / 32
    ahead, behind = np.roll(slope, 1, axis), np.roll(slope, -1, axis)
    sharp = (slope > 1.2) & (slope >= ahead) & (slope >= behind)
    wide = np.ones((1, 3) if axis == 1 else (3, 1), np.uint8)
    return np.asarray(cv2.dilate((step | sharp).astype(np.uint8), wide) > 0)


def _lines(shape: Mask, edge_map: Mask, axis: int) -> list[int]:
    """Positions along an axis where long straight edges run, at most ``_MOST_LINES``, in order."""
    border = np.abs(np.diff(shape.astype(np.int8), axis=axis, prepend=0)) > 0
    wide = np.ones((1, 3) if axis == 1 else (3, 1), np.uint8)
    outer = cv2.dilate(border.astype(np.uint8), wide).sum(axis=1 - axis).astype(np.float64)
    inner = (edge_map & shape).sum(axis=1 - axis).astype(np.float64)
    extent = np.maximum(shape.sum(axis=1 - axis), 20)
    # The shape's own border counts fully; a step inside only where it runs through most of the shape.
    score = 2 * outer + np.where(inner > 0.65 * extent, 0.7 * inner, 0)
    chosen: list[int] = []
    for place in np.argsort(-score):
        if score[place] < 14 or len(chosen) == _MOST_LINES:
            break
        if all(abs(place - other) > 3 for other in chosen):
            chosen.append(int(place))
    return sorted(chosen)


def _cover(rectangles: list[_Rectangle], shape: Mask) -> list[_Rectangle]:
    """Choose the fewest well-edged rectangles that cover the shape; empty when it cannot be covered."""
    total = float(shape.sum())
    beam: list[tuple[float, tuple[int, ...], Mask, float]] = [(0.0, (), np.zeros_like(shape), 0.0)]
    best: tuple[float, tuple[int, ...]] = (-1.0, ())
    for _ in range(_MOST_PARTS):
        grown: dict[tuple[int, ...], tuple[float, tuple[int, ...], Mask, float]] = {}
        for _, members, covered, doubled in beam:
            for place, one in enumerate(rectangles):
                key = tuple(sorted((*members, place)))
                if place in members or key in grown:
                    continue
                shared = float((covered & one.cells).sum())
                if shared > 0.3 * one.cells.sum():
                    continue
                union = covered | one.cells
                twice = doubled + shared
                support = float(np.mean([rectangles[member].support for member in key]))
                score = (float((union & shape).sum()) - 0.6 * twice) / total - 0.015 * len(key) + 0.12 * support
                grown[key] = (score, key, union, twice)
        beam = sorted(grown.values(), key=lambda entry: -entry[0])[:24]
        if not beam:
            break
        for score, members, union, _ in beam:
            if len(members) >= 2 and (union & shape).sum() >= (1 - _UNCOVERED) * total and score > best[0]:
                best = (score, members)
    return [rectangles[place] for place in best[1]]
