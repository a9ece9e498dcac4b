"""Linear light, sRGB codes and optical density, written from the standards and not from the program under test."""

import numpy as np
from numpy.typing import NDArray

Image = NDArray[np.float32]

DENSITY_CEILING = 3.2
"""Density at which reflectance is floored: less than a reflection scanner can tell from black."""


def decode_srgb(codes: NDArray[np.generic]) -> Image:
    """Linear light of sRGB codes in 0..1 (IEC 61966-2-1)."""
    c = np.asarray(codes, np.float32)
    linear = np.where(c <= 0.04045, c / 12.92, ((np.maximum(c, 0) + 0.055) / 1.055) ** 2.4)
    return linear.astype(np.float32)


def encode_srgb(linear: NDArray[np.generic]) -> Image:
    """sRGB codes in 0..1 of linear light (IEC 61966-2-1), clipped to the gamut."""
    v = np.clip(np.asarray(linear, np.float32), 0.0, 1.0)
    return np.where(v <= 0.0031308, 12.92 * v, 1.055 * v ** (1 / 2.4) - 0.055).astype(np.float32)


def from_codes8(codes: NDArray[np.uint8]) -> Image:
    """Linear light of an 8-bit sRGB picture; a grey one becomes three equal channels."""
    rgb = np.repeat(codes[..., None], 3, axis=2) if codes.ndim == 2 else codes[..., :3]
    return decode_srgb(rgb.astype(np.float32) / 255.0)


def to_codes8(linear: NDArray[np.generic]) -> NDArray[np.uint8]:
    """8-bit sRGB codes of linear light."""
    return np.round(encode_srgb(linear) * 255.0).astype(np.uint8)


def density(linear: NDArray[np.generic]) -> Image:
    """Optical density D = -log10(R), at most `DENSITY_CEILING`."""
    return -np.log10(np.clip(np.asarray(linear, np.float32), 10.0**-DENSITY_CEILING, None))


def reflectance(optical_density: NDArray[np.generic]) -> Image:
    """R = 10^-D."""
    return np.power(np.float32(10.0), -np.asarray(optical_density, np.float32)).astype(np.float32)


def luminance(linear: Image) -> Image:
    """Y of linear sRGB, shape (height, width) (IEC 61966-2-1, second row of the matrix to XYZ)."""
    return linear @ np.array([0.2126, 0.7152, 0.0722], np.float32)


def shoulder(above_base: Image, density_range: float, sharpness: float = 4.0) -> Image:
    """Paper shoulder: density above base is kept in the lights and saturates smoothly at `density_range`."""
    x = np.maximum(above_base, 0.0) / density_range
    return (density_range * (1.0 - np.exp(-(x**sharpness))) ** (1.0 / sharpness)).astype(np.float32)
