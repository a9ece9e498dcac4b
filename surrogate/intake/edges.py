"""Where exactly an original ends: the sides of a rough outline, moved to the sharpest edge beside them."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from surrogate.intake.quads import Corners, ordered

Floats = npt.NDArray[np.float32]
Pixels = npt.NDArray[np.uint8]

_PIECES = 32
_STEP = 0.5
_LEAST_SLOPE = 0.35  # CIELAB per px: white paper on a white lid has 0.5 and more
_LEAST_PIECES = 10
_TRUST_PX = 2.5  # the rough sides are right within 2 px of 1600 for 9 in 10


@dataclass(frozen=True)
class SideFit:
    """One side after fitting.

    ``line``: a point and a direction, px. ``support``: share of the side along which an edge was seen, 0 to 1.
    ``straightness``: median distance of the edge from the line, px. ``on_frame``: the side is the scan's own edge.
    """

    line: tuple[float, float, float, float]
    support: float
    straightness: float
    on_frame: bool


@dataclass(frozen=True)
class Fit:
    """Fitted corners and the four sides: top, right, bottom, left."""

    corners: Corners
    sides: tuple[SideFit, SideFit, SideFit, SideFit]


def fit(rgb: Pixels, corners: Corners, reach_px: float = 8.0) -> Fit | None:
    """Move every side of an outline to its edge.

    Args:
        rgb: (H, W, 3) uint8 sRGB of the scan.
        corners: rough corners in px of that picture.
        reach_px: how far from the rough side the edge may lie.

    """
    array = np.asarray(corners, np.float64)
    height, width = rgb.shape[:2]
    sides = []
    for place in range(4):
        start, end = array[place], array[(place + 1) % 4]
        sides.append(_frame_side(start, end, (width, height)) or _side(rgb, start, end, reach_px))
    met = [meet(sides[place - 1].line, sides[place].line) for place in range(4)]
    if any(point is None for point in met):
        return None
    return Fit(ordered([point for point in met if point]), (sides[0], sides[1], sides[2], sides[3]))


def _frame_side(start: npt.NDArray[np.float64], end: npt.NDArray[np.float64], size: tuple[int, int]) -> SideFit | None:
    """The scan's own edge, where a side runs along it within 3 px."""
    for axis in (0, 1):
        for edge in (0.0, float(size[axis])):
            if abs(start[axis] - edge) < 3 and abs(end[axis] - edge) < 3:
                line = (edge, 0.0, 0.0, 1.0) if axis == 0 else (0.0, edge, 1.0, 0.0)
                return SideFit(line, 1.0, 0.0, on_frame=True)
    return None


def _strip(
    rgb: Pixels, start: npt.NDArray[np.float64], end: npt.NDArray[np.float64], reach_px: float
) -> tuple[Floats, npt.NDArray[np.float64], npt.NDArray[np.float64]]:
    """CIELAB beside a side: (pieces, offsets, 3) means over pieces of the side, with both coordinates in px.

    Offsets grow outward: to the left of the direction of travel, for corners that run clockwise with y down.
    """
    length = float(np.hypot(*(end - start)))
    along = (end - start) / max(length, 1e-9)
    outward = np.array([along[1], -along[0]])
    offsets = np.arange(-reach_px, reach_px + _STEP / 2, _STEP)
    per_piece = max(3, int(length * 0.92 / _PIECES))
    places = np.linspace(0.04, 0.96, _PIECES * per_piece) * length
    points = start + places[:, None, None] * along + offsets[None, :, None] * outward - 0.5
    x, y = points[..., 0].astype(np.float32), points[..., 1].astype(np.float32)
    sampled = cv2.remap(rgb, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    pieces = sampled.reshape(_PIECES, per_piece, offsets.size, 3).mean(axis=1, dtype=np.float32)
    lab = np.asarray(cv2.cvtColor(pieces / np.float32(255), cv2.COLOR_RGB2Lab), np.float32)
    return lab, offsets, places.reshape(_PIECES, per_piece).mean(axis=1)


def _slopes(pieces: Floats) -> Floats:
    """Length of the CIELAB derivative across the side, (pieces, offsets), per px."""
    smooth = cv2.GaussianBlur(pieces.reshape(pieces.shape[0], -1, 3), (0, 0), sigmaX=1.0 / _STEP * 0.8, sigmaY=1e-3)
    return np.asarray(np.linalg.norm(np.gradient(smooth, _STEP, axis=1), axis=2), np.float32)


def _side(rgb: Pixels, start: npt.NDArray[np.float64], end: npt.NDArray[np.float64], reach_px: float) -> SideFit:
    length = float(np.hypot(*(end - start)))
    along = (end - start) / max(length, 1e-9)
    outward = np.array([along[1], -along[0]])
    pieces, offsets, places = _strip(rgb, start, end, reach_px)
    slope = _slopes(pieces)
    common = np.median(slope, axis=0) * np.exp(-((offsets / _TRUST_PX) ** 2)).astype(np.float32)
    common[:2] = common[-2:] = 0
    best = _edge_place(common, offsets)
    window = np.abs(offsets - best) <= 3.0
    peak = np.where(window, slope, -1).argmax(axis=1)
    height = slope[np.arange(_PIECES), peak]
    # A step is seen where it stands out of what varies beside it.
    seen = height > np.maximum(_LEAST_SLOPE, 1.5 * np.median(slope, axis=1))
    where = offsets[peak] + _parabola(slope, peak) * _STEP
    unmoved = SideFit((*start, *along), 0.0, reach_px, on_frame=False)
    if seen.sum() < _LEAST_PIECES:
        return unmoved
    a, b, residual = _robust_line(places[seen], where[seen])
    if max(abs(a), abs(a + b * length)) > reach_px:
        return unmoved
    near = np.abs(where - (a + b * places)) < 1.5
    first, last = start + a * outward, start + length * along + (a + b * length) * outward
    direction = (last - first) / np.hypot(*(last - first))
    return SideFit((*first, *direction), float((seen & near).mean()), residual, on_frame=False)


def _edge_place(common: Floats, offsets: npt.NDArray[np.float64]) -> float:
    """Place of the edge among the peaks of a side's mean slope.

    Paper on a lid of its own colour shows as a dark line, its shadow: the sheet ends at the line's inner flank, the
    outer one is the shadow's. So the innermost of the strong peaks within 4 px of the strongest is taken.
    """
    top = int(common.argmax())
    inner = np.r_[False, (common[1:-1] >= common[:-2]) & (common[1:-1] > common[2:]), False]
    strong = inner & (common > 0.6 * common[top]) & (np.abs(offsets - offsets[top]) <= 4.0)
    return float(offsets[int(np.flatnonzero(strong)[0])]) if strong.any() else float(offsets[top])


def _parabola(values: Floats, peak: npt.NDArray[np.intp]) -> npt.NDArray[np.float64]:
    """Offset of the vertex of the parabola through each row's peak and its neighbours, in samples."""
    rows = np.arange(values.shape[0])
    inner = np.clip(peak, 1, values.shape[1] - 2)
    left, middle, right = (values[rows, inner + step].astype(np.float64) for step in (-1, 0, 1))
    bend = left - 2 * middle + right
    return np.where(bend < -1e-9, np.clip(0.5 * (left - right) / np.where(bend < -1e-9, bend, -1), -0.5, 0.5), 0.0)


def _robust_line(x: npt.NDArray[np.float64], y: npt.NDArray[np.float64]) -> tuple[float, float, float]:
    """Fit y = a + b x with Tukey weights (cut at 4.7 sigma, Tukey's biweight); also the median distance."""
    # Start from the median of slopes between halves, which half of the pieces may contradict.
    half = x.size // 2
    b = float(np.median((y[-half:] - y[:half]) / (x[-half:] - x[:half])))
    a = float(np.median(y - b * x))
    for _ in range(8):
        residual = y - a - b * x
        sigma = max(1.4826 * float(np.median(np.abs(residual))), 0.1)
        weight = np.clip(1 - (residual / (4.685 * sigma)) ** 2, 0, None) ** 2
        total = weight.sum()
        mean_x, mean_y = float((weight * x).sum() / total), float((weight * y).sum() / total)
        spread = float((weight * (x - mean_x) ** 2).sum())
        b = float((weight * (x - mean_x) * (y - mean_y)).sum()) / max(spread, 1e-9)
        a = mean_y - b * mean_x
    return a, b, float(np.median(np.abs(y - a - b * x)))


def meet(
    one: tuple[float, float, float, float], other: tuple[float, float, float, float]
) -> tuple[float, float] | None:
    """Point where two lines cross; None when they run nearly side by side."""
    x1, y1, u1, v1 = one
    x2, y2, u2, v2 = other
    cross = u1 * v2 - v1 * u2
    if abs(cross) < 0.5:
        return None
    t = ((x2 - x1) * v2 - (y2 - y1) * u2) / cross
    return (x1 + t * u1, y1 + t * v1)
