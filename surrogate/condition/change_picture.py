"""A picture people can look at: before, now, and the difference with its scale."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np

from surrogate.collection.files import replace_if_changed
from surrogate.condition.change_marks import Mark
from surrogate.imaging.density import Floats, to_srgb

#: Long edge (px) of each of the three pictures.
_PANEL_PX = 900

_GAP, _FOOT = 16, 60
_INK, _FONT = (40, 40, 40), cv2.FONT_HERSHEY_SIMPLEX

#: CIEDE2000 at which the difference is drawn black.
_BLACK = 10


def draw(path: Path, before: Floats, now: Floats, differences: Floats, marks: list[Mark]) -> None:
    """Write a JPEG: before, now and the difference (white none, black ten) side by side, new marks framed."""
    factor = min(1.0, _PANEL_PX / max(before.shape))
    size = (round(before.shape[1] * factor), round(before.shape[0] * factor))
    one, other, apart = (cv2.resize(p, size, interpolation=cv2.INTER_AREA) for p in (before, now, differences))
    shade = np.clip(255 - apart * (255 / _BLACK), 0, 255).astype(np.uint8)
    panels = [to_srgb(one, 8), to_srgb(other, 8), np.dstack([shade] * 3)]
    for mark in marks:
        x, y, wide, high = (round(value * factor) for value in mark.box_px)
        for panel in panels[1:]:
            cv2.rectangle(panel, (x - 6, y - 6), (x + wide + 6, y + high + 6), (200, 60, 0), 2, cv2.LINE_AA)
    gap = np.full((size[1], _GAP, 3), 255, np.uint8)
    row = np.hstack([panels[0], gap, panels[1], gap, panels[2]])
    foot = np.full((_FOOT, row.shape[1], 3), 255, np.uint8)
    starts = [number * (size[0] + _GAP) for number in range(3)]
    for start, word in zip(starts, ("Before", "Now", "Difference"), strict=True):
        cv2.putText(foot, word, (start + 4, 24), _FONT, 0.6, _INK, 1, cv2.LINE_AA)
    ramp = np.linspace(255, 0, 200).astype(np.uint8)
    foot[34:46, starts[2] + 40 : starts[2] + 240] = ramp[None, : max(0, row.shape[1] - starts[2] - 40), None]
    for start, word in ((22, "0"), (248, f"{_BLACK} CIEDE2000")):
        cv2.putText(foot, word, (starts[2] + start, 46), _FONT, 0.45, _INK, 1, cv2.LINE_AA)
    ok, data = cv2.imencode(".jpg", np.vstack([row, foot])[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, 88])
    if ok:
        replace_if_changed(path, data.tobytes())
