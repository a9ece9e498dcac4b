"""Reading scans: formats, colour management against LittleCMS, damaged and odd files."""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np
import pytest
import skimage.data
import tifffile
from PIL import Image, ImageCms

from surrogate.errors import ScanSetAside
from surrogate.imaging import read
from surrogate.imaging.encode import jpeg, srgb_profile

SAMPLES = Path(__file__).parent.parent / "sample_scans"


@pytest.fixture(scope="module")
def cat() -> np.ndarray:
    return np.asarray(skimage.data.chelsea())


FORMATS = {
    "plain.tif": {},
    "lzw.tif": {"compression": "tiff_lzw"},
    "deflate.tif": {"compression": "tiff_adobe_deflate"},
    "picture.png": {},
    "picture.jpg": {"quality": 95},
    "picture.webp": {"quality": 95},
    "picture.jp2": {"quality_mode": "rates", "quality_layers": [4]},
}


@pytest.mark.parametrize("name", sorted(FORMATS))
def test_every_format_reads_as_upright_srgb(name: str, cat: np.ndarray, tmp_path: Path) -> None:
    path = tmp_path / name
    Image.fromarray(cat).save(path, **FORMATS[name])
    raster = read.read_reduced(path, 10_000)
    assert raster.pixels.shape == cat.shape
    assert np.abs(raster.pixels.astype(int) - cat).mean() < 4
    assert read.read_header(path).bits == 8


def test_sixteen_bits_stay_sixteen(cat: np.ndarray, tmp_path: Path) -> None:
    deep = cat.astype(np.uint16) * 257 + 3
    tifffile.imwrite(tmp_path / "deep.tif", deep, photometric="rgb")
    raster = read.read_reduced(tmp_path / "deep.tif", 10_000)
    assert raster.pixels.dtype == np.uint16
    np.testing.assert_array_equal(raster.pixels, deep)


def test_grey_and_alpha_become_three_channels(cat: np.ndarray, tmp_path: Path) -> None:
    Image.fromarray(cat).convert("L").save(tmp_path / "grey.tif")
    Image.fromarray(cat).convert("RGBA").save(tmp_path / "alpha.png")
    assert read.read_reduced(tmp_path / "grey.tif", 99).pixels.shape[2] == 3
    assert read.read_reduced(tmp_path / "alpha.png", 99).pixels.shape[2] == 3


def test_the_tag_turns_the_picture_up(cat: np.ndarray, tmp_path: Path) -> None:
    exif = Image.Exif()
    exif[274] = 6
    Image.fromarray(cat).save(tmp_path / "turned.jpg", exif=exif)
    header = read.read_header(tmp_path / "turned.jpg")
    raster = read.read_reduced(tmp_path / "turned.jpg", 10_000)
    assert (header.width, header.height) == (cat.shape[0], cat.shape[1])
    assert raster.pixels.shape[:2] == (cat.shape[1], cat.shape[0])


def lcms(pixels: np.ndarray, profile: bytes) -> np.ndarray:
    """LittleCMS through Pillow, relative colorimetric, without its optimisation."""
    transform = ImageCms.buildTransform(
        ImageCms.ImageCmsProfile(io.BytesIO(profile)),
        ImageCms.createProfile("sRGB"),
        "RGB",
        "RGB",
        ImageCms.Intent.RELATIVE_COLORIMETRIC,
        ImageCms.Flags.NOOPTIMIZE,
    )
    return np.asarray(ImageCms.applyTransform(Image.fromarray(pixels), transform))


def test_matrix_profiles_agree_with_littlecms(cat: np.ndarray, tmp_path: Path) -> None:
    wide = next(SAMPLES.glob("*16bit.tif"))
    with tifffile.TiffFile(wide) as tiff:
        profile = tiff.pages[0].tags[34675].value
    path = tmp_path / "wide.tif"
    Image.fromarray(cat).save(path, icc_profile=profile)
    ours = read.read_reduced(path, 10_000).pixels / 257.0
    assert np.abs(ours - lcms(cat, profile)).mean() <= 0.5  # of an 8-bit code


def test_sizes_and_resolution_follow_the_reduction(cat: np.ndarray, tmp_path: Path) -> None:
    Image.fromarray(cat).save(tmp_path / "a.tif", dpi=(300, 300))
    raster = read.read_reduced(tmp_path / "a.tif", 200)
    assert max(raster.pixels.shape) == 200
    assert raster.ppi == pytest.approx(300 * 200 / cat.shape[1], rel=0.01)


@pytest.mark.parametrize(("dpi", "expected"), [((72, 72), None), ((300, 600), None), ((600, 600), 600.0), (None, None)])
def test_placeholders_and_contradictions_are_no_resolution(
    dpi: tuple[int, int] | None, expected: float | None, cat: np.ndarray, tmp_path: Path
) -> None:
    Image.fromarray(cat).save(tmp_path / "a.tif", **({"dpi": dpi} if dpi else {}))
    assert read.read_header(tmp_path / "a.tif").ppi == expected


@pytest.mark.parametrize("suffix", ["tif", "jpg", "png"])
def test_a_file_that_breaks_off_is_set_aside(suffix: str, cat: np.ndarray, tmp_path: Path) -> None:
    whole = tmp_path / f"whole.{suffix}"
    Image.fromarray(cat).save(whole)
    half = tmp_path / f"half.{suffix}"
    half.write_bytes(whole.read_bytes()[: whole.stat().st_size * 2 // 3])
    with pytest.raises(ScanSetAside) as problem:
        read.read_reduced(half, 500)
    assert problem.value.reason
    assert problem.value.advice


@pytest.mark.parametrize(
    ("content", "word"),
    [(b"", "empty"), (b"Dear aunt, ", "text"), (b"%PDF-1.7\n\0", "PDF"), (b"\0\x01\x02" * 50, "not a picture")],
)
def test_what_is_no_picture_is_told_apart(content: bytes, word: str, tmp_path: Path) -> None:
    path = tmp_path / "scan.tif"
    path.write_bytes(content)
    with pytest.raises(ScanSetAside, match=word):
        read.read_header(path)


def test_a_header_that_claims_too_much_is_set_aside(tmp_path: Path) -> None:
    path = tmp_path / "bomb.tif"
    tifffile.imwrite(path, np.zeros((4, 4), np.uint8))
    content = bytearray(path.read_bytes())
    with tifffile.TiffFile(path) as tiff:
        for tag in (256, 257):
            entry = tiff.pages[0].tags[tag]
            content[entry.offset + 2 : entry.offset + 12] = b"\x04\x00\x01\x00\x00\x00" + (200_000).to_bytes(
                4, "little"
            )
    path.write_bytes(content)
    with pytest.raises(ScanSetAside, match=r"claims 200000 x 200000|damaged"):
        read.read_header(path)


def test_copies_carry_an_srgb_profile_and_the_same_bytes_every_time(cat: np.ndarray, tmp_path: Path) -> None:
    for name in ("one.jpg", "two.jpg"):
        jpeg(cat, tmp_path / name, quality=88, ppi=200)
    assert (tmp_path / "one.jpg").read_bytes() == (tmp_path / "two.jpg").read_bytes()
    with Image.open(tmp_path / "one.jpg") as copy:
        assert copy.info["icc_profile"] == srgb_profile()
        assert copy.info["dpi"] == pytest.approx((200, 200), abs=0.1)
        name = ImageCms.getProfileDescription(ImageCms.ImageCmsProfile(io.BytesIO(copy.info["icc_profile"])))
    assert "sRGB" in name
