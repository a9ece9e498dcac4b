"""Originals on a scan: prints, clippings and letters on a scanner's bed or an album page, and their corners.

A small network tells ground from originals (:mod:`surrogate.intake.sheetmap`). What it finds must then be four-sided
with straight sides that show in the scan at full size; from both comes the confidence.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass, replace

import cv2
import numpy as np
import numpy.typing as npt

from surrogate.intake import apart, bed, byhand, edges, quads, sheetmap, surround
from surrogate.intake.apart import Thing
from surrogate.intake.quads import Corners

Floats = npt.NDArray[np.float32]
Mask = npt.NDArray[np.bool_]

#: Smallest original: share of the scan's area. A 15 mm contact strip on an A4 bed takes 0.4 %.
SMALLEST_SHARE = 0.004
#: An outline is cut along only when it was found with at least this confidence; else the whole frame is kept.
SURE = 0.5
#: Less ground than this share of the scan is none: the original fills the scan.
_LEAST_GROUND = 0.012
#: What fills its quadrilateral less than this has not four sides; full confidence in the shape from ``_GOOD_SHAPE``.
_LEAST_SHAPE, _GOOD_SHAPE = 0.8, 0.94
#: One sheet with little lid around it takes at least this share of the scan.
_SNUG_SHARE = 0.55
#: Prints that lie this near along this share of a side touch or overlap: map px, and share of the shorter side.
_TOUCH_PX, _TOUCH_SHARE = 3, 0.2
#: Touching prints whose sides meet at angles further than this from 90 degrees lie on one another: single prints of
#: the fit's photographs stay within 0.4.
_SKEW_DEGREES = 0.7
#: Most confidence in an original of which a neighbour hides a strip.
_OVERLAPPED = 0.6


@dataclass(frozen=True)
class Outline:
    """Corners of one original in px of the given picture, clockwise from its top left; confidence 0 to 1."""

    corners: Corners
    confidence: float
    note: str = ""


@dataclass(frozen=True)
class Layout:
    """What lies on a scan. No outlines: keep the whole frame.

    ``is_page``: the ground is an album page, a mount or written on, so it is part of what is kept.
    """

    background: str
    outlines: tuple[Outline, ...]
    confidence: float
    notes: tuple[str, ...] = ()
    is_page: bool = False

    def to_cut(self) -> list[Outline]:
        """The outlines that are sure enough to cut along."""
        return [one for one in self.outlines if one.confidence >= SURE]

    def keeps_whole(self) -> bool:
        """Whether the whole scan is shown too: always but for one sheet on a lid, whose surround is nobody's."""
        return self.is_page or len(self.outlines) != 1 or len(self.to_cut()) != 1


FRAME = Layout("frame", (), 1.0)
#: An even strip along one side, or two that face each other: the bed, or sky and sea. Nothing is cut off.
UNSURE = Layout(
    "frame", (), 0.5, ("an even strip along the edge may be the scanner's bed or part of the picture; it is kept",)
)
#: Something that is no print: torn, round, a leaf.
ODD = Layout("frame", (), 0.4, ("what lies on it has not four straight sides; the whole frame is kept",))
#: Rectangles in register, or none with right angles: windows, views printed on one card, blocks of writing.
MADE_SO = Layout("frame", (), 0.6, ("the rectangles on it look built or printed, not laid there; it is kept whole",))
#: Even margins on all sides of one picture: its own border or mount, or a lid around it. Nothing is cut off.
BORDERED = Layout("frame", (), 0.5, ("an even border on all sides may be the picture's own; it is kept",))


def find(rgb: npt.NDArray[np.uint8]) -> Layout:
    """Find the originals on a scan, (H, W, 3) uint8 sRGB, long edge about 1000 to 1600 px."""
    if min(rgb.shape[:2]) < 64:
        return FRAME
    layout = _seen(rgb)
    if layout.to_cut():
        return layout
    # A sheet with little lid around it looks like a picture with its border: more of the lid makes it plain.
    wide = bed.widened(rgb)
    if wide is None:
        return layout
    snug = _moved(_seen(wide.rgb), wide.left, wide.top)
    if len(snug.outlines) != 1 or not snug.to_cut():
        return layout
    corners = snug.outlines[0].corners
    if quads.area(corners) < _SNUG_SHARE * rgb.shape[0] * rgb.shape[1]:
        return layout
    return snug if bed.is_lid(rgb, corners) else BORDERED


def _moved(layout: Layout, left: int, top: int) -> Layout:
    """The layout of a widened scan on the scan itself."""
    shifted = [
        replace(one, corners=quads.ordered(np.asarray(one.corners) - np.array([left, top]))) for one in layout.outlines
    ]
    return replace(layout, outlines=tuple(shifted))


def _seen(rgb: npt.NDArray[np.uint8]) -> Layout:
    """What the network sees, outlined where its sides show."""
    classes = sheetmap.shares(rgb)
    ground = classes[..., sheetmap.GROUND] > 0.5
    if ground.mean() < _LEAST_GROUND:
        return FRAME
    scale = np.array([rgb.shape[1] / ground.shape[1], rgb.shape[0] / ground.shape[0]])
    things = apart.things(classes, round(SMALLEST_SHARE * ground.size), scale)
    found = [(thing, _outlined(rgb, classes, thing)) for thing in things]
    placed = [_Placed(thing, outline) for thing, outline in found if outline is not None]
    if not placed:
        return ODD if things else FRAME
    if not all(_corner_in_sight(one.outline.corners, rgb.shape) for one in placed):
        return UNSURE
    if not byhand.are_sheets([one.outline.corners for one in placed], rgb.shape):
        return MADE_SO
    alone = placed[0].outline.corners if len(placed) == 1 else None
    if alone is not None and bed.is_narrow(alone, rgb.shape[1::-1]) and not bed.is_lid(rgb, alone):
        return BORDERED
    outlines, notes = _judged_together(_reading_order(placed))
    if len(placed) < len(things):
        notes = (*notes, f"{len(things) - len(placed)} more on the page without four straight sides")
    small = cv2.resize(rgb, ground.shape[::-1], interpolation=cv2.INTER_AREA)
    around = surround.describe(small, np.any([thing.mask for thing in things], axis=0), ground)
    confidence = min(one.confidence for one in outlines)
    return Layout(around.name, tuple(outlines), round(confidence, 2), notes, around.is_page)


@dataclass(frozen=True, eq=False)
class _Placed:
    thing: Thing
    outline: Outline


def _outlined(rgb: npt.NDArray[np.uint8], classes: Floats, thing: Thing) -> Outline | None:
    """Outline one original of the network's map; None when it has not four sides."""
    fitted = edges.fit(rgb, thing.corners) if thing.corners is not None else None
    if fitted is None or thing.shape < _LEAST_SHAPE or not quads.is_convex(fitted.corners):
        return None
    # Beside the rim, where the network may waver by a pixel, it should not waver at all.
    core = cv2.erode(thing.mask.astype(np.uint8), np.ones((9, 9), np.uint8)) > 0
    inside = float(classes[core, sheetmap.INSIDE].mean()) if core.any() else 0.0
    free = [side for side in fitted.sides if not side.on_frame]
    support = float(np.mean([side.support for side in free])) if free else 0.0
    confidence = inside * min(1.0, (thing.shape - _LEAST_SHAPE) / (_GOOD_SHAPE - _LEAST_SHAPE)) * (0.5 + 0.5 * support)
    return Outline(fitted.corners, round(confidence, 3))


def _corner_in_sight(corners: Corners, shape: tuple[int, ...]) -> bool:
    """Whether at least one corner lies inside the scan: an even strip without one could be sky above the sea."""
    return any(3 < x < shape[1] - 3 and 3 < y < shape[0] - 3 for x, y in corners)


def _reading_order(placed: list[_Placed]) -> list[_Placed]:
    """Sort by rows from the top, each from the left; a row is what lies side by side for half its height."""

    def middle(one: _Placed, axis: int) -> float:
        return float(np.mean([corner[axis] for corner in one.outline.corners]))

    left = sorted(placed, key=lambda one: middle(one, 1))
    ordered: list[_Placed] = []
    while left:
        bottom = middle(left[0], 1) + 0.35 * quads.size(left[0].outline.corners)[1]
        row = [one for one in left if middle(one, 1) <= bottom]
        ordered += sorted(row, key=lambda one: middle(one, 0))
        left = [one for one in left if one not in row]
    return ordered


def _judged_together(placed: list[_Placed]) -> tuple[list[Outline], tuple[str, ...]]:
    """Lower the confidence in originals that lie on one another, and say which touch."""
    outlines = [one.outline for one in placed]
    notes = []
    for one, two in itertools.combinations(range(len(placed)), 2):
        if not _touching(placed[one].thing, placed[two].thing):
            continue
        skew = max(quads.skew_degrees(placed[place].outline.corners) for place in (one, two))
        if skew > _SKEW_DEGREES:
            notes.append(
                f"prints {one + 1} and {two + 1} overlap: a strip of one is hidden; the page is kept whole too"
            )
            for place in (one, two):
                outlines[place] = replace(outlines[place], confidence=min(outlines[place].confidence, _OVERLAPPED))
        else:
            notes.append(f"prints {one + 1} and {two + 1} touch or overlap: see that their outlines are right")
    return outlines, tuple(notes)


def _touching(one: Thing, two: Thing) -> bool:
    if one.corners is None or two.corners is None:
        return False
    near = cv2.dilate(one.mask.astype(np.uint8), np.ones((2 * _TOUCH_PX + 1, 2 * _TOUCH_PX + 1), np.uint8)) > 0
    seam = int((near & two.mask).sum()) / _TOUCH_PX
    shortest = min(*np.sqrt([one.mask.sum(), two.mask.sum()]))
    return bool(seam > _TOUCH_SHARE * shortest)
