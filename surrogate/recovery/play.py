"""Plays a recipe's steps on pixels, in strips, with the same result for any strip height.

Density is carried as 16-bit codes of 1/8192 density, so that each step is one pass of a look-up table or a
3x3 transform. The error against float64 is at most 0.6 of an 8-bit code.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from surrogate.imaging.density import Pixels, density_table, linear_to_srgb
from surrogate.imaging.workspace import Workspace
from surrogate.recovery.fields import FieldRows, Through, node_values, nodes_of, without
from surrogate.recovery.recipe import Curves, Grid, Matrix, Plane

#: What can be played: the steps of a recipe, with the other side of a leaf as what was computed from its scan.
Playable = Curves | Matrix | Grid | Plane | Through

#: Pixels played at a time: what they need, 24 bytes each, stays in a processor's second cache; measured best between
#: 16,384 and 65,536 on prints of 2400 and 7200 pixels a row.
BLOCK_PIXELS = 32768

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


def play_density(steps: Sequence[Playable], density: npt.NDArray[np.float32]) -> npt.NDArray[np.float32]:
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
                out = out - node_values(nodes_of(step), out.shape[0], out.shape[1])
            case Through():
                out = without(np.asarray(out, dtype=np.float32), step).astype(np.float64)
    return out.astype(np.float32)


def play(steps: Sequence[Playable], pixels: Pixels, bits: int = 8) -> Pixels:
    """Apply steps to sRGB pixels.

    ``pixels`` is (H, W, 3) uint8 or uint16 and is not changed; the result is (H, W, 3) sRGB of 8 or 16
    ``bits``.
    """
    out: Pixels = np.empty(pixels.shape, dtype=np.uint8 if bits == 8 else np.uint16)
    Player(steps, 8 * pixels.dtype.itemsize, bits, pixels.shape[0], pixels.shape[1]).rows(pixels, 0, out)
    return out


class Player:
    """Steps compiled into tables and matrices for one picture size, to be played on any of its rows."""

    def __init__(self, steps: Sequence[Playable], bits_in: int, bits_out: int, height: int, width: int) -> None:
        first = np.repeat(density_table(bits_in).astype(np.float64)[:, None], 3, axis=1)
        rest = list(steps)
        if rest and isinstance(rest[0], Curves):
            first = _through(rest[0], first)
            rest = rest[1:]
        self._first = _as_table(first)
        self._ops = [_compile(step, height, width) for step in rest]
        top = (1 << bits_out) - 1
        encoded = np.rint(linear_to_srgb(10.0**-_ALL_DENSITIES) * top)
        self._last = encoded.astype(np.uint8) if bits_out == 8 else encoded.astype(np.uint16)
        self._block = max(1, BLOCK_PIXELS // width)
        self._work = Workspace()

    def rows(self, pixels: Pixels, top: int, out: Pixels) -> None:
        """Play the picture's rows from ``top`` on, (rows, width, 3), into ``out``: contiguous, of the depth wanted."""
        for first in range(0, pixels.shape[0], self._block):
            after = first + self._block
            self._play(pixels[first:after], top + first, out[first:after])

    def _play(self, pixels: Pixels, top: int, out: Pixels) -> None:
        """One block of rows; the codes change places between two arrays."""
        codes, other = (_Codes(name, pixels.shape, self._work) for name in ("codes", "other"))
        cv2.LUT(np.ascontiguousarray(pixels), self._first, dst=codes.rows)
        for op in self._ops:
            if isinstance(op, FieldRows):
                field = self._work.array("field", pixels.shape, np.float32)
                op.write(top, field, self._work)
                cv2.subtract(codes.rows, field, dst=codes.rows, dtype=cv2.CV_16U)
            elif isinstance(op, _ThroughRows):
                field = self._work.array("field", pixels.shape, np.float32)
                op.field.write(top, field, self._work)
                cv2.subtract(codes.rows, field, dst=other.rows, dtype=cv2.CV_16U)
                op.paper.write(top, field, self._work)
                lowest = self._work.array("lowest", pixels.shape, np.uint16)
                cv2.multiply(field, 1.0, dst=lowest, dtype=cv2.CV_16U)
                cv2.min(codes.rows, lowest, dst=lowest)
                cv2.max(other.rows, lowest, dst=other.rows)
                codes, other = other, codes
            elif op.ndim == 2:
                cv2.transform(codes.padded, op, dst=other.padded)
                codes, other = other, codes
            else:
                cv2.LUT(codes.rows, op, dst=other.rows)
                codes, other = other, codes
        cv2.LUT(codes.rows, self._last, dst=out)


class _Codes:
    """Density codes of a block, (rows, width, 3) uint16, and the same as a list of pixels that is 64 pixels longer.

    OpenCV's transform rounds the last few pixels of an array, those that do not fill a vector register, by another
    path; the pixels that nobody keeps are there so that a block's height changes nothing.
    """

    def __init__(self, name: str, shape: tuple[int, ...], work: Workspace) -> None:
        pixels = shape[0] * shape[1]
        self.padded: npt.NDArray[np.uint16] = work.array(name, (pixels + 64, 1, 3), np.uint16)
        self.rows = self.padded[:pixels].reshape(shape)


#: The density that each 16-bit code stands for.
_ALL_DENSITIES = np.arange(65536, dtype=np.float64) / STEPS_PER_DENSITY + LOWEST


@dataclass(frozen=True)
class _ThroughRows:
    field: FieldRows
    paper: FieldRows


def _compile(
    step: Playable, height: int, width: int
) -> npt.NDArray[np.float64] | npt.NDArray[np.uint16] | FieldRows | _ThroughRows:
    """A step as what OpenCV needs: a 3x4 matrix, a table over codes, or the rows of fields in codes."""
    match step:
        case Grid() | Plane():
            return FieldRows(nodes_of(step), height, width, STEPS_PER_DENSITY)
        case Through():
            field = FieldRows(step.field, height, width, STEPS_PER_DENSITY)
            return _ThroughRows(field, FieldRows(step.paper, height, width, STEPS_PER_DENSITY, LOWEST))
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
