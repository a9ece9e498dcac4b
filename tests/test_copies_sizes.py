"""Sizes as people write and read them."""

from __future__ import annotations

import pytest

from surrogate.copies.sizes import Size, both, both_sides, in_inches, in_mm, parse_size
from surrogate.errors import WrongUse


@pytest.mark.parametrize(
    ("text", "width", "height", "unit"),
    [
        # standards table 5.1: inch sizes times 25.4
        ("8x10in", 203.2, 254.0, "in"),
        ("8 x 10 in", 203.2, 254.0, "in"),
        ('8"x10"', 203.2, 254.0, "in"),
        ("11X14in", 279.4, 355.6, "in"),
        ("3½x5in", 88.9, 127.0, "in"),
        ("3 1/2 x 5 in", 88.9, 127.0, "in"),
        ("7-1/2x9-1/2in", 190.5, 241.3, "in"),
        ("20x25cm", 200.0, 250.0, "mm"),
        ("20,5 × 25,5 cm", 205.0, 255.0, "mm"),
        ("203x254mm", 203.0, 254.0, "mm"),
        # ISO 216:2007
        ("a4", 210.0, 297.0, "mm"),
        (" A3 ", 297.0, 420.0, "mm"),
        ("letter", 215.9, 279.4, "in"),
        # standards table 5.1, historic sizes
        ("cabinet", 107.95, 165.1, "in"),
        ("Whole plate", 165.1, 215.9, "in"),
        ("carte-de-visite", 64.0, 100.0, "mm"),
    ],
)
def test_a_size_is_read_as_written(text: str, width: float, height: float, unit: str) -> None:
    size = parse_size(text)
    assert (size.width_mm, size.height_mm) == pytest.approx((width, height), abs=1e-6)
    assert size.unit == unit


@pytest.mark.parametrize("text", ["8x10", "", "big", "8in", "x10in", "1/0x5in", "8x10x12in", "8x10ft", "0x0mm"])
def test_what_is_no_size_is_refused_with_its_own_words(text: str) -> None:
    with pytest.raises(WrongUse, match=r"frame.*"):
        parse_size(text, "frame")


def test_a_size_without_unit_asks_for_it() -> None:
    with pytest.raises(WrongUse, match="8x10in for inches, 8x10cm"):
        parse_size("8 x 10", "frame")


def test_a_size_out_of_all_reason_asks_for_the_unit() -> None:
    with pytest.raises(WrongUse, match="Check the unit"):
        parse_size("800x1000in")


def test_a_size_turns_as_the_picture_stands() -> None:
    frame = Size(203.2, 254.0, "in")
    assert frame.turned_like(300, 200) == Size(254.0, 203.2, "in")
    assert frame.turned_like(200, 300) == frame
    assert frame.turned_like(200, 200) == frame


def test_measures_read_as_on_a_ruler() -> None:
    assert in_mm(190.5) == "190.5 mm"
    assert in_mm(200.0) == "200 mm"
    assert in_mm(6.35) == "6.4 mm"
    assert in_inches(190.5) == "7 1/2 in"
    assert in_inches(6.35) == "1/4 in"
    assert in_inches(25.4) == "1 in"
    assert both(6.35) == "6.4 mm (1/4 in)"
    assert both_sides(203.2, 254.0) == "203.2 × 254 mm (8 × 10 in)"
