"""Plays a recipe's steps on pixels, in strips, with the same result for any strip height.

Density is carried as 16-bit codes of 1/8192 density, so that each step is one pass of a look-up table or a
3x3 transform. The error against float64 is at most 0.6 of an 8-bit code.
"""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np
import numpy.typing as npt

from surrogate.imaging.density import Pixels, density_table, linear_to_srgb
from surrogate.recovery.recipe import Curves, Grid, Matrix, Plane, Step

#: Strips keep the working set inside the processor's cache; measured best between 128 and 512 rows.
STRIP_ROWS = 256

#: Densities from -2 to +6 fit 16 bits in steps of 1/8192; what goes beyond, between steps too, stays at the end.
LOWEST = -2.0
STEPS_PER_DENSITY = 8192.0


def curve_values(knots: Sequence[tuple[float, float]], density: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """Piecewise-linear curve through ``knots``, end segments continued; any shape in, same shape out."""
    xs = np.array([k[0] for k in knots], dtype=np.float64)
    ys = np.array([k[1] for k in knots], dtype=np.float64)
    inside = np.interp(density, xs, ys)
    low = ys[0] + (density - xs[0]) * (ys[1] - ys[0]) / (xs[1] - xs[0])
    high = ys[-1] + (density - xs[-1]) * (ys[-1] - ys[-2]) / (xs[-1] - xs[-2])
    return np.where(density < xs[0], low, np.where(density > xs[-1], high, inside))


def field_values(field: Grid | Plane, height: int, width: int) -> npt.NDArray[np.float32]:
    """The density that a field subtracts, at (height, width, 3) float32."""
    wide = cv2.resize(_nodes(field), (width, height), interpolation=cv2.INTER_CUBIC)
    return np.asarray(wide if isinstance(field, Grid) else wide[..., None] * _share(field))


def _nodes(field: Grid | Plane) -> npt.NDArray[np.float32]:
    """Densities at the nodes: (rows, columns, 3) of a grid, (rows, columns) of a plane."""
    if isinstance(field, Grid):
        return np.array(field.values, dtype=np.float32)
    return np.array(field.levels, dtype=np.float32) * np.float32(field.unit)


def _share(field: Plane) -> npt.NDArray[np.float32]:
    return np.array(field.share, dtype=np.float32)


def play_density(steps: Sequence[Step], density: npt.NDArray[np.float32]) -> npt.NDArray[np.float32]:
    """Apply steps to a small density image (H, W, 3), exactly (no tables)."""
    out = np.asarray(density, dtype=np.float64)
    for step in steps:
        match step:
            case Curves():
                channels = [curve_values(k, out[..., i]) for i, k in enumerate((step.red, step.green, step.blue))]
                out = np.stack(channels, axis=-1)
            case Matrix():
                out = out @ np.array(step.matrix).T + np.array(step.offset)
            case Grid() | Plane():
                out = out - field_values(step, out.shape[0], out.shape[1])
    return out.astype(np.float32)


def play(steps: Sequence[Step], pixels: Pixels, bits: int = 8) -> Pixels:
    """Apply steps to sRGB pixels.

    ``pixels`` is (H, W, 3) uint8 or uint16 and is not changed; the result is (H, W, 3) sRGB of 8 or 16
    ``bits``.
    """
    player = Player(steps, 8 * pixels.dtype.itemsize, bits, pixels.shape[0], pixels.shape[1])
    out = np.empty(pixels.shape, dtype=np.uint8 if bits == 8 else np.uint16)
    for top in range(0, pixels.shape[0], STRIP_ROWS):
        out[top : top + STRIP_ROWS] = player.strip(pixels[top : top + STRIP_ROWS], top)
    return out


class Player:
    """Steps compiled into tables and matrices for one picture size, to be played strip by strip."""

    def __init__(self, steps: Sequence[Step], bits_in: int, bits_out: int, height: int, width: int) -> None:
        first = np.repeat(density_table(bits_in).astype(np.float64)[:, None], 3, axis=1)
        self._rows = height
        self._width = width
        rest = list(steps)
        if rest and isinstance(rest[0], Curves):
            first = _through(rest[0], first)
            rest = rest[1:]
        self._first = _as_table(first)
        self._ops = [_compile(step) for step in rest]
        top = (1 << bits_out) - 1
        encoded = np.rint(linear_to_srgb(10.0**-_ALL_DENSITIES) * top)
        self._last = encoded.astype(np.uint8) if bits_out == 8 else encoded.astype(np.uint16)

    def strip(self, pixels: Pixels, top: int) -> Pixels:
        """The rows from ``top`` on."""
        codes = cv2.LUT(np.ascontiguousarray(pixels), self._first)
        for op in self._ops:
            if isinstance(op, Grid | Plane):
                field = _field_strip(op, self._rows, self._width, top, codes.shape[0])
                codes = cv2.subtract(codes, field * np.float32(STEPS_PER_DENSITY), dtype=cv2.CV_16U)
            elif op.ndim == 2:
                codes = _mixed(codes, np.asarray(op, dtype=np.float64))
            else:
                codes = cv2.LUT(codes, op)
        out: Pixels = cv2.LUT(codes, self._last)
        return out


def _mixed(codes: npt.NDArray[np.uint16], matrix: npt.NDArray[np.float64]) -> npt.NDArray[np.uint16]:
    """``cv2.transform`` with the same result for a pixel wherever it lies.

    OpenCV rounds the last few pixels of an array, those that do not fill a vector register, by another path; 64
    pixels that nobody keeps are put there so that a strip's height changes nothing.
    """
    height, width = codes.shape[:2]
    padded = np.empty((height * width + 64, 1, 3), dtype=np.uint16)
    padded[: height * width, 0] = codes.reshape(-1, 3)
    padded[height * width :] = 0
    mixed: npt.NDArray[np.uint16] = cv2.transform(padded, matrix)
    return mixed[: height * width].reshape(height, width, 3)


#: The density that each 16-bit code stands for.
_ALL_DENSITIES = np.arange(65536, dtype=np.float64) / STEPS_PER_DENSITY + LOWEST


def _compile(step: Step) -> npt.NDArray[np.float64] | npt.NDArray[np.uint16] | Grid | Plane:
    """A step as what OpenCV needs: a 3x4 matrix or a table over codes; a field stays as it is."""
    match step:
        case Grid() | Plane():
            return step
        case Matrix():
            matrix = np.array(step.matrix)
            # codes are affine in density, so the offset absorbs the zero point of the code scale
            offset = (np.array(step.offset) + matrix.sum(axis=1) * LOWEST - LOWEST) * STEPS_PER_DENSITY
            return np.hstack([matrix, offset[:, None]])
        case Curves():
            return _as_table(_through(step, np.repeat(_ALL_DENSITIES[:, None], 3, axis=1)))


def _through(step: Curves, columns: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """The three curves applied to the three columns of a table."""
    knots = (step.red, step.green, step.blue)
    return np.stack([curve_values(k, columns[:, i]) for i, k in enumerate(knots)], axis=1)


def _as_table(density: npt.NDArray[np.float64]) -> npt.NDArray[np.uint16]:
    """Densities (N, 3) as an OpenCV look-up table of 16-bit codes, (N, 1, 3)."""
    codes = np.clip(np.rint((density - LOWEST) * STEPS_PER_DENSITY), 0, 65535)
    return np.ascontiguousarray(codes[:, None, :], dtype=np.uint16)


def _field_strip(field: Grid | Plane, rows: int, width: int, top: int, height: int) -> npt.NDArray[np.float32]:
    """Rows ``top`` to ``top + height`` of the field, interpolated as if the whole frame were.

    Bicubic interpolation is separable, so the columns are widened first and each output row is mixed from
    four grid rows with the weights that ``cv2.resize`` uses (Keys kernel, a = -0.75; edges replicated).
    """
    small = _nodes(field)
    wide = cv2.resize(small, (width, small.shape[0]), interpolation=cv2.INTER_CUBIC)
    centre = (np.arange(top, top + height) + 0.5) * small.shape[0] / rows - 0.5
    base = np.floor(centre).astype(int)
    t = centre - base
    taps = np.stack([_keys(t + 1), _keys(t), _keys(1 - t), _keys(2 - t)]).astype(np.float32)
    index = np.clip(np.stack([base - 1, base, base + 1, base + 2]), 0, small.shape[0] - 1)
    out = np.zeros((height, *wide.shape[1:]), dtype=np.float32)
    for weight, row in zip(taps, index, strict=True):
        out += weight.reshape(-1, *[1] * (wide.ndim - 1)) * wide[row]
    return out if isinstance(field, Grid) else out[..., None] * _share(field)


def _keys(distance: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """Cubic convolution kernel (Keys 1981) with a = -0.75, as OpenCV uses; distance in grid cells, >= 0."""
    a = -0.75
    near = ((a + 2) * distance - (a + 3)) * distance * distance + 1
    far = ((a * distance - 5 * a) * distance + 8 * a) * distance - 4 * a
    return np.where(distance <= 1, near, np.where(distance < 2, far, 0.0))
