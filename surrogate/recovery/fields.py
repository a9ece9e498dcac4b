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
    """Densities at the nodes of a grid over a picture: (rows, columns, 3), or (rows, columns) times ``share``."""

    values: npt.NDArray[np.float32]
    share: Triple | None = None


@dataclass(frozen=True)
class Through:
    """What shines through, to be subtracted, and the paper (rows, columns, 3) below which that leads nowhere."""

    field: Nodes
    paper: Nodes


def nodes_of(field: Grid | Plane) -> Nodes:
    """What a step of a recipe holds."""
    if isinstance(field, Grid):
        return Nodes(np.array(field.values, dtype=np.float32))
    return Nodes(level_nodes(field.levels, field.unit), field.share)


def node_values(nodes: Nodes, height: int, width: int) -> npt.NDArray[np.float32]:
    """The densities of a field over a picture, (height, width, 3) float32."""
    wide = cv2.resize(nodes.values, (width, height), interpolation=cv2.INTER_CUBIC)
    return np.asarray(wide if nodes.share is None else wide[..., None] * np.array(nodes.share, dtype=np.float32))


def without(density: npt.NDArray[np.float32], through: Through) -> npt.NDArray[np.float32]:
    """Density (H, W, 3) less what shines through. Paper stays paper: nothing gets lighter than it, or darker."""
    height, width = density.shape[:2]
    less = density - node_values(through.field, height, width)
    return np.asarray(np.maximum(less, np.minimum(density, node_values(through.paper, height, width))), np.float32)


def level_nodes(levels: list[list[int]], unit: float) -> npt.NDArray[np.float32]:
    """Densities (rows, columns) that are written as whole numbers of a unit."""
    return np.array(levels, dtype=np.float32) * np.float32(unit)


class FieldRows:
    """A field over a picture of ``height`` by ``width``, row by row as :func:`node_values` gives them all.

    Bicubic interpolation is separable, so the columns are widened once and each output row is mixed from four rows of
    nodes with the weights that ``cv2.resize`` uses (Keys kernel, a = -0.75; edges replicated).
    """

    def __init__(self, field: Nodes, height: int, width: int, unit: float, zero: float = 0.0) -> None:
        """``unit`` is what the densities above ``zero`` are multiplied by."""
        nodes = (field.values - np.float32(zero)) * np.float32(unit)
        wide = cv2.resize(nodes, (width, nodes.shape[0]), interpolation=cv2.INTER_CUBIC)
        self._rows = np.ascontiguousarray(wide).reshape(nodes.shape[0], -1)
        self._share = None if field.share is None else np.array(field.share, dtype=np.float32)
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
