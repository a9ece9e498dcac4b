"""Who is where on the front of an original: text in the caption sheet's column ``faces``, IPTC image regions in copies.

The text is ``NAME @ X Y R; NAME @ X Y R``: the centre as shares of the upright scan's width and height, and the radius
as a share of its width. It speaks of the scan, so that it stays true when the outline of the original or the turn of
its copies changes. "?" is somebody unknown.

Source: IPTC Photo Metadata Standard 2023.1, Image Region and Region Boundary (circle, relative), from memory; the
field names are those that ExifTool knows, whose reading back is the test.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from surrogate.records import Record

_SHARE = r"(0?\.\d+|[01](?:\.0+)?)"
_MARK = re.compile(rf"(.*?)\s*@\s*{_SHARE}\s+{_SHARE}\s+{_SHARE}")

Corners = Sequence[tuple[float, float]]


class Face(Record):
    """One person's place: centre (x, y) and radius r as shares of a picture's width, height and width."""

    name: str
    x: float
    y: float
    r: float


def read(text: str) -> list[Face]:
    """The faces that a cell holds; what is not one is left out.

    >>> read("Ada Quill @ 0.25 0.5 0.04; ? @ 0.75 0.5 0.04; nonsense")[0].x
    0.25
    """
    found = (_MARK.fullmatch(part.strip()) for part in text.split(";"))
    return [Face(name=m[1], x=float(m[2]), y=float(m[3]), r=float(m[4])) for m in found if m is not None]


def written(faces: Sequence[Face]) -> str:
    """Faces as the cell that holds them."""
    return "; ".join(f"{face.name} @ {face.x:.4f} {face.y:.4f} {face.r:.4f}" for face in faces)


def on_copy(faces: Sequence[Face], width: int, height: int, turn: int, outline: Corners | None) -> list[Face]:
    """Faces on a scan of ``width`` by ``height`` pixels as they lie on a copy that was turned (degrees clockwise) and
    cut out along ``outline`` (corners in pixels after turning); those that the copy does not show are left out.
    """
    moved = _turned(faces, width, height, turn)
    size = (height, width) if turn in {90, 270} else (width, height)
    if outline is not None:
        moved = _through(moved, _to_square(outline, size), _stretch(outline, size))
    return [face for face in moved if 0 <= face.x <= 1 and 0 <= face.y <= 1]


def on_scan(faces: Sequence[Face], width: int, height: int, turn: int, outline: Corners | None) -> list[Face]:
    """The inverse of :func:`on_copy`."""
    size = (height, width) if turn in {90, 270} else (width, height)
    moved = list(faces)
    if outline is not None:
        moved = _through(moved, _inverse(_to_square(outline, size)), 1 / _stretch(outline, size))
    return _turned(moved, *size, (360 - turn) % 360)


def _turned(faces: Sequence[Face], width: int, height: int, turn: int) -> list[Face]:
    radius = width / height if turn in {90, 270} else 1.0
    ways = {
        0: lambda x, y: (x, y),
        90: lambda x, y: (1 - y, x),
        180: lambda x, y: (1 - x, 1 - y),
        270: lambda x, y: (y, 1 - x),
    }
    return [_face(face.name, *ways[turn](face.x, face.y), face.r * radius) for face in faces]


def _through(faces: Sequence[Face], matrix: npt.NDArray[np.float64], stretch: float) -> list[Face]:
    """Faces through a projective map of relative positions; a circle stays one, larger by ``stretch``."""
    out = []
    for face in faces:
        x, y, w = matrix @ np.array([face.x, face.y, 1.0])
        out.append(_face(face.name, float(x / w), float(y / w), face.r * stretch))
    return out


def _face(name: str, x: float, y: float, r: float) -> Face:
    return Face(name=name, x=round(x, 4), y=round(y, 4), r=round(r, 4))


def _to_square(outline: Corners, size: tuple[int, int]) -> npt.NDArray[np.float64]:
    """The projective map (3, 3) of an outline's relative corners to those of the unit square."""
    rows, right = [], []
    for (px, py), (u, v) in zip(outline, ((0, 0), (1, 0), (1, 1), (0, 1)), strict=True):
        x, y = px / size[0], py / size[1]
        rows += [[x, y, 1, 0, 0, 0, -u * x, -u * y], [0, 0, 0, x, y, 1, -v * x, -v * y]]
        right += [u, v]
    solved = np.linalg.solve(np.array(rows, np.float64), np.array(right, np.float64))
    return np.append(solved, 1.0).reshape(3, 3)


def _inverse(matrix: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    return np.asarray(np.linalg.inv(matrix), dtype=np.float64)


def _stretch(outline: Corners, size: tuple[int, int]) -> float:
    """Width of the scan over width of what lies inside the outline."""
    (ax, ay), (bx, by), (cx, cy), (dx, dy) = outline
    return 2 * size[0] / (math.hypot(bx - ax, by - ay) + math.hypot(cx - dx, cy - dy))
