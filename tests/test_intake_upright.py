"""Which way up a page of text lies; how much a scan looks like a back."""

import numpy as np
import pytest
from PIL import Image, ImageDraw, ImageFont
from skimage import data

from surrogate.intake.looks import back_likeness
from surrogate.intake.upright import APPLIED, suggest

LINES = [
    "The parish harvest supper was held on Sunday last",
    "in the old boat house by the river. Mrs Helen Ward",
    "thanked everybody for the flowers and the kettles,",
    "and the band of the fire brigade played until dark.",
]


def sheet(lines, size=28, ink=50):
    picture = Image.new("L", (900, 1200), 226)
    pen = ImageDraw.Draw(picture)
    font = ImageFont.load_default(size)
    for place, line in enumerate(lines):
        pen.text((70, 60 + place * size * 1.4), line, font=font, fill=ink)
    return np.asarray(picture)


@pytest.mark.parametrize("quarter", range(4))
def test_a_page_of_print_is_set_upright(quarter):
    page = sheet(LINES * 6)
    found = suggest(np.ascontiguousarray(np.rot90(page, quarter)))
    assert found.quarter_turns == quarter
    assert found.confidence > APPLIED
    assert "lines of text" in found.why


def test_pictures_and_blank_paper_get_no_sure_suggestion():
    rng = np.random.default_rng(0)
    for picture in (
        data.camera(),
        data.coffee()[..., 1],
        np.full((900, 700), 220, np.uint8),
        rng.integers(0, 255, (600, 500), dtype=np.uint8),
    ):
        assert suggest(picture).confidence < APPLIED


def test_backs_and_pictures_are_told_apart():
    back = np.repeat(sheet(LINES[:2], ink=110)[..., None], 3, axis=2)
    yellowed = np.clip(back * np.array([0.95, 0.88, 0.72]), 0, 255).astype(np.uint8)
    assert back_likeness(back) > 0.9
    assert back_likeness(yellowed) > 0.9
    assert back_likeness(data.astronaut()) < 0.2
    assert back_likeness(data.coffee()) < 0.2
