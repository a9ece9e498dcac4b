"""Which planner serves which kind of original: one row each."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import numpy.typing as npt

from surrogate.condition.measure import Measured
from surrogate.records import PAPER_KINDS, Kind, Side, Strength, Tone, Use
from surrogate.recovery import colour_print, negative, paper, silver_print
from surrogate.recovery.recipe import Plan
from surrogate.recovery.show_through import Seen

Floats = npt.NDArray[np.float32]

#: How far the plan is carried out, as a factor on what was measured (judgement: half, whole, a third more).
STRENGTHS: dict[Strength, float] = {
    Strength.NONE: 0.0,
    Strength.GENTLE: 0.5,
    Strength.STANDARD: 1.0,
    Strength.STRONG: 1.3,
}

LEFT_ALONE = Plan(steps=[], words=[])


def plan(
    density: Floats,
    measured: Measured,
    *,
    kind: Kind,
    side: Side,
    use: Use,
    tone: Tone,
    strength: Strength,
    seen: Seen | None = None,
) -> Plan:
    """Plan a copy from the density picture (H, W, 3) of what the copy will show. An empty plan leaves it alone.

    ``seen`` is what shines through from the other side of a leaf.
    """

    def planned(picture: Floats) -> Plan:
        return _plan(picture, measured, kind=kind, side=side, use=use, tone=tone, strength=strength)

    return planned(density) if seen is None else seen.taken_out(planned, density)


def _plan(
    density: Floats, measured: Measured, *, kind: Kind, side: Side, use: Use, tone: Tone, strength: Strength
) -> Plan:
    factor = STRENGTHS[strength]
    if use is Use.READING:
        return paper.plan_reading(density)
    if strength is Strength.NONE and kind is not Kind.NEGATIVE:
        return LEFT_ALONE
    if side is Side.VERSO:
        return paper.plan_viewing(density, factor)
    return _PLANNERS[kind](density, measured, tone, factor)


def has_reading_copy(kind: Kind, side: Side) -> bool:
    """Whether a copy made for legibility is worth having."""
    return side is Side.VERSO or kind in PAPER_KINDS


def _colour(density: Floats, measured: Measured, _tone: Tone, factor: float) -> Plan:
    if measured.colour is None:
        return LEFT_ALONE
    return colour_print.plan(density, measured.colour, factor)


def _silver(density: Floats, measured: Measured, tone: Tone, factor: float) -> Plan:
    if measured.silver is None:
        return LEFT_ALONE
    return silver_print.plan(density, measured.silver, tone, factor)


def _negative(density: Floats, _measured: Measured, _tone: Tone, factor: float) -> Plan:
    return negative.plan(density, factor)


def _paper(density: Floats, _measured: Measured, _tone: Tone, factor: float) -> Plan:
    return paper.plan_viewing(density, factor)


def _nothing(_density: Floats, _measured: Measured, _tone: Tone, _factor: float) -> Plan:
    return LEFT_ALONE


_PLANNERS: dict[Kind, Callable[[Floats, Measured, Tone, float], Plan]] = {
    Kind.COLOUR_PRINT: _colour,
    Kind.SILVER_PRINT: _silver,
    Kind.NEGATIVE: _negative,
    Kind.CLIPPING: _paper,
    Kind.DOCUMENT: _paper,
    Kind.ALBUM_PAGE: _nothing,
    Kind.TARGET: _nothing,
    Kind.UNKNOWN: _nothing,
}
