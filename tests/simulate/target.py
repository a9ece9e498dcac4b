"""The classic 24-patch colour target, CIELAB D50/2 degrees, edition made after November 2014."""

import numpy as np

from .colorimetry import lab_to_linear_srgb
from .tone import Image

Lab = tuple[float, float, float]

# Values of the open colour library `colour-science/colour` (BSD-3-Clause), dataset of the edition after November 2014.
PATCHES: tuple[tuple[str, Lab], ...] = (
    ("dark skin", (37.54, 14.37, 14.92)), ("light skin", (64.66, 19.27, 17.50)),
    ("blue sky", (49.32, -3.82, -22.54)), ("foliage", (43.46, -12.74, 22.72)),
    ("blue flower", (54.94, 9.61, -24.79)), ("bluish green", (70.48, -32.26, -0.37)),
    ("orange", (62.73, 35.83, 56.50)), ("purplish blue", (39.43, 10.75, -45.17)),
    ("moderate red", (50.57, 48.64, 16.67)), ("purple", (30.10, 22.54, -20.87)),
    ("yellow green", (71.77, -24.13, 58.19)), ("orange yellow", (71.51, 18.24, 67.37)),
    ("blue", (28.37, 15.42, -49.80)), ("green", (54.38, -39.72, 32.27)),
    ("red", (42.43, 51.05, 28.62)), ("yellow", (81.80, 2.67, 80.41)),
    ("magenta", (50.63, 51.28, -14.12)), ("cyan", (49.57, -29.71, -28.32)),
    ("white 9.5", (95.19, -1.03, 2.93)), ("neutral 8", (81.29, -0.57, 0.44)),
    ("neutral 6.5", (66.89, -0.75, -0.06)), ("neutral 5", (50.76, -0.13, 0.14)),
    ("neutral 3.5", (35.63, -0.46, -0.48)), ("black 2", (20.64, 0.07, -0.46)),
)  # fmt: skip

FRAME: Lab = (17.0, 0.0, 0.0)
"""The black surround (from memory)."""


def card(patch_px: int, gap_px: int) -> Image:
    """The target, linear sRGB, four rows of six; colours outside sRGB keep their negative values."""
    step = patch_px + gap_px
    picture = np.empty((4 * step + gap_px, 6 * step + gap_px, 3), np.float32)
    picture[:] = lab_to_linear_srgb(np.array(FRAME))
    for index in range(24):
        y, x = patch_origin(index, patch_px, gap_px)
        picture[y : y + patch_px, x : x + patch_px] = lab_to_linear_srgb(np.array(PATCHES[index][1]))
    return picture


def patch_origin(index: int, patch_px: int, gap_px: int) -> tuple[int, int]:
    """Top left pixel (y, x) of patch `index` (0..23, by rows) on the card."""
    step = patch_px + gap_px
    return gap_px + index // 6 * step, gap_px + index % 6 * step
