"""How much of each dye a chromogenic colour print has lost, and how sure that is.

The estimate is read from one scan without any reference: a border, where there is one, gives the base; small networks
fitted on photographs put through a broad family of simulated ageing (tests/fit) read the rest from the densities.
`docs/fade-model.md` holds the model, the data and the figures.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from surrogate.condition import border as borders
from surrogate.condition import fade_network as network
from surrogate.condition.colorimetry import triple
from surrogate.records import Grade, Triple

Floats = npt.NDArray[np.float32]
Covariance = npt.NDArray[np.float64]

#: Loss of the worst dye from which a print counts as faded: 0.1 density at density 1.0, the criterion of the trade
#: literature to 1981; from which it is moderate: 30 %, the illustrative end point of ISO 18909 (from memory); severe:
#: half of a dye gone (judgement).
SLIGHT, MODERATE, SEVERE = 0.10, 0.30, 0.50

#: A loss below MODERATE that is less than this many half-widths of its interval counts as none: chance alone passes it
#: once in a hundred (one-sided normal distribution). Seen on photographs that the fit did not see: 0.93 of unfaded
#: prints are graded "none" by it, and no severe one.
SURE = 2.33

#: Half-width of the 68 % interval of a loss beyond which nothing is said: as wide as moderate fading (judgement).
WIDEST_INTERVAL = 0.25

#: A picture smaller or flatter than this holds too little to judge from (judgement).
SMALLEST_PX = 24
FLATTEST = 0.03

#: Squared distance (6 numbers) at which a print does not belong to its lot: for Gaussian errors passed by one in a
#: thousand. Measured on 36 simulated lots of six, photographs and ageing not fitted on: 0.9 % of prints that belong
#: pass it, 69 % of strangers of another level of fading.
STRANGER = 22.5

#: Most prints that the lot's network was fitted on; larger lots are judged in groups, then averaged.
LOT = 8

_DYES = ("cyan", "magenta", "yellow")
#: Estimated loss at which the interval factors were measured.
_LOSS_KNOTS = (0.0, 0.09, 0.25, 0.5)


@dataclass(frozen=True)
class FadeEstimate:
    """What one print's densities say about its fading.

    ``dye_share``: share of cyan, magenta, yellow dye kept, at a density of 1.0 above the base, 0..1.05.
    ``base_density``: R, G, B density of the base with its stain, now. ``fresh_base``: what it read before it aged.
    ``light``: dose of light per dye, 0 = none: a thin density keeps ``exp(-light)`` of what dark fading left, thick
    ones lose a fixed amount instead (see :func:`surrogate.condition.fade_network.light_fade`).
    ``covariance``: (6, 6) of log share C, M, Y and base R, G, B. ``evidence``: words for people. ``dye_matrix``: R, G,
    B density of unit amounts of C, M, Y (rows sum to 1) as judged of this print, and ``shading``: how strongly a dye
    shades itself, assumed of all prints. ``measurable``: False
    where the picture holds too little to judge from; the numbers then say "nothing happened".
    """

    dye_share: Triple
    base_density: Triple
    fresh_base: Triple
    light: Triple
    covariance: Covariance
    evidence: tuple[str, ...]
    dye_matrix: tuple[Triple, Triple, Triple]
    shading: float
    measurable: bool = True


@dataclass(frozen=True)
class Glance:
    """All that the estimate of a lot needs of one print: a few kB."""

    look: network.Look
    bordered: bool


@dataclass(frozen=True)
class _Sight:
    """One print as the networks see it."""

    border: borders.Border | None
    picture: Floats  # (3, PROXY_PX, PROXY_PX) without border
    look: network.Look

    @property
    def glance(self) -> Glance:
        return Glance(self.look, self.border is not None)


def estimate(density: Floats) -> FadeEstimate:
    """Estimate one print. ``density`` is (H, W, 3) float32 R, G, B density of the print alone, border included."""
    sight = _see(density)
    return _nothing(density) if sight is None else _told(sight, sight.look, ())


def estimate_jointly(densities: Sequence[Floats]) -> list[FadeEstimate]:
    """Estimate prints that were kept together as one ageing of many scenes; same order and length as ``densities``.

    A print whose own estimate cannot be squared with that of the others is judged alone, and says so.
    """
    sights = [_see(density) for density in densities]
    seen = [i for i, sight in enumerate(sights) if sight is not None]
    lot = _together([sight.glance for sight in sights if sight is not None])
    made = [_nothing(density) if sight is None else None for density, sight in zip(densities, sights, strict=True)]
    for place, i in enumerate(seen):
        sight = sights[i]
        if sight is not None:
            made[i] = _in_lot(sight, lot, place)
    return [estimate for estimate in made if estimate is not None]


def glance(density: Floats) -> Glance | None:
    """What the estimate of a lot needs of one print; ``density`` as for :func:`estimate`. None: too little to see."""
    sight = _see(density)
    return None if sight is None else sight.glance


def estimate_in_lot(density: Floats, glances: Sequence[Glance], place: int) -> FadeEstimate:
    """The print's estimate as :func:`estimate_jointly` gives it, from what was seen of every print of its lot.

    ``glances[place]`` is that of the print itself. The same glances in the same order give the same numbers.
    """
    sight = _see(density)
    return _nothing(density) if sight is None else _in_lot(sight, _together(glances), place)


def density_loss(e: FadeEstimate) -> tuple[Triple, Triple, Grade]:
    """Share of cyan, magenta, yellow density lost at 1.0 above base; half-widths of the 68 % intervals; grade."""
    loss = tuple(min(1.0, max(0.0, 1.0 - share)) for share in e.dye_share)
    spread = tuple(share * float(np.sqrt(e.covariance[i, i])) for i, share in enumerate(e.dye_share))
    if not e.measurable or max(spread) > WIDEST_INTERVAL:
        grade = Grade.NOT_MEASURABLE
    else:
        sure = [x for x, s in zip(loss, spread, strict=True) if x >= MODERATE or x >= SURE * s]
        worst = max(sure, default=0.0)
        steps = ((SEVERE, Grade.SEVERE), (MODERATE, Grade.MODERATE), (SLIGHT, Grade.SLIGHT))
        grade = next((name for bound, name in steps if worst >= bound), Grade.NONE)
    return (loss[0], loss[1], loss[2]), (spread[0], spread[1], spread[2]), grade


def _see(density: Floats) -> _Sight | None:
    """Border and networks' view of one print; None where it holds too little to judge from."""
    if min(density.shape[:2]) < SMALLEST_PX or not np.isfinite(density).all():
        return None
    border = borders.find(density)
    inside = density
    if border is not None:
        top, bottom, left, right = border.inner
        inside = density[top:bottom, left:right]
        if min(inside.shape[:2]) < SMALLEST_PX:
            return None
    picture = network.proxy(inside)
    if float(picture.mean(axis=0).std()) < FLATTEST:
        return None
    return _Sight(border, picture, network.look(picture, None if border is None else border.density))


@dataclass(frozen=True)
class _Lot:
    """Places of the prints that are judged together, and what they say; None where there are not two."""

    kept: list[int]
    look: network.Look | None


def _together(glances: Sequence[Glance]) -> _Lot:
    """Leave out, one by one, the print farthest from the others, while it is a stranger and more than two are left."""
    kept = list(range(len(glances)))
    while len(kept) > 2:
        farthest = max(kept, key=lambda i: _distance(i, kept, glances))
        if _distance(farthest, kept, glances) < STRANGER:
            break
        kept.remove(farthest)
    return _Lot(kept, _pooled([glances[i].look for i in kept]) if len(kept) > 1 else None)


def _in_lot(sight: _Sight, lot: _Lot, place: int) -> FadeEstimate:
    if lot.look is None:
        return _told(sight, sight.look, ())
    if place in lot.kept:
        return _told(sight, lot.look, (f"judged together with {_others(len(lot.kept) - 1)} of its lot",))
    return _told(sight, sight.look, ("judged alone: it differs from the other prints of its lot",))


def _others(count: int) -> str:
    return f"{count} other print{'' if count == 1 else 's'}"


def _pooled(looks: list[network.Look]) -> network.Look:
    """One estimate of a lot of any size: groups of at most LOT, averaged."""
    groups = -(-len(looks) // LOT)
    made = [network.look_together(looks[g::groups]) for g in range(groups)]
    return replace(
        made[0],
        theta=np.mean([m.theta for m in made], axis=0),
        gate=float(np.mean([m.gate for m in made])),
        root=np.mean([m.root for m in made], axis=0),
    )


def _distance(i: int, kept: list[int], glances: Sequence[Glance]) -> float:
    """Squared Mahalanobis distance of print i from what the other kept prints say together."""
    others = [glances[j].look for j in kept if j != i]
    if not others:
        return 0.0
    rest = _pooled(others) if len(others) > 1 else others[0]
    own, theirs = (network.gated(look.theta, look.gate)[:6] for look in (glances[i].look, rest))
    bordered = glances[i].bordered
    spread = _covariance(glances[i].look, bordered=bordered) + _covariance(rest, bordered=bordered)
    return float((own - theirs) @ np.linalg.solve(spread, own - theirs))


def _covariance(look: network.Look, *, bordered: bool) -> Covariance:
    """(6, 6) covariance, widened or narrowed so that intervals hold 68 % on photographs that the fit did not see."""
    root = look.root.astype(np.float64)
    covariance = np.linalg.inv(root @ root.T + 1e-6 * np.eye(6))
    table = network.weights()["intervals"][1 if bordered else 0]
    loss = float(1 - np.exp(network.gated(look.theta, look.gate)[:3]).mean())
    factor = np.array([np.interp(loss, _LOSS_KNOTS, table[:, i]) for i in range(6)])
    return np.asarray(covariance * np.outer(factor, factor))


def _told(sight: _Sight, look: network.Look, about_lot: tuple[str, ...]) -> FadeEstimate:
    """The estimate of one print as a record. Numbers are rounded, so that no platform's last bit shows."""
    theta = network.gated(look.theta, look.gate).astype(np.float64).round(5)
    matrix = network.dye_matrix(theta[12:].astype(np.float32)).astype(np.float64).round(5)
    made = FadeEstimate(
        dye_share=triple(np.clip(np.exp(theta[:3]), 0.05, 1.05), 5),
        base_density=triple(theta[3:6], 5),
        fresh_base=triple(theta[6:9], 5),
        light=triple(np.clip(theta[9:12], -0.5, 3.0), 5),
        covariance=_covariance(look, bordered=sight.border is not None).round(8),
        evidence=(),
        dye_matrix=(triple(matrix[0], 5), triple(matrix[1], 5), triple(matrix[2], 5)),
        shading=round(float(network.weights()["beta"]), 5),
    )
    return replace(made, evidence=(*_words(made, sight), *about_lot))


def _nothing(density: Floats) -> FadeEstimate:
    """The estimate of a picture that holds too little to judge from."""
    base = np.percentile(np.nan_to_num(density).reshape(-1, 3), 0.5, axis=0).astype(np.float64)
    matrix = network.dye_matrix().astype(np.float64).round(5)
    return FadeEstimate(
        dye_share=(1.0, 1.0, 1.0),
        base_density=triple(base, 5),
        fresh_base=triple(base, 5),
        light=(0.0, 0.0, 0.0),
        covariance=np.diag([1.0] * 3 + [0.25] * 3),
        evidence=("the picture is too small or too even to judge from",),
        dye_matrix=(triple(matrix[0], 5), triple(matrix[1], 5), triple(matrix[2], 5)),
        shading=round(float(network.weights()["beta"]), 5),
        measurable=False,
    )


def _words(e: FadeEstimate, sight: _Sight) -> tuple[str, ...]:
    """What the estimate rests on, for people."""
    said = []
    if sight.border is not None:
        said.append(f"white border at {', '.join(sight.border.sides)}")
    else:
        said.append("no white border: the base is judged from the lightest tones")
    stain = np.subtract(e.base_density, e.fresh_base)
    if stain.max() >= 0.02:
        channel = int(np.argmax(stain))
        said.append(f"{('red', 'green', 'blue')[channel]} density {stain[channel]:.2f} above a fresh base")
    mean = sight.picture.mean(axis=0)
    neutral = np.ptp(sight.picture, axis=0) < 0.15
    darkest = float(np.percentile(mean, 99.5))
    if neutral.mean() > 0.002:
        dark = float(np.percentile(mean[neutral], 99))
        said.append(
            f"darkest neutral tone of density {dark:.2f}"
            if dark > darkest - 0.2
            else f"nothing neutral is darker than density {dark:.2f}"
        )
    else:
        said.append("nothing in the picture is neutral")
    said.append(f"darkest tone of density {darkest:.2f}")
    for name, share, dose in zip(_DYES, e.dye_share, e.light, strict=True):
        if dose > 0.15 and share < 1 - SLIGHT:
            said.append(f"light tones lost more of their {name} than dark ones, as fading by light does")
    return tuple(said)
