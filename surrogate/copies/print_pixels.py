"""Pixels of a print from its master and recipe, strip by strip: a poster takes no more memory than a postcard.

    master --libvips--> print resolution --profile--> sRGB rows in a file
    those rows --straighten--> --recipe--> --sharpen--> 8 bits --> TIFF

A print never has more pixels than its master has at that place.
"""

from __future__ import annotations

import errno
import math
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from io import BufferedRandom
from pathlib import Path

import cv2
import numpy as np
import numpy.typing as npt
import pyvips

from surrogate.collection.files import disk_errors
from surrogate.copies.make import Corners, outline_size, playable
from surrogate.copies.print_sharpening import halo_rows, sharpened, to_8_bits
from surrogate.errors import CollectionUnusable, ScanSetAside
from surrogate.imaging.density import Pixels
from surrogate.imaging.encode import srgb_profile
from surrogate.imaging.input_profile import InputProfile
from surrogate.imaging.read import MM_PER_INCH, as_srgb, open_turned
from surrogate.imaging.workspace import Workspace
from surrogate.recovery.play import Playable, Player
from surrogate.recovery.recipe import Recipe

#: Rows written at a time: a strip of a 24 in wide print at 300 ppi is 6 MB.
STRIP_ROWS = 128

#: Deflate level: 6 takes three times as long for files 5 % smaller (measured on an 18 x 27 in print at 300 ppi).
DEFLATE_LEVEL = 3

#: Corners this close to whole, upright pixels need no resampling.
_UPRIGHT_PX = 0.26

#: Rows beyond a strip that the four-tap kernel of straightening reaches.
_KERNEL_ROWS = 3

#: Interpretations whose pixels may be averaged before their colours are managed.
_PLAIN = {"srgb", "rgb", "rgb16", "b-w", "grey16"}


@dataclass(frozen=True)
class _Picture:
    """The part of the master that shows, at print resolution: rows of sRGB in a file, 8 or 16 bits as scanned.

    ``warp`` is the way from points of the straightened picture to points of these rows, a 3x3 matrix; None when they
    lie straight already.
    """

    file: BufferedRandom
    width: int
    height: int
    deep: bool
    warp: npt.NDArray[np.float64] | None = None

    def rows(self, top: int, bottom: int, work: Workspace) -> Pixels:
        """Rows ``top`` to ``bottom``, (bottom - top, width, 3) uint8 or uint16."""
        rows: Pixels = work.array("rows", (bottom - top, self.width, 3), np.uint16 if self.deep else np.uint8)
        self.file.seek(top * rows[0].nbytes)
        self.file.readinto(rows.data.cast("B"))
        return rows


def write_print(
    master: Path,
    recipe: Recipe,
    path: Path,
    given: InputProfile | None = None,
    collection: Path = Path(),
) -> None:
    """Write the print that ``recipe`` describes as an 8-bit sRGB TIFF at ``path``.

    ``given`` is the scanner's profile that the recipe names, ``collection`` where the other sides of leaves lie.
    Give a temporary name; two more temporary files lie beside it meanwhile. Raises :class:`CollectionUnusable` when
    the master cannot be read, :class:`DiskFull` when the disk is full.
    """
    size, box, ppi = recipe.print_size_px, recipe.print_box_px, recipe.print_ppi
    if size is None or box is None or ppi is None:
        raise ValueError("not the recipe of a print")
    try:
        steps = playable(recipe.steps, collection)
    except ScanSetAside as error:
        raise CollectionUnusable(str(error)) from error
    with disk_errors(path), _scratch(path, "wide") as wide, _scratch(path, "narrow") as narrow:
        try:
            picture = _reduce(_open(master, recipe.page, recipe.turn, given), recipe.outline, box[2:], wide, given)
            for strip in _strips(picture, steps, recipe.sharpen_radius_px, size, box):
                narrow.write(strip.data.cast("B"))
        except (pyvips.Error, ScanSetAside) as error:
            raise CollectionUnusable(
                f"The master {recipe.master} cannot be read whole: {str(error).strip().splitlines()[0]} "
                "Run 'surrogate audit' to find out whether it has changed since it was taken in."
            ) from error
        narrow.flush()
        _save(Path(narrow.name), size, ppi, path)


@contextmanager
def _scratch(path: Path, name: str) -> Iterator[BufferedRandom]:
    """A file beside ``path`` that is gone afterwards."""
    scratch = path.with_name(f"{path.name}.{name}")
    try:
        with scratch.open("w+b") as file:
            yield file
    finally:
        scratch.unlink(missing_ok=True)


def _reduce(
    image: pyvips.Image,
    outline: Corners | None,
    size: Sequence[int],
    file: BufferedRandom,
    given: InputProfile | None,
) -> _Picture:
    """Bring what ``outline`` holds to ``size`` (width, height) print pixels, give or take its slant, into ``file``."""
    width, height = size
    corners = np.array(outline or _whole(image), dtype=np.float64)
    left, top = np.floor(corners.min(axis=0) + _UPRIGHT_PX).astype(int)
    right, bottom = np.ceil(corners.max(axis=0) - _UPRIGHT_PX).astype(int)
    upright = np.array([(left, top), (right, top), (right, bottom), (left, bottom)])
    if np.abs(corners - upright).max() < 1:
        left, top, right, bottom = _clip(left, top, right, bottom, image)
        return _to_file(image.crop(left, top, right - left, bottom - top), width, height, file, given)
    across, down = outline_size(corners.tolist())
    margin = math.ceil(_KERNEL_ROWS * max(across / width, down / height))
    left, top, right, bottom = _clip(left - margin, top - margin, right + margin, bottom + margin, image)
    kept = image.crop(left, top, right - left, bottom - top)
    reduced = (round(kept.width * width / across), round(kept.height * height / down))
    picture = _to_file(kept, *reduced, file, given)
    scale = np.array([picture.width / kept.width, picture.height / kept.height])
    source = np.array([(0, 0), (width, 0), (width, height), (0, height)], dtype=np.float32)
    target = ((corners - (left, top)) * scale).astype(np.float32)
    return replace(picture, warp=cv2.getPerspectiveTransform(source, target))


def _open(master: Path, page: int, turn: int, given: InputProfile | None) -> pyvips.Image:
    """The master, upright and turned, in colours that may be averaged."""
    image = open_turned(master, page, turn)
    if image.hasalpha() or image.interpretation not in _PLAIN or image.format not in {"uchar", "ushort"}:
        return as_srgb(image, given)[0]
    return image


def _whole(image: pyvips.Image) -> Corners:
    return [(0, 0), (image.width, 0), (image.width, image.height), (0, image.height)]


def _clip(left: int, top: int, right: int, bottom: int, image: pyvips.Image) -> tuple[int, int, int, int]:
    return max(0, int(left)), max(0, int(top)), min(image.width, int(right)), min(image.height, int(bottom))


def _to_file(
    image: pyvips.Image, width: int, height: int, file: BufferedRandom, given: InputProfile | None
) -> _Picture:
    """Reduce the image to ``width`` by ``height``, manage its colours, and write the rows, all in one stream."""
    if (image.width, image.height) != (width, height):
        image = image.resize(width / image.width, vscale=height / image.height, kernel="lanczos3")
    image, _ = as_srgb(image, given)
    image.rawsave(file.name)
    return _Picture(file, width, height, deep=image.format == "ushort")


def _strips(
    picture: _Picture,
    steps: Sequence[Playable],
    radius: float | None,
    size: tuple[int, int],
    box: tuple[int, int, int, int],
) -> Iterator[npt.NDArray[np.uint8]]:
    """The print's rows from top to bottom, (rows, print width, 3) uint8; paper outside the picture is white.

    Each strip lies in the memory of the one before.
    """
    left, upper, width, height = box
    band = _Band(picture, steps, radius, width, height)
    columns = slice(max(0, left), min(size[0], left + width))
    for paper_top in range(0, size[1], STRIP_ROWS):
        paper_bottom = min(paper_top + STRIP_ROWS, size[1])
        out = band.work.array("paper", (paper_bottom - paper_top, size[0], 3), np.uint8)
        out[:] = 255
        top, bottom = max(0, paper_top - upper), min(height, paper_bottom - upper)
        if top < bottom:
            shown = band.finished(top, bottom)
            out[top + upper - paper_top : bottom + upper - paper_top, columns] = shown[
                :, columns.start - left : columns.stop - left
            ]
        yield out


class _Band:
    """The picture's rows as 16-bit codes with the steps played, kept while sharpening still needs them."""

    def __init__(
        self, picture: _Picture, steps: Sequence[Playable], radius: float | None, width: int, height: int
    ) -> None:
        deep = picture.deep or picture.warp is not None
        self.work = Workspace()
        self._picture = picture
        self._width, self._height = width, height
        self._player = Player(steps, 16 if deep else 8, 16, height, width) if steps else None
        self._radius = radius
        self._halo = halo_rows(self._radius) if self._radius else 0
        self._top = self._bottom = 0

    def finished(self, top: int, bottom: int) -> npt.NDArray[np.uint8]:
        """Rows ``top`` to ``bottom`` sharpened, (bottom - top, width, 3) uint8. Call from top to bottom."""
        first, after = max(0, top - self._halo), min(self._height, bottom + self._halo)
        codes = self.work.array("band", (STRIP_ROWS + 2 * self._halo, self._width, 3), np.uint16)
        kept = max(0, self._bottom - first)
        codes[:kept] = codes[self._bottom - kept - self._top : self._bottom - self._top]
        self._play(first + kept, after, codes[kept : after - first])
        self._top, self._bottom = first, after
        rows = codes[: after - first]
        fine = sharpened(rows, self._radius, self.work) if self._radius else to_8_bits(rows, self.work)
        return fine[top - first : bottom - first]

    def _play(self, top: int, bottom: int, out: npt.NDArray[np.uint16]) -> None:
        straight = _straight(self._picture, top, bottom, self._width, self.work)
        if self._player is None:
            _widen(straight, out)
        else:
            self._player.rows(straight, top, out)


def _widen(pixels: Pixels, out: npt.NDArray[np.uint16]) -> None:
    """Fill ``out`` with the same pixels as 16-bit codes."""
    np.multiply(pixels, np.uint16(1 if pixels.dtype == np.uint16 else 257), out=out, dtype=np.uint16)


def _straight(picture: _Picture, top: int, bottom: int, width: int, work: Workspace) -> Pixels:
    """Rows of the straightened picture, (bottom - top, width, 3); what had to be turned comes with 16 bits."""
    if picture.warp is None:
        return picture.rows(top, bottom, work)
    corners = np.array([[(0, top), (width, top), (width, bottom), (0, bottom)]], dtype=np.float64)
    reach = cv2.perspectiveTransform(corners, picture.warp)[0, :, 1]
    first = max(0, min(picture.height - 1, math.floor(reach.min()) - _KERNEL_ROWS))
    last = max(first + 1, min(picture.height, math.ceil(reach.max()) + _KERNEL_ROWS))
    # points lie between pixels, OpenCV counts from pixel centres
    to_points = np.array([[1, 0, 0.5], [0, 1, top + 0.5], [0, 0, 1]])
    to_centres = np.array([[1, 0, -0.5], [0, 1, -first - 0.5], [0, 0, 1]])
    rows = picture.rows(first, last, work)
    slanted = work.array("slanted", rows.shape, np.float32)
    np.multiply(rows, np.float32(1 if picture.deep else 257), out=slanted)
    fine = work.array("fine", (bottom - top, width, 3), np.float32)
    cv2.warpPerspective(  # in float32, since OpenCV takes a third longer for whole numbers
        slanted,
        to_centres @ picture.warp @ to_points,
        (width, bottom - top),
        dst=fine,
        flags=cv2.INTER_CUBIC | cv2.WARP_INVERSE_MAP,
        borderMode=cv2.BORDER_REPLICATE,
    )
    out: npt.NDArray[np.uint16] = work.array("straight", fine.shape, np.uint16)
    cv2.multiply(fine, 1.0, dst=out, dtype=cv2.CV_16U)
    return out


def _save(raw: Path, size: tuple[int, int], ppi: float, path: Path) -> None:
    """Encode raw rows as a TIFF with profile and resolution, in a stream."""
    image = pyvips.Image.rawload(str(raw), *size, 3, interpretation="srgb")
    image = image.copy(xres=ppi / MM_PER_INCH, yres=ppi / MM_PER_INCH)
    image.set_type(pyvips.GValue.blob_type, "icc-profile-data", srgb_profile())
    try:
        image.tiffsave(
            str(path), compression="deflate", predictor="horizontal", level=DEFLATE_LEVEL, resunit="inch", keep="icc"
        )
    except pyvips.Error as error:
        raise OSError(errno.ENOSPC if "space" in str(error) else errno.EIO, str(error)) from error
