"""What the back of an original was written or stamped with: guesses, each with its confidence.

Graphite is grey and seldom dark; ink is dark or coloured and pales at its thin ends; ballpoint is blue (or red)
and even; a stamp is one colour in a compact block. Colours and habits are common practice, no source; the numbers
below were set on simulated hands and are only guesses about anything else.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from surrogate.condition import paper

Floats = npt.NDArray[np.float32]
Mask = npt.NDArray[np.bool_]

_STROKE = 0.07  # density above the paper; fibre and noise stay below half of it
_LEAST_SHARE = 0.0004  # of the sheet: one short word
_DARK = 0.5  # density above paper; pencil seldom gets there (simulated hands: 0.15 to 0.7 at the very darkest)
_COLOURED = 0.16  # chroma as a share of the stroke's own density

_NOTES = {
    "pencil": "Pencil does not fade, but rubs off: do not clean it.",
    "ink": "Writing ink can fade and run: keep it dark and dry.",
    "ballpoint": "Ballpoint can bleed and comes through to the picture in time: keep it cool and look at the front.",
    "stamp": "Stamp ink can run when damp and may come through.",
}


@dataclass(frozen=True)
class BackMark:
    """One way of marking that was seen: its kind, confidence 0-1, share of the sheet, and a word of care."""

    kind: str
    confidence: float
    area_fraction: float
    note: str


def marks(density: Floats) -> list[BackMark]:
    """Pencil, ink, ballpoint and stamps on the back, (H, W, 3) density; the surest first, none on a blank sheet."""
    above = density - paper.background(density)
    weight = above.mean(axis=2)
    strokes = cv2.medianBlur((weight > _STROKE).astype(np.uint8), 3) > 0
    if strokes.mean() < _LEAST_SHARE:
        return []
    near = cv2.dilate(strokes.astype(np.uint8), np.ones((15, 15), np.uint8))
    count, labels = cv2.connectedComponents(near)
    shares: dict[str, float] = {}
    sureness: dict[str, list[tuple[int, float]]] = {}
    for label in range(1, count):
        inside = strokes & (labels == label)
        size = int(inside.sum())
        if size < _LEAST_SHARE * strokes.size / 4:
            continue
        kind, sure = _guess(above[inside], weight[inside])
        shares[kind] = shares.get(kind, 0.0) + size / strokes.size
        sureness.setdefault(kind, []).append((size, sure))
    found = [
        BackMark(kind, round(_mean(sureness[kind]), 2), round(share, 5), _NOTES[kind]) for kind, share in shares.items()
    ]
    return sorted(found, key=lambda mark: (-mark.area_fraction, mark.kind))


def _mean(weighted: list[tuple[int, float]]) -> float:
    total = sum(size for size, _ in weighted)
    return sum(size * value for size, value in weighted) / total


def _guess(colour: Floats, weight: Floats) -> tuple[str, float]:
    """Kind of one piece of writing from the density of its strokes above the paper: (n, 3) and (n,)."""
    core = colour[weight >= np.percentile(weight, 60)]
    red, green, blue = (float(v) for v in np.median(core, axis=0))
    depth = (red + green + blue) / 3
    chroma = (max(red, green, blue) - min(red, green, blue)) / max(depth, 1e-3)
    if chroma < _COLOURED:
        if depth < _DARK:
            return "pencil", float(np.clip(0.55 + (_DARK - depth), 0.55, 0.9))
        return "ink", float(np.clip(0.5 + (depth - _DARK), 0.5, 0.8))
    if red > green > blue and chroma > 0.7 and depth > 0.3:
        return "ballpoint", 0.6  # blue ballpoint is purer than blue-black writing ink, which pales to brown
    if green > red and green > blue and chroma > 0.5:
        return "stamp", 0.5  # violet and red stamps; red pen looks the same
    return "ink", 0.65
