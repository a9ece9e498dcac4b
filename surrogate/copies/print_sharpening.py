"""Output sharpening: gives back what ink and paper take away, and no more.

An unsharp mask on luma, the same for R, G and B so that no edge changes colour.
"""

from __future__ import annotations

import cv2
import numpy as np
import numpy.typing as npt

from surrogate.imaging.read import MM_PER_INCH

#: Standard deviation of the mask on paper: one pixel at 300 ppi.
RADIUS_MM = MM_PER_INCH / 300

#: Share of the mask that is added. Ink that spreads with a standard deviation of 0.035 mm (common practice, no source)
#: leaves 0.93 of the contrast of lines at 0.3 of the finest frequency of a 300 ppi print and 0.81 at 0.5; this amount
#: makes them 1.11 and 1.23 on the file (tests/benchmarks/quality_prints.py).
AMOUNT = 0.3

#: Coarser prints show single pixels already: sharpening would only draw them harder.
COARSEST_PPI = 180.0

#: Rows that a strip needs beyond its own: four standard deviations.
HALO_SIGMAS = 4

#: Rec. ITU-R BT.709 luma.
_LUMA = np.array([[0.2126, 0.7152, 0.0722]], dtype=np.float32)


def radius_px(print_ppi: float) -> float | None:
    """Standard deviation of the mask in print pixels; None where a print is too coarse to gain from it."""
    if print_ppi < COARSEST_PPI:
        return None
    return round(RADIUS_MM / MM_PER_INCH * print_ppi, 3)


def halo_rows(radius: float) -> int:
    """Rows above and below that a strip needs to come out as the whole picture would."""
    return int(np.ceil(HALO_SIGMAS * radius))


def sharpened(pixels: npt.NDArray[np.uint16], radius: float) -> npt.NDArray[np.uint8]:
    """Sharpen (H, W, 3) uint16 sRGB with a mask of ``radius`` px; the result is rounded to 8 bits."""
    luma = cv2.transform(pixels, _LUMA).astype(np.float32)
    size = 2 * halo_rows(radius) + 1
    blurred = cv2.GaussianBlur(luma, (size, size), radius, borderType=cv2.BORDER_REPLICATE)
    detail = (luma - blurred) * np.float32(AMOUNT / 257)
    out = cv2.addWeighted(pixels, 1 / 257, cv2.merge([detail, detail, detail]), 1.0, 0.0, dtype=cv2.CV_8U)
    return np.asarray(out, dtype=np.uint8)


def to_8_bits(pixels: npt.NDArray[np.uint16]) -> npt.NDArray[np.uint8]:
    """Round 16-bit codes to the nearest 8-bit code."""
    return np.asarray(cv2.convertScaleAbs(pixels, alpha=1 / 257), dtype=np.uint8)
