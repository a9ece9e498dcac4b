"""The condition picture: the original as scanned, with its marks outlined and numbered for a person to check."""

from __future__ import annotations

import cv2
import numpy as np
import numpy.typing as npt

from surrogate.records import Stain

Bytes = npt.NDArray[np.uint8]

#: Outline and halo: a red that no paper has, on a white halo so that it shows on darks and in a black-and-white print.
_LINE, _HALO = (200, 0, 40), (255, 255, 255)


def draw(rgb: Bytes, stain: Stain, mask: Bytes | None) -> Bytes:
    """The picture (H, W, 3) uint8 with every region outlined and numbered from 1, in the order of ``stain.regions``.

    ``mask`` is the label picture of :func:`surrogate.condition.stain.measure` (value i = region i, 0 = none), at any
    size of the same shape; without one the picture comes back as it was.
    """
    drawn = np.ascontiguousarray(rgb.copy())
    if mask is None or not stain.regions:
        return drawn
    height, width = drawn.shape[:2]
    labels = cv2.resize(mask, (width, height), interpolation=cv2.INTER_NEAREST)
    unit = max(1, round(max(height, width) / 1000))
    for number in range(1, len(stain.regions) + 1):
        region = np.asarray(labels == number, np.uint8)
        outlines, _ = cv2.findContours(region, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
        if not outlines:
            continue
        cv2.drawContours(drawn, outlines, -1, _HALO, 3 * unit, cv2.LINE_AA)
        cv2.drawContours(drawn, outlines, -1, _LINE, unit, cv2.LINE_AA)
        _write(drawn, str(number), max(outlines, key=cv2.contourArea), unit)
    return drawn


def _write(drawn: Bytes, text: str, outline: npt.NDArray[np.int32], unit: int) -> None:
    """Set a number beside the top left of an outline, kept inside the picture."""
    font, scale = cv2.FONT_HERSHEY_SIMPLEX, 0.65 * unit
    (text_width, text_height), _ = cv2.getTextSize(text, font, scale, 2 * unit)
    x, y, _, _ = cv2.boundingRect(outline)
    left = int(np.clip(x, 2 * unit, max(2 * unit, drawn.shape[1] - text_width - 2 * unit)))
    baseline = y - 5 * unit if y - 5 * unit - text_height > 0 else y + text_height + 6 * unit
    baseline = int(np.clip(baseline, text_height + unit, drawn.shape[0] - 2 * unit))
    cv2.putText(drawn, text, (left, baseline), font, scale, _HALO, 5 * unit, cv2.LINE_AA)
    cv2.putText(drawn, text, (left, baseline), font, scale, _LINE, 2 * unit, cv2.LINE_AA)
