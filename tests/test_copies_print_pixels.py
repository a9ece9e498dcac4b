"""The pixels of a print, against float64, Pillow and scikit-image."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import pytest
import pyvips
import tifffile
from copies_collection import STEPS, scene, write_scan
from PIL import Image, ImageCms
from scipy.ndimage import gaussian_filter
from skimage.transform import ProjectiveTransform, warp

from surrogate.copies import print_pixels, print_sharpening
from surrogate.errors import CollectionUnusable
from surrogate.recovery.recipe import Curves, Grid, Matrix, Recipe, Step


def a_recipe(size: tuple[int, int], **given: object) -> Recipe:
    """The recipe of a print without sharpening, unless given otherwise."""
    values: dict[str, object] = {
        "software": "surrogate test",
        "kind": "colour-print",
        "use": "print",
        "side": "recto",
        "master": "masters/2026-001/2026-001-0001_r.tif",
        "master_sha256": "0" * 64,
        "input_profile": "sRGB assumed",
        "strength": "standard",
        "tone": "as found",
        "steps": [],
        "words": [],
        "print_size_px": size,
        "print_box_px": (0, 0, *size),
        "print_ppi": 300.0,
    }
    return Recipe.model_validate(values | given)


def printed(folder: Path, pixels: np.ndarray, recipe: Recipe) -> np.ndarray:
    """Write a master and its print; returns the print's pixels as another library reads them."""
    write_scan(folder / "master.tif", pixels, 300)
    print_pixels.write_print(folder / "master.tif", recipe, folder / "print.tif")
    assert sorted(path.name for path in folder.iterdir()) == ["master.tif", "print.tif"]
    return tifffile.imread(folder / "print.tif")


def smooth(width: int, height: int) -> np.ndarray:
    """A picture without detail near the limit of resolution, (height, width, 3) uint8."""
    y, x = np.mgrid[0:height, 0:width] / 40
    waves = [np.sin(x) * np.cos(y), np.cos(x * 0.7 + 1), np.sin(y * 1.1 + x * 0.3)]
    return np.rint(128 + 90 * np.stack(waves, axis=-1)).astype(np.uint8)


def float64_steps(steps: list[Step], pixels: np.ndarray) -> np.ndarray:
    """The recipe by its definition, in float64: sRGB 0-1 in and out (IEC 61966-2-1)."""
    linear = np.where(pixels <= 0.04045, pixels / 12.92, ((pixels + 0.055) / 1.055) ** 2.4)
    density = -np.log10(np.maximum(linear, 1e-3))
    for step in steps:
        match step:
            case Curves():
                density = np.stack(
                    [_line(k, density[..., i]) for i, k in enumerate((step.red, step.green, step.blue))], axis=-1
                )
            case Matrix():
                density = density @ np.array(step.matrix).T + np.array(step.offset)
            case Grid():
                field = cv2.resize(np.array(step.values), density.shape[1::-1], interpolation=cv2.INTER_CUBIC)
                density = density - field
    linear = np.clip(10.0**-density, 0, 1)
    return np.where(linear <= 0.0031308, linear * 12.92, 1.055 * linear ** (1 / 2.4) - 0.055)


def _line(knots: list[tuple[float, float]], values: np.ndarray) -> np.ndarray:
    xs, ys = np.array(knots).T
    low = ys[0] + (values - xs[0]) * (ys[1] - ys[0]) / (xs[1] - xs[0])
    high = ys[-1] + (values - xs[-1]) * (ys[-1] - ys[-2]) / (xs[-1] - xs[-2])
    return np.where(values < xs[0], low, np.where(values > xs[-1], high, np.interp(values, xs, ys)))


def test_a_further_page_and_a_spare_channel_are_printed_too(tmp_path: Path) -> None:
    pages = [scene(200, 300, 1), scene(240, 200, 2)]
    with tifffile.TiffWriter(tmp_path / "pages.tif") as file:
        for page in pages:
            file.write(page, photometric="rgb")
    print_pixels.write_print(tmp_path / "pages.tif", a_recipe((240, 200), page=1), tmp_path / "print.tif")
    assert np.array_equal(tifffile.imread(tmp_path / "print.tif"), pages[1])
    dust = np.dstack([pages[0], np.full((300, 200), 9, np.uint8)])
    tifffile.imwrite(tmp_path / "dust.tif", dust, photometric="rgb", extrasamples=["unspecified"])
    print_pixels.write_print(tmp_path / "dust.tif", a_recipe((200, 300)), tmp_path / "print.tif")
    assert np.array_equal(tifffile.imread(tmp_path / "print.tif"), pages[0])


def test_a_print_as_found_at_the_scans_own_size_is_the_scan(tmp_path: Path) -> None:
    pixels = scene(301, 420)
    assert np.array_equal(printed(tmp_path, pixels, a_recipe((301, 420))), pixels)


@pytest.mark.parametrize("bits", [8, 16])
def test_recipe_and_sharpening_agree_with_float64_to_one_code(tmp_path: Path, bits: int) -> None:
    pixels = scene(260, 600)
    if bits == 16:
        pixels = (pixels.astype(np.uint16) << 8) + np.random.default_rng(1).integers(0, 256, pixels.shape, np.uint16)
    radius = print_sharpening.radius_px(300)
    assert radius == 1.0
    found = printed(tmp_path, pixels, a_recipe((260, 600), steps=STEPS, sharpen_radius_px=radius)).astype(float)
    recovered = float64_steps(STEPS, pixels / (255 if bits == 8 else 65535))
    luma = recovered @ [0.2126, 0.7152, 0.0722]
    detail = luma - gaussian_filter(luma, radius, mode="nearest", truncate=4.0)
    expected = np.clip(recovered + print_sharpening.AMOUNT * detail[..., None], 0, 1) * 255
    assert np.abs(found - expected).max() <= 1.0


def test_strips_of_any_height_give_the_same_print(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    pixels = scene(240, 700)
    corners = [(9.0, 12.0), (229.0, 4.0), (235.0, 690.0), (5.0, 681.0)]
    recipe = a_recipe((225, 682), steps=STEPS, sharpen_radius_px=1.0, outline=corners)
    first = printed(tmp_path, pixels, recipe)
    monkeypatch.setattr(print_pixels, "STRIP_ROWS", 61)
    # cubic interpolation in fixed point may round one code apart where a strip starts
    assert np.abs(printed(tmp_path, pixels, recipe).astype(int) - first).max() <= 1


def test_reducing_agrees_with_another_library(tmp_path: Path) -> None:
    pixels = smooth(600, 800)
    found = printed(tmp_path, pixels, a_recipe((251, 333)))
    expected = np.asarray(Image.fromarray(pixels).resize((251, 333), Image.Resampling.LANCZOS))
    assert np.abs(found.astype(int) - expected).max() <= 2


def test_straightening_agrees_with_another_library(tmp_path: Path) -> None:
    pixels = smooth(500, 640)
    corners = np.array([(31.0, 20.0), (471.5, 12.0), (480.0, 611.0), (22.0, 620.0)])
    size = (449, 600)
    found = printed(tmp_path, pixels, a_recipe(size, outline=[tuple(c) for c in corners.tolist()]))
    target = np.array([(0, 0), (size[0], 0), size, (0, size[1])], dtype=float)
    way = ProjectiveTransform.from_estimate(target - 0.5, corners - 0.5)
    expected = 255 * warp(pixels, way, output_shape=size[::-1], order=3)
    assert np.abs(found - expected).max() <= 2.0


@pytest.mark.parametrize("turn", [0, 90, 180, 270])
def test_a_turned_scan_stands_upright(tmp_path: Path, turn: int) -> None:
    pixels = scene(120, 80)
    expected = np.rot90(pixels, -turn // 90)
    size = (expected.shape[1], expected.shape[0])
    assert np.array_equal(printed(tmp_path, pixels, a_recipe(size, turn=turn)), expected)


def test_a_filled_print_is_the_middle_and_a_short_one_has_white_paper(tmp_path: Path) -> None:
    pixels = scene(100, 150)
    filled = printed(tmp_path, pixels, a_recipe((100, 110), print_box_px=(0, -20, 100, 150), steps=STEPS))
    whole = printed(tmp_path, pixels, a_recipe((100, 150), steps=STEPS))
    assert np.array_equal(filled, whole[20:130])
    narrow = printed(tmp_path, pixels, a_recipe((140, 170), print_box_px=(20, 10, 100, 150), steps=STEPS))
    assert np.array_equal(narrow[10:160, 20:120], whole)
    narrow[10:160, 20:120] = 255
    assert (narrow == 255).all()


def test_the_scans_profile_is_honoured(tmp_path: Path) -> None:
    pixels = smooth(90, 70)
    profile = pyvips.Image.profile_load("p3")
    image = pyvips.Image.new_from_array(pixels, interpretation="srgb")
    image.set_type(pyvips.GValue.blob_type, "icc-profile-data", profile)
    image.tiffsave(str(tmp_path / "master.tif"))
    print_pixels.write_print(tmp_path / "master.tif", a_recipe((90, 70)), tmp_path / "print.tif")
    wide = ImageCms.ImageCmsProfile(str(_written(tmp_path / "wide.icc", profile)))
    flags = ImageCms.Flags.NOOPTIMIZE
    expected = ImageCms.profileToProfile(
        Image.fromarray(pixels), wide, ImageCms.createProfile("sRGB"), renderingIntent=1, flags=flags
    )
    found = tifffile.imread(tmp_path / "print.tif").astype(int)
    assert np.abs(found - np.asarray(expected)).max() <= 2


def _written(path: Path, content: bytes) -> Path:
    path.write_bytes(content)
    return path


def test_grey_scans_print(tmp_path: Path) -> None:
    grey = scene(80, 60)[..., 0]
    Image.fromarray(grey).save(tmp_path / "master.tif")
    print_pixels.write_print(tmp_path / "master.tif", a_recipe((80, 60)), tmp_path / "print.tif")
    assert np.array_equal(tifffile.imread(tmp_path / "print.tif"), np.repeat(grey[..., None], 3, axis=-1))


def test_the_file_says_its_size_and_profile(tmp_path: Path) -> None:
    printed(tmp_path, scene(300, 200), a_recipe((300, 200), print_ppi=147.625))
    with tifffile.TiffFile(tmp_path / "print.tif") as tiff:
        tags = tiff.pages[0].tags
        assert tags["XResolution"].value[0] / tags["XResolution"].value[1] == pytest.approx(147.625, abs=1e-4)
        assert tags["ResolutionUnit"].value == 2
        assert tags["BitsPerSample"].value == (8, 8, 8)
        profile = ImageCms.ImageCmsProfile(str(_written(tmp_path / "own.icc", tags["InterColorProfile"].value)))
    assert "sRGB" in ImageCms.getProfileDescription(profile)


def test_a_damaged_master_is_told_and_leaves_nothing(tmp_path: Path) -> None:
    write_scan(tmp_path / "master.tif", scene(300, 400), 300)
    content = (tmp_path / "master.tif").read_bytes()
    (tmp_path / "master.tif").write_bytes(content[: len(content) // 2])
    with pytest.raises(CollectionUnusable, match="surrogate audit"):
        print_pixels.write_print(tmp_path / "master.tif", a_recipe((300, 400)), tmp_path / "print.tif")
    assert [path.name for path in tmp_path.iterdir()] == ["master.tif"]


def test_no_sharpening_where_single_pixels_show() -> None:
    assert print_sharpening.radius_px(150) is None
    assert print_sharpening.radius_px(180) == pytest.approx(0.6)
    assert print_sharpening.radius_px(300) == pytest.approx(1.0)


def test_sharpening_leaves_flat_tones_and_colour_alone() -> None:
    flat = np.full((40, 40, 3), (20000, 40000, 60000), dtype=np.uint16)
    assert np.array_equal(print_sharpening.sharpened(flat, 1.0), print_sharpening.to_8_bits(flat))
    edge = flat.copy()
    edge[:, 20:] = edge[:, 20:] // 2
    change = print_sharpening.sharpened(edge, 1.0).astype(int) - print_sharpening.to_8_bits(edge)
    assert np.ptp(change, axis=-1).max() <= 1
