"""Silver prints recovered: closer to the print before it aged, and untouched where nothing has happened."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from skimage.color import deltaE_ciede2000, rgb2lab

from surrogate.condition.fade_silver import NODES, Tones, estimate
from surrogate.imaging.density import to_density, to_srgb
from surrogate.records import Tone
from surrogate.recovery import play as playing
from surrogate.recovery.play import play, play_density
from surrogate.recovery.recipe import Curves, Plan
from surrogate.recovery.silver_print import MAX_GAIN, plan
from tests.simulate import silver_print, tone
from tests.test_condition_fade_silver import PICTURES, photo

BLANK = estimate(np.full((40, 60, 3), 0.5, np.float32))


def case(name: str, level: str) -> tuple[np.ndarray, np.ndarray]:
    """(scan, print before it aged), uint8."""
    rng = np.random.default_rng(8)
    fresh, aged = silver_print.print_of(photo(name), silver_print.sample(rng, level))
    return tone.to_codes8(aged), tone.to_codes8(fresh)


def planned(scan: np.ndarray, image_tone: Tone = Tone.AS_FOUND, strength: float = 1.0) -> Plan:
    density = to_density(scan)
    return plan(density, estimate(density), image_tone, strength)


def difference(one: np.ndarray, two: np.ndarray) -> float:
    return float(deltaE_ciede2000(rgb2lab(one), rgb2lab(two)).mean())


@pytest.mark.parametrize("name", PICTURES)
def test_unfaded_print_comes_out_as_it_went_in(name: str) -> None:
    scan, _ = case(name, "unfaded")
    assert difference(play(planned(scan).steps, scan), scan) < 1.2


@pytest.mark.parametrize("name", PICTURES)
@pytest.mark.parametrize("level", ["medium", "severe"])
def test_faded_print_comes_closer_to_what_it_was(name: str, level: str) -> None:
    scan, fresh = case(name, level)
    assert difference(play(planned(scan).steps, scan), fresh) < 0.6 * difference(scan, fresh)


def test_gentle_goes_part_of_the_way() -> None:
    scan, _ = case("chapel", "severe")
    moved = [difference(play(planned(scan, strength=s).steps, scan), scan) for s in (0.5, 1.0, 1.3)]
    assert 0 < moved[0] < moved[1] < moved[2]


def test_nothing_is_planned_at_no_strength() -> None:
    scan, _ = case("chapel", "severe")
    assert planned(scan, strength=0.0) == Plan(steps=[], words=[])


@pytest.mark.parametrize("name", PICTURES)
def test_deliberate_sepia_is_kept_and_said(name: str) -> None:
    scan = tone.to_codes8(silver_print.sepia_toned(photo(name)))
    found = planned(scan)
    assert difference(play(found.steps, scan), scan) <= 1.5
    assert "deliberate" in " ".join(found.limits)


def test_a_person_may_ask_for_neutral() -> None:
    scan = tone.to_codes8(silver_print.sepia_toned(photo("pigs")))
    copy = play(planned(scan, Tone.NEUTRAL).steps, scan).astype(int)
    assert np.abs(copy.max(axis=2) - copy.min(axis=2)).max() <= 1


def test_warm_is_warmer_than_neutral() -> None:
    scan, _ = case("chapel", "medium")
    yellowness = [rgb2lab(play(planned(scan, t).steps, scan))[..., 2].mean() for t in (Tone.NEUTRAL, Tone.WARM)]
    assert yellowness[0] + 1 < yellowness[1]


def lines() -> st.SearchStrategy[np.ndarray]:
    steps = st.lists(st.floats(-0.05, 0.6), min_size=3 * NODES, max_size=3 * NODES)
    return steps.map(lambda s: np.cumsum(np.array(s).reshape(NODES, 3), axis=0))


@settings(max_examples=60, deadline=None)
@given(lines(), lines(), st.floats(0, 1), st.sampled_from([0.5, 1.0, 1.3]), st.sampled_from(list(Tone)))
def test_curves_rise_whatever_was_estimated(
    found: np.ndarray, fresh: np.ndarray, trust: float, strength: float, image_tone: Tone
) -> None:
    guess = replace(BLANK, tones=Tones(found, fresh), trust=trust, toned=0.0)
    for step in plan(np.full((40, 60, 3), 0.5, np.float32), guess, image_tone, strength).steps:
        if isinstance(step, Curves):
            for knots in (step.red, step.green, step.blue):
                xs, ys = np.array(knots).T
                assert (np.diff(xs) > 0).all()
                assert (np.diff(ys) >= 0).all()
                # knots are rounded to 1e-4: MAX_GAIN + 1 such steps
                assert (np.diff(ys) <= MAX_GAIN * np.diff(xs) + 6.1e-4).all()


def test_plan_commutes_with_reducing_a_smooth_picture() -> None:
    scan, _ = case("packhorses", "severe")
    steps = planned(scan).steps
    soft = cv2.GaussianBlur(to_density(scan), (0, 0), 6)
    half = (soft.shape[1] // 2, soft.shape[0] // 2)
    soft = soft[: 2 * half[1], : 2 * half[0]]
    one = to_srgb(cv2.resize(play_density(steps, soft), half, interpolation=cv2.INTER_AREA), 8)
    two = to_srgb(play_density(steps, cv2.resize(soft, half, interpolation=cv2.INTER_AREA)), 8)
    assert np.abs(one.astype(int) - two)[4:-4, 4:-4].max() <= 1


def test_same_bytes_in_strips_of_any_height(monkeypatch: pytest.MonkeyPatch) -> None:
    scan, _ = case("chapel", "severe")
    steps = planned(scan).steps
    whole = play(steps, scan)
    for rows in (1, 37, 256):
        monkeypatch.setattr(playing, "BLOCK_PIXELS", rows * scan.shape[1])
        assert np.array_equal(play(steps, scan), whole)


def test_recipe_is_small() -> None:
    scan, _ = case("chapel", "severe")
    assert len(planned(scan).model_dump_json()) < 10_000
