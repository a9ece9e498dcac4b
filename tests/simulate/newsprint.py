"""Newsprint and other wood-pulp paper: lignin that yellows, water, iron, tape and folds; ink that hardly changes.

Everything adds density: `D = paper + ink + lignin + show-through + tape + tide + foxing + fold`.
"""

from dataclasses import dataclass

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray
from scipy import ndimage

from . import Level
from .fields import Field, edge_attack, smooth, spots, tide
from .tone import Image, reflectance

Triple = tuple[float, float, float]

PAPER: Triple = (0.211, 0.220, 0.247)
"""Fresh newsprint, L* 82, a* 0, b* 3 on black backing (ISO 12647-3:2013), as sRGB densities."""
INK: Triple = (0.767, 0.815, 0.855)
"""Solid black above paper: L* 36.8, a* 1.5, b* 4.5 as measured in IFRA26, D 1.03 with the paper."""
LIGNIN: Triple = (0.14, 0.45, 1.0)
"""Yellowing of wood pulp: from L* 82, a* 0, b* 3 to about 70, 6, 25 at a blue density of 0.43 (from memory)."""
IRON: Triple = (0.18, 0.55, 1.0)
"""Foxing: blue drops most, then green (Heritage 2(3) 2019)."""
ADHESIVE: Triple = (0.22, 0.58, 1.0)
"""Old rubber adhesive of pressure-sensitive tape: amber (colour from memory)."""


@dataclass(frozen=True)
class Newsprint:
    """One sheet and what happened to it.

    lignin: blue density of yellowing inside the sheet (0..0.6). edge: extra at the edge as a share (0..1.2;
    the yellowness of stored newsprint was 19 inside, 30-38 at the edge). reach_px: of the edge zone (about 20 mm).
    show_through: density of the other side's solid ink (0..0.12). foxing: number of spots. tide_px: how far water
    came in (0 = none). fibre: deviation of the paper's cloudiness in D (0.006..0.015). tape_boxes: strips of tape as
    (x, y, width, height) px. folds: crease positions as shares of the height. seed: of the fields.
    """

    lignin: float
    edge: float
    reach_px: float
    show_through: float
    foxing: int
    tide_px: float
    fibre: float
    tape_boxes: tuple[tuple[int, int, int, int], ...]
    folds: tuple[float, ...]
    seed: int


_LIGNIN: dict[Level, tuple[float, float]] = {
    "unfaded": (0.0, 0.01), "mild": (0.06, 0.15), "medium": (0.15, 0.32), "severe": (0.32, 0.60),
}  # fmt: skip
_RANK: dict[Level, int] = {"unfaded": 0, "mild": 1, "medium": 2, "severe": 3}


def sample(rng: Generator, level: Level, shape: tuple[int, int]) -> Newsprint:
    """A sheet of that level, `shape` (height, width) px: the worse, the more mishaps besides lignin."""
    rank = _RANK[level]
    height, width = shape
    taped = rank >= 2 and rng.random() < 0.5
    tape = (0, int(rng.uniform(0.2, 0.7) * height), width, max(height // 14, 12))
    return Newsprint(
        lignin=float(rng.uniform(*_LIGNIN[level])),
        edge=float(rng.uniform(0.3, 1.2)) if rank else 0.0,
        reach_px=float(rng.uniform(0.05, 0.15) * max(shape)),
        show_through=float((0.0, 0.03, 0.06, 0.10)[rank] * rng.uniform(0.5, 1.2)),
        foxing=int(rng.integers(0, 12 * rank + 1)),
        tide_px=float(rng.uniform(0.1, 0.3) * height) if rank >= 2 and rng.random() < 0.5 else 0.0,
        fibre=float(rng.uniform(0.006, 0.015)),
        tape_boxes=(tape,) if taped else (),
        folds=(float(rng.uniform(0.35, 0.65)),) if rank and rng.random() < 0.6 else (),
        seed=int(rng.integers(2**31)),
    )


def page_of(
    ink: Field, other_side: Field, sheet: Newsprint, paper: Triple = PAPER, inked: Triple = INK
) -> tuple[Image, Image]:
    """A printed page: (as it left the press, as it is now), both linear.

    ink: amount per pixel, 0 none .. 1 solid, of this side; other_side: of the other side as it would be read there.
    """
    rng = np.random.default_rng(sheet.seed)
    shape = (ink.shape[0], ink.shape[1])
    cloud = sheet.fibre * (0.8 * smooth(rng, shape, 9.0) + 0.6 * smooth(rng, shape, 2.2))
    spread = ndimage.gaussian_filter(ink, 0.6)
    body = _tinted(spread * (1.0 + 0.06 * smooth(rng, shape, 2.0)), inked) + np.asarray(paper, np.float32)
    fresh = body + cloud[..., None]

    at_edge = edge_attack(rng, shape, sheet.reach_px)
    yellow = sheet.lignin * (1.0 + 0.10 * smooth(rng, shape, max(shape) / 4.0) + sheet.edge * at_edge)
    through = sheet.show_through * ndimage.gaussian_filter(other_side[:, ::-1], 1.8)
    aged = fresh + _tinted(yellow, LIGNIN) + through[..., None]
    aged += _tinted(0.30 * spots(rng, shape, sheet.foxing, (1.5, 9.0)), IRON)
    if sheet.tide_px > 0:
        wet, line = tide(rng, shape, sheet.tide_px, 2.5)
        # Water carries soluble brown matter from the wet part to its front.
        aged += _tinted(0.28 * line - 0.25 * yellow * wet, LIGNIN)
    for box in sheet.tape_boxes:
        aged += _tape(rng, shape, box)
    light = reflectance(aged)
    for fold in sheet.folds:
        light = light * _crease(rng, shape, fold)[..., None]
    return reflectance(fresh), np.clip(light, 0.0, 1.0).astype(np.float32)


def _tinted(amount: NDArray[np.floating], colour: Triple) -> Image:
    return np.asarray(amount[..., None] * np.array(colour), np.float32)


def _tape(rng: Generator, shape: tuple[int, int], box: tuple[int, int, int, int]) -> Image:
    """Density of an old strip of tape: amber and patchy, darker where adhesive crept out at its long edges."""
    x, y, width, height = box
    inside: NDArray[np.float32] = np.zeros(shape, np.float32)
    inside[max(y, 0) : y + height, max(x, 0) : x + width] = 1.0
    soft = ndimage.gaussian_filter(inside, 1.2)
    creep = np.clip(ndimage.gaussian_filter(inside, 6.0) * (1.0 - inside) * 1.6 + 4.0 * soft * (1 - soft) * 0.5, 0, 1)
    patchy = np.clip(1.0 + 0.22 * smooth(rng, shape, 14.0) + 0.10 * smooth(rng, shape, 60.0), 0.4, 1.6)
    return _tinted(0.26 * soft * patchy + 0.16 * creep * patchy, ADHESIVE)


def _crease(rng: Generator, shape: tuple[int, int], share: float) -> Field:
    """Light factor of a crease across the sheet: broken, lighter fibres beside a shadow and a little dirt."""
    columns = np.arange(shape[1], dtype=np.float32)
    wander = ndimage.gaussian_filter1d(rng.standard_normal(shape[1]), 60.0) * 12.0
    centre = share * shape[0] + wander + 0.004 * (columns - shape[1] / 2)
    offset = np.arange(shape[0], dtype=np.float32)[:, None] - centre[None, :]
    strength = np.clip(1.0 + 0.5 * ndimage.gaussian_filter1d(rng.standard_normal(shape[1]), 8.0) * 4.0, 0.2, 1.8)
    ridge = 0.32 * np.exp(-((offset / 1.3) ** 2)) * strength[None, :]
    shadow = 0.28 * np.exp(-(((offset - 3.0) / 2.4) ** 2))
    dirt = 0.08 * np.exp(-np.abs(offset) / 12.0)
    return np.asarray(1.0 + ridge - shadow - dirt, np.float32)


def halftone(photo_luminance: Field, period_px: float, angle_degrees: float = 45.0, gain: float = 0.26) -> Field:
    """Ink amount of a newspaper screen, oversampled four times; `gain` = tone value increase at 50 %.

    The dot is Euclidean: round in the lights, chequered at half tone, round holes in the darks.
    """
    over = 4
    tone = 1.0 - np.clip(photo_luminance, 0.0, 1.0) ** (1 / 2.0)
    wanted = np.clip(tone, 0.03, 0.97)
    # Dots swell on the press by 26 % at half tone (ISO 12647-3 practice); the engraver has made up for half of it.
    swollen = wanted + 2.0 * gain * wanted * (1.0 - wanted) * 0.5
    large = ndimage.zoom(swollen, over, order=1)
    rows, columns = np.mgrid[0 : large.shape[0], 0 : large.shape[1]].astype(np.float32)
    turn = np.deg2rad(angle_degrees)
    u = (columns * np.cos(turn) + rows * np.sin(turn)) * (2 * np.pi / (period_px * over))
    v = (rows * np.cos(turn) - columns * np.sin(turn)) * (2 * np.pi / (period_px * over))
    threshold = _uniform_rank(0.5 + 0.25 * (np.cos(u) + np.cos(v)))
    dots = (large > 1.0 - threshold).astype(np.float32)
    fine = dots.reshape(dots.shape[0] // over, over, dots.shape[1] // over, over).mean(axis=(1, 3))
    return np.asarray(fine, np.float32)


def _uniform_rank(screen: Field) -> Field:
    """Equalise the screen function so that a tone of t inks a share t of the area."""
    edges = np.quantile(screen[::3, ::3], np.linspace(0, 1, 65))
    return np.interp(screen, edges, np.linspace(0, 1, 65)).astype(np.float32)
