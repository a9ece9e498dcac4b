"""Reading and viewing copies of paper: ink found by Otsu's threshold and by Tesseract, blank pages, tape, laws."""

from __future__ import annotations

import shutil
from functools import lru_cache

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from skimage.color import deltaE_ciede2000, rgb2lab
from skimage.filters import threshold_otsu

from surrogate.imaging.density import to_density, to_srgb
from surrogate.recovery import play as playing
from surrogate.recovery.paper import plan_reading, plan_viewing
from surrogate.recovery.paper_background import masked_mean, take_apart
from surrogate.recovery.paper_strokes import letters, without_lines
from surrogate.recovery.play import play, play_density
from surrogate.recovery.recipe import Curves
from tests.benchmarks.quality_paper import (
    clipping,
    error_rate,
    f_measure,
    otsu_ink,
    pencilled,
    reading,
    recognised,
    reduced,
)
from tests.simulate import newsprint, scanner, tone

SHAPE = (700, 600)


def rng(seed: int = 5) -> np.random.Generator:
    return np.random.default_rng(seed)


@lru_cache(maxsize=4)
def page(level: str, seed: int) -> tuple[np.ndarray, np.ndarray, str]:
    return clipping(1, level, rng(seed))


def blank_sheet(level: str, seed: int) -> np.ndarray:
    nothing = np.zeros(SHAPE, np.float32)
    generator = rng(seed)
    _, aged = newsprint.page_of(nothing, nothing, newsprint.sample(generator, level, SHAPE))
    return tone.to_codes8(scanner.scan(aged, scanner.sample(generator)))


@pytest.mark.parametrize("level", ["mild", "severe"])
def test_ink_is_found_better_on_the_copy_than_on_the_scan(level: str) -> None:
    scan, ink, _ = page(level, 5)
    found = f_measure(otsu_ink(reading(scan)), ink)
    assert found > 0.88
    assert found >= f_measure(otsu_ink(scan), ink)


@pytest.mark.skipif(not shutil.which("tesseract"), reason="Tesseract is not installed")
def test_text_is_recognised() -> None:
    scan, _, text = page("severe", 5)
    assert error_rate(recognised(reading(scan)), text) < 0.02


@pytest.mark.skipif(not shutil.which("tesseract"), reason="Tesseract is not installed")
def test_faint_pencil_is_recognised() -> None:
    scan, _, text = pencilled(0, "severe", rng(2))
    # at half size, as a page scanned finely is read: pixels averaged close the breaks that paper leaves in pencil
    assert error_rate(recognised(reduced(reading(scan))), text) < 0.1


@pytest.mark.parametrize(("level", "seed"), [("mild", 1), ("medium", 2), ("severe", 3)])
def test_blank_page_stays_blank(level: str, seed: int) -> None:
    scan = blank_sheet(level, seed)
    plan = plan_reading(to_density(scan))
    assert (play(plan.steps, scan)[..., 1] < 128).mean() <= 0.001
    assert any("blank" in limit for limit in plan.limits)


def test_creased_and_taped_blank_page_stays_blank() -> None:
    sheet = {**newsprint.sample(rng(3), "medium", SHAPE).__dict__, "folds": (0.4,), "foxing": 20}
    sheet["tape_boxes"] = ((0, 320, 600, 50),)
    nothing = np.zeros(SHAPE, np.float32)
    _, aged = newsprint.page_of(nothing, nothing, newsprint.Newsprint(**sheet))
    assert (reading(tone.to_codes8(aged))[..., 1] < 128).mean() <= 0.001


def test_close_type_and_a_short_note_are_text() -> None:
    # a typed page at the size that plans are made on has letters of 8 px; a back may say no more than two words
    drawn = np.zeros((500, 600), np.uint8)
    for y in range(40, 480, 14):
        cv2.putText(drawn, "fog over the bay and no boat came in until noon that day", (30, y), 0, 0.38, 255, 1)
    note = np.zeros((500, 600), np.uint8)
    cv2.putText(note, "Mary Holt 1931", (40, 80), cv2.FONT_HERSHEY_SIMPLEX, 1.4, 255, 3)
    for marks, ink in ((drawn, 0.8), (note, 0.3)):
        density = np.full((500, 600, 3), 0.2, np.float32) + rng(1).normal(0, 0.01, (500, 600, 3)).astype(np.float32)
        assert take_apart(density + ink * (marks / np.float32(255))[..., None]).ink_density > 0.5 * ink


@pytest.mark.parametrize(("level", "seed"), [("mild", 11), ("severe", 12)])
def test_pencil_is_found_no_worse_on_the_copy_than_on_the_scan(level: str, seed: int) -> None:
    scan, ink, _ = pencilled(0, level, rng(seed))
    assert f_measure(otsu_ink(reading(scan)), ink) >= f_measure(otsu_ink(scan), ink) - 0.005


def test_viewing_copy_is_even_and_still_looks_like_old_paper() -> None:
    scan, ink, _ = page("severe", 5)
    copy = play(plan_viewing(to_density(scan), 1.0).steps, scan)
    paper = cv2.dilate(np.uint8(ink), np.ones((9, 9), np.uint8)) == 0
    before, after = rgb2lab(scan)[paper], rgb2lab(copy)[paper]
    assert after.std(axis=0).sum() < 0.75 * before.std(axis=0).sum()
    assert np.median(after[:, 0]) > np.median(before[:, 0])  # lighter
    assert 4 < np.median(after[:, 2]) < np.median(before[:, 2])  # less yellow, yet no white sheet


def test_tape_is_taken_off() -> None:
    sheet = newsprint.sample(rng(3), "medium", SHAPE)
    bare = {**sheet.__dict__, "tape_boxes": ((0, 320, 600, 60),), "folds": (), "foxing": 0, "tide_px": 0.0}
    nothing = np.zeros(SHAPE, np.float32)
    _, aged = newsprint.page_of(nothing, nothing, newsprint.Newsprint(**bare))
    scan = tone.to_codes8(aged)
    copy = play(plan_viewing(to_density(scan), 1.0).steps, scan)

    def gap(codes: np.ndarray) -> float:
        lab = rgb2lab(codes)
        over, beside = (np.median(lab[rows].reshape(-1, 3), axis=0) for rows in (slice(328, 372), slice(240, 310)))
        return float(deltaE_ciede2000(over, beside))

    assert gap(copy) < 0.35 * gap(scan)


def test_nothing_is_planned_at_no_strength() -> None:
    density = np.full((30, 40, 3), 0.2, np.float32)
    assert plan_viewing(density, 0.0).steps == []
    assert plan_reading(density, 0.0).steps == []


def test_dark_paper_is_left_alone() -> None:
    density = np.full((90, 120, 3), 1.1, np.float32)
    plan = plan_viewing(density, 1.0)
    assert plan.steps == []
    assert plan.limits


@pytest.mark.parametrize("shape", [(1, 1, 3), (3, 200, 3), (64, 48, 3)])
def test_flat_and_tiny_pages_are_planned(shape: tuple[int, int, int]) -> None:
    density = np.full(shape, 0.2, np.float32)
    density.setflags(write=False)
    for plan in (plan_reading(density), plan_viewing(density, 1.0)):
        assert np.isfinite(play_density(plan.steps, density)).all()


@pytest.mark.parametrize("planner", [plan_reading, lambda d: plan_viewing(d, 1.0)])
def test_recipe_is_small_and_its_curves_rise(planner) -> None:
    scan, _, _ = page("severe", 5)
    plan = planner(to_density(scan))
    assert len(plan.model_dump_json()) <= 30_000
    for step in plan.steps:
        if isinstance(step, Curves):
            assert all((np.diff(np.array(k), axis=0) >= 0).all() for k in (step.red, step.green, step.blue))


def test_same_bytes_in_strips_of_any_height(monkeypatch: pytest.MonkeyPatch) -> None:
    scan, _, _ = page("severe", 5)
    small = scan[:300, :400]
    steps = plan_reading(to_density(small)).steps + plan_viewing(to_density(small), 1.0).steps
    whole = play(steps, small)
    for rows in (1, 41):
        monkeypatch.setattr(playing, "BLOCK_PIXELS", rows * small.shape[1])
        assert np.array_equal(play(steps, small), whole)


def test_viewing_plan_commutes_with_reducing_a_smooth_page() -> None:
    scan, _, _ = page("severe", 5)
    steps = plan_viewing(to_density(scan), 1.0).steps
    soft = cv2.GaussianBlur(to_density(scan), (0, 0), 8)
    half = (soft.shape[1] // 2, soft.shape[0] // 2)
    one = to_srgb(cv2.resize(play_density(steps, soft), half, interpolation=cv2.INTER_AREA), 8)
    two = to_srgb(play_density(steps, cv2.resize(soft, half, interpolation=cv2.INTER_AREA)), 8)
    assert np.abs(one.astype(int) - two)[4:-4, 4:-4].max() <= 1


def test_masked_mean_is_the_mean_of_what_was_kept() -> None:
    values = np.arange(64, dtype=np.float32).reshape(8, 8)
    keep = np.ones((8, 8), bool)
    keep[:4, :4] = False
    keep[0, 0] = keep[1, 1] = keep[2, 2] = keep[3, 3] = True
    found = masked_mean(values, keep, (2, 2))
    assert found[0, 0] == pytest.approx(np.mean([0, 9, 18, 27]))
    assert found[1, 1] == pytest.approx(values[4:, 4:].mean())


@settings(max_examples=8, deadline=None)
@given(st.floats(0.05, 0.6), st.floats(0.0, 0.5), st.integers(0, 1000))
def test_paper_density_is_found_under_print(paper: float, stain: float, seed: int) -> None:
    generator = np.random.default_rng(seed)
    density = np.full((120, 160, 3), paper, np.float32) + stain * np.array([0.15, 0.45, 1.0], np.float32)
    density = density + generator.normal(0, 0.005, density.shape).astype(np.float32)
    for _ in range(16):
        y, x = generator.integers(5, 105), generator.integers(5, 145)
        density[y : y + 2, x : x + 10] += 0.8
        density[y : y + 12, x : x + 2] += 0.8
    parts = take_apart(density)
    expected = float((paper + stain * np.array([0.15, 0.45, 1.0])) @ parts.mix)
    assert np.abs(parts.base - expected).max() < 0.03


def test_letters_are_counted_but_folds_and_spots_are_not() -> None:
    sheet = np.zeros((400, 600), np.float32)
    sheet[200:203, :] = 0.3  # fold
    cv2.circle(sheet, (100, 60), 12, 0.3, -1)  # foxing
    assert letters(sheet, 0.1) == (0, 0)
    drawn = np.zeros(sheet.shape, np.uint8)
    for x in range(50, 550, 50):
        cv2.putText(drawn, "S", (x, 330), cv2.FONT_HERSHEY_SIMPLEX, 1.0, 255, 2)
    sheet[drawn > 128] = 0.3
    assert letters(sheet, 0.1) == (10, 0)
    assert not without_lines(sheet > 0.1)[201].any()


def test_otsu_threshold_falls_on_the_edge_of_strokes() -> None:
    # Otsu 1979 as in scikit-image: half-covered pixels come out near it
    scan, ink, _ = page("mild", 5)
    copy = reading(scan)
    threshold = threshold_otsu(copy[..., 1])
    assert 130 < threshold < 185
    assert ((copy[..., 1] < threshold).sum() / ink.sum()) == pytest.approx(1.0, abs=0.2)


def test_printed_picture_is_kept_and_text_beside_it_is_read() -> None:
    # a screened picture (75 % dots, 4 px apart) covers a third of the page: it must not be taken for dark paper
    density = np.full((500, 600, 3), 0.25, np.float32)
    rows, columns = np.mgrid[0:180, 0:480]
    density[40:220, 60:540] += 0.8 * ((rows % 4 < 2) | (columns % 4 < 2))[..., None]
    drawn = np.zeros((500, 600), np.uint8)
    for y in range(280, 480, 30):
        cv2.putText(drawn, "second prize for leeks and plums", (40, y), cv2.FONT_HERSHEY_SIMPLEX, 0.8, 255, 2)
    density[drawn > 128] += 0.8
    plan = plan_reading(density)
    copy = play_density(plan.steps, density)[..., 1]
    assert any("printed picture" in words for words in plan.evidence)
    assert copy[drawn > 128].min() > 1.0
    assert np.abs(copy[240:][drawn[240:] == 0] - 0.03).max() < 0.1
    assert copy[60:200, 80:520].mean() > 0.5
