"""Putting an original in front of the scanner, and keeping what it looked like when new."""

import zlib
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.random import Generator

from . import negative, scanner
from .sheet import Placing, Points, corners, cut_edges, glass, lay, within
from .tone import Image


@dataclass(frozen=True)
class Truth:
    """How a part of a scan looked when new.

    part: empty for the only one, else a, b, c, d. unfaded: linear sRGB (height, width, 3), not clipped. quad: where its
    corner pixels lie in the scan as shown (after the orientation tag), px, shape (4, 2): top left, top right, bottom
    right, bottom left.
    """

    part: str
    unfaded: Image
    quad: Points


@dataclass(frozen=True)
class Scan:
    """light: what the scanner delivered, linear sRGB 0..1 (wider for the wide-gamut one)."""

    light: Image
    truths: tuple[Truth, ...]


Scene = Callable[[Generator], Scan]


def generator(name: str) -> Generator:
    """The random numbers of one scan: fixed by its name, so that adding a scan changes no other."""
    return np.random.default_rng([1936, zlib.crc32(name.encode())])


def on_glass(rng: Generator, size: tuple[int, int], fresh: Image, now: Image, degrees: float) -> Scan:
    """One sheet on the glass of `size` (width, height), a little off the middle and turned."""
    middle = np.array([size[0] / 2, size[1] / 2]) + rng.uniform(-12, 12, 2)
    placing = Placing((float(middle[0]), float(middle[1])), degrees)
    scene = lay(glass(rng, (size[1], size[0])), now, placing)
    return scanned(rng, scene, (Truth("", fresh, corners(shape_of(now), placing)),))


def whole(rng: Generator, fresh: Image, now: Image) -> Scan:
    """A sheet that fills the scan."""
    height, width = shape_of(now)
    quad = np.array([[0, 0], [width - 1, 0], [width - 1, height - 1], [0, height - 1]], np.float64)
    return scanned(rng, now, (Truth("", fresh, quad),))


def scanned(rng: Generator, scene: Image, truths: tuple[Truth, ...]) -> Scan:
    """What an ordinary scanner delivers of the scene."""
    return Scan(scanner.scan(scene, scanner.sample(rng)), truths)


def shape_of(picture: Image) -> tuple[int, int]:
    """(height, width) of a picture."""
    return picture.shape[0], picture.shape[1]


def cut_out(rng: Generator, size: tuple[int, int], fresh: Image, now: Image, degrees: float) -> Scan:
    """A clipping with hand-cut edges on the glass of `size` (width, height)."""
    placing = Placing((size[0] / 2 + 6.0, size[1] / 2 - 4.0), degrees)
    coverage = cut_edges(rng, shape_of(now), 5.0)
    scene = lay(glass(rng, (size[1], size[0])), now, placing, coverage)
    return scanned(rng, scene, (Truth("", fresh, corners(shape_of(now), placing)),))


def in_holder(rng: Generator, picture: Image, film: negative.Negative, rebate: int, size: tuple[int, int]) -> Scan:
    """A frame of film with `rebate` px of unexposed film round it, in an opaque holder of `size` (width, height)."""
    grainy = scanner.grain(negative.transmittance(picture, film), rng, 0.018, chroma=0.4)
    height, width = shape_of(picture)
    strip = np.empty((height + 2 * rebate, width + 2 * rebate, 3), np.float32)
    strip[:] = negative.unexposed(film)
    strip[rebate:-rebate, rebate:-rebate] = grainy
    holder = np.full((size[1], size[0], 3), 0.0015, np.float32)
    placing = Placing((size[0] / 2 - 1.5, size[1] / 2 + 2.5), 0.3, shadow=0.0)
    quad = within((height, width), (rebate, rebate), corners(shape_of(strip), placing), shape_of(strip))
    return scanned(rng, lay(holder, strip, placing), (Truth("", picture, quad),))
