"""Kinds of original: names that people give, and pictures made by the simulator from the photographs of the samples."""

from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from surrogate.condition import kind as kinds
from surrogate.imaging.density import to_density
from surrogate.records import Kind
from tests.simulate import colour_print, handwriting, lettering, negative, newsprint, scanner, silver_print
from tests.simulate import target as chart
from tests.simulate.tone import Image as Light
from tests.simulate.tone import from_codes8, reflectance, to_codes8

SHAPE = (600, 800)


@pytest.mark.parametrize(
    ("name", "kind"),
    # How people name scans (common practice, no source).
    [
        ("neg_014.tif", Kind.NEGATIVE), ("Negatives 1932-07.jpg", Kind.NEGATIVE), ("filmstrip3.tif", Kind.NEGATIVE),
        ("choir outing clipping.jpg", Kind.CLIPPING), ("Obituary Pell.png", Kind.CLIPPING),
        ("Letter from Ada 9-3-1936.jpg", Kind.DOCUMENT), ("birth_certificate.tif", Kind.DOCUMENT),
        ("album p12.jpg", Kind.ALBUM_PAGE), ("scrapbook-page-4.jpg", Kind.ALBUM_PAGE),
        ("target before session.tif", Kind.TARGET), ("grey scale.tif", Kind.TARGET), ("gray-scale.tif", Kind.TARGET),
        ("wedding_bw.jpg", Kind.SILVER_PRINT), ("IMG_2041.JPG", None),
        ("Biscuit.jpg", None), ("negotiations.jpg", None),
        ("unclipped roses.jpg", None), ("letters/IMG_1.jpg", None), ("Expressway 1961.jpg", None), ("", None),
    ],
)  # fmt: skip
def test_words_in_a_name(name, kind):
    assert kinds.from_name(name) is kind


def photograph() -> Light:
    """A photograph of the sample scans' scenes, drawn so that nothing need be fetched: sky, hills, house, people."""
    rng = np.random.default_rng(8)
    rows, columns = np.mgrid[0 : SHAPE[0], 0 : SHAPE[1]].astype(np.float32)
    light = np.empty((*SHAPE, 3), np.float32)
    light[:] = np.array([0.45, 0.62, 0.85]) * (1.1 - 0.4 * rows[..., None] / SHAPE[0])
    hills = rows > 260 + 40 * np.sin(columns / 90) + 20 * np.sin(columns / 31)
    light[hills] = [0.08, 0.17, 0.05]
    light[(rows > 200) & (rows < 420) & (columns > 480) & (columns < 700)] = [0.55, 0.30, 0.22]
    light[(rows > 300) & (rows < 420) & (columns > 560) & (columns < 610)] = [0.03, 0.02, 0.02]
    for x, skin, coat in ((200, 0.5, (0.5, 0.04, 0.05)), (290, 0.42, (0.04, 0.07, 0.3))):
        light[np.hypot(rows - 330, columns - x) < 26] = [skin, 0.66 * skin, 0.5 * skin]
        light[(np.abs(columns - x) < 38) & (rows > 356) & (rows < 560)] = coat
    grain = 1 + 0.12 * rng.standard_normal((*SHAPE, 1)).astype(np.float32)
    return np.clip(light * grain, 0, 1)


def seen(light: Light) -> np.ndarray:
    """Density as the program reads it from a scan of 8 bits."""
    rng = np.random.default_rng(4)
    return to_density(to_codes8(scanner.scan(np.asarray(light, np.float32), scanner.sample(rng))))


def guess(light: Light, parts: int = 0) -> kinds.KindGuess:
    return kinds.guess(seen(light), ppi=None, layout_parts=parts, background="frame" if parts < 2 else "black")


def made(kind: Kind) -> Light:
    """One original of that kind, by the simulator."""
    rng, photo = np.random.default_rng(2), photograph()
    if kind is Kind.COLOUR_PRINT:
        return colour_print.print_of(photo, colour_print.sample(rng, "medium"))[1]
    if kind is Kind.SILVER_PRINT:
        return silver_print.print_of(photo, silver_print.sample(rng, "mild"))[1]
    if kind is Kind.NEGATIVE:
        return negative.transmittance(photo, negative.sample_colour(rng, "mild"))
    if kind is Kind.CLIPPING:
        text = "The ferry was late again owing to fog, and the mail lay at the quay. " * 40
        ink, rest = lettering.column(np.zeros(SHAPE, np.float32), text, lettering.SERIF, 15, (20, 20, 370, 560))
        ink, _ = lettering.column(ink, rest, lettering.SERIF, 15, (410, 20, 370, 560))
        return newsprint.page_of(ink, ink, newsprint.sample(rng, "mild", SHAPE))[1]
    if kind is Kind.TARGET:
        return np.clip(np.asarray(chart.card(110, 14)[: SHAPE[0]], np.float32), 0, 1)
    rows = [(60.0, 70.0 + 55 * i, "Dear Ada, we came home safely and all is well") for i in range(9)]
    strokes = lettering.hand(rng, SHAPE, lettering.PEN, 34, rows)
    return reflectance(
        handwriting.writing_paper(rng, SHAPE) + handwriting.pen(strokes, handwriting.sample_pen(rng, "mild"))
    )


@pytest.mark.parametrize(
    "kind", [Kind.COLOUR_PRINT, Kind.SILVER_PRINT, Kind.NEGATIVE, Kind.CLIPPING, Kind.DOCUMENT, Kind.TARGET]
)
def test_a_kind_is_told_from_its_picture(kind):
    found = guess(made(kind))
    assert found.kind is kind
    assert 0.5 < found.confidence <= 0.99


def test_the_orange_mask_is_noticed():
    assert guess(made(Kind.NEGATIVE)).negative_colour
    assert not guess(made(Kind.SILVER_PRINT)).negative_colour


def test_toning_on_purpose_reads_as_unsure():
    assert "unsure" in guess(silver_print.sepia_toned(photograph())).note


def test_several_outlined_pictures_make_an_album_page_likelier():
    light = made(Kind.COLOUR_PRINT)
    density = seen(light)
    alone = kinds.guess(density, ppi=None, layout_parts=0, background="frame")
    page = kinds.guess(density, ppi=None, layout_parts=4, background="black")
    assert page.kind is Kind.ALBUM_PAGE or page.confidence < alone.confidence


@pytest.mark.parametrize("shape", [(1, 1), (3, 700), (64, 64), (1200, 30)])
def test_odd_shapes_get_an_answer(shape):
    found = kinds.guess(np.full((*shape, 3), 0.4, np.float32), ppi=600.0, layout_parts=0, background="frame")
    assert 0.0 < found.confidence <= 0.99


def test_samples_are_told_by_picture_alone():
    # The sample scans' own kinds, stated beside them; album pages are composed there with several parts.
    folder = Path(__file__).parent.parent / "sample_scans"
    expected = {"Turret house.tif": Kind.SILVER_PRINT, "forget-me-nots_16bit.tif": Kind.COLOUR_PRINT}
    for name, kind in expected.items():
        codes = np.asarray(Image.open(folder / name).convert("RGB"))
        found = kinds.guess(to_density(codes), ppi=None, layout_parts=0, background="frame")
        assert found.kind is kind, (name, found)


def test_photograph_helper_is_a_picture():
    assert from_codes8(to_codes8(photograph())).std() > 0.1
