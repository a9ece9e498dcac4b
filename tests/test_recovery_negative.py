"""Negatives turned into positives: by the density definition, and on film simulated in tests/simulate."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from skimage.color import rgb2lab
from skimage.metrics import structural_similarity

from surrogate.imaging.density import to_density
from surrogate.recovery import play as playing
from surrogate.recovery.negative import PRINT_MAX, PRINT_MIN, is_colour, plan
from surrogate.recovery.play import play, play_density
from surrogate.recovery.recipe import Curves
from tests.simulate import negative, tone
from tests.test_condition_fade_silver import photo

MASK = (0.30, 0.65, 0.95)


def film(name: str, *, colour: bool) -> tuple[np.ndarray, np.ndarray]:
    """(scan of the negative, the photograph), uint8."""
    rng = np.random.default_rng(2)
    sample = negative.sample_colour if colour else negative.sample_black_and_white
    picture = photo(name)
    return tone.to_codes8(negative.transmittance(picture, sample(rng, "unfaded"))), tone.to_codes8(picture)


def test_black_and_white_film_is_told_from_colour() -> None:
    assert not is_colour(to_density(film("chapel", colour=False)[0]))
    assert is_colour(to_density(film("forget_me_nots", colour=True)[0]))


def test_density_rises_where_the_negative_is_thin() -> None:
    # an exact negative: density = base + 0.6 x (2 - density of the scene), the definition of a gamma of 0.6
    scene = np.linspace(0.05, 2.0, 256, dtype=np.float32).reshape(16, 16)
    density = np.repeat((0.25 + 0.6 * (2.0 - scene))[..., None], 3, axis=2)
    out = play_density(plan(density, 1.0).steps, density)[..., 0]
    assert (np.diff(out.ravel()) > 0).all()
    assert out.min() == pytest.approx(PRINT_MIN, abs=0.05)
    assert out.max() == pytest.approx(PRINT_MAX, abs=0.1)


def test_orange_mask_becomes_neutral() -> None:
    # a grey scale on masked film: the mask is a constant density per channel and must leave nothing behind
    scene = np.linspace(0.0, 1.4, 400, dtype=np.float32).reshape(20, 20)
    density = np.array(MASK, np.float32) + scene[..., None]
    out = play_density(plan(density, 1.0).steps, density)
    assert np.abs(out - out.mean(axis=2, keepdims=True)).max() < 0.03


@pytest.mark.parametrize("name", ["chapel", "pigs", "engine"])
def test_positive_shows_the_photograph(name: str) -> None:
    scan, truth = film(name, colour=False)
    grey = cv2.cvtColor(truth, cv2.COLOR_RGB2GRAY)
    assert structural_similarity(play(plan(to_density(scan), 1.0).steps, scan)[..., 1], grey) > 0.8


def test_colours_come_back() -> None:
    scan, truth = film("market_stall", colour=True)
    copy = rgb2lab(play(plan(to_density(scan), 1.0).steps, scan))
    wanted = rgb2lab(truth)
    for channel in (1, 2):
        assert np.corrcoef(copy[..., channel].ravel(), wanted[..., channel].ravel())[0, 1] > 0.8


@pytest.mark.parametrize("colour", [False, True])
def test_words_always_say_that_it_was_turned(colour: bool) -> None:
    scan, _ = film("chapel", colour=colour)
    assert "turned into a positive" in plan(to_density(scan), 0.0).words


@pytest.mark.parametrize("shape", [(1, 1, 3), (5, 90, 3)])
def test_empty_film_is_planned(shape: tuple[int, int, int]) -> None:
    density = np.full(shape, 0.3, np.float32)
    density.setflags(write=False)
    found = plan(density, 1.0)
    assert np.isfinite(play_density(found.steps, density)).all()
    assert found.limits


@pytest.mark.parametrize("strength", [0.0, 0.5, 1.0, 1.3])
def test_every_curve_falls(strength: float) -> None:
    scan, _ = film("forget_me_nots", colour=True)
    for step in plan(to_density(scan), strength).steps:
        if isinstance(step, Curves):
            for knots in (step.red, step.green, step.blue):
                xs, ys = np.array(knots).T
                assert (np.diff(xs) > 0).all()
                assert (np.diff(ys) < 0).all()


def test_same_bytes_in_strips_of_any_height(monkeypatch: pytest.MonkeyPatch) -> None:
    scan, _ = film("market_stall", colour=True)
    steps = plan(to_density(scan), 1.0).steps
    whole = play(steps, scan)
    for rows in (1, 53):
        monkeypatch.setattr(playing, "BLOCK_PIXELS", rows * scan.shape[1])
        assert np.array_equal(play(steps, scan), whole)
