"""People's corrections of outlines, by a plain file."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from surrogate.errors import WrongUse
from surrogate.intake import quads
from surrogate.intake.corrections import Correction, read_corrections, written
from surrogate.records import Side

SQUARE = ((10.0, 20.0), (110.0, 20.5), (110.0, 220.0), (10.0, 220.0))


def test_what_is_written_is_read_back(tmp_path):
    rows = [
        Correction("2014.019.0001", Side.RECTO, "a.tif", 1, SQUARE, 0.97, "two prints touch"),
        Correction("2014.019.0002", Side.VERSO, '=cmd|"x', 0, None, None, "@me"),
    ]
    path = tmp_path / "outlines.csv"
    path.write_text(written(rows), encoding="utf-8", newline="")
    assert read_corrections(path) == rows
    assert "\n=" not in written(rows)
    assert ",=" not in written(rows)


def test_a_spreadsheet_with_semicolons_and_decimal_commas(tmp_path):
    path = tmp_path / "outlines.csv"
    header = "part;reference;x1;y1;x2;y2;x3;y3;x4;y4;mine"
    path.write_text(f"\ufeff{header}\r\n2;2014.1;110;20,5;10;20;10;220;110;220;note\r\n;;;;\r\n", encoding="utf-8")
    assert read_corrections(path) == [Correction("2014.1", Side.RECTO, "", 2, SQUARE)]


def test_no_file_no_rows(tmp_path):
    assert read_corrections(tmp_path / "outlines.csv") == []


HEADER = "reference,side,file,part,x1,y1,x2,y2,x3,y3,x4,y4"


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("a,recto,,1,0,0,9,0,9,9,x,9", "line 2: “x” is not a number"),
        ("a,recto,,1,0,0,9,0,9,9,nan,9", "line 2: “nan” is not a number"),
        ("a,recto,,1,0,0,9,0,9,9", "is not a number"),
        ("a,recto,,1,0,0,1,1,2,2,3,3", "do not enclose"),
        ("a,recto,,1,,,,,,,,", "give four corners, or part 0"),
        (",recto,,1,0,0,9,0,9,9,0,9", "reference number or the file"),
        ("a,left,,1,0,0,9,0,9,9,0,9", "recto or verso"),
        ("a,recto,,x,0,0,9,0,9,9,0,9", "whole number from 0"),
        ("a,recto,,1,0,0,9,0,9,9,0,9\na,r,,1,0,0,9,0,9,9,0,9", "line 3: part 1 stands in line 2"),
        ('a,recto,"x', "quotation marks"),
    ],
)
def test_a_wrong_row_is_named(tmp_path, line, words):
    path = tmp_path / "outlines.csv"
    path.write_text(f"{HEADER}\n{line}\n", encoding="utf-8")
    with pytest.raises(WrongUse, match=words):
        read_corrections(path)


def test_a_wrong_file_is_named(tmp_path):
    path = tmp_path / "outlines.csv"
    path.write_bytes(b"\xff\xfe\x00")
    with pytest.raises(WrongUse, match="not UTF-8"):
        read_corrections(path)
    path.write_text("reference,part\n", encoding="utf-8")
    with pytest.raises(WrongUse, match="lacks the column x1"):
        read_corrections(path)


@given(st.floats(-44, 44), st.floats(30, 400), st.floats(30, 400), st.permutations(range(4)))
def test_corners_in_any_order_start_at_the_sheets_own_top_left(angle, width, height, order):
    import numpy as np

    turn = np.radians(angle)
    axes = np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    sheet = np.array([[0, 0], [width, 0], [width, height], [0, height]]) @ axes + 500
    corners = quads.ordered(sheet[list(order)])
    assert np.allclose(corners, sheet)
    assert quads.angle_degrees(corners) == pytest.approx(angle, abs=1e-6)
    assert quads.area(corners) == pytest.approx(width * height)
    assert quads.size(corners) == pytest.approx((width, height))
    assert quads.intersection_over_union(corners, corners) == pytest.approx(1, abs=1e-3)
    assert quads.is_convex(corners)
