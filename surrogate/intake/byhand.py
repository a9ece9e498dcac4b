"""Whether several outlines on a scan are sheets that somebody laid there, or windows, doors and printed views."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from surrogate.intake import quads
from surrogate.intake.quads import Corners

Points = npt.NDArray[np.float64]

#: Sheets have right angles. What is fitted to a sheet may have one poor corner; where every outline is further from
#: square than this, none is a sheet. On 74 made pages of the fit's photographs 9 in 10 were within 0.5 degrees.
_SKEWED = 5.0
#: Sheets in register: turned alike within this many degrees, both ends in line within this share of the scan's long
#: edge. Nobody lays prints so; builders and printers do. Of many, so large a share must be (judgement).
_TURNED_ALIKE, _IN_LINE, _MOST_OF_THEM = 0.3, 0.006, 0.75


def are_sheets(outlines: Sequence[Corners], shape: tuple[int, ...]) -> bool:
    """Whether these outlines may be sheets laid by hand; ``shape`` of the scan, (H, W, ...)."""
    if all(quads.skew_degrees(one) > _SKEWED for one in outlines):
        return False
    reach = _IN_LINE * max(shape[:2])
    in_line = [any(_in_register(one, other, reach) for other in outlines if other is not one) for one in outlines]
    return len(outlines) < 2 or sum(in_line) < _MOST_OF_THEM * len(outlines)


def _in_register(one: Corners, other: Corners, reach: float) -> bool:
    turn = quads.angle_degrees(one)
    if abs(turn - quads.angle_degrees(other)) > _TURNED_ALIKE:
        return False
    here, there = _turned_back(one, turn), _turned_back(other, turn)
    apart = np.abs(np.concatenate([here.min(0) - there.min(0), here.max(0) - there.max(0)]))
    return bool(apart[[0, 2]].max() < reach or apart[[1, 3]].max() < reach)


def _turned_back(corners: Corners, degrees: float) -> Points:
    radians = np.radians(degrees)
    along = np.array([np.cos(radians), np.sin(radians)])
    return np.asarray(np.asarray(corners) @ np.array([along, [-along[1], along[0]]]).T, np.float64)
