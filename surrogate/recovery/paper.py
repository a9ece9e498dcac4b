"""Clippings, letters, documents and the backs of prints: paper made even, ink made legible.

``plan_viewing`` keeps the look of old paper; ``plan_reading`` is for reading and for text recognition.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from surrogate.records import Triple
from surrogate.recovery.paper_background import Paper, grid_shape, masked_mean, soften, take_apart
from surrogate.recovery.paper_strokes import certainty
from surrogate.recovery.recipe import Curves, Matrix, Plan, Plane, Step

Floats = npt.NDArray[np.float32]
Knots = list[tuple[float, float]]

#: Density of one level of a field, the smallest density step that 8 bits show in light paper.
UNIT = 0.004

#: Paper and ink of a reading copy. Paper at L* 97 leaves room for the eye to see an edge against a white screen.
PAPER_OUT = 0.03
EDGE_OUT = 0.45
INK_OUT = 1.5

#: Paper of a viewing copy is drawn this far from what it is towards clean, off-white paper (judgement).
CLEANED = 0.6
CLEAN_PAPER = np.array([0.07, 0.08, 0.12])

#: Black print on a viewing copy: newsprint black is L* 36 (ISO 12647-3), 0.85 above its paper.
VIEWING_INK = 0.95

#: Paper darker than this is dark on purpose (album card, blueprint) and is not lightened.
DARK_PAPER = 0.75

VIEWING_NODES = 44


def plan_reading(density: Floats, strength: float = 1.0) -> Plan:
    """A copy made for legibility; ``density`` (H, W, 3), ``strength`` 0 (alone) to 1.3."""
    if strength <= 0:
        return Plan(steps=[], words=[])
    page = take_apart(density)
    steps: list[Step] = [_mix_step(page), _plane(page.base, (1.0, 1.0, 1.0)), _reading_curve(page, strength)]
    words = [_evened(page.base, "paper made even and light"), "ink brought to full density"]
    limits: list[str] = []
    if page.ink_density == 0:
        words = words[:1]
        limits = ["no text found: the page is kept blank and what marks it has are not strengthened"]
    return Plan(steps=steps, words=words, evidence=_evidence(page), limits=limits)


def plan_viewing(density: Floats, strength: float) -> Plan:
    """A copy that still looks like old paper, even and clean; ``density`` (H, W, 3), ``strength`` 0 to 1.3."""
    if strength <= 0:
        return Plan(steps=[], words=[])
    page = take_apart(density)
    bases = _paper_by_channel(density, page)
    found = np.median(bases.reshape(-1, 3), axis=0)
    if found[1] > DARK_PAPER:
        return Plan(steps=[], words=[], limits=["the paper is dark on purpose or the page is full of ink: left alone"])
    even = min(strength, 1.0)
    target = found + CLEANED * even * np.minimum(CLEAN_PAPER - found, 0)
    steps: list[Step] = []
    for channel, share in enumerate(((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0))):
        steps.append(_plane(even * (bases[..., channel] - found[channel]) + found[channel] - target[channel], share))
    words = [
        _evened(even * bases[..., 2], "broad stain evened out", "in blue"),
        f"paper lightened by {float(np.mean(found - target)):.2f} density",
    ]
    if page.ink_density > 0:
        gain = _viewing_gain(page, strength)
        steps.append(_viewing_curve(page, target, gain))
        words.append(f"ink strengthened {gain:.1f} times")
    return Plan(steps=steps, words=words, evidence=_evidence(page))


def _evened(base: Floats, said: str, where: str = "") -> str:
    """The words for an uneven ``base`` of paper, with the largest difference: the rim of a tideline, tape."""
    low, high = np.quantile(base, [0.02, 0.98])
    return f"{said} (differences of up to {high - low:.2f} density {where}".rstrip() + ")"


def _evidence(page: Paper) -> list[str]:
    said = [
        f"ink {page.ink_density:.2f} denser than the paper, whose texture is {page.spread:.3f}",
        "ink stands out most in a mix of " + " ".join(f"{w:+.2f}" for w in page.mix) + " (red green blue)",
    ]
    if page.pictures > 0:
        said.append(
            f"printed pictures cover {100 * page.pictures:.0f} % of the page; their paper is judged from around"
        )
    return said


def _mix_step(page: Paper) -> Matrix:
    row: Triple = (round(float(page.mix[0]), 4), round(float(page.mix[1]), 4), round(float(page.mix[2]), 4))
    return Matrix(why="the mix of channels in which ink stands out most", matrix=(row, row, row))


def _plane(base: Floats, share: Triple) -> Plane:
    return Plane(
        why="density of the bare paper", unit=UNIT, share=share, levels=np.rint(base / UNIT).astype(int).tolist()
    )


def _paper_by_channel(density: Floats, page: Paper) -> Floats:
    """Density of bare paper in R, G, B at the nodes of a grid, (rows, columns, 3)."""
    shape = grid_shape(density.shape[0], density.shape[1], VIEWING_NODES)
    return soften(masked_mean(density, ~page.marks, shape), 0.7)


def _viewing_gain(page: Paper, strength: float) -> float:
    """How much ink is strengthened: to the black of fresh newsprint, at most 2.5 times (noise grows with it)."""
    whole = float(np.clip(VIEWING_INK / page.ink_density, 1.0, 2.5))
    return 1 + (whole - 1) * strength


def _viewing_curve(page: Paper, target: npt.NDArray[np.float64], gain: float) -> Curves:
    """Paper stays; what is darker than its texture gains density."""
    low, high = 1.5 * page.spread, max(page.ink_density, 3 * page.spread)
    curves: list[Knots] = []
    for base in target:
        knots = [
            (base - 1.0, base - 1.0),
            (base, base),
            (base + low, base + low),
            (base + low + 0.3 * (high - low), base + low + (0.3 * (high - low)) * (1 + 0.8 * (gain - 1))),
            (base + high, base + low + (high - low) * gain),
            (base + high + 1.0, base + low + (high - low) * gain + 1.0),
        ]
        curves.append([(round(x, 4), round(y, 4)) for x, y in knots])
    return Curves(why="ink strengthened", red=curves[0], green=curves[1], blue=curves[2])


def _reading_curve(page: Paper, strength: float) -> Curves:
    """Density above paper to the density of the reading copy: flat over paper, steep through the edge of ink.

    Half-covered pixels come out near code 160 (density 0.45), where a global threshold between paper and ink
    falls: there the edge of a stroke lies where it lies on the original.
    """
    ink = page.ink_density
    if ink == 0:
        # whatever there is stays about as dark above the paper as it was
        low, edge, high = 3 * page.spread, 3 * page.spread + 0.35, 3 * page.spread + 1.1
    else:
        noise = (3.5 - 2.3 * certainty(page.letters)) * page.spread
        edge = page.edge
        high = 0.85 * ink
        low = min(max((0.2 - 0.08 * page.broken) * ink, noise), 0.9 * edge)
    part = min(strength, 1.0)
    knots: Knots = [
        (-1.0, PAPER_OUT),
        (low, PAPER_OUT),
        (edge, PAPER_OUT + part * (EDGE_OUT - PAPER_OUT)),
        (high, PAPER_OUT + part * (INK_OUT - PAPER_OUT)),
        (high + 1.0, PAPER_OUT + part * (INK_OUT - PAPER_OUT) + 0.3),
    ]
    knots = [(round(x, 4), round(y, 4)) for x, y in knots]
    return Curves(why="paper to white, ink to black", red=knots, green=knots, blue=knots)
