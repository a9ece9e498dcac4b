"""Quadrilaterals: the corners of an original on a scan, in a fixed order, with the few measures that rooms need."""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np
import numpy.typing as npt

#: Four corners (x, y) in px, clockwise from the one nearest the picture's top left.
Corners = tuple[tuple[float, float], tuple[float, float], tuple[float, float], tuple[float, float]]


def ordered(points: Sequence[Sequence[float]] | npt.NDArray[np.floating]) -> Corners:
    """Return four points clockwise from the top left corner of the upright-most side.

    The first corner is the one from which the quadrilateral's sides run nearest to right and down, so a sheet turned
    by less than 45° keeps its own top left corner.

    Raises:
        ValueError: not four points.

    """
    array = np.asarray(points, np.float64)
    if array.shape != (4, 2):
        raise ValueError("a quadrilateral has four corners")
    centre = array.mean(axis=0)
    angles = np.arctan2(array[:, 1] - centre[1], array[:, 0] - centre[0])
    array = array[np.argsort(angles)]  # y runs down, so growing angles run clockwise
    starts = [np.roll(array, -shift, axis=0) for shift in range(4)]

    def uprightness(quad: npt.NDArray[np.float64]) -> float:
        along = quad[1] - quad[0] + quad[2] - quad[3]
        return float(along[0] / (np.hypot(*along) + 1e-12))

    best = max(starts, key=uprightness)
    (a, b), (c, d), (e, f), (g, h) = best.tolist()
    return ((a, b), (c, d), (e, f), (g, h))


def is_convex(corners: Corners) -> bool:
    """Whether the four corners in order make a convex quadrilateral with some area."""
    array = np.asarray(corners, np.float64)
    sides = np.roll(array, -1, axis=0) - array
    following = np.roll(sides, -1, axis=0)
    turns = sides[:, 0] * following[:, 1] - sides[:, 1] * following[:, 0]
    return bool(np.all(turns > 1e-9) or np.all(turns < -1e-9))


def area(corners: Corners) -> float:
    """Area in px² (shoelace formula)."""
    x, y = np.asarray(corners, np.float64).T
    return float(abs(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1))) / 2)


def side_lengths(corners: Corners) -> tuple[float, float, float, float]:
    """Lengths of the top, right, bottom and left side in px."""
    array = np.asarray(corners, np.float64)
    top, right, bottom, left = np.hypot(*(np.roll(array, -1, axis=0) - array).T).tolist()
    return (top, right, bottom, left)


def size(corners: Corners) -> tuple[float, float]:
    """Width and height in px: the means of opposite sides."""
    top, right, bottom, left = side_lengths(corners)
    return ((top + bottom) / 2, (left + right) / 2)


def angle_degrees(corners: Corners) -> float:
    """Turn of the sheet from upright, clockwise, -45 to 45 degrees."""
    array = np.asarray(corners, np.float64)
    along = array[1] - array[0] + array[2] - array[3]
    return float(np.degrees(np.arctan2(along[1], along[0])))


def skew_degrees(corners: Corners) -> float:
    """How far the angle at the least square corner is from 90 degrees."""
    array = np.asarray(corners, np.float64)
    sides = np.roll(array, -1, axis=0) - array
    heading = np.degrees(np.arctan2(sides[:, 1], sides[:, 0]))
    return float(np.abs((np.roll(heading, -1) - heading) % 180 - 90).max())


def scaled(corners: Corners, factor: float) -> Corners:
    """Return corners on a picture that is ``factor`` times as large (pixel edges at whole numbers)."""
    return ordered(np.asarray(corners, np.float64) * factor)


def overlap(one: Corners, other: Corners) -> float:
    """Area in px² that two convex quadrilaterals share."""
    shared, _ = cv2.intersectConvexConvex(np.asarray(one, np.float32), np.asarray(other, np.float32))
    return float(shared)


def intersection_over_union(one: Corners, other: Corners) -> float:
    """Shared area over joint area of two convex quadrilaterals, 0 to 1."""
    shared = overlap(one, other)
    return shared / max(area(one) + area(other) - shared, 1e-9)


def mask(corners: Corners, shape: tuple[int, int]) -> npt.NDArray[np.bool_]:
    """Pixels inside the quadrilateral: (H, W) bool."""
    canvas = np.zeros(shape, np.uint8)
    points = np.round((np.asarray(corners) - 0.5) * 16).astype(np.int32)
    cv2.fillConvexPoly(canvas, points, 1, cv2.LINE_8, 4)
    return canvas.astype(np.bool_)
