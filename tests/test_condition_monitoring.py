"""Published limits of fading and staining, put on a grey scale with a border and given back by our arithmetic.

Sources. H. Wilhelm, Monitoring the fading and staining of color photographic prints, JAIC 21 (1981) 49-64 (read):
prints are monitored by the densities of the same places before and after; the trade's limit was a loss of 0.1 of one
or more dyes from density 1.0; stain is what the lightest part gains. The numbers of its table I are not in the text
that can be read, so none is used. ISO 18909, illustrative end points (from memory): 30 % of a dye from density 1.0,
0.10 at the lightest density, 0.06 between its colours. McCormick-Goodhart and Wilhelm, A new test method based on
CIELAB colorimetry, 2003 (read): thermal ageing changes the slope of the density scale, light shifts it.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest

from surrogate.condition import fade_colour, stain
from surrogate.condition.change import DYES, Judged, Laid, judge
from surrogate.condition.fade_network import dye_matrix, light_fade
from surrogate.imaging.density import to_density, to_srgb
from surrogate.records import Grade, Kind, Triple

Floats = npt.NDArray[np.float32]
Array = npt.NDArray[np.float64]

#: A fresh base, and the neutral steps above it: those of 0.6 and 1.0 at which prints are monitored are among them.
BASE = np.array([0.08, 0.09, 0.10])
STEPS = np.arange(0.0, 1.55, 0.1)


def scale(shares: Triple, stained: Triple = (0.0, 0.0, 0.0), matrix: Array = DYES, steps: Array = STEPS) -> Floats:
    """A grey scale of which each dye keeps a share, on stained paper: density (H, W, 3) as a 16-bit scan has it."""
    order = np.random.default_rng(8).permutation(np.resize(steps, 240)).reshape(12, 20)
    above = np.kron(order, np.ones((12, 12)))[..., None] * np.ones(3)
    amounts = above @ np.linalg.inv(matrix).T  # of cyan, magenta and yellow
    density = np.full((above.shape[0] + 48, above.shape[1] + 48, 3), BASE)
    density[24:-24, 24:-24] += (amounts * shares) @ matrix.T
    return to_density(to_srgb(density + stained, bits=16))


def monitored(shares: Triple, stained: Triple = (0.0, 0.0, 0.0)) -> Judged:
    """Before and after, laid over each other."""
    before, now = scale((1, 1, 1)), scale(shares, stained)
    everywhere = np.ones(before.shape[:2], bool)
    judged, _ = judge(Laid(before, now, everywhere, None, None), Kind.COLOUR_PRINT, None)
    return judged


@pytest.mark.parametrize(
    ("loss", "stained"),
    [
        ((0.10, 0.0, 0.0), (0.0, 0.0, 0.0)),  # JAIC 1981 (read): 0.1 of a dye from 1.0
        ((0.0, 0.10, 0.0), (0.0, 0.0, 0.0)),
        ((0.0, 0.0, 0.10), (0.0, 0.0, 0.0)),
        ((0.30, 0.0, 0.0), (0.02, 0.04, 0.10)),  # ISO 18909 (from memory): 30 % from 1.0; 0.10 at the lightest density
        ((0.30, 0.10, 0.20), (0.0, 0.03, 0.06)),  # the same with 0.06 between the colours of the base
        ((0.0, 0.0, 0.0), (0.10, 0.10, 0.10)),
    ],
)
def test_published_losses_and_stains_are_given_back(loss: Triple, stained: Triple) -> None:
    judged = monitored((1 - loss[0], 1 - loss[1], 1 - loss[2]), stained)
    assert judged.tones is not None
    assert judged.tones.loss == pytest.approx(loss, abs=0.004)
    assert judged.base == pytest.approx(stained, abs=0.002)


@pytest.mark.parametrize(
    ("lost", "grade"),
    [
        (0.095, Grade.NONE), (0.105, Grade.SLIGHT),  # either side of 0.1 from density 1.0: JAIC 1981 (read)
        (0.295, Grade.SLIGHT), (0.305, Grade.MODERATE),  # either side of 30 %: ISO 18909 (from memory)
        (0.495, Grade.MODERATE), (0.505, Grade.SEVERE),  # either side of half a dye: judgement
    ],
)  # fmt: skip
def test_what_was_measured_is_graded_at_the_published_limits(lost: float, grade: Grade) -> None:
    judged = monitored((1.0, 1 - lost, 1.0))
    assert judged.tones is not None
    left = 1 - judged.tones.loss
    estimate = fade_colour.FadeEstimate(
        dye_share=(float(left[0]), float(left[1]), float(left[2])),
        base_density=(0.08, 0.09, 0.10),
        fresh_base=(0.08, 0.09, 0.10),
        light=(0.0, 0.0, 0.0),
        covariance=np.eye(6) * 1e-6,
        evidence=(),
        dye_matrix=((1, 0, 0), (0, 1, 0), (0, 0, 1)),
        shading=1.0,
    )
    loss, _, found = fade_colour.density_loss(estimate)
    assert found is grade
    assert loss[1] == pytest.approx(lost, abs=0.004)


@pytest.mark.parametrize(("between", "grade"), [(0.055, Grade.NONE), (0.065, Grade.SLIGHT)])
def test_stain_is_graded_at_the_published_limit(between: float, grade: Grade) -> None:
    # ISO 18909, illustrative (from memory): 0.06 between the colours of the lightest density
    tones = scale((1, 1, 1)) + np.float32(0.4)
    base = (float(BASE[0]), float(BASE[0]) + between / 2, float(BASE[0]) + between)
    found, _ = stain.measure(tones, ppi=None, kind=Kind.SILVER_PRINT, base_density=base)
    assert found.grade is grade


def test_dark_fading_changes_the_slope_and_light_shifts_the_scale() -> None:
    # McCormick-Goodhart and Wilhelm 2003 (read). Dark: the same share at 0.6 and at 1.0, the two monitored densities.
    before, now = scale((1, 1, 1)), scale((0.7, 0.7, 0.7))
    for step in (0.6, 1.0):
        here = np.abs(before - BASE - step).max(axis=2) < 0.002
        assert 1 - ((now - BASE)[here].mean() / (before - BASE)[here].mean()) == pytest.approx(0.30, abs=0.002)
    # Light: thick dye loses one amount, wherever it starts.
    thick = np.array([2.0, 2.5, 3.0], np.float32)
    lost = thick - light_fade(thick, np.float32(0.6), 2.0)
    assert lost == pytest.approx(np.full(3, 0.3), abs=0.01)


@pytest.mark.parametrize("shares", [(0.7, 1.0, 1.0), (0.7, 0.85, 0.8), (0.5, 0.8, 0.7), (0.6, 0.6, 0.6)])
def test_the_estimate_agrees_with_maximum_likelihood(shares: Triple) -> None:
    """Where the steps are known, noise is normal and a border gives the base, the most likely shares are solved by
    hand: least squares of each dye's amounts now on those then. The estimator, which sees only the scan after, must lie
    within what its own interval allows (2.5 half-widths: one in eighty is beyond, normal distribution).
    """
    matrix = np.asarray(dye_matrix(), np.float64)
    steps = np.linspace(0.0, 2.1, 22)
    then = (scale((1, 1, 1), matrix=matrix, steps=steps) - BASE)[24:-24, 24:-24] @ np.linalg.inv(matrix).T
    seen = scale(shares, matrix=matrix, steps=steps)
    seen = seen + np.random.default_rng(2).normal(0, 0.01, seen.shape).astype(np.float32)
    now = (seen - BASE)[24:-24, 24:-24] @ np.linalg.inv(matrix).T
    likely = (then * now).sum(axis=(0, 1)) / (then * then).sum(axis=(0, 1))
    assert likely == pytest.approx(shares, abs=0.002)
    estimate = fade_colour.estimate(seen)
    spread = np.array(fade_colour.density_loss(estimate)[1])
    assert estimate.base_density == pytest.approx(BASE, abs=0.01)
    assert (np.abs(np.array(estimate.dye_share) - likely) < 2.5 * spread).all()
    assert spread.max() < 0.12  # an interval that says nothing would always be right (widest seen: 0.102)
