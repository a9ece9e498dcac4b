"""Reading scans: what a file holds, and its pixels as upright sRGB, reduced while they stream.

libvips decodes in a stream, keeps memory flat and 16 bits whole; what it does not know goes to the second decoder.
Content decides, not the suffix. Every decoder error leaves this room as :class:`~surrogate.errors.ScanSetAside`.
"""

from __future__ import annotations

import io
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pyvips
from PIL import ImageCms

from surrogate.errors import ScanSetAside
from surrogate.imaging import second, tiff_tags
from surrogate.imaging.density import Pixels
from surrogate.imaging.formats import RESCAN, sniff
from surrogate.imaging.input_profile import InputProfile
from surrogate.imaging.second import MM_PER_INCH
from surrogate.imaging.tiff_tags import Directory

__all__ = ["MM_PER_INCH", "Raster", "ScanHeader", "open_lab", "open_turned", "read_header", "read_reduced", "sniff"]

#: A decoded picture larger than this is more likely a damaged header than a scan: 30,000 x 40,000 px is a
#: 50 x 66 in map at 600 ppi.
MOST_PIXELS = 1_200_000_000

#: What may have to lie in memory at once (progressive JPEG, interlaced PNG, one strip of a TIFF): with everything
#: else a worker then stays below 1.5 GB.
MOST_BYTES_AT_ONCE = 900_000_000

#: Bytes a pixel while a JPEG is held whole: libjpeg keeps 16-bit coefficients of each channel.
_PROGRESSIVE_BYTES = 2

#: libvips answers 1 px/mm when a file states no resolution.
UNSTATED_PX_PER_MM = 1.0

#: 72 ppi is what software writes when nobody measured (common practice, no source).
PLACEHOLDER_PPI = 72.0

#: libvips loader by format; JPEG 2000 is not part of the libvips that comes from the registry.
_LOADERS = {"TIFF": "tiff", "JPEG": "jpeg", "PNG": "png", "WebP": "webp"}

#: PhotometricInterpretation (TIFF 6.0, section 8 and 20-23) that libvips takes for something else: YCbCr unless
#: inside JPEG, and the CIELAB forms of 8 bits.
_YCBCR, _LABS = 6, frozenset({8, 9, 10})
#: Compressions that carry JPEG inside (TIFF 6.0 section 22 and Technical Note 2).
_JPEG_INSIDE = frozenset({6, 7})
#: Compressions that the libvips of the registry is built without: LZMA and Zstandard (libtiff's tiff.h, from memory).
_NOT_BUILT_IN = frozenset({34925, 50000})
#: Channels of each photometric interpretation without the extra ones (TIFF 6.0, section 8).
_CHANNELS = {0: 1, 1: 1, 2: 3, 5: 4}

#: Colour space of an ICC profile (ICC.1:2022, 7.2.6) by the number of channels that it explains.
_PROFILE_CHANNELS = {b"GRAY": 1, b"RGB ": 3, b"CMYK": 4}

#: Interpretations of pixels that are a device's red, green and blue.
_DEVICE_RGB = frozenset({"srgb", "rgb", "rgb16"})


@dataclass(frozen=True)
class ScanHeader:
    """What the file says of itself; sizes in pixels, upright; ``pages`` counts full pages, not previews or masks."""

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


def read_header(path: Path, page: int = 0) -> ScanHeader:
    """What a scan says of itself, without decoding it where the format allows. Raises :class:`ScanSetAside`.

    ``page`` counts the full pages of a TIFF from 0.
    """
    with _plainly_named(path) as plain:
        return _header(plain, page)


@contextmanager
def _plainly_named(path: Path) -> Iterator[Path]:
    """A path that leads to this file and that libvips takes: it knows no names but those in UTF-8."""
    try:
        str(path).encode()
    except UnicodeEncodeError:
        with tempfile.TemporaryDirectory() as folder:
            link = Path(folder) / "scan"
            link.symlink_to(path.absolute())
            yield link
    else:
        yield path


def _header(path: Path, page: int) -> ScanHeader:
    kind = sniff(path)
    image = _open(path, kind, page)
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
        pages=max(1, len(_pages(path))) if kind == "TIFF" else 1,
    )


def _pages(path: Path) -> list[Directory]:
    """The full pages of a TIFF: neither previews nor masks; whatever is there if it has nothing else."""
    everything = tiff_tags.directories(path)
    return [one for one in everything if one.is_page] or everything[:1]


def _open(path: Path, kind: str, page: int = 0, *, whole: bool = False) -> pyvips.Image:
    """The scan as a libvips image, not yet decoded; ``whole`` allows any order of access."""
    # revalidate: libvips would answer with the old picture when a file is scanned again under the same name
    options: dict[str, object] = {"revalidate": True} if whole else {"access": "sequential"}
    if kind == "TIFF":
        return _open_tiff(path, page, options)
    if kind not in _LOADERS:
        return second.decode(path, kind)
    try:
        image = getattr(pyvips.Image, f"{_LOADERS[kind]}load")(str(path), fail_on="error", **options)
    except pyvips.Error as error:
        if _is_unknown(error):
            return second.decode(path, kind)
        raise _explain(kind, error) from error
    held = image.width * image.height * image.bands * (_PROGRESSIVE_BYTES if kind == "JPEG" else _bits(image) // 8 or 1)
    if image.get_typeof("interlaced") and held > MOST_BYTES_AT_ONCE:
        raise _too_large(image.width, image.height)
    return image


def _open_tiff(path: Path, page: int, options: dict[str, object]) -> pyvips.Image:
    pages = _pages(path)
    if not pages:
        raise ScanSetAside("The TIFF file is damaged: it does not say where its picture lies.", RESCAN)
    if page >= len(pages):
        raise ScanSetAside(f"The file has {len(pages)} pages, but page {page + 1} was asked for.", "Look at the file.")
    tags = pages[page]
    width, height = tags.first(tiff_tags.WIDTH, 0), tags.first(tiff_tags.HEIGHT, 0)
    if width * height > MOST_PIXELS or tiff_tags.bytes_at_once(tags) > MOST_BYTES_AT_ONCE:
        raise _too_large(width, height)
    photometric = tags.first(tiff_tags.PHOTOMETRIC, 1)
    compression = tags.first(tiff_tags.COMPRESSION, 1)
    plain_ycbcr = photometric == _YCBCR and compression not in _JPEG_INSIDE
    shallow_lab = photometric in _LABS and tags.first(tiff_tags.BITS, 8) == 8
    if plain_ycbcr or shallow_lab or compression in _NOT_BUILT_IN:
        return second.decode(path, "TIFF", tags.index)
    try:
        image = pyvips.Image.tiffload(str(path), page=tags.index, fail_on="error", **options)
    except pyvips.Error as first:
        try:
            return second.decode(path, "TIFF", tags.index)
        except ScanSetAside:
            raise (second.unknown_variety("TIFF") if _is_odd(tags) else _explain("TIFF", first)) from first
    return _without_spare_channels(image, tags)


def _is_odd(tags: Directory) -> bool:
    """Numbers of 64 bits: sound, but no decoder here takes them."""
    return tags.first(tiff_tags.BITS, 8) > 32


def _without_spare_channels(image: pyvips.Image, tags: Directory) -> pyvips.Image:
    """Drop channels that are no transparency: ExtraSamples 0 (TIFF 6.0, p. 31), such as a scanner's dust channel."""
    channels = _CHANNELS.get(tags.first(tiff_tags.PHOTOMETRIC, 1), image.bands)
    if image.bands <= channels or set(tags.tags.get(tiff_tags.EXTRA_SAMPLES, ())) & {1, 2}:
        return image
    return image.extract_band(0, n=channels)


def _too_large(width: int, height: int) -> ScanSetAside:
    return ScanSetAside(
        f"The file claims {width} x {height} pixels, more than can be decoded here.",
        "It is probably damaged. " + RESCAN,
    )


def _is_unknown(error: pyvips.Error) -> bool:
    """Whether a decoder complains of a variety that it does not know, not of damage."""
    return any(word in str(error).lower() for word in ("unsupported", "not supported", "not configured"))


def _explain(kind: str, error: pyvips.Error) -> ScanSetAside:
    """One sentence for a decoder's complaint."""
    text = str(error).lower()
    if any(word in text for word in ("premature", "truncat", "end of", "short", "eof", "not enough", "read error")):
        return ScanSetAside(f"The {kind} file breaks off before its end: part of the picture is missing.", RESCAN)
    if _is_unknown(error):
        return second.unknown_variety(kind)
    return ScanSetAside(f"The {kind} file is damaged and cannot be decoded.", RESCAN)


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


def _profile_fits(image: pyvips.Image) -> bool:
    """Whether the embedded profile is for pictures of as many channels."""
    space = bytes(image.get("icc-profile-data"))[16:20]
    return bool(_PROFILE_CHANNELS.get(space) == image.bands)


def as_srgb(image: pyvips.Image, given: InputProfile | None = None) -> tuple[pyvips.Image, str]:
    """The image as 3-band sRGB, 8 bits if it was 8-bit sRGB already, else 16. Returns (image, profile used).

    Embedded profiles are honoured with relative colorimetric intent through LittleCMS. ``given`` is the scanner's own
    profile: it counts, in the same way, for an RGB scan that embeds none. Any other scan without a profile, or with one
    that is for pictures of another kind, is taken as sRGB. Numbers with a decimal point are taken as 0 to 1.
    """
    if image.format not in {"uchar", "ushort"} and image.interpretation not in {"lab", "labs", "labq", "xyz", "lch"}:
        image = _scaled_to_16(image)
    if image.hasalpha():
        image = image.flatten(background=[255.0 if image.format == "uchar" else 65535.0] * (image.bands - 1))
    name = profile_name(image)
    if given is not None and name is None and image.bands == 3 and image.interpretation in _DEVICE_RGB:
        image = image.copy()
        image.set_type(pyvips.GValue.blob_type, "icc-profile-data", given.content)
        return image.icc_transform("srgb", embedded=True, intent="relative", depth=16), given.name
    if name and name != "unreadable profile" and "srgb" not in name.lower() and _profile_fits(image):
        return image.icc_transform("srgb", embedded=True, intent="relative", depth=16), name
    if image.interpretation in {"cmyk", "lab", "labs", "labq", "xyz", "lch"}:
        return image.colourspace("rgb16"), f"{image.interpretation} without a profile"
    if image.bands == 1:
        image = image.bandjoin([image, image])
    if image.bands != 3:
        raise ScanSetAside(
            f"The picture has {image.bands} channels and no colour profile that explains them.",
            "Save it as grey or RGB and take that in.",
        )
    used = "sRGB assumed" if not name or not _profile_fits(image) else name
    return image.copy(interpretation="srgb" if image.format == "uchar" else "rgb16"), used


def _scaled_to_16(image: pyvips.Image) -> pyvips.Image:
    """Numbers with a decimal point are taken as 0-1, whole numbers by their own range."""
    interpretation = "grey16" if image.bands < 3 else "cmyk" if image.interpretation == "cmyk" else "rgb16"
    if image.format in {"float", "double"}:
        scaled = image * 65535.0 + 0.5
    else:
        scaled = image.cast("double") / (65537.0 if image.format in {"uint", "int"} else 1.0)
    return scaled.cast("ushort").copy(interpretation=interpretation)


def _refuse_other_ranges(image: pyvips.Image) -> None:
    """Numbers with a decimal point that go beyond 1 have no meaning that is sure. A little beyond is rounding."""
    if image.format in {"float", "double"} and image.interpretation not in {"lab", "xyz", "lch"} and image.max() > 1.5:
        raise ScanSetAside(
            f"The picture holds numbers up to {image.max():.0f} with a decimal point; only 0 to 1 is understood.",
            "Save it as TIFF of 8 or 16 bits and take that in.",
        )


def read_reduced(path: Path, long_edge_px: int, page: int = 0, given: InputProfile | None = None) -> Raster:
    """Decode a scan once, reduced to at most ``long_edge_px`` while it streams; upright, sRGB.

    ``page`` counts the full pages of a TIFF from 0; ``given`` is the scanner's profile, see :func:`as_srgb`. Raises
    :class:`ScanSetAside` when the picture is damaged or breaks off.
    """
    with _plainly_named(path) as plain:
        return _decoded_reduced(plain, long_edge_px, page, given)


def _decoded_reduced(path: Path, long_edge_px: int, page: int, given: InputProfile | None) -> Raster:
    kind = sniff(path)
    header = _open(path, kind, page)
    try:
        pixels, profile = _decoded(_reduced(path, kind, header, long_edge_px), given)
    except pyvips.Error as error:
        if kind not in _LOADERS or not _is_unknown(error):
            raise _explain(kind, error) from error
        index = _pages(path)[page].index if kind == "TIFF" else 0
        header = second.decode(path, kind, index)
        pixels, profile = _decoded(_smaller(header, long_edge_px), given)
    scale = min(1.0, max(pixels.shape[:2]) / max(header.width, header.height))
    ppi = stated_ppi(header)
    return Raster(pixels=pixels, scale=scale, ppi=None if ppi is None else ppi * scale, profile=profile)


def _decoded(image: pyvips.Image, given: InputProfile | None) -> tuple[Pixels, str]:
    if image.format in {"float", "double"}:
        image = image.copy_memory()
        _refuse_other_ranges(image)
    converted, profile = as_srgb(image, given)
    return to_array(converted), profile


def _reduced(path: Path, kind: str, image: pyvips.Image, long_edge_px: int) -> pyvips.Image:
    """The scan reduced while it streams, upright, in its own colours and depth."""
    if kind == "JPEG" and image.bands in {1, 3}:  # decodes at a fraction of its size
        return pyvips.Image.thumbnail(str(path), long_edge_px, height=long_edge_px, size="down", fail_on="error")
    # the same reduction without `thumbnail`, which would bring 16 bits down to 8
    return _smaller(image, long_edge_px)


def _smaller(image: pyvips.Image, long_edge_px: int) -> pyvips.Image:
    factor = long_edge_px / max(image.width, image.height)
    return (image.resize(factor) if factor < 1 else image).autorot()


def open_turned(path: Path, page: int = 0, turn: int = 0) -> pyvips.Image:
    """The whole scan in its own colours and codes, upright and then turned clockwise by 0, 90, 180 or 270 degrees.

    Still undecoded; to be read once from top to bottom, which takes little memory where the file lies that way already.
    """
    kind = sniff(path)
    image = _open(path, kind, page)
    lies_upright = not image.get_typeof("orientation") or image.get("orientation") == 1
    if lies_upright and turn == 0:
        return image
    image = _open(path, kind, page, whole=True).autorot()
    return image if turn == 0 else image.rot(f"d{turn}")


def open_device(path: Path) -> pyvips.Image:
    """The whole scan as an upright libvips image in its own codes, whatever its profile, still undecoded."""
    kind = sniff(path)
    try:
        return _open(path, kind, whole=True).autorot()
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
