"""Recovery of silver prints: tones back where they were, stain out, the print's own tone kept."""

from __future__ import annotations

import cv2
import numpy as np
import numpy.typing as npt

from surrogate.condition.fade_silver import MIX, SilverEstimate
from surrogate.records import Tone, Triple
from surrogate.recovery.recipe import Curves, Matrix, Plan, Plane, Step

Floats = npt.NDArray[np.float32]
Vector = npt.NDArray[np.float64]

#: Below this nothing would be seen: a change of 0.01 in density is one half of a just noticeable step in mid-grey.
LEAST_TRUST = 0.02

#: Density contrast is raised at most so much: grain and scanner noise rise with it.
MAX_GAIN = 5.0

#: Blue and green warmth of a warm-tone paper, density per density of image (common practice, no source).
WARM = (0.0, 0.035, 0.09)

#: From this probability on, a tone is taken as deliberate and the print is left alone.
TONED = 0.5

#: Edge stain is worth a field from this blue density on.
LEAST_STAIN = 0.02

#: Yellow stain in R, G, B per density of B minus R (from memory: absorbs blue, some green, little red).
YELLOW = (0.15, 0.45, 1.15)

FIELD_NODES = 24
UNIT = 0.004


def plan(density: Floats, estimate: SilverEstimate, tone: Tone, strength: float) -> Plan:
    """Plan a copy of a silver print.

    ``density`` (H, W, 3); ``tone`` as found, neutral or warm; ``strength`` 0 (alone) to 1.3. Deliberate toning is kept
    unless a person asks for another tone.
    """
    if strength <= 0:
        return Plan(steps=[], words=[])
    limits: list[str] = []
    far = min(estimate.trust * strength, 1.3)
    if estimate.toned > TONED:
        far = 0.0
        if tone is Tone.AS_FOUND:
            kept = "the tone looks deliberate (toning or hand colouring) and is kept"
            limits.append(f"{kept}; if it is not, write neutral or warm under tone in the caption sheet")
    far = far if far >= LEAST_TRUST else 0.0
    if far == 0.0 and tone is Tone.AS_FOUND:
        return Plan(steps=[], words=[], evidence=list(estimate.evidence), limits=limits)
    found, wanted = estimate.tones.found, _wanted(estimate, tone, far)
    to_grey = 1.0 if tone is not Tone.AS_FOUND else min(far, 1.0)
    steps: list[Step] = []
    words = []
    field = _edge_field(density, min(far, 1.0)) if far > 0 else None
    if field is not None:
        steps.append(field)
        most = float(np.quantile(np.array(field.levels), 0.99)) * UNIT
        words.append(f"yellow stain evened out, edges first (up to {most:.2f} density in blue)")
    if to_grey > 0:
        steps.append(_mix_step(to_grey))
    curves, capped = _curves(found, wanted, to_grey)
    steps.append(curves)
    if capped:
        limits.append(f"contrast was raised no more than {MAX_GAIN:.0f} times, to keep grain and noise down")
    return Plan(steps=steps, words=words + _words(estimate, tone, far), evidence=list(estimate.evidence), limits=limits)


def _wanted(estimate: SilverEstimate, tone: Tone, far: float) -> Vector:
    """Densities that the copy shall have along the image's line, (N, 3)."""
    tones = estimate.tones
    wanted = tones.found + far * (tones.fresh - tones.found)
    if tone is Tone.AS_FOUND:
        return wanted
    grey = (wanted @ MIX)[:, None]
    warmth = np.array(WARM) if tone is Tone.WARM else np.zeros(3)
    return np.asarray(grey + (grey - grey[0]) * warmth)


def _mix_step(share: float) -> Matrix:
    mixed = (1 - share) * np.eye(3) + share * np.tile(MIX.astype(np.float64), (3, 1))
    rows: list[Triple] = [(round(float(r[0]), 4), round(float(r[1]), 4), round(float(r[2]), 4)) for r in mixed]
    return Matrix(why="one image in silver: channels joined by signal over stain", matrix=(rows[0], rows[1], rows[2]))


def _curves(found: Vector, wanted: Vector, to_grey: float) -> tuple[Curves, bool]:
    """Curves that take the line as found (after the mix) to the line as wanted; whether the gain was capped."""
    grey = (found @ MIX)[:, None]
    start = (1 - to_grey) * found + to_grey * grey
    knots, capped = [], False
    for channel in range(3):
        xs, ys = _rising(start[:, channel]), wanted[:, channel]
        steps, rises = np.diff(xs), np.diff(ys)
        limited = np.clip(rises, 0.02 * steps, MAX_GAIN * steps)
        capped = capped or bool((rises > MAX_GAIN * steps + 1e-9).any())
        # anchored at the lightest tone: paper must come out right before anything else
        ys = ys[0] + np.concatenate([[0], np.cumsum(limited)])
        knots.append([(round(float(x), 4), round(float(y), 4)) for x, y in zip(xs, ys, strict=True)])
    return Curves(why="tones to where they were", red=knots[0], green=knots[1], blue=knots[2]), capped


def _rising(values: Vector) -> Vector:
    """The values made strictly rising by at least 0.002, by the least change from the light end."""
    out = values.copy()
    for i in range(1, len(out)):
        out[i] = max(out[i], out[i - 1] + 0.002)
    return out


def _edge_field(density: Floats, share: float) -> Plane | None:
    """Yellow stain beyond the picture's own line, as a field; None where there is little."""
    scale = min(1.0, 512 / max(density.shape[:2]))
    size = (max(2, round(density.shape[1] * scale)), max(2, round(density.shape[0] * scale)))
    small = cv2.resize(density, size, interpolation=cv2.INTER_AREA)
    flat = small.reshape(-1, 3).astype(np.float64)
    order = np.argsort(flat @ MIX, kind="stable")
    yellow = (flat[:, 2] - flat[:, 0])[order]
    residual = np.empty_like(yellow)
    residual[order] = np.concatenate([p - np.median(p) for p in np.array_split(yellow, 24)])
    residual = np.clip(residual, -0.3, 0.8).reshape(size[1], size[0])
    nodes = FIELD_NODES / max(size)
    grid_size = (max(2, round(size[0] * nodes)), max(2, round(size[1] * nodes)))
    grid = cv2.resize(residual.astype(np.float32), grid_size, interpolation=cv2.INTER_AREA)
    grid = cv2.GaussianBlur(grid, (0, 0), 1.0, borderType=cv2.BORDER_REPLICATE)
    grid = share * (grid - np.quantile(grid, 0.25))
    if np.quantile(grid, 0.95) < LEAST_STAIN:
        return None
    levels = np.rint(grid / UNIT).astype(int).tolist()
    return Plane(why="yellow stain, edges first", unit=UNIT, share=YELLOW, levels=levels)


def _words(estimate: SilverEstimate, tone: Tone, far: float) -> list[str]:
    said = []
    if far > 0:
        said.append(f"tones restored: {100 * estimate.loss:.0f} % of the image silver had gone")
        base = np.array(estimate.base_density) - estimate.tones.fresh[0]
        if base[2] * far > 0.02:
            said.append(f"yellowing of the whole paper removed ({base[2] * far:.2f} density in blue)")
    if tone is not Tone.AS_FOUND:
        said.append(f"image tone set to {tone.value}")
    return said
