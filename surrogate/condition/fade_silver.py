"""How far a silver print has faded, and the tones it had: read from its densities alone.

A silver print holds one image, so all its colours lie on one line through density space. Fading bends that line:
the finest silver, in the lights, goes first; what is attacked turns brown; the base yellows, edges first. A small
regression, fitted on photographs put through a broad family of simulated ageing (tests/fit/fit_silver.py), reads the
bend and the spread of tones and answers with the tones of the print as it was, by how much it may be believed, and
with whether the colour looks deliberate. ``docs/recovery.md`` has the formulas and the figures.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files

import cv2
import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float32]
Vector = npt.NDArray[np.float64]

#: Red and green carry the image; stain sits in blue.
MIX = np.array([0.5, 0.4, 0.1], dtype=np.float32)

#: Long edge, in px, at which a print is measured: grain and noise average out, edges keep their place.
PROXY_PX = 192

QUANTILES = (
    0.002, 0.005, 0.01, 0.02, 0.035, 0.06, 0.1, 0.15, 0.2, 0.25, 0.3, 0.35, 0.4, 0.45, 0.5,
    0.55, 0.6, 0.65, 0.7, 0.75, 0.8, 0.85, 0.9, 0.94, 0.965, 0.98, 0.99, 0.995, 0.998,
)  # fmt: skip
BINS = 14

#: Half-width of the 68 % interval over the scale that the network states. Its fit is surer than other ageing bears out:
#: of 90 prints (30 photographs of the fit's sources, faded by tests/simulate) 68 % lie within 1.6 to 2.3 scales. Of 135
#: others and the loss as stated now, which is of density, within 1.8, 1.2 and 2.3 (mild, medium, severe).
INTERVAL = 2.0

#: Mean density above its base below which a picture is an even sheet without a curve to read (judgement).
_FLATTEST = 0.02

#: Points of the curve between the lightest and the darkest tone.
NODES = 10

#: Network outputs: lightest tone, NODES - 1 steep-nesses, tone (4), how far to go, toned, loss, its uncertainty.
OUTPUTS = 1 + (NODES - 1) + 4 + 1 + 1 + 1 + 1

#: Of yellow stain, R-G and B-G density (from memory: yellowed gelatin and paper absorb blue, some green, little red).
_YELLOW = np.array([-0.4, 0.9]) / np.hypot(0.4, 0.9)


@dataclass(frozen=True)
class Tones:
    """Colours along the image's own line, light to dark: (N, 3) R, G, B density as found and as they were."""

    found: Vector
    fresh: Vector


@dataclass(frozen=True)
class SilverEstimate:
    """What a silver print's densities say.

    ``loss`` share of density above base that is gone, over the whole picture; ``loss_shadows``, ``loss_highlights``
    the same at the darkest and at light tones. ``uncertainty`` half-width of the 68 % interval of ``loss``.
    ``base_density`` lightest R, G, B density; ``dmax`` darkest grey density. ``tone``: B minus R density per density
    of image, positive = warm. ``toned`` probability 0-1 that the tone is deliberate. ``mirroring`` confidence 0-1
    that dark edges are silvered. ``edge_yellowing`` blue density that edges have more than the middle.
    ``tones`` is what a recovery follows; ``trust`` 0-1 how far.
    """

    loss: float
    loss_shadows: float
    loss_highlights: float
    uncertainty: float
    base_density: tuple[float, float, float]
    dmax: float
    tone: float
    toned: float
    mirroring: float
    edge_yellowing: float
    evidence: tuple[str, ...]
    tones: Tones
    trust: float


def estimate(density: Floats) -> SilverEstimate:
    """Measure a silver print from its picture's density, (H, W, 3)."""
    small = proxy(density)
    facts = features(small)
    answer = network().answer(facts)
    tones = tones_of(small, answer)
    above_found = tones.found @ MIX - tones.found[0] @ MIX
    above_fresh = np.maximum(tones.fresh @ MIX - tones.fresh[0] @ MIX, 1e-3)
    lost = 1 - above_found / above_fresh
    lights = int(np.searchsorted(above_fresh, 0.4))
    edge = edge_yellowing(small)
    toned = float(_logistic(answer[NODES + 5]))
    loss = float(np.clip(0.5 * (answer[NODES + 6] + _curve_loss(small, tones)), 0, 1))
    uncertainty = INTERVAL * float(np.exp(np.clip(answer[NODES + 7], -4, 0)))
    return SilverEstimate(
        loss=loss,
        loss_shadows=float(np.clip(lost[-1], 0, 1)),
        loss_highlights=float(np.clip(lost[max(1, min(lights, NODES - 1))], 0, 1)),
        uncertainty=uncertainty,
        base_density=(float(tones.found[0, 0]), float(tones.found[0, 1]), float(tones.found[0, 2])),
        dmax=float(tones.found[-1] @ MIX),
        tone=_warmth(tones.found),
        toned=toned,
        mirroring=_mirroring(small),
        edge_yellowing=edge,
        evidence=_evidence(tones, edge, toned),
        tones=tones,
        trust=trust_of(answer),
    )


def proxy(density: Floats) -> Floats:
    """The picture at ``PROXY_PX``, (h, w, 3); a picture of a few pixels is repeated to 8 at least."""
    scale = min(1.0, PROXY_PX / max(density.shape[:2]))
    size = (max(8, round(density.shape[1] * scale)), max(8, round(density.shape[0] * scale)))
    return np.asarray(cv2.resize(density, size, interpolation=cv2.INTER_AREA))


def features(small: Floats) -> Vector:
    """What the regression sees of a proxy (h, w, 3): tones, colour against tone, colour's scatter, the edges."""
    flat = small.reshape(-1, 3).astype(np.float64)
    grey = flat @ MIX
    order = np.argsort(grey, kind="stable")
    chroma = (flat[:, [0, 2]] - flat[:, [1]])[order]
    bins = [b.mean(axis=0) for b in np.array_split(chroma, BINS)]
    residual = chroma - np.repeat(bins, [len(b) for b in np.array_split(chroma, BINS)], axis=0)
    across = residual @ np.array([_YELLOW[1], -_YELLOW[0]])
    along = residual @ _YELLOW
    scatter = [np.log(0.003 + b.std()) for part in (across, along) for b in np.array_split(part, 4)]
    back = np.empty_like(along)
    back[order] = along
    ring = _ring(small.shape[0], small.shape[1])
    at_ring = np.quantile(grey[ring], (0.05, 0.25, 0.5, 0.75))
    light = np.quantile(grey, 0.01)
    plain = [np.mean(grey < light + 0.03), np.mean(grey[ring] < light + 0.05)]
    return np.concatenate(
        [
            np.quantile(grey, QUANTILES),
            np.ravel(bins),
            scatter,
            at_ring,
            plain,
            [back[ring].mean() - back[~ring].mean()],
        ]
    )


FEATURES = len(QUANTILES) + 2 * BINS + 8 + 4 + 2 + 1


def _ring(height: int, width: int) -> npt.NDArray[np.bool_]:
    """The outermost twentieth of the frame, flat (H * W)."""
    band = max(1, round(0.05 * min(height, width)))
    inside = np.zeros((height, width), dtype=bool)
    inside[band : height - band, band : width - band] = True
    return ~inside.ravel()


def edge_yellowing(small: Floats) -> float:
    """Blue density that the edges have beyond the middle, at equal grey."""
    flat = small.reshape(-1, 3).astype(np.float64)
    order = np.argsort(flat @ MIX, kind="stable")
    yellow = (flat[:, 2] - flat[:, 0])[order]
    parts = np.array_split(yellow, BINS)
    residual = np.empty_like(yellow)
    residual[order] = np.concatenate([p - np.median(p) for p in parts])
    ring = _ring(small.shape[0], small.shape[1])
    return float(residual[ring].mean() - residual[~ring].mean())


def _mirroring(small: Floats) -> float:
    """Confidence that dark edges are silvered: the darkest edge tones are lighter and bluer than the darkest inside."""
    flat = small.reshape(-1, 3).astype(np.float64)
    grey = flat @ MIX
    ring = _ring(small.shape[0], small.shape[1])
    dark_ring = np.quantile(grey[ring], 0.98)
    if dark_ring < 0.5 * np.quantile(grey, 0.99):
        return 0.0
    inside = flat[~ring][grey[~ring] >= np.quantile(grey[~ring], 0.97)].mean(axis=0)
    edge = flat[ring][grey[ring] >= np.quantile(grey[ring], 0.97)].mean(axis=0)
    bluer = (inside[2] - inside[0]) - (edge[2] - edge[0])
    return float(np.clip((inside @ MIX - edge @ MIX - 0.1) / 0.5, 0, 1) * np.clip(bluer / 0.08, 0, 1))


def _logistic(value: float) -> float:
    return float(1 / (1 + np.exp(-np.clip(value, -30, 30))))


def trust_of(answer: Vector) -> float:
    """How far the estimate is followed, 0-1, with both ends attainable."""
    return float(np.clip(1.2 * _logistic(answer[NODES + 4]) - 0.1, 0, 1))


def line_of(small: Floats) -> tuple[Vector, Vector]:
    """Grey densities of the curve's nodes (NODES,), and the R, G, B densities (NODES, 3) found there."""
    flat = small.reshape(-1, 3).astype(np.float64)
    grey = flat @ MIX
    low, high = np.quantile(grey, (0.002, 0.998))
    nodes = np.linspace(low, max(high, low + 0.05), NODES)
    step = nodes[1] - nodes[0]
    # Gaussian-weighted means about each node; nodes in empty stretches borrow from their neighbours
    sample = flat[:: max(1, len(flat) // 20_000)]
    weight = np.exp(-0.5 * (((sample @ MIX)[None] - nodes[:, None]) / (0.5 * step)) ** 2) + 1e-9
    chroma = sample - (sample @ MIX)[:, None]
    return nodes, nodes[:, None] + (weight @ chroma) / weight.sum(axis=1, keepdims=True)


def tones_of(small: Floats, answer: Vector) -> Tones:
    """The image's line as found, and as the answer says it was before the trust is applied."""
    nodes, found = line_of(small)
    step = nodes[1] - nodes[0]
    grey = nodes[0] + 0.1 * answer[0] + np.concatenate([[0], np.cumsum(step * np.exp(np.clip(answer[1:NODES], -3, 3)))])
    red = 0.02 * (answer[NODES] + answer[NODES + 1] * grey)
    blue = 0.05 * (answer[NODES + 2] + answer[NODES + 3] * grey)
    green = -(MIX[0] * red + MIX[2] * blue) / MIX[1]
    return Tones(found, np.stack([grey + red, grey + green, grey + blue], axis=1))


def _curve_loss(small: Floats, tones: Tones) -> float:
    """Share of the picture's red density above its base that is gone, if its tones were as ``tones`` says.

    The network answers for the silver, of which what has turned brown still darkens: on 45 photographs of the fit's
    sources, faded by tests/simulate, its answer is too high for the density of severe prints by 0.07 and this one too
    low by 0.05; their mean is off by 0.01. An even sheet has no curve and lost nothing by it.
    """
    grey = small.reshape(-1, 3) @ MIX
    at = tones.found @ MIX
    found, fresh = (np.interp(grey, at, line[:, 0] - line[0, 0]).sum() for line in (tones.found, tones.fresh))
    return float(np.clip(1 - found / fresh, 0, 1)) if fresh > _FLATTEST * len(grey) else 0.0


def _warmth(line: Vector) -> float:
    """Slope of B minus R density against grey density along the line."""
    grey = line @ MIX
    return float(np.polyfit(grey, line[:, 2] - line[:, 0], 1)[0])


def _evidence(tones: Tones, edge: float, toned: float) -> tuple[str, ...]:
    found = tones.found
    said = [
        f"lightest tone of density {found[0, 0]:.2f} {found[0, 1]:.2f} {found[0, 2]:.2f} (red green blue)",
        f"darkest tone of density {found[-1] @ MIX:.2f}, thought to have been {tones.fresh[-1] @ MIX:.2f}",
    ]
    if edge > 0.02:
        said.append(f"edges yellower by {edge:.2f} (blue density)")
    if toned > 0.5:
        said.append(f"tone looks deliberate ({100 * toned:.0f} %)")
    return tuple(said)


@dataclass(frozen=True)
class Network:
    """Two hidden layers of rectified units on standardised facts."""

    centre: Vector
    spread: Vector
    weights: tuple[Vector, ...]
    biases: tuple[Vector, ...]

    def answer(self, facts: Vector) -> Vector:
        """(..., FEATURES) to (..., OUTPUTS)."""
        x = np.clip((facts - self.centre) / self.spread, -6, 6)
        for weight, bias in zip(self.weights[:-1], self.biases[:-1], strict=True):
            x = np.maximum(x @ weight + bias, 0)
        return np.asarray(x @ self.weights[-1] + self.biases[-1])


@lru_cache(maxsize=1)
def network() -> Network:
    """The fitted network that ships with the program."""
    with files("surrogate.condition").joinpath("fade_silver.npz").open("rb") as file, np.load(file) as stored:
        kept = {name: stored[name].astype(np.float64) for name in stored.files}
    layers = range(3)
    return Network(
        kept["centre"],
        kept["spread"],
        tuple(kept[f"weight{i}"] for i in layers),
        tuple(kept[f"bias{i}"] for i in layers),
    )
