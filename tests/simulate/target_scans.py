"""Scans of the colour target with known errors: any rotation and size, other things in the frame, noise, a cast."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
import tifffile

from .colorimetry import lab_to_linear_srgb, linear_srgb_to_lab
from .target import FRAME, PATCHES


@dataclass(frozen=True)
class TargetScan:
    """What was rendered: CIELAB D50 of the patches without noise (24, 3), and the noise added to L*."""

    lab: np.ndarray
    noise_sd_l: float


def _codes(lab: np.ndarray) -> np.ndarray:
    """sRGB codes (IEC 61966-2-1) of CIELAB D50, 16 bits."""
    linear = np.clip(np.asarray(lab_to_linear_srgb(lab), np.float64), 0, 1)
    encoded = np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)
    return np.rint(encoded * 65535).astype(np.uint16)


def render(
    path: Path,
    generator: np.random.Generator,
    *,
    share: float | None = None,
    degrees: float | None = None,
    error: float = 1.0,
    noise: float | None = None,
    frame: tuple[int, int] = (1000, 1400),
) -> TargetScan:
    """Write a 16-bit TIFF. ``share`` is the card's share of the frame; ``error`` scales the scanner's faults."""
    height, width = frame
    share = float(generator.uniform(0.05, 0.45)) if share is None else share
    degrees = float(generator.uniform(0, 360)) if degrees is None else degrees
    noise = float(generator.uniform(0.3, 3.0)) if noise is None else noise
    # faults: exposure and contrast (L*), a cast that grows with it, saturation
    lift, slope = generator.normal(0, 2.5) * error, 1 + generator.normal(0, 0.03) * error
    cast, saturation = generator.normal(0, 2, 2) * error, 1 + generator.normal(0, 0.04) * error
    names = [np.array(lab) for _, lab in PATCHES]

    def faulty(lab: np.ndarray) -> np.ndarray:
        changed = np.array([lab[0] * slope + lift, lab[1] * saturation + cast[0], lab[2] * saturation + cast[1]])
        held = np.clip(np.asarray(lab_to_linear_srgb(changed), np.float64), 0, 1)  # what sRGB can hold
        return np.asarray(linear_srgb_to_lab(held))

    patches = np.array([faulty(lab) for lab in names])
    step = float(np.sqrt(share * height * width / (6.2 * 4.2)))
    longest = np.hypot(6.2, 4.2) * step / 2
    if longest > min(height, width) / 2:  # a turned card must stay inside
        degrees = float(generator.choice([0.0, 180.0])) + float(generator.uniform(-3, 3))
        step = min(step, (width - 40) / 6.6, (height - 40) / 4.8)
        half = np.array([3.2 * step + 20, 2.2 * step + 20])
    else:
        half = np.array([longest, longest])
    middle = np.array([generator.uniform(h, s - h) for h, s in zip(half, (width, height), strict=True)])
    radians = np.deg2rad(degrees)
    turn = np.array([[np.cos(radians), -np.sin(radians)], [np.sin(radians), np.cos(radians)]])
    picture = np.empty((height, width, 3), np.float64)
    picture[:] = faulty(np.array([generator.uniform(40, 93), generator.normal(0, 3), generator.normal(4, 4)]))
    for _ in range(6):  # other things on the bed
        spot = (int(generator.integers(0, width)), int(generator.integers(0, height)))
        size = (int(generator.integers(40, 260)), int(generator.integers(40, 260)))
        colour = faulty(np.array([generator.uniform(20, 90), generator.normal(0, 20), generator.normal(0, 20)]))
        cv2.rectangle(picture, spot, (spot[0] + size[0], spot[1] + size[1]), colour.tolist(), -1)

    def quadrilateral(x: float, y: float, wide: float, high: float, colour: np.ndarray) -> None:
        corners = np.array([[x, y], [x + wide, y], [x + wide, y + high], [x, y + high]]) - (3.1, 2.1)
        cv2.fillConvexPoly(picture, np.rint((corners * step) @ turn.T + middle).astype(np.int32), colour.tolist())

    quadrilateral(0, 0, 6.2, 4.2, faulty(np.array(FRAME)))
    for index, lab in enumerate(patches):
        quadrilateral(0.17 + index % 6, 0.17 + index // 6, 0.86, 0.86, lab)
    picture = cv2.GaussianBlur(picture, (0, 0), 0.8)
    picture[..., 0] += generator.normal(0, noise, picture.shape[:2])
    tifffile.imwrite(path, _codes(picture), photometric="rgb", resolution=(300, 300), resolutionunit="INCH")
    return TargetScan(patches, noise)


def render_wedge(path: Path, degrees: float, lift: float = 0.0, step: int = 40) -> None:
    """A scan of the 20-step reflection scale, densities 0.05 to 1.95 (from memory), ``lift`` L* too light."""
    wide, high = 1300, 900
    turn = cv2.getRotationMatrix2D((wide / 2, high / 2), degrees, 1.0)
    lightness = np.full((high, wide), 70.0, np.float32)
    for index in range(20):
        corners = np.array([[index, 0], [index + 1, 0], [index + 1, 1.6], [index, 1.6]]) - (10, 0.8)
        placed = np.c_[corners * step + (wide / 2, high / 2), np.ones(4)] @ turn.T
        luminance = 10 ** -(0.05 + 0.1 * index)
        value = 116 * np.cbrt(luminance) - 16 if luminance > 0.008856 else 903.3 * luminance
        cv2.fillConvexPoly(lightness, np.rint(placed).astype(np.int32), float(value + lift))
    lightness = cv2.GaussianBlur(lightness, (0, 0), 0.8) + np.random.default_rng(1).normal(0, 0.5, lightness.shape)
    grey = np.stack([lightness, np.zeros_like(lightness), np.zeros_like(lightness)], axis=-1)
    tifffile.imwrite(path, _codes(grey), photometric="rgb", resolution=(300, 300), resolutionunit="INCH")
