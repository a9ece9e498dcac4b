"""Finding the 24-patch target in a scan: squares, the lattice they stand on, and which square is which colour."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from surrogate.condition.colorimetry import density_of_lab
from surrogate.imaging.density import Pixels, to_srgb

Array = npt.NDArray[np.float64]

COLUMNS, ROWS = 6, 4

#: Edge strengths (codes per pixel) at which squares are looked for: weak edges part the dark patches from their
#: surround, strong ones survive noise. Tried on rendered scans.
_EDGES = (3.0, 6.0, 12.0)

#: A patch is between these shares of the frame: a card of 3 % of the frame has patches of 0.08 %.
_PATCH_SHARE = (0.0003, 0.04)

#: Patches that must be seen as squares before a lattice is believed (half of the card).
_FEWEST = 10

#: Columns or rows of other even squares that may seem to belong to the card.
_STRAYS = 2

#: Largest rms difference (share of the code range) between the 24 colours seen and those of the card, after a gain
#: and an offset for each channel. Cards scanned two stops off or strongly tinted stay below 0.08 in simulation.
_WORST_MATCH = 0.11


@dataclass(frozen=True)
class Chart:
    """Where the card lies: ``to_pixels`` (3, 3) maps (column, row) of patch centres to pixels of the picture.

    ``side`` is a patch's side as a share of the step between patches.
    """

    to_pixels: Array
    side: float
    match: float

    def centres(self) -> Array:
        """Patch centres (24, 2) as x, y, in the order of the card."""
        grid = [(column, row) for row in range(ROWS) for column in range(COLUMNS)]
        return self.place(np.array(grid, dtype=np.float64))

    def place(self, grid: Array) -> Array:
        """Points (N, 2) of the lattice as pixels x, y."""
        moved = np.c_[grid, np.ones(len(grid))] @ self.to_pixels.T
        return np.asarray(moved[:, :2] / moved[:, 2:])

    def scaled(self, factor: float) -> Chart:
        """The same card in a picture ``factor`` times as large."""
        # pixel centres stay pixel centres: x' + 0.5 = factor (x + 0.5)
        grow = np.array([[factor, 0, (factor - 1) / 2], [0, factor, (factor - 1) / 2], [0, 0, 1]])
        return Chart(grow @ self.to_pixels, self.side, self.match)


def find_chart(pixels: Pixels, reference: Array) -> Chart | None:
    """The card in an sRGB picture (H, W, 3), or None. ``reference`` is CIELAB (24, 3)."""
    picture = (pixels >> 8 if pixels.dtype == np.uint16 else pixels).astype(np.uint8)
    expected = to_srgb(density_of_lab(reference), 8).astype(np.float64) / 255
    best: Chart | None = None
    for squares in _clusters(_squares(picture)):
        lattice = _lattice(squares)
        if lattice is None:
            continue
        found = _best_placing(picture, expected, *lattice)
        if found is not None and (best is None or found.match < best.match):
            best = found
    return best if best is not None and best.match <= _WORST_MATCH else None


def _squares(picture: npt.NDArray[np.uint8]) -> Array:
    """Even patches with square outlines: rows of x, y, side, angle (degrees, 0-90)."""
    smooth = cv2.GaussianBlur(cv2.medianBlur(picture, 5), (0, 0), 1.2).astype(np.float32)
    slope = np.hypot(cv2.Scharr(smooth, -1, 1, 0), cv2.Scharr(smooth, -1, 0, 1)).max(axis=2) / 32
    height, width = slope.shape
    found: list[tuple[float, float, float, float]] = []
    for edge in _EDGES:
        even = (slope < edge).astype(np.uint8)
        even = cv2.morphologyEx(even, cv2.MORPH_OPEN, np.ones((3, 3), np.uint8))
        outlines, _ = cv2.findContours(even, cv2.RETR_CCOMP, cv2.CHAIN_APPROX_NONE)
        for outline in outlines:
            area = cv2.contourArea(outline)
            if not _PATCH_SHARE[0] < area / (height * width) < _PATCH_SHARE[1]:
                continue
            (x, y), (one, other), angle = cv2.minAreaRect(outline)
            if max(one, other) < 1.25 * min(one, other) and area > 0.82 * one * other:
                found.append((x, y, float(np.sqrt(one * other)), angle % 90))
    kept: list[tuple[float, float, float, float]] = []
    for square in found:  # the same patch at several edge strengths counts once
        if all(np.hypot(square[0] - k[0], square[1] - k[1]) > 0.4 * square[2] for k in kept):
            kept.append(square)
    return np.array(kept).reshape(-1, 4)


def _clusters(squares: Array) -> list[Array]:
    """Groups of like size and direction, the largest first; at most five."""
    groups: list[Array] = []
    used: set[frozenset[int]] = set()
    for seed in squares:
        turned = np.abs((squares[:, 3] - seed[3] + 45) % 90 - 45)
        alike = (np.abs(np.log(squares[:, 2] / seed[2])) < 0.15) & (turned < 7)
        members = frozenset(np.flatnonzero(alike).tolist())
        if len(members) >= _FEWEST and members not in used:
            used.add(members)
            groups.append(squares[alike])
    return sorted(groups, key=len, reverse=True)[:5]


def _lattice(squares: Array) -> tuple[Array, Array, float] | None:
    """Lattice indices (N, 2), points (N, 2) and side / step of squares that stand in rows and columns."""
    points, side = squares[:, :2], float(np.median(squares[:, 2]))
    apart = np.hypot(*(points[:, None] - points[None]).transpose(2, 0, 1))
    np.fill_diagonal(apart, np.inf)
    step = float(np.median(apart.min(axis=1)))
    if not 1.0 < step / side < 1.7:
        return None
    radians = np.deg2rad(np.median((squares[:, 3] - squares[0, 3] + 45) % 90 - 45) + squares[0, 3])
    along = np.array([np.cos(radians), np.sin(radians)]) * step
    down = np.array([-along[1], along[0]])
    basis = np.linalg.inv(np.array([along, down]).T)
    best: dict[int, tuple[int, int]] = {}
    left = set(range(len(points)))
    while left:
        start = left.pop()
        seen = {start: (0, 0)}
        queue = [start]
        while queue:
            here = queue.pop()
            for there in list(left):
                moved = basis @ (points[there] - points[here])
                whole = np.rint(moved)
                if np.abs(whole).sum() == 1 and np.abs(moved - whole).max() < 0.22:
                    seen[there] = (seen[here][0] + int(whole[0]), seen[here][1] + int(whole[1]))
                    left.discard(there)
                    queue.append(there)
        if len(seen) > len(best):
            best = seen
    if len(best) < _FEWEST:
        return None
    chosen = list(best)
    return np.array([best[i] for i in chosen], dtype=np.float64), points[chosen], side / step


def _best_placing(
    picture: npt.NDArray[np.uint8], expected: Array, indices: Array, points: Array, side: float
) -> Chart | None:
    """Try the four turns and every shift of the card over the lattice; the colours decide."""
    best: Chart | None = None
    indices = indices - indices.min(axis=0)
    for _ in range(4):
        span = indices.max(axis=0)
        if span[0] < COLUMNS + _STRAYS and span[1] < ROWS + _STRAYS:
            for shift_x in range(-_STRAYS, COLUMNS):  # below 0: something else stands before the card's first column
                for shift_y in range(-_STRAYS, ROWS):
                    placed = indices + np.array([shift_x, shift_y])
                    chart = _placing(picture, expected, placed, points, side)
                    if chart is not None and (best is None or chart.match < best.match):
                        best = chart
        indices = np.c_[-indices[:, 1], indices[:, 0]]
        indices -= indices.min(axis=0)
    return best


def _placing(
    picture: npt.NDArray[np.uint8], expected: Array, indices: Array, points: Array, side: float
) -> Chart | None:
    inside = (indices >= 0).all(axis=1) & (indices < (COLUMNS, ROWS)).all(axis=1)
    if inside.sum() < max(_FEWEST, len(indices) - 3):
        return None
    matrix, _ = cv2.findHomography(indices[inside], points[inside], cv2.RANSAC, 0.15 * _step(indices, points))
    if matrix is None:
        return None
    chart = Chart(np.asarray(matrix), side, 1.0)
    centres = np.rint(chart.centres()).astype(int)
    height, width = picture.shape[:2]
    if (centres < 3).any() or (centres[:, 0] >= width - 3).any() or (centres[:, 1] >= height - 3).any():
        return None
    seen = np.array([np.median(picture[y - 2 : y + 3, x - 2 : x + 3], axis=(0, 1)) for x, y in centres]) / 255
    rest = 0.0
    for channel in range(3):
        gain, offset = np.polyfit(seen[:, channel], expected[:, channel], 1) if np.ptp(seen[:, channel]) else (0.0, 0.0)
        if gain <= 0:
            return None
        rest += float(((gain * seen[:, channel] + offset - expected[:, channel]) ** 2).mean())
    return Chart(chart.to_pixels, side, float(np.sqrt(rest / 3)))


def _step(indices: Array, points: Array) -> float:
    spread = np.ptp(indices, axis=0).sum()
    return float(np.ptp(points, axis=0).sum() / max(spread, 1.0))
