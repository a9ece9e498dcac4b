"""Smooth random fields over a sheet: where damp, gas and light happened to reach."""

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray
from scipy import ndimage
from scipy.interpolate import make_interp_spline
from scipy.special import erfc

Field = NDArray[np.float32]


def smooth(rng: Generator, shape: tuple[int, int], scale_px: float) -> Field:
    """Gaussian random field of mean 0 and standard deviation 1, correlated over about `scale_px`.

    Drawn on a coarse grid and enlarged, so the cost does not grow with the scale.
    """
    step = scale_px / 2.0
    if step <= 1.0:
        fine = ndimage.gaussian_filter(rng.standard_normal(shape, dtype=np.float32), scale_px / 2.0)
        return np.asarray((fine - fine.mean()) / (fine.std() + 1e-9), np.float32)
    coarse = rng.standard_normal((int(shape[0] / step) + 4, int(shape[1] / step) + 4))
    coarse = ndimage.gaussian_filter(coarse, scale_px / step / 2.0, mode="reflect")
    rows = np.linspace(1.0, coarse.shape[0] - 2.0, shape[0])
    columns = np.linspace(1.0, coarse.shape[1] - 2.0, shape[1])
    field = enlarge(coarse, rows, columns)
    return np.asarray((field - field.mean()) / (field.std() + 1e-9), np.float32)


def enlarge(coarse: NDArray[np.floating], rows: NDArray[np.float64], columns: NDArray[np.float64]) -> Field:
    """Cubic-spline values of a coarse grid at fractional `rows` and `columns` (one axis after the other: quick)."""
    tall = make_interp_spline(np.arange(coarse.shape[0]), coarse, k=3, axis=0)(rows)
    return np.asarray(make_interp_spline(np.arange(coarse.shape[1]), tall, k=3, axis=1)(columns), np.float32)


def edge_distance(shape: tuple[int, int]) -> Field:
    """Distance in px of every pixel to the nearest edge of the sheet."""
    rows = np.minimum(np.arange(shape[0]), np.arange(shape[0])[::-1])
    columns = np.minimum(np.arange(shape[1]), np.arange(shape[1])[::-1])
    return np.minimum(rows[:, None], columns[None, :]).astype(np.float32)


def edge_attack(rng: Generator, shape: tuple[int, int], reach_px: float, unevenness: float = 0.35) -> Field:
    """1 at the edges and towards 0 inside: gas that diffuses between stacked sheets (error-function profile).

    `unevenness` makes the reach differ along the edge by that share (standard deviation).
    """
    reach = reach_px * np.exp(unevenness * smooth(rng, shape, max(shape) / 3.0))
    # Diffusion into a half-space from a constant source: c = erfc(x / 2 sqrt(Dt)); Crank 1975, eq. 2.45.
    return np.asarray(erfc(edge_distance(shape) / np.maximum(reach, 1.0)), np.float32)


def spots(rng: Generator, shape: tuple[int, int], count: int, radius_px: tuple[float, float]) -> Field:
    """Soft spots of peak 0.3..1 at random places: foxing. `radius_px` gives the least and the greatest radius."""
    field = np.zeros(shape, np.float32)
    for _ in range(count):
        y, x = rng.uniform(0, shape[0]), rng.uniform(0, shape[1])
        radius, peak = float(np.exp(rng.uniform(*np.log(radius_px)))), float(rng.uniform(0.3, 1.0))
        r0, r1 = int(max(y - 4 * radius, 0)), int(min(y + 4 * radius + 1, shape[0]))
        c0, c1 = int(max(x - 4 * radius, 0)), int(min(x + 4 * radius + 1, shape[1]))
        if r0 >= r1 or c0 >= c1:
            continue
        dy, dx = np.mgrid[r0:r1, c0:c1].astype(np.float32)
        bump = peak * np.exp(-(((dy - y) ** 2 + (dx - x) ** 2) / (2 * radius**2)))
        field[r0:r1, c0:c1] = np.maximum(field[r0:r1, c0:c1], bump)
    return field


def tide(rng: Generator, shape: tuple[int, int], depth_px: float, width_px: float) -> tuple[Field, Field]:
    """Water that crept in from one side: (1 where it was wet, line of washed-out matter where it stopped)."""
    side = int(rng.integers(4))
    rows, columns = np.mgrid[0 : shape[0], 0 : shape[1]].astype(np.float32)
    inward = (rows, shape[1] - 1 - columns, shape[0] - 1 - rows, columns)[side]
    front = depth_px * (1.0 + 0.35 * smooth(rng, shape, depth_px * 1.2)) - inward
    wet = 1.0 / (1.0 + np.exp(-np.clip(front / width_px, -30, 30)))
    # The line is sharp outside and trails off on the wet side.
    line = np.where(front >= 0, np.exp(-front / (4 * width_px)), np.exp(-((front / width_px) ** 2)))
    return wet.astype(np.float32), line.astype(np.float32)
