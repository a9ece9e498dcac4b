"""Automatic corrections of general libraries, to be compared with: all take and give (H, W, 3) uint8 sRGB codes."""

from collections.abc import Callable

import cv2
import numpy as np
from PIL import Image, ImageOps
from skimage import exposure

Codes = np.ndarray


def grey(scan: Codes) -> Codes:
    return np.repeat(cv2.cvtColor(scan, cv2.COLOR_RGB2GRAY)[..., None], 3, axis=2)


def autocontrast(scan: Codes) -> Codes:
    """Pillow, 1 % cut at both ends of each channel."""
    return np.asarray(ImageOps.autocontrast(Image.fromarray(scan), cutoff=1))


def clahe(scan: Codes) -> Codes:
    """OpenCV, on lightness."""
    lab = cv2.cvtColor(scan, cv2.COLOR_RGB2LAB)
    lab[..., 0] = cv2.createCLAHE(2.0, (8, 8)).apply(lab[..., 0])
    return cv2.cvtColor(lab, cv2.COLOR_LAB2RGB)


def grey_world(scan: Codes) -> Codes:
    mean = scan.reshape(-1, 3).mean(0)
    return np.clip(scan * (mean.mean() / mean), 0, 255).astype(np.uint8)


def white_patch(scan: Codes) -> Codes:
    top = np.percentile(scan.reshape(-1, 3), 99, axis=0)
    return np.clip(scan * (255.0 / top), 0, 255).astype(np.uint8)


def equalised(scan: Codes) -> Codes:
    """scikit-image, each channel by itself."""
    planes = [exposure.equalize_hist(scan[..., c]) for c in range(3)]
    return np.round(255 * np.stack(planes, axis=-1)).astype(np.uint8)


def equalised_grey(scan: Codes) -> Codes:
    """scikit-image, of the grey picture."""
    return equalised(grey(scan))


BOTH: dict[str, Callable[[Codes], Codes]] = {
    "autocontrast 1 % (Pillow)": autocontrast,
    "CLAHE (OpenCV)": clahe,
    "grey world": grey_world,
    "white patch 99 %": white_patch,
}
COLOUR = {**BOTH, "equalise (scikit-image)": equalised}
SILVER = {
    **BOTH,
    "grey + autocontrast 1 %": lambda scan: autocontrast(grey(scan)),
    "equalise (scikit-image)": equalised_grey,
}
