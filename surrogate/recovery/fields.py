"""Low-resolution density fields, widened to the rows of a picture."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from surrogate.imaging.workspace import Workspace
from surrogate.records import Triple
from surrogate.recovery.recipe import Grid, Plane


@dataclass(frozen=True)
class Nodes:
    """A field of one colour that was computed for this picture: ``values`` (rows, columns) times ``share`` of it."""

    values: npt.NDArray[np.float32]
    share: Triple


def field_values(field: Grid | Plane | Nodes, height: int, width: int) -> npt.NDArray[np.float32]:
    """The density that a field subtracts, at (height, width, 3) float32."""
    wide = cv2.resize(_nodes(field), (width, height), interpolation=cv2.INTER_CUBIC)
    return np.asarray(wide if isinstance(field, Grid) else wide[..., None] * _share(field))


def level_nodes(levels: list[list[int]], unit: float) -> npt.NDArray[np.float32]:
    """Densities (rows, columns) that are written as whole numbers of a unit."""
    return np.array(levels, dtype=np.float32) * np.float32(unit)


def _nodes(field: Grid | Plane | Nodes) -> npt.NDArray[np.float32]:
    """Densities at the nodes: (rows, columns, 3) of a grid, (rows, columns) of the others."""
    if isinstance(field, Nodes):
        return field.values
    if isinstance(field, Grid):
        return np.array(field.values, dtype=np.float32)
    return level_nodes(field.levels, field.unit)


def _share(field: Plane | Nodes) -> npt.NDArray[np.float32]:
    return np.array(field.share, dtype=np.float32)


class FieldRows:
    """A field over a picture of ``height`` by ``width``, row by row as :func:`field_values` gives them all.

    Bicubic interpolation is separable, so the columns are widened once and each output row is mixed from four rows of
    nodes with the weights that ``cv2.resize`` uses (Keys kernel, a = -0.75; edges replicated).
    """

    def __init__(self, field: Grid | Plane | Nodes, height: int, width: int, unit: float) -> None:
        """``unit`` is what the densities are multiplied by."""
        nodes = _nodes(field) * np.float32(unit)
        wide = cv2.resize(nodes, (width, nodes.shape[0]), interpolation=cv2.INTER_CUBIC)
        self._rows = np.ascontiguousarray(wide).reshape(nodes.shape[0], -1)
        self._share = None if isinstance(field, Grid) else _share(field)
        self._width = width
        centre = (np.arange(height) + 0.5) * nodes.shape[0] / height - 0.5
        self._above = np.floor(centre).astype(int)
        t = centre - self._above
        self._taps = np.stack([_keys(t + 1), _keys(t), _keys(1 - t), _keys(2 - t)]).astype(np.float32)

    def write(self, top: int, out: npt.NDArray[np.float32], work: Workspace) -> None:
        """Fill ``out``, (rows, width, 3) float32, with the field of the rows from ``top`` on."""
        rows = out.shape[0]
        if self._share is None:
            self._mix(top, out.reshape(rows, -1), work)
            return
        plane = work.array("plane", (rows, self._width), np.float32)
        self._mix(top, plane, work)
        channels = work.array("channels", (3, rows, self._width), np.float32)
        cv2.merge([np.multiply(plane, share, out=channels[i]) for i, share in enumerate(self._share)], dst=out)

    def _mix(self, top: int, out: npt.NDArray[np.float32], work: Workspace) -> None:
        """Rows from ``top`` on, (rows, row length), each of four rows of nodes."""
        one = work.array("one tap", out.shape, np.float32)
        above = self._above[top : top + out.shape[0]]
        first = 0
        while first < len(above):
            after = int(np.searchsorted(above, above[first], side="right"))  # rows between the same nodes
            taps = self._taps[:, top + first : top + after, None]
            nodes = self._rows.take(range(int(above[first]) - 1, int(above[first]) + 3), axis=0, mode="clip")
            np.multiply(taps[0], nodes[0], out=out[first:after])
            for tap, node in zip(taps[1:], nodes[1:], strict=True):
                np.multiply(tap, node, out=one[first:after])
                np.add(out[first:after], one[first:after], out=out[first:after])
            first = after


def _keys(distance: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """Cubic convolution kernel (Keys 1981) with a = -0.75, as OpenCV uses; distance in grid cells, >= 0."""
    a = -0.75
    near = ((a + 2) * distance - (a + 3)) * distance * distance + 1
    far = ((a * distance - 5 * a) * distance + 8 * a) * distance - 4 * a
    return np.where(distance <= 1, near, np.where(distance < 2, far, 0.0))
