"""The plan for a colour print undoes what is known to have happened, and nothing else."""

from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from surrogate.condition.fade_colour import FadeEstimate
from surrogate.condition.fade_network import light_fade
from surrogate.recovery import colour_print
from surrogate.recovery.play import play_density

Floats = npt.NDArray[np.float32]

DYES = ((0.92, 0.07, 0.01), (0.20, 0.72, 0.08), (0.09, 0.18, 0.73))


def estimate(
    share: tuple[float, float, float] = (0.6, 0.85, 0.75),
    light: tuple[float, float, float] = (0.0, 0.0, 0.0),
) -> FadeEstimate:
    return FadeEstimate(
        dye_share=share,
        base_density=(0.09, 0.13, 0.22),
        fresh_base=(0.07, 0.07, 0.07),
        light=light,
        covariance=np.eye(6) * 1e-4,
        evidence=("white border at left",),
        dye_matrix=DYES,
        shading=2.3,
    )


def aged(dye: Floats, e: FadeEstimate) -> tuple[Floats, Floats]:
    """A print of dye amounts (N, 3) before and after, written from the model and not from the plan."""
    matrix = np.array(DYES)
    fresh = np.array(e.fresh_base) + dye @ matrix.T
    dark = [float(light_fade(np.array(s), np.array(-t), e.shading)) for s, t in zip(e.dye_share, e.light, strict=True)]
    left = np.stack([light_fade(dye[:, i] * dark[i], np.array(e.light[i]), e.shading) for i in range(3)], axis=1)
    return fresh.astype(np.float32), (np.array(e.base_density) + left @ matrix.T).astype(np.float32)


@pytest.mark.parametrize("light", [(0.0, 0.0, 0.0), (0.2, 0.6, 0.4)])
def test_the_plan_undoes_dark_fading_light_fading_and_stain(light: tuple[float, float, float]) -> None:
    dye = np.random.default_rng(3).uniform(0, 1.9, (400, 3)).astype(np.float32)
    e = estimate(light=light)
    fresh, now = aged(dye, e)
    back = play_density(colour_print.steps(e), now[None])[0]
    assert np.abs(back - fresh).max() < 0.02  # straight lines between the knots of the curve


def test_the_base_becomes_a_fresh_base() -> None:
    e = estimate()
    paper = np.full((1, 4, 3), e.base_density, dtype=np.float32)
    back = play_density(colour_print.steps(e), paper)
    assert back == pytest.approx(np.broadcast_to(np.float32(0.07), back.shape), abs=1e-4)


def test_a_dye_that_kept_1_0_is_restored_by_the_iso_arithmetic() -> None:
    # loss of 30 % at density 1.0 above base (ISO 18909 end point, from memory): 0.7 goes back to 1.0, light or dark
    for light in (0.0, 0.5):
        e = estimate(share=(0.7, 0.7, 0.7), light=(light,) * 3)
        now = np.array(e.base_density, dtype=np.float32)[None, None] + np.float32(0.7)
        back = play_density(colour_print.steps(e), now)
        assert back[0, 0] == pytest.approx(np.array(e.fresh_base) + 1.0, abs=0.01)


def test_nothing_happened_means_no_steps() -> None:
    e = replace(estimate(share=(1.0, 1.0, 1.0)), fresh_base=(0.09, 0.13, 0.22))
    assert colour_print.steps(e) == []
    assert colour_print.plan(np.full((20, 20, 3), 0.5, dtype=np.float32), e, 1.0).steps == []


def test_not_measurable_is_left_alone() -> None:
    e = replace(estimate(), measurable=False)
    assert colour_print.plan(np.full((20, 20, 3), 0.5, dtype=np.float32), e, 1.0).steps == []


def test_strength_leads_from_leave_alone_to_the_whole_recovery() -> None:
    density = np.random.default_rng(1).uniform(0.2, 1.2, (30, 30, 3)).astype(np.float32)
    e = estimate()
    assert colour_print.plan(density, e, 0.0).steps == []
    whole = play_density(colour_print.steps(e), density)
    half = play_density(colour_print.steps(colour_print.scaled(e, 0.5)), density)
    assert np.abs(half - density).mean() < np.abs(whole - density).mean()
    tiny = play_density(colour_print.steps(colour_print.scaled(e, 0.02)), density)
    assert np.abs(tiny - density).max() < 0.06


def test_gain_is_held_and_said() -> None:
    e = estimate(share=(0.1, 0.9, 0.9))
    held, said = colour_print.limited(e, noise_sd=0.001)
    assert held.dye_share[0] == pytest.approx(1 / colour_print.LARGEST_GAIN)
    assert "cyan" in said[0]
    noisy, said = colour_print.limited(estimate(share=(0.3, 0.9, 0.9)), noise_sd=0.05)
    assert noisy.dye_share[0] == pytest.approx(0.5)
    assert said


def test_words_name_dyes_and_stain() -> None:
    density = np.random.default_rng(2).uniform(0.1, 1.2, (64, 64, 3)).astype(np.float32)
    smooth = np.asarray(np.linspace(0.1, 1.2, 64, dtype=np.float32)[None, :, None] + 0 * density)
    made = colour_print.plan(smooth, estimate(), 1.0)
    assert "cyan restored from 60 % to 100 %" in made.words
    assert "blue base stain 0.15 removed" in made.words
    assert made.evidence == ["white border at left"]


@pytest.mark.parametrize(("strength", "to"), [(0.5, 77), (1.0, 100)])
def test_words_tell_what_was_found_and_how_far_it_was_undone(strength: float, to: int) -> None:
    smooth = np.linspace(0.1, 1.2, 64, dtype=np.float32)[None, :, None] * np.ones((64, 1, 3), np.float32)
    made = colour_print.plan(smooth, estimate(), strength)
    assert f"cyan restored from 60 % to {to} %" in made.words  # 0.6 / 0.6 ** strength


def test_small_findings_are_carried_out_in_part_and_large_ones_whole() -> None:
    even = {"fresh_base": (0.07, 0.07, 0.07), "base_density": (0.07, 0.07, 0.07), "covariance": np.eye(6) * 0.01}
    parts = [colour_print.trust(replace(estimate(share=(s, 1.0, 1.0)), **even)) for s in (1.0, 0.9, 0.7, 0.4)]
    assert parts == sorted(parts)
    assert parts[0] < 0.3
    assert parts[-1] == 1.0


def test_noise_is_read_from_a_ramp() -> None:
    rng = np.random.default_rng(5)
    ramp = np.repeat(np.linspace(0.3, 1.0, 200, dtype=np.float32)[None, :, None], 150, axis=0) * np.ones(3, np.float32)
    noisy = (ramp + rng.normal(0, 0.02, ramp.shape)).astype(np.float32)
    assert colour_print.noise_of(noisy) == pytest.approx(0.02, rel=0.1)


share = st.floats(0.15, 1.0)
dose = st.floats(0.0, 1.5)


@settings(max_examples=40, deadline=None)
@given(st.tuples(share, share, share), st.tuples(dose, dose, dose), st.floats(0.0, 0.08))
def test_more_density_never_becomes_less(
    shares: tuple[float, float, float], doses: tuple[float, float, float], noise: float
) -> None:
    held, _ = colour_print.limited(estimate(shares, doses), noise)
    made = colour_print.steps(held)
    for step in made:
        if step.op == "curves":
            for knots in (step.red, step.green, step.blue):
                xs, ys = np.array(knots).T
                assert (np.diff(xs) > 0).all()
                assert (np.diff(ys) >= 0).all()
    greys = np.repeat(np.linspace(0.3, 1.2, 60, dtype=np.float32)[None, :, None], 3, axis=2)
    # a neutral tone seen through a neutral matrix stays in order
    if len(set(shares)) == 1 and len(set(doses)) == 1:
        assert (np.diff(play_density(made, greys)[0], axis=0) >= -1e-5).all()
    assert len("".join(step.model_dump_json() for step in made)) < 30_000
