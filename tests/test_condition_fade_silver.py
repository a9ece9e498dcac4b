"""Silver fade: read from prints aged by the simulator in tests/simulate, which the fit never saw."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import pytest

from surrogate.condition import fade_silver
from surrogate.imaging.density import to_density
from tests.simulate import silver_print, tone

SOURCES = Path(__file__).parent / "simulate" / "sources"
PICTURES = ("chapel", "packhorses", "pigs", "engine")


def photo(name: str) -> np.ndarray:
    codes = cv2.cvtColor(cv2.imread(str(SOURCES / f"{name}.jpg")), cv2.COLOR_BGR2RGB)
    scale = 400 / max(codes.shape[:2])
    small = cv2.resize(codes, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    return tone.from_codes8(small)


def aged(name: str, level: str, seed: int = 3) -> np.ndarray:
    rng = np.random.default_rng(seed)
    _, now = silver_print.print_of(photo(name), silver_print.sample(rng, level))
    return to_density(tone.to_codes8(now))


@pytest.mark.parametrize("name", PICTURES)
def test_unfaded_print_is_left_alone(name: str) -> None:
    found = fade_silver.estimate(aged(name, "unfaded"))
    assert found.loss < 0.06
    assert found.trust < 0.3
    assert found.toned < 0.5


@pytest.mark.parametrize("name", PICTURES)
def test_worse_ageing_reads_as_more_loss(name: str) -> None:
    losses = [fade_silver.estimate(aged(name, level)).loss for level in ("unfaded", "medium", "severe")]
    assert losses[0] < losses[1] < losses[2]


@pytest.mark.parametrize("name", PICTURES)
def test_lights_lose_more_than_darks(name: str) -> None:
    # image particles are smallest in the lights (Reilly and others 1984)
    found = fade_silver.estimate(aged(name, "severe"))
    assert found.loss_highlights > found.loss_shadows


@pytest.mark.parametrize("name", PICTURES)
def test_sepia_toning_is_recognised(name: str) -> None:
    print_ = silver_print.sepia_toned(photo(name))
    assert fade_silver.estimate(to_density(tone.to_codes8(print_))).toned > 0.5


def test_blue_toning_is_recognised() -> None:
    # Prussian blue absorbs red most
    silver = tone.shoulder(tone.density(tone.luminance(photo("chapel"))), 1.7)[..., None]
    density = 0.08 + silver * np.array([1.25, 0.85, 0.5], np.float32)
    found = fade_silver.estimate(density)
    assert found.toned > 0.5
    assert found.tone < -0.2


def test_edge_yellowing_is_the_blue_density_that_edges_have_more() -> None:
    density = np.full((200, 300, 3), 0.5, np.float32) + np.linspace(0, 0.5, 300, dtype=np.float32)[None, :, None]
    edge = np.zeros((200, 300), bool)
    edge[:6], edge[-6:], edge[:, :6], edge[:, -6:] = True, True, True, True
    density[edge, 2] += 0.2
    assert fade_silver.estimate(density).edge_yellowing == pytest.approx(0.2, abs=0.08)
    assert abs(fade_silver.edge_yellowing(np.full((60, 90, 3), 0.7, np.float32))) < 1e-6


@pytest.mark.parametrize("shape", [(1, 1, 3), (2, 40, 3), (64, 64, 3)])
@pytest.mark.parametrize("value", [0.0, 0.7, 3.0])
def test_pictures_of_one_tone_or_one_pixel_are_answered(shape: tuple[int, int, int], value: float) -> None:
    found = fade_silver.estimate(np.full(shape, value, np.float32))
    assert 0 <= found.loss < 0.1  # no tones, no curve: nothing says that anything was lost
    assert 0 < found.uncertainty <= 1
    assert np.isfinite(found.tones.fresh).all()


def test_density_is_not_changed() -> None:
    density = aged("pigs", "mild")
    density.setflags(write=False)
    before = density.copy()
    fade_silver.estimate(density)
    assert np.array_equal(before, density)


def test_size_of_the_scan_hardly_matters() -> None:
    density = aged("chapel", "medium")
    double = cv2.resize(density, None, fx=2, fy=2, interpolation=cv2.INTER_LINEAR)
    assert fade_silver.estimate(double).loss == pytest.approx(fade_silver.estimate(density).loss, abs=0.03)
