"""The second decoder: what libvips does not know, decoded whole by Pillow, and by OpenCV where Pillow drops bits."""

from __future__ import annotations

import warnings
from importlib import import_module
from pathlib import Path

import cv2
import numpy as np
import pyvips
from PIL import Image, ImageCms, ImageOps

from surrogate.errors import ScanSetAside
from surrogate.imaging.density import Pixels
from surrogate.imaging.formats import RESCAN

#: Pixels that may be decoded whole: 120 megapixels take 360 MB, and twice that while they are turned and handed on.
MOST_PIXELS_AT_ONCE = 120_000_000

MM_PER_INCH = 25.4

#: Pillow's modes that hold 8 bits a channel or less, so that nothing is lost when it decodes in place of libvips.
_SHALLOW_MODES = frozenset({"1", "L", "LA", "P", "RGB", "RGBA", "RGBX", "CMYK", "YCbCr", "LAB"})

_FORMATS = {
    "TIFF": "TIFF", "JPEG": "JPEG", "PNG": "PNG", "WebP": "WEBP", "JPEG 2000": "JPEG2000", "GIF": "GIF", "BMP": "BMP",
    "AVIF": "AVIF", "HEIC": "HEIF",
}  # fmt: skip


def unknown_variety(kind: str) -> ScanSetAside:
    """A file that may be sound but that no decoder here knows."""
    return ScanSetAside(
        f"The {kind} file uses a variety that cannot be read here.", "Save it as plain TIFF and take that in."
    )


def decode(path: Path, kind: str, page: int = 0) -> pyvips.Image:
    """Decode with Pillow; the result is upright and carries its profile and resolution. Raises ScanSetAside.

    ``page`` counts the directories of a TIFF from 0.
    """
    if kind == "HEIC":
        import_module("pillow_heif").register_heif_opener()
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # Pillow warns of sizes that are checked below
            with Image.open(path, formats=[_FORMATS[kind]]) as picture:
                if picture.width * picture.height > MOST_PIXELS_AT_ONCE:
                    raise _too_large(kind, picture.width, picture.height)
                if page:
                    picture.seek(page)
                profile, dpi = picture.info.get("icc_profile"), picture.info.get("dpi")
                pixels = _deep(path, kind)
                if pixels is None:
                    pixels = _shallow(picture, kind)
    except (Image.DecompressionBombError, MemoryError) as error:
        raise ScanSetAside(
            f"The {kind} file claims a picture too large to be decoded at once.",
            "If the original is that large, save the scan as plain RGB TIFF without layers and take that in.",
        ) from error
    except (OSError, ValueError, SyntaxError, EOFError, OverflowError) as error:
        raise ScanSetAside(f"The {kind} file is damaged and cannot be decoded.", RESCAN) from error
    except (TypeError, KeyError, IndexError, AttributeError, ArithmeticError, RuntimeError) as error:
        # what Pillow's own parsers raise on damaged structures
        raise ScanSetAside(f"The {kind} file is damaged and cannot be decoded.", RESCAN) from error
    image = pyvips.Image.new_from_array(pixels).copy()
    if profile:
        image.set_type(pyvips.GValue.blob_type, "icc-profile-data", profile)
    if dpi and all(float(value) > 0 for value in dpi):
        image = image.copy(xres=float(dpi[0]) / MM_PER_INCH, yres=float(dpi[1]) / MM_PER_INCH)
    return image


def _too_large(kind: str, width: int, height: int) -> ScanSetAside:
    return ScanSetAside(
        f"The {kind} file claims {width} x {height} pixels, more than can be decoded at once.",
        "If the scan is really that large, save it as TIFF with strips or tiles and take that in.",
    )


def _shallow(picture: Image.Image, kind: str) -> Pixels:
    if picture.mode not in _SHALLOW_MODES:
        raise unknown_variety(kind)
    picture.load()
    upright = ImageOps.exif_transpose(picture)
    if upright.mode == "LAB":  # D50, as TIFF's CIELAB is taken to be; Pillow itself has no such conversion
        lab, srgb = ImageCms.createProfile("LAB"), ImageCms.createProfile("sRGB")
        converted = ImageCms.profileToProfile(upright, lab, srgb, outputMode="RGB")
        return np.asarray(converted if converted is not None else upright)
    if upright.mode in {"LA", "RGBA"} or "transparency" in upright.info:
        clear = upright.convert("RGBA")
        white = Image.new("RGBA", clear.size, "white")
        return np.asarray(Image.alpha_composite(white, clear).convert("RGB"))
    return np.asarray(upright.convert("L" if upright.mode in {"1", "L"} else "RGB"))


def _deep(path: Path, kind: str) -> Pixels | None:
    """A JPEG 2000 picture of more than 8 bits, scaled to 16, which Pillow would bring down to 8; else None."""
    if kind != "JPEG 2000":
        return None
    with path.open("rb") as handle:
        start = handle.read(4096)
    # The SIZ marker of the code stream (ISO/IEC 15444-1, A.5.1): depth of the first component less one.
    size = start.find(b"\xff\x4f\xff\x51")
    depth = (start[size + 42] & 0x7F) + 1 if 0 <= size < len(start) - 43 else 8
    if not 8 < depth <= 16:
        return None
    cv2.utils.logging.setLogLevel(cv2.utils.logging.LOG_LEVEL_SILENT)  # it would write of damage on the terminal
    try:
        read = cv2.imread(str(path), cv2.IMREAD_UNCHANGED)
    except cv2.error:
        return None
    if read is None or read.dtype != np.uint16:
        return None
    wide = read.astype(np.float32) * (65535 / (2**depth - 1)) if depth < 16 else read
    pixels = np.clip(np.rint(wide), 0, 65535).astype(np.uint16)
    if pixels.ndim == 3:
        pixels = pixels[..., :3][..., ::-1]
    return np.ascontiguousarray(pixels)
