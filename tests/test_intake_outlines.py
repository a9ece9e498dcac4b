"""Originals on beds and pages whose corners are known, and pictures that must stay whole."""

import cv2
import numpy as np
import pytest
from simulate import frames, pages
from skimage import data

from surrogate.intake import bed, byhand, outlines, quads

PICTURES = [data.astronaut(), data.coffee(), data.chelsea()]


def worst(page, layout):
    """Largest mean corner error in px over the originals, each matched to its nearest outline."""
    errors = []
    for truth in page.corners:
        true = quads.ordered(truth)
        best = max(layout.outlines, key=lambda one: quads.intersection_over_union(true, one.corners))
        errors.append(np.hypot(*(np.asarray(best.corners) - true).T).mean())
    return max(errors)


@pytest.mark.parametrize(
    ("seed", "background", "arrangement", "angle"),
    [
        (3, "black page", "apart", 3),
        (4, "white lid", "apart", -7),
        (5, "grey lid", "single", 30),
        (6, "cream page", "apart", 12),
        (7, "white lid", "flush", 0),
        (8, "kraft page", "apart", 20),
        (14, "adhesive page", "apart", 5),
        (10, "black lid", "apart", -40),
        (11, "grey lid", "touching", 4),
        (13, "white lid", "leaf on bed", 3),
    ],
)
def test_originals_are_outlined(seed, background, arrangement, angle):
    page = pages.compose(np.random.default_rng(seed), PICTURES, background, arrangement, angle, long_edge=1000)
    layout = outlines.find(page.rgb)
    assert len(layout.outlines) == len(page.corners)
    assert worst(page, layout) < 6.0
    assert all(0 < one.confidence <= 1 for one in layout.outlines)


@pytest.mark.parametrize(("seed", "background"), [(1, "grey lid"), (2, "white lid"), (5, "black lid")])
def test_one_sheet_with_little_lid_around_it_is_outlined(seed, background):
    page = pages.compose(np.random.default_rng(seed), PICTURES, background, "snug", 2.5, long_edge=1000)
    layout = outlines.find(page.rgb)
    assert len(layout.to_cut()) == 1
    assert worst(page, layout) < 6.0


@pytest.mark.parametrize("kind", list(frames.FRAMES))
def test_borders_mounts_strips_and_galleries_stay_whole(kind):
    rgb = frames.full_frame(np.random.default_rng(1), PICTURES, kind, long_edge=1000)
    assert outlines.find(rgb).to_cut() == []


def test_a_print_on_a_page_is_a_part_and_the_page_is_kept():
    page = pages.compose(np.random.default_rng(5), PICTURES, "cream page", "single", 3, long_edge=1000)
    layout = outlines.find(page.rgb)
    assert len(layout.to_cut()) == 1
    assert layout.is_page
    assert layout.keeps_whole()


def test_one_sheet_on_a_lid_is_all_that_is_kept():
    page = pages.compose(np.random.default_rng(5), PICTURES, "grey lid", "single", 25, long_edge=1000)
    assert not outlines.find(page.rgb).keeps_whole()


def test_prints_that_lie_on_one_another_are_said_to():
    page = pages.compose(np.random.default_rng(2), PICTURES, "grey lid", "overlapping", 4, long_edge=1400)
    layout = outlines.find(page.rgb)
    assert any("overlap" in note for note in layout.notes)
    assert layout.keeps_whole()


def test_a_fold_does_not_part_a_letter():
    sheet = np.full((1000, 800, 3), 215, np.uint8)
    sheet[80:920, 90:710] = (236, 228, 200)
    for y in range(140, 880, 30):
        cv2.putText(sheet, "the water came over the lower road", (120, y), cv2.FONT_HERSHEY_COMPLEX, 0.7, (60, 50, 45))
    sheet[498:501, 90:710] = (176, 168, 142)
    sheet = cv2.GaussianBlur(sheet, (0, 0), 0.7)
    assert len(outlines.find(sheet).outlines) <= 1


@pytest.mark.parametrize("picture", [*PICTURES, data.camera()], ids=["astronaut", "coffee", "cat", "camera"])
def test_a_picture_that_fills_the_frame_stays_whole(picture):
    rgb = picture if picture.ndim == 3 else np.repeat(picture[..., None], 3, axis=2)
    rgb = cv2.resize(rgb, None, fx=2, fy=2, interpolation=cv2.INTER_CUBIC)
    assert outlines.find(rgb).to_cut() == []


def test_a_sea_under_an_even_sky_stays_whole():
    rng = np.random.default_rng(2)
    rgb = np.full((800, 1200, 3), 236.0)
    rgb[300:] = np.linspace(120, 60, 500)[:, None, None] + rng.normal(0, 12, (500, 1200, 1))
    rgb += rng.normal(0, 4, rgb.shape)
    assert outlines.find(np.clip(rgb, 0, 255).astype(np.uint8)).outlines == ()


@pytest.mark.parametrize("value", [0, 128, 255])
def test_an_empty_bed_has_no_originals(value):
    assert outlines.find(np.full((700, 500, 3), value, np.uint8)).outlines == ()


def test_tiny_pictures_are_left_alone():
    assert outlines.find(np.zeros((10, 4000, 3), np.uint8)) == outlines.FRAME


def test_the_outline_agrees_with_the_smallest_rectangle_of_the_truth():
    # OpenCV's own minAreaRect on the mask of the truth, as a second judge of the corners.
    page = pages.compose(np.random.default_rng(5), PICTURES, "grey lid", "single", 25, long_edge=1000)
    mask = quads.mask(quads.ordered(page.corners[0]), page.rgb.shape[:2]).astype(np.uint8)
    box = quads.ordered(cv2.boxPoints(cv2.minAreaRect(cv2.findNonZero(mask))))
    (found,) = outlines.find(page.rgb).outlines
    assert quads.intersection_over_union(box, found.corners) > 0.98


def rectangles(*boxes):
    return [quads.ordered([(x, y), (x + w, y), (x + w, y + h), (x, y + h)]) for x, y, w, h in boxes]


def test_windows_in_rows_are_no_prints():
    # Common practice, no source: nobody lays prints to a millimetre; builders and printers do.
    windows = rectangles((100, 100, 200, 300), (500, 100, 200, 300), (100, 600, 200, 300), (500, 600, 200, 380))
    assert not byhand.are_sheets(windows, (1000, 1400))
    prints = rectangles((100, 100, 200, 300), (500, 130, 220, 300), (90, 600, 230, 260), (520, 640, 300, 280))
    assert byhand.are_sheets(prints, (1000, 1400))


def test_a_block_of_writing_is_no_sheet():
    block = quads.ordered([(100, 100), (800, 130), (800, 900), (140, 900)])
    assert not byhand.are_sheets([block], (1000, 1400))


def test_even_margins_left_and_right_are_a_border():
    page = np.full((900, 1200, 3), 235, np.uint8)
    page[60:800, 70:1130] = 90
    page[56:804, 66:70] = page[56:804, 1130:1134] = 200  # as dark beside the picture as a shadow would be
    assert not bed.is_lid(page, rectangles((70, 60, 1060, 740))[0])
