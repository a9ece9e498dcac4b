"""A leaf printed or written on both sides, each scanned by itself: what shines through is known.

`D = paper + ink + stain + t * blurred(other side's ink)`: the same sum as in `newsprint`, once for each side.
"""

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from . import Level, lettering, newsprint, scanner, tone
from .fields import Field

Codes = NDArray[np.uint8]


@dataclass(frozen=True)
class Leaf:
    """Scans of both sides, (H, W, 3) uint8; ``clean`` is the front as it would be without the back's ink.

    ``ink`` and ``other`` are the ink of front and back, 0..1, as read there; ``placed`` is the way from pixels of the
    front's scan to pixels of the back's, (2, 3).
    """

    front: Codes
    clean: Codes
    back: Codes
    ink: Field
    other: Field
    placed: NDArray[np.float64]


def column(text: str, size_px: int, shape: tuple[int, int]) -> tuple[Field, str]:
    """(ink, the part of the text that found room)."""
    box = (60.0, 60.0, shape[1] - 120.0, shape[0] - 120.0)
    ink, rest = lettering.column(np.zeros(shape, np.float32), text, lettering.SERIF, size_px, box)
    return ink, text[: len(text) - len(rest)] if rest else text


def leaf(
    rng: Generator,
    inks: tuple[Field, Field],
    level: Level,
    show_through: float,
    *,
    strength: float = 1.0,
    quarter_turns: int = 0,
) -> Leaf:
    """A leaf with these inks on its front and back, each as it is read there.

    ``show_through``: density of the other side's solid ink. ``strength``: of both inks, as a share of newsprint black.
    The back is laid on the scanner anew: turned by up to 2 degrees, moved by up to 2 % and turned by quarters.
    """
    shape = (inks[0].shape[0], inks[0].shape[1])
    sheet = replace(newsprint.sample(rng, level, shape), show_through=show_through)
    device = scanner.sample(rng)
    inked = (newsprint.INK[0] * strength, newsprint.INK[1] * strength, newsprint.INK[2] * strength)

    def side(own: Field, other: Field, paper: newsprint.Newsprint) -> NDArray[np.float32]:
        _, aged = newsprint.page_of(own, other, paper, inked=inked)
        return aged

    back_sheet = replace(sheet, seed=sheet.seed ^ 0x5A5A5A)
    back = side(inks[1], inks[0], back_sheet)
    placed = mirrored(rng, shape)
    size = (shape[1], shape[0])
    laid = cv2.warpAffine(back, placed[1], size, flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE)
    turned, way = _turned(np.clip(laid, 0, 1), placed[0], quarter_turns)
    return Leaf(
        front=tone.to_codes8(scanner.scan(side(inks[0], inks[1], sheet), device)),
        clean=tone.to_codes8(scanner.scan(side(inks[0], inks[1], replace(sheet, show_through=0.0)), device)),
        back=tone.to_codes8(scanner.scan(turned, replace(device, seed=device.seed ^ 0x3C3C))),
        ink=inks[0],
        other=inks[1],
        placed=way,
    )


def mirrored(rng: Generator, shape: tuple[int, int]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """(front pixels to the laid back's pixels, the back's own pixels to the laid back's), both (2, 3)."""
    height, width = shape
    lay = cv2.getRotationMatrix2D((width / 2, height / 2), float(rng.uniform(-2, 2)), float(rng.uniform(0.995, 1.005)))
    lay[:, 2] += rng.uniform(-0.02, 0.02, 2) * max(shape)
    mirror = np.array([[-1.0, 0, width - 1], [0, 1, 0], [0, 0, 1]])
    return (np.vstack([lay, [0, 0, 1]]) @ mirror)[:2], lay


def _turned(
    light: NDArray[np.float32], way: NDArray[np.float64], quarters: int
) -> tuple[NDArray[np.float32], NDArray[np.float64]]:
    """The back turned clockwise by quarters, and the way to its pixels."""
    for _ in range(quarters % 4):
        quarter = np.array([[0.0, -1, light.shape[0] - 1], [1, 0, 0]])
        light, way = np.ascontiguousarray(np.rot90(light, -1)), quarter @ np.vstack([way, [0, 0, 1]])
    return light, way
