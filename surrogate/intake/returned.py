"""A contact sheet that came back from relatives, known by the code on it."""

from __future__ import annotations

import numpy as np
import zxingcpp

from surrogate.imaging.density import Pixels
from surrogate.sheets import qr

_QR = zxingcpp.BarcodeFormats(zxingcpp.BarcodeFormat.QRCode)


def numbers_on(pixels: Pixels) -> tuple[str, ...]:
    """The numbers of the pictures on a scanned contact sheet, (H, W) or (H, W, 3) uint8 or uint16, any way up.

    Empty for every other scan. Finding that out takes 2 to 5 ms for a scan of 2048 px (measured on the sample scans).
    """
    grey = pixels if pixels.ndim == 2 else pixels[..., 1]
    eight = np.ascontiguousarray(grey if grey.dtype == np.uint8 else grey >> 8, dtype=np.uint8)
    for code in zxingcpp.read_barcodes(eight, formats=_QR, try_invert=False):
        numbers = qr.numbers_in(code.text)
        if numbers:
            return numbers
    return ()
