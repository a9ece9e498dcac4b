"""Laws of playing recipes: exact within 0.6 of a code, the same in any strips, the same after writing to JSON."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from surrogate.imaging.density import to_density, to_srgb
from surrogate.recovery import play as playing
from surrogate.recovery.play import play, play_density
from surrogate.recovery.recipe import Curves, Grid, Matrix, Plane, Recipe, Step, as_written

#: Error allowed against float64, in 8-bit codes, before rounding to whole codes.
TOLERANCE = 0.6


def knots() -> st.SearchStrategy[list[tuple[float, float]]]:
    # slopes that keep two curves in a row inside the densities that codes can hold, -2 to 6
    step = st.floats(0.2, 1.0).flatmap(lambda x: st.tuples(st.just(x), st.floats(0.2 * x, 1.35 * x)))

    def rising(steps: list[tuple[float, float]]) -> list[tuple[float, float]]:
        xs = np.cumsum([0.0, *(s[0] for s in steps)])
        ys = np.cumsum([0.0, *(s[1] for s in steps)])
        return [(float(x), float(y)) for x, y in zip(xs, ys, strict=True)]

    return st.lists(step, min_size=1, max_size=5).map(rising)


def curves() -> st.SearchStrategy[Step]:
    return st.builds(lambda r, g, b: Curves(why="test", red=r, green=g, blue=b), knots(), knots(), knots())


def matrices() -> st.SearchStrategy[Step]:
    off = st.floats(-0.15, 0.15)
    row = st.tuples(off, off, off)
    return st.builds(
        lambda rows, offset: Matrix(
            why="test",
            matrix=tuple(tuple(float(i == j) + rows[i][j] for j in range(3)) for i in range(3)),
            offset=offset,
        ),
        st.tuples(row, row, row),
        row,
    )


def grids() -> st.SearchStrategy[Step]:
    cell = st.tuples(*[st.floats(-0.1, 0.3)] * 3)
    shape = st.tuples(st.integers(1, 4), st.integers(1, 5))
    return shape.flatmap(
        lambda rc: st.lists(st.lists(cell, min_size=rc[1], max_size=rc[1]), min_size=rc[0], max_size=rc[0])
    ).map(lambda values: Grid(why="test", values=values))


def recipes() -> st.SearchStrategy[list[Step]]:
    return st.tuples(
        st.lists(st.one_of(curves(), grids()), max_size=1),
        st.lists(matrices(), max_size=1),
        st.lists(curves(), max_size=1),
    ).map(lambda groups: [step for group in groups for step in group])


def picture(bits: int) -> np.ndarray:
    rng = np.random.default_rng(7)
    pixels = rng.integers(0, 1 << bits, (70, 41, 3)).astype(np.uint8 if bits == 8 else np.uint16)
    pixels.setflags(write=False)
    return pixels


@settings(max_examples=40, deadline=None)
@given(recipes(), st.sampled_from([8, 16]))
def test_playing_is_exact_within_a_fraction_of_a_code(steps: list[Step], bits: int) -> None:
    pixels = picture(bits)
    exact = to_srgb(play_density(steps, to_density(pixels)), bits=16) / 257.0
    played = play(steps, pixels, bits=16) / 257.0
    # steep curves multiply the rounding of the density codes, so the bound grows with the gain
    gain = max(1.0, *(slope(step) for step in steps), 1.0)
    assert np.abs(played - exact).max() <= TOLERANCE * gain


def slope(step: Step) -> float:
    if not isinstance(step, Curves):
        return 1.0
    return max(
        float(np.max(np.diff([y for _, y in k]) / np.diff([x for x, _ in k])))
        for k in (step.red, step.green, step.blue)
    )


@settings(max_examples=20, deadline=None)
@given(recipes(), st.integers(1, 80))
def test_strips_of_any_height_give_the_same_bytes(steps: list[Step], rows: int) -> None:
    pixels = picture(8)
    whole = play(steps, pixels)
    before = playing.BLOCK_PIXELS
    playing.BLOCK_PIXELS = rows * pixels.shape[1]
    try:
        np.testing.assert_array_equal(play(steps, pixels), whole)
    finally:
        playing.BLOCK_PIXELS = before


@settings(max_examples=30, deadline=None)
@given(curves())
def test_rising_curves_keep_the_order_of_tones(step: Step) -> None:
    ramp = np.repeat(np.arange(256, dtype=np.uint8)[None, :, None], 3, axis=2)
    out = play([step], ramp).astype(int)
    assert (np.diff(out, axis=1) >= 0).all()


@pytest.mark.parametrize("bits", [8, 16])
def test_an_empty_recipe_changes_nothing(bits: int) -> None:
    ramp = np.arange(1 << bits).astype(np.uint8 if bits == 8 else np.uint16)
    pixels = np.repeat(ramp.reshape(-1, 16)[..., None], 3, axis=2)
    bright = pixels >= (8 if bits == 8 else 2048)  # below, density floors at what a scan can tell apart
    out = play([], pixels, bits=bits)
    assert np.abs(out.astype(int) - pixels)[bright].max() <= (0 if bits == 8 else 16)


def recipe_of(steps: list[Step], master: str = "masters/a [1 2].tif") -> Recipe:
    return Recipe(
        software="surrogate 0", kind="document", use="reading", side="recto", master=master, master_sha256="0" * 64,
        input_profile="sRGB", strength="standard", tone="as found", words=["paper made even"], steps=steps,
    )  # fmt: skip


@settings(max_examples=20, deadline=None)
@given(recipes())
def test_a_recipe_is_the_same_after_writing_and_reading(steps: list[Step]) -> None:
    recipe = recipe_of(steps)
    assert Recipe.model_validate_json(as_written(recipe)) == recipe


def test_the_largest_recipe_of_paper_fits_30_kb() -> None:
    # a square page has the most nodes: 80 x 80 for reading, 3 x 44 x 44 for viewing
    for nodes, planes in ((80, 1), (44, 3)):
        plane = Plane(why="density of the bare paper", unit=0.004, levels=[[188] * nodes] * nodes)
        assert len(as_written(recipe_of([plane] * planes))) <= 30_000


@settings(max_examples=20, deadline=None)
@given(recipes())
def test_a_recipe_commutes_with_reducing_an_even_field(steps: list[Step]) -> None:
    # where nothing is finer than the reduction, reducing before and after playing differ by rounding alone
    rows, columns = np.mgrid[0:96, 0:128].astype(np.float32)
    density = np.stack([0.3 + 0.002 * rows, 0.4 + 0.002 * columns, 0.5 + 0.001 * (rows + columns)], axis=-1)
    flat = [step for step in steps if not isinstance(step, Grid)]
    first = to_srgb(cv2.resize(play_density(flat, density), (64, 48), interpolation=cv2.INTER_AREA), bits=8)
    last = to_srgb(play_density(flat, cv2.resize(density, (64, 48), interpolation=cv2.INTER_AREA)), bits=8)
    assert np.abs(first.astype(int) - last).max() <= 1


@settings(max_examples=30, deadline=None)
@given(recipes(), st.integers(0, 255))
def test_no_edge_where_the_master_has_none(steps: list[Step], code: int) -> None:
    """An even master stays as smooth as the fields laid over it: no pixel jumps away from its neighbours."""
    even = np.full((96, 96, 3), code, np.uint8)
    out = play(steps, even, bits=16).astype(int) / 257.0
    if not any(isinstance(step, Grid) for step in steps):
        assert (out == out[0, 0]).all()
        return
    # a field of at most 5 x 4 nodes, 0.4 apart at most, over 96 px: second differences stay small, an edge's do not
    gain = max(1.0, *(slope(step) for step in steps))
    bend = np.abs(out[2:] - 2 * out[1:-1] + out[:-2]).max()
    assert bend <= 8.0 * gain


#: A recipe of the first version, as an early run wrote it: every number on a line of its own, no newer keys.
EARLY = """{"schema": "surrogate-recipe/1", "software": "surrogate 0.1", "kind": "document", "use": "viewing",
"side": "recto", "master": "m.tif", "master_sha256": "00", "input_profile": "sRGB", "strength": "standard",
"tone": "as found", "words": ["paper lightened"], "steps": [
{"op": "plane", "why": "paper", "unit": 0.004, "share": [1, 1, 1], "levels": [[25, 25], [25, 25]]},
{"op": "matrix", "why": "mix", "matrix": [[1, 0, 0], [0, 1, 0], [0, 0, 1]]},
{"op": "field", "why": "stain", "values": [[[0.1, 0.1, 0.1]]]},
{"op": "curves", "why": "ink", "red": [[0, 0], [1, 2]], "green": [[0, 0], [1, 2]], "blue": [[0, 0], [1, 2]]}]}"""


def test_a_recipe_of_the_first_version_still_plays() -> None:
    # 2 x (D - 0.1 - 0.1) by hand: code 128 has R = 0.2159 (IEC 61966-2-1), D = 0.6658; 0.9317 has R = 0.1170, code 96
    steps = Recipe.model_validate_json(EARLY).steps
    assert play(steps, np.full((4, 4, 3), 128, np.uint8)) == pytest.approx(96, abs=1)


def test_a_recipe_survives_its_file() -> None:
    recipe = Recipe(
        software="surrogate 0", kind="colour-print", use="viewing", side="recto", master="m.tif",
        master_sha256="0" * 64,
        input_profile="sRGB", strength="standard", tone="as found", words=["nothing"],
        steps=[Curves(why="w", red=[(0, 0), (1, 1.5)], green=[(0, 0), (1, 1)], blue=[(0, 0), (1, 1)])],
    )  # fmt: skip
    again = Recipe.model_validate_json(recipe.model_dump_json(by_alias=True))
    assert again == recipe
    assert again.schema_ == "surrogate-recipe/1"
