"""Negatives to positives: the film's base and mask are read, then a print is made of it by curves.

A negative records ``D = base + gamma * (log exposure - log threshold)``; paper turns that about, so the positive's
density falls as the negative's rises. Colour film has an orange mask, a constant density per channel that is part of
the base (ISO 5-3 status M densities are measured through it).
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from surrogate.recovery.recipe import Curves, Matrix, Plan, Step

Floats = npt.NDArray[np.float32]
Knots = list[tuple[float, float]]

#: Lightest and darkest tone of a natural print (handbook range of glossy silver paper: 0.04-0.08 and 2.0-2.2).
PRINT_MIN = 0.06
PRINT_MAX = 2.0

#: Median density of good photographs: 0.84 in 234 open ones, 0.75 in the 27 black-and-white ones among them.
MEDIAN_DENSITY = 0.80

#: Film dyes absorb a tenth or so of their neighbours' light beyond what the mask balances; undone by this gain of
#: colour differences (from memory of published dye curves).
PURITY = 1.15


def is_colour(density: Floats) -> bool:
    """Whether a scanned negative is colour film: an orange base, or channels that do not go together.

    ``density`` (H, W, 3). Black-and-white film has a grey base (at most a slight tint) and one image in all channels.
    """
    flat = _sample(density)
    base = np.percentile(flat, 1, axis=0)
    if base[2] - base[0] > 0.25 and base[1] - base[0] > 0.08:
        return True
    order = np.argsort(flat.mean(axis=1), kind="stable")
    apart = (flat[:, [0, 2]] - flat[:, [1]])[order]
    wander = [float(part.std(axis=0).max()) for part in np.array_split(apart, min(16, len(apart)))]
    return float(np.median(wander)) > 0.06


def plan(density: Floats, strength: float) -> Plan:
    """A natural positive of a scanned negative; ``density`` (H, W, 3), ``strength`` 0-1.3 is its contrast."""
    colour = is_colour(density)
    flat = _sample(density)
    steps: list[Step] = []
    if not colour:
        flat = np.repeat(flat.mean(axis=1, keepdims=True), 3, axis=1)
        third = (round(1 / 3, 4),) * 3
        steps.append(Matrix(why="black-and-white film holds one image", matrix=(third, third, third)))
    thin, dense = np.percentile(flat, (0.3, 99.7), axis=0)
    curves = [_curve(flat[:, i], float(thin[i]), float(dense[i]), strength) for i in range(3)]
    steps.append(Curves(why="turned into a positive", red=curves[0], green=curves[1], blue=curves[2]))
    if colour:
        steps.append(_purer())
    film = "colour negative: orange mask removed" if colour else "black-and-white negative"
    words = ["turned into a positive", f"{film}, printed to a natural range of tones"]
    evidence = [
        (
            f"clear film has density {thin[0]:.2f} {thin[1]:.2f} {thin[2]:.2f}, "
            f"the densest place {dense[0]:.2f} {dense[1]:.2f} {dense[2]:.2f} (red green blue)"
        )
    ]
    limits = ["the picture spans little density: contrast was held back"] if (dense - thin).max() < 0.4 else []
    return Plan(steps=steps, words=words, evidence=evidence, limits=limits)


def _purer() -> Matrix:
    """Colours taken apart by ``PURITY`` about their grey."""
    side = round((1 - PURITY) / 3, 4)
    own = round(1 - 2 * side, 4)
    rows = ((own, side, side), (side, own, side), (side, side, own))
    return Matrix(why="unwanted absorptions of the film's dyes", matrix=rows)


def _sample(density: Floats) -> Floats:
    """About 60,000 pixels away from the outermost edge, (N, 3)."""
    height, width = density.shape[:2]
    y, x = height // 50, width // 50
    inner = density[y : height - y, x : width - x].reshape(-1, 3)
    return inner[:: max(1, len(inner) // 60_000)]


def _curve(values: npt.NDArray[np.float32], thin: float, dense: float, strength: float) -> Knots:
    """Falling curve from negative to print density, its middle drawn half-way to that of good photographs."""
    span = max(dense - thin, 0.4)
    span = span / min(max(strength, 0.5), 1.3) if strength < 1 else span
    place = np.clip((dense - np.median(values)) / span, 0.05, 0.95)
    wanted = (MEDIAN_DENSITY - PRINT_MIN) / (PRINT_MAX - PRINT_MIN)
    bend = float(np.clip(np.log(wanted) / np.log(place), 0.6, 2.2)) ** 0.6
    reach = PRINT_MAX - PRINT_MIN
    shares = (1.0, 0.9, 0.75, 0.6, 0.45, 0.3, 0.2, 0.1, 0.05, 0.0)
    return [(round(dense - x * span, 4), round(PRINT_MIN + reach * x**bend, 4)) for x in shares]
