"""The originals on the network's map, one by one, with four sides each."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from surrogate.intake import edges, quads
from surrogate.intake.quads import Corners
from surrogate.intake.sheetmap import GROUND, INSIDE, RIM_PX

Floats = npt.NDArray[np.float32]
Mask = npt.NDArray[np.bool_]
Scale = npt.NDArray[np.float64]

#: Widths in px of the bridges that are cut, one after the other, until every shape has four sides.
_BRIDGES = (5, 11, 21, 35)
#: A shape has four sides when it and its quadrilateral share this much of their joint area.
_FOUR_SIDED = 0.94
#: Two shapes no further apart than a fold, which together fill this much of one quadrilateral, are one sheet.
_FOLD_PX, _ONE_SHEET, _SQUARE_DEGREES = 7, 0.985, 1.0
#: The network sets the rim this much of a map px too far out: measured on 200 pages of the fit's own photographs.
_INWARD_PX = -0.37


@dataclass(frozen=True, eq=False)
class Thing:
    """One original: its pixels on the map, rough corners in px of the scan (None: not four-sided) and how well it
    fills them, 0 to 1.
    """

    mask: Mask
    corners: Corners | None
    shape: float


def things(classes: Floats, smallest: int, scale: Scale) -> list[Thing]:
    """Tell the originals apart.

    Args:
        classes: (h, w, 3) shares of ground, inside and rim.
        smallest: least size of an inside in px of the map.
        scale: px of the scan for one px of the map, (x, y).

    """
    inside = (classes.argmax(axis=2) == INSIDE).astype(np.uint8)
    solid = classes[..., GROUND] < 0.5
    found: list[Thing] = []
    blobs = _pieces(inside, _BRIDGES[0], smallest)
    every = np.any(blobs, axis=0) if blobs else np.zeros(inside.shape, np.bool_)
    for blob in blobs:
        others = every & (blob == 0)
        best: list[Thing] = []
        for bridge in _BRIDGES:
            seeds = _pieces(blob, bridge, smallest)
            tried = [_thing(mask, scale) for mask in _grown(seeds, others, solid, bridge)]
            if tried and (not best or _worst(tried) > _worst(best) + 0.02):
                best = tried
            if best and _worst(best) >= _FOUR_SIDED:
                break
        found += best
    return sorted(_unfolded(found, scale), key=lambda thing: -int(thing.mask.sum()))


def _unfolded(found: list[Thing], scale: Scale) -> list[Thing]:
    """Join what touches and makes one four-sided sheet: a letter's fold, a picture with a straight edge inside."""
    kernel = np.ones((_FOLD_PX, _FOLD_PX), np.uint8)
    for one, two in itertools.combinations(found, 2):
        both = (one.mask | two.mask).astype(np.uint8)
        closed = cv2.morphologyEx(both, cv2.MORPH_CLOSE, kernel)
        if cv2.connectedComponents(closed, connectivity=4)[0] != 2:
            continue
        joined = _thing(closed > 0, scale)
        if joined.corners is None or quads.skew_degrees(joined.corners) > _SQUARE_DEGREES:
            continue
        if joined.shape >= _ONE_SHEET:
            return _unfolded([*(thing for thing in found if thing not in (one, two)), joined], scale)
    return found


def _worst(several: list[Thing]) -> float:
    return min(thing.shape for thing in several)


def _pieces(mask: npt.NDArray[np.uint8], bridge: int, smallest: int) -> list[npt.NDArray[np.uint8]]:
    """Connected pieces once bridges up to a width are cut; those at the scan's edge keep their full width there."""
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (bridge, bridge))
    padded = cv2.copyMakeBorder(mask, bridge, bridge, bridge, bridge, cv2.BORDER_REPLICATE)
    opened = cv2.morphologyEx(padded, cv2.MORPH_OPEN, kernel)[bridge:-bridge, bridge:-bridge]
    count, labels, statistics, _ = cv2.connectedComponentsWithStats(np.ascontiguousarray(opened), connectivity=4)
    sizes = statistics[:, cv2.CC_STAT_AREA]
    return [(labels == one).astype(np.uint8) for one in range(1, count) if sizes[one] >= smallest]


def _grown(seeds: list[npt.NDArray[np.uint8]], others: Mask, solid: Mask, bridge: int) -> list[Mask]:
    """Every piece with the rim that is nearest to it and to no other; cutting bridges has also rounded its corners."""
    if not seeds:
        return []
    numbers = np.where(others, -1, 0).astype(np.int32)
    for number, seed in enumerate(seeds, 1):
        numbers[seed > 0] = number
    distance, nearest = cv2.distanceTransformWithLabels(
        (numbers == 0).astype(np.uint8), cv2.DIST_L2, 5, labelType=cv2.DIST_LABEL_PIXEL
    )
    owner = np.zeros(int(nearest.max()) + 1, np.int32)
    owner[nearest[numbers != 0]] = numbers[numbers != 0]
    owners = np.where((distance <= RIM_PX + 3 + 0.25 * bridge) & solid, owner[nearest], 0)
    return [owners == number for number in range(1, len(seeds) + 1)]


def _thing(mask: Mask, scale: Scale) -> Thing:
    contours, _ = cv2.findContours(mask.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    points = _outer(max(contours, key=len)[:, 0, :], mask) * scale.astype(np.float32)
    height, width = mask.shape
    corners = _rough_quad(points, (round(width * scale[0]), round(height * scale[1])))
    if corners is None:
        return Thing(mask, None, 0.0)
    covered = quads.mask(quads.ordered(np.asarray(corners) / scale), (height, width))
    return Thing(mask, corners, float((covered & mask).sum() / max((covered | mask).sum(), 1)))


def _outer(contour: npt.NDArray[np.int32], mask: Mask) -> Floats:
    """Contour points moved from the centres of the outermost pixels to where an original ends, (N, 2) float32."""
    inward = cv2.GaussianBlur(mask.astype(np.float32), (0, 0), 2.0, borderType=cv2.BORDER_REPLICATE)
    x, y = contour.T
    slope = np.stack([cv2.Sobel(inward, cv2.CV_32F, 1, 0)[y, x], cv2.Sobel(inward, cv2.CV_32F, 0, 1)[y, x]], axis=1)
    length = np.maximum(np.linalg.norm(slope, axis=1, keepdims=True), 1e-6)
    moved = contour + 0.5 - (0.5 + _INWARD_PX) * slope / length
    for axis, far in ((0, mask.shape[1]), (1, mask.shape[0])):  # what reaches the scan's edge ends there
        moved[contour[:, axis] == 0, axis] = 0
        moved[contour[:, axis] == far - 1, axis] = far
    return np.asarray(moved, np.float32)


def _rough_quad(points: Floats, size: tuple[int, int]) -> Corners | None:
    """Four lines through the sides of a contour, from its smallest rectangle."""
    box = quads.ordered(cv2.boxPoints(cv2.minAreaRect(points)))
    array = np.asarray(box, np.float32)
    lines: list[tuple[float, float, float, float]] = []
    distances = []
    for place in range(4):
        start, end = array[place], array[(place + 1) % 4]
        along = (end - start) / max(float(np.hypot(*(end - start))), 1e-6)
        distances.append(np.abs((points - start) @ np.array([along[1], -along[0]], np.float32)))
    nearest = np.argmin(distances, axis=0)
    reach = 0.06 * min(quads.size(box)) + 6
    for place in range(4):
        start, end = array[place], array[(place + 1) % 4]
        length = max(float(np.hypot(*(end - start))), 1e-6)
        share = ((points - start) @ (end - start)) / length**2
        chosen = points[(nearest == place) & (distances[place] < reach) & (share > 0.08) & (share < 0.92)]
        if len(chosen) < 8:
            return None
        u, v, x, y = cv2.fitLine(chosen, cv2.DIST_HUBER, 0, 0.01, 0.01).ravel().tolist()
        lines.append((x, y, u, v))
    met = [edges.meet(lines[place - 1], lines[place]) for place in range(4)]
    if any(point is None for point in met):
        return None
    corners = quads.ordered([point for point in met if point])
    limit = 0.1 * max(size)
    outside = any(not (-limit <= x <= size[0] + limit and -limit <= y <= size[1] + limit) for x, y in corners)
    return None if outside or not quads.is_convex(corners) else corners
