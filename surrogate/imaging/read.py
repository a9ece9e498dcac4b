"""Reading scans: what a file holds, and its pixels as upright sRGB, reduced while they stream.

libvips decodes in a stream, keeps memory flat and 16 bits whole. Content decides, not the suffix. Every decoder
error leaves this module as :class:`~surrogate.errors.ScanSetAside`.
"""

from __future__ import annotations

import io
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pyvips
from PIL import Image, ImageCms, ImageOps

from surrogate.errors import ScanSetAside
from surrogate.imaging.density import Pixels

#: A decoded picture larger than this is more likely a damaged header than a scan: 30,000 x 40,000 px is a
#: 50 x 66 in map at 600 ppi.
MOST_PIXELS = 1_200_000_000

MM_PER_INCH = 25.4

#: libvips answers 1 px/mm when a file states no resolution.
UNSTATED_PX_PER_MM = 1.0

#: 72 ppi is what software writes when nobody measured (common practice, no source).
PLACEHOLDER_PPI = 72.0

_RESCAN = "Scan the original again, or ask whoever made the file for a whole copy."

_SIGNATURES: tuple[tuple[bytes, int, str], ...] = (
    (b"II*\0", 0, "TIFF"),
    (b"MM\0*", 0, "TIFF"),
    (b"II+\0", 0, "TIFF"),
    (b"MM\0+", 0, "TIFF"),
    (b"\xff\xd8\xff", 0, "JPEG"),
    (b"\x89PNG\r\n\x1a\n", 0, "PNG"),
    (b"WEBP", 8, "WebP"),
    (b"\0\0\0\x0cjP  \r\n\x87\n", 0, "JPEG 2000"),
    (b"\xff\x4f\xff\x51", 0, "JPEG 2000"),
)

#: libvips loader by format; JPEG 2000 is not part of the libvips that comes from the registry.
_LOADERS = {"TIFF": "tiff", "JPEG": "jpeg", "PNG": "png", "WebP": "webp"}

#: Pillow's modes that hold 8 bits a channel or less, so that nothing is lost when it decodes in place of libvips.
_SHALLOW_MODES = frozenset({"1", "L", "LA", "P", "RGB", "RGBA", "CMYK", "YCbCr", "LAB"})


@dataclass(frozen=True)
class ScanHeader:
    """What the file says of itself; sizes in pixels, upright."""

    format: str
    width: int
    height: int
    bits: int
    ppi: float | None
    profile: str | None
    pages: int


@dataclass(frozen=True)
class Raster:
    """Upright sRGB pixels, (H, W, 3) uint8 or uint16, of the whole scan or a reduction of it.

    ``scale`` is reduced pixels per scan pixel, at most 1. ``ppi`` is that of these pixels.
    """

    pixels: Pixels
    scale: float
    ppi: float | None
    profile: str


def sniff(path: Path) -> str:
    """The format by content. Raises :class:`ScanSetAside` for what is not a picture this house reads."""
    try:
        with path.open("rb") as handle:
            start = handle.read(4096)
    except OSError as error:
        raise ScanSetAside(f"The file cannot be read: {error.strerror}.", "Check it and try again.") from error
    if not start:
        raise ScanSetAside("The file is empty (0 bytes).", _RESCAN)
    for magic, offset, name in _SIGNATURES:
        if start[offset : offset + len(magic)] == magic:
            return name
    raise _not_a_picture(start)


def _not_a_picture(start: bytes) -> ScanSetAside:
    if start.startswith(b"%PDF"):
        return ScanSetAside("This is a PDF, not a picture.", "Save its pages as TIFF without loss and take those in.")
    if start[4:8] == b"ftyp":
        return ScanSetAside(
            "This is a HEIC or raw camera file.",
            "Export it as TIFF or as JPEG of best quality and take that in.",
        )
    printable = sum(byte in b"\t\n\r" or 32 <= byte < 127 or byte >= 0xC0 for byte in start)
    if b"\0" not in start and printable > 0.95 * len(start):
        return ScanSetAside("This is a text file, not a picture.", "Nothing to do, unless a scan should be here.")
    return ScanSetAside(
        "This is not a picture in a format known here.",
        "Save the scan as TIFF, JPEG or PNG and take that in.",
    )


def read_header(path: Path) -> ScanHeader:
    """What a scan says of itself, without decoding it. Raises :class:`ScanSetAside`."""
    kind = sniff(path)
    image = _open(path, kind)
    if image.width * image.height > MOST_PIXELS:
        raise _too_large(image.width, image.height)
    turned = image.get_typeof("orientation") != 0 and image.get("orientation") in {5, 6, 7, 8}
    width, height = (image.height, image.width) if turned else (image.width, image.height)
    return ScanHeader(
        format=kind,
        width=width,
        height=height,
        bits=_bits(image),
        ppi=stated_ppi(image),
        profile=profile_name(image),
        pages=image.get("n-pages") if image.get_typeof("n-pages") and kind == "TIFF" else 1,
    )


def _open(path: Path, kind: str, *, whole: bool = False) -> pyvips.Image:
    """The scan as a libvips image, not yet decoded; ``whole`` allows any order of access."""
    if kind not in _LOADERS:
        return _second_decoder(path, kind)
    # revalidate: libvips would answer with the old picture when a file is scanned again under the same name
    access: dict[str, object] = {"revalidate": True} if whole else {"access": "sequential"}
    try:
        return getattr(pyvips.Image, f"{_LOADERS[kind]}load")(str(path), fail_on="error", **access)
    except pyvips.Error as error:
        problem = _explain(kind, error)
        if isinstance(problem, _UnknownVariety):
            return _second_decoder(path, kind)
        raise problem from error


def _second_decoder(path: Path, kind: str) -> pyvips.Image:
    """Decode with Pillow what libvips does not know; upright, with its profile and resolution."""
    try:
        with Image.open(path) as picture:
            if picture.width * picture.height > MOST_PIXELS:
                raise _too_large(picture.width, picture.height)
            if picture.mode not in _SHALLOW_MODES:
                raise _UnknownVariety(kind)
            upright = ImageOps.exif_transpose(picture)
            pixels = np.asarray(upright.convert("L" if upright.mode in {"1", "L"} else "RGB"))
            profile, dpi = picture.info.get("icc_profile"), picture.info.get("dpi")
    except (OSError, ValueError, SyntaxError, Image.DecompressionBombError) as error:
        raise ScanSetAside(f"The {kind} file is damaged and cannot be decoded.", _RESCAN) from error
    image = pyvips.Image.new_from_array(pixels)
    if profile:
        image = image.copy()
        image.set_type(pyvips.GValue.blob_type, "icc-profile-data", profile)
    if dpi:
        image = image.copy(xres=float(dpi[0]) / MM_PER_INCH, yres=float(dpi[1]) / MM_PER_INCH)
    return image


class _UnknownVariety(ScanSetAside):
    """A file that may be sound but that a decoder does not know."""

    def __init__(self, kind: str, _advice: str = "") -> None:
        super().__init__(
            f"The {kind} file uses a variety that cannot be read here.", "Save it as plain TIFF and take that in."
        )


def _too_large(width: int, height: int) -> ScanSetAside:
    return ScanSetAside(
        f"The file claims {width} x {height} pixels, more than any scanner makes.", "It is probably damaged. " + _RESCAN
    )


def _explain(kind: str, error: pyvips.Error) -> ScanSetAside:
    """One sentence for a decoder's complaint."""
    text = str(error).lower()
    if any(word in text for word in ("premature", "truncat", "end of", "short", "eof", "not enough", "read error")):
        return ScanSetAside(f"The {kind} file breaks off before its end: part of the picture is missing.", _RESCAN)
    if "unsupported" in text or "not supported" in text or "not configured" in text:
        return ScanSetAside(
            f"The {kind} file uses a variety that cannot be read here.",
            "Save it as plain TIFF and take that in.",
        )
    return ScanSetAside(f"The {kind} file is damaged and cannot be decoded.", _RESCAN)


def _bits(image: pyvips.Image) -> int:
    if image.get_typeof("bits-per-sample"):
        return int(image.get("bits-per-sample"))
    return {"uchar": 8, "char": 8, "ushort": 16, "short": 16, "double": 64, "dpcomplex": 64}.get(image.format, 32)


def stated_ppi(image: pyvips.Image) -> float | None:
    """Pixels per inch as the file states them; None when it is silent, contradicts itself or holds a placeholder."""
    if image.xres == UNSTATED_PX_PER_MM or abs(image.xres - image.yres) > 0.01 * image.xres:
        return None
    ppi = round(image.xres * MM_PER_INCH, 2)
    return None if ppi <= PLACEHOLDER_PPI else ppi


def profile_name(image: pyvips.Image) -> str | None:
    """Name of the embedded ICC profile, as its description tag says; None without one."""
    if not image.get_typeof("icc-profile-data"):
        return None
    try:
        profile = ImageCms.ImageCmsProfile(io.BytesIO(image.get("icc-profile-data")))
        return ImageCms.getProfileDescription(profile).strip() or "unnamed profile"
    except (ImageCms.PyCMSError, OSError, ValueError):
        return "unreadable profile"


def as_srgb(image: pyvips.Image) -> tuple[pyvips.Image, str]:
    """The image as 3-band sRGB, 8 bits if it was 8-bit sRGB already, else 16. Returns (image, profile used).

    Embedded profiles are honoured with relative colorimetric intent through LittleCMS; a scan without one is taken as
    sRGB.
    """
    if image.hasalpha():
        image = image.flatten(background=[255.0 if image.format == "uchar" else 65535.0] * (image.bands - 1))
    name = profile_name(image)
    if name and name != "unreadable profile" and "srgb" not in name.lower():
        if image.format not in {"uchar", "ushort"}:
            image = image.cast("ushort")
        converted = image.icc_transform("srgb", embedded=True, intent="relative", depth=16)
        return converted, name
    if image.interpretation in {"cmyk", "lab", "labs", "labq", "xyz", "scrgb", "lch"}:
        return image.colourspace("rgb16"), f"{image.interpretation} without a profile"
    if image.format not in {"uchar", "ushort"}:
        image = _scaled_to_16(image)
    if image.bands == 1:
        image = image.bandjoin([image, image])
    if image.bands != 3:
        raise ScanSetAside(
            f"The picture has {image.bands} channels and no colour profile that explains them.",
            "Save it as grey or RGB and take that in.",
        )
    return image.copy(interpretation="srgb" if image.format == "uchar" else "rgb16"), name or "sRGB assumed"


def _scaled_to_16(image: pyvips.Image) -> pyvips.Image:
    """Float pictures are taken as 0-1 and wider integers by their own range."""
    if image.format in {"float", "double"}:
        return (image * 65535.0).cast("ushort")
    return (image.cast("double") / (65537.0 if image.format in {"uint", "int"} else 1.0)).cast("ushort")


def read_reduced(path: Path, long_edge_px: int) -> Raster:
    """Decode a scan once, reduced to at most ``long_edge_px`` while it streams; upright, sRGB.

    Raises :class:`ScanSetAside` when the picture is damaged or breaks off.
    """
    kind = sniff(path)
    header = _open(path, kind)
    try:
        image = _reduced(path, kind, header, long_edge_px)
        converted, profile = as_srgb(image)
        pixels = to_array(converted)
    except pyvips.Error as error:
        raise _explain(kind, error) from error
    scale = min(1.0, max(pixels.shape[:2]) / max(header.width, header.height))
    ppi = stated_ppi(header)
    return Raster(pixels=pixels, scale=scale, ppi=None if ppi is None else ppi * scale, profile=profile)


def _reduced(path: Path, kind: str, image: pyvips.Image, long_edge_px: int) -> pyvips.Image:
    """The scan reduced while it streams, upright, in its own colours and depth."""
    if kind == "JPEG" and image.bands in {1, 3}:  # decodes at a fraction of its size
        return pyvips.Image.thumbnail(str(path), long_edge_px, height=long_edge_px, size="down", fail_on="error")
    # the same reduction without `thumbnail`, which would bring 16 bits down to 8
    factor = long_edge_px / max(image.width, image.height)
    return (image.resize(factor) if factor < 1 else image).autorot()


def open_upright(path: Path) -> tuple[pyvips.Image, str]:
    """The whole scan as an upright sRGB libvips image, still undecoded, for regions and prints at full size."""
    kind = sniff(path)
    try:
        return as_srgb(_open(path, kind, whole=True).autorot())
    except pyvips.Error as error:
        raise _explain(kind, error) from error


def open_lab(path: Path) -> pyvips.Image:
    """The whole scan as an upright CIELAB (D50) libvips image of floats, still undecoded, wider than sRGB if it is.

    A scan without a profile is taken as sRGB. Raises :class:`ScanSetAside`, also for a grey scan.
    """
    kind = sniff(path)
    try:
        image = _open(path, kind, whole=True).autorot()
        if image.hasalpha():
            image = image.flatten(background=[255.0 if image.format == "uchar" else 65535.0] * (image.bands - 1))
        if image.bands < 3:
            raise ScanSetAside("The scan is grey: colour cannot be judged in it.", "Scan it again in colour.")
        return image.icc_import(embedded=True, input_profile="srgb", pcs="lab", intent="relative")
    except pyvips.Error as error:
        raise _explain(kind, error) from error


def to_array(image: pyvips.Image) -> Pixels:
    """A libvips image of 8 or 16 bits as a numpy array (H, W, bands)."""
    shape = (image.height, image.width, image.bands)
    memory = image.write_to_memory()
    if image.format == "uchar":
        return np.frombuffer(memory, dtype=np.uint8).reshape(shape)
    return np.frombuffer(memory, dtype=np.uint16).reshape(shape)
