"""How much a scan looks like the back of something: bare paper, a stamp, a few lines by hand."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import numpy.typing as npt

from surrogate.imaging.read import MM_PER_INCH, Raster, read_reduced
from surrogate.intake import outlines
from surrogate.intake.evidence import Look

#: Long edge in px at which paper is told from picture.
_EDGE = 400

#: Long edge in px at which the original is looked for on its scan: 2 px are 0.3 %, a tenth of what is compared.
_LAYOUT_EDGE = 700


def look(path: Path, name: str) -> Look:
    """Look at one scan for pairing. Raises :class:`~surrogate.errors.ScanSetAside` when it cannot be read.

    The size is in mm where the scan states its resolution, else in px of the scan. A scan that shows several
    originals is no side of one: it has no size and does not look like a back.
    """
    raster = read_reduced(path, _LAYOUT_EDGE)
    deep = raster.pixels.dtype == np.uint16
    rgb = np.array(raster.pixels >> 8 if deep else raster.pixels, dtype=np.uint8)
    layout = outlines.find(rgb)
    found = layout.to_cut()
    if len(found) > 1:
        return Look(name, None, 0.0, parts=len(found))
    if layout.keeps_whole():
        height, width = rgb.shape[:2]
        return Look(name, _size(width, height, raster), back_likeness(rgb), frame=True)
    corners = np.array(found[0].corners)
    across, down = float(np.hypot(*(corners[1] - corners[0]))), float(np.hypot(*(corners[2] - corners[1])))
    left, top = np.maximum(corners.min(axis=0), 0).astype(int)
    right, bottom = np.ceil(corners.max(axis=0)).astype(int)
    return Look(name, _size(across, down, raster), back_likeness(rgb[top:bottom, left:right]))


def _size(width: float, height: float, raster: Raster) -> tuple[float, float]:
    unit = MM_PER_INCH / raster.ppi if raster.ppi else 1 / raster.scale
    return round(float(width * unit), 2), round(float(height * unit), 2)


def back_likeness(rgb: npt.NDArray[np.uint8]) -> float:
    """Return 0 (a picture) to 1 (bare or lightly written paper).

    Args:
        rgb: (H, W, 3) uint8 sRGB of one original, cut out of its scan.

    Paper is what keeps within a few CIELAB units of the paper around it and is light. The two bounds were read off
    photographs (median share of paper below 0.3) and simulated backs (above 0.8).

    """
    factor = min(1.0, _EDGE / max(rgb.shape[:2]))
    small = cv2.resize(rgb, None, fx=factor, fy=factor, interpolation=cv2.INTER_AREA)
    lab = cv2.cvtColor(np.asarray(small, np.float32) / np.float32(255), cv2.COLOR_RGB2LAB)
    height, width = lab.shape[:2]
    inner = lab[height // 20 : height - height // 20, width // 20 : width - width // 20]
    # Lightness and colour of the paper: the median of each, over cells that writing does not fill.
    cells = cv2.resize(inner, (12, 12), interpolation=cv2.INTER_AREA).reshape(-1, 3)
    paper = np.median(cells[cells[:, 0] >= np.median(cells[:, 0])], axis=0)
    near = np.linalg.norm((inner - paper) * np.array([0.7, 1.0, 1.0]), axis=2) < 9
    share = float(near.mean())
    light = float(np.clip((paper[0] - 45) / 20, 0, 1))
    return round(float(np.clip((share - 0.55) / 0.3, 0.0, 1.0)) * light, 3)
