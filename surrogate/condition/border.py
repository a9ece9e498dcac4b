"""The white border of a print: the one place where the paper shows without dye."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float32]

#: Long edge of the picture the border is looked for in, px: noise averages out, a 2 mm border still spans lines.
WORK_PX = 288

#: Density by which a pixel leaves the border: above paper texture and noise at the working size (measured on
#: simulated scans: 99 % of border pixels stay within 0.03), below the thinnest picture tone worth telling apart.
STEP = 0.045

#: Part of a side's lines at which the picture must begin at one straight edge. A blown sky begins anywhere.
STRAIGHT = 0.6
#: The same where one side alone shows a border.
STRAIGHT_ALONE = 0.85

#: Widest border looked for, as a part of the print's edge.
WIDEST = 0.22

SIDES = ("top", "bottom", "left", "right")


@dataclass(frozen=True)
class Border:
    """A white border.

    ``sides``: where it is; ``density``: its R, G, B density (median); ``inner``: top, bottom, left, right of the
    picture inside it in pixels of the array searched (bottom and right exclusive); ``spread``: largest standard
    deviation of the three densities over the border (robust), a measure of how far to trust it.
    """

    sides: tuple[str, ...]
    density: tuple[float, float, float]
    inner: tuple[int, int, int, int]
    spread: float


@dataclass(frozen=True)
class _Strip:
    """One side's border at the working size: first line, lines wide, straightness, and its pixels (n, 3)."""

    start: int
    width: int
    straight: float
    pixels: Floats


def find(density: Floats) -> Border | None:
    """The border of one print, or None. ``density`` is (H, W, 3) float32 R, G, B density of the print alone.

    A border is even, lies at the edge (behind at most a sliver of what surrounded the print), is as light as anything
    in the picture in every channel, and ends in a straight line.
    """
    height, width = density.shape[:2]
    scale = min(1.0, WORK_PX / max(height, width))
    size = (max(8, round(width * scale)), max(8, round(height * scale)))
    small = np.asarray(cv2.resize(density, size, interpolation=cv2.INTER_AREA), dtype=np.float32)
    strips = {name: _strip(_from_side(small, name)) for name in SIDES}
    found = {name: strip for name, strip in strips.items() if strip is not None}
    if not found:
        return None
    lightest = min((np.median(s.pixels, axis=0) for s in found.values()), key=lambda d: float(d.sum()))
    found = {n: s for n, s in found.items() if np.abs(np.median(s.pixels, axis=0) - lightest).max() < STEP}
    if len(found) == 1 and next(iter(found.values())).straight < STRAIGHT_ALONE:
        return None
    cut = {n: (s.start + s.width + 1) if (s := found.get(n)) else 0 for n in SIDES}
    inside = small[cut["top"] : size[1] - cut["bottom"], cut["left"] : size[0] - cut["right"]]
    pixels = np.concatenate([s.pixels for s in found.values()])
    level = np.median(pixels, axis=0)
    if inside.size == 0 or not _is_white(level, inside):
        return None
    inner = (
        round(cut["top"] / scale),
        height - round(cut["bottom"] / scale),
        round(cut["left"] / scale),
        width - round(cut["right"] / scale),
    )
    spread = 1.4826 * np.median(np.abs(pixels - level), axis=0).max()
    return Border(tuple(found), (float(level[0]), float(level[1]), float(level[2])), inner, float(spread))


def _from_side(small: Floats, side: str) -> Floats:
    """The picture turned so that ``side`` is its first rows."""
    match side:
        case "top":
            return small
        case "bottom":
            return small[::-1]
        case "left":
            return small.transpose(1, 0, 2)
        case _:
            return small[:, ::-1].transpose(1, 0, 2)


def _strip(turned: Floats) -> _Strip | None:
    """The border along the first rows of ``turned`` (H, W, 3), or None."""
    lines, columns = turned.shape[:2]
    trim = max(1, round(0.04 * columns))
    deep = turned[: max(4, round(WIDEST * lines)), trim:-trim]
    low, middle, high = np.percentile(deep[: max(3, round(0.05 * lines))], (20, 50, 80), axis=1)
    even = np.flatnonzero((high - low).max(axis=1) < STEP)
    if even.size == 0:
        return None
    start = int(even[0])
    reference = middle[start : start + 2].mean(axis=0)
    left = np.abs(deep[start:] - reference).max(axis=2) > STEP
    first = np.where(left.any(axis=0), left.argmax(axis=0), left.shape[0])
    width = int(np.median(first))
    if width < max(2, round(0.008 * lines)) or width >= left.shape[0] - 1:
        return None
    slack = 1.5 + 0.006 * columns
    straight = float((np.abs(first - width) <= slack).mean())
    if straight < STRAIGHT:
        return None
    last = max(1, int(np.floor(width - slack / 2)))
    pixels = deep[start : start + last][:, :: max(1, columns // 96)].reshape(-1, 3)
    return _Strip(start, int(np.percentile(first[np.abs(first - width) <= slack], 90)), straight, pixels)


def _is_white(level: npt.NDArray[np.float64], inside: Floats) -> bool:
    """True if hardly anything inside is lighter than the border in any channel."""
    lightest = np.percentile(inside[::2, ::2].reshape(-1, 3), 2, axis=0)
    return bool((level < lightest + 0.03).all() and level.mean() < 0.75)
