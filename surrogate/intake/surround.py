"""What lies around the originals on a scan: a lid, an album page, and whether someone wrote on it."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float32]
Mask = npt.NDArray[np.bool_]

#: Near enough to an original to be what it lies on, share of the scan's long edge: 2 cm on an A4 bed.
_NEAR = 0.06
_LEAST_PX = 60
#: Strokes of ink differ from their page by this much lightness and take this share of it (one short caption on A4).
_INK_CONTRAST, _INK_SHARE = 14.0, 0.0012


@dataclass(frozen=True)
class Surround:
    """The ground in words ("white lid", "black page"), whether it is a page, and its evenness.

    ``spread``: 90th percentile of the distance from the ground's median colour in CIELAB units, near the originals.
    """

    name: str
    is_page: bool
    spread: float


def lab_of(rgb: npt.NDArray[np.uint8]) -> Floats:
    """CIELAB of sRGB pixels: (H, W, 3) float32; OpenCV's conversion, D65."""
    return np.asarray(cv2.cvtColor(rgb.astype(np.float32) / 255.0, cv2.COLOR_RGB2Lab), np.float32)


def describe(rgb: npt.NDArray[np.uint8], taken: Mask, ground: Mask) -> Surround:
    """Describe the ground.

    Args:
        rgb: (H, W, 3) uint8 sRGB, long edge about 500 px.
        taken: (H, W) bool, what the originals cover.
        ground: (H, W) bool, what is ground.

    """
    reach = 2 * round(_NEAR * max(taken.shape)) + 1
    around = cv2.dilate(taken.astype(np.uint8), np.ones((reach, reach), np.uint8)) > 0
    beside = cv2.dilate(taken.astype(np.uint8), np.ones((7, 7), np.uint8)) == 0
    near = ground & around & beside
    if near.sum() < _LEAST_PX:
        near = ground
    lab = lab_of(rgb)
    colour = np.median(lab[near], axis=0)
    spread = float(np.percentile(np.linalg.norm(lab[near] - colour, axis=1), 90))
    name = _name(float(colour[0]), float(colour[2]))
    return Surround(
        name, name.endswith("page") or (name != "black lid" and _written_on(lab[..., 0], near)), round(spread, 1)
    )


def _name(lightness: float, b: float) -> str:
    if lightness < 40:
        return "black lid" if lightness < 6 else "black page"
    if b > 12:
        return "brown page"
    if b > 3 and lightness > 70:
        return "cream page"
    return "white lid" if lightness > 88 else "grey lid"


def _written_on(lightness: Floats, near: Mask) -> bool:
    level = np.asarray(cv2.medianBlur(np.ascontiguousarray(lightness), 5), np.float32)
    level = cv2.GaussianBlur(level, (0, 0), 4)
    return float((np.abs(lightness - level)[near] > _INK_CONTRAST).mean()) > _INK_SHARE
