"""Show-through taken out with the scan of the other side: on leaves where it is known, and in a collection."""

from __future__ import annotations

import shutil
from functools import lru_cache
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image

from surrogate.imaging.density import to_density, to_srgb
from surrogate.processing import process
from surrogate.rebuilding import rebuild
from surrogate.records import Kind, LeafSide
from surrogate.recovery import paper, show_through
from surrogate.recovery import play as playing
from surrogate.recovery.fields import node_values, without
from surrogate.recovery.play import play, play_density
from surrogate.recovery.recipe import OtherSide, Recipe
from tests.benchmarks.quality_paper import f_measure, otsu_ink
from tests.fit.ageing_page import TEXTS
from tests.simulate import leaf

SHAPE = (560, 520)
WHICH = LeafSide(master="masters/back.png", sha256="0" * 64)


@lru_cache(maxsize=4)
def a_leaf(seed: int, *, blank: bool = False, turns: int = 0) -> leaf.Leaf:
    rng = np.random.default_rng(seed)
    front, back = (leaf.column(" ".join(TEXTS[k : k + 2]), 22, SHAPE)[0] for k in (seed % 4, (seed + 2) % 4))
    front = front * (0 if blank else 1)
    return leaf.leaf(rng, (front, back), "mild", 0.12, strength=0.6, quarter_turns=turns)


@lru_cache(maxsize=4)
def seen_in(seed: int, *, blank: bool = False, turns: int = 0) -> show_through.Seen:
    made = a_leaf(seed, blank=blank, turns=turns)
    seen = show_through.find(to_density(made.front), None, to_density(made.back), None, WHICH)
    assert seen is not None
    return seen


def cleaned(made: leaf.Leaf, seen: show_through.Seen) -> np.ndarray:
    return without(to_density(made.front), seen.through)


@pytest.mark.parametrize(("seed", "blank", "turns"), [(1, False, 0), (6, True, 1)])
def test_the_other_side_is_found_where_it_lies(seed: int, blank: bool, turns: int) -> None:
    made, seen = a_leaf(seed, blank=blank, turns=turns), seen_in(seed, blank=blank, turns=turns)
    x, y = 300.0, 250.0  # among the text
    height, width = made.front.shape[:2]
    found = np.array(seen.step.way) @ ((x + 0.5) / width, (y + 0.5) / height, 1)
    found = found * (made.back.shape[1], made.back.shape[0]) - 0.5
    assert np.hypot(*(found - made.placed @ (x, y, 1))) < 1.0


def test_what_shines_through_is_taken_out_and_nothing_else() -> None:
    made, seen = a_leaf(1), seen_in(1)
    before, after, truth = to_density(made.front), cleaned(made, seen), to_density(made.clean)
    assert np.abs(after - truth).mean() < 0.35 * np.abs(before - truth).mean()
    assert (after <= before + 1e-6).all()  # no point gets darker
    bare = widened(made.ink) + widened(made.other[:, ::-1]) == 0
    assert np.quantile(before[bare] - after[bare], 0.99) < 0.005  # paper stays paper; the fold shows on both sides
    floor = node_values(seen.through.paper, *SHAPE)
    assert (after >= np.minimum(before, floor) - 1e-6).all()  # nothing is drawn in light
    assert seen.step.share == pytest.approx((0.16, 0.16, 0.16), abs=0.03)  # 0.12 over the absorptance of 0.46 ink


def widened(ink: np.ndarray) -> np.ndarray:
    """Ink spread by a few pixels."""
    return np.asarray(cv2.dilate(np.ascontiguousarray(ink), np.ones((25, 25), np.uint8)))


def test_ink_is_found_better_on_the_reading_copy() -> None:
    made, seen = a_leaf(1), seen_in(1)
    found = [
        f_measure(otsu_ink(play(paper.plan_reading(d).steps, to_srgb(d, 16))), made.ink > 0.5)
        for d in (to_density(made.front), cleaned(made, seen))
    ]
    assert found[1] > found[0]


def test_a_blank_front_stays_blank() -> None:
    made = a_leaf(6, blank=True, turns=1)
    density = cleaned(made, seen_in(6, blank=True, turns=1))
    copy = play(paper.plan_reading(density).steps, to_srgb(density, 16))
    assert (copy[..., 1] < 128).mean() <= 0.001


def test_a_back_of_another_leaf_is_never_taken() -> None:
    front = to_density(a_leaf(1).front)
    assert show_through.find(front, None, to_density(a_leaf(6, blank=True, turns=1).back), None, WHICH) is None
    unmirrored = to_density(np.ascontiguousarray(a_leaf(1).back[:, ::-1]))
    # the back itself, but not mirrored: the leaf seen through would show it the other way
    assert show_through.find(front, None, unmirrored, None, WHICH) is None


def test_strips_and_exact_play_agree() -> None:
    made, seen = a_leaf(1), seen_in(1)
    whole = play([seen.through], made.front, bits=16)
    exact = to_srgb(play_density([seen.through], to_density(made.front)), bits=16)
    assert np.abs(whole.astype(int) - exact.astype(int)).max() < 0.6 * 257
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(playing, "BLOCK_PIXELS", 7 * SHAPE[1])
        assert np.array_equal(play([seen.through], made.front, bits=16), whole)


def test_the_field_is_the_same_at_any_size() -> None:
    made, seen = a_leaf(1), seen_in(1)
    scan = np.repeat(np.repeat(made.front, 2, axis=0), 2, axis=1)
    steps = [seen.through]
    large, small = play(steps, scan, bits=16), play(steps, made.front, bits=16)
    halved = large.reshape(SHAPE[0], 2, SHAPE[1], 2, 3).mean(axis=(1, 3))
    assert np.abs(halved - small).max() < 257  # a code of 8 bits


def test_a_back_with_wide_margins_is_found_by_its_resolution() -> None:
    made = a_leaf(1)
    wide = cv2.copyMakeBorder(made.back, 30, 10, 40, 30, cv2.BORDER_REPLICATE)
    seen = show_through.find(to_density(made.front), 100, to_density(wide), 100, WHICH)
    assert seen is not None
    assert seen.step.share == pytest.approx(seen_in(1).step.share, abs=0.01)


def two_sided(folder: Path, seed: int, *, back: bool = True) -> Path:
    folder.mkdir(exist_ok=True)
    made = a_leaf(seed)
    Image.fromarray(made.front).save(folder / "note_r.png", dpi=(100, 100))
    if back:
        Image.fromarray(made.back).save(folder / "note_v.png", dpi=(100, 100))
    return folder


def recipe_of(collection: Path, name: str) -> Recipe:
    file = next(collection.glob(f"recipes/*/*{name}.json"))
    return Recipe.model_validate_json(file.read_bytes())


def run(scans: Path, collection: Path) -> list[str]:
    return process([scans], collection, kind=Kind.DOCUMENT.value, workers=1).updated


def test_the_copy_follows_when_the_other_side_is_scanned_later(tmp_path: Path) -> None:
    collection = tmp_path / "collection"
    run(two_sided(tmp_path / "scans", 1, back=False), collection)
    assert not any(isinstance(step, OtherSide) for step in recipe_of(collection, "_r_reading").steps)
    run(two_sided(tmp_path / "scans", 1), collection)
    for name in ("_r_reading", "_r_viewing", "_v_reading", "_v_viewing"):
        recipe = recipe_of(collection, name)
        assert isinstance(recipe.steps[0], OtherSide)
        assert "show-through" in recipe.words[0]
        assert len(next(collection.glob(f"recipes/*/*{name}.json")).read_bytes()) < 30_000
    assert run(tmp_path / "scans", collection) == []  # nothing left to follow
    assert rebuild(collection).exit_status == 0

    other = next(collection.glob("masters/*/*_v.png"))
    shutil.move(other, tmp_path / "kept.png")
    report = rebuild(collection)
    problems = [copy.problem for copy in report.copies if "_r_" in copy.file]
    assert report.exit_status == 1
    assert all("The scan of its other side" in said and "is missing" in said for said in problems)
