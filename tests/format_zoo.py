"""A zoo of valid files, written with Pillow, tifffile and pyvips, each with the pixels that it must show.

``expected`` is what the file holds as 3-channel sRGB, written by other people's encoders; ``near`` is the largest mean
difference allowed, in codes of its depth: 0 for every lossless format.
"""

from __future__ import annotations

import importlib.util
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
import pyvips
import skimage.color
import skimage.data
import tifffile
from PIL import Image, ImageCms

RGB = np.ascontiguousarray(skimage.data.chelsea()[40:200, 60:300])
GREY = np.asarray(Image.fromarray(RGB).convert("L"))
_NOISE = np.random.default_rng(3).integers(0, 256, RGB.shape, dtype=np.uint16)
RGB16 = RGB.astype(np.uint16) * 256 + _NOISE
GREY16 = np.ascontiguousarray(RGB16[..., 1])
BITS = GREY > 110
RGB16_OF_8 = RGB * np.uint16(257)
GREY16_OF_8 = GREY * np.uint16(257)
SRGB = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()


#: CMYK without a profile has no one true colour: Pillow's plain conversion and a press's inks differ by 11 codes on
#: this picture; inverted inks, the mistake that matters, by more than 60.
_INKS = 20 * 257


@dataclass(frozen=True)
class Entry:
    """A file, how it is written, and what it must show. ``near`` is in codes of ``expected``'s depth."""

    name: str
    write: Callable[[Path], object]
    expected: np.ndarray
    near: float = 0.0


def three(grey: np.ndarray) -> np.ndarray:
    return np.repeat(grey[..., None], 3, axis=2)


def over_white(pixels: np.ndarray, alpha: np.ndarray) -> np.ndarray:
    most = np.iinfo(pixels.dtype).max
    share = alpha[..., None] / most
    return np.rint(pixels * share + most * (1 - share)).astype(pixels.dtype)


def pil(pixels: np.ndarray, mode: str | None = None, **options: object) -> Callable[[Path], object]:
    picture = Image.fromarray(pixels) if mode is None else Image.fromarray(pixels).convert(mode)
    return lambda path: picture.save(path, **options)


def tif(pixels: np.ndarray, **options: object) -> Callable[[Path], object]:
    return lambda path: tifffile.imwrite(path, pixels, **options)


def vips(pixels: np.ndarray, interpretation: str, **options: object) -> Callable[[Path], object]:
    return lambda path: (
        pyvips.Image.new_from_array(pixels).copy(interpretation=interpretation).write_to_file(str(path), **options)
    )


def _palette() -> tuple[Image.Image, np.ndarray]:
    picture = Image.fromarray(RGB).quantize(64)
    return picture, np.asarray(picture.convert("RGB"))


def _cmyk(path: Path, **options: object) -> None:
    Image.fromarray(RGB).convert("CMYK").save(path, **options)


def _several(path: Path) -> None:
    first, *rest = [Image.fromarray(page) for page in (RGB, RGB[::-1], RGB[:, ::-1])]
    first.save(path, save_all=True, append_images=rest, compression="tiff_lzw")


def _thumbnail_first(path: Path) -> None:
    """A small picture before the scan itself, as cameras and some scanner programs write it."""
    with tifffile.TiffWriter(path) as file:
        file.write(RGB[::8, ::8], photometric="rgb", subfiletype=1)
        file.write(RGB, photometric="rgb")


def _pyramid(path: Path) -> None:
    pyvips.Image.new_from_array(RGB).tiffsave(str(path), tile=True, pyramid=True, tile_width=64, tile_height=64)


def _infrared(path: Path) -> None:
    """Red, green, blue and the scanner's dust channel, which is no transparency (ExtraSamples 0, TIFF 6.0 p. 31)."""
    dust = np.full(GREY.shape, 40, np.uint8)
    tifffile.imwrite(path, np.dstack([RGB, dust]), photometric="rgb", extrasamples=["unspecified"])


def _turned(path: Path) -> None:
    Image.fromarray(np.rot90(RGB)).save(path, tiffinfo={274: 6})


def _turned_jpeg(path: Path) -> None:
    exif = Image.Exif()
    exif[274] = 8
    Image.fromarray(np.rot90(RGB, 3)).save(path, quality=97, subsampling=0, exif=exif)


def _lab() -> np.ndarray:
    """8-bit CIELAB as Pillow holds it: L 0-255, a and b offset by 128."""
    to_lab = ImageCms.buildTransform(ImageCms.createProfile("sRGB"), ImageCms.createProfile("LAB"), "RGB", "LAB")
    return ImageCms.applyTransform(Image.fromarray(RGB), to_lab)


def _gray_profile_on_rgb(path: Path) -> None:
    """A profile of another kind than the picture's, as careless programs embed it."""
    lab = ImageCms.ImageCmsProfile(ImageCms.createProfile("LAB")).tobytes()
    Image.fromarray(RGB).save(path, icc_profile=lab)


def _tiffs() -> list[Entry]:
    palette, painted = _palette()
    bits = three(np.where(BITS, 255, 0).astype(np.uint8))
    alpha = np.ascontiguousarray(np.linspace(0, 255, GREY.size).reshape(GREY.shape).astype(np.uint8))
    rgba = np.dstack([RGB, alpha])
    pale = three(over_white(GREY[..., None], alpha)[..., 0])
    deep_alpha = np.dstack([RGB16, np.full(GREY.shape, 65535, np.uint16)])
    one = lambda **options: pil(BITS, "1", **options)  # noqa: E731
    return [
        Entry("rgb8.tif", pil(RGB), RGB),
        Entry("rgb8 big-endian.tif", tif(RGB, photometric="rgb", byteorder=">"), RGB),
        Entry("rgb8 lzw.tif", pil(RGB, compression="tiff_lzw"), RGB),
        Entry("rgb8 deflate.tif", pil(RGB, compression="tiff_adobe_deflate"), RGB),
        Entry("rgb8 old deflate.tif", pil(RGB, compression="tiff_deflate"), RGB),
        Entry("rgb8 packbits.tif", pil(RGB, compression="packbits"), RGB),
        Entry("rgb8 zip predictor.tif", tif(RGB, photometric="rgb", compression="zlib", predictor=True), RGB),
        Entry("rgb8 jpeg inside.tif", pil(RGB, compression="jpeg", quality=97), RGB, 2.0),
        Entry("rgb8 lzma.tif", tif(RGB, photometric="rgb", compression="lzma"), RGB),
        Entry("rgb8 zstd.tif", pil(RGB, compression="zstd"), RGB),
        Entry("rgb8 webp inside.tif", vips(RGB, "srgb", compression="webp", lossless=True), RGB),
        Entry("rgb8 planar.tif", tif(np.moveaxis(RGB, 2, 0), photometric="rgb", planarconfig="separate"), RGB),
        Entry("rgb8 tiled.tif", tif(RGB, photometric="rgb", tile=(64, 64)), RGB),
        Entry("rgb8 strips.tif", tif(RGB, photometric="rgb", rowsperstrip=7), RGB),
        Entry("rgb8 bigtiff.tif", tif(RGB, photometric="rgb", bigtiff=True), RGB),
        Entry("rgb8 bigtiff big-endian.tif", tif(RGB, photometric="rgb", bigtiff=True, byteorder=">"), RGB),
        Entry("rgb8 with profile.tif", pil(RGB, icc_profile=SRGB), RGB),
        Entry("rgb8 wrong profile.tif", _gray_profile_on_rgb, RGB),
        Entry("rgb8 turned.tif", _turned, RGB),
        Entry("rgb8 pages.tif", _several, RGB),
        Entry("rgb8 small one first.tif", _thumbnail_first, RGB),
        Entry("rgb8 pyramid.tif", _pyramid, RGB),
        Entry("rgb8 infrared.tif", _infrared, RGB),
        Entry("rgba8.tif", pil(rgba), over_white(RGB, alpha), 1.0),
        Entry("rgb16.tif", tif(RGB16, photometric="rgb"), RGB16),
        Entry("rgb16 big-endian.tif", tif(RGB16, photometric="rgb", byteorder=">"), RGB16),
        Entry("rgb16 deflate.tif", tif(RGB16, photometric="rgb", compression="zlib", predictor=True), RGB16),
        Entry("rgb16 lzw.tif", vips(RGB16, "rgb16", compression="lzw"), RGB16),
        Entry("rgb16 planar.tif", tif(np.moveaxis(RGB16, 2, 0), photometric="rgb", planarconfig="separate"), RGB16),
        Entry("rgb16 tiled.tif", tif(RGB16, photometric="rgb", tile=(64, 64)), RGB16),
        Entry("rgba16.tif", tif(deep_alpha, photometric="rgb", extrasamples=["unassalpha"]), RGB16, 1.0),
        Entry("grey8.tif", pil(GREY), three(GREY)),
        Entry("grey8 white is zero.tif", tif(255 - GREY, photometric="miniswhite"), three(GREY)),
        Entry("grey16.tif", tif(GREY16, photometric="minisblack"), three(GREY16)),
        Entry("grey16 white is zero.tif", tif(65535 - GREY16, photometric="miniswhite"), three(GREY16)),
        Entry("grey with alpha.tif", pil(np.dstack([GREY, alpha])), pale, 1),
        Entry("palette.tif", palette.save, painted),
        Entry("bits.tif", one(), bits),
        Entry("bits group 4.tif", one(compression="group4"), bits),
        Entry("bits group 3.tif", one(compression="group3"), bits),
        Entry("bits ccitt.tif", one(compression="tiff_ccitt"), bits),
        Entry("bits white is zero.tif", tif(~BITS, photometric="miniswhite"), bits),
        Entry("float grey.tif", tif((GREY / 255).astype(np.float32), photometric="minisblack"), three(GREY16_OF_8), 1),
        Entry("float rgb.tif", tif((RGB / 255).astype(np.float32), photometric="rgb"), RGB16_OF_8, 1),
        Entry("half float rgb.tif", tif((RGB / 255).astype(np.float16), photometric="rgb"), RGB16_OF_8, 16),
        Entry("double grey.tif", tif(GREY / 255, photometric="minisblack"), three(GREY16_OF_8), 1),
        Entry("grey 32 bits.tif", tif(GREY16.astype(np.uint32) * 65537, photometric="minisblack"), three(GREY16), 1),
        Entry("cmyk.tif", _cmyk, RGB16_OF_8, _INKS),
        Entry("cmyk lzw.tif", lambda path: _cmyk(path, compression="tiff_lzw"), RGB16_OF_8, _INKS),
        Entry("lab8.tif", lambda path: _lab().save(path), RGB, 2.5),
        Entry("lab16.tif", _lab16, RGB16_OF_8, 300),
        Entry("ycbcr.tif", lambda path: Image.fromarray(RGB).convert("YCbCr").save(path), RGB, 2),
        Entry("tagged as jpeg.jpg", lambda path: Image.fromarray(RGB).save(path, format="TIFF"), RGB),
        Entry("no suffix of its own.png", lambda path: Image.fromarray(RGB).save(path, format="TIFF"), RGB),
    ]  # fmt: skip


def _lab16(path: Path) -> None:
    """16-bit CIELAB as libvips writes it."""
    lab = skimage.color.rgb2lab(RGB, illuminant="D65")
    pyvips.Image.new_from_array(lab.astype(np.float32)).copy(interpretation="lab").colourspace("labs").tiffsave(
        str(path)
    )


def _others() -> list[Entry]:
    palette, painted = _palette()
    alpha = np.ascontiguousarray(np.linspace(0, 255, GREY.size).reshape(GREY.shape).astype(np.uint8))
    rgba = np.dstack([RGB, alpha])
    bits = three(np.where(BITS, 255, 0).astype(np.uint8))
    jpeg = {"quality": 97, "subsampling": 0}
    entries = [
        Entry("plain.jpg", pil(RGB, **jpeg), RGB, 2),
        Entry("progressive.jpg", pil(RGB, progressive=True, **jpeg), RGB, 2),
        Entry("grey.jpg", pil(GREY, quality=97), three(GREY), 2),
        Entry("turned.jpg", _turned_jpeg, RGB, 2),
        Entry("cmyk.jpg", lambda path: _cmyk(path, quality=97), RGB16_OF_8, _INKS),
        Entry("with profile.jpg", pil(RGB, icc_profile=SRGB, **jpeg), RGB, 2),
        Entry("CAPITALS.JPG", lambda path: Image.fromarray(RGB).save(path, format="JPEG", **jpeg), RGB, 2),
        Entry("jpeg called.tif", lambda path: Image.fromarray(RGB).save(path, format="JPEG", **jpeg), RGB, 2),
        Entry("rgb8.png", pil(RGB), RGB),
        Entry("grey8.png", pil(GREY), three(GREY)),
        Entry("rgb16.png", lambda path: cv2.imwrite(str(path), RGB16[..., ::-1]), RGB16),
        Entry("grey16.png", lambda path: cv2.imwrite(str(path), GREY16), three(GREY16)),
        Entry("rgba.png", pil(rgba), over_white(RGB, alpha), 1),
        Entry("palette.png", palette.save, painted),
        Entry("bits.png", pil(BITS, "1"), bits),
        Entry("interlaced.png", vips(RGB, "srgb", interlace=True), RGB),
        Entry("lossless.webp", pil(RGB, lossless=True), RGB),
        Entry("lossy.webp", pil(RGB, quality=97), RGB, 5),
        Entry("rgba.webp", pil(rgba, lossless=True, exact=True), over_white(RGB, alpha), 1),
        Entry("lossless.jp2", pil(RGB), RGB),
        Entry("lossy.jp2", pil(RGB, quality_mode="rates", quality_layers=[8]), RGB, 6),
        Entry("grey.jp2", pil(GREY), three(GREY)),
        Entry("grey16.jp2", lambda path: cv2.imwrite(str(path), GREY16, _WHOLE), three(GREY16)),
        Entry("rgb16.jp2", lambda path: cv2.imwrite(str(path), RGB16[..., ::-1], _WHOLE), RGB16),
        Entry("codestream.j2k", pil(RGB), RGB),
        Entry("plain.bmp", pil(RGB), RGB),
        Entry("palette.gif", palette.save, painted),
        Entry("plain.avif", pil(RGB, quality=95, subsampling="4:4:4"), RGB, 4),
    ]
    if importlib.util.find_spec("pillow_heif"):
        entries.append(Entry("plain.heic", _heic, RGB, 5))
    return entries


#: OpenCV's JPEG 2000 encoder loses nothing at this setting.
_WHOLE = [cv2.IMWRITE_JPEG2000_COMPRESSION_X1000, 1000]


def _heic(path: Path) -> None:
    import pillow_heif

    pillow_heif.from_pillow(Image.fromarray(RGB)).save(path, quality=95, chroma=444)


def entries() -> list[Entry]:
    """Every valid file of the zoo."""
    return [*_tiffs(), *_others()]


def refused() -> dict[str, tuple[bytes, str]]:
    """Files that are refused with advice: name to (content, a word of the advice or reason)."""
    return {
        "letter.pdf": (b"%PDF-1.7\n%\xe2\xe3\xcf\xd3\n" + b"x" * 200, "PDF"),
        "IMG_1.cr2": (b"II*\0\x10\0\0\0CR\x02\0" + bytes(200), "raw"),
        "IMG_2.cr3": (b"\0\0\0\x18ftypcrx \0\0\0\x01crx isom" + bytes(200), "raw"),
        "IMG_3.raf": (b"FUJIFILMCCD-RAW 0201FF383501" + bytes(200), "raw"),
        "IMG_4.rw2": (b"IIU\0\x18\0\0\0" + bytes(200), "raw"),
        "IMG_5.orf": (b"IIRO\x08\0\0\0" + bytes(200), "raw"),
    }


def write_raw_like(path: Path, kind: str) -> None:
    """A TIFF built as camera raw files are: a preview first, the sensor's data behind SubIFDs or a version tag."""
    extra = {
        "dng": [(50706, "B", 4, (1, 4, 0, 0), False)],
        "cfa": [],
        "nef": [(271, "s", 0, "NIKON CORPORATION", False)],
    }[kind]
    mosaic = [(33421, "H", 2, (2, 2), False), (33422, "B", 4, (0, 1, 1, 2), False)]
    with tifffile.TiffWriter(path) as file:
        if kind == "cfa":
            file.write(GREY16, photometric="cfa", extratags=mosaic)
        else:
            file.write(RGB[::8, ::8], photometric="rgb", subfiletype=1, subifds=1, extratags=extra, metadata=None)
            file.write(GREY16, photometric="cfa", extratags=mosaic)
