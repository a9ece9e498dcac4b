"""Fade of colour prints: the estimator against cases whose answer is known beforehand."""

from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pytest

from surrogate.condition import border, fade_colour, fade_network
from surrogate.records import Grade

Floats = npt.NDArray[np.float32]

#: Half floats and another order of sums: far below what any figure shows.
SAME_ARITHMETIC = 2e-3


def waves() -> Floats:
    """The picture of waves that the fit script answers for (tests/fit/fit_fade.py, check_scan)."""
    axis = np.arange(fade_network.PROXY_PX) / fade_network.PROXY_PX
    y, x = np.meshgrid(axis, axis, indexing="ij")
    channels = [0.75 + 0.45 * np.sin(9 * x + 2 * c) * np.cos((7 + c) * y) + 0.2 * x * y + 0.1 * c * y for c in range(3)]
    return np.stack(channels).astype(np.float32)


def scene(height: int = 160, width: int = 220) -> Floats:
    """A made-up neutral scene: patches of many densities, 0.05 to 1.9."""
    rng = np.random.default_rng(4)
    small = rng.uniform(0.05, 1.9, (9, 12)).astype(np.float32)
    big = np.kron(small, np.ones((height // 9 + 1, width // 12 + 1), dtype=np.float32))[:height, :width]
    return np.repeat(big[..., None], 3, axis=2)


def framed(picture: Floats, paper: tuple[float, float, float], width: int = 12) -> Floats:
    height, wide = picture.shape[:2]
    out = np.full((height + 2 * width, wide + 2 * width, 3), paper, dtype=np.float32)
    out[width:-width, width:-width] = picture
    return out


def test_numpy_and_the_fit_script_give_the_same_answer() -> None:
    seen = fade_network.look(waves(), (0.09, 0.12, 0.2))
    mine = np.concatenate([seen.theta, [seen.gate], seen.root.ravel()])
    assert mine == pytest.approx(fade_network.weights()["check"][0], abs=SAME_ARITHMETIC, rel=SAME_ARITHMETIC)


def test_weights_are_small_and_hold_no_pickle() -> None:
    from importlib.resources import files

    data = files("surrogate.condition").joinpath("fade_model.npz").read_bytes()
    assert len(data) <= 4_000_000
    assert all(a.dtype == np.float32 for a in fade_network.weights().values())


def test_light_fading_takes_a_share_of_thin_dye_and_an_amount_of_thick_dye() -> None:
    # dc/dt = -(1 - exp(-b c)): first order where thin, constant rate where thick
    dose, beta = np.float32(0.5), 2.0
    thin, thick = fade_network.light_fade(np.array([1e-4, 4.0], dtype=np.float32), dose, beta)
    assert thin == pytest.approx(1e-4 * np.exp(-0.5), rel=2e-2)
    assert thick == pytest.approx(4.0 - 0.5 / beta, abs=1e-3)
    again = fade_network.light_fade(np.array([thick]), -dose, beta)
    assert again[0] == pytest.approx(4.0, abs=1e-3)


def test_a_border_is_found_with_its_density() -> None:
    rng = np.random.default_rng(1)
    paper = (0.09, 0.13, 0.21)
    print_ = framed(scene() + np.float32(0.25), paper) + rng.normal(0, 0.01, (184, 244, 3)).astype(np.float32)
    found = border.find(print_)
    assert found is not None
    assert found.sides == border.SIDES
    assert found.density == pytest.approx(paper, abs=0.004)
    top, bottom, left, right = found.inner
    assert (top, left) == pytest.approx((12, 12), abs=2)
    assert (bottom, right) == pytest.approx((172, 232), abs=2)


def test_a_sky_that_fades_towards_the_edge_is_no_border() -> None:
    picture = scene()
    rows = np.linspace(0, 1, 60, dtype=np.float32)[:, None]
    ridge = 25 + 20 * np.sin(np.arange(220) / 17)
    sky = np.arange(60)[:, None] < ridge[None]
    picture[:60][sky] = (0.08 + 0.1 * rows * np.ones((60, 220), dtype=np.float32))[sky][:, None]
    assert border.find(picture) is None


@pytest.mark.parametrize("shape", [(8, 400, 3), (300, 300, 3), (40, 40, 3)])
def test_an_even_or_tiny_picture_is_not_measurable(shape: tuple[int, ...]) -> None:
    e = fade_colour.estimate(np.full(shape, 0.4, dtype=np.float32))
    loss, _, grade = fade_colour.density_loss(e)
    assert grade is Grade.NOT_MEASURABLE
    assert loss == (0.0, 0.0, 0.0)
    assert e.evidence


@pytest.mark.parametrize("share", [0.4, 0.6, 0.8])
def test_a_gray_scale_with_border_agrees_with_plain_algebra(share: float) -> None:
    """On a neutral scale with a border the loss can be solved by hand: the darkest step against the paper's black.

    A step wedge from paper white to a black of 2.1 above the base; each dye keeps a known share, so channel densities
    above the base are share * density for a neutral (rows of the dye matrix sum to one only if all shares are equal).
    The most likely share is the darkest step over the black expected of paper, 2.07 above the base (1.7 to 2.45).
    """
    paper = np.array([0.10, 0.13, 0.22], dtype=np.float32)
    wedge = np.repeat(np.linspace(0.0, 2.1, 22, dtype=np.float32), 12)
    picture = paper + share * np.broadcast_to(wedge[None, :, None], (180, wedge.size, 3))
    e = fade_colour.estimate(framed(picture.astype(np.float32), (0.10, 0.13, 0.22)))
    assert e.base_density == pytest.approx(paper, abs=0.02)
    likeliest = float((picture[0, -1] - paper).mean()) / 2.07
    assert e.dye_share == pytest.approx((likeliest,) * 3, abs=0.06)


def test_density_loss_follows_the_published_end_points() -> None:
    # ISO 18909 illustrative end point (from memory): 30 % from density 1.0; 0.1 density: trade literature to 1981
    e = fade_colour.estimate(scene())
    cases = {0.95: Grade.NONE, 0.89: Grade.SLIGHT, 0.69: Grade.MODERATE, 0.4: Grade.SEVERE}
    for share, wanted in cases.items():
        changed = replace(e, dye_share=(share, 1.0, 1.0), covariance=np.eye(6) * 1e-4)
        loss, spread, grade = fade_colour.density_loss(changed)
        assert grade is wanted
        assert loss[0] == pytest.approx(1 - share)
        assert spread[0] == pytest.approx(share * 0.01)


def test_a_lot_is_told_together_and_a_stranger_alone() -> None:
    rng = np.random.default_rng(7)
    lot = []
    for i in range(5):
        picture = np.roll(scene(), 31 * i, axis=1) * np.float32(0.6) + rng.normal(0.12, 0.01, (160, 220, 3))
        lot.append(framed(picture.astype(np.float32), (0.1, 0.12, 0.2)))
    together = fade_colour.estimate_jointly(lot)
    assert len({e.dye_share for e in together}) == 1
    assert "judged together with 4 other prints of its lot" in together[0].evidence


def test_one_print_is_its_own_lot() -> None:
    alone = fade_colour.estimate(scene())
    (joint,) = fade_colour.estimate_jointly([scene()])
    assert joint.dye_share == alone.dye_share
    assert joint.evidence == alone.evidence
    assert fade_colour.estimate_jointly([]) == []
