"""Plan for a colour print: take off the stain, give each dye back what it lost, leave the picture as it was meant.

Density to dye amounts by the inverse of the dye matrix, light and dark fading undone per dye, dye amounts back to
density over a fresh base: curves, matrix, curves, matrix, nothing else, so nothing can be drawn that was not there.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt

from surrogate.condition.colorimetry import triple
from surrogate.condition.fade_colour import SLIGHT, FadeEstimate, density_loss
from surrogate.condition.fade_network import light_fade
from surrogate.imaging.density import mean_of_channels
from surrogate.records import Triple
from surrogate.recovery.recipe import Curves, Matrix, Plan, Step

Floats = npt.NDArray[np.float32]

#: Largest factor on a dye. A share below about 0.2 cannot be read (noise drowns it); 4 keeps a margin.
LARGEST_GAIN = 4.0
#: Noise (standard deviation of density, at the megapixel that is measured) that a copy may show after recovery. Twice
#: what is plain to see (judgement: 1 L* on an even tone is 0.02 density at mid grey), since a dye given back by half
#: spoils more than grain: 0.05 cost 0.2 CIEDE2000 on severe prints (tests/benchmarks/plain_ageing.py, 240 prints).
LARGEST_NOISE = 0.1
#: Worst loss plus twice the stain from which an estimate is carried out whole; below it in proportion.
TRUST_WHOLE = 0.30
#: Half-width of the 68 % interval of the worst dye of one print (median, measured on the same prints).
TYPICAL_SPREAD = 0.08
#: Below this nothing is changed: less than scanner errors of a good scan (density).
LEAST = 0.004

#: Edge of the blocks in which noise is read, px: enough pixels for a spread, small enough to lie on even ground.
_BLOCK = 8

_DYES = ("cyan", "magenta", "yellow")
#: Amounts of dye at which the undoing curve has its knots.
_AMOUNTS = np.concatenate([np.arange(0, 0.5, 0.05), np.arange(0.5, 1.5, 0.1), np.arange(1.5, 3.01, 0.25)])


def plan(density: Floats, e: FadeEstimate, strength: float) -> Plan:
    """Plan a colour print's copy. ``density`` (H, W, 3) is the scan, for its noise; ``strength`` 0 = leave alone,
    1 = as measured, above 1 = further than measured (at most 1.5).
    """
    if not e.measurable or strength <= 0:
        return Plan(steps=[], words=[], evidence=list(e.evidence))
    sure = trust(e)
    held, limits = limited(scaled(e, min(strength, 1.5) * sure), noise_of(density))
    made = steps(held)
    if not made:
        return Plan(steps=[], words=[], evidence=list(e.evidence))
    return Plan(steps=made, words=_words(scaled(e, sure), held), evidence=list(e.evidence), limits=limits)


def trust(e: FadeEstimate) -> float:
    """How far to carry out an estimate, 0..1: small findings are half chance, so less is done about them.

    Least colour difference over unfaded to severe prints, photographs and ageing that the fit did not see
    (docs/fade-model.md). An estimate surer than that of one print, from a lot, is carried out sooner.
    """
    loss, spread, _ = density_loss(e)
    stain = float(np.max(np.subtract(e.base_density, e.fresh_base)))
    sure = float(np.clip(max(spread) / TYPICAL_SPREAD, 0.5, 1.0))
    return float(np.clip((max(loss) + 2 * max(stain, 0.0)) / (TRUST_WHOLE * sure), 0.0, 1.0))


def scaled(e: FadeEstimate, strength: float) -> FadeEstimate:
    """The estimate with everything that happened multiplied by ``strength``; 0 = nothing happened."""
    base = np.array(e.base_density)
    return replace(
        e,
        dye_share=triple(np.array(e.dye_share) ** strength, 6),
        fresh_base=triple(base + strength * (np.array(e.fresh_base) - base), 6),
        light=triple(np.array(e.light) * strength, 6),
    )


def limited(e: FadeEstimate, noise_sd: float) -> tuple[FadeEstimate, list[str]]:
    """The estimate held back where undoing it would show noise or pass the largest gain, and what was held back.

    ``noise_sd`` is the standard deviation of noise in the scan's mid tones, density.
    """
    most = min(LARGEST_GAIN, max(1.5, LARGEST_NOISE / max(noise_sd, 1e-4)))
    share, dose, said = list(e.dye_share), list(e.light), []
    for i, name in enumerate(_DYES):
        if 1 / share[i] > most:
            said.append(f"{name} would need {1 / share[i]:.1f} times its density; held at {most:.1f} times")
            share[i] = 1 / most
        # the steepest part of the curve is at zero: 1 / (dark share * exp(-dose))
        while dose[i] > 0 and _slope_at_zero(share[i], dose[i], e.shading) > 2 * most:
            dose[i] = round(dose[i] - 0.05, 5)
        if dose[i] < e.light[i]:
            said.append(f"light tones would need more than {2 * most:.1f} times their {name}; held there")
    return replace(e, dye_share=(share[0], share[1], share[2]), light=(dose[0], dose[1], dose[2])), said


def steps(e: FadeEstimate) -> list[Step]:
    """The recipe's steps for an estimate; empty if it would change less than a good scan's own error."""
    stain = np.abs(np.subtract(e.base_density, e.fresh_base)).max()
    change = np.abs(np.log(e.dye_share)).max() + 0.3 * np.abs(e.light).max()
    if max(stain, change) < LEAST:
        return []
    matrix = np.array(e.dye_matrix)
    inverse = np.linalg.inv(matrix)
    base = np.array(e.base_density)
    made: list[Step] = []
    made.append(
        Matrix(why="density above the base to amounts of dye", matrix=_rows(inverse), offset=triple(-inverse @ base, 6))
    )
    undo = [_undoing(e.dye_share[i], e.light[i], e.shading) for i in range(3)]
    made.append(Curves(why="each dye given back what it lost", red=undo[0], green=undo[1], blue=undo[2]))
    made.append(Matrix(why="amounts of dye to density on a fresh base", matrix=_rows(matrix), offset=e.fresh_base))
    return made


def noise_of(density: Floats) -> float:
    """Standard deviation of pixel noise in the mid tones, density: from second differences in the evenest blocks."""
    grey = mean_of_channels(density)
    rows, columns = ((n - 2) // _BLOCK for n in grey.shape)
    if rows * columns < 20:
        return 0.0
    around = (grey[1:-1, :-2] - 2 * grey[1:-1, 1:-1] + grey[1:-1, 2:])[: rows * _BLOCK, : columns * _BLOCK]
    blocks = around.reshape(rows, _BLOCK, columns, _BLOCK)
    level = grey[1 : 1 + rows * _BLOCK, 1 : 1 + columns * _BLOCK].reshape(blocks.shape).mean(axis=(1, 3))
    spread = np.sqrt((blocks**2).mean(axis=(1, 3)))[(level > 0.15) & (level < 1.2)]
    if spread.size < 20:
        return 0.0
    # a second difference has sqrt(6), the mean of three channels 1/sqrt(3) of the noise of one; the evenest tenth of
    # blocks of pure noise reads 0.89 of it
    return float(np.percentile(spread, 10) / 0.89 / np.sqrt(6) * np.sqrt(3))


def _dark(share: float, dose: float, shading: float) -> float:
    """Share that dark fading left, of a dye that kept ``share`` at amount 1 after light too."""
    return float(light_fade(np.array(share), np.array(-dose), shading))


def _slope_at_zero(share: float, dose: float, shading: float) -> float:
    return float(np.exp(dose)) / _dark(share, dose, shading)


def _undoing(share: float, dose: float, shading: float) -> list[tuple[float, float]]:
    """Knots of the curve from a dye's amount now to what it was."""
    before = light_fade(_AMOUNTS, np.array(-dose), shading) / _dark(share, dose, shading)
    low = (-0.5, -0.5 * _slope_at_zero(share, dose, shading))
    knots = [low, *zip(_AMOUNTS.tolist(), before.tolist(), strict=True)]
    return [(round(float(x), 4), round(float(y), 5)) for x, y in knots]


def _words(found: FadeEstimate, held: FadeEstimate) -> list[str]:
    """What was ``found`` and what the recipe makes of it, which is less, or more, by the strength and the limits."""
    said = [
        f"{name} restored from {100 * share:.0f} % to {100 * share / kept:.0f} %"
        for name, share, kept in zip(_DYES, found.dye_share, held.dye_share, strict=True)
        if kept < 1 - SLIGHT / 4
    ]
    stain = np.subtract(held.base_density, held.fresh_base)
    for name, amount in zip(("red", "green", "blue"), stain, strict=True):
        if amount >= 0.01:
            said.append(f"{name} base stain {amount:.2f} removed")
    return said or ["a slight correction of tone and colour"]


def _rows(matrix: npt.NDArray[np.float64]) -> tuple[Triple, Triple, Triple]:
    return (triple(matrix[0], 6), triple(matrix[1], 6), triple(matrix[2], 6))
