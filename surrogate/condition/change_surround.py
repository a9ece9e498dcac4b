"""What lies around an original on the glass: a lid or a sheet that differs between two scans is no change of it."""

from __future__ import annotations

import cv2
import numpy as np
import numpy.typing as npt

from surrogate.imaging.density import Floats

#: Long edge (px) at which the surround is told apart, and the difference of density from which it is another one, plus
#: a share of the density: above what a print loses between two scans, below the step from a white to a grey lid
#: (judgement).
_WORK_PX, _STEP, _SHARE = 240, 0.12, 0.15

#: A strip that runs along this share of one side of what both scans show is surround; such a stain is taken for it.
_ALONG = 0.5


def without_surround(before: Floats, now: Floats, covered: npt.NDArray[np.bool_]) -> tuple[npt.NDArray[np.bool_], bool]:
    """``covered`` without what was changed around the original, and whether there was such a thing."""
    height, width = before.shape[:2]
    scale = min(1.0, _WORK_PX / max(height, width))
    size = (max(8, round(width * scale)), max(8, round(height * scale)))
    old, new, seen = (
        cv2.resize(picture, size, interpolation=cv2.INTER_AREA) for picture in (before, now, covered.astype(np.float32))
    )
    inside = seen > 0.999
    if not inside.any():
        return covered, False
    apart = new - old
    apart = np.abs(apart - np.median(apart[inside], axis=0)).max(axis=2)
    differs = inside & (apart > _STEP + _SHARE * old.max(axis=2))
    count, labels = cv2.connectedComponents(differs.astype(np.uint8))
    framed = cv2.copyMakeBorder((~inside).astype(np.uint8), 1, 1, 1, 1, cv2.BORDER_CONSTANT, value=1)
    rim = cv2.dilate(framed, np.ones((7, 7), np.uint8))[1:-1, 1:-1] > 0
    gone = np.zeros(labels.shape, np.uint8)
    for number in range(1, count):
        part = labels == number
        touching = part & rim
        if max(touching.any(axis=0).mean(), touching.any(axis=1).mean()) >= _ALONG:
            gone[part] = 1
    if not gone.any():
        return covered, False
    wide = np.asarray(cv2.dilate(gone, np.ones((7, 7), np.uint8)))
    return covered & (cv2.resize(wide, (width, height), interpolation=cv2.INTER_NEAREST) == 0), True
