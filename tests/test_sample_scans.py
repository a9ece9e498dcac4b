"""The sample scans hold what they promise, can be made again, and rest on ageing that obeys what is published."""

import csv
import hashlib
import io
from pathlib import Path

import cv2
import numpy as np
import pytest
import tifffile
from make_sample_scans import (
    CAPTIONS,
    COLUMNS,
    DUPLICATE,
    FOLDER,
    NOT_A_PICTURE,
    SAMPLES,
    TRUNCATED,
    TURNED,
    truth,
    write_all,
)
from PIL import Image as PillowImage
from PIL import ImageCms, UnidentifiedImageError
from simulate import LEVELS, colour_print, negative, newsprint, silver_print
from simulate.colorimetry import (
    ROMM_CURVE,
    ROMM_TO_XYZ,
    SRGB_CURVE,
    SRGB_TO_XYZ_D50,
    lab_to_linear_srgb,
    linear_srgb_to_lab,
    matrix_profile,
    to_romm16,
)
from simulate.pictures import PICTURES, SOURCES, photo
from simulate.sheet import Placing, corners, glass, lay
from simulate.target import PATCHES, patch_origin
from simulate.tone import density, encode_srgb, luminance, to_codes8
from skimage.color import deltaE_ciede2000

WIDE = "forget-me-nots_16bit.tif"


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("sample scans")
    write_all(folder)
    return folder


def codes(path: Path) -> np.ndarray:
    if path.name == WIDE:
        return tifffile.imread(path)
    with PillowImage.open(path) as picture:
        return np.asarray(picture)


def test_made_again_they_are_the_same(made: Path) -> None:
    assert {p.name for p in made.iterdir()} == {p.name for p in FOLDER.iterdir() if p.suffix != ".toml"}
    for again in made.iterdir():
        kept = FOLDER / again.name
        if again.suffix in {".csv", ".md"} or again.name in {NOT_A_PICTURE, TRUNCATED}:
            if again.name != TRUNCATED:
                assert again.read_bytes() == kept.read_bytes()
            continue
        one, other = codes(again).astype(float), codes(kept).astype(float)
        assert one.shape == other.shape
        # Another processor may round differently in the last bit, and another JPEG library too.
        assert np.abs(one - other).mean() <= 0.05 * (257 if again.name == WIDE else 1), again.name


def test_size_and_number() -> None:
    scans = [p for p in FOLDER.iterdir() if p.suffix.lower() in {".jpg", ".tif"}]
    assert 16 <= len(scans) <= 24
    assert sum(p.stat().st_size for p in FOLDER.iterdir()) <= 12_000_000
    assert sum(p.stat().st_size for p in SOURCES.iterdir()) <= 1_500_000
    assert {p.stem for p in SOURCES.iterdir()} == {p.name for p in PICTURES}


@pytest.mark.parametrize("sample", [s for s in SAMPLES if s.file not in {TRUNCATED, WIDE}], ids=lambda s: s.file)
def test_pictures_open_and_say_their_resolution(sample) -> None:
    with PillowImage.open(FOLDER / sample.file) as picture:
        picture.load()
        assert float(picture.info["dpi"][0]) == pytest.approx(sample.ppi, abs=0.5)
        assert max(picture.size) <= 1600


def test_the_odd_ones_are_odd() -> None:
    first, second = (hashlib.sha256((FOLDER / name).read_bytes()).hexdigest() for name in DUPLICATE)
    assert first == second
    with pytest.raises(UnidentifiedImageError):
        PillowImage.open(FOLDER / NOT_A_PICTURE)
    with PillowImage.open(FOLDER / TRUNCATED) as picture, pytest.raises(OSError, match="truncated"):
        picture.load()
    with PillowImage.open(FOLDER / TURNED) as picture:
        assert picture.getexif()[0x0112] == 6  # Exif 2.32: the row 0 is the visual right-hand side
        shown = picture.height, picture.width
        assert truth(TURNED)[TURNED][0].unfaded.shape[:2] == (picture.width, picture.height)
        assert shown[0] > shown[1]


def test_wide_gamut_scan_holds_colours_outside_srgb() -> None:
    with tifffile.TiffFile(FOLDER / WIDE) as file:
        page = file.pages[0]
        assert page.dtype == np.uint16
        profile = ImageCms.ImageCmsProfile(io.BytesIO(page.iccprofile))
        assert ImageCms.getProfileDescription(profile).strip() == "ROMM RGB"
    picture = tifffile.imread(FOLDER / WIDE)
    # ISO 22028-2, decoded here on its own: x / 16 below 16 E_t, else x^1.8.
    coded = picture / 65535.0
    linear = np.where(coded < 16 * 16 ** (1.8 / (1 - 1.8)), coded / 16, coded**1.8)
    srgb = linear @ (np.linalg.inv(SRGB_TO_XYZ_D50) @ ROMM_TO_XYZ).T
    assert np.mean(srgb.min(axis=-1) < -0.001) > 0.02


@pytest.mark.parametrize(
    ("profile", "coded"),
    [
        (matrix_profile("ROMM RGB", ROMM_TO_XYZ, ROMM_CURVE), lambda light: to_romm16(light) / 65535.0),
        (matrix_profile("sRGB", SRGB_TO_XYZ_D50, SRGB_CURVE), encode_srgb),
    ],
    ids=["ROMM", "sRGB"],
)
def test_profiles_mean_to_littlecms_what_they_mean_to_us(profile: bytes, coded) -> None:
    lab = np.array([values for name, values in PATCHES if name != "cyan"], float)  # cyan lies outside sRGB
    eight = np.round(coded(lab_to_linear_srgb(lab)[None]) * 255).astype(np.uint8)
    source = ImageCms.ImageCmsProfile(io.BytesIO(profile))
    change = ImageCms.buildTransform(
        source, ImageCms.createProfile("LAB"), "RGB", "LAB", ImageCms.Intent.RELATIVE_COLORIMETRIC
    )
    seen = np.asarray(ImageCms.applyTransform(PillowImage.fromarray(eight), change)).astype(float)[0]
    signed = np.where(seen[:, 1:] > 127, seen[:, 1:] - 256, seen[:, 1:])
    got = np.column_stack([seen[:, 0] * 100 / 255, signed])
    # Eight bits of code and of Lab: half a code each, more in the darks of the wide space.
    assert deltaE_ciede2000(lab, got).mean() <= 1.0


def test_caption_sheet_parses() -> None:
    text = (FOLDER / "captions.csv").read_text(encoding="utf-8-sig")
    rows = list(csv.DictReader(io.StringIO(text)))
    assert tuple(rows[0]) == COLUMNS
    names = {p.name for p in FOLDER.iterdir()} | {p.stem for p in FOLDER.iterdir()}
    assert all(row["file"] in names for row in rows)
    assert "about 1952" in {row["date"] for row in rows}
    assert any(not row["title"] for row in rows), "a volunteer's sheet has gaps"
    assert len(rows) == len(CAPTIONS) < len(SAMPLES)


def test_target_patches_are_those_published() -> None:
    # Source: the 24-patch dataset of colour-science/colour, edition after November 2014.
    known = truth("target.jpg")["target.jpg"][0]
    published = np.array([lab for _, lab in PATCHES])
    at = [patch_origin(index, 120, 22) for index in range(24)]
    drawn = np.array([linear_srgb_to_lab(known.unfaded[y + 60, x + 60]) for y, x in at])
    np.testing.assert_allclose(drawn, published, atol=0.01)
    height, width = known.unfaded.shape[:2]
    box = np.array([[0, 0], [width - 1, 0], [width - 1, height - 1], [0, height - 1]], np.float32)
    with PillowImage.open(FOLDER / "target.jpg") as picture:
        flat = cv2.warpPerspective(
            np.asarray(picture), cv2.getPerspectiveTransform(known.quad.astype(np.float32), box), (width, height)
        )
    means = np.array([flat[y + 30 : y + 90, x + 30 : x + 90].reshape(-1, 3).mean(axis=0) for y, x in at]) / 255.0
    linear = np.where(means <= 0.04045, means / 12.92, ((means + 0.055) / 1.055) ** 2.4)
    errors = deltaE_ciede2000(linear_srgb_to_lab(linear), published)
    assert 0.5 < errors.mean() < 3.0, "a consumer scanner: not perfect, not bad"
    assert errors.max() < 7.0


def test_truths_lie_where_they_say() -> None:
    scene = np.zeros((200, 300, 3), np.float32)
    sheet = np.ones((80, 120, 3), np.float32)
    placing = Placing((150.0, 100.0), 10.0, shadow=0.0)
    covered = lay(scene, sheet, placing)[..., 0] > 0.5
    rows, columns = np.nonzero(covered)
    spots = corners((80, 120), placing)
    assert columns.min() == pytest.approx(spots[:, 0].min(), abs=1.0)
    assert rows.max() == pytest.approx(spots[:, 1].max(), abs=1.0)
    assert covered.sum() == pytest.approx(80 * 120, rel=0.03)
    assert spots[1, 1] > spots[0, 1], "turned clockwise: the right-hand end sinks"
    assert glass(np.random.default_rng(0), (64, 64)).min() > 0.7


def test_codes_of_a_grey_scale() -> None:
    # IEC 61966-2-1 and D = -log10(R): D 0.05, 0.75, 1.65 are sRGB 242.4, 117.0, 41.2.
    light = np.repeat(10.0 ** -np.array([[0.05], [0.75], [1.65]]), 3, axis=1)
    np.testing.assert_allclose(encode_srgb(light)[:, 0] * 255, [242.4, 117.0, 41.2], atol=0.06)
    assert to_codes8(light)[1].tolist() == [117, 117, 117]


def test_fading_of_thin_and_thick_dye() -> None:
    # Worked by hand: dark fading keeps 0.6 of any amount; light of dose 0.5 takes 1 - e^-0.5 = 39 % of thin dye and
    # 0.5 / ln 10 = 0.217 of thick dye.
    amounts = np.array([[0.001] * 3, [3.0] * 3])
    in_the_dark = colour_print.fade(amounts, (0.6, 0.6, 0.6), (0.0, 0.0, 0.0))
    np.testing.assert_allclose(in_the_dark, 0.6 * amounts, rtol=1e-6)
    in_the_light = colour_print.fade(amounts, (1.0, 1.0, 1.0), (0.5, 0.5, 0.5))
    assert in_the_light[0, 0] / 0.001 == pytest.approx(np.exp(-0.5), abs=0.002)
    assert 3.0 - in_the_light[1, 0] == pytest.approx(0.5 / np.log(10), abs=0.001)


@pytest.mark.parametrize("module", [colour_print, silver_print], ids=["colour", "silver"])
def test_levels_grow(module) -> None:
    picture = photo("market_stall" if module is colour_print else "chapel", (96, 72))
    medians = []
    for level in LEVELS:
        changes = []
        for seed in range(2):
            fresh, now = module.print_of(picture, module.sample(np.random.default_rng(seed), level))
            changes.append(np.median(deltaE_ciede2000(linear_srgb_to_lab(fresh), linear_srgb_to_lab(now))))
        medians.append(float(np.median(changes)))
    assert medians[0] < 1.0
    assert medians == sorted(medians)
    # The steps that fading is spoken of in: hardly seen, seen, plain, gone (common practice, no source).
    assert medians[1] < 9.0
    assert 5.0 < medians[2] < 16.0
    assert 12.0 < medians[3] < 30.0


def test_silver_goes_first_in_the_lights_and_at_the_edge() -> None:
    # Reilly and others 1984: fewer and smaller particles in the lights, so deterioration shows there first.
    grey = np.full((120, 120, 3), 0.5, np.float32)
    grey[:, 60:] = 0.02
    how = silver_print.SilverPrint(0.06, 2.1, 0.0, 0.4, 0.8, 0.3, 0.1, 1.5, 12.0, 0.0, 7)
    fresh, now = (density(light)[..., 0] - 0.06 for light in silver_print.print_of(grey, how))
    kept = now / fresh
    assert kept[60, 30] < kept[60, 90] - 0.1
    yellow = density(silver_print.print_of(np.ones_like(grey), how)[1])[..., 2]
    assert yellow[60, 0] > yellow[60, 60] + 0.05


def test_fresh_newsprint_has_the_colour_of_the_standard() -> None:
    # ISO 12647-3:2013 on black backing: paper L* 82, a* 0, b* 3; IFRA26 solid black: 36.8, 1.5, 4.5.
    ink = np.zeros((200, 200), np.float32)
    ink[:, 100:] = 1.0
    how = newsprint.sample(np.random.default_rng(1), "unfaded", (200, 200))
    fresh, _ = newsprint.page_of(ink, np.zeros_like(ink), how)
    lab = linear_srgb_to_lab(fresh)
    np.testing.assert_allclose(np.median(lab[:, :90], axis=(0, 1)), [82, 0, 3], atol=1.0)
    np.testing.assert_allclose(np.median(lab[:, 110:], axis=(0, 1)), [36.8, 1.5, 4.5], atol=1.5)


def test_halftone_prints_more_ink_for_darker_tones() -> None:
    shares = [float(newsprint.halftone(np.full((60, 60), light, np.float32), 5.0).mean()) for light in (0.9, 0.5, 0.1)]
    assert shares == sorted(shares)
    assert 0.0 < shares[0] < 0.3
    assert 0.6 < shares[2] < 1.0


def test_colour_negative_has_an_orange_mask() -> None:
    # Base densities of a masked colour negative near 0.25 / 0.60 / 0.85 (ISO 5-3 status M, from memory).
    film = negative.sample_colour(np.random.default_rng(3), "unfaded")
    np.testing.assert_allclose(density(negative.unexposed(film)), [0.25, 0.60, 0.85], atol=0.10)
    scene = np.array([[[0.02] * 3, [0.2] * 3, [0.8] * 3]], np.float32)
    light = luminance(negative.transmittance(scene, film))[0]
    assert light[0] > light[1] > light[2], "the lights of the scene are the darks of the film"
