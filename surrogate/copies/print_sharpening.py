"""Output sharpening: gives back what ink and paper take away, and no more.

An unsharp mask on luma, the same for R, G and B so that no edge changes colour.
"""

from __future__ import annotations

import cv2
import numpy as np
import numpy.typing as npt

from surrogate.imaging.read import MM_PER_INCH
from surrogate.imaging.workspace import Workspace

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


def sharpened(pixels: npt.NDArray[np.uint16], radius: float, work: Workspace | None = None) -> npt.NDArray[np.uint8]:
    """Sharpen (H, W, 3) uint16 sRGB with a mask of ``radius`` px; the result is rounded to 8 bits.

    With ``work`` it lies in there, until the next call.
    """
    work = work or Workspace()
    shape = pixels.shape[:2]
    codes = work.array("luma codes", shape, np.uint16)
    luma, blurred = (work.array(name, shape, np.float32) for name in ("luma", "blurred"))
    detail = work.array("detail", pixels.shape, np.float32)
    out = work.array("sharpened", pixels.shape, np.uint8)
    np.copyto(luma, cv2.transform(pixels, _LUMA, dst=codes))
    size = 2 * halo_rows(radius) + 1
    cv2.GaussianBlur(luma, (size, size), radius, dst=blurred, borderType=cv2.BORDER_REPLICATE)
    cv2.addWeighted(luma, AMOUNT / 257, blurred, -AMOUNT / 257, 0.0, dst=luma)
    cv2.merge([luma, luma, luma], dst=detail)
    cv2.addWeighted(pixels, 1 / 257, detail, 1.0, 0.0, dst=out, dtype=cv2.CV_8U)
    return out


def to_8_bits(pixels: npt.NDArray[np.uint16], work: Workspace | None = None) -> npt.NDArray[np.uint8]:
    """Round 16-bit codes to the nearest 8-bit code; with ``work`` they lie in there, until the next call."""
    out = (work or Workspace()).array("8 bits", pixels.shape, np.uint8)
    return np.asarray(cv2.convertScaleAbs(pixels, dst=out, alpha=1 / 257), dtype=np.uint8)
