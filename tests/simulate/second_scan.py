"""A second scan of an original: another scanner, turned, cropped, at another resolution; faded or stained."""

from pathlib import Path

import cv2
import numpy as np
import tifffile

from surrogate.imaging.density import to_density, to_srgb


def second_scan(
    source: np.ndarray,
    path: Path,
    generator: np.random.Generator,
    *,
    loss: float = 0.0,
    stain_px: int = 0,
    scale: float = 0.8,
    turn: int = 0,
) -> np.ndarray:
    """Write a 16-bit TIFF of an sRGB picture; ``loss`` is a share of density above base. Returns the affine (2, 3)."""
    density = to_density(source).astype(np.float64)
    base = np.percentile(density.reshape(-1, 3), 1, axis=0)
    density = base + (density - base) * (1 - loss)
    height, width = density.shape[:2]
    if stain_px:
        disc = cv2.circle(np.zeros((height, width)), (width // 2, height // 2), stain_px // 2, 1.0, -1)
        spot = cv2.GaussianBlur(disc,
                                (0, 0), stain_px / 12)  # fmt: skip
        density += spot[..., None] * np.array([0.02, 0.06, 0.16])
    degrees = float(generator.uniform(-2, 2)) + 90 * turn
    matrix = cv2.getRotationMatrix2D((width / 2, height / 2), degrees, scale)
    side = int(np.hypot(width, height) * scale) + 20
    matrix[:, 2] += side / 2 - np.array([width, height]) / 2
    scanned = cv2.warpAffine(density, matrix, (side, side), flags=cv2.INTER_AREA, borderValue=(0.05, 0.05, 0.05))
    # another scanner: exposure, contrast by a standard deviation of 1.5 %, noise, blur
    scanned = scanned * (1 + generator.normal(0, 0.015, 3)) + generator.normal(0, 0.015, 3)
    scanned = cv2.GaussianBlur(scanned, (0, 0), 0.6) + generator.normal(0, 0.006, scanned.shape)
    tifffile.imwrite(path, to_srgb(np.clip(scanned, 0, 3), 16), photometric="rgb", resolution=(240, 240))
    return matrix
