"""Originals on a scan: prints, clippings and letters on a scanner's bed or an album page, and their corners.

A scan is taken apart only where everything speaks for it: one even ground reaches the edge of the scan, what lies on
it is four-sided with straight sharp sides, and nothing else lies there. In all other cases the whole frame is kept.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
import numpy.typing as npt

from surrogate.intake import edges, parting, quads
from surrogate.intake.ground import Floats, Ground, Mask, grounds, lab_of
from surrogate.intake.quads import Corners

#: Long edge in px at which originals are looked for; their sides are then fitted on the picture as given.
SEARCH_EDGE = 800
#: Smallest original: share of the scan's area. A 15 mm contact strip on an A4 bed takes 0.4 %.
SMALLEST_SHARE = 0.004
#: Confidence in originals that touch, before their edges are weighed: measured below that of originals apart.
_PARTED = 0.85
#: Originals that touch are only taken apart where the ground is seen around them, on this share of the scan's edge:
#: in pictures with an even sky it is about half.
_SURROUNDS = 0.7


@dataclass(frozen=True)
class Outline:
    """Corners of one original in px of the given picture, clockwise from its top left; confidence 0 to 1."""

    corners: Corners
    confidence: float
    note: str = ""


@dataclass(frozen=True)
class Layout:
    """What lies on a scan. No outlines: keep the whole frame."""

    background: str
    outlines: tuple[Outline, ...]
    confidence: float
    notes: tuple[str, ...] = ()
    is_page: bool = False


FRAME = Layout("frame", (), 1.0)
#: An even strip along one side, or two that face each other: the bed, or sky and sea. Nothing is cut off.
UNSURE = Layout(
    "frame", (), 0.5, ("an even strip along the edge may be the scanner's bed or part of the picture; it is kept",)
)


def find(rgb: npt.NDArray[np.uint8], ppi: float | None = None) -> Layout:
    """Find the originals on a scan.

    Args:
        rgb: (H, W, 3) uint8 sRGB, long edge about 1000 to 1600 px.
        ppi: resolution of that picture where it is known; used for sizes in notes only.

    """
    height, width = rgb.shape[:2]
    if min(height, width) < 64:
        return FRAME
    scale = min(1.0, SEARCH_EDGE / max(height, width))
    small = lab_of(cv2.resize(rgb, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA))
    likely = grounds(small)
    if likely:  # only then are the sides worth fitting on the whole picture
        full = cv2.GaussianBlur(lab_of(rgb), (0, 0), 0.6)
        for ground in likely:
            layout = _on_ground(full, small, ground, scale, ppi)
            if layout is not None:
                return layout
    return FRAME


def _on_ground(lab: Floats, small: Floats, ground: Ground, scale: float, ppi: float | None) -> Layout | None:
    """Outline what lies on a ground; None when it is no lid or page after all."""
    found: list[Outline] = []
    explained = np.zeros(ground.mask.shape, np.bool_)
    things = _components(~ground.mask)
    for thing in things:
        outlines = _outlines_of(lab, small, thing, ground, scale)
        if not outlines:
            return None
        found += outlines
        for outline in outlines:
            explained |= quads.mask(quads.scaled(outline.corners, scale), ground.mask.shape)
    if not found or not _nothing_else(explained, ground):
        return None
    if not all(_corner_in_sight(outline.corners, lab.shape) for outline in found):
        return UNSURE
    ordered = _reading_order(found)
    confidence = min(outline.confidence for outline in ordered)
    page = ground.name.endswith("page")
    return Layout(ground.name, tuple(ordered), round(confidence, 2), _notes(ordered, ppi), page)


def _corner_in_sight(corners: Corners, shape: tuple[int, ...]) -> bool:
    """Whether at least one corner lies inside the scan: an even strip without one could be sky above the sea."""
    return any(3 < x < shape[1] - 3 and 3 < y < shape[0] - 3 for x, y in corners)


def _nothing_else(explained: Mask, ground: Ground) -> bool:
    """Whether all but the originals is ground, so that this is no picture of rectangular things."""
    beside = cv2.dilate(explained.astype(np.uint8), np.ones((13, 13), np.uint8)) == 0
    if beside.sum() < 0.01 * beside.size:
        beside = cv2.dilate(explained.astype(np.uint8), np.ones((5, 5), np.uint8)) == 0
    if beside.sum() < 0.004 * beside.size:
        return False
    return bool((ground.difference[beside] < 5).mean() > 0.97)


def _components(foreground: Mask) -> list[Mask]:
    """What stands out of the ground, without specks and hairs, largest first."""
    opened = cv2.morphologyEx(foreground.astype(np.uint8), cv2.MORPH_OPEN, np.ones((5, 5), np.uint8))
    count, labels, statistics, _ = cv2.connectedComponentsWithStats(opened, connectivity=4)
    sizes = statistics[1:, cv2.CC_STAT_AREA]
    kept = [place + 1 for place in np.argsort(-sizes) if sizes[place] >= SMALLEST_SHARE * foreground.size]
    return [labels == place for place in kept if place < count]


def _outlines_of(lab: Floats, small: Floats, thing: Mask, ground: Ground, scale: float) -> list[Outline]:
    """Outline one shape on the ground: an original, or several that touch; empty when it is neither."""
    contours, _ = cv2.findContours(thing.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    points = max(contours, key=len)[:, 0, :].astype(np.float32) + 0.5
    rough = _rough_quad(points, thing.shape[::-1])
    shared = 0.0
    if rough is not None:
        covered = quads.mask(rough, thing.shape)
        shared = float((covered & thing).sum() / max((covered | thing).sum(), 1))
    whole = _fitted(lab, rough, ground, scale, shared) if rough is not None and shared >= 0.72 else None
    if whole is not None and (whole.clear or shared >= 0.96):
        return [whole.outline]
    apart = parting.parted(thing, small) if ground.share >= _SURROUNDS else []
    parts = [_fitted(lab, one, ground, scale, _PARTED) for one in apart]
    if parts and all(parts):
        # All parts of a shape stand or fall together: one wrong cut makes two wrong originals.
        least = min(one.outline.confidence if one.clear else 0.6 * one.outline.confidence for one in parts if one)
        return [replace(one.outline, confidence=round(least, 3)) for one in parts if one]
    return [whole.outline] if whole is not None and shared >= 0.9 else []


@dataclass(frozen=True)
class _Fitted:
    outline: Outline
    clear: bool


def _fitted(lab: Floats, rough: Corners, ground: Ground, scale: float, shared: float) -> _Fitted | None:
    fitted = edges.fit(lab, quads.scaled(rough, 1 / scale), ground.noise)
    if fitted is None or not quads.is_convex(fitted.corners) or not _sharp(fitted):
        return None
    support = float(np.mean([side.support for side in fitted.sides]))
    # Dark or light parts that melt into the ground leave gaps in the shape; four clear sides speak for a whole.
    clear = all(side.on_frame or (side.support >= 0.85 and side.straightness <= 0.6) for side in fitted.sides)
    clear &= sum(side.on_frame for side in fitted.sides) <= 1
    confidence = support * (max(shared, 0.93) if clear else shared)
    return _Fitted(Outline(fitted.corners, round(confidence, 3)), clear)


def _sharp(fitted: edges.Fit) -> bool:
    """Whether the sides that do not lie on the scan's own edge are as straight and sharp as cut paper.

    With all four corners in sight little is asked of each side, with one corner more.
    """
    free = [place for place in range(4) if not fitted.sides[place].on_frame]
    sides = [fitted.sides[place] for place in free]
    if len(free) >= 3:
        return min(side.support for side in sides) >= 0.4 and max(side.straightness for side in sides) <= 2.5
    return bool(sides) and all(side.support >= 0.85 and side.straightness <= 0.8 for side in sides)


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
    reach = 0.06 * min(quads.size(box)) + 2
    for place in range(4):
        start, end = array[place], array[(place + 1) % 4]
        length = max(float(np.hypot(*(end - start))), 1e-6)
        share = ((points - start) @ (end - start)) / length**2
        chosen = points[(nearest == place) & (distances[place] < reach) & (share > 0.06) & (share < 0.94)]
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


def _reading_order(outlines: list[Outline]) -> list[Outline]:
    """Sort by rows from the top, each from the left; a row is what lies side by side for half its height."""
    left = sorted(outlines, key=lambda one: np.mean([y for _, y in one.corners]))
    ordered: list[Outline] = []
    while left:
        first = left[0]
        bottom = float(np.mean([y for _, y in first.corners])) + 0.35 * quads.size(first.corners)[1]
        row = [one for one in left if np.mean([y for _, y in one.corners]) <= bottom]
        ordered += sorted(row, key=lambda one: float(np.mean([x for x, _ in one.corners])))
        left = [one for one in left if one not in row]
    return ordered


def _notes(outlines: list[Outline], ppi: float | None) -> tuple[str, ...]:
    """What a person should know of the layout: originals that overlap."""
    notes = []
    for place, one in enumerate(outlines):
        for other_place, other in enumerate(outlines[place + 1 :], place + 1):
            shared = quads.overlap(one.corners, other.corners)
            depth = shared / max(min(*quads.size(one.corners), *quads.size(other.corners)), 1.0)
            if depth < 2.5:
                continue
            amount = f"{depth / ppi * 25.4:.0f} mm" if ppi else f"{depth:.0f} px"
            notes.append(f"prints {place + 1} and {other_place + 1} overlap by about {amount}")
    return tuple(notes)
