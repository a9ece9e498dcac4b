"""Where on a scan there is ground, an original, and an original's rim: what a small network says (docs/intake.md)."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import numpy.typing as npt

from surrogate.imaging import networks

Floats = npt.NDArray[np.float32]

#: The scan as the network sees it, lying on its long side: height, width in px.
HEIGHT, WIDTH = 384, 512
#: Classes of the network: the lid or page, the inside of an original, its outermost ``RIM_PX``.
GROUND, INSIDE, RIM = 0, 1, 2
RIM_PX = 4

_MODEL = Path(__file__).with_name("originals_model.onnx")


def planes(rgb: npt.NDArray[np.uint8]) -> Floats:
    """Colour and steps of a lying scan, (4, 384, 512) float32; rgb (H, W, 3) uint8 sRGB, long edge 900 to 1600 px.

    The fourth plane holds the steps of tone seen at full size, so that the fine shadow line of a white border on a
    white lid is not lost in reducing.
    """
    small = cv2.resize(rgb, (WIDTH, HEIGHT), interpolation=cv2.INTER_AREA).astype(np.float32)
    grey = cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY)
    across = np.abs(cv2.Sobel(grey, cv2.CV_16S, 1, 0)) + np.abs(cv2.Sobel(grey, cv2.CV_16S, 0, 1))
    steps = cv2.resize(np.sqrt(across.astype(np.float32)), (WIDTH, HEIGHT), interpolation=cv2.INTER_AREA)
    return np.concatenate([small.transpose(2, 0, 1) / 255 - 0.5, steps[None] / 16 - 0.5])


def shares(rgb: npt.NDArray[np.uint8]) -> Floats:
    """Share of each class at every place, (384, 512, 3) or, for a standing scan, (512, 384, 3) float32."""
    standing = rgb.shape[0] > rgb.shape[1]
    lying = np.ascontiguousarray(np.rot90(rgb, -1)) if standing else rgb
    found = networks.softmax(networks.scores(_MODEL, planes(lying)))
    grown = cv2.resize(np.ascontiguousarray(found.transpose(1, 2, 0)), (WIDTH, HEIGHT))
    return np.ascontiguousarray(np.rot90(grown) if standing else grown, np.float32)
