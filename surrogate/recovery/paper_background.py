"""Paper under ink: its slowly changing density, the mix of channels in which ink stands out, and what is ink.

Paper is lighter than ink, stain is yellow-brown and ink is not: those two facts do all the work here.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from surrogate.recovery.paper_strokes import LEAST_LETTERS, certainty, edge_of_strokes, most_letters, sorted_marks

Floats = npt.NDArray[np.float32]
Mask = npt.NDArray[np.bool_]

#: Yellowed paper, R, G, B density as shares of blue: lignin's absorption falls off roughly exponentially from blue
#: to red (from memory). Only a starting point; each page's own stain is measured where it has one.
STAIN = np.array([0.18, 0.45, 1.0])

#: Nodes along the long side of the fine field. 80 x 60 whole numbers of up to three digits make about 19 kB of JSON.
FINE_NODES = 80

#: Red density beyond the page's light paper from which a cell is a printed picture (shadows of folds reach 0.1).
PICTURE_RED = 0.15

#: Median absolute deviation to standard deviation of a normal distribution.
_MAD = 1.4826


@dataclass(frozen=True)
class Paper:
    """A page taken apart. ``mix`` turns R, G, B density into one value in which neutral ink keeps its density."""

    mix: npt.NDArray[np.float64]
    base: Floats  # (rows, columns) density of the paper in the mix, at the nodes of a grid over the frame
    residual: Floats  # (H, W) density above the paper, in the mix
    ink: Mask  # (H, W) what stands out as ink
    marks: Mask  # the same, a little wider: not bare paper
    spread: float  # standard deviation of bare paper in the residual
    ink_density: float  # density above paper of well-covered ink; 0 on a blank page
    letters: int  # letter-like marks found
    pictures: float = 0.0  # share of the page covered by printed pictures
    edge: float = 0.0  # density above paper at which the edge of strokes lies; 0 on a blank page
    broken: float = 0.0  # how far strokes are broken by the paper's tooth, 0 to 1: pencil


def grid_shape(height: int, width: int, nodes: int) -> tuple[int, int]:
    """(rows, columns) of a grid of nearly square cells with ``nodes`` along the long side, at least 2."""
    scale = nodes / max(height, width)
    return max(2, round(height * scale)), max(2, round(width * scale))


def masked_mean(values: Floats, keep: Mask, shape: tuple[int, int]) -> Floats:
    """Mean of the kept pixels in each cell of a grid; empty cells take theirs from a coarser grid.

    ``values`` (H, W) or (H, W, C); the result is ``shape`` with the same channels.
    """
    weight = keep.astype(np.float32)
    stacked = values if values.ndim == 3 else values[..., None]
    size = (shape[1], shape[0])
    share = cv2.resize(weight, size, interpolation=cv2.INTER_AREA)
    total = cv2.resize(np.ascontiguousarray(stacked * weight[..., None]), size, interpolation=cv2.INTER_AREA)
    total = total.reshape(*shape, stacked.shape[2])
    filled = _fill(total, share)
    return filled if values.ndim == 3 else filled[..., 0]


def _fill(total: Floats, share: Floats) -> Floats:
    """Cell means where a fifth of the cell or more was kept, else the mean of ever wider surroundings."""
    out = np.zeros_like(total)
    missing = np.ones(share.shape, dtype=bool)
    sigma = 0.0
    while missing.any():
        wide_total, wide_share = (total, share) if sigma == 0 else (soften(total, sigma), soften(share, sigma))
        found = missing & (wide_share > 0.2)
        out[found] = wide_total[found] / wide_share[found][:, None]
        missing &= ~found
        if sigma > max(share.shape):
            out[missing] = total.sum(axis=(0, 1)) / max(float(share.sum()), 1e-6)
            break
        sigma = 1.0 if sigma == 0 else sigma * 2
    return out


def soften(values: Floats, sigma: float) -> Floats:
    """Gaussian blur by ``sigma`` pixels, any number of channels."""
    blurred = cv2.GaussianBlur(values, (0, 0), sigma, borderType=cv2.BORDER_REPLICATE)
    return np.asarray(blurred).reshape(values.shape)


def spread_grid(grid: Floats, height: int, width: int) -> Floats:
    """A grid interpolated over the frame as the player does it."""
    return np.asarray(cv2.resize(grid, (width, height), interpolation=cv2.INTER_CUBIC))


def lights(density: Floats, nodes: int = 24) -> Floats:
    """First guess of the paper: the lightest quarter of each cell, smoothed; (rows, columns, C)."""
    height, width, channels = density.shape
    rows, columns = grid_shape(height, width, nodes)
    step = max(1, min(height // rows, width // columns) // 12)
    small = density[::step, ::step]
    out = np.empty((rows, columns, channels), dtype=np.float32)
    tops = np.linspace(0, small.shape[0], rows + 1).astype(int)
    lefts = np.linspace(0, small.shape[1], columns + 1).astype(int)
    for r in range(rows):
        for c in range(columns):
            cell = small[tops[r] : max(tops[r + 1], tops[r] + 1), lefts[c] : max(lefts[c + 1], lefts[c] + 1)]
            out[r, c] = np.percentile(cell.reshape(-1, channels), 35, axis=0)
    for channel in range(channels):
        out[..., channel] = cv2.medianBlur(np.ascontiguousarray(out[..., channel]), 5)
    return out


def _without_pictures(base: Floats) -> tuple[Floats, Mask]:
    """A first guess without printed pictures, and the cells that they cover.

    A halftone or a solid darkens a whole cell, in red as in blue; stain darkens red by a fifth of what it adds to blue.
    Such cells take their paper from around them. ``base`` (rows, columns, 3).
    """
    level = np.quantile(base.reshape(-1, 3), 0.25, axis=0)
    red, blue = base[..., 0] - level[0], base[..., 2] - level[2]
    picture = (red > PICTURE_RED) & (red > 0.6 * blue)
    if not picture.any() or picture.mean() > 0.6:
        return base, np.zeros(picture.shape, dtype=bool)
    picture = cv2.dilate(picture.astype(np.uint8), np.ones((3, 3), np.uint8)).astype(bool)
    keep = (~picture).astype(np.float32)
    around = _fill(np.asarray(base * keep[..., None], dtype=np.float32), keep)
    return np.where(picture[..., None], around, base).astype(np.float32), picture


def robust_spread(values: Floats) -> float:
    """Standard deviation by the median absolute deviation."""
    flat = values.ravel()
    flat = flat[:: max(1, flat.size // 200_000)]
    return float(_MAD * np.median(np.abs(flat - np.median(flat)))) if flat.size else 0.0


def ink_mix(above: Floats, ink: Mask, strokes: Mask, count: int) -> npt.NDArray[np.float64]:
    """Weights of R, G, B (sum 1) that show neutral ink with the least of paper, stain and noise in it.

    Fisher's direction: the inverse covariance of bare paper about its slow trend, times the colour of ink. Weights may
    be negative (blue is then used to take stain out of red) but not so much that noise doubles. ``above`` (H, W, 3)
    density above the paper; ``ink`` all dark marks; ``strokes`` the ``count`` of them that are letters and tell the
    ink's colour.
    """
    step = max(1, round((above.shape[0] * above.shape[1] / 200_000) ** 0.5))
    marks = cv2.dilate(ink.astype(np.uint8), np.ones((5, 5), np.uint8))[::step, ::step].astype(bool)
    bare = above[::step, ::step][~marks].astype(np.float64)
    if len(bare) < 100:
        bare = above.reshape(-1, 3)[::7].astype(np.float64)
    bare = bare - np.median(bare, axis=0)
    limit = 4 * _MAD * np.median(np.abs(bare), axis=0) + 1e-3
    bare = np.clip(bare, -4 * limit, 4 * limit)
    covariance = bare.T @ bare / len(bare) + np.diag([1e-5, 1e-5, 1e-5])
    covariance = covariance + 4e-4 * np.outer(STAIN, STAIN)
    colour = np.ones(3)
    if count > 0:
        found = np.median(above[strokes], axis=0).astype(np.float64)
        known = certainty(count)
        colour = (1 - known) * colour + known * np.clip(found / max(float(found.mean()), 1e-3), 0.6, 1.4)
    weights = np.linalg.solve(covariance, colour)
    weights = weights / weights.sum() if weights.sum() > 0 else np.full(3, 1 / 3)
    weights = np.clip(weights, -0.5, 1.5)
    return np.asarray(weights / weights.sum())


def take_apart(density: Floats) -> Paper:
    """Separate paper and ink of a page; ``density`` is (H, W, 3)."""
    height, width = density.shape[:2]
    first, picture = _without_pictures(lights(density))
    base3 = spread_grid(first, height, width)
    printed = cv2.resize(picture.astype(np.uint8), (width, height), interpolation=cv2.INTER_NEAREST).astype(bool)
    above = density - base3
    grey = np.asarray(above[..., :2].mean(axis=2), dtype=np.float32)
    # pictures have their own tones: what paper and ink are is learned outside them
    ink = (grey > max(0.06, 4 * robust_spread(grey[~printed]))) & ~printed
    strokes, count, stain = sorted_marks(ink, above)
    weights = ink_mix(above, ink | printed, strokes, count)
    mix = weights.astype(np.float32)
    mixed = np.asarray(density @ mix, dtype=np.float32)
    residual = np.asarray(above @ mix, dtype=np.float32)
    shape = grid_shape(height, width, FINE_NODES)
    # stain counts as paper at first, so that the base takes it up and what is written on it stands out afterwards
    excused = cv2.dilate(stain.astype(np.uint8), np.ones((5, 5), np.uint8)).astype(bool)
    for sigmas in (3.0, 2.5, 2.5):
        smooth = soften(residual, 0.8)
        ink = (smooth > max(0.02, sigmas * robust_spread(smooth[~printed]))) & ~excused
        wide = cv2.dilate(ink.astype(np.uint8), np.ones((3, 3), np.uint8)).astype(bool)
        wide |= printed
        base = soften(masked_mean(mixed, ~wide, shape), 0.7)
        residual = np.asarray(mixed - spread_grid(base, height, width), dtype=np.float32)
        excused = np.zeros_like(ink)
    bare = ~(ink | printed)
    spread = robust_spread(residual[bare] if bare.any() else residual)
    strength, found = _ink_strength(residual, ~printed, spread)
    edge, breaks = edge_of_strokes(residual, strength, spread) if strength > 0 else (0.0, 0.0)
    pictures = float(printed.mean())
    if pictures > 0:  # the tones of a printed picture are no strokes
        edge, breaks = 0.48 * strength, 0.0
    return Paper(weights, base, residual, ink, wide, spread, strength, found, pictures, edge, breaks)


def _ink_strength(residual: Floats, outside: Mask, spread: float) -> tuple[float, int]:
    """(density of fully covered ink, letter-like marks) after a light blur; (0, n) on a page without writing.

    Only what lies ``outside`` printed pictures counts. Bare paper and noise scatter to both sides and in no shape;
    ink only darkens, in strokes.
    """
    soft = soften(residual, 1.2)
    # never nearer than three of the steps that 8 bits show in light paper
    middle, step = float(np.median(soft[outside])), max(3.5 * robust_spread(soft[outside]), 0.012)
    found = most_letters(soft * outside, middle, step)
    strong = residual[(soft > middle + step) & outside]
    if found < LEAST_LETTERS or strong.size < 20:
        return 0.0, found
    floor = (8.0 - 5.5 * certainty(found)) * spread
    return max(float(np.percentile(strong, 92)), floor), found
