"""The arithmetic of framing, against the trade's table and by its own laws."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from surrogate.copies.frame_plan import Look, plan_frame, viewing_distance_mm
from surrogate.copies.sizes import Size, parse_size
from surrogate.errors import WrongUse

INCH = 25.4


@pytest.mark.parametrize(
    ("frame", "opening", "printed"),
    [
        # standards table 5.2, frame -> opening -> print (newsbasis.com, standard mat opening sizes)
        ("8x10in", "4.5x6.5in", (5, 7)),
        ("11x14in", "7.5x9.5in", (8, 10)),
        ("16x20in", "10.5x13.5in", (11, 14)),
        ("20x24in", "15.5x19.5in", (16, 20)),
        ("24x36in", "19.5x29.5in", (20, 30)),
    ],
)
def test_the_shop_table(frame: str, opening: str, printed: tuple[int, int]) -> None:
    picture_px = (printed[0] * 300, printed[1] * 300)
    plan = plan_frame(picture_px, None, frame=parse_size(frame), opening=parse_size(opening))
    assert plan.print_mm == pytest.approx((printed[0] * INCH, printed[1] * INCH))
    assert plan.overlap_mm == pytest.approx(0.25 * INCH)
    assert plan.print_px == picture_px
    assert not plan.warnings


def test_an_8x10_print_in_an_11x14_frame_has_borders_of_1_75_and_2_25_inches() -> None:
    # standards value 28: trade and arithmetic
    plan = plan_frame((2400, 3000), None, frame=parse_size("11x14in"), opening=parse_size("7.5x9.5in"))
    border = plan.border_mm
    assert (border.left / INCH, border.right / INCH) == pytest.approx((1.75, 1.75))
    assert (border.top / INCH, border.bottom / INCH) == pytest.approx((2.25, 2.25))


def test_an_eighth_of_an_inch_is_used_where_the_frame_leaves_no_more() -> None:
    # standards 5.2: 8x10 with 1/8 in overlap has the opening 7.75x9.75
    plan = plan_frame((2400, 3000), None, frame=parse_size("8x10in"), opening=parse_size("7.75x9.75in"))
    assert plan.overlap_mm == pytest.approx(0.125 * INCH)
    assert plan.print_mm == pytest.approx((8 * INCH, 10 * INCH))


def test_the_overlap_follows_the_unit_that_was_used() -> None:
    metric = plan_frame((3000, 4000), None, frame=parse_size("30x40cm"), opening=parse_size("18x24cm"))
    assert metric.overlap_mm == 6.0
    mixed = plan_frame((3000, 4000), None, frame=parse_size("30x40cm"), opening=parse_size("7.5x9.5in"))
    assert mixed.overlap_mm == pytest.approx(6.35)


def test_a_lower_border_of_ten_percent_more() -> None:
    plan = plan_frame((2400, 3000), None, frame=parse_size("11x14in"), look=Look(bottom_weight=0.1))
    assert plan.border_mm.bottom / plan.border_mm.top == pytest.approx(1.1)
    total = plan.border_mm.top + plan.opening_mm[1] + plan.border_mm.bottom
    assert total == pytest.approx(14 * INCH)


def test_enlarging_divides_the_resolution() -> None:
    # standards 5.3: 600 -> 300 doubles the size; 4x6 in at 600 ppi is 2400 x 3600 px
    plan = plan_frame((2400, 3600), (4 * INCH, 6 * INCH), frame=parse_size("16x20in"), opening=parse_size("7.5x11.5in"))
    assert plan.print_mm == pytest.approx((8 * INCH, 12 * INCH))
    assert plan.enlargement == pytest.approx(2.0)
    assert plan.master_ppi == pytest.approx(600)
    assert plan.print_ppi == pytest.approx(300)


def test_too_few_pixels_are_told_with_the_largest_good_size() -> None:
    plan = plan_frame((900, 1200), (3 * INCH, 4 * INCH), frame=parse_size("11x14in"), opening=parse_size("7.5x9.5in"))
    assert plan.print_ppi == pytest.approx(900 / 7.5, rel=0.1)
    assert plan.print_px[1] <= 1200
    assert plan.largest_good_mm == pytest.approx((900 / 180 * INCH, 1200 / 180 * INCH))
    assert "127 × 169.3 mm (5 × 6 11/16 in)" in plan.warnings[0]
    assert "scan the original again at 800 ppi" in plan.warnings[0]


def test_filling_says_how_many_mm_go() -> None:
    # a 2:3 picture on an 8x10 print: 10 in high needs 12 in, so 2 in go
    plan = plan_frame((2400, 3600), None, frame=parse_size("11x14in"), opening=parse_size("7.5x9.5in"), fill=True)
    assert plan.lost_mm == pytest.approx((0.0, 2 * INCH))
    assert plan.print_px == (2400, 3000)
    assert plan.picture_box_px == (0, -300, 2400, 3600)
    assert "cuts 50.8 mm (2 in) in height" in plan.warnings[0]


def test_without_filling_blank_paper_is_announced_instead() -> None:
    plan = plan_frame((2400, 3600), None, frame=parse_size("11x14in"), opening=parse_size("7.5x9.5in"))
    assert plan.lost_mm == pytest.approx((0.0, 0.0))
    # 10 in high makes the picture 6 2/3 in wide; the window is 7 1/2 in wide
    assert plan.blank_mm == pytest.approx(((7.5 - 20 / 3) * INCH, 0.0))
    assert "blank paper will show" in plan.warnings[0]
    # and what filling would cost: the same 2 in as above
    assert "--fill would cut 50.8 mm (2 in) in height" in plan.warnings[0]


def test_shown_edges_float_inside_the_window() -> None:
    plan = plan_frame((2400, 3000), None, frame=parse_size("11x14in"), look=Look(edges="shown"))
    gap = [(window - picture) / 2 for window, picture in zip(plan.opening_mm, plan.picture_mm, strict=True)]
    assert gap == pytest.approx([3.0, 3.0])
    assert plan.print_mm[0] == pytest.approx(plan.opening_mm[0] + 2 * 6.35)
    assert not plan.warnings


def test_a_panorama_keeps_its_shape() -> None:
    plan = plan_frame((9000, 1800), None, frame=parse_size("12x36in"))
    assert plan.print_mm[0] / plan.print_mm[1] == pytest.approx(5.0)
    with pytest.raises(WrongUse, match="longer frame"):
        plan_frame((9000, 600), None, frame=parse_size("8x10in"))


def test_a_round_window_is_as_wide_as_high() -> None:
    look = Look(shape="round")
    plan = plan_frame((2400, 3000), None, frame=parse_size("8x10in"), look=look)
    assert plan.opening_mm[0] == plan.opening_mm[1]
    assert plan.lost_mm == pytest.approx((0.0, 0.0))
    assert any("--fill would cut" in warning for warning in plan.warnings)
    filled = plan_frame((2400, 3000), None, frame=parse_size("8x10in"), look=look, fill=True)
    # a print as wide as high shows 4/5 of a picture of 4:5
    assert filled.lost_mm == pytest.approx((0.0, filled.print_mm[0] / 4))
    assert any("corners" in warning for warning in filled.warnings)
    given = plan_frame((2400, 3000), None, frame=parse_size("8x10in"), opening=parse_size("6x6in"), look=look)
    assert given.opening_mm == pytest.approx((6 * INCH, 6 * INCH))
    with pytest.raises(WrongUse, match="diameter twice"):
        plan_frame((2400, 3000), None, frame=parse_size("8x10in"), opening=parse_size("5x7in"), look=look)


@pytest.mark.parametrize(("look", "fill"), [(Look(edges="shown", shape="oval"), False), (Look(edges="shown"), True)])
def test_edges_are_not_shown_and_hidden_at_once(look: Look, fill: bool) -> None:
    with pytest.raises(WrongUse, match="--edges shown"):
        plan_frame((2400, 3000), None, frame=parse_size("8x10in"), look=look, fill=fill)


def test_what_does_not_go_together_is_refused() -> None:
    with pytest.raises(WrongUse, match="fall through"):
        plan_frame((2400, 3000), None, frame=parse_size("8x10in"), opening=parse_size("8x10in"))
    with pytest.raises(WrongUse, match="pixels per inch"):
        plan_frame((2400, 3000), None, frame=parse_size("8x10in"), ppi=10)
    with pytest.raises(WrongUse, match="lower border"):
        plan_frame((2400, 3000), None, frame=parse_size("8x10in"), look=Look(bottom_weight=-0.2))


@pytest.mark.parametrize(("inches", "ppi"), [(8, 430), (10, 344), (12, 286.5), (18, 191), (39.37, 87.3), (120, 28.6)])
def test_viewing_distance_is_one_arc_minute(inches: float, ppi: float) -> None:
    # standards value 27 and table 5.3: ppi = 3438 / d(in)
    assert viewing_distance_mm(ppi) / INCH == pytest.approx(inches, rel=0.005)
    assert viewing_distance_mm(300) == pytest.approx(INCH / 300 / (2 * math.tan(math.radians(0.5 / 60))), rel=1e-4)


@settings(max_examples=150, deadline=None)
@given(
    picture=st.tuples(st.integers(300, 9000), st.integers(300, 9000)),
    short=st.floats(120, 900),
    ratio=st.floats(1, 1.6),
    unit=st.sampled_from(["in", "mm"]),
    share=st.none() | st.tuples(st.floats(0.35, 0.9), st.floats(0.35, 0.9)),
    fill=st.booleans(),
)
def test_the_laws_of_every_plan(
    picture: tuple[int, int],
    short: float,
    ratio: float,
    unit: str,
    share: tuple[float, float] | None,
    fill: bool,
) -> None:
    frame = Size(short, short * ratio, unit)
    opening = Size(short * share[0], short * ratio * share[1], unit) if share else None
    try:
        plan = plan_frame(picture, None, frame=frame, opening=opening, fill=fill)
    except WrongUse:
        assert opening is None or min(short * (1 - s) for s in share or ()) < 6 or max(picture) > 3 * min(picture)
        return
    assert sorted(plan.frame_mm) == pytest.approx(sorted((frame.width_mm, frame.height_mm)))
    for side in range(2):
        assert plan.print_mm[side] == pytest.approx(plan.opening_mm[side] + 2 * plan.overlap_mm)
        assert plan.print_mm[side] <= plan.frame_mm[side] + 1e-6
        # whole pixels: half of one either way, 0.2 mm and less from 64 ppi on
        assert abs(plan.print_px[side] / plan.print_ppi * INCH - plan.print_mm[side]) <= 0.51 * INCH / plan.print_ppi
        if fill:
            assert plan.picture_mm[side] >= plan.print_mm[side] - 1e-6
        else:
            assert plan.picture_mm[side] <= plan.print_mm[side] + 1e-6
            assert plan.lost_mm[side] == pytest.approx(0.0, abs=1e-9)
        assert plan.picture_box_px[2 + side] <= picture[side]
    border = plan.border_mm
    assert border.left + plan.opening_mm[0] + border.right == pytest.approx(plan.frame_mm[0])
    assert border.top + plan.opening_mm[1] + border.bottom == pytest.approx(plan.frame_mm[1])
    assert plan.print_ppi <= 300
    assert plan.picture_mm[0] / plan.picture_mm[1] == pytest.approx(picture[0] / picture[1])
    assert (picture[0] > picture[1]) == (plan.frame_mm[0] > plan.frame_mm[1]) or ratio == 1 or picture[0] == picture[1]
