"""Two scans of one print: as its master was made, and later by another scanner, faded or stained in between.

The print is made of dyes (`colour_print.py`, Beer-Lambert over 31 wavelengths), so a loss is a loss of dye amount. What
a scanner does to colours is drawn for each pair: exposure, contrast, tone curve, channels that mix, flare, uneven lamp.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path

import cv2
import numpy as np
import tifffile
from skimage.color import deltaE_ciede2000

from .colorimetry import linear_srgb_to_lab
from .colour_print import ColourPrint, print_of, sample
from .target import card
from .tone import decode_srgb, density, encode_srgb, reflectance

MM_PER_INCH = 25.4
MASTER_PPI = 600


@dataclass(frozen=True)
class OtherScanner:
    """How one scanner's colours differ from another's: an assumption about profiled scanners, not a measurement.

    exposure: density added; slope: factor on density (common to the channels 2 %, own 1 %, standard deviations);
    bend: density added in the middle of the scale; mix: channels into each other, whites kept; flare: share of stray
    light; dyes: factor on density that dyes see and the pigments of a colour target do not (metamerism, 0.4 %).
    """

    exposure: np.ndarray
    slope: np.ndarray
    bend: np.ndarray
    mix: np.ndarray
    flare: float
    dyes: np.ndarray

    def sees(self, linear: np.ndarray, *, dyes: bool) -> np.ndarray:
        """Linear picture (..., 3) of the one scanner as the other delivers it."""
        mixed = np.asarray(linear, np.float32) @ self.mix.T.astype(np.float32)
        d = -np.log10(np.maximum(mixed, np.float32(1e-3)))
        factor = (self.slope * (self.dyes if dyes else 1.0)).astype(np.float32)
        bend = self.bend.astype(np.float32) * d * np.maximum(2.0 - d, np.float32(0))
        changed = d * factor + self.exposure.astype(np.float32) + bend
        return np.asarray(reflectance(changed) * np.float32(1 - self.flare) + np.float32(self.flare))


def draw_scanner(generator: np.random.Generator) -> OtherScanner:
    """Another scanner: profile errors of about CIEDE2000 1 to 3."""
    mix = np.eye(3) + generator.normal(0, 0.012, (3, 3))
    mix += np.diag(1 - mix.sum(axis=1))
    return OtherScanner(
        exposure=generator.normal(0, 0.015) + generator.normal(0, 0.008, 3),
        slope=1 + generator.normal(0, 0.02) + generator.normal(0, 0.01, 3),
        bend=np.full(3, generator.normal(0, 0.01)) + generator.normal(0, 0.004, 3),
        mix=mix,
        flare=float(generator.uniform(0, 0.003)),
        dyes=1 + generator.normal(0, 0.004, 3),
    )


def printed(photo: np.ndarray, generator: np.random.Generator) -> ColourPrint:
    """A print that had mildly faded when its master was made."""
    return replace(sample(generator, "mild"), light_dose=(0.0, 0.0, 0.0), unevenness=0.0, coupler=0.0)


def sheet(
    photo: np.ndarray,
    original: ColourPrint,
    long_mm: float,
    *,
    border_mm: float,
    kept: tuple[float, ...],
    seed: int = 0,
) -> np.ndarray:
    """Density (H, W, 3) of the print at the master's resolution; ``kept``: share of each dye left since the master.

    The same ``seed`` gives the same grain and paper.
    """
    share = tuple(one * more for one, more in zip(original.dark_share, kept, strict=True))
    faded = replace(original, dark_share=share)  # type: ignore[arg-type]
    _, now = print_of(decode_srgb(photo.astype(np.float32) / 255.0), faded)
    px_per_mm = MASTER_PPI / MM_PER_INCH
    scale = (long_mm - 2 * border_mm) * px_per_mm / max(photo.shape[:2])
    large = cv2.resize(density(now), None, fx=scale, fy=scale, interpolation=cv2.INTER_CUBIC)
    paper = density(print_of(np.ones((1, 1, 3), np.float32), faded)[1])[0, 0]
    edge = round(border_mm * px_per_mm)
    framed = cv2.copyMakeBorder(large, edge, edge, edge, edge, cv2.BORDER_CONSTANT, value=paper.tolist())
    return np.maximum(framed * _texture(framed.shape[:2], seed), 0.0).astype(np.float32)


@lru_cache(maxsize=2)
def _texture(shape: tuple[int, int], seed: int) -> np.ndarray:
    """Grain and paper as a factor on density (H, W, 1), about 1: at two sizes, 1.2 % each."""
    generator = np.random.default_rng(seed)
    texture = np.zeros(shape, np.float32)
    for size in (0.8, 2.0):
        noise = cv2.GaussianBlur(generator.standard_normal(shape, dtype=np.float32), (0, 0), size)
        texture += noise / noise.std()
    return (1 + 0.012 * texture)[..., None].astype(np.float32)


def stain(
    now: np.ndarray, generator: np.random.Generator, wide_mm: float, delta_e: float
) -> tuple[np.ndarray, tuple[float, float]]:
    """A brown spot of mean CIEDE2000 ``delta_e`` over its disc, anywhere. Returns the print and the middle in mm."""
    px_per_mm = MASTER_PPI / MM_PER_INCH
    radius = wide_mm * px_per_mm / 2
    reach = int(radius * 1.5)
    height, width = now.shape[:2]
    x = int(generator.integers(reach, width - reach))
    y = int(generator.integers(reach, height - reach))
    away = np.hypot(*np.mgrid[-reach : reach + 1, -reach : reach + 1])
    spot = (1 / (1 + np.exp((away - radius) / (radius / 10))))[..., None] * np.array([0.15, 0.4, 1.0])
    tile = now[y - reach : y + reach + 1, x - reach : x + reach + 1]
    inside = away <= radius
    before = linear_srgb_to_lab(reflectance(tile[inside]))
    low, high = 0.0, 3.0
    for _ in range(20):
        middle = (low + high) / 2
        after = linear_srgb_to_lab(reflectance(tile[inside] + middle * spot[inside]))
        low, high = (middle, high) if deltaE_ciede2000(before, after).mean() < delta_e else (low, middle)
    spotted = now.copy()
    spotted[y - reach : y + reach + 1, x - reach : x + reach + 1] += (high * spot).astype(np.float32)
    return spotted, (x / px_per_mm, y / px_per_mm)


def first_scan(original: np.ndarray, path: Path, generator: np.random.Generator) -> None:
    """The master: 600 ppi, 8 bits, a little blur and noise."""
    light = cv2.GaussianBlur(reflectance(original), (0, 0), 0.8)
    _save(light, path, generator, ppi=MASTER_PPI, bits=8)


def second_scan(
    original: np.ndarray,
    path: Path,
    generator: np.random.Generator,
    scanner: OtherScanner,
    *,
    ppi: int = 300,
    turn: int = 0,
    bits: int = 16,
) -> np.ndarray:
    """The later scan: turned by up to 2 degrees (and quarters), stretched by 0.1 %, on a bed, uneven lamp.

    Returns the affine (2, 3) from the master's pixels to this scan's.
    """
    height, width = original.shape[:2]
    scale = ppi / MASTER_PPI
    radians = np.deg2rad(float(generator.uniform(-2, 2)) + 90 * turn)
    across, along = np.abs(np.cos(radians)), np.abs(np.sin(radians))
    side = tuple(int(scale * (one * across + other * along)) + 50 for one, other in ((width, height), (height, width)))
    turned = np.array([[np.cos(radians), -np.sin(radians)], [np.sin(radians), np.cos(radians)]])
    turned = np.diag(1 + generator.normal(0, 0.001, 2)) @ turned * scale
    middle = np.array(side) / 2 + generator.uniform(-10, 10, 2)
    matrix = np.c_[turned, middle - turned @ np.array([(width - 1) / 2, (height - 1) / 2])]
    light = cv2.GaussianBlur(reflectance(original), (0, 0), 0.45 / scale)
    bed = (float(generator.uniform(0.4, 0.9)),) * 3
    laid = cv2.warpAffine(light, matrix, side, flags=cv2.INTER_LINEAR, borderValue=bed)
    seen = scanner.sees(laid, dyes=True)
    v, u = np.mgrid[-1 : 1 : side[1] * 1j, -1 : 1 : side[0] * 1j].astype(np.float32)
    lamp = generator.normal(0, 0.004, 2)
    seen *= (1 + lamp[0] * u + lamp[1] * v - abs(generator.normal(0, 0.006)) * u**2)[..., None].astype(np.float32)
    seen = cv2.GaussianBlur(seen, (0, 0), float(generator.uniform(0.4, 0.8)))
    _save(seen, path, generator, ppi=ppi, bits=bits)
    return matrix


def scan_of_card(path: Path, generator: np.random.Generator, scanner: OtherScanner | None) -> None:
    """The colour target on the same scanner (None: the one that made the master)."""
    laid = cv2.copyMakeBorder(card(60, 10), 120, 120, 120, 120, cv2.BORDER_CONSTANT, value=(0.5, 0.5, 0.5))
    light = np.clip(laid, 0.0, 1.0) if scanner is None else scanner.sees(np.clip(laid, 0.0, 1.0), dyes=False)
    _save(cv2.GaussianBlur(light, (0, 0), 0.8), path, generator, ppi=300, bits=16)


def _save(light: np.ndarray, path: Path, generator: np.random.Generator, *, ppi: int, bits: int) -> None:
    noise = generator.standard_normal(light.shape, dtype=np.float32)
    noise *= np.sqrt(np.float32(0.0008**2) + np.float32(0.005**2) * np.abs(light))
    codes = np.rint(encode_srgb(light + noise) * ((1 << bits) - 1)).astype(np.uint8 if bits == 8 else np.uint16)
    tifffile.imwrite(path, codes, photometric="rgb", resolution=(ppi, ppi), resolutionunit="INCH")
