"""Paper: its colour and yellowness, browning from the edges, and what the back was written with.

Paper is what is lighter than everything printed on it, so it is found cell by cell as a low quantile of
density. Wood pulp yellows by its lignin: density grows most in blue, less in green, hardly in red, and most
where air and light reach it, at the edges. Sheets stored since 1997 at the Dutch National Archives read a
yellowness near 19 inside and 30 to 38 in a border about 20 mm wide (art-innovation.nl, "Paper Yellowing").
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from surrogate.condition import colorimetry
from surrogate.records import PAPER_KINDS, Kind, Triple

Floats = npt.NDArray[np.float32]
Mask = npt.NDArray[np.bool_]

_CELLS = 32  # cells along the long side; a cell then spans 5 to 10 lines of type on a letter page
_ENOUGH_PIXELS = 250_000  # medians of colour change by less than 0.001 D from there on (1 MP letter pages)
_QUANTILE = 0.25  # a cell of text is at most half ink; its lighter quarter is paper
_NEAR_PAPER = (
    0.07  # density: three times the noise of a 2-star scan (FADGI 2016: sigma L* 3 is 0.03 to 0.04 D at L* 85)
)
_LEAST_SHARE = 0.02  # of the sheet; less than this is a highlight rather than paper
_LIGHTEST, _DARKEST = 0.0, 0.75  # luminance densities that paper can have, kraft and blackened newsprint included
_BORDER_WIDTH_SHARE = 0.12  # of the short side: 20 mm of a 170 mm column


@dataclass(frozen=True)
class Paper:
    """What a sheet's bare base looks like.

    base_density: R, G, B density of the bare base, or None where none is seen. share: of the sheet that is bare.
    edge_browning: blue density that the outer border has more than the middle (None: not measurable).
    lignin: 0-1, how much the browning looks like wood-pulp paper's. note: in words, for people.
    """

    base_density: Triple | None
    base_lab: Triple | None
    yellowness: float | None
    share: float
    edge_browning: float | None
    lignin: float
    note: str


def neutral(density: Floats) -> Floats:
    """Luminance-like density (H, W): weights of linear-light luminance (IEC 61966-2-1) put on density."""
    return np.asarray(cv2.transform(density, np.array([[0.2126, 0.7152, 0.0722]], np.float32)), np.float32)


def background(density: Floats, cells: int = _CELLS) -> Floats:
    """Paper density under the print: (H, W, C) float32, a low quantile per cell, smoothed and enlarged."""
    height, width = density.shape[:2]
    size = max(4, round(max(height, width) / cells))
    rows, columns = max(1, height // size), max(1, width // size)
    grid = np.empty((rows, columns, density.shape[2]), np.float32)
    edges_y = np.linspace(0, height, rows + 1).astype(int)
    edges_x = np.linspace(0, width, columns + 1).astype(int)
    for i in range(rows):
        for j in range(columns):
            cell = density[edges_y[i] : edges_y[i + 1] : 2, edges_x[j] : edges_x[j + 1] : 2]
            flat = cell.reshape(-1, density.shape[2])
            position = int(_QUANTILE * (len(flat) - 1))
            grid[i, j] = np.partition(flat, position, axis=0)[position]
    if min(rows, columns) >= 3:
        grid = np.dstack([cv2.medianBlur(np.ascontiguousarray(grid[..., c]), 3) for c in range(grid.shape[2])])
    return np.asarray(cv2.resize(grid, (width, height), interpolation=cv2.INTER_LINEAR), np.float32).reshape(
        density.shape
    )


def bare(density: Floats, field: Floats | None = None) -> Mask:
    """Pixels (H, W) that show bare paper, given the paper field of :func:`background`."""
    under = neutral(background(density) if field is None else field)
    tone = neutral(density)
    return np.asarray((np.abs(tone - under) < _NEAR_PAPER) & (under < _DARKEST))


def measure(density: Floats, kind: Kind, base_density: Triple | None = None) -> Paper:
    """Colour of the base of one original.

    ``density`` is (H, W, 3), straightened and without its surround. ``base_density`` is a base known from
    elsewhere (a white border); then only its colour is worked out. Photographs without one have no base that
    is surely bare.
    """
    if base_density is not None:
        return _described(base_density, 0.0, None, 0.0, "from the white border or margin")
    if kind not in PAPER_KINDS:
        return _described(None, 0.0, None, 0.0, "no bare base is seen")
    step = max(1, round((density.shape[0] * density.shape[1] / _ENOUGH_PIXELS) ** 0.5))
    density = density[::step, ::step]
    field = background(density)
    mask = bare(density, field)
    share = float(mask.mean())
    if share < _LEAST_SHARE:
        return _described(None, share, None, 0.0, "too little bare paper is seen")
    edge = _edge_mask(density.shape[:2])
    inner = mask & ~edge if float((mask & ~edge).mean()) >= _LEAST_SHARE / 2 else mask
    base = np.median(density[inner], axis=0)
    browning, lignin = _browning(density, mask, edge)
    return _described(colorimetry.triple(base, 4), share, browning, lignin, "from bare paper inside the sheet")


def _edge_mask(shape: tuple[int, ...]) -> Mask:
    """The outer border, where air and light reached the sheet."""
    border = max(1, round(_BORDER_WIDTH_SHARE * min(shape)))
    edge = np.ones(shape, bool)
    edge[border : shape[0] - border, border : shape[1] - border] = False
    return edge


def _browning(density: Floats, mask: Mask, edge: Mask) -> tuple[float | None, float]:
    """(blue density of the border above the middle, likeness to lignin's browning 0-1)."""
    outer, inner = mask & edge, mask & ~edge
    if min(outer.sum(), inner.sum()) < 200:
        return None, 0.0
    rise = np.median(density[outer], axis=0) - np.median(density[inner], axis=0)
    red, green, blue = (float(v) for v in rise)
    # Lignin's colour falls off roughly exponentially from blue to red (common practice, no source): blue >
    # green > red.
    ordered = blue > green > red
    strength = float(np.clip((blue - red) / 0.08, 0.0, 1.0))  # 0.08 D is the rise from YI 19 to about 32
    return round(blue, 4), round(strength if ordered else 0.0, 2)


def _described(base: Triple | None, share: float, browning: float | None, lignin: float, source: str) -> Paper:
    """Put colour and words to a base."""
    if base is None:
        return Paper(None, None, None, round(share, 4), None, 0.0, f"Paper colour is not measurable: {source}.")
    index = round(colorimetry.yellowness(colorimetry.xyz(base)), 2)
    words = [f"Yellowness index {index:.0f} (ASTM E313), {source}."]
    if browning is not None and lignin >= 0.5:
        words.append(
            f"The edges are browner than the middle (blue density +{browning:.2f}), as wood-pulp paper becomes: "
            "keep it dark and away from better paper."
        )
    lab = colorimetry.triple(colorimetry.lab(base), 2)
    return Paper(base, lab, index, round(share, 4), browning, lignin, " ".join(words))
