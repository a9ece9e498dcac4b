"""Originals on beds and pages whose corners are known, and pictures that must stay whole."""

import cv2
import numpy as np
import pytest
from simulate import pages
from skimage import data

from surrogate.intake import outlines, quads

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
    ],
)
def test_originals_are_outlined(seed, background, arrangement, angle):
    page = pages.compose(np.random.default_rng(seed), PICTURES, background, arrangement, angle, long_edge=1000)
    layout = outlines.find(page.rgb)
    assert len(layout.outlines) == len(page.corners)
    assert worst(page, layout) < 4.0
    assert all(0 < one.confidence <= 1 for one in layout.outlines)


@pytest.mark.parametrize("picture", [*PICTURES, data.camera()], ids=["astronaut", "coffee", "cat", "camera"])
def test_a_picture_that_fills_the_frame_stays_whole(picture):
    rgb = picture if picture.ndim == 3 else np.repeat(picture[..., None], 3, axis=2)
    rgb = cv2.resize(rgb, None, fx=2, fy=2, interpolation=cv2.INTER_CUBIC)
    assert outlines.find(rgb) == outlines.FRAME


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
