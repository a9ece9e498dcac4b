"""Show-through: what of a back's ink lies under each point of a front, and how much of it shines through.

Light that enters a sheet and meets ink on its other side is lost. What is missing is that ink's absorptance, spread by
the paper, times a share that the paper's thickness sets:

    D = D_front + share * blur(1 - 10^-(mix . D_back - paper of the back))

What is taken out ends at the front's own paper: where the back has a mark that does not shine through, nothing is
drawn in light.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from surrogate.records import LeafSide, Triple
from surrogate.recovery import other_side
from surrogate.recovery.fields import Nodes, Through, level_nodes, node_values, without
from surrogate.recovery.other_side import Match
from surrogate.recovery.paper_background import (
    Paper,
    grid_shape,
    masked_mean,
    robust_spread,
    soften,
    spread_grid,
    take_apart,
)
from surrogate.recovery.play import Playable
from surrogate.recovery.recipe import OtherSide, Plan, Step

Floats = npt.NDArray[np.float32]
Array = npt.NDArray[np.float64]
Levels = list[list[int]]

#: Long side (px) of the field that is subtracted, and at which the back is read: paper blurs more than that.
NODES_PX = 1400

#: Nodes along the long side of the back's paper, and of the front's.
_PAPER_NODES, _FLOOR_NODES = 36, 20

#: Density of one level of the back's paper, the smallest step that 8 bits show in light paper.
_UNIT = 0.004

#: Density above the back's paper that counts as its ink: three standard deviations of the paper, and so much of the
#: ink that the front's own show-through on the back stays out.
_DEVIATIONS, _OF_INK = 3.0, 0.2

#: Blurs that are tried, in shares of the long side: 0.6 to 4 px of a page of 1200 px.
_BLURS = (0.0005, 0.001, 0.0016, 0.0024, 0.0034)

#: Shares beyond are not believed: 0.3 is Bible paper. Below the second nothing is seen: two steps of 8 bits.
_MOST_SHARE, _LEAST_SHARE = 0.3, 0.008

#: Sizes that differ by more than this are looked at both ways: by their frames, and by their resolutions.
_OTHER_SIZE = 0.005

#: Slow changes of paper are taken out before fitting, by a mean over this share of the long side.
_SLOW = 0.015


@dataclass(frozen=True)
class Seen:
    """What was seen to shine through: the step that takes it out, and what it takes."""

    step: OtherSide
    through: Through
    clarity: float

    def taken_out(self, plan: Callable[[Floats], Plan], front: Floats) -> Plan:
        """The plan that ``plan`` makes of a front, density (H, W, 3), without what shines through; and the step first.

        A front that the plan leaves alone is left alone.
        """
        made = plan(without(front, self.through))
        if not made.steps:
            return made
        most = float(self.through.field.values.max()) * max(self.step.share)
        said = f"show-through of the other side taken out (up to {most:.2f} density)"
        where = (
            f"the other side is {self.step.scan.master}: its ink lies where it shines through, "
            f"{self.clarity:.1f} times as clearly as anywhere beside"
        )
        return made.model_copy(
            update={
                "steps": [self.step, *made.steps],
                "words": [said, *made.words],
                "evidence": [*made.evidence, where],
            }
        )


def laid(steps: Sequence[Step], back: Callable[[LeafSide], Floats]) -> list[Playable]:
    """The steps with fields for other sides; ``back`` gives the density (H, W, 3) of a scan at ``NODES_PX``."""
    return [through(step, back(step.scan)) if isinstance(step, OtherSide) else step for step in steps]


def through(step: OtherSide, back: Floats) -> Through:
    """What a step takes away, from the density picture (H, W, 3) of the back at ``NODES_PX``."""
    paper = np.stack([level_nodes(levels, step.unit) for levels in step.paper], axis=-1)
    return Through(_field(step, back), Nodes(paper))


def _field(step: OtherSide, back: Floats) -> Nodes:
    rows, columns = step.nodes
    cover = _cover(step, back)
    way = _scaled(np.array(step.way), (columns, rows), (back.shape[1], back.shape[0]))
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    laid = np.asarray(cv2.warpAffine(cover, way, (columns, rows), flags=flags), np.float32)
    return Nodes(soften(laid, step.blur * max(rows, columns)), step.share)


def _cover(step: OtherSide, back: Floats) -> Floats:
    """Absorptance of the back's ink, (H, W), 0 to 1; faint marks fade out between ``least`` and half of it."""
    paper = cv2.resize(
        level_nodes(step.levels, step.unit), (back.shape[1], back.shape[0]), interpolation=cv2.INTER_CUBIC
    )
    above = back @ np.array(step.mix, np.float32) - paper
    ink = 1 - np.exp(-np.log(10) * np.maximum(above, 0))
    return np.asarray(ink * np.clip(above / (0.5 * step.least) - 1, 0, 1), np.float32)


def _scaled(way: Array, size: tuple[int, int], other: tuple[int, int]) -> Array:
    """A way between unit frames as one between pixel centres; sizes are (width, height)."""
    inward = np.array([[1 / size[0], 0, 0.5 / size[0]], [0, 1 / size[1], 0.5 / size[1]], [0, 0, 1]])
    outward = np.array([[other[0], 0, -0.5], [0, other[1], -0.5], [0, 0, 1]])
    return np.asarray((outward @ np.vstack([way, [0, 0, 1]]) @ inward)[:2])


def _unit(way: Array, size: tuple[int, int], other: tuple[int, int]) -> Array:
    """The inverse of :func:`_scaled`."""
    inward = np.array([[size[0], 0, -0.5], [0, size[1], -0.5], [0, 0, 1]])
    outward = np.array([[1 / other[0], 0, 0.5 / other[0]], [0, 1 / other[1], 0.5 / other[1]], [0, 0, 1]])
    return np.asarray((outward @ np.vstack([way, [0, 0, 1]]) @ inward)[:2])


def find(front: Floats, ppi: float | None, back: Floats, back_ppi: float | None, which: LeafSide) -> Seen | None:
    """What takes a back's show-through out of a front, densities (H, W, 3); None where there is none to see.

    None too where it is not beyond doubt that the two are sides of one leaf. ``ppi`` and ``back_ppi`` are those of the
    pictures, where they are known.
    """
    own, other = take_apart(front), take_apart(back)
    if other.ink_density == 0:
        return None
    step = unplaced(other, back, which, front.shape)
    match = matched(own, step, back, None if ppi is None or back_ppi is None else back_ppi / ppi)
    if match is None or not match.accepted:
        return None
    way = _unit(match.way, (front.shape[1], front.shape[0]), (back.shape[1], back.shape[0]))
    rounded = tuple(tuple(round(float(value), 7) for value in row) for row in way)
    step = step.model_copy(update={"way": rounded})
    first = _fitted(step, front, back, own)
    if first is None:
        return None
    # what is left shows the front's own ink, and what is not
    cleaned = np.asarray(front - node_values(_field(first, back), front.shape[0], front.shape[1]), np.float32)
    left = take_apart(cleaned)
    last = _fitted(step, front, back, left)
    if last is None:
        return None
    last = last.model_copy(update={"paper": _paper(cleaned, left)})
    return Seen(last, through(last, back), match.clarity)


def matched(own: Paper, step: OtherSide, back: Floats, by_ppi: float | None = None) -> Match | None:
    """The clearest place of a back under a front that was taken apart.

    The two are of one size once trimmed; where they were not, their scans' resolutions tell (``by_ppi``: pixels of the
    back to one of the front).
    """
    height, width = own.residual.shape
    scale = float(np.sqrt(back.shape[0] * back.shape[1] / (height * width)))
    cover = other_side.sought(_cover(step, back))
    found = other_side.search(own, cover, scale)
    if by_ppi is not None and abs(by_ppi / scale - 1) > _OTHER_SIZE and not (found and found.accepted):
        again = other_side.search(own, cover, by_ppi)
        found = max((each for each in (found, again) if each), key=lambda each: each.clarity, default=None)
    return found


def _paper(cleaned: Floats, page: Paper) -> tuple[Levels, Levels, Levels]:
    """Levels of a front's bare paper in R, G, B, less its texture; ``cleaned`` (H, W, 3) is without show-through."""
    height, width = cleaned.shape[:2]
    nodes = soften(masked_mean(cleaned, ~page.marks, grid_shape(height, width, _FLOOR_NODES)), 0.7)
    texture = [robust_spread((cleaned - spread_grid(nodes, height, width))[~page.marks][:, c]) for c in range(3)]
    red, green, blue = (np.rint((nodes[..., c] - texture[c]) / _UNIT).astype(int).tolist() for c in range(3))
    return red, green, blue


def unplaced(page: Paper, back: Floats, which: LeafSide, front_shape: tuple[int, ...]) -> OtherSide:
    """The step that looks for a back, ``page`` when taken apart, before it is known where it lies and how strong."""
    mix: Triple = (round(float(page.mix[0]), 4), round(float(page.mix[1]), 4), round(float(page.mix[2]), 4))
    mixed = np.asarray(back @ np.array(mix, np.float32), np.float32)
    paper = soften(masked_mean(mixed, ~page.marks, grid_shape(back.shape[0], back.shape[1], _PAPER_NODES)), 0.7)
    return OtherSide(
        why="what shines through from the other side",
        scan=which,
        way=((1.0, 0.0, 0.0), (0.0, 1.0, 0.0)),
        nodes=grid_shape(front_shape[0], front_shape[1], NODES_PX),
        mix=mix,
        unit=_UNIT,
        levels=np.rint(paper / _UNIT).astype(int).tolist(),
        least=round(max(_DEVIATIONS * page.spread, _OF_INK * page.ink_density), 4),
        blur=_BLURS[0],
        share=(1.0, 1.0, 1.0),
        paper=([], [], []),
    )


def _fitted(step: OtherSide, front: Floats, back: Floats, own: Paper) -> OtherSide | None:
    """Blur and shares by least squares where the front has no ink of its own; None where nothing is to be seen."""
    height, width = front.shape[:2]
    weight = np.ones((height, width), np.float32)
    if own.ink_density > 0:
        weight -= cv2.dilate((own.residual > own.edge).astype(np.uint8), np.ones((7, 7), np.uint8))
    slow = _SLOW * max(height, width)
    values = _quick(front, weight, slow)
    grey = values.mean(axis=2)
    tried = []
    for blur in _BLURS:
        nodes = _field(step.model_copy(update={"blur": blur}), back)
        laid = node_values(nodes, height, width)[..., :1]
        quick = _quick(laid, weight, slow)[..., 0]
        energy = float((quick * quick).sum())
        if energy > 0:
            tried.append((float((grey * quick).sum()) / energy**0.5, blur, quick, energy))
    if not tried:
        return None
    _, blur, quick, energy = max(tried, key=lambda each: each[0])
    found = np.array([float((values[..., c] * quick).sum()) / energy for c in range(3)])
    if found.mean() < _LEAST_SHARE:
        return None
    found = np.clip(found, 0.5 * found.mean(), 1.5 * found.mean())
    red, green, blue = (round(float(each), 4) for each in np.clip(found, 0, _MOST_SHARE))
    return step.model_copy(update={"blur": blur, "share": (red, green, blue)})


def _quick(values: Floats, weight: Floats, sigma: float) -> Floats:
    """What changes fast, (H, W, C), where ``weight`` lets it count; marks much darker than show-through are limited."""
    heavy = weight[..., None]
    # a wide Gaussian at a quarter of the size: the mean of the surroundings has no detail
    small = [
        cv2.resize(each, None, fx=0.25, fy=0.25, interpolation=cv2.INTER_AREA) for each in (values * heavy, weight)
    ]
    total, share = (soften(each, sigma / 4) for each in small)
    total = total.reshape(*share.shape, -1)
    mean = cv2.resize(total / np.maximum(share, 1e-3)[..., None], values.shape[1::-1], interpolation=cv2.INTER_LINEAR)
    return np.asarray(np.clip(values - mean.reshape(values.shape), -_MOST_SHARE, _MOST_SHARE) * heavy, np.float32)
