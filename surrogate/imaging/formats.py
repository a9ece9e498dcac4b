"""Which format a file is, by its content; and, for what this house does not read, the reason and what to do next."""

from __future__ import annotations

from importlib.util import find_spec
from pathlib import Path

from surrogate.errors import ScanSetAside
from surrogate.imaging import tiff_tags

RESCAN = "Scan the original again, or ask whoever made the file for a whole copy."

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
    (b"GIF87a", 0, "GIF"),
    (b"GIF89a", 0, "GIF"),
)

#: Brands of files that begin with a file type box (ISO/IEC 14496-12): which are pictures read here (from memory).
_BRANDS = {
    "avif": "AVIF", "avis": "AVIF", "heic": "HEIC", "heix": "HEIC", "heim": "HEIC", "heis": "HEIC", "mif1": "HEIC",
    "msf1": "HEIC", "hevc": "HEIC",
}  # fmt: skip

#: Starts of camera raw files that are no TIFF (from memory): Fuji, Panasonic, Olympus, Sigma, Minolta, old Canon.
_RAW_STARTS = (b"FUJIFILMCCD-RAW", b"IIU\0", b"IIRO", b"IIRS", b"MMOR", b"FOVb", b"\0MRM")

#: PhotometricInterpretation of a sensor's own data: CFA (TIFF/EP, ISO 12234-2) and LinearRaw (DNG 1.0, p. 20).
_SENSOR = frozenset({32803, 34892})


def sniff(path: Path) -> str:
    """The format by content. Raises :class:`ScanSetAside` for what is not a picture this house reads."""
    try:
        with path.open("rb") as handle:
            start = handle.read(4096)
            size = handle.seek(0, 2)
    except OSError as error:
        raise ScanSetAside(f"The file cannot be read: {error.strerror}.", "Check it and try again.") from error
    if not start:
        raise ScanSetAside("The file is empty (0 bytes).", RESCAN)
    if not start.strip(b"\0"):
        raise ScanSetAside("The file holds nothing but zero bytes.", RESCAN)
    name = _named(start)
    if name == "TIFF" and _is_camera_raw(path, start):
        raise _raw()
    if name == "BMP" and int.from_bytes(start[2:6], "little") > size:
        raise ScanSetAside("The BMP file breaks off before its end: part of the picture is missing.", RESCAN)
    if name is None:
        raise _not_a_picture(start)
    return name


def looks_like_picture(start: bytes) -> bool:
    """Whether a file that begins so (64 bytes are enough) is a picture of a format read here, whatever its name."""
    try:
        return _named(start) is not None
    except ScanSetAside:  # a film; or a picture whose library is missing, which its suffix would have told
        return False


#: The usual suffix of each format, for files that came without one.
SUFFIXES = {
    "TIFF": ".tif", "JPEG": ".jpg", "PNG": ".png", "WebP": ".webp", "JPEG 2000": ".jp2", "GIF": ".gif", "BMP": ".bmp",
    "AVIF": ".avif", "HEIC": ".heic",
}  # fmt: skip


def _named(start: bytes) -> str | None:
    for magic, offset, name in _SIGNATURES:
        if start[offset : offset + len(magic)] == magic:
            return name
    if start[4:8] == b"ftyp":
        return _by_brand(start)
    # A BMP's mark is two letters; the size of its second header tells it from text that begins with BM.
    if start[:2] == b"BM" and int.from_bytes(start[14:18], "little") in {12, 40, 52, 56, 64, 108, 124}:
        return "BMP"
    return None


def _by_brand(start: bytes) -> str | None:
    brand = start[8:12].decode("ascii", "replace")
    name = _BRANDS.get(brand)
    if name == "HEIC" and b"avif" in start[16:64]:  # a general brand first, the exact one among the compatible ones
        name = "AVIF"
    if name == "HEIC" and find_spec("pillow_heif") is None:
        raise ScanSetAside(
            "This is a HEIC picture, and the library that reads it is not installed.",
            "Install it with `pip install pillow-heif`, or export the picture as TIFF or as JPEG of best quality.",
        )
    if name is None and brand == "crx ":
        raise _raw()
    if name is None:
        raise ScanSetAside(
            "This is a film or sound recording, not a picture.", "Nothing to do here; keep it elsewhere."
        )
    return name


def _raw() -> ScanSetAside:
    return ScanSetAside(
        "This is a camera raw file: the sensor's own data, which every program develops in another way.",
        "Develop it, save it as 16-bit TIFF and take that in; keep the raw file beside your masters.",
    )


def _is_camera_raw(path: Path, start: bytes) -> bool:
    """Whether a TIFF is what cameras make of that structure: a preview first, the sensor's data behind it."""
    if start[8:10] == b"CR":
        return True
    pages = tiff_tags.directories(path)
    if not pages:
        return False
    first = pages[0]
    below = tiff_tags.sub_directories(path, first)
    if tiff_tags.DNG_VERSION in first.tags or (first.is_reduced and below):
        return True
    return any(page.first(tiff_tags.PHOTOMETRIC, 0) in _SENSOR for page in [*pages, *below])


def _not_a_picture(start: bytes) -> ScanSetAside:
    if start.startswith(b"%PDF"):
        return ScanSetAside(
            "This is a PDF, not a picture.",
            "Take its page images out without loss, or scan the pages again as TIFF, and take those in.",
        )
    if start.startswith(_RAW_STARTS):
        return _raw()
    if start.startswith(b"8BPS"):
        return ScanSetAside("This is a picture with layers (PSD).", "Save it as TIFF without layers and take that in.")
    printable = sum(byte in b"\t\n\r" or 32 <= byte < 127 or byte >= 0xC0 for byte in start)
    if b"\0" not in start and printable > 0.95 * len(start):
        return ScanSetAside("This is a text file, not a picture.", "Nothing to do, unless a scan should be here.")
    return ScanSetAside(
        "This is not a picture in a format known here.", "Save the scan as TIFF, JPEG or PNG and take that in."
    )
