"""Sheets on a scanner's glass, on a mount, on an album page; and where the picture then lies in the scan."""

from dataclasses import dataclass

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray
from scipy import ndimage

from .fields import Field, smooth
from .tone import Image

Points = NDArray[np.float64]
"""(n, 2), x and y in px; the centre of the first pixel is (0, 0)."""


@dataclass(frozen=True)
class Placing:
    """centre: of the sheet in px of the scan (x, y). degrees: turned clockwise as seen. shadow: how dark the shadow of
    its edge is (0..0.6); a mount or a curled print casts more than a flat one."""

    centre: tuple[float, float]
    degrees: float
    shadow: float = 0.25


def corners(shape: tuple[int, int], placing: Placing) -> Points:
    """Where the corner pixels lie in the scan: top left, top right, bottom right, bottom left."""
    half_w, half_h = (shape[1] - 1) / 2.0, (shape[0] - 1) / 2.0
    local = np.array([[-half_w, -half_h], [half_w, -half_h], [half_w, half_h], [-half_w, half_h]])
    return np.asarray(local @ _turn(placing.degrees).T + np.asarray(placing.centre))


def within(inner: tuple[int, int], offset: tuple[int, int], outer: Points, outer_shape: tuple[int, int]) -> Points:
    """Corners in the scan of a part of shape `inner` that starts at `offset` (x, y) of a sheet laid at `outer`."""
    x = np.array([0, inner[1] - 1, inner[1] - 1, 0], np.float64) + offset[0]
    y = np.array([0, 0, inner[0] - 1, inner[0] - 1], np.float64) + offset[1]
    along = (outer[1] - outer[0]) / (outer_shape[1] - 1)
    down = (outer[3] - outer[0]) / (outer_shape[0] - 1)
    return np.asarray(outer[0] + x[:, None] * along + y[:, None] * down)


def pad(picture: Image, top: int, right: int, bottom: int, left: int) -> Image:
    """A photograph with a border of pure white, which on paper is bare paper."""
    return np.pad(picture, ((top, bottom), (left, right), (0, 0)), constant_values=1.0)


def glass(rng: Generator, shape: tuple[int, int], lid: float = 0.82) -> Image:
    """What the scanner sees beside the sheet: its lid, nearly white and a little dirty; `lid` is its reflectance."""
    cloud = 1.0 + 0.006 * smooth(rng, shape, 200.0)
    return (lid * cloud[..., None] * np.array([1.0, 1.005, 0.99], np.float32)).astype(np.float32)


def black_card(rng: Generator, shape: tuple[int, int]) -> Image:
    """An album page of black card that has greyed and browned a little (reflectance about 6 %)."""
    fibre = 1.0 + 0.10 * smooth(rng, shape, 2.0) + 0.06 * smooth(rng, shape, 90.0)
    return (0.045 * np.clip(fibre, 0.5, 1.6)[..., None] * np.array([1.12, 1.0, 0.86], np.float32)).astype(np.float32)


def mount_board(rng: Generator, shape: tuple[int, int]) -> Image:
    """Cream mount board, darker towards its edges (reflectance about 60 %)."""
    cloud = 1.0 + 0.012 * smooth(rng, shape, 3.0) + 0.02 * smooth(rng, shape, 150.0)
    return (cloud[..., None] * np.array([0.66, 0.585, 0.43], np.float32)).astype(np.float32)


def cut_edges(rng: Generator, shape: tuple[int, int], wobble_px: float) -> Field:
    """Coverage (0..1) of a sheet cut out by hand: each side wanders by about `wobble_px` in a few straight snips."""
    rows, columns = np.mgrid[0 : shape[0], 0 : shape[1]].astype(np.float32)
    mask = np.ones(shape, np.float32)
    for side in range(4):
        along, inward = (
            (columns, rows),
            (rows, shape[1] - 1 - columns),
            (columns, shape[0] - 1 - rows),
            (rows, columns),
        )[side]
        length = shape[1] if side % 2 == 0 else shape[0]
        knots = np.sort(np.concatenate([[0.0], rng.uniform(0, length, 4), [float(length)]]))
        edge = np.interp(along.ravel(), knots, rng.uniform(0.5, 2.0, len(knots)) * wobble_px).reshape(shape)
        mask *= np.clip(inward - edge + 0.5, 0.0, 1.0)
    return mask


def lay(scene: Image, sheet: Image, placing: Placing, coverage: Field | None = None) -> Image:
    """The scene with the sheet lying on it, its edge casting a soft shadow to the lower right. Returns a new array."""
    whole = np.ones(sheet.shape[:2], np.float32) if coverage is None else coverage
    spots = corners((sheet.shape[0], sheet.shape[1]), placing)
    reach = 12
    x0, y0 = np.maximum(np.floor(spots.min(axis=0)).astype(int) - reach, 0)
    x1, y1 = np.minimum(np.ceil(spots.max(axis=0)).astype(int) + reach, [scene.shape[1], scene.shape[0]])
    # Output (row, column) -> sheet (row, column): the inverse turn, in row-column order.
    turn = _turn(-placing.degrees)[::-1, ::-1]
    centre = np.array([placing.centre[1] - y0, placing.centre[0] - x0])
    offset = (np.array(sheet.shape[:2]) - 1) / 2.0 - turn @ centre
    size = (int(y1 - y0), int(x1 - x0))

    def moved(plane: Field, mode: str) -> Field:
        # "grid-constant" lets the outermost pixel fade out over one pixel instead of ending in steps.
        return np.asarray(ndimage.affine_transform(plane, turn, offset, size, order=1, mode=mode), np.float32)

    alpha = moved(whole, "grid-constant")[..., None]
    colour = np.stack([moved(np.ascontiguousarray(sheet[..., c]), "nearest") for c in range(3)], axis=-1)
    cast = ndimage.gaussian_filter(np.roll(alpha[..., 0], (3, 2), (0, 1)), 3.0)[..., None]
    out = scene.copy()
    under = out[y0:y1, x0:x1] * (1.0 - placing.shadow * cast * (1.0 - alpha))
    out[y0:y1, x0:x1] = under * (1.0 - alpha) + colour * alpha
    return out


def _turn(degrees: float) -> NDArray[np.float64]:
    """Matrix that turns (x right, y down) clockwise as seen."""
    angle = np.deg2rad(degrees)
    return np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
