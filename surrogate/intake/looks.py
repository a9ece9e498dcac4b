"""How much a scan looks like the back of something: bare paper, a stamp, a few lines by hand."""

from __future__ import annotations

import cv2
import numpy as np
import numpy.typing as npt

from surrogate.intake.ground import lab_of

#: Long edge in px at which paper is told from picture.
_EDGE = 400


def back_likeness(rgb: npt.NDArray[np.uint8]) -> float:
    """Return 0 (a picture) to 1 (bare or lightly written paper).

    Args:
        rgb: (H, W, 3) uint8 sRGB of one original, cut out of its scan.

    Paper is what keeps within a few CIELAB units of the paper around it and is light. The two bounds were read off
    photographs (median share of paper below 0.3) and simulated backs (above 0.8).

    """
    factor = min(1.0, _EDGE / max(rgb.shape[:2]))
    lab = lab_of(np.asarray(cv2.resize(rgb, None, fx=factor, fy=factor, interpolation=cv2.INTER_AREA), np.uint8))
    height, width = lab.shape[:2]
    inner = lab[height // 20 : height - height // 20, width // 20 : width - width // 20]
    # Lightness and colour of the paper: the median of each, over cells that writing does not fill.
    cells = cv2.resize(inner, (12, 12), interpolation=cv2.INTER_AREA).reshape(-1, 3)
    paper = np.median(cells[cells[:, 0] >= np.median(cells[:, 0])], axis=0)
    near = np.linalg.norm((inner - paper) * np.array([0.7, 1.0, 1.0]), axis=2) < 9
    share = float(near.mean())
    light = float(np.clip((paper[0] - 45) / 20, 0, 1))
    return round(float(np.clip((share - 0.55) / 0.3, 0.0, 1.0)) * light, 3)
